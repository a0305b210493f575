"""Cue numbers: in order where nobody has them on paper, between their neighbours where somebody has."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from cuesuggest.score.records import Cue

__all__ = ["in_order", "number_between", "numbered"]


def in_order(cues: Iterable[Cue]) -> list[Cue]:
    """Sort cues by time, what is set up first, and count them from 1."""
    ordered = sorted(cues, key=lambda cue: (cue.place.seconds, cue.kind != "recall", cue.number, cue.id))
    return [replace(cue, number=float(number)) for number, cue in enumerate(ordered, 1)]


def numbered(cues: Iterable[Cue], numbers: dict[str, float]) -> list[Cue]:
    """Keep every number that was given, and put numbers between them for what is new."""
    ordered = sorted(
        (replace(cue, number=numbers.get(cue.id, 0.0)) for cue in cues),
        key=lambda cue: (cue.place.seconds, cue.kind != "recall", cue.number or float("inf"), cue.id),
    )
    taken = sorted(numbers.values())
    result: list[Cue] = []
    index, last = 0, 0.0
    while index < len(ordered):
        cue = ordered[index]
        if cue.number:
            result.append(cue)
            last = cue.number
            index += 1
            continue
        run = index
        while run < len(ordered) and not ordered[run].number:
            run += 1
        above = next((number for number in taken if number > last), None)
        given = number_between(last, above, run - index)
        result += [replace(each, number=number) for each, number in zip(ordered[index:run], given, strict=True)]
        taken = sorted([*taken, *given])
        last, index = given[-1], run
    return result


def number_between(low: float, high: float | None, count: int) -> list[float]:
    """Return so many rising numbers between two, with as few digits as will do; whole ones after the last.

    Between 12 and 13 one number is 12.5.
    """
    if high is None:
        return [float(int(low) + step) for step in range(1, count + 1)]
    digits = 0
    while True:
        step = (high - low) / (count + 1)
        found = [round(low + step * (place + 1), digits) for place in range(count)]
        if low < found[0] and found[-1] < high and len(set(found)) == count:
            return [float(number) for number in found]
        digits += 1
