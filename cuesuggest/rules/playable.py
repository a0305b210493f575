"""Proof that a list of cues can be played: every side followed through the song."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from cuesuggest.analysis.types import Bar
from cuesuggest.cues import ENTRANCES, Cue, Look, clock
from cuesuggest.rules.settings import Rig

__all__ = ["check_playable", "presses", "started", "swapped_after"]

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


def presses(cue: Cue, bars: Sequence[Bar]) -> tuple[float, ...]:
    """Return the seconds of a one-shot's beats: one, or one for each bar of its series that is not left out.

    Parameters
    ----------
    cue : Cue
    bars : sequence of Bar
        Those of the song; of a series only the first place is known without them.
    """
    first = cue.place.seconds
    start = {bar.number: bar.start for bar in bars}
    if cue.series is None or cue.place.bar not in start:
        return (first,)
    series, into = cue.series, first - start[cue.place.bar]
    numbers = range(series.first_bar, series.last_bar + 1, max(series.every_bars, 1))
    return tuple(round(start[bar] + into, 4) for bar in numbers if bar in start and bar not in series.skip)


def check_playable(cues: Sequence[Cue], rig: Rig, looks: Sequence[Look] = (), bars: Sequence[Bar] = ()) -> list[str]:
    """Follow every side through the cues and return what cannot be played, in sentences; empty if all can.

    A recall without a bar, before anything is lit, is done before the song and needs no time. A cue that
    comes in with a `down` takes the side that is lit before it out.

    Parameters
    ----------
    cues : sequence of Cue
        In any order; they are followed by the second at which the hand starts.
    rig : Rig
        The sides they are played on.
    looks : sequence of Look
        Those that the cues name; without them it is not checked that they are there and that lasers move.
    bars : sequence of Bar
        Those of the song; without them only the first press of a series is followed.
    """
    problems: list[str] = []
    sides = {side.name: _SideState() for side in rig.sides}
    sources = {side.name: side.source for side in rig.sides}
    settle = {side.name: side.settle_seconds for side in rig.sides}
    still = {side.name: side.source != "laser" or side.still_beam for side in rig.sides}
    known = {look.id: look for look in looks}
    opened = False

    def wrong(cue: Cue, what: str) -> None:
        problems.append(f"{cue.id} at {cue.place}: {what}.")

    for cue in sorted(cues, key=lambda cue: (started(cue), cue.kind != "recall", cue.place.seconds)):
        at = started(cue)
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
        if cue.side not in sides:
            wrong(cue, f"there is no side {cue.side}")
            continue
        state = sides[cue.side]
        if sources[cue.side] == "laser":
            _check_laser(cue, wrong)
        if not still[cue.side]:
            _check_moving(cue, known, wrong)
        if at < state.busy_until - _EPS:
            wrong(cue, f"the fade before it on side {cue.side} has not ended")
        if cue.kind == "recall":
            if state.lit:
                wrong(cue, f"side {cue.side} is lit; a look is changed only in the dark")
            state.look = cue.look
            # Before anything was lit and before there are bars is before the song: there is all the time.
            state.ready_at = at + settle[cue.side] if opened or cue.place.bar is not None else at
            continue
        if state.look is None or cue.look not in (None, state.look):
            wrong(cue, f"side {cue.side} holds {state.look or 'nothing'}, not {cue.look or 'a look'}")
        if cue.kind == "speed":
            if not state.lit and at < state.ready_at - _EPS:
                wrong(cue, f"side {cue.side} is still moving into {state.look}")
            continue
        if cue.kind in ENTRANCES:
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
    problems += _one_shots_meeting(cues, rig, bars)
    problems += [f"Side {name} is lit at the end; it needs a way out." for name, state in sides.items() if state.lit]
    return problems


def _one_shots_meeting(cues: Sequence[Cue], rig: Rig, bars: Sequence[Bar]) -> list[str]:
    """Follow the one-shots, the series press by press: none may start while one runs."""
    problems = []
    run = rig.one_shot.run_seconds if rig.one_shot else 0.0
    shots = [cue for cue in cues if cue.kind == "one-shot"]
    before = float("-inf")
    for at, index in sorted((at, index) for index, cue in enumerate(shots) for at in presses(cue, bars)):
        cue = shots[index]
        if at < before + run - _EPS:
            when = "" if abs(at - cue.place.seconds) < _EPS else f", its press at {clock(at)}"
            problems.append(f"{cue.id} at {cue.place}{when}: the one-shot before it is still running.")
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
