"""Where a band keeps a pulse in a stretch of music, as against a player who tunes, tries a riff, or counts a click in.

The beats of the stretch are read as those of a song are. Where a band plays, each beat stands out of what lies half-way
to the next; where somebody noodles, the decoder finds beats too, but they hardly stand out, and their tempo is not that
of the song beside them. So a piece of music grows from its clearest beats to both sides as long as that pays. What is
left over on either side is looked at by itself: it may be another song.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import ndimage

from cuesuggest.analysis.bars.edges import music_limit
from cuesuggest.analysis.finding.scene import Heard
from cuesuggest.analysis.finding.spans import frame_at
from cuesuggest.analysis.finding.talk_signs import hear_around
from cuesuggest.analysis.frames import HEADS
from cuesuggest.analysis.rhythm import Rhythm
from cuesuggest.analysis.rhythm.choice import believed
from cuesuggest.analysis.rhythm.evidence import top_near
from cuesuggest.analysis.songs.excerpt import excerpt
from cuesuggest.analysis.spectrum import Spectrum

__all__ = ["Played", "played_in"]

_BESIDE = 20.0  # s to each side of a stretch: soft beginnings and endings that the network does not take for music
_LEAST_SECONDS = 8.0  # of a stretch in which a pulse is sought
_CORE = 24  # beats, six bars, of the clearest music
_CLEAR = 4.0  # nats by which the beats of the clearest music stand out; in noodling 1 to 3, in bands 5 to 8
_ACROSS = 4.0  # nats that a beat must bring behind a silence; the beats of bands bring 5 to 8
_SILENCE = 10.0  # nats lost by a silence: behind it, somebody else may have played
_SAME_TEMPO = 0.06  # of the interval; a band's beginning is no further from what follows
_NEAR = 4  # beats to each side over which the tempo is taken
_GIVEN_UP = 45.0  # nats lost on the way, five bars of nothing, behind which another piece of music may lie
_QUIET_DB, _OVER_FLOOR_DB, _SURELY_DB = 30.0, 8.0, 18.0  # silence: under the band, or near the room's own noise
_SMOOTH = 10  # frames
_HIT_DB = 8.0  # under the band's level: the whole band strikes, and no stick counts in
_SURE_AGAIN = 16  # beats behind a silence after which what goes on is the song's: a count-in is shorter
_RISES_DB = 12.0  # nothing that rings out becomes louder by so much
_DENIED = -3.0  # nats of the network's against music; of soft beginnings it has -2 and more, of talk -6
_UNSURE = 0.5  # s around the first beat, in which talk before it is still heard
_LEAST_BARS = 2.0  # of a soft beginning; what is shorter is a pickup or a count-in
_RING_SECONDS = 7.0  # after the last beat, at most


@dataclass(frozen=True, slots=True)
class Played:
    """Music with a pulse that is kept.

    Attributes
    ----------
    start, end : float
        Seconds from the start of the file: its first beat, and where its last sound has died away.
    beats : ndarray
        Seconds.
    clear : float
        By how many nats its beats stand out.
    tempo_bpm : float
    bar : float
        Seconds of a usual bar.
    """

    start: float
    end: float
    beats: np.ndarray
    clear: float
    tempo_bpm: float
    bar: float

    @property
    def length(self) -> float:
        """Seconds."""
        return self.end - self.start


def played_in(spectrum: Spectrum, start: float, end: float, before: float, after: float) -> list[Played]:
    """Find the music with a pulse in a stretch of sound.

    Parameters
    ----------
    spectrum : Spectrum
        Of the whole recording.
    start, end : float
        Of the stretch, seconds.
    before, after : float
        Where its neighbours end and begin.

    Returns
    -------
    list of Played
        In order; none where nobody keeps a pulse.
    """
    if end - start < _LEAST_SECONDS:
        return []
    first, last = max(before, start - _BESIDE), min(after, end + _BESIDE)
    part = excerpt(spectrum, round(first, 1), round(last, 1))
    found = _clearest(part, *believed(part), end)
    if found is None:
        return []
    earlier = played_in(spectrum, start, min(end, found.start), before, found.start)
    later = played_in(spectrum, max(start, found.end), end, found.end, after)
    return [*earlier, found, *later]


def _clearest(part: Spectrum, logits: np.ndarray, rhythm: Rhythm, end: float) -> Played | None:
    """Return the music around the clearest beats of what was read, as far as it reaches."""
    frames, runs = rhythm.grid.frames, rhythm.grid.runs
    if len(frames) < _CORE:
        return None
    evidence, times = rhythm.evidence, rhythm.times
    gaps = np.diff(frames)
    middle = np.append(frames[:-1] + gaps // 2, min(frames[-1] + gaps[-1] // 2, len(evidence.beat) - 1))
    apart = top_near(evidence.beat, frames) - top_near(evidence.beat, middle)
    core = np.convolve(apart, np.full(_CORE, 1 / _CORE), "valid")
    at = int(core.argmax())
    if core[at] < _CLEAR:
        return None
    after = at + _CORE
    beats = _Beats(apart, _usual(np.append(gaps, gaps[-1]).astype(float)), _silences(part, frames, frames[at:after]))
    tempo = float(np.median(beats.step[at:after]))
    # Where the decoder heard no music in between, it is another piece.
    own = np.flatnonzero(runs == runs[at + _CORE // 2])
    first = at - _reach(beats, np.arange(at - 1, own[0] - 1, -1), tempo)
    last = after + _reach(beats, np.arange(after, own[-1] + 1), tempo)
    inside = slice(first, last)
    heard = hear_around(part, logits[HEADS.index("music")])
    attack = float(times[last - 1])
    # Where no network hears music any more, what still sounds is hardly the song's.
    limit = min(attack + _RING_SECONDS, max(end, attack) + _UNSURE, music_limit(part, heard, attack))
    ones = times[inside][rhythm.grid.slots[inside] == 0]
    beat = float(np.median(np.diff(times[inside])))
    bar = float(np.median(np.diff(ones))) if len(ones) > 2 else 4 * beat
    quiet = _quiet(part, frames[at:after])
    return Played(
        start=_soft_start(part, heard, float(times[first]), bar, quiet),
        end=_dies_away(part, attack, limit, quiet),
        beats=times[inside],
        clear=float(apart[inside].mean()),
        tempo_bpm=60 / beat,
        bar=bar,
    )


def _soft_start(part: Spectrum, heard: Heard, first: float, bar: float, quiet: float) -> float:
    """Where a soft beginning before the first beat that is read begins: what sounds without a break and is no talk."""
    level = np.interp(heard.seconds, part.seconds, ndimage.minimum_filter1d(_level(part), _SMOOTH))
    others = (np.maximum(heard.talk, heard.crowd) >= 0) | (heard.music <= _DENIED)
    before = np.flatnonzero((level < quiet) & (heard.seconds < first) | others & (heard.seconds < first - _UNSURE))
    start = float(heard.seconds[before[-1] + 1]) if len(before) else part.start
    return start if first - start > _LEAST_BARS * bar else first


def _dies_away(part: Spectrum, attack: float, limit: float, quiet: float) -> float:
    """Where what rings out falls silent, or is softest before something is louder again; else the limit."""
    first = frame_at(part, attack)
    level = _level(part)[first : frame_at(part, limit) + 1]
    silent = np.flatnonzero(level < quiet)
    if len(silent):
        return float(part.seconds[first + int(silent[0])])
    risen = np.flatnonzero(level > np.minimum.accumulate(level) + _RISES_DB)
    return limit if not len(risen) else float(part.seconds[first + int(level[: risen[0]].argmin())])


def _level(part: Spectrum) -> np.ndarray:
    """Level in dB, so smooth that a gap between two strokes is none."""
    return np.asarray(10 * np.log10(np.maximum(ndimage.uniform_filter1d(part.level, _SMOOTH, mode="nearest"), 1e-10)))


def _quiet(part: Spectrum, core: np.ndarray) -> float:
    """Level in dB under which nobody plays: so much under the clearest music, or near the room's own noise."""
    level = _level(part)
    loud = float(np.percentile(level[core[0] : core[-1] + 1], 90))
    floor = float(np.percentile(level, 2)) + _OVER_FLOOR_DB
    return min(max(loud - _QUIET_DB, floor), loud - _SURELY_DB)


