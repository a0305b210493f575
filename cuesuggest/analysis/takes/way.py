"""The way of one take through another: which beat of the first each beat of the second is.

A hidden Markov model whose states are the beats of the first take, and "none of them" after each. Mostly the next beat
follows; a band may also leave a part out, play one again, or another one in between, and it does so where parts begin
and end. The most likely way is found by Viterbi's algorithm, how sure each step of it is by the forward-backward
algorithm (L. R. Rabiner, A tutorial on hidden Markov models, Proc. IEEE 77, 1989). Jumps cost a base and something for
each part that is passed over; as that is a sum along the song, running maxima replace the search over all pairs, so
that time grows with the product of the two lengths only.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

__all__ = ["Costs", "Course", "best_way", "sureness"]

_NEVER = -np.inf


@dataclass(frozen=True, slots=True)
class Costs:
    """Nats; chosen on pairs of takes with known correspondence, as those with which the odds are fitted."""

    trust: float = 0.35
    """What the log odds of a beat count: neighbours say much the same."""
    clearer: float = 0.3
    """What they count more where takes are alike, for each nat of the usual odds on the way: there, a part that does
    not fit is another part; between a record and a phone, it is only the phone."""
    slip: float = -7.0
    """A beat more or less than in the other take."""
    jump: float = -10.0
    """From the end of a part to the start of another that does not follow."""
    inside: float = -10.0
    """For a jump at another bar line; half as much again between bar lines."""
    back: float = -4.0
    """For a jump to what was played already."""
    passed: float = -3.0
    """For each part that is passed over, or comes again."""
    leaves: float = -6.0
    """To where the first take has nothing."""
    resumes: float = -2.0
    """And back."""
    none: float = -2.5
    """Log odds of a beat there."""
    ragged: float = -0.3
    """For each of the last beats that is missing."""


@dataclass(frozen=True, slots=True)
class Course:
    """The first take as a place to jump about in.

    Attributes
    ----------
    beats : int
    bars, parts : sequence of int
        Beats at which bars and parts begin.
    """

    beats: int
    bars: Sequence[int]
    parts: Sequence[int]


class _Moves:
    """What it costs to begin, to leave, to enter and to end at each beat."""

    def __init__(self, song: Course, costs: Costs) -> None:
        count, self.costs = song.beats, costs
        bars, parts = np.array(song.bars, int), np.array(song.parts, int)
        begun = np.zeros(count)
        begun[parts[1:]] = 1
        self.passed = -costs.passed * np.cumsum(begun)
        enter = np.full(count, _NEVER)
        enter[bars] = costs.inside
        enter[parts] = 0
        enter[0] = 0
        leave = np.full(count, 1.5 * costs.inside)
        leave[bars[bars > 0] - 1] = costs.inside
        leave[parts[parts > 0] - 1] = 0
        leave[-1] = 0
        self.enter, self.leave = enter + costs.jump / 2, leave + costs.jump / 2
        self.begin = self.enter - self.passed
        self.begin[0] = 0
        self.end = self.leave - (self.passed[-1] - self.passed)
        missing = np.arange(count)
        ragged = np.where(missing < 12, costs.ragged * missing, _NEVER)
        self.begin = np.maximum(self.begin, ragged)
        self.end = np.maximum(self.end, ragged[::-1])


def best_way(odds: np.ndarray, song: Course, costs: Costs) -> tuple[np.ndarray, float]:
    """Find the most likely way of the second take through the first.

    Parameters
    ----------
    odds : ndarray, shape (beats of first, beats of second)
        As `likeness.log_odds` returns them.
    song : Course
        The first take.
    costs : Costs

    Returns
    -------
    ndarray of int, shape (beats of second,)
        The beat of the first take, -1 where it is none.
    float
        Nats.
    """
    moves, cells = _Moves(song, costs), costs.trust * odds
    count, steps = cells.shape
    here, none = np.arange(count), costs.trust * costs.none
    # 0 … count-1: on a beat; count: before any; count+1 …: on none, after each beat
    on, off, before = moves.begin + cells[:, 0], np.full(count, _NEVER), costs.leaves / 2 + none
    came = np.zeros((steps, 2 * count + 1), np.int32)
    ways = np.full((7, count), _NEVER)
    for step in range(1, steps):
        leaving, back_again = on + moves.leave, off + costs.resumes + moves.leave
        source = np.where(leaving >= back_again, here, count + 1 + here)
        leaving = np.maximum(leaving, back_again)
        ahead, far_ahead = _running_best(leaving + moves.passed)
        behind, far_behind = (each[::-1] for each in _running_best((leaving - moves.passed)[::-1]))
        ways[0, 1:] = on[:-1]
        ways[1] = on + costs.slip
        ways[2, 2:] = on[:-2] + costs.slip
        ways[3, 1:] = ahead[:-1] - moves.passed[1:] + moves.enter[1:]
        ways[4] = behind + moves.passed + costs.back + moves.enter
        ways[5, 1:] = off[:-1] + costs.resumes
        ways[6] = before + moves.begin
        chosen = ways.argmax(axis=0)
        came[step, :count] = np.choose(
            chosen,
            [
                here - 1,
                here,
                here - 2,
                source[np.append(0, far_ahead[:-1])],
                source[count - 1 - far_behind],
                count + here,
                np.full(count, count),
            ],
        )
        came[step, count] = count
        came[step, count + 1 :] = np.where(off >= on + costs.leaves, count + 1 + here, here)
        off, before = np.maximum(off, on + costs.leaves) + none, before + none
        on = ways[chosen, here] + cells[:, step]
    last = np.concatenate([on + moves.end, [_NEVER], off + moves.end])
    state = int(last.argmax())
    score, way = float(last[state]), np.zeros(steps, int)
    for step in range(steps - 1, -1, -1):
        way[step] = state
        state = came[step, state]
    return np.where(way < count, way, -1), score


def _running_best(values: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return the best value so far and where it was, for each place."""
    best = np.maximum.accumulate(values)
    return best, np.maximum.accumulate(np.where(values >= best, np.arange(len(values)), 0))


