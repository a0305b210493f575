"""Progress on a terminal: the name of the step that runs; silent when piped."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from cuesuggest.analysis.listen import Step

__all__ = ["progress"]


@contextmanager
def progress(name: str, *, quiet: bool) -> Iterator[Step | None]:
    """Show the steps of one recording while they run.

    Yields
    ------
    callable or None
        To be told the step and, while listening, the seconds heard; None where nothing is shown.
    """
    if quiet or not sys.stderr.isatty():
        yield None
        return
    from rich.console import Console

    with Console(stderr=True).status(name) as status:

        def step(doing: str, seconds: float | None) -> None:
            heard = "" if seconds is None else f" {int(seconds) // 60}:{int(seconds) % 60:02d}"
            status.update(f"{name}: {doing}{heard}")

        yield step
