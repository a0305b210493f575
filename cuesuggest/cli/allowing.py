"""The option `--allow-auto`: what a machine may play for once although its cues wait for a person."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from cuesuggest.score.records import Source

__all__ = ["allowing"]

_SOURCES: dict[str, Source] = {"lamps": "lamp", "strobes": "strobe", "lasers": "laser"}


class _Sources(click.ParamType):  # type: ignore[type-arg]  # generic only from click 8.2 on
    name = "sources"

    def convert(self, value: object, param: click.Parameter | None, ctx: click.Context | None) -> frozenset[Source]:
        if isinstance(value, frozenset):
            return value
        words = [word.strip().lower() for word in str(value).split(",") if word.strip()]
        unknown = next((word for word in words if word not in _SOURCES), None)
        if unknown is not None or not words:
            self.fail(
                f"{str(value)[:30]!r} names no light. Say which may play by itself: {', '.join(_SOURCES)}, "
                "or several with commas.",
                param,
                ctx,
            )
        return frozenset(_SOURCES[word] for word in words)


allowing = click.option(
    "--allow-auto",
    type=_Sources(),
    default=frozenset(),
    metavar="LIGHT[,LIGHT…]",
    help="Let machines play cues that wait for a person: lamps, strobes, lasers. Lasers only if you name them.",
)
