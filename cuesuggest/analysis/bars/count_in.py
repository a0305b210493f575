"""Count-in: sticks, a hi-hat, a soft instrument or a voice on the grid of the song before its first full bar.

The decoder may have taken the count for music or for talk, so the grid is carried on to two bars before its first
downbeat, and each of the first three downbeats may turn out to be bar 1. Each is a candidate; what speaks for it is
weighed together (`sure`). Sticks stand alone, are even, alike, softer than the band and of another colour; a counting
voice is uneven, and only its place on the beat, the silence before it and the music after it speak.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from cuesuggest.analysis.finding.scene import Candidate
from cuesuggest.analysis.finding.spans import frame_at, loudness
from cuesuggest.analysis.rhythm.evidence import Evidence
from cuesuggest.analysis.spectrum import Spectrum

__all__ = ["Count", "counts", "lead_in"]

_CLICK_DB = 8.0  # a click falls so far before the next beat
_AFTER_BEATS = ((0.35, 0.85),)  # where it must be quiet after a click, in beats
_AFTER_THIRDS = ((0.18, 0.3), (0.5, 0.63))  # the same where two more clicks may come before the next beat
_HALF = 0.45  # of the beats of a first of two bars: every other may be silent
_SAME_DB, _SAME_COLOUR = 10.0, 0.75  # the clicks of two bars are no more unlike; a voice is less even than sticks
_MOST_BARS = 2
_LATEST = 2  # the bar-1 downbeat is one of the first three
_OPENING = 0.06  # s before a beat in which the window of the transform already hears it


@dataclass(frozen=True, slots=True)
class Count:
    """A possible count-in: bars of it, and which downbeat opens bar 1 after it."""

    opening: int
    bars: int
    candidate: Candidate


def counts(
    spectrum: Spectrum,
    evidence: Evidence,
    beats: np.ndarray,
    slots: np.ndarray,
    beats_per_bar: int,
    *,
    thirds: bool = False,
) -> list[Count]:
    """List what may be a count-in before one of the first downbeats.

    Parameters
    ----------
    spectrum : Spectrum
    evidence : Evidence
    beats : ndarray, shape (beats,)
        Seconds, of one attempt.
    slots : ndarray of int, shape (beats,)
        Beat in its bar, 0 the downbeat.
    beats_per_bar : int
        At the start of the song.
    thirds : bool
        Whether beats divide into three there: then sticks may count all six.

    Returns
    -------
    list of Count
    """
    downbeats = np.flatnonzero(slots == 0)
    if len(downbeats) < 4:
        return []
    first = int(downbeats[0])
    lead = lead_in(beats[first:], _MOST_BARS * beats_per_bar)
    grid = np.concatenate([lead, beats[first:]])
    clicks = _Clicks.at(spectrum, evidence, grid, _AFTER_THIRDS if thirds else _AFTER_BEATS)
    found = []
    for opening in range(_LATEST + 1):
        here = len(lead) + int(downbeats[opening] - first)
        if here < beats_per_bar or grid[here - beats_per_bar] < spectrum.start - _OPENING:
            continue
        bars = 1 + clicks.two_bars(here, beats_per_bar)
        early = here - bars * beats_per_bar
        features = clicks.features(early, here, beats_per_bar)
        if features:
            features |= {"two": float(bars == 2), "late": float(opening)}
            start = max(float(grid[early]), spectrum.start)
            found.append(Count(opening, bars, Candidate("count-in", start, float(grid[here]), features)))
    return found


def lead_in(beats: np.ndarray, count: int) -> np.ndarray:
    """Carry the tempo of the first eight beats on to the beats before them.

    Parameters
    ----------
    beats : ndarray, shape (beats,), beats >= 2
        Seconds.
    count : int

    Returns
    -------
    ndarray, shape (count,)
        Seconds, rising; some may lie before the recording.
    """
    return np.asarray(beats[0] - float(np.median(np.diff(beats[:9]))) * np.arange(count, 0, -1))


@dataclass(frozen=True, slots=True)
class _Clicks:
    """The beats of a grid as clicks: level of each, how far it stands out, its colour, the evidence for a beat."""

    spectrum: Spectrum
    evidence: Evidence
    grid: np.ndarray
    level: np.ndarray
    alone: np.ndarray
    rest: np.ndarray
    beat: np.ndarray
    between: np.ndarray

    @classmethod
    def at(
        cls, spectrum: Spectrum, evidence: Evidence, grid: np.ndarray, after: tuple[tuple[float, float], ...]
    ) -> _Clicks:
        grid = grid[: 8 * 4 + _MOST_BARS * 8]
        decibels = spectrum.decibels
        level, rest, beat, between = (np.full(len(grid) - 1, low) for low in (-100.0, -100.0, -4.0, -4.0))
        for k in range(len(grid) - 1):
            here, step = grid[k], grid[k + 1] - grid[k]
            if here < spectrum.start - _OPENING:
                continue
            middle = frame_at(spectrum, here)
            level[k] = decibels[max(0, middle - 3) : middle + 4].max()
            parts = [(frame_at(spectrum, here + a * step), frame_at(spectrum, here + b * step)) for a, b in after]
            rest[k] = max(float(np.median(decibels[a : b + 1])) for a, b in parts)
            beat[k] = evidence.beat[max(0, middle - 2) : middle + 3].max()
            a, b = frame_at(spectrum, here + 0.3 * step), frame_at(spectrum, here + 0.7 * step)
            between[k] = evidence.beat[a : b + 1].max()
        return cls(spectrum, evidence, grid, level, level - rest, rest, beat, between)

    def two_bars(self, here: int, beats_per_bar: int) -> bool:
        """Whether the bar before the last counted one is counted too: "one … two …" before "one two three four"."""
        early = here - 2 * beats_per_bar
        if early < 0 or self.grid[early] < self.spectrum.start - _OPENING:
            return False
        first, last = (early + np.flatnonzero(self.alone[early:here] >= _CLICK_DB)).tolist(), here - beats_per_bar
        before, after = [k for k in first if k < last], [k for k in first if k >= last]
        if len(before) < max(2, _HALF * beats_per_bar) or not after:
            return False
        colours = [self._colours(part).mean(axis=0) for part in (before, after)]
        even = abs(np.median(self.level[before]) - np.median(self.level[after])) < _SAME_DB
        return bool(even and _likeness(*colours) > _SAME_COLOUR)

    def _colours(self, beats: list[int]) -> np.ndarray:
        """Bands at some beats, each of length 1."""
        frames = [frame_at(self.spectrum, self.grid[k]) for k in beats]
        colours = np.stack([self.spectrum.bands[max(0, f - 1) : f + 3].max(axis=0) for f in frames])
        return np.asarray(colours / (np.linalg.norm(colours, axis=1, keepdims=True) + 1e-6))

    def features(self, early: int, here: int, beats_per_bar: int) -> dict[str, float]:
        """What speaks for a count from one beat of the grid to another; nothing where too little is heard."""
        spectrum, grid = self.spectrum, self.grid
        if here + beats_per_bar >= len(grid) - 1:
            return {}
        last = slice(here - beats_per_bar, here)
        heard = (early + np.flatnonzero(self.alone[early:here] >= _CLICK_DB)).tolist()
        if len(heard) < 2:
            return {}
        opens, begin = float(grid[here]), float(grid[early])
        after_end = float(grid[min(here + 2 * beats_per_bar, len(grid) - 1)])
        colours = self._colours(heard).mean(axis=0)
        band = self._colours(list(range(here, here + beats_per_bar))).mean(axis=0)
        clicks = float(np.median(self.level[heard]))
        step = float(grid[early + 1] - begin)
        hush = spectrum.decibels[frame_at(spectrum, begin - 1.3 * step) : frame_at(spectrum, begin - 0.3 * step) + 1]
        music = self.evidence.music
        during, after = (
            float(music[frame_at(spectrum, a) : frame_at(spectrum, b) + 1].mean())
            for a, b in ((begin, opens - 0.5 * step), (opens + 0.5 * step, after_end))
        )
        louder = loudness(spectrum, opens, after_end) - loudness(spectrum, begin, opens - _OPENING)
        fuller = self._lows(opens, after_end) - self._lows(begin, opens - _OPENING)
        enters = float(self.level[here : here + beats_per_bar].mean()) - clicks
        return {
            "share": float((self.alone[last] >= _CLICK_DB).mean()),
            "alone": float(np.clip(np.median(self.alone[heard]), 0, 20)) / 10,
            "uneven": min(float(self.level[heard].std()), 15.0) / 10,
            "alike": float(colours @ colours),
            "unlike": 1 - _likeness(colours, band),
            "louder": float(np.clip(louder, -10, 15)) / 10,
            "fuller": float(np.clip(fuller, -5, 20)) / 10,
            "enters": float(np.clip(enters, -10, 15)) / 10,
            "beat": float(self.beat[early:here].mean()),
            "between": float(self.between[early:here].mean()),
            "hush": float(np.clip(clicks - hush.max(), -10, 15)) / 10,
            "music": during,
            "music_step": after - during,
        }

    def _lows(self, start: float, end: float) -> float:
        """Level that a fifth of the frames stay under."""
        spectrum = self.spectrum
        part = spectrum.decibels[frame_at(spectrum, start) : frame_at(spectrum, end) + 1]
        return float(np.percentile(part, 20))


def _likeness(one: np.ndarray, other: np.ndarray) -> float:
    """Cosine of the angle between two colours."""
    return float(one @ other / (np.linalg.norm(one) * np.linalg.norm(other) + 1e-6))
