"""The division of a song into sections that all evidence together makes most likely.

A semi-Markov conditional random field (Sarawagi and Cohen 2004) over bars: a division is worth the sum of what speaks
for a start at each of its boundaries, and of what its sections are worth by their lengths, by how alike their bars are,
and by how well they repeat elsewhere. Its weights, in `structure.json`, were fitted as a whole on songs whose sections
are known (`training.fit_structure`); with them the worths are log odds, and the same sums that give the best
division give the probability of each boundary.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from cuesuggest.analysis.structure.bar_vectors import COMPARED, BarVectors
from cuesuggest.analysis.structure.boundary_signs import SIGNS
from cuesuggest.analysis.structure.weights import Weights

__all__ = ["LENGTHS", "LONGEST", "SOUNDS", "best_edges", "boundary_odds", "length_features", "log_sums",
           "section_sounds", "section_worth"]  # fmt: skip

LONGEST = 32  # bars of a section that is found, not stated
LENGTHS = ("each", "1", "2", "4", "8", "16", "odd", "log", "log_squared")
"""What is told of a section's length: that there is one; the most common lengths; odd and over 3; log2(length / 8)."""
SOUNDS = ("timbre_alike", "rhythm_alike", "repeats")
"""How alike its bars are, against all bars of the song, and how alike it is to another place; all times its length."""
_REPEAT_WEIGHTS = (0.45, 0.35, 0.2)


def length_features(longest: int) -> np.ndarray:
    """What is told of lengths from 0 to `longest`; (longest + 1, 9) in the order of `LENGTHS`."""
    length = np.arange(longest + 1)
    log = np.log2(np.maximum(length, 1) / 8)
    usual = [length == each for each in (1, 2, 4, 8, 16)]
    odd = (length % 2 == 1) & (length > 3)
    return np.stack([np.ones(longest + 1), *usual, odd, log, log**2], axis=1)


def section_sounds(vectors: BarVectors, start: int, stop: int, longest: int) -> np.ndarray:
    """What is told by the sound of sections that begin from bar `start` to before bar `stop`.

    Returns
    -------
    ndarray, shape (stop - start, longest + 1, 3)
        By first bar and length, in the order of `SOUNDS`; 0 where a section does not fit.
    """
    count = len(vectors)
    reach = slice(start, min(stop + longest, count))
    sounds = np.zeros((stop - start, longest + 1, len(SOUNDS)))
    for kind, rows in enumerate((vectors.timbre, vectors.rhythm)):
        usual = float(np.square(rows.mean(axis=0, dtype=float)).sum())
        near = rows[reach] @ rows[reach].T
        sums = np.zeros((len(near) + 1, len(near) + 1))
        sums[1:, 1:] = near.cumsum(axis=0, dtype=float).cumsum(axis=1)
        for length in range(2, longest + 1):
            first = np.arange(min(stop, count - length + 1) - start)
            last = first + length
            square = sums[last, last] - sums[first, last] - sums[last, first] + sums[first, first]
            alike = (square - length) / (length * (length - 1))
            sounds[first, length, kind] = (alike - usual) * length / 8
    again = _repeated(vectors, start, stop, min(longest, LONGEST, count))
    sounds[:, : again.shape[1], 2] = again
    sounds[:, again.shape[1] :, 2] = again[:, -1:]  # of a longer section the first bars must do
    sounds[:, :, 2] *= np.arange(longest + 1) / 8
    return sounds


def _repeated(vectors: BarVectors, start: int, stop: int, longest: int) -> np.ndarray:
    """Mean likeness of each section, by first bar and length, with the place elsewhere that is most like it."""
    count = len(vectors)
    again = np.zeros((stop - start, longest + 1))
    far = vectors.alike(slice(start, min(stop + longest, count)), slice(None), _REPEAT_WEIGHTS)
    runs = np.zeros((len(far) + 1, count + 1))  # sums of similarity along runs of bars
    for length in range(1, longest + 1):
        for shift in {length - 1, 1 - length}:  # a section does not repeat itself, nor overlap what repeats it
            _clear(far, start + shift)
            _clear(runs, start + shift)
        runs = runs[:-1, :-1]
        runs += far[length - 1 :, length - 1 :]
        first = min(stop, count - length + 1) - start
        if first <= 0:
            break
        again[:first, length] = np.maximum(runs[:first].max(axis=1) / length, 0)
    return again


