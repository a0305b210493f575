"""Progress on a terminal: the step of one recording, or a bar for each of several; silent when piped."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

from cuesuggest.cli.screen import echo, shown

if TYPE_CHECKING:
    from rich.progress import Progress, TaskID

    from cuesuggest.analysis.listen import Step

__all__ = ["Bars", "bars", "progress", "share_done"]

# Share of the work that is done when a step begins, as measured on songs of 1 to 4 minutes.
_BEGINS = {"listening": 0.0, "beats and bars": 0.65, "energy": 0.9, "sections": 0.91, "events": 0.97, "cues": 0.98}


@contextmanager
def progress(name: str, *, quiet: bool) -> Iterator[Step | None]:
    """Show the steps of one recording while they run.

    Yields
    ------
    callable or None
        To be told the step and, while listening, the seconds heard; None where nothing is shown.
    """
    if not _on_terminal(quiet):
        yield None
        return
    from rich.console import Console
    from rich.text import Text

    # As a text, not as markup: a file may be called "[red].wav".
    with Console(stderr=True).status(Text(shown(name))) as status:

        def step(doing: str, seconds: float | None) -> None:
            status.update(Text(shown(f"{name}: {_step_text(doing, seconds)}")))

        yield step


def share_done(doing: str, heard: float | None) -> float | None:
    """How much of a song's work is done.

    Parameters
    ----------
    doing : str
        The step that runs.
    heard : float or None
        Share of the recording heard so far, if that is known.

    Returns
    -------
    float or None
        0 to 1; None for a step that tells nothing about it.
    """
    if doing != "listening":
        return _BEGINS.get(doing)
    return min(heard or 0.0, 1.0) * _BEGINS["beats and bars"]


class Bars:
    """A bar for each song that runs and one for all of them; without a terminal it only prints lines."""

    def __init__(self, display: Progress | None, songs: int) -> None:
        self._display, self._songs = display, songs
        self._done = self._failed = 0
        self._rows: dict[int, TaskID] = {}
        if display:
            self._all = display.add_task("all songs", total=songs, doing=f"0 of {songs}")

    def started(self, index: int, name: str) -> None:
        """Add a song's bar."""
        if self._display:
            self._rows[index] = self._display.add_task(shown(name), total=1.0, doing="starting")

    def told(self, index: int, doing: str, seconds: float | None, share: float | None) -> None:
        """Move a song's bar."""
        if self._display:
            self._display.update(self._rows[index], completed=share, doing=_step_text(doing, seconds))

    def ended(self, index: int, *, failed: bool) -> None:
        """Take a song's bar away and move the one for all."""
        if not self._display:
            return
        self._done += 1
        self._failed += failed
        self._display.remove_task(self._rows.pop(index))
        trouble = f", {self._failed} failed" if self._failed else ""
        # Drawn at once: two songs may end between two drawings of the screen.
        said = f"{self._done} of {self._songs}{trouble}"
        self._display.update(self._all, completed=self._done, doing=said, refresh=True)

    def print(self, line: str) -> None:
        """Print a line to standard output, above the bars where both are on the screen."""
        if self._display and sys.stdout.isatty():
            from rich.text import Text

            self._display.console.print(Text(shown(line)), soft_wrap=True)
        else:
            echo(line)


@contextmanager
def bars(songs: int, *, quiet: bool) -> Iterator[Bars]:
    """Show bars while several songs run; they are gone afterwards."""
    if not _on_terminal(quiet):
        yield Bars(None, songs)
        return
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn
    from rich.table import Column

    # Markup off, as above.
    display = Progress(
        TextColumn("{task.description}", markup=False, table_column=Column(no_wrap=True, overflow="ellipsis", ratio=2)),
        BarColumn(bar_width=None, table_column=Column(ratio=2)),
        TextColumn("{task.fields[doing]}", markup=False, table_column=Column(no_wrap=True, min_width=16)),
        TimeElapsedColumn(),
        console=Console(stderr=True),
        transient=True,
        expand=True,
        redirect_stdout=False,  # the results, which may go somewhere else than the bars
        redirect_stderr=False,
    )
    with display:
        yield Bars(display, songs)


def _on_terminal(quiet: bool) -> bool:
    return not quiet and sys.stderr.isatty()


def _step_text(doing: str, seconds: float | None) -> str:
    return doing if seconds is None else f"{doing} {int(seconds) // 60}:{int(seconds) % 60:02d}"
