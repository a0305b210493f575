"""Times and numbers as people type them: finite, and within bounds."""

from __future__ import annotations

import math
import re

import click

from cuesuggest.score.bounds import DAY

__all__ = ["SECONDS", "Number", "seconds_of"]

_CLOCK = re.compile(r"(?:(?:(\d{1,9}):)?(\d{1,3}):)?(\d+(?:\.\d*)?)")
_SHOWN = 30  # characters of a word that is told


def seconds_of(word: str) -> float:
    """Read 75.5, 1:15.5 or 1:02:15.5 as seconds.

    Raises
    ------
    ValueError
        If it is none of these, or more than a day.
    """
    found = _CLOCK.fullmatch(word.strip())
    shown = word if len(word) <= _SHOWN else f"{word[:_SHOWN]}…"
    if not found:
        raise ValueError(f"{shown!r} is no time; write seconds (75.5) or minutes and seconds (1:15.5).")
    hours, minutes, seconds = found.groups()
    if minutes is not None and float(seconds) >= 60:
        raise ValueError(f"{shown!r} has more than 59 seconds to the minute.")
    read = int(hours or 0) * 3600 + int(minutes or 0) * 60 + float(seconds)
    if read > DAY:
        raise ValueError(f"{shown!r} is more than a day.")
    return read


class _Seconds(click.ParamType):  # type: ignore[type-arg]  # generic only from click 8.2 on
    name = "time"

    def convert(self, value: object, param: click.Parameter | None, ctx: click.Context | None) -> float:
        if isinstance(value, float | int):
            return float(value)
        try:
            return seconds_of(str(value))
        except ValueError as error:
            self.fail(str(error), param, ctx)


SECONDS = _Seconds()


class Number(click.ParamType):  # type: ignore[type-arg]
    """A finite number between two limits."""

    name = "number"

    def __init__(self, low: float, high: float) -> None:
        self._low, self._high = low, high

    def convert(self, value: object, param: click.Parameter | None, ctx: click.Context | None) -> float:
        """Read it, or say what is wrong with it."""
        try:
            number = float(str(value))
        except ValueError:
            number = math.nan
        if not self._low <= number <= self._high:
            shown = str(value)[:_SHOWN]
            self.fail(f"{shown!r} is no number from {self._low:g} to {self._high:g}.", param, ctx)
        return number
