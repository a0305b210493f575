"""The same beats counted otherwise: bars of other lengths, bars that alternate, beats half-way between.

The decoder weighs bars while it looks for beats, and knows single odd bars at a price. Once beats are found, counting
them is a small problem by itself (a Viterbi over beats, not frames), in which a bar of four and a bar of three in turn
cost no more than bars of four; and every other count can be weighed against the chosen one, so that it can be offered.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from cuesuggest.analysis.rhythm.beat_grid import BeatGrid
from cuesuggest.analysis.rhythm.evidence import Evidence, top_near
from cuesuggest.analysis.rhythm.meters import Meter

__all__ = ["alternating", "between_beats", "other_counts"]

# Bars that take turns. Longer turns are rare, and would fit by chance; three and two in turn are bars of five.
_TURNS = ((4, 3), (4, 4, 4, 2), (4, 5), (4, 4, 3), (4, 2), (4, 6), (4, 4, 4, 3), (4, 4, 2))
_COUNTS = (2, 3, 4, 5)
_OTHER_COST = 20.0  # nats for going over to another count
_ODD_COST = 14.0  # nats for one bar of another length
_TURN_COST = 0.25  # nats that each bar must bring beyond an even count: what bars say repeats
_GAIN = 12.0  # nats that turns must bring over the song
_LEAST_BEATS = 24  # that are counted in turns: three of four and three
_FAR = -1e9


@dataclass(frozen=True, slots=True)
class _Turns:
    """Bars that take turns, of so many beats each; one bar where they are all alike."""

    bars: tuple[int, ...]

    @property
    def opens(self) -> np.ndarray:
        """Which of its beats open a bar."""
        found = np.zeros(sum(self.bars), bool)
        found[np.cumsum((0, *self.bars[:-1]))] = True
        return found


def _downbeats(grid: BeatGrid, evidence: Evidence) -> np.ndarray:
    return top_near(evidence.downbeat, grid.frames)


class _CountStates:
    """Beats of all counts in a row, and what leads from one to the next."""

    def __init__(self, counts: tuple[_Turns, ...], other_cost: float = _OTHER_COST) -> None:
        self.other_cost = other_cost
        lengths = np.array([len(count.opens) for count in counts])
        self.opens = np.concatenate([count.opens for count in counts])
        self.which = np.repeat(np.arange(len(counts)), lengths)
        self.first = np.cumsum(lengths) - lengths
        self.before = np.arange(len(self.opens)) - 1
        self.before[self.first] = self.first + lengths - 1
        self.ends = np.zeros(len(self.opens), bool)
        self.ends[self.before[self.opens]] = True
        self.share = np.array([count.opens.mean() for count in counts])[self.which]
        self.cost = np.array([_TURN_COST if len(count.bars) > 1 else 0.0 for count in counts])[self.which]

    def gain(self, down: np.ndarray) -> np.ndarray:
        """What each beat brings in each state, set against the mix of downbeats and others in its count."""
        mix = np.log(self.share * np.exp(down[:, None]) + 1 - self.share)
        return np.asarray(np.where(self.opens, down[:, None] - self.cost, 0.0) - mix)

    def arrived(self, score: np.ndarray, *, pause: bool) -> np.ndarray:
        """Best score with which each state is reached from the beat before."""
        top = np.maximum.reduceat(score, self.first)[self.which]
        if pause:  # the same count goes on from any beat, or another begins
            return np.asarray(np.maximum(top, score.max() - self.other_cost))
        best = score[self.before]
        np.maximum(best, top - _ODD_COST, out=best, where=self.opens)
        best[self.first] = np.maximum(best[self.first], score[self.ends].max() - self.other_cost)
        return np.asarray(best)

    def scores(self, down: np.ndarray, pauses: np.ndarray) -> np.ndarray:
        """Best score of every beat in every state."""
        gain = self.gain(down)
        scores = np.empty_like(gain)
        scores[0] = gain[0]
        for k in range(1, len(down)):
            scores[k] = self.arrived(scores[k - 1], pause=bool(pauses[k])) + gain[k]
        return scores

    def origin(self, score: np.ndarray, state: int, *, pause: bool) -> int:
        """The state from which one is reached with the best score."""
        cost = np.full(len(score), _FAR)
        same = self.which == self.which[state]
        if pause:
            cost[:] = -self.other_cost
            cost[same] = 0.0
        else:
            if state in self.first:
                cost[self.ends] = -self.other_cost
            if self.opens[state]:
                cost[same] = -_ODD_COST
            cost[self.before[state]] = 0.0
        return int((score + cost).argmax())


def _best_count(down: np.ndarray, runs: np.ndarray, counts: tuple[_Turns, ...]) -> tuple[float, np.ndarray, np.ndarray]:
    """Best count of beats: its score in nats, the count that each beat is in, and whether it opens a bar.

    Parameters
    ----------
    down : ndarray, shape (beats,)
        Nats for each beat to be a downbeat.
    runs : ndarray of int, shape (beats,)
        Between two runs the count starts anew.
    counts : tuple of _Turns
    """
    states = _CountStates(counts)
    pauses = np.diff(runs, prepend=runs[0]) != 0
    scores = states.scores(down, pauses)
    state = int(scores[-1].argmax())
    path = np.empty(len(down), int)
    for k in range(len(down) - 1, 0, -1):
        path[k] = state
        state = states.origin(scores[k - 1], state, pause=bool(pauses[k]))
    path[0] = state
    return float(scores[-1].max()), states.which[path], states.opens[path]


def alternating(grid: BeatGrid, evidence: Evidence) -> BeatGrid:
    """Count bars in turns, such as one of four and one of three, where that explains clearly more.

    Parameters
    ----------
    grid : BeatGrid
    evidence : Evidence

    Returns
    -------
    BeatGrid
        With the same beats.
    """
    plain = [k for k, meter in enumerate(grid.table) if meter.lengths == (1.0,) * 4 and meter.thirds < 0]
    if len(grid.frames) < _LEAST_BEATS or not plain or any(meter.stated for meter in grid.table):
        return grid
    usual = grid.table[int(np.bincount(grid.meters).argmax())]
    if set(usual.lengths) != {1.0} or usual.thirds > 0:
        return grid
    down = _downbeats(grid, evidence)
    even = tuple(_Turns((n,)) for n in _COUNTS)
    alone, _, _ = _best_count(down, grid.runs, even)
    turns = (*even, *(_Turns(bars) for bars in _TURNS))
    score, which, opens = _best_count(down, grid.runs, turns)
    in_turns = which >= len(even)
    if score < alone + _GAIN or in_turns.sum() < _LEAST_BEATS:
        return grid
    return _with_bars(grid, opens)


def _with_bars(grid: BeatGrid, opens: np.ndarray) -> BeatGrid:
    """The same beats with bars where they are told to open, each in a meter of its own length."""
    edges = np.flatnonzero(opens | (np.diff(grid.runs, prepend=grid.runs[0] - 1) > 0))
    lengths = np.diff(np.append(edges, len(opens)))
    slots = np.concatenate([np.arange(n) for n in lengths])
    table = list(grid.table)
    meters = np.empty(len(opens), int)
    whole = opens[edges] & np.append(grid.runs[edges[1:]] == grid.runs[edges[:-1]], False)
    usual = int(np.bincount(lengths[whole]).argmax()) if whole.any() else 4
    for start, n, complete in zip(edges, lengths, whole, strict=True):
        beats = int(n) if complete else usual
        signature = f"{beats}/4"
        row = next((k for k, meter in enumerate(table) if meter.signature == signature and meter.beats == beats), None)
        if row is None:
            row = len(table)
            table.append(Meter(signature, (1.0,) * beats, thirds=-1.0))
        meters[start : start + n] = row
        if not opens[start]:  # the end of a bar whose beginning was not heard
            slots[start : start + n] += max(beats - int(n), 0)
    return replace(grid, slots=slots, meters=meters, table=tuple(table))


def other_counts(grid: BeatGrid, evidence: Evidence) -> tuple[tuple[str, float], ...]:
    """Time signatures in which the same beats may be counted, and how much less likely each is.

    Parameters
    ----------
    grid : BeatGrid
    evidence : Evidence

    Returns
    -------
    tuple of (str, float)
        Signature, and nats a bar of the chosen count; the likeliest first.
    """
    if len(grid.frames) < _LEAST_BEATS or len(set(grid.lengths)) > 1:
        return ()
    down = _downbeats(grid, evidence)
    usual = grid.table[int(np.bincount(grid.meters).argmax())]
    # All of them at once, none leading into another.
    states = _CountStates(tuple(_Turns((n,)) for n in _COUNTS), other_cost=-_FAR)
    last = states.scores(down, np.diff(grid.runs, prepend=grid.runs[0]) != 0)[-1]
    scores = dict(zip(_COUNTS, np.maximum.reduceat(last, states.first).tolist(), strict=True))
    chosen = scores.get(usual.beats)
    if chosen is None:
        return ()
    bars = len(down) / usual.beats
    found = [
        (f"{3 * n}/8" if usual.thirds > 0 else f"{n}/4", round((chosen - score) / bars, 6))
        for n, score in scores.items()
        if n != usual.beats
    ]
    return tuple(sorted(found, key=lambda each: (each[1], each[0])))


def between_beats(grid: BeatGrid, evidence: Evidence) -> float | None:
    """Nats a beat by which beats half-way between the chosen ones are less likely.

    Parameters
    ----------
    grid : BeatGrid
    evidence : Evidence

    Returns
    -------
    float or None
        None where there are too few beats, or beats of two lengths.
    """
    if len(grid.frames) < _LEAST_BEATS or len(set(grid.lengths)) > 1:
        return None
    same = np.diff(grid.runs) == 0
    middle = ((grid.frames[:-1] + grid.frames[1:]) // 2)[same]
    return float(top_near(evidence.beat, grid.frames[:-1][same]).mean() - top_near(evidence.beat, middle).mean())
