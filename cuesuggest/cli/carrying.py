"""The command `retime`: what was reviewed on one recording, carried to another take of the song."""

from __future__ import annotations

from pathlib import Path
from textwrap import fill
from typing import Any

import click

from cuesuggest.cli.progress import progress
from cuesuggest.cli.screen import echo
from cuesuggest.cli.shared import FILE, everywhere, note_written, width
from cuesuggest.cli.times import SECONDS
from cuesuggest.errors import CuesuggestError

__all__ = ["retime"]


@click.command()
@click.argument("document", metavar="DOC", type=FILE)
@click.argument("recording", metavar="NEW_RECORDING", type=FILE)
@click.option("-o", "--output", type=FILE, metavar="OUT", help="Document to write; DOC itself to carry it in place.")
@click.option("--from", "start", type=SECONDS, metavar="TIME", help="Start of the song in the new recording.")
@click.option("--to", "end", type=SECONDS, metavar="TIME", help="End of the song in the new recording.")
@everywhere
@click.pass_obj
def retime(
    obj: dict[str, Any],
    document: Path,
    recording: Path,
    output: Path | None,
    start: float | None,
    end: float | None,
) -> None:
    """Carry a reviewed cue list to another take of the song.

    The band plays faster, leaves a chorus out, plays one twice, a tone lower, in a room, on a phone: every cue goes to
    its bar of the new recording, with names, numbers and whatever you decided. What the new take does not have is kept
    aside, what is new in it gets suggestions, and a report says what to listen to. DOC stays as it is; the new document
    is written beside the new recording. Take it back with: cuesuggest edit OUT undo
    """
    from cuesuggest.draft.order import Order
    from cuesuggest.draft.retiming import retime_file

    if str(output) == "-":
        raise CuesuggestError("A document is a file, and - is standard output. Name a file with -o.")
    with progress(click.format_filename(recording.name), quiet=obj["quiet"]) as step:
        done, path = retime_file(document, recording, Order(start=start, end=end), output, step=step)
    note_written(path)
    if obj["quiet"]:
        return
    for line in done.lines:
        echo(fill(line, width(), subsequent_indent="  "))
    echo(f"Written: {click.format_filename(path)}")
