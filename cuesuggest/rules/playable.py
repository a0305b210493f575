"""Proof that a list of cues can be played: every side followed through the song."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from cuesuggest.cues import Cue
from cuesuggest.rules.settings import Rig

__all__ = ["check_playable", "started", "swapped_after"]

# Seconds. Stored times are rounded.
_EPS = 5e-3


@dataclass(slots=True)
class _SideState:
    """What a side holds while the list is followed."""

    look: str | None = None
    lit: bool = False
    busy_until: float = float("-inf")
    ready_at: float = float("-inf")


def started(cue: Cue) -> float:
    """Return the second at which the hand starts: earlier than the place for a fade that lands on it."""
    if cue.anchor == "lands-on" and cue.kind != "one-shot":
        return cue.place.seconds - (cue.up_seconds or cue.down_seconds or 0.0)
    return cue.place.seconds


def swapped_after(up: float, down: float, rig: Rig) -> float:
    """Return the seconds from the start of a swap until the old side is dark.

    With two hands the old side starts out when the new one is half up, with one hand when it is up.
    """
    return (up / 2 if rig.hands > 1 else up) + down


def check_playable(cues: Sequence[Cue], rig: Rig) -> list[str]:
    """Follow every side through the cues and return what cannot be played, in sentences; empty if all can.

    A recall without a bar, before anything is lit, is done before the song and needs no time. A cue that
    comes in with a `down` takes the side that is lit before it out.

    Parameters
    ----------
    cues : sequence of Cue
        In any order; they are followed by the second at which the hand starts.
    rig : Rig
        The sides they are played on.
    """
    problems: list[str] = []
    sides = {side.name: _SideState() for side in rig.sides}
    sources = {side.name: side.source for side in rig.sides}
    settle = {side.name: side.settle_seconds for side in rig.sides}
    last_shot = float("-inf")
    opened = False

    def wrong(cue: Cue, what: str) -> None:
        problems.append(f"{cue.id} at {cue.place}: {what}.")

    for cue in sorted(cues, key=lambda cue: (started(cue), cue.kind != "recall", cue.place.seconds)):
        at = started(cue)
        if cue.kind == "one-shot":
            run = rig.one_shot.run_seconds if rig.one_shot else 0.0
            if at < last_shot + run - _EPS:
                wrong(cue, "the one-shot before it is still running")
            last_shot = at
            if rig.one_shot and rig.one_shot.source == "laser":
                _check_laser(cue, wrong)
            continue
        if cue.kind in ("call", "speed"):
            continue
        if cue.side not in sides:
            wrong(cue, f"there is no side {cue.side}")
            continue
        state = sides[cue.side]
        if sources[cue.side] == "laser":
            _check_laser(cue, wrong)
        if at < state.busy_until - _EPS:
            wrong(cue, f"the fade before it on side {cue.side} has not ended")
        if cue.kind == "recall":
            if state.lit:
                wrong(cue, f"side {cue.side} is lit; a look is changed only in the dark")
            state.look = cue.look
            # Before anything was lit and before there are bars is before the song: there is all the time.
            state.ready_at = at + settle[cue.side] if opened or cue.place.bar is not None else at
            continue
        if cue.look is not None and cue.look != state.look:
            wrong(cue, f"side {cue.side} holds {state.look or 'nothing'}, not {cue.look}")
        if cue.kind in ("fade-in", "cut-in", "crossfade"):
            if state.lit:
                wrong(cue, f"side {cue.side} is lit already")
            if at < state.ready_at - _EPS:
                wrong(cue, f"side {cue.side} is still moving into {cue.look}")
            opened = True
            state.lit, state.busy_until = True, at + (cue.up_seconds or 0.0)
            if cue.down_seconds is not None:
                _take_out(cue, at, sides, rig, wrong)
            elif any(other.lit for name, other in sides.items() if name != cue.side):
                wrong(cue, "another side stays lit")
        elif not state.lit:
            wrong(cue, f"side {cue.side} is dark already")
        elif cue.kind == "ramp":
            state.busy_until = at + (cue.up_seconds or cue.down_seconds or 0.0)
        elif cue.trigger != "held":
            state.lit, state.busy_until = False, at + (cue.down_seconds or 0.0)
    problems += [f"Side {name} is lit at the end; it needs a way out." for name, state in sides.items() if state.lit]
    return problems


def _check_laser(cue: Cue, wrong: Callable[[Cue, str], None]) -> None:
    if not cue.operator_confirms:
        wrong(cue, "a laser cue needs a person's go")
    if cue.trigger in ("follow-on", "chase"):
        wrong(cue, "a laser cue never follows on by itself")


def _take_out(cue: Cue, at: float, sides: dict[str, _SideState], rig: Rig, wrong: Callable[[Cue, str], None]) -> None:
    """Let the side that was lit before leave."""
    others = [(name, state) for name, state in sides.items() if name != cue.side and state.lit]
    if not others:
        wrong(cue, "there is no lit side to take out")
    for name, state in others:
        if at < state.busy_until - _EPS:
            wrong(cue, f"the fade before it on side {name} has not ended")
        state.lit = False
        state.busy_until = at + swapped_after(cue.up_seconds or 0.0, cue.down_seconds or 0.0, rig)
