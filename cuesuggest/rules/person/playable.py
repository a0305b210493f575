"""Proof that a list of cues can be played: what is asked of every side, checked against what it holds then."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from cuesuggest.rules.settings.house import Rig
from cuesuggest.score.grid import Grid
from cuesuggest.score.light import SideState, Step, follow, presses, takes_others_out
from cuesuggest.score.records import ENTRANCES, Cue, Look, clock

__all__ = ["Unplayable", "check_playable", "unplayable"]

# Seconds. Stored times are rounded.
_EPS = 5e-3

_DARK = SideState()


@dataclass(frozen=True, slots=True)
class Unplayable:
    """What cannot be played."""

    cue: Cue | None
    """None where it is said of the list as a whole."""
    what: str
    """In words; without a full stop where there is a cue, which stands before it."""


def check_playable(cues: Sequence[Cue], rig: Rig, looks: Sequence[Look] = (), grid: Grid | None = None) -> list[str]:
    """Follow every side through the cues and return what cannot be played, in sentences; empty if all can.

    A recall without a bar, before anything is lit, is done before the song and needs no time. A crossfade, and what
    comes in with a `down`, takes the side that is lit before it out.

    Parameters
    ----------
    cues : sequence of Cue
        In any order; they are followed by the second at which the hand starts.
    rig : Rig
        The sides they are played on.
    looks : sequence of Look
        Those that the cues name; without them it is not checked that they are there and that lasers move.
    grid : Grid, optional
        Of the song; without it only the first press of a series is followed.
    """
    found = unplayable(cues, rig, looks, grid)
    return [f"{each.cue.id} at {each.cue.place}: {each.what}." if each.cue else each.what for each in found]


def unplayable(cues: Sequence[Cue], rig: Rig, looks: Sequence[Look] = (), grid: Grid | None = None) -> list[Unplayable]:
    """Return what `check_playable` tells, with the cues of which it is said."""
    problems: list[Unplayable] = []
    named = {side.name: side for side in rig.sides}
    still = {side.name: side.source != "laser" or side.still_beam for side in rig.sides}
    known = {look.id: look for look in looks}
    ready_at: dict[str, float] = {}
    opened = False

    def wrong(cue: Cue, what: str) -> None:
        problems.append(Unplayable(cue, what))

    steps = follow(cues, grid=grid, looks=looks, hands=rig.hands)
    for step in steps:
        cue, at = step.cue, step.at
        if known and cue.look is not None and cue.look not in known:
            wrong(cue, f"there is no look {cue.look}")
        if cue.kind == "one-shot":
            if rig.one_shot and rig.one_shot.source == "laser":
                _check_laser(cue, wrong)
                _check_moving(cue, known, wrong)
            continue
        if cue.kind == "call" or (cue.kind == "speed" and cue.side is None):
            if cue.kind == "speed" and not all(still.values()):
                _check_laser(cue, wrong)
                _check_moving(cue, known, wrong)
            continue
        if cue.side not in named:
            there = f"the rig has {', '.join(named) or 'none'}"
            wrong(cue, f"it names no side; {there}" if cue.side is None else f"there is no side {cue.side}; {there}")
            continue
        here = step.before.get(cue.side, _DARK)
        if named[cue.side].source == "laser":
            _check_laser(cue, wrong)
        if not still[cue.side]:
            _check_moving(cue, known, wrong)
        if at < here.busy_until - _EPS:
            wrong(cue, f"the fade before it on side {cue.side} has not ended")
        if cue.kind == "recall":
            if here.lit:
                wrong(cue, f"side {cue.side} is lit; a look is changed only in the dark")
            # Before anything was lit and before there are bars is before the song: there is all the time.
            settles = named[cue.side].settle_seconds if opened or cue.place.bar is not None else 0.0
            ready_at[cue.side] = at + settles
            continue
        if here.look is None or cue.look not in (None, here.look):
            held, asked = (known[look].name if look in known else look for look in (here.look, cue.look))
            wrong(cue, f"side {cue.side} holds {held or 'nothing'}, not {asked or 'a look'}")
        ready = at >= ready_at.get(cue.side, at) - _EPS
        if cue.kind == "speed":
            if not here.lit and not ready:
                wrong(cue, f"side {cue.side} is still moving into {here.look}")
        elif cue.kind in ENTRANCES:
            if here.lit:
                wrong(cue, f"side {cue.side} is lit already")
            if not ready:
                wrong(cue, f"side {cue.side} is still moving into {cue.look}")
            opened = True
            _check_others(step, wrong)
        elif not here.lit:
            wrong(cue, f"side {cue.side} is dark already")
    problems += _one_shots_meeting(cues, rig, grid)
    lit = [name for name, state in (steps[-1].after.items() if steps else ()) if state.lit]
    ends = "Side {} is lit at the end; it needs a way out."
    problems += [Unplayable(None, ends.format(name)) for name in named if name in lit]
    return problems


def _check_others(step: Step, wrong: Callable[[Cue, str], None]) -> None:
    """Check that what else is lit leaves as a look comes in, and has arrived before it does."""
    others = {name: state for name, state in step.before.items() if state.lit and name != step.cue.side}
    if not takes_others_out(step.cue):
        if others:
            wrong(step.cue, "another side stays lit")
        return
    if not others and step.cue.down_seconds is not None:
        wrong(step.cue, "there is no lit side to take out")
    for name, state in others.items():
        if step.at < state.busy_until - _EPS:
            wrong(step.cue, f"the fade before it on side {name} has not ended")


def _one_shots_meeting(cues: Sequence[Cue], rig: Rig, grid: Grid | None) -> list[Unplayable]:
    """Follow the one-shots, the series press by press: none may start while one runs."""
    problems = []
    run = rig.one_shot.run_seconds if rig.one_shot else 0.0
    shots = [cue for cue in cues if cue.kind == "one-shot"]
    before = float("-inf")
    for at, index in sorted((at, index) for index, cue in enumerate(shots) for at in presses(cue, grid)):
        cue = shots[index]
        if at < before + run - _EPS:
            when = "" if abs(at - cue.place.seconds) < _EPS else f" at its press at {clock(at)}"
            problems.append(Unplayable(cue, f"the one-shot before it is still running{when}"))
        before = at
    return problems


def _check_moving(cue: Cue, known: Mapping[str, Look], wrong: Callable[[Cue, str], None]) -> None:
    """A laser is never still: its look goes round, and no speed is nought."""
    look = known.get(cue.look or "")
    if look is not None and not (look.cycle_seconds or 0.0) > 0.0:
        wrong(cue, f"a laser is never still, and {look.id} has no motion")
    if cue.cycle_seconds is not None and not 0.0 < cue.cycle_seconds < float("inf"):
        wrong(cue, "a laser is never still, and this speed stops it")


def _check_laser(cue: Cue, wrong: Callable[[Cue, str], None]) -> None:
    if not cue.operator_confirms:
        wrong(cue, "a laser cue needs a person's go")
    if cue.trigger in ("follow-on", "chase"):
        wrong(cue, "a laser cue never follows on by itself")
