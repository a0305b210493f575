"""Signs that a section starts at a bar line: change, what leads to it, and what the network makes of it."""

from __future__ import annotations

import numpy as np

from cuesuggest.analysis.frames import HEADS
from cuesuggest.analysis.spectrum import FRAME_RATE, Spectrum, band_edges, running_sums
from cuesuggest.analysis.structure.bar_vectors import COMPARED, BarVectors, SongBars

__all__ = ["NETWORK_SIGNS", "SIGNS", "line_signs"]

SIGNS = (
    "head", "head_peak", "build_ends", "timbre_2", "timbre_4", "rhythm_2", "rhythm_4", "loudness", "loudness_peak",
    "low_end", "repeat", "odd_rhythm", "odd_timbre", "gap", "crash",
)  # fmt: skip
"""What `line_signs` returns, in order:

- head, head_peak: the network's opinion, by itself and against that at the bar lines nearby
- build_ends: a build, as the network hears it, is over
- timbre_2, timbre_4, rhythm_2, rhythm_4: how unlike two and four bars before and after are (the novelty of Foote 2000)
- loudness, loudness_peak: step of loudness over two bars; over one, against that at the next bar lines
- low_end: bass and kick come in
- repeat: the last four bars and the coming four are each like others elsewhere, but never together; in a loop that
  goes on they are
- odd_rhythm, odd_timbre: the bar before is unlike those before it, as a fill is
- gap: the band stops just before
- crash: cymbals ring after the bar line
"""
NETWORK_SIGNS = ("head", "head_peak", "build_ends")
_HEAD_LIMIT = 8.0
_HEAD_FRAMES = 4  # to each side of the bar line: more than the scatter of beats
_NEAR = 4  # bars to each side that a bar line is compared with
_RUN = 4  # bars that must be alike for a repeat
_REPEAT_WEIGHTS = (0.45, 0.35, 0.2)
_LOW_HZ, _CYMBAL_HZ = 140.0, 5000.0
_RING_SECONDS = (0.04, 0.6)  # after the bar line; the stroke itself is left out


