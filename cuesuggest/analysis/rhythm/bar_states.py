"""Slots of the bars of all meters as one list of states; which state may follow which, and what the step costs."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np

from cuesuggest.analysis.rhythm.meters import Meter

__all__ = ["ODD_BAR_COST", "STATED_CHANGE_COST", "BarStates", "bar_states", "change_cost", "steps_to"]

ODD_BAR_COST = 15.0  # one bar with some other number of beats
STATED_CHANGE_COST = 0.5  # of meter or tempo, where the user says that it changes
_HALF_BAR_COST = 12.0  # one bar of half its beats
_METER_COST = 20.0


@dataclass(frozen=True, slots=True)
class BarStates:
    """The flat list of (meter, slot), beats of one length and division side by side; and the steps between them."""

    meter: np.ndarray
    slot: np.ndarray
    kinds: tuple[tuple[slice, float, float], ...]
    """Which states, the length of their beats, and whether these divide into three."""
    of_length: tuple[tuple[float, slice], ...]
    """Lengths of beats, and which states have them."""
    before: np.ndarray
    """The state of the slot before; for a downbeat, of the bar's last slot."""
    first: np.ndarray
    """The downbeat's state in each meter."""
    odd: tuple[tuple[np.ndarray, np.ndarray, np.ndarray], ...]
    """Steps that make a bar of another length: from, to, cost. Those of one group lead to different states."""


@cache
def bar_states(meters: tuple[Meter, ...]) -> BarStates:
    """List the slots of some meters as states, and the steps between them."""
    flat = [
        (length, meter.thirds if length == 1 else 1.0, m, slot)
        for m, meter in enumerate(meters)
        for slot, length in enumerate(meter.lengths)
    ]
    flat.sort()
    place = {(m, slot): k for k, (_, _, m, slot) in enumerate(flat)}
    kinds = []
    for kind in sorted({entry[:2] for entry in flat}):
        inside = [k for k, entry in enumerate(flat) if entry[:2] == kind]
        kinds.append((slice(inside[0], inside[-1] + 1), *kind))
    odd: list[list[tuple[int, int, float]]] = []
    for m, meter in enumerate(meters):
        n = meter.beats
        steps = [(place[m, count - 1], place[m, 0], cost) for count, cost in _short_bars(n)]
        if n > 1 and len(set(meter.lengths)) == 1:
            steps.append((place[m, n - 1], place[m, n - 1], ODD_BAR_COST))
        for step in steps:
            group = next((each for each in odd if all(step[1] != after for _, after, _ in each)), None)
            if group is None:
                group = []
                odd.append(group)
            group.append(step)
    return BarStates(
        meter=np.array([m for _, _, m, _ in flat]),
        slot=np.array([slot for _, _, _, slot in flat]),
        kinds=tuple(kinds),
        of_length=tuple(
            (length, slice(group[0].start, group[-1].stop))
            for length, group in (
                (length, [states for states, each, _ in kinds if each == length])
                for length in dict.fromkeys(each for _, each, _ in kinds)
            )
        ),
        before=np.array([place[m, (slot or meters[m].beats) - 1] for _, _, m, slot in flat]),
        first=np.array([place[m, 0] for m in range(len(meters))]),
        odd=tuple(
            (
                np.array([before for before, _, _ in group]),
                np.array([after for _, after, _ in group]),
                np.array([cost for _, _, cost in group], np.float32)[:, None, None],
            )
            for group in odd
        ),
    )


def _short_bars(beats: int) -> list[tuple[int, float]]:
    """Beats of bars that are cut short, and what such a bar costs.

    A beat is left out, or half a bar, or the shorter part of an odd one. A bar of one beat would mostly be a downbeat
    heard twice; a beat too many lengthens the bar before.
    """
    if beats < 3:
        return []
    half = beats // 2 if beats % 2 == 0 else beats - 2
    found = [(beats - 1, ODD_BAR_COST)]
    return [*found, (half, ODD_BAR_COST if beats % 2 else _HALF_BAR_COST)] if half > 1 else found


@cache
def steps_to(meters: tuple[Meter, ...]) -> tuple[tuple[tuple[int, int, float], ...], ...]:
    """For each state, those that may come before it, of which kind they are, and what each step costs."""
    states = bar_states(meters)
    kind_of = {state: k for k, (inside, _, _) in enumerate(states.kinds) for state in range(inside.start, inside.stop)}
    steps = []
    for state, slot in enumerate(states.slot):
        into = {int(states.before[state]): 0.0}
        if slot == 0:
            for first in states.first:
                into.setdefault(int(states.before[first]), change_cost(meters[states.meter[state]]))
        for before, after, cost in states.odd:
            for k in np.flatnonzero(after == state):
                into.setdefault(int(before[k]), float(cost[k, 0, 0]))
        steps.append(tuple((origin, kind_of[origin], cost) for origin, cost in into.items()))
    return tuple(steps)


def change_cost(meter: Meter) -> float:
    """Cost of going over to a meter from another."""
    return STATED_CHANGE_COST if meter.stated else _METER_COST - meter.prior
