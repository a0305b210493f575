"""Times as people type them."""

from __future__ import annotations

import re

import click

__all__ = ["SECONDS"]

_CLOCK = re.compile(r"(?:(?:(\d+):)?(\d{1,3}):)?(\d+(?:\.\d*)?)")


class _Seconds(click.ParamType):  # type: ignore[type-arg]  # generic only from click 8.2 on
    name = "time"

    def convert(self, value: object, param: click.Parameter | None, ctx: click.Context | None) -> float:
        if isinstance(value, float | int):
            return float(value)
        found = _CLOCK.fullmatch(str(value).strip())
        if not found:
            self.fail(f"{value!r} is no time; write seconds (75.5) or minutes and seconds (1:15.5).", param, ctx)
        hours, minutes, seconds = found.groups()
        if minutes is not None and float(seconds) >= 60:
            self.fail(f"{value!r} has more than 59 seconds to the minute.", param, ctx)
        return int(hours or 0) * 3600 + int(minutes or 0) * 60 + float(seconds)


SECONDS = _Seconds()
