"""Which sections are of the same material: letters by repetition, up to a shift of two semitones.

For each two sections a logistic model tells the odds that a musician would give them the same letter: from how alike
their bars are one by one, from their lengths and loudness. Sections are then joined, the most likely first, as long as
the mean over all pairs of two groups speaks for it.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from cuesuggest.analysis.spectrum import running_sums
from cuesuggest.analysis.structure.bar_vectors import BarVectors
from cuesuggest.analysis.structure.weights import Weights

__all__ = ["LIKENESS", "PAIRS", "Span", "clear_repeat", "diagonals", "groups", "pair_features", "pair_odds",
           "same_odds"]  # fmt: skip

Span = tuple[int, int]
"""A section as indices of bars: the first, and the first after it."""

LIKENESS = ("harmony", "timbre", "rhythm")
PAIRS = (*LIKENESS, "lengths", "loudness", "each")
"""What is told of two sections: how alike their bars are, difference of lengths (log2) and of loudness (6 LU), 1."""
_VARIED = 1.0  # log odds below which a section of the same letter gets a prime


def pair_odds(alike: np.ndarray, lengths: np.ndarray, loudness: np.ndarray, weights: Weights) -> np.ndarray:
    """Log odds that two sections are of the same material.

    Parameters
    ----------
    alike : ndarray
        Mean likeness of their bars, with the weights of `LIKENESS`.
    lengths, loudness : ndarray
        As in `PAIRS`.
    weights : Weights
    """
    by_length, by_loudness, each = weights.of("same", PAIRS[len(LIKENESS) :])
    return np.asarray(alike + by_length * lengths + by_loudness * loudness + each)


def pair_features(vectors: BarVectors, loudness: np.ndarray, one: Span, other: Span) -> np.ndarray:
    """What `PAIRS` names, of two sections that do not overlap; for fitting."""
    kinds = [diagonals(vectors.alike(slice(*one), slice(*other), weights)) for weights in np.eye(3)]
    lengths = one[1] - one[0], other[1] - other[0]
    likeness = [_aligned(sums, *lengths) for sums in kinds]
    best = int(np.argmax(np.sum(likeness, axis=0)))
    step = abs(loudness[slice(*one)].mean() - loudness[slice(*other)].mean()) / 6
    return np.array([*(each[best] for each in likeness), abs(np.log2(lengths[0] / lengths[1])), step, 1.0])


def diagonals(table: np.ndarray) -> np.ndarray:
    """Running sums along the diagonals: entry (i + n, j + n) less (i, j) is the sum of n places from (i, j) on."""
    sums = np.zeros((table.shape[0] + 1, table.shape[1] + 1), np.float32)
    for row in range(len(table)):
        sums[row + 1, 1:] = sums[row, :-1] + table[row]
    return sums


def _aligned(sums: np.ndarray, rows: int, columns: int) -> tuple[float, float]:
    """Mean along the diagonal of a table when the two sections begin, and when they end, together."""
    size = min(rows, columns)
    begin = sums[size, size] / size
    end = (sums[rows, columns] - sums[rows - size, columns - size]) / size
    return float(begin), float(end)


def same_odds(vectors: BarVectors, loudness: np.ndarray, spans: Sequence[Span], weights: Weights) -> np.ndarray:
    """Log odds that each two sections are of the same material.

    Returns
    -------
    ndarray, shape (sections, sections)
        Symmetric; the diagonal is 0.
    """
    odds = np.zeros((len(spans), len(spans)))
    likeness = weights.of("same", LIKENESS)
    firsts, ends = np.array(spans).T
    lengths = ends - firsts
    sums = running_sums(loudness)
    level = (sums[ends] - sums[firsts]) / lengths
    for k in range(1, len(spans)):
        first, end = spans[k]
        run = diagonals(vectors.alike(slice(first, end), slice(0, first), likeness))
        size = np.minimum(lengths[:k], lengths[k])
        begin = run[size, firsts[:k] + size]
        close = run[lengths[k], ends[:k]] - run[lengths[k] - size, ends[:k] - size]
        alike = np.maximum(begin, close) / size
        odds[k, :k] = odds[:k, k] = pair_odds(
            alike, np.abs(np.log2(lengths[k] / lengths[:k])), np.abs(level[k] - level[:k]) / 6, weights
        )
    return odds


def groups(odds: np.ndarray) -> list[int]:
    """Join sections as long as the mean of their odds is in favour.

    Parameters
    ----------
    odds : ndarray, shape (sections, sections)

    Returns
    -------
    list of int
        0 for the first material heard, 1 for the next …
    """
    count = len(odds)
    sums = odds.copy()
    np.fill_diagonal(sums, -np.inf)
    sizes = np.ones(count)
    group = np.arange(count)
    while count > 1:
        means = sums / np.outer(sizes, sizes)
        one, other = sorted(np.unravel_index(int(means.argmax()), means.shape))
        if means[one, other] <= 0:
            break
        sums[one] += sums[other]
        sums[:, one] = sums[one]
        sums[one, one] = -np.inf
        sums[other] = sums[:, other] = -np.inf
        sizes[one] += sizes[other]
        group[group == other] = one
    order = {int(each): place for place, each in enumerate(dict.fromkeys(group.tolist()))}
    return [order[int(each)] for each in group]


def clear_repeat(odds: float) -> bool:
    """Whether two sections of one letter are so alike that the later needs no prime."""
    return odds >= _VARIED
