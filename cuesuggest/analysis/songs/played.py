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

from cuesuggest.analysis.bars.edges import loud_level, music_end, music_limit
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
_CLEAR = 4.5  # nats by which the beats of the clearest music stand out; in noodling 1 to 3, in bands 5 to 8
_ACROSS = 3.5  # nats that a beat must bring behind a silence; the beats of bands bring 5 to 8
_SILENCE = 10.0  # nats lost by a silence: behind it, somebody else may have played
_SAME_TEMPO = 0.06  # of the interval; a band's beginning is no further from what follows
_NEAR = 4  # beats to each side over which the tempo is taken
_GIVEN_UP = 45.0  # nats lost on the way, five bars of nothing, behind which another piece of music may lie
_QUIET_DB, _OVER_FLOOR_DB, _SURELY_DB = 30.0, 8.0, 18.0  # silence: under the band, or near the room's own noise
_SMOOTH = 10  # frames
_HIT_DB = 8.0  # under the band's level: the whole band strikes, and no stick counts in
_RING_SECONDS = 6.0  # after the last beat, at most


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
    found = _clearest(part, *believed(part))
    if found is None:
        return []
    earlier = played_in(spectrum, start, min(end, found.start), before, found.start)
    later = played_in(spectrum, max(start, found.end), end, found.end, after)
    return [*earlier, found, *later]


def _clearest(part: Spectrum, logits: np.ndarray, rhythm: Rhythm) -> Played | None:
    """Return the music around the clearest beats of what was read, as far as it reaches."""
    frames = rhythm.grid.frames
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
    first = at - _reach(beats, np.arange(at - 1, -1, -1), tempo)
    last = after + _reach(beats, np.arange(after, len(frames)), tempo)
    inside = slice(first, last)
    attack = float(times[last - 1])
    heard = hear_around(part, logits[HEADS.index("music")])
    limit = min(attack + _RING_SECONDS, music_limit(part, heard, attack))
    died = music_end(part, attack, loud_level(part, float(times[first]), attack), limit)
    ones = times[inside][rhythm.grid.slots[inside] == 0]
    beat = float(np.median(np.diff(times[inside])))
    bar = float(np.median(np.diff(ones))) if len(ones) > 2 else 4 * beat
    return Played(
        start=float(times[first]),
        end=min(died, part.end),
        beats=times[inside],
        clear=float(apart[inside].mean()),
        tempo_bpm=60 / beat,
        bar=bar,
    )


@dataclass(frozen=True, slots=True)
class _Beats:
    """What is known of each beat as read: by how much it stands out, its length in frames, a silence in it."""

    apart: np.ndarray
    step: np.ndarray
    silent: np.ndarray


def _silences(part: Spectrum, frames: np.ndarray, core: np.ndarray) -> np.ndarray:
    """Beats in which it falls silent, unless the whole band strikes them."""
    level = 10 * np.log10(np.maximum(ndimage.uniform_filter1d(part.level, _SMOOTH, mode="nearest"), 1e-10))
    loud = float(np.percentile(level[core[0] : core[-1] + 1], 90))
    floor = float(np.percentile(level, 2)) + _OVER_FLOOR_DB
    quiet = min(max(loud - _QUIET_DB, floor), loud - _SURELY_DB)
    lowest = np.minimum.reduceat(level, frames)
    highest = np.maximum.reduceat(level, frames)
    return (lowest < quiet) & (highest < loud - _HIT_DB)


def _reach(beats: _Beats, order: np.ndarray, tempo: float) -> int:
    """How many beats on from its core a piece of music reaches.

    As far as the music sounds without a silence it is one piece, clear or not, slower or not: nobody breaks in. Behind
    a silence, to where the sum of what the beats bring is largest.
    """
    best, reached, total, behind, silent = 0.0, 0, 0.0, False, False
    for k, beat in enumerate(order, 1):
        if beats.silent[beat]:
            total -= 0.0 if silent else _SILENCE
            behind = True
        silent = bool(beats.silent[beat])
        if behind:
            kept = abs(beats.step[beat] / tempo - 1) < _SAME_TEMPO
            total += (beats.apart[beat] if kept else 0.0) - _ACROSS
        if total >= best:
            best, reached, behind = total, k, False
            tempo = 0.9 * tempo + 0.1 * beats.step[beat]
        elif total < best - _GIVEN_UP:
            break
    return reached


def _usual(values: np.ndarray) -> np.ndarray:
    return np.asarray(ndimage.median_filter(values, 2 * _NEAR + 1, mode="nearest"))
