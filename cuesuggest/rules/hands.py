"""One person plays this: what is too much is left out, the least important first."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from cuesuggest.cues import Cue
from cuesuggest.rules.brief import FIRM, ONE_SHOT_RANK, RAMP_RANK, Brief, Clash, Move
from cuesuggest.rules.settings import Profile, Rig

__all__ = ["Action", "actions_of", "fit_hands", "share_standbys", "too_much"]

# Seconds. Two starts closer than this are one moment.
_TOGETHER = 0.02

_LEFT_OUT = {ONE_SHOT_RANK: "a one-shot", RAMP_RANK: "a change of level"}


@dataclass(frozen=True, slots=True)
class Action:
    """One moment at which something has to be done, by so many hands, for so many moves."""

    seconds: float
    hands: int
    moves: tuple[int, ...]
    """Indexes of the moves."""


def actions_of(moves: Sequence[Move]) -> list[Action]:
    """Group the starts of all moves into moments."""
    starts = sorted((start, index) for index, move in enumerate(moves) for start in move.starts)
    actions: list[Action] = []
    for start, index in starts:
        if actions and start - actions[-1].seconds < _TOGETHER:
            last = actions[-1]
            actions[-1] = Action(last.seconds, last.hands + moves[index].hands, (*last.moves, index))
        else:
            actions.append(Action(start, moves[index].hands, (index,)))
    return actions


def too_much(actions: Sequence[Action], profile: Profile, rig: Rig) -> tuple[int, ...]:
    """Return the moves of the first stretch that one person cannot play, or nothing.

    Three limits: hands at one moment; the peak gap between two moments; and a pace that can be kept up, with
    a burst on top of it: n actions may not fall into less than (n - burst) times the sustained distance.
    """
    slow = profile.hands.volunteer_factor if rig.practised == "volunteer" else 1.0
    gap, pace, burst = (
        profile.hands.peak_gap_seconds * slow,
        profile.hands.sustained_seconds * slow,
        profile.hands.burst,
    )
    for last, action in enumerate(actions):
        # One hand can do what two do, one after the other; more than two things at once it cannot.
        if action.hands > max(rig.hands, 1) and len(action.moves) > 1:
            return action.moves
        if last and action.seconds - actions[last - 1].seconds < gap - 2e-3:
            return (*actions[last - 1].moves, *action.moves)
        for first in range(last - burst, -1, -1):
            count = last - first + 1
            if action.seconds - actions[first].seconds < (count - burst) * pace - 2e-3:
                return tuple(index for each in actions[first : last + 1] for index in each.moves)
    return ()


def fit_hands(moves: Sequence[Move], brief: Brief) -> list[Move] | Clash:
    """Leave out one-shots, then changes of level, then stops, until one person can play the rest.

    If that is not enough, name the look that has to be given up: the weakest that comes in there.
    """
    left = list(moves)
    while crowd := too_much(actions_of(left), brief.profile, brief.rig):
        droppable = [index for index in dict.fromkeys(crowd) if left[index].rank < FIRM]
        if not droppable:
            stays = [stay for index in crowd if (stay := left[index].stay) is not None]
            return Clash(max(stays), "one person has no time for it")
        victim = min(droppable, key=lambda index: (left[index].rank, -left[index].start))
        gone = left[victim]
        what = f"{_LEFT_OUT.get(gone.rank, 'going dark for the stop')} at {gone.cue.place}"
        neighbour = next(index for index in crowd if index != victim) if len(set(crowd)) > 1 else None
        if neighbour is not None:
            left[neighbour] = left[neighbour].because(f"{what} is left out here, so that one person can play this")
        left = [
            move for index, move in enumerate(left) if index != victim and not (gone.pair and move.pair == gone.pair)
        ]
    return left


def share_standbys(cues: Sequence[Cue], moves: Sequence[Move], brief: Brief) -> tuple[Cue, ...]:
    """Number the stand-bys: what comes within a phrase of a group's first cue shares its stand-by."""
    numbered: list[Cue] = []
    group, opened = 0, float("-inf")
    for cue, move in zip(cues, moves, strict=True):
        phrase = brief.profile.standby.phrase_bars * brief.grid.bar_seconds(move.start)
        if group == 0 or move.start - opened >= phrase - 1e-3:
            group, opened = group + 1, move.start
        numbered.append(replace(cue, standby=group))
    return tuple(numbered)
