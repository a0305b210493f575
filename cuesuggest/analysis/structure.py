"""Sections: where they begin, and which repeat.

Bars are compared with one another (harmony, timbre, rhythm); one dynamic programme over bars then chooses the
boundaries that make blocks alike inside, different from their neighbours, and repeated elsewhere, against a soft cost
for unusual lengths (family: Marmoret, Cohen and Bimbot 2023; the novelty kernel is Foote's, 2000). Letters come from
the similarity of whole sections, up to a shift of two semitones.

Similarities are made where they are needed and never kept for all pairs of bars: two hours have thousands of bars.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from scipy import fft

from cuesuggest.analysis.rhythm.evidence import flux
from cuesuggest.analysis.spectrum import CHROMA_RATE, FRAME_RATE, Spectrum, running_sums

__all__ = ["Block", "find_sections"]

LONGEST = 32  # bars
_CHROMA_PARTS, _TIMBRE_PARTS, _RHYTHM_PARTS = 4, 2, 16
_TIMBRE_TERMS = 12
_SIMILARITY = {"chroma": 0.45, "timbre": 0.35, "rhythm": 0.2}
_TRANSPOSITIONS = (1, 2)
_COMPARED = 128  # bars compared with all others at a time
_KERNEL = 4  # bars to each side of a boundary
_HOMOGENEITY, _REPETITION, _NOVELTY, _STEP = 0.6, 1.0, 3.0, 0.9
_BOUNDARY_COST = 2.0
_LENGTH_COST = 0.7
_SAME = 0.62  # similarity above which two sections share a letter
_VARIED = 0.8  # and below this, one that has a prime


@dataclass(frozen=True, slots=True)
class Block:
    """A section as indices of bars, `first` to `last` inclusive."""

    first: int
    last: int
    letter: int
    """0 for the first material heard, 1 for the next …"""
    varied: bool
    confidence: float


def find_sections(spectrum: Spectrum, starts: np.ndarray, ends: np.ndarray, loudness: np.ndarray) -> list[Block]:
    """Divide bars into sections and name what repeats.

    Parameters
    ----------
    spectrum : Spectrum
    starts, ends : ndarray, shape (bars,), bars >= 1
        Seconds.
    loudness : ndarray, shape (bars,)
        LUFS.

    Returns
    -------
    list of Block
        In order, without gaps.
    """
    count = len(starts)
    if count < 2 * _KERNEL:
        return [Block(0, count - 1, 0, False, 0.0)]
    bars = _describe(spectrum, starts, ends)
    novelty = _novelty(bars) * _NOVELTY + _loudness_steps(loudness) * _STEP
    edges = _best_edges(_block_gain(bars), novelty)
    spans = list(pairwise(edges))
    letters, varied = _letters(bars, spans)
    scale = float(np.percentile(novelty, 90)) + 1e-9
    confidences = [1.0 if a == 0 else float(np.clip(novelty[a] / scale, 0, 1)) for a, _ in spans]
    return [Block(a, b - 1, letters[k], varied[k], round(confidences[k], 3)) for k, (a, b) in enumerate(spans)]


def _resampled(rows: np.ndarray, rate: float, starts: np.ndarray, ends: np.ndarray, parts: int) -> np.ndarray:
    """Means of `parts` equal pieces of every bar; bars x parts x columns."""
    edges = starts[:, None] + (ends - starts)[:, None] * np.arange(parts + 1) / parts
    place = np.clip(np.rint(edges * rate).astype(int), 0, len(rows) - 1)
    sums = running_sums(rows)
    first, last = place[:, :-1], np.maximum(place[:, 1:], place[:, :-1] + 1)
    return np.asarray((sums[last] - sums[first]) / (last - first)[:, :, None])


@dataclass(frozen=True, slots=True)
class _Bars:
    """What bars are compared by, as vectors: the product of two is how alike the bars are, at most 1 in all."""

    chroma: np.ndarray
    moved: tuple[np.ndarray, ...]
    """The chroma a few semitones up and down."""
    rest: np.ndarray
    """Timbre and rhythm, with their weights."""

    def alike(self, rows: slice, columns: slice) -> np.ndarray:
        """Similarity of some bars with others."""
        harmony = self.chroma[rows] @ self.chroma[columns].T
        return np.asarray(_SIMILARITY["chroma"] * harmony + self.rest[rows] @ self.rest[columns].T)

    def alike_moved(self, rows: slice, columns: slice) -> np.ndarray:
        """The same after the best transposition by up to two semitones."""
        best = self.chroma[rows] @ self.chroma[columns].T
        for moved in self.moved:
            # A transposition must win clearly: among unrelated bars one of five always fits a little better.
            np.maximum(best, self.chroma[rows] @ moved[columns].T - 0.15, out=best)
        return np.asarray(_SIMILARITY["chroma"] * best + self.rest[rows] @ self.rest[columns].T)


def _unit(rows: np.ndarray) -> np.ndarray:
    rows = rows.reshape(len(rows), -1)
    return np.asarray(rows / np.maximum(np.linalg.norm(rows, axis=1, keepdims=True), 1e-9))


def _describe(spectrum: Spectrum, starts: np.ndarray, ends: np.ndarray) -> _Bars:
    starts, ends = starts - spectrum.start, ends - spectrum.start
    chroma = _resampled(np.sqrt(spectrum.chroma), CHROMA_RATE, starts, ends, _CHROMA_PARTS)
    chroma = chroma - chroma.mean(axis=2, keepdims=True)
    timbre = _resampled(spectrum.bands, FRAME_RATE, starts, ends, _TIMBRE_PARTS)
    timbre = fft.dct(timbre, axis=2, norm="ortho")[:, :, :_TIMBRE_TERMS].reshape(len(starts), -1)
    timbre = (timbre - timbre.mean(axis=0)) / (timbre.std(axis=0) + 0.1)
    rhythm = _resampled(np.maximum(flux(spectrum.bands), 0), FRAME_RATE, starts, ends, _RHYTHM_PARTS)
    rhythm = rhythm - rhythm.mean(axis=0)
    moved = tuple(_unit(np.roll(chroma, shift * sign, axis=2)) for shift in _TRANSPOSITIONS for sign in (1, -1))
    weighted = [np.sqrt(_SIMILARITY["timbre"]) * _unit(timbre), np.sqrt(_SIMILARITY["rhythm"]) * _unit(rhythm)]
    return _Bars(_unit(chroma), moved, np.concatenate(weighted, axis=1))


def _novelty(bars: _Bars) -> np.ndarray:
    """How unlike the bars before and after each bar line are; 0 at the ends."""
    count = len(bars.chroma)
    novelty = np.zeros(count)
    for place in range(1, count):
        reach = min(_KERNEL, place, count - place)
        around = slice(place - reach, place + reach)
        similarity = bars.alike(around, around)
        inside = 0.5 * (similarity[:reach, :reach].mean() + similarity[reach:, reach:].mean())
        novelty[place] = inside - similarity[:reach, reach:].mean()
    return np.maximum(novelty, 0)


def _loudness_steps(loudness: np.ndarray) -> np.ndarray:
    """Change of loudness at each bar line, two bars against two, 1 for 6 LU."""
    steps = np.zeros(len(loudness))
    for place in range(1, len(loudness)):
        reach = min(2, place, len(loudness) - place)
        before, after = loudness[place - reach : place].mean(), loudness[place : place + reach].mean()
        steps[place] = min(abs(after - before) / 6, 1.5)
    return steps


def _block_gain(bars: _Bars) -> np.ndarray:
    """What a section from bar i of n bars is worth; bars x (LONGEST + 1), minus infinity where it does not fit."""
    count = len(bars.chroma)
    gain = np.full((count, LONGEST + 1), -np.inf)
    for start in range(0, count, _COMPARED):
        stop = min(start + _COMPARED, count)
        reach = slice(start, min(stop + LONGEST, count))
        near = bars.alike(reach, reach)
        sums = np.zeros((len(near) + 1, len(near) + 1))
        sums[1:, 1:] = near.cumsum(axis=0).cumsum(axis=1)
        far = bars.alike_moved(reach, slice(None))
        runs = np.zeros((len(far) + 1, count + 1))  # sums of similarity along runs of bars
        for length in range(1, min(LONGEST, count) + 1):
            for shift in {length - 1, 1 - length}:  # a section does not repeat itself, nor overlap what repeats it
                _clear(far, start + shift)
                _clear(runs, start + shift)
            runs = runs[:-1, :-1]
            runs += far[length - 1 :, length - 1 :]
            first = np.arange(min(stop, count - length + 1) - start)
            if not len(first):
                break
            last = first + length
            square = sums[last, last] - sums[first, last] - sums[last, first] + sums[first, first]
            alike = (square - length) / max(length * (length - 1), 1)
            again = runs[: len(first)].max(axis=1) / length
            worth = _HOMOGENEITY * alike + _REPETITION * np.maximum(again - 0.3, 0)
            cost = _BOUNDARY_COST + _LENGTH_COST * _length_cost(length)
            gain[start + first, length] = worth * length / 4 - cost
    return gain


def _clear(table: np.ndarray, shift: int) -> None:
    """Set one diagonal to 0, the one that meets the first row in column `shift`."""
    rows = np.arange(max(0, -shift), min(len(table), table.shape[1] - shift))
    table[rows, rows + shift] = 0.0


def _length_cost(length: int) -> float:
    """Sections of eight bars are the most common, then multiples of four, then even lengths."""
    if length == 8:
        return 0.0
    if length in (4, 12, 16):
        return 0.25
    if length < 3:
        return 2.0
    return 0.5 if length % 2 == 0 else 1.0


def _best_edges(gain: np.ndarray, novelty: np.ndarray) -> list[int]:
    """Boundaries, first and last included, of the division worth most."""
    count = len(gain)
    best = np.full(count + 1, -np.inf)
    best[0] = 0.0
    came = np.zeros(count + 1, int)
    for end in range(1, count + 1):
        lengths = np.arange(1, min(LONGEST, end) + 1)
        firsts = end - lengths
        worth = best[firsts] + gain[firsts, lengths] + novelty[firsts]
        top = int(worth.argmax())
        best[end], came[end] = worth[top], firsts[top]
    edges = [count]
    while edges[-1] > 0:
        edges.append(int(came[edges[-1]]))
    return edges[::-1]


def _letters(bars: _Bars, spans: list[tuple[int, int]]) -> tuple[list[int], list[bool]]:
    """Letter of each section: that of the most similar earlier one, if similar enough; and whether it is varied."""
    letters: list[int] = []
    varied: list[bool] = []
    start = stop = 0
    for k, (first, last) in enumerate(spans):
        if last > stop:
            start, stop = first, first + _COMPARED + LONGEST
            similarity = bars.alike_moved(slice(start, stop), slice(0, stop))
        own = similarity[first - start : last - start]
        found = max(((_likeness(own[:, slice(*spans[j])]), -j) for j in range(k)), default=(0.0, 0))
        if found[0] >= _SAME:
            letters.append(letters[-found[1]])
            varied.append(found[0] < _VARIED)
        else:
            letters.append(max(letters, default=-1) + 1)
            varied.append(False)
    return letters, varied


def _likeness(similarity: np.ndarray) -> float:
    """Mean similarity along the best alignment of the shorter of two sections with a part of the longer."""
    if similarity.shape[0] > similarity.shape[1]:
        similarity = similarity.T
    length, longer = similarity.shape
    if length < 2 or length < 0.4 * longer:
        return 0.0
    return max(float(np.trace(similarity, k)) for k in range(longer - length + 1)) / length
