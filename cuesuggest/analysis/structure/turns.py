"""Turns: places inside a section where its material turns, such as the middle of a chorus that is sung twice."""

from __future__ import annotations

import numpy as np

from cuesuggest.analysis.structure.divide import best_edges

__all__ = ["find_turns"]

_SHORTEST = 4  # bars between turns
_LENIENCE = 2.5  # nats by which a division inside a section may be worse than none


def find_turns(worth: np.ndarray, first: int, end: int) -> list[int]:
    """Divide one section more finely than the song.

    Parameters
    ----------
    worth : ndarray, shape (bars, longest + 1)
        As `section_worth` returned it.
    first, end : int
        The section's bars.

    Returns
    -------
    list of int
        Bars with which something new starts, rising; neither the first bar nor the end.
    """
    count = end - first
    longest = min(worth.shape[1] - 1, count)
    if count < 2 * _SHORTEST:
        return []
    inside = worth[first:end, : longest + 1].copy()
    inside[:, :_SHORTEST] = -np.inf
    inside[np.arange(count)[:, None] + np.arange(longest + 1) > count] = -np.inf
    edges = best_edges(inside + _LENIENCE)
    return [first + edge for edge in edges[1:-1]]