def sureness(odds: np.ndarray, song: Course, costs: Costs) -> np.ndarray:
    """Return how likely each beat of the second take is each beat of the first, over all ways.

    Parameters are those of `best_way`.

    Returns
    -------
    ndarray, shape (beats of second, beats of first)
        Rows sum to one less what is none of them.
    """
    moves, cells = _Moves(song, costs), costs.trust * odds
    count, steps = cells.shape
    none, add = costs.trust * costs.none, np.logaddexp
    forward = np.full((steps, 2 * count + 1), _NEVER)
    forward[0, :count] = moves.begin + cells[:, 0]
    forward[0, count] = costs.leaves / 2 + none
    for step in range(1, steps):
        on, before, off = np.split(forward[step - 1], [count, count + 1])
        leaving = add(on, off + costs.resumes) + moves.leave
        ahead = np.append(_NEVER, add.accumulate(leaving + moves.passed)[:-1]) - moves.passed
        behind = add.accumulate((leaving - moves.passed)[::-1])[::-1] + moves.passed + costs.back
        arrives = add(on + costs.slip, add(ahead, behind) + moves.enter)
        arrives[1:] = add(arrives[1:], add(on[:-1], off[:-1] + costs.resumes))
        arrives[2:] = add(arrives[2:], on[:-2] + costs.slip)
        forward[step, :count] = add(arrives, before + moves.begin) + cells[:, step]
        forward[step, count] = before[0] + none
        forward[step, count + 1 :] = add(off, on + costs.leaves) + none
        forward[step] -= forward[step].max()
    backward = np.concatenate([moves.end, [_NEVER], moves.end])
    likely = np.zeros((steps, count))
    for step in range(steps - 1, -1, -1):
        whole = forward[step] + backward
        whole = np.exp(whole - whole.max())
        likely[step] = whole[:count] / whole.sum()
        on, before, off = np.split(backward, [count, count + 1])
        on, off = on + cells[:, step], off + none
        entered = on + moves.enter
        ahead = np.append(add.accumulate((entered - moves.passed)[::-1])[::-1][1:], _NEVER) + moves.passed
        behind = add.accumulate(entered + moves.passed) - moves.passed + costs.back
        jumps = add(ahead, behind) + moves.leave
        stays = add(add(on + costs.slip, jumps), off + costs.leaves)
        stays[:-1] = add(stays[:-1], on[1:])
        stays[:-2] = add(stays[:-2], on[2:] + costs.slip)
        returns = add(off, jumps + costs.resumes)
        returns[:-1] = add(returns[:-1], on[1:] + costs.resumes)
        backward = np.concatenate([stays, add(before + none, add.reduce(on + moves.begin)[None]), returns])
        backward -= backward.max()
    return likely
