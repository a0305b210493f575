"""The command `suggest`: recordings in, documents out; the list of a single song is printed."""

from __future__ import annotations

import sys
from dataclasses import replace
from pathlib import Path
from textwrap import fill
from typing import TYPE_CHECKING, Any

import click

from cuesuggest.cli.batch import LAST_STEP, Request, draft, draft_several, usable_jobs
from cuesuggest.cli.inputs import songs
from cuesuggest.cli.progress import progress
from cuesuggest.cli.screen import echo
from cuesuggest.cli.shared import FILE, everywhere, width
from cuesuggest.cli.times import SECONDS
from cuesuggest.errors import CuesuggestError

if TYPE_CHECKING:
    from cuesuggest.cli.pool import StopSignals
    from cuesuggest.draft.drafting import Drafted

__all__ = ["suggest"]


@click.command()
@click.argument("files", metavar="FILE|FOLDER...", nargs=-1, required=True, type=FILE)
@click.option("--profile", metavar="NAME|FILE", help="House style; if left out, the document's, or else band.")
@click.option("--rig", metavar="NAME|FILE", help="What there is to play on; if left out, the document's, or example.")
@click.option("--from", "start", type=SECONDS, metavar="TIME", help="Start of the song in the file.")
@click.option("--to", "end", type=SECONDS, metavar="TIME", help="End of the song in the file.")
@click.option("-o", "--output", type=FILE, metavar="PATH", help="Document to write; a folder for several songs.")
@click.option("--kit", is_flag=True, help="No time line: looks and rules for music without a fixed form, as a text.")
@click.option("--carry-over", is_flag=True, help="Carry decisions over to a recording that changed.")
@click.option("--again", is_flag=True, help="Of several songs, also do those that are done already.")
@click.option(
    "-j", "--jobs", type=click.IntRange(min=1), default=1, show_default=True, metavar="N",
    help="Songs to work on at the same time, at most one for each core.",
)  # fmt: skip
@everywhere
@click.pass_obj
def suggest(
    obj: dict[str, Any],
    files: tuple[Path, ...],
    profile: str | None,
    rig: str | None,
    start: float | None,
    end: float | None,
    output: Path | None,
    kit: bool,
    carry_over: bool,
    again: bool,
    jobs: int,
) -> None:
    """Listen to recordings and write a cue list for each.

    The document is written beside the recording as NAME.cues.json, and the list of a single song printed. A document
    that is there already is drafted again with your decisions kept; name it to do that from its recording. Of several
    songs, or a folder of them, those that are done already are passed over. TIME is seconds (75.5) or minutes and
    seconds (1:15.5).
    """
    from cuesuggest.draft.order import Order

    several = len(files) > 1 or files[0].is_dir()
    if output and several and not output.is_dir():
        raise CuesuggestError(f"{output} is no folder. Give -o a folder that exists when there are several recordings.")
    order = Order(profile, rig, start, end)
    requests = [Request(file, document, order, carry_over, again) for file, document in songs(files, output).items()]
    if kit:
        if output and not output.is_dir() and output.resolve() in {file.resolve() for file in files}:
            raise CuesuggestError(f"{output} is the recording itself. Give -o another name for the kit.")
        for request in requests:
            _write_kit(request, quiet=obj["quiet"])
        return
    if not several:
        _draft_one(requests[0], quiet=obj["quiet"])
        return
    code = draft_several(requests, jobs=usable_jobs(jobs, len(requests)), quiet=obj["quiet"], debug=obj["debug"])
    raise click.exceptions.Exit(code)


def _write_kit(request: Request, *, quiet: bool) -> None:
    from cuesuggest.cli.shared import write
    from cuesuggest.draft.drafting import kit_for
    from cuesuggest.rules import kit_text
    from cuesuggest.sound.recording import DOCUMENT_SUFFIX

    with progress(click.format_filename(request.recording.name), quiet=quiet) as step:
        made = kit_for(request.recording, request.order, step=step)
    name = request.document.name
    # Beside the document that would be written; a name given with -o is meant as it is.
    plain = name.removesuffix(DOCUMENT_SUFFIX)
    target = request.document.with_name(f"{plain}.kit.txt") if plain != name else request.document
    text = kit_text(made, plain.removesuffix(".kit.txt"), width())
    write(target, text.encode())
    if not quiet and str(target) != "-":
        echo(text, nl=False)
        echo(f"Written: {click.format_filename(target)}")


def _draft_one(request: Request, *, quiet: bool) -> None:
    from cuesuggest.cli.pool import stop_signals
    from cuesuggest.cli.report import song_text
    from cuesuggest.errors import RecordingChangedError

    with stop_signals() as stop, stop.break_in():
        try:
            drafted = _drafted(request, stop, quiet=quiet)
        except RecordingChangedError as error:
            if not (sys.stdin.isatty() and sys.stderr.isatty()):
                raise
            echo(str(error), err=True)
            click.confirm("Carry the decisions over?", err=True, abort=True)
            drafted = _drafted(replace(request, carry_over=True), stop, quiet=quiet)
    if quiet:
        return
    lines = drafted.rerun.lines if drafted.rerun else ()
    for line in lines:
        echo(fill(line, width(), subsequent_indent="  "))
    echo(("\n" if lines else "") + song_text(drafted.song, width()))
    echo(f"Written: {click.format_filename(drafted.path)}")


def _drafted(request: Request, stop: StopSignals, *, quiet: bool) -> Drafted:
    with progress(click.format_filename(request.recording.name), quiet=quiet) as shown:

        def step(doing: str, seconds: float | None) -> None:
            stop.breaks_in = doing != LAST_STEP
            if shown:
                shown(doing, seconds)

        return draft(request, step)
