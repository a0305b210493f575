"""Flashes of all sides together: how many within a second, and how long they go on.

A flash is light that jumps up at once: a cut, a fade too short to be seen as one, a one-shot, the end of a held dark,
a round of a strobe's look. What jumps up at the same moment is one flash to the eye.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

from cuesuggest.rules.brief import ONE_SHOT_RANK, Brief, Move
from cuesuggest.rules.settings.house import Rig
from cuesuggest.score.grid import Grid
from cuesuggest.score.light import Step, follow, hand_starts, is_held, lit_stretches, presses
from cuesuggest.score.records import ENTRANCES, Cue, Look, clock

__all__ = [
    "FLASHES_PER_SECOND",
    "LONGEST_RUN",
    "Flash",
    "calmed",
    "check_flashes",
    "crowded",
    "flashes",
    "most_flashes",
    "runs",
]

# WCAG 2.3.1 (W3C): not more than three flashes within any second. It governs screens; here it is a yardstick.
FLASHES_PER_SECOND = 3

# Seconds of flashing without a break. From memory: ITU-R BT.1702 speaks of sequences over 5 s.
LONGEST_RUN = 5.0

# Seconds. Windows are half-open, so that three flashes a second are three and not four.
_GUARD = 1e-9

# Seconds. What jumps up within this is one flash.
_TOGETHER = 0.02

# Seconds. A rise as short as this is a jump. From memory: ITU-R BT.1702 takes edges 334 ms apart for separate.
_JUMP = 0.33


@dataclass(frozen=True, slots=True)
class Flash:
    """Light that jumps up, and the cue that makes it."""

    seconds: float
    cue: str
    """Its id."""


def most_flashes(onsets: Sequence[float]) -> int:
    """Return the most onsets that fall into one half-open second.

    Parameters
    ----------
    onsets : sequence of float
        Seconds, in any order, of all sides together: the eye adds them up.
    """
    ordered = sorted(onsets)
    return max((bisect_left(ordered, at + 1.0 - _GUARD) - index for index, at in enumerate(ordered)), default=0)


def flashes(cues: Sequence[Cue], looks: Sequence[Look], rig: Rig, grid: Grid | None = None) -> list[Flash]:
    """Find every flash of a list of cues, in order of time.

    A held dark is told at its press; a strobe's look flashes once a round, from its entrance until it is out.

    Parameters
    ----------
    cues : sequence of Cue
        In any order.
    looks : sequence of Look
        Those that they name.
    rig : Rig
    grid : Grid, optional
        Of the song, for the beats of a series.
    """
    known = {look.id: look for look in looks}
    sources = {side.name: side.source for side in rig.sides}
    found: list[Flash] = []
    for cue in cues:
        if cue.kind == "one-shot":
            found += [Flash(at, cue.id) for at in presses(cue, grid)]
        elif cue.kind in (*ENTRANCES, "ramp"):
            up = cue.up_seconds
            if cue.kind == "cut-in" or (up is not None and up <= _JUMP):
                found.append(Flash(hand_starts(cue, grid), cue.id))
        elif is_held(cue):
            found.append(Flash(cue.place.seconds, cue.id))
    strobes = {name for name, source in sources.items() if source == "strobe"}
    if strobes:
        found += _pulses(follow(cues, grid=grid, looks=looks, hands=rig.hands), strobes, known)
    return sorted(found, key=lambda flash: (flash.seconds, flash.cue))


def _pulses(steps: Sequence[Step], strobes: Collection[str], known: Mapping[str, Look]) -> list[Flash]:
    """Find a flash for every round of a strobe's look while it is lit."""
    found: list[Flash] = []
    last = max((move.end for step in steps for move in step.moves), default=0.0)
    for lit in lit_stretches(steps, last):
        if lit.side not in strobes:
            continue
        look = known.get(lit.entered.look or "")
        paces = [(lit.start, (look.cycle_seconds or 0.0) if look else 0.0)]
        paces += [
            (step.at, step.cue.cycle_seconds)
            for step in steps
            if step.cue.kind == "speed" and step.cue.side == lit.side and step.cue.cycle_seconds
            if lit.start < step.at < lit.end
        ]
        at = lit.start
        for (_, every), (until, _) in pairwise([*paces, (lit.end, 0.0)]):
            while every > 0.0 and at < until - _TOGETHER:
                found.append(Flash(at, lit.entered.id))
                at = round(at + every, 6)
    return found