def _clear(table: np.ndarray, shift: int) -> None:
    """Set one diagonal to 0, the one that meets the first row in column `shift`."""
    rows = np.arange(max(0, -shift), min(len(table), table.shape[1] - shift))
    table[rows, rows + shift] = 0.0


def section_worth(vectors: BarVectors, signs: np.ndarray, weights: Weights, longest: int = LONGEST) -> np.ndarray:
    """What a section is worth, its start included, in nats.

    Parameters
    ----------
    vectors : BarVectors
    signs : ndarray, shape (bars, 15)
        As `line_signs` returned them.
    weights : Weights
    longest : int
        Bars.

    Returns
    -------
    ndarray, shape (bars, longest + 1)
        By first bar and length; minus infinity where it does not fit.
    """
    count = len(vectors)
    longest = min(longest, count)
    starts = signs @ weights.of("signs", SIGNS)
    lengths = length_features(longest) @ weights.of("lengths", LENGTHS)
    by_sound = weights.of("sounds", SOUNDS)
    worth = np.empty((count, longest + 1))
    for start in range(0, count, COMPARED):
        stop = min(start + COMPARED, count)
        worth[start:stop] = section_sounds(vectors, start, stop, longest) @ by_sound
    worth += starts[:, None] + lengths
    worth[:, 0] = -np.inf
    worth[np.arange(count)[:, None] + np.arange(longest + 1) > count] = -np.inf
    return worth


def best_edges(worth: np.ndarray) -> list[int]:
    """Boundaries, first and last included, of the division worth most.

    Parameters
    ----------
    worth : ndarray, shape (bars, longest + 1)
        As `section_worth` returned it.
    """
    count, longest = len(worth), worth.shape[1] - 1
    best = np.full(count + 1, -np.inf)
    best[0] = 0.0
    came = np.zeros(count + 1, int)
    for end in range(1, count + 1):
        lengths = np.arange(1, min(longest, end) + 1)
        values = best[end - lengths] + worth[end - lengths, lengths]
        top = int(values.argmax())
        best[end], came[end] = values[top], end - lengths[top]
    edges = [count]
    while edges[-1] > 0:
        edges.append(int(came[edges[-1]]))
    return edges[::-1]


@dataclass(frozen=True, slots=True)
class _Sums:
    """Log sums over all divisions of the bars before, and from, each bar line."""

    before: np.ndarray
    after: np.ndarray


def log_sums(worth: np.ndarray) -> _Sums:
    """Sum up all divisions; the last of `before` is the sum over divisions of the whole."""
    count, longest = len(worth), worth.shape[1] - 1
    before, after = np.full(count + 1, -np.inf), np.full(count + 1, -np.inf)
    before[0] = after[count] = 0.0
    for end in range(1, count + 1):
        lengths = np.arange(1, min(longest, end) + 1)
        before[end] = _log_sum(before[end - lengths] + worth[end - lengths, lengths])
    for first in range(count - 1, -1, -1):
        lengths = np.arange(1, min(longest, count - first) + 1)
        after[first] = _log_sum(worth[first, lengths] + after[first + lengths])
    return _Sums(before, after)


def _log_sum(values: np.ndarray) -> float:
    top = float(values.max())
    return top + float(np.log(np.exp(values - top).sum()))


def boundary_odds(worth: np.ndarray) -> np.ndarray:
    """Probability, by the model, that a section starts at each bar line; 1 at both ends.

    Returns
    -------
    ndarray, shape (bars + 1,)
    """
    sums = log_sums(worth)
    return np.asarray(np.exp(np.minimum(sums.before + sums.after - sums.before[-1], 0)))
