"""Beats, bars and tempo: evidence, decoder, choice of level, tempo map."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from cuesuggest.analysis.rhythm.decoder import Grid, Limits, decode, observations, tempo_bins
from cuesuggest.analysis.rhythm.evidence import Evidence, observe
from cuesuggest.analysis.rhythm.known import Known
from cuesuggest.analysis.rhythm.level import FEATURES, Level, best_level, level_features, read_levels
from cuesuggest.analysis.rhythm.meters import COMMON, METERS, Meter
from cuesuggest.analysis.rhythm.tempo import attack_times, smooth_times
from cuesuggest.analysis.spectrum import FRAME_RATE, Spectrum

__all__ = ["Level", "Rhythm", "find_rhythm"]

_ATTACK_SHARE = 0.4  # of the usual rise at a beat: a weaker one may be an echo or a voice in the room
_FAINT_SHARE = 0.1  # of the usual rise: less is no sound that starts
# Mean nats on a beat. On songs set apart for such choices music stays above 2.7; noise, applause, speech, tuning and
# held chords stay under 2.3.
_LEAST_EVIDENCE = 2.4
_TAPPED = 0.1  # s; a tap is up to so much beside the beat that it means
_LONGEST_SONG = 2400.0  # s; a longer recording is no single song, and has no single rare meter
_LEAST_TRUST = 0.1  # in the time of a beat without an attack, beside one with
_BRIDGE_MISFIT = 0.2  # beats by which the pulse after a gap may be off and still be the same pulse
_LONGEST_STOP = 9  # beats from the last before a silence to the first after it: two bars of four
_LONGEST_BRIDGE = 33  # the same where something sounds on: eight bars
_FEWEST_BEATS = 8  # two bars of four: less is no song


@dataclass(frozen=True, slots=True)
class Rhythm:
    """Beats of a recording.

    Attributes
    ----------
    times : ndarray, shape (beats,)
        Seconds from the start of the file.
    grid : Grid
        Slots, meters and runs of the beats.
    evidence : Evidence
        What the reading rests on.
    others : tuple of Level
        Other levels, best first.
    shifts : tuple of float
        Nats a bar by which bars that start one, two … beats later are less likely.
    """

    times: np.ndarray
    grid: Grid
    evidence: Evidence
    others: tuple[Level, ...]
    shifts: tuple[float, ...] = ()


def find_rhythm(spectrum: Spectrum, evidence: Evidence | None = None, known: Known | None = None) -> Rhythm:
    """Find beats and bars.

    Parameters
    ----------
    spectrum : Spectrum
    evidence : Evidence, optional
        In place of what `observe` makes of the spectrum.
    known : Known, optional
        What the user states about tempo and bars.

    Returns
    -------
    Rhythm
        Without beats if no music was heard.
    """
    known = known or Known()
    evidence = evidence or observe(spectrum)
    grid, others = _read(evidence, spectrum, known)
    grid = _bridged(_until_last_attack(grid, spectrum, known), evidence)
    if not known:
        grid = _from_first_attack(grid, spectrum)
    if not known:
        grid = _plausible(_long_enough(grid), evidence)
    places, clear = attack_times(grid.frames, spectrum.bands)
    refined = np.where(clear >= _ATTACK_SHARE, places, grid.frames) / FRAME_RATE + spectrum.start
    trust = np.maximum(clear, _LEAST_TRUST)
    for time in known.downbeats if len(refined) else ():
        # Where no attack tells better, a beat is where the user has tapped it.
        beat = int(np.abs(refined - time).argmin())
        if clear[beat] < _ATTACK_SHARE and abs(refined[beat] - time) < _TAPPED:
            refined[beat], trust[beat] = time, 1.0
    times = np.zeros(len(refined))
    for run in np.unique(grid.runs):
        inside = grid.runs == run
        times[inside] = smooth_times(refined[inside], grid.places[inside], trust[inside])
    # Music that begins with the first sample: smoothing may carry its first beat a millisecond out of the file.
    times = np.clip(times, spectrum.start, spectrum.end)
    return Rhythm(times, grid, evidence, others, shift_margins(grid, evidence))


def _read(evidence: Evidence, spectrum: Spectrum, known: Known) -> tuple[Grid, tuple[Level, ...]]:
    """Decode at the likeliest level, or at the stated tempo; then once more with all meters."""
    frames = len(evidence.beat)

    def limits(meters: tuple[Meter, ...], common: int) -> Limits | None:
        return known.limits(meters, spectrum.start, frames, common)

    every = known.meters(METERS)
    if known.covers(spectrum.start, spectrum.end):
        return decode(evidence, tempo_bins(known.tempi[0][0]), every, limits(every, len(METERS))), ()
    first = known.meters(COMMON)
    grid, others = best_level(read_levels(evidence, first, limits(first, len(COMMON))), evidence)
    if len(grid.frames) < 2 or frames > _LONGEST_SONG * FRAME_RATE:
        return grid, others
    bpm = 60 * FRAME_RATE / float(np.median(np.diff(grid.frames)))
    return decode(evidence, tempo_bins(bpm), every, limits(every, len(METERS))), others


def shift_margins(grid: Grid, evidence: Evidence) -> tuple[float, ...]:
    """How much less likely bars are that start one, two … beats later, from what the decoder was given.

    Parameters
    ----------
    grid : Grid
    evidence : Evidence

    Returns
    -------
    tuple of float
        Nats a bar, for shifts by 1, 2 … beats in the commonest meter.
    """
    if not len(grid.frames):
        return ()
    meter = int(np.bincount(grid.meters).argmax())
    inside = grid.meters == meter
    opens, other = observations(evidence, grid.table)[meter][:, grid.frames[inside]]
    slots, beats = grid.slots[inside], grid.table[meter].beats
    gain = np.array([np.where((slots - k) % beats == 0, opens, other).sum() for k in range(beats)])
    bars = max((slots == 0).sum(), 1)
    return tuple(float(value) for value in (gain[0] - gain[1:]) / bars)


def _from_first_attack(grid: Grid, spectrum: Spectrum) -> Grid:
    """Begin with the first beat at which anything starts: silence before it can be counted, too."""
    if len(grid.frames) < 2:
        return grid
    near = np.clip(grid.frames[:, None] + np.arange(-3, 4), 0, len(spectrum.bands) - 1)
    attacks = spectrum.rise[near].max(axis=1)
    heard = np.flatnonzero(attacks >= _FAINT_SHARE * np.percentile(attacks, 75))
    return _kept(grid, np.arange(len(grid.frames)) >= heard[0])


def _until_last_attack(grid: Grid, spectrum: Spectrum, known: Known) -> Grid:
    """End the beats with the last attack: into a chord that rings out, any decoder counts on."""
    rise = spectrum.rise
    if len(grid.frames) < 2:
        return grid
    usual = np.percentile([rise[max(0, f - 2) : f + 3].max() for f in grid.frames], 75)
    last = int(np.flatnonzero(rise >= _ATTACK_SHARE * usual)[-1])
    last = max([last, *(round((time - spectrum.start) * FRAME_RATE) for time in known.downbeats)])
    return _kept(grid, grid.frames <= last + 0.3 * np.median(np.diff(grid.frames)))


def _bridged(grid: Grid, evidence: Evidence) -> Grid:
    """Carry the beats over gaps after which the same pulse goes on: a stop, or a passage too soft to be heard.

    A pause in which the band breaks off starts the count anew; there the pulse does not fit, or too much time passes.
    """
    for run in np.unique(grid.runs)[1:]:
        after = int(np.flatnonzero(grid.runs == run)[0])
        before = after - 1
        if grid.meters[before] != grid.meters[after]:
            continue
        intervals = np.diff(grid.frames[max(0, before - 8) : before + 1])
        if len(intervals) < 4:
            continue
        gap = int(grid.frames[after] - grid.frames[before])
        beats = gap / float(np.median(intervals))
        count = round(beats)
        sounding = evidence.music[grid.frames[before] : grid.frames[after]].mean() > 0
        if abs(beats - count) > _BRIDGE_MISFIT or count > (_LONGEST_BRIDGE if sounding else _LONGEST_STOP):
            continue
        steps = np.arange(1, count)
        per_bar = grid.table[grid.meters[before]].beats
        fill = {
            "frames": grid.frames[before] + np.rint(steps * gap / count).astype(int),
            "slots": (grid.slots[before] + steps) % per_bar,
            "meters": np.full(count - 1, grid.meters[before]),
            "runs": np.full(count - 1, grid.runs[before]),
        }
        parts = {
            name: np.concatenate([getattr(grid, name)[:after], values, getattr(grid, name)[after:]])
            for name, values in fill.items()
        }
        parts["runs"] = np.where(parts["runs"] == run, grid.runs[before], parts["runs"])
        grid = Grid(**parts, score=grid.score, table=grid.table)
    return grid


def _long_enough(grid: Grid) -> Grid:
    """Leave out stretches of music too short to be one, such as a stick tapped during talk."""
    return _kept(grid, np.bincount(grid.runs, minlength=1)[grid.runs] >= _FEWEST_BEATS)


def _plausible(grid: Grid, evidence: Evidence) -> Grid:
    """Leave out everything when the beats hardly stand out: noise and applause can be counted along to, too."""
    features = level_features(grid, evidence)
    if features is not None:
        strength = dict(zip(FEATURES, features, strict=True))
        if strength["on"] >= _LEAST_EVIDENCE:
            return grid
    return _kept(grid, np.zeros(len(grid.frames), bool))


def _kept(grid: Grid, keep: np.ndarray) -> Grid:
    runs = np.unique(grid.runs[keep], return_inverse=True)[1]
    return Grid(grid.frames[keep], grid.slots[keep], grid.meters[keep], runs, grid.score, grid.table)
