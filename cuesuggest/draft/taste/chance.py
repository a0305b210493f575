"""Whether a leaning seen in several songs is more than chance: songs are turned round, and all numbers looked at.

Somebody without a leaning would change a number in a song one way as readily as the other. So the signs of whole songs
are turned round in every possible way, and it is counted how often any of the numbers that are looked at leans as much
as this one does. That way many numbers may be looked at without one of them standing out by luck alone, and numbers
that move together are no trouble (Westfall and Young, Resampling-Based Multiple Testing, 1993: step-down minP; the
turning of signs is Fisher's, The Design of Experiments, 1935).
"""

from __future__ import annotations

import random
from bisect import bisect_left
from collections.abc import Mapping, Sequence
from itertools import product

__all__ = ["FEWEST_SONGS", "chances"]

# With five songs even a leaning in all of them comes up by chance in one of sixteen ways to turn them.
FEWEST_SONGS = 6

# Beyond so many songs not every way to turn them is tried, but as many as this, always the same ones.
_ALL_WAYS, _DRAWN = 12, 4095


def chances(leanings: Mapping[str, Sequence[float]]) -> dict[str, float]:
    """Return for each number how often chance alone would lean so much, with all of the numbers in view.

    Parameters
    ----------
    leanings : mapping of str to sequence of float
        By number: how far each song leans to more (positive) or less (negative); 0 where it does neither, or the
        number is not to be seen there. As many songs for each.

    Returns
    -------
    dict of str to float
        Probabilities, greater than 0. The number that leans most has the least; none has less than one that leans
        more.
    """
    songs = max(map(len, leanings.values()), default=0)
    ways = _ways(songs)
    # By number, for each way to turn the songs: how seldom it leans so much by itself. The first way turns none.
    seldom = {name: _seldom(_leans(each, ways)) for name, each in leanings.items()}
    found: dict[str, float] = {}
    least = 0.0
    left = sorted(leanings, key=lambda name: seldom[name][0])
    while left:
        name, own = left[0], seldom[left[0]][0]
        as_seldom = sum(min(seldom[each][way] for each in left) <= own for way in range(len(ways)))
        least = found[name] = max(least, as_seldom / len(ways))
        # What was told apart no longer hides what leans less.
        left = left[1:]
    return found


def _ways(songs: int) -> list[tuple[int, ...]]:
    """Return ways to turn songs round, the first of which turns none."""
    if songs <= _ALL_WAYS:
        return list(product((1, -1), repeat=songs))
    drawn = random.Random(1)  # always the same ways: the same songs give the same answer
    return [(1,) * songs, *(tuple(drawn.choice((1, -1)) for _ in range(songs)) for _ in range(_DRAWN))]


def _leans(leanings: Sequence[float], ways: Sequence[tuple[int, ...]]) -> list[float]:
    """Return how much all songs together lean, each way they may be turned."""
    seen = [(index, each) for index, each in enumerate(leanings) if each]
    return [round(abs(sum(each * way[index] for index, each in seen)), 9) for way in ways]


def _seldom(leans: Sequence[float]) -> list[float]:
    """Return for each leaning the share of all of them that lean as much."""
    order = sorted(leans)
    return [(len(order) - bisect_left(order, each)) / len(order) for each in leans]