def line_signs(spectrum: Spectrum, logits: np.ndarray, bars: SongBars, vectors: BarVectors) -> np.ndarray:
    """What speaks for a section's start at each bar line; all 0 at the first.

    Parameters
    ----------
    spectrum : Spectrum
    logits : ndarray, shape (7, frames)
        What the network made of it.
    bars : SongBars
    vectors : BarVectors

    Returns
    -------
    ndarray, shape (bars, 15)
        In the order of `SIGNS`.
    """
    heads = dict(zip(HEADS, logits, strict=True))
    first = np.rint((bars.starts - spectrum.start) * FRAME_RATE).astype(int)
    last = np.rint((bars.ends - spectrum.start) * FRAME_RATE).astype(int)
    beat = max(round(bars.beat * FRAME_RATE), 2)
    head = np.clip(_top_around(heads["section"], first, _HEAD_FRAMES), -_HEAD_LIMIT, _HEAD_LIMIT) / 4
    build = 1 / (1 + np.exp(-np.clip(heads["build"], -20, 20)))
    centres = band_edges()[1:-1]
    low = _means(spectrum.bands[:, centres < _LOW_HZ].mean(axis=1), first, last)
    high = spectrum.bands[:, centres > _CYMBAL_HZ].mean(axis=1)
    ring = _means(high, *(first + round(each * FRAME_RATE) for each in _RING_SECONDS))
    level = np.maximum(spectrum.decibels, -80)
    step = np.abs(np.clip(_steps(bars.loudness, 1) / 6, -2, 2))
    signs = {
        "head": head,
        "head_peak": np.clip(head - _best_near(head, _NEAR), -2, 2),
        "build_ends": -_steps(_means(build, first, last), 2),
        "loudness": np.abs(np.clip(_steps(bars.loudness, 2) / 6, -2, 2)),
        "loudness_peak": step - _best_near(step, 1),
        "low_end": _steps(low, 2),
        "repeat": _repeats(vectors),
        "odd_rhythm": _odd_before(vectors.rhythm),
        "odd_timbre": _odd_before(vectors.timbre),
        "gap": np.clip((_means(level, first, first + beat) - _means(level, first - beat // 2, first - 1)) / 12, -1, 2),
        "crash": np.clip(ring - _middle_near(ring), -1.5, 1.5),
    }
    for kind in ("timbre", "rhythm"):
        for reach in (2, 4):
            signs[f"{kind}_{reach}"] = _novelty(getattr(vectors, kind), reach)
    table = np.stack([signs[name] for name in SIGNS], axis=1)
    table[0] = 0.0
    return table


def _means(curve: np.ndarray, first: np.ndarray, last: np.ndarray) -> np.ndarray:
    """Means of a curve between frames, of at least one frame."""
    sums = running_sums(curve)
    first = np.clip(first, 0, len(curve) - 1)
    last = np.clip(last, first + 1, len(curve))
    return np.asarray((sums[last] - sums[first]) / (last - first))


def _top_around(curve: np.ndarray, frames: np.ndarray, reach: int) -> np.ndarray:
    index = np.clip(frames[:, None] + np.arange(-reach, reach + 1), 0, len(curve) - 1)
    return np.asarray(curve[index].max(axis=1), float)


def _steps(values: np.ndarray, reach: int) -> np.ndarray:
    """Mean of up to `reach` bars from each bar line on, less that of those before it; 0 at the first."""
    sums = running_sums(values)
    place = np.arange(len(values))
    begin, end = np.maximum(place - reach, 0), np.minimum(place + reach, len(values))
    before = (sums[place] - sums[begin]) / np.maximum(place - begin, 1)
    steps = (sums[end] - sums[place]) / (end - place) - before
    steps[0] = 0.0
    return np.asarray(steps)


def _neighbours(values: np.ndarray, reach: int) -> np.ndarray:
    """The values to each side of each; beyond the ends those of the end. (n, 2 x reach)"""
    shifts = [shift for shift in range(-reach, reach + 1) if shift]
    return np.asarray(values[np.clip(np.arange(len(values))[:, None] + shifts, 0, len(values) - 1)])


def _best_near(values: np.ndarray, reach: int) -> np.ndarray:
    return np.asarray(_neighbours(values, reach).max(axis=1))


def _middle_near(values: np.ndarray) -> np.ndarray:
    return np.asarray(np.median(_neighbours(values, _NEAR), axis=1))


def _odd_before(vectors: np.ndarray) -> np.ndarray:
    """How unlike the four bars before it the bar is that leads to each bar line."""
    count = len(vectors)
    odd = np.zeros(count)
    for place in range(2, count):
        before = slice(max(0, place - 1 - _NEAR), place - 1)
        odd[place] = 1 - np.median(vectors[before] @ vectors[place - 1])
    return odd


def _novelty(vectors: np.ndarray, reach: int) -> np.ndarray:
    """How much more alike bars are on each side of a bar line than across it; 0 at the first."""
    count = len(vectors)
    novelty = np.zeros(count)
    for place in range(1, count):
        size = min(reach, place, count - place)
        around = vectors[place - size : place + size]
        similarity = around @ around.T
        inside = 0.5 * (similarity[:size, :size].mean() + similarity[size:, size:].mean())
        novelty[place] = inside - similarity[:size, size:].mean()
    return novelty


def _repeats(vectors: BarVectors) -> np.ndarray:
    """How much better four bars to each side of a bar line are repeated alone than together."""
    count = len(vectors)
    strength = np.zeros(count)
    for start in range(0, count, COMPARED):
        begin, end = max(0, start - _RUN), min(count, start + COMPARED + _RUN)
        whole = end - begin - _RUN + 1  # runs of four bars, by their first
        if whole <= _RUN:
            continue
        similarity = vectors.alike(slice(begin, end), slice(None), _REPEAT_WEIGHTS)
        runs = np.zeros((whole, count - _RUN + 1))
        for k in range(_RUN):
            runs += similarity[k : k + whole, k : count - _RUN + 1 + k] / _RUN
        places, others = np.arange(begin + _RUN, begin + whole), np.arange(_RUN, runs.shape[1])
        near = np.abs(places[:, None] - others) < _RUN
        after, before = (np.where(near, -1.0, each) for each in (runs[_RUN:, _RUN:], runs[:-_RUN, :-_RUN]))
        alone = (after.max(axis=1) + before.max(axis=1)) / 2
        strength[places] = np.where(near.all(axis=1), 0.0, alone - np.minimum(after, before).max(axis=1))
    return strength
