"""The command `review`: a document, a recording that is suggested first, or several songs, on a page in the browser."""

from __future__ import annotations

import contextlib
import os
import signal
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import click

from cuesuggest.cli.progress import progress
from cuesuggest.cli.screen import echo
from cuesuggest.cli.shared import FILE, everywhere, note_written

__all__ = ["review"]

_TOLD = (
    "If no page opens by itself, open this address; it is good for one window. "
    "Stop with Ctrl+C. Everything that you decide is saved at once."
)


@click.command()
@click.argument("names", metavar="DOC|FILE|FOLDER|NIGHT.toml...", type=FILE, nargs=-1, required=True)
@click.option(
    "--port", type=click.IntRange(0, 65535), default=0, metavar="N", help="Port to use; any free one if left out."
)
@click.option("--no-open", is_flag=True, help="Do not open the browser; the address is printed either way.")
@everywhere
@click.pass_obj
def review(obj: dict[str, Any], names: tuple[Path, ...], port: int, no_open: bool) -> None:
    """Listen to songs and put their drafts right, on a page in your browser.

    The page is served on this machine alone, and every change is saved at once. Of a single recording that has no
    document yet, cues are suggested first. Several songs, a folder of them, or a night's set list, are gone through
    one after the other. Stop with Ctrl+C.
    """
    from cuesuggest.cli.inputs import documents
    from cuesuggest.night.the_set import documents_of
    from cuesuggest.review.server import serve

    night = names[0] if len(names) == 1 and names[0].suffix == ".toml" else None
    targets = documents(names) if night is None else documents_of(night)
    if night is None and len(names) == len(targets) == 1 and not os.path.exists(targets[0]):
        (recording,), (target,) = names, targets
        from cuesuggest.draft.drafting import draft_file

        with progress(recording.name, quiet=obj["quiet"]) as step:
            draft_file(recording, step=step)
        note_written(target)

    def opened(address: str) -> None:
        echo(address)
        if not obj["quiet"]:
            echo(_TOLD, err=True)

    def renewed(address: str) -> None:
        # Whoever read the first line may have closed the pipe since; the page opens all the same.
        with contextlib.suppress(OSError):
            if not obj["quiet"]:
                echo("That address was used. For another window:", err=True)
            echo(address)

    # Ctrl+C is the way to stop the page, and no failure: what was decided is saved.
    with _ended_tidily(), contextlib.suppress(KeyboardInterrupt):
        serve(targets, port=port, opened=opened, renewed=renewed, browser=not no_open, night=night)


@contextlib.contextmanager
def _ended_tidily() -> Iterator[None]:
    """Let a closed terminal, too, end the program as Ctrl+C does: nothing of it is left lying about."""

    def end(number: int, _: object) -> None:
        raise SystemExit(128 + number)

    numbers = [getattr(signal, name) for name in ("SIGTERM", "SIGHUP") if hasattr(signal, name)]
    heeded = [number for number in numbers if signal.getsignal(number) is not signal.SIG_IGN]
    before = {number: signal.signal(number, end) for number in heeded}
    try:
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)
