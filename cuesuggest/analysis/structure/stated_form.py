"""The division of a song whose parts the user names in their order.

Exactly these parts, in this order, cover the song. Where each starts is decided by what is worth most: the same worth
of sections as where nothing is stated, a cost where a stated length is not kept, and a gain where parts of one name are
alike. The last makes places depend on all earlier ones, so that the search keeps several beginnings (a beam, ranked
with the best that the rest may still be worth), and then moves single boundaries and parts until nothing gains.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

import numpy as np

from cuesuggest.analysis.form import Part
from cuesuggest.analysis.spectrum import running_sums
from cuesuggest.analysis.structure.bar_vectors import BarVectors
from cuesuggest.analysis.structure.divide import LONGEST
from cuesuggest.analysis.structure.letters import LIKENESS, diagonals, pair_odds
from cuesuggest.analysis.structure.weights import Weights
from cuesuggest.errors import FormError

__all__ = ["StatedForm", "length_remarks", "longest_part"]

_BEAM = 400  # beginnings kept
_PER_END = 8  # of them, that end at one bar line
_TRIED = 4000  # of their continuations compared by name; the others are worth too little without
_ROUNDS = 6
# Bands know how long their parts are, but miscount by a bar: nats for the first bar of difference, and for each more.
_FIRST_BAR, _MORE_BARS = 2.5, 1.5
_ODDS_LIMIT = 4.0  # one pair of parts, however alike, must not outweigh the rest


def longest_part(form: Sequence[Part], count: int) -> int:
    """How many bars a part may last at most, in a song of `count` bars."""
    stated = max((part.bars or 0 for part in form), default=0)
    return min(count, max(2 * LONGEST, 2 * stated, 3 * -(-count // max(len(form), 1))))


class StatedForm:
    """A form on the bars of a song.

    Parameters
    ----------
    form : sequence of Part
        At least one.
    worth : ndarray, shape (bars, longest + 1)
        As `section_worth` returned it.
    vectors : BarVectors
    loudness : ndarray, shape (bars,)
    weights : Weights

    Raises
    ------
    FormError
        If there are more parts than bars.
    """

    def __init__(
        self,
        form: Sequence[Part],
        worth: np.ndarray,
        vectors: BarVectors,
        loudness: np.ndarray,
        weights: Weights,
    ) -> None:
        count = len(worth)
        if len(form) > count:
            raise FormError(
                f"The form has {len(form)} parts, but the song only {count} {'bar' if count == 1 else 'bars'}, and a "
                "part lasts one bar at least. Leave parts out of the form, or correct bars and tempo first."
            )
        self._count, self._longest = count, worth.shape[1] - 1
        self._worth = [worth + self._wish(part) for part in form]
        self._alike = diagonals(vectors.alike(slice(None), slice(None), weights.of("same", LIKENESS)))
        self._level = running_sums(loudness)
        self._weights = weights
        self._weight = float(weights.of("form", ["equal_names"])[0])
        self._earlier = [
            np.array([q for q in range(p) if form[q].material == form[p].material], int) for p in range(len(form))
        ]
        self._late = np.repeat(np.arange(len(form)), [len(each) for each in self._earlier])
        self._early = np.concatenate(self._earlier)

    def _wish(self, part: Part) -> np.ndarray:
        """Cost of lengths that are not the stated one."""
        if part.bars is None:
            return np.zeros(self._longest + 1)
        away = np.abs(np.arange(self._longest + 1) - part.bars)
        return -np.where(away > 0, _FIRST_BAR + _MORE_BARS * (away - 1), 0.0)

    def edges(self) -> list[int]:
        """Boundaries, first and last included, of the best division."""
        return self._settled(self._beam()[0])

    def _odds(self, first: np.ndarray, end: np.ndarray, other: np.ndarray, close: np.ndarray) -> np.ndarray:
        """Log odds that two parts, from `first` to `end` and the earlier from `other` to `close`, are the same."""
        mine, its = end - first, close - other
        size = np.minimum(mine, its)
        begin = self._alike[first + size, other + size] - self._alike[first, other]
        last = self._alike[end, close] - self._alike[end - size, close - size]
        level = (self._level[end] - self._level[first]) / mine - (self._level[close] - self._level[other]) / its
        odds = pair_odds(np.maximum(begin, last) / size, np.abs(np.log2(mine / its)), np.abs(level) / 6, self._weights)
        return np.clip(odds, -_ODDS_LIMIT, _ODDS_LIMIT)

    def _rest(self) -> list[np.ndarray]:
        """The most that the parts from each one on are worth, names aside, when they start at a bar."""
        rest = [np.full(self._count + 1, -np.inf)]
        rest[0][-1] = 0.0
        lengths = np.arange(1, self._longest + 1)
        ends = np.arange(self._count)[:, None] + lengths
        for worth in reversed(self._worth):
            after = np.where(ends <= self._count, rest[-1][np.minimum(ends, self._count)], -np.inf)
            rest.append(np.append((worth[:, 1:] + after).max(axis=1), -np.inf))
        return rest[::-1]

    def _beam(self) -> np.ndarray:
        """Good divisions, the best first; (divisions, parts + 1)."""
        rest = self._rest()
        edges, score = np.zeros((1, 1), int), np.zeros(1)
        lengths = np.arange(1, self._longest + 1)
        for part, worth in enumerate(self._worth):
            ends = np.minimum(edges[:, -1:] + lengths, self._count)
            gained = score[:, None] + worth[edges[:, -1]][:, 1:]
            ranked = gained + rest[part + 1][ends]
            best = np.argsort(-ranked, axis=None, kind="stable")[:_TRIED]
            which, length = np.unravel_index(best[np.isfinite(ranked.ravel()[best])], ranked.shape)
            gain = self._like_earlier(part, edges[which], ends[which, length])
            order = np.argsort(-(ranked[which, length] + gain), kind="stable")
            which, length, gain = which[order], length[order], gain[order]
            keep = _first_of_each(ends[which, length], _PER_END)[:_BEAM]
            which, length = which[keep], length[keep]
            score = gained[which, length] + gain[keep]
            edges = np.concatenate([edges[which], ends[which, length][:, None]], axis=1)
        return edges

    def _like_earlier(self, part: int, edges: np.ndarray, end: np.ndarray) -> np.ndarray:
        """What it is worth that a part which ends there is like the earlier ones of its name."""
        earlier = self._earlier[part]
        if not len(earlier):
            return np.zeros(len(end))
        odds = self._odds(edges[:, part, None], end[:, None], edges[:, earlier], edges[:, earlier + 1])
        return np.asarray(self._weight * odds.mean(axis=1))

    def _value(self, edges: np.ndarray, parts: np.ndarray) -> np.ndarray:
        """What some parts and their likeness with the others are worth; `edges` (divisions, parts + 1)."""
        value = np.zeros(len(edges))
        for part in parts:
            worth, first = self._worth[part], edges[:, part]
            length = edges[:, part + 1] - first
            value += np.where(length <= self._longest, worth[first, np.minimum(length, self._longest)], -np.inf)
        pairs = np.isin(self._late, parts) | np.isin(self._early, parts)
        late, early = self._late[pairs], self._early[pairs]
        odds = self._odds(edges[:, late], edges[:, late + 1], edges[:, early], edges[:, early + 1])
        counts = np.array([len(self._earlier[part]) for part in late])
        return np.asarray(value + self._weight * (odds / np.maximum(counts, 1)).sum(axis=1))

    def _settled(self, start: np.ndarray) -> list[int]:
        """Move boundaries, one by one and two at a time, as long as it gains."""
        edges: list[int] = start.tolist()
        for _ in range(_ROUNDS):
            before = edges
            for place in range(1, len(edges) - 1):
                for together in (1, 2):
                    moved, parts = self._moved(edges, place, together)
                    values = self._value(moved, parts)
                    now = values[int((moved[:, place] == edges[place]).argmax())]
                    top = int(values.argmax())
                    if values[top] > now + 1e-9:
                        edges = moved[top].tolist()
            if edges == before:
                break
        return edges

    def _moved(self, edges: list[int], place: int, together: int) -> tuple[np.ndarray, np.ndarray]:
        """Divisions with one boundary, or a whole part, moved between its neighbours; and the parts that change."""
        last = min(place + together, len(edges) - 1)
        low, high = edges[place - 1] + 1 - edges[place], edges[last] - 1 - edges[last - 1]
        shifts = np.arange(low, high + 1)
        moved = np.tile(np.array(edges), (len(shifts), 1))
        moved[:, place:last] += shifts[:, None]
        return moved, np.arange(place - 1, last)

    def odds(self, edges: list[int]) -> list[np.ndarray]:
        """Probability, by the model, of each bar line between the neighbours of each inner boundary."""
        found = []
        for place in range(1, len(edges) - 1):
            values = self._value(*self._moved(edges, place, 1))
            odds = np.zeros(self._count + 1)
            weights = np.exp(values - values.max())
            odds[edges[place - 1] + 1 : edges[place + 1]] = weights / weights.sum()
            found.append(odds)
        return found


def _first_of_each(values: np.ndarray, most: int) -> np.ndarray:
    """Places of at most `most` of each value, in order."""
    order = np.argsort(values, kind="stable")
    sorted_ = values[order]
    begins = np.searchsorted(sorted_, sorted_)
    rank = np.arange(len(values)) - begins
    return np.sort(order[rank < most])


def length_remarks(form: Sequence[Part], edges: Sequence[int], numbers_: Sequence[int]) -> tuple[str, ...]:
    """What of the stated lengths was not heard, with its place."""
    remarks = []
    passes: dict[str, int] = {}
    for part, (first, end) in zip(form, pairwise(edges), strict=True):
        passes[part.material] = passes.get(part.material, 0) + 1
        heard = end - first
        if part.bars is not None and heard != part.bars:
            where = f"bar {numbers_[first]}" if heard == 1 else f"bars {numbers_[first]} to {numbers_[end - 1]}"
            stated = "1 bar" if part.bars == 1 else f"{part.bars} bars"
            remarks.append(
                f"The form says {stated} for {part.name} (pass {passes[part.material]}); "
                f"heard {'is' if heard == 1 else 'are'} {heard}, {where}."
            )
    return tuple(remarks)
