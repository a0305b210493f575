"""Beats, bars and tempo: evidence, decoder, choice of level, tempo map."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from cuesuggest.analysis.rhythm.beat_grid import BeatGrid
from cuesuggest.analysis.rhythm.decoder import decode
from cuesuggest.analysis.rhythm.doubt import covered, reading_features, reading_odds
from cuesuggest.analysis.rhythm.evidence import Evidence, observe
from cuesuggest.analysis.rhythm.known import Known
from cuesuggest.analysis.rhythm.level import Level, bar_shifts, best_level, read_levels
from cuesuggest.analysis.rhythm.meters import COMMON, FIRST, METERS, swung
from cuesuggest.analysis.rhythm.music import asked_twice
from cuesuggest.analysis.rhythm.recount import alternating, between_beats, other_counts
from cuesuggest.analysis.rhythm.stated_rhythm import MEANT, Stated
from cuesuggest.analysis.rhythm.tempo import attack_times, smooth_times
from cuesuggest.analysis.rhythm.tempo_bins import tempo_bins
from cuesuggest.analysis.rhythm.tidy import (
    bridged,
    explained,
    from_first_attack,
    halved,
    long_enough,
    plausible,
    until_last_attack,
)
from cuesuggest.analysis.spectrum import FRAME_RATE, Spectrum

__all__ = ["Known", "Level", "Rhythm", "find_rhythm"]

_SHORTEST_BAR = 0.001  # s
_FARTHEST = 0.1  # s from the decoded frame to the time of a beat
_CLEAR = 0.4  # of the usual rise at a beat: a weaker one may be no attack of this beat
_TRUST = 0.1  # in the time of a beat without an attack, beside one with
_TAP_TRUST = 0.5  # in a stated time, the same
_LONGEST_SONG = 2400.0  # s; a longer recording is no single song, has no single rare meter, and must fit into memory
_EXPLAINED = 0.93  # of the clear beats; seven songs in ten have more
_JUMP_GAIN = 40.0  # nats; where the tempo really jumps out of the band it is 190 and more, elsewhere 11 at most
_UNHEARD_BPM = 112.0  # where nothing is heard and nothing stated


@dataclass(frozen=True, slots=True)
class Rhythm:
    """Beats of a recording.

    Attributes
    ----------
    times : ndarray, shape (beats,)
        Seconds from the start of the file.
    grid : BeatGrid
        Slots, meters and runs of the beats.
    evidence : Evidence
        What was heard.
    others : tuple of Level
        Other levels, best first; their margins are nats for the whole recording.
    shifts : tuple of float
        Nats a bar by which bars that start one, two … beats later are less likely.
    counts : tuple of (str, float)
        Time signatures in which the same beats may be counted, and nats a bar by which they are less likely.
    between : float, optional
        Nats a beat by which beats half-way between are less likely.
    covered : float
        Share of what sounds loud that is told, see `rhythm.doubt`.
    features : ndarray, shape (11,), optional
        What tells how sure the reading is as a whole, see `rhythm.doubt`; None without beats.
    """

    times: np.ndarray
    grid: BeatGrid
    evidence: Evidence
    others: tuple[Level, ...]
    shifts: tuple[float, ...] = ()
    counts: tuple[tuple[str, float], ...] = ()
    between: float | None = None
    covered: float = 1.0
    features: np.ndarray | None = None

    @property
    def reading(self) -> float:
        """Log odds that the reading is right as a whole: music, at this level, in this meter, with this one."""
        return 0.0 if self.features is None else reading_odds(self.features)


def find_rhythm(spectrum: Spectrum, evidence: Evidence | None = None, known: Known | None = None) -> Rhythm:
    """Find beats and bars.

    Parameters
    ----------
    spectrum : Spectrum
    evidence : Evidence, optional
        In place of what `observe` makes of the spectrum.
    known : Known, optional
        What the user states about tempo and bars; the reading obeys it.

    Returns
    -------
    Rhythm
        Without beats if no music was heard and none is stated.

    Raises
    ------
    SignatureError
        If a stated time signature is none.
    """
    known = known or Known()
    evidence = asked_twice(spectrum, evidence or observe(spectrum))
    reading = _read(evidence, Stated(known, spectrum.start, len(evidence.beat)))
    grid = bridged(until_last_attack(reading.grid, spectrum, reading.music), evidence)
    grid = long_enough(from_first_attack(grid, spectrum, evidence, reading.music), reading.music)
    if not known:
        grid = plausible(grid, evidence)
        grid = alternating(grid, evidence)
    grid = replace(grid, table=swung(grid.table, grid.meters, grid.frames, evidence.onset))
    times = _timed(grid, spectrum, known)
    shifts = bar_shifts(grid, reading.evidence)
    counts, between = other_counts(grid, reading.evidence), between_beats(grid, reading.evidence)
    # Who states how it goes leaves nothing to be doubted of it.
    margins = ((), (), ()) if known else (reading.others, shifts, counts)
    share = covered(grid, spectrum)
    features = reading_features(grid, share, evidence, *margins) if len(times) else None
    return Rhythm(times, grid, evidence, reading.others, shifts, counts, between, share, features)


@dataclass(frozen=True, slots=True)
class _Reading:
    """What the decoder said, and what it was given."""

    grid: BeatGrid
    others: tuple[Level, ...]
    evidence: Evidence
    music: np.ndarray
    """Frames at which there is music because the user says so."""


def _read(evidence: Evidence, stated: Stated) -> _Reading:
    """Decode at the likeliest level, or the stated tempo, and there with all meters; again where facts are left out."""
    music = np.zeros(stated.frames, bool)
    others: tuple[Level, ...] = ()
    bpm = stated.tempo
    several = stated.frames > _LONGEST_SONG * FRAME_RATE
    if bpm is None:
        first = stated.meters(COMMON if several else FIRST)
        grid, others = best_level(read_levels(evidence, first, stated.limits(first, tempi=False)), evidence)
        if len(grid.frames) > 1:
            bpm = grid.bpm
        if not stated.known and (bpm is None or several):
            return _Reading(grid, others, evidence, music)
        bpm = bpm or _likely_tempo(stated)
    meters = stated.meters(COMMON if several else METERS)
    limits = stated.limits(meters)
    grid = decode(evidence, tempo_bins(bpm), meters, limits)
    if not stated.tempi and explained(grid, evidence) < _EXPLAINED:
        # A jump of the tempo leads out of the band: then far more is said by a wider one.
        wider = decode(evidence, tempo_bins(bpm, wide=True), meters, limits)
        if wider.score > grid.score + _JUMP_GAIN:
            grid = wider
    if not stated.known and halved(grid, evidence):
        grid = decode(evidence, tempo_bins(grid.bpm), tuple(meter for meter in meters if meter.beats != 2), limits)
    demand = stated.insist(grid, evidence, limits, bpm)
    if demand:
        evidence, limits = demand
        grid = decode(evidence, tempo_bins(bpm), meters, limits)
        music = limits.sounds.copy()
    lines = np.rint(stated.bar_lines).astype(int)
    for line in lines:
        music[max(0, line - 3) : line + 4] = True
    return _Reading(grid, others, evidence, music)


def _likely_tempo(stated: Stated) -> float:
    """Tempo of music that is only stated: as stated, else four beats from bar line to bar line."""
    if stated.tempi:
        return stated.tempi[0][0]
    gaps = np.diff(stated.bar_lines)
    gaps = gaps[gaps > 0]
    if not len(gaps):
        return _UNHEARD_BPM
    beats = sum(stated.meters(FIRST)[0].lengths)
    bpm = 60 * FRAME_RATE * beats / float(np.median(gaps))
    octaves = round(float(np.log2(_UNHEARD_BPM / bpm)))
    return float(bpm * 2.0**octaves)


def _timed(grid: BeatGrid, spectrum: Spectrum, known: Known) -> np.ndarray:
    """Seconds of the beats: on their attacks, smoothed; a stated bar line within reach of where it is stated."""
    places, clear = attack_times(grid.frames, spectrum.bands)
    times = np.where(clear >= _CLEAR, places, grid.frames) / FRAME_RATE + spectrum.start
    trust = np.maximum(clear, _TRUST)
    opens = np.flatnonzero(grid.slots == 0)
    meant = {}
    for line in known.bar_lines if len(opens) else ():
        beat = int(opens[np.abs(times[opens] - line).argmin()])
        if abs(times[beat] - line) <= 2 * MEANT:
            meant[beat] = line
            if clear[beat] < _CLEAR:
                times[beat], trust[beat] = line, _TAP_TRUST
    for run in np.unique(grid.runs):
        inside = grid.runs == run
        times[inside] = smooth_times(times[inside], grid.places[inside], trust[inside])
    # No line may carry a beat far from where it was decoded, or across its neighbour.
    decoded = grid.frames / FRAME_RATE + spectrum.start
    reach = np.minimum(_FARTHEST, 0.4 * np.minimum(np.diff(decoded, prepend=-np.inf), np.diff(decoded, append=np.inf)))
    times = np.clip(times, decoded - reach, decoded + reach)
    for beat, line in meant.items():
        times[beat] = np.clip(times[beat], line - MEANT, line + MEANT)
    # Music that begins with the first sample: smoothing may carry its first beat a millisecond out of the file. And a
    # bar that is stated at the very end must be longer than nothing.
    return np.asarray(np.clip(times, spectrum.start, spectrum.end - _SHORTEST_BAR))