@dataclass(frozen=True, slots=True)
class _Beats:
    """What is known of each beat as read: by how much it stands out, its length in frames, a silence in it."""

    apart: np.ndarray
    step: np.ndarray
    silent: np.ndarray


def _silences(part: Spectrum, frames: np.ndarray, core: np.ndarray) -> np.ndarray:
    """Beats in which it falls silent, unless the whole band strikes them."""
    level = _level(part)
    loud = float(np.percentile(level[core[0] : core[-1] + 1], 90))
    quiet = _quiet(part, core)
    lowest = np.minimum.reduceat(level, frames)
    highest = np.maximum.reduceat(level, frames)
    return (lowest < quiet) & (highest < loud - _HIT_DB)


def _reach(beats: _Beats, order: np.ndarray, tempo: float) -> int:
    """How many beats on from its core a piece of music reaches.

    As far as the music sounds without a silence it is one piece, clear or not, slower or not: nobody breaks in. Behind
    a silence, to where the sum of what the beats bring is largest.
    """
    best, reached, total, since = 0.0, 0, 0.0, _SURE_AGAIN
    for k, beat in enumerate(order, 1):
        if beats.silent[beat]:
            total -= _SILENCE if since else 0.0
            since = 0
        else:
            since += 1
        if since < _SURE_AGAIN or total < best:
            kept = abs(beats.step[beat] / tempo - 1) < _SAME_TEMPO
            total += (beats.apart[beat] if kept else 0.0) - _ACROSS
        if total >= best:
            best, reached = total, k
            tempo = 0.9 * tempo + 0.1 * beats.step[beat]
        elif total < best - _GIVEN_UP:
            break
    return reached


def _usual(values: np.ndarray) -> np.ndarray:
    return np.asarray(ndimage.median_filter(values, 2 * _NEAR + 1, mode="nearest"))