def crowded(found: Sequence[Flash], limit: float = FLASHES_PER_SECOND) -> list[tuple[Flash, ...]]:
    """Return the flashes of every half-open second that holds more than `limit`, flashes at one moment once."""
    single = _apart(found)
    starts = [flash.seconds for flash in single]
    groups = []
    for index, at in enumerate(starts):
        end = bisect_left(starts, at + 1.0 - _GUARD)
        if end - index > limit:
            groups.append(tuple(each for each in found if at - _TOGETHER < each.seconds <= starts[end - 1] + _TOGETHER))
    return groups


def runs(found: Sequence[Flash], longest: float = LONGEST_RUN) -> list[tuple[float, float]]:
    """Return from when to when flashes follow each other within less than a second for longer than `longest`."""
    spans: list[tuple[float, float]] = []
    single = _apart(found)
    if not single:
        return []
    begin = single[0].seconds
    for flash, later in pairwise([*single, Flash(float("inf"), "")]):
        if later.seconds - flash.seconds >= 1.0 - _GUARD:
            if flash.seconds - begin > longest:
                spans.append((begin, flash.seconds))
            begin = later.seconds
    return spans


def _apart(found: Sequence[Flash]) -> list[Flash]:
    """Take flashes at the same moment for one."""
    single: list[Flash] = []
    for flash in sorted(found, key=lambda each: each.seconds):
        if not single or flash.seconds - single[-1].seconds >= _TOGETHER:
            single.append(flash)
    return single


def check_flashes(cues: Sequence[Cue], looks: Sequence[Look], rig: Rig, grid: Grid | None = None) -> list[str]:
    """Say where cues flash too fast or too long, in sentences; empty if nowhere."""
    found = flashes(cues, looks, rig, grid)
    limit = rig.local.flashes_per_second
    told: list[str] = []
    last = float("-inf")
    for group in crowded(found, limit):
        if group[0].seconds >= last + 1.0:
            count = most_flashes([flash.seconds for flash in _apart(group)])
            told.append(
                f"{count} flashes within a second at {clock(group[0].seconds)}, over all sides; the limit is {limit:g}."
            )
        last = group[-1].seconds
    told += [
        f"Flashing without a break from {clock(start)} to {clock(end)}; {LONGEST_RUN:g} s is long enough."
        for start, end in runs(found)
    ]
    return told


def calmed(moves: Sequence[Move], looks: Sequence[Look], brief: Brief) -> list[Move]:
    """Leave out one-shots where all sides together would flash too fast or too long, the last one first."""
    left = list(moves)
    while True:
        found = flashes([move.cue for move in left], looks, brief.rig, brief.grid)
        groups = [{flash.cue for flash in group} for group in crowded(found, brief.rig.local.flashes_per_second)]
        groups += [{flash.cue for flash in found if low <= flash.seconds <= high} for low, high in runs(found)]
        shots = [
            (index, group)
            for group in groups
            for index, move in enumerate(left)
            if move.rank == ONE_SHOT_RANK and move.cue.id in group
        ]
        if not shots:
            return left
        victim, group = max(shots, key=lambda each: each[0])
        what = f"a one-shot at {left[victim].cue.place} is left out here: with the other light it would flash too fast"
        beside = next((i for i, move in enumerate(left) if move.cue.id in group and i != victim), None)
        if beside is not None:
            left[beside] = left[beside].because(what)
        del left[victim]
