"""One person plays this: what is too much is left out, the least important first."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from cuesuggest.rules.brief import FIRM, ONE_SHOT_RANK, PHRASE_RANK, RAMP_RANK, SPEED_RANK, Brief, Clash, Move
from cuesuggest.rules.settings.house import Profile, Rig
from cuesuggest.score.grid import Grid
from cuesuggest.score.light import fade_seconds, hand_starts, presses, swapped_after
from cuesuggest.score.records import Cue, clock

__all__ = [
    "Action",
    "Hold",
    "actions_of",
    "check_hands",
    "fit_hands",
    "hands_held",
    "holds",
    "share_standbys",
    "too_many_hands",
    "too_much",
]

# Seconds. Two starts closer than this are one moment.
_TOGETHER = 0.02

# Seconds. A fade that ends as another begins does not hold the hand any more; stored times are rounded.
_EPS = 2e-3

_LEFT_OUT = {ONE_SHOT_RANK: "a one-shot", RAMP_RANK: "a change of level", SPEED_RANK: "setting the speed"}


@dataclass(frozen=True, slots=True)
class Action:
    """One moment or gesture: something has to be done, by so many hands, for so many moves."""

    seconds: float
    until: float
    """Later than `seconds` where one hand goes out and the other in: that is one gesture."""
    hands: int
    moves: tuple[int, ...]
    """Indexes of the moves."""


@dataclass(frozen=True, slots=True)
class Hold:
    """A hand that is at something from one moment to another; a press takes no time."""

    start: float
    end: float
    of: int
    """Index of the cue or move."""


def holds(
    cue: Cue, rig: Rig, *, of: int = 0, at: float | None = None, until: float | None = None, grid: Grid | None = None
) -> list[Hold]:
    """Say when a cue needs a hand: a fader is moved by hand, a button is pressed.

    Parameters
    ----------
    cue : Cue
    rig : Rig
    of : int
        What the holds are called.
    at, until : float, optional
        Seconds at which the hand starts and, for what is held or tapped, ends; from the cue if left out.
    grid : Grid, optional
        Of the song, for lengths in beats.
    """
    start = hand_starts(cue, grid) if at is None else at
    up, down = fade_seconds(cue, grid)
    if cue.trigger == "held" or cue.kind == "speed":
        return [Hold(start, start if until is None else until, of)]
    if cue.kind in ("fade-in", "ramp", "fade-out"):
        return [Hold(start, start + max(up, down), of)]
    if cue.kind == "cut-in":
        # The hand that pushes the new side up takes the old one out after it.
        return [Hold(start, start + down, of)]
    if cue.kind == "crossfade":
        # With two hands the old side leaves once the new one is half up, with one hand once it is up.
        second = start + swapped_after(up, 0.0, rig.hands)
        if rig.hands > 1:
            return [Hold(start, start + up, of), Hold(second, second + down, of)]
        return [Hold(start, second + down, of)]
    return [Hold(start, start, of)]


def hands_held(moves: Sequence[Move], seconds: float, rig: Rig) -> int:
    """Return how many hands are at something before and after a moment."""
    return sum(
        hold.start < seconds - _EPS and seconds + _EPS < hold.end
        for index, move in enumerate(moves)
        for hold in _holds_of(move, rig, index)
    )


def _holds_of(move: Move, rig: Rig, index: int) -> list[Hold]:
    if move.rank == ONE_SHOT_RANK:
        return [Hold(at, at, index) for at in move.starts]
    return holds(move.cue, rig, of=index, at=move.start, until=move.end)


def too_many_hands(held: Sequence[Hold], rig: Rig) -> tuple[int, ...]:
    """Return what needs more hands at one moment than there are, the first such moment; or nothing.

    What one hand can do one after the other at a moment, the two presses of a single cue, is no second hand.
    """
    for hold in sorted(held, key=lambda each: each.start):
        at = hold.start
        busy = [
            each
            for each in held
            if abs(each.start - at) < _TOGETHER or (each.start < at - _EPS and at + _EPS < each.end)
        ]
        if len(busy) > max(rig.hands, 1) and len({each.of for each in busy}) > 1:
            return tuple(dict.fromkeys(each.of for each in busy))
    return ()


def actions_of(moves: Sequence[Move], profile: Profile, rig: Rig) -> list[Action]:
    """Group the starts of all moves into moments and gestures."""
    starts = sorted((start, index) for index, move in enumerate(moves) for start in move.starts)
    return _moments(
        [(start, index, moves[index].hands) for start, index in starts],
        [move.cue for move in moves],
        _one_gesture(profile, rig),
    )


def _one_gesture(profile: Profile, rig: Rig) -> float:
    """Return the seconds within which going out and coming in again is one gesture; it takes two hands."""
    return profile.hands.peak_gap_seconds * profile.hands.slowness(rig) if rig.hands > 1 else 0.0


def _moments(starts: Sequence[tuple[float, int, int]], cues: Sequence[Cue], gesture: float) -> list[Action]:
    """Group (seconds, index, hands) in order of time."""
    actions: list[Action] = []
    for start, index, hands in starts:
        if actions and start - actions[-1].seconds < _TOGETHER:
            last = actions[-1]
            actions[-1] = Action(last.seconds, last.until, last.hands + hands, (*last.moves, index))
        else:
            actions.append(Action(start, start, hands, (index,)))
    joined: list[Action] = []
    for action in actions:
        last_one = joined[-1] if joined else None
        comes_in = any(cues[index].kind in ("cut-in", "fade-in") for index in action.moves)
        if (
            last_one is not None
            and comes_in
            and action.seconds - last_one.seconds < gesture
            and all(_cuts_out(cues[index]) for index in last_one.moves)
        ):
            hands = max(last_one.hands, action.hands)
            joined[-1] = Action(last_one.seconds, action.until, hands, (*last_one.moves, *action.moves))
        else:
            joined.append(action)
    return joined


def _cuts_out(cue: Cue) -> bool:
    return cue.kind == "cut-out" and cue.trigger != "held"


def too_much(actions: Sequence[Action], profile: Profile, rig: Rig) -> tuple[int, ...]:
    """Return the moves of the first stretch that one person cannot play, or nothing.

    Four limits: hands at one moment; the peak gap between two moments; a burst of so many that follow each other
    within less than two peak gaps; and a pace that can be kept up, with a burst on top of it: n actions may not fall
    into less than (n - burst) times the sustained distance.
    """
    slow = profile.hands.slowness(rig)
    gap, pace, burst = (
        profile.hands.peak_gap_seconds * slow,
        profile.hands.sustained_seconds * slow,
        profile.hands.burst,
    )
    run = 0
    for last, action in enumerate(actions):
        quick = last > 0 and action.seconds - actions[last - 1].until < 2 * gap - 2e-3
        run = run + 1 if quick else 1
        if run > burst:
            return tuple(index for each in actions[last - run + 1 : last + 1] for index in each.moves)
        # One hand can do what two do, one after the other; more than two things at once it cannot.
        if action.hands > max(rig.hands, 1) and len(action.moves) > 1:
            return action.moves
        if last and action.seconds - actions[last - 1].until < gap - 2e-3:
            return (*actions[last - 1].moves, *action.moves)
        for first in range(last - burst, -1, -1):
            count = last - first + 1
            if action.seconds - actions[first].seconds < (count - burst) * pace - 2e-3:
                return tuple(index for each in actions[first : last + 1] for index in each.moves)
    return ()


def check_hands(cues: Sequence[Cue], profile: Profile, rig: Rig, grid: Grid | None = None) -> list[str]:
    """Say where a list asks more of one person than the style allows, in sentences; empty if nowhere.

    What somebody else does, and what is set up before the song, takes no time of the operator.

    Parameters
    ----------
    cues : sequence of Cue
        In any order.
    profile : Profile
    rig : Rig
    grid : Grid, optional
        Of the song, for the beats of a series and lengths in beats.
    """
    own = [cue for cue in cues if cue.who == "operator" and cue.kind != "call"]
    # Before the song there is all the time.
    entered = min((hand_starts(cue, grid) for cue in own if cue.kind != "recall"), default=0.0)
    own = [
        cue for cue in own if not (cue.kind == "recall" and cue.place.bar is None and hand_starts(cue, grid) <= entered)
    ]
    starts: list[tuple[float, int, int]] = []
    held: list[Hold] = []
    for index, cue in enumerate(own):
        if cue.kind == "one-shot":
            early = rig.one_shot.own_gesture if rig.one_shot and cue.anchor == "lands-on" else 0.0
            starts += [(at - early, index, 1) for at in presses(cue, grid)]
            held += [Hold(at - early, at - early, index) for at in presses(cue, grid)]
        else:
            starts.append((hand_starts(cue, grid), index, 2 if cue.kind == "crossfade" else 1))
            held += holds(cue, rig, of=index, grid=grid)
    told = []
    if much := too_much(_moments(sorted(starts), own, _one_gesture(profile, rig)), profile, rig):
        told.append(f"{_these(own, much, grid)}: more than one person can do in the time.")
    if many := too_many_hands(held, rig):
        hands = "hand" if rig.hands == 1 else "hands"
        told.append(f"{_these(own, many, grid)}: more than {rig.hands} {hands} at one moment.")
    return told


def _these(cues: Sequence[Cue], which: Sequence[int], grid: Grid | None) -> str:
    some = [cues[index] for index in dict.fromkeys(which)]
    numbers = ", ".join(f"{cue.number:g}" for cue in some)
    return f"Cue{'s' * (len(some) > 1)} {numbers} from {clock(min(hand_starts(cue, grid) for cue in some))}"


def fit_hands(moves: Sequence[Move], brief: Brief) -> list[Move] | Clash:
    """Leave out one-shots, then changes of level, then stops, until one person can play the rest.

    If that is not enough, name the look that has to be given up: the weakest that comes in there.
    """
    left = list(moves)
    while crowd := _crowd(left, brief):
        droppable = [index for index in dict.fromkeys(crowd) if left[index].rank < FIRM]
        if not droppable:
            stays = [stay for index in crowd if (stay := left[index].stay) is not None]
            return Clash(max(stays), "one person has no time for it")
        victim = min(droppable, key=lambda index: (left[index].rank, -left[index].start))
        gone = left[victim]
        if gone.rank == PHRASE_RANK:
            left.pop(victim)  # nobody misses it
            continue
        what = f"{_LEFT_OUT.get(gone.rank, 'going dark for the stop')} at {gone.cue.place}"
        neighbour = next(index for index in crowd if index != victim) if len(set(crowd)) > 1 else None
        if neighbour is not None:
            left[neighbour] = left[neighbour].because(f"{what} is left out here, so that one person can play this")
        left = [
            move for index, move in enumerate(left) if index != victim and not (gone.pair and move.pair == gone.pair)
        ]
    return left


def _crowd(moves: Sequence[Move], brief: Brief) -> tuple[int, ...]:
    """Return the moves that are too many: in a stretch of time, or for the hands at a moment."""
    much = too_much(actions_of(moves, brief.profile, brief.rig), brief.profile, brief.rig)
    if much:
        return much
    return too_many_hands([hold for i, move in enumerate(moves) for hold in _holds_of(move, brief.rig, i)], brief.rig)


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
