"""Times as people type them."""

from __future__ import annotations

import re

import click

__all__ = ["SECONDS", "seconds_of"]

_CLOCK = re.compile(r"(?:(?:(\d+):)?(\d{1,3}):)?(\d+(?:\.\d*)?)")


def seconds_of(word: str) -> float:
    """Read 75.5, 1:15.5 or 1:02:15.5 as seconds.

    Raises
    ------
    ValueError
        If it is none of these.
    """
    found = _CLOCK.fullmatch(word.strip())
    if not found:
        raise ValueError(f"{word!r} is no time; write seconds (75.5) or minutes and seconds (1:15.5).")
    hours, minutes, seconds = found.groups()
    if minutes is not None and float(seconds) >= 60:
        raise ValueError(f"{word!r} has more than 59 seconds to the minute.")
    return int(hours or 0) * 3600 + int(minutes or 0) * 60 + float(seconds)


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
