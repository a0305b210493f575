"""The command `suggest`: recordings in, documents out; the list of a single song is printed."""

from __future__ import annotations

import os
import shlex
import sys
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from textwrap import fill
from typing import TYPE_CHECKING, Any

import click

from cuesuggest.cli.batch import LAST_STEP, Request, draft, draft_several, usable_jobs
from cuesuggest.cli.inputs import songs
from cuesuggest.cli.progress import progress
from cuesuggest.cli.screen import echo
from cuesuggest.cli.shared import FILE, everywhere, files_of, load, note_written, put_out, width
from cuesuggest.cli.times import SECONDS
from cuesuggest.errors import CuesuggestError
from cuesuggest.gate_out import Target, check_targets
from cuesuggest.sound.recording import DOCUMENT_SUFFIX, document_path

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
@click.option("--force", is_flag=True, help="With --kit: replace a text that is there.")
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
    force: bool,
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

    if force and not kit:
        raise click.UsageError("--force is for --kit; a document that is there is drafted again without it.")
    if str(output) == "-" and not kit:
        raise CuesuggestError("A document is a file, and - is standard output. Name a file with -o.")
    several = len(files) > 1 or os.path.isdir(files[0])
    if output and several and not os.path.isdir(output):
        raise CuesuggestError(f"{output} is no folder. Give -o a folder that exists when there are several recordings.")
    order = Order(profile, rig, start, end)
    requests = [Request(file, document, order, carry_over, again) for file, document in songs(files, output).items()]
    if kit:
        inputs = [file for request in requests for file in _inputs(request)]
        targets = check_targets([_kit_path(request.document) for request in requests], inputs, force=force)
        for request, target in zip(requests, targets, strict=True):
            _write_kit(request, target, quiet=obj["quiet"])
        return
    if not several:
        _draft_one(requests[0], quiet=obj["quiet"])
        return
    code = draft_several(requests, jobs=usable_jobs(jobs, len(requests)), quiet=obj["quiet"], debug=obj["debug"])
    raise click.exceptions.Exit(code)


def _inputs(request: Request) -> Iterator[Path]:
    """Files that a kit is made from, and the recording's own document."""
    from cuesuggest.draft.beside import document_of

    yield from (request.recording, document_of(request.recording))
    if request.recording.name.endswith(DOCUMENT_SUFFIX):
        yield from files_of(load(request.recording), request.recording)
    yield from (Path(str(name)) for name in (request.order.profile, request.order.rig) if name)


def _kit_path(document: Path) -> Path:
    """Beside the document that would be written; a name given with -o is meant as it is."""
    plain = document.name.removesuffix(DOCUMENT_SUFFIX)
    return document.with_name(f"{plain}.kit.txt") if plain != document.name else document


def _write_kit(request: Request, target: Target, *, quiet: bool) -> None:
    from cuesuggest.draft.drafting import kit_for
    from cuesuggest.rules import kit_text

    with progress(click.format_filename(request.recording.name), quiet=quiet) as step:
        made = kit_for(request.recording, request.order, step=step)
    named = document_path(request.recording) if target.kind == "output" else request.document
    title = named.name.removesuffix(DOCUMENT_SUFFIX).removesuffix(".kit.txt")
    text = kit_text(made, title, width())
    put_out([target], [text.encode()])
    if not quiet and target.kind != "output":
        echo(text, nl=False)
        echo(f"Written: {click.format_filename(target.named)}")


def _draft_one(request: Request, *, quiet: bool) -> None:
    from cuesuggest.cli.pool import stop_signals
    from cuesuggest.cli.report import song_text
    from cuesuggest.draft.drafting import songs_in
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
    note_written(drafted.path)
    if quiet:
        return
    lines = drafted.rerun.lines if drafted.rerun else ()
    for line in lines:
        echo(fill(line, width(), subsequent_indent="  "))
    echo(("\n" if lines else "") + song_text(drafted.song, width()))
    echo(f"Written: {click.format_filename(drafted.path)}")
    count = songs_in(drafted)
    if count > 1:
        words = shlex.join(["cuesuggest", "split", str(drafted.recording)])
        echo(f"There seem to be {count} songs in this recording. To find them and draft each by itself: {words}")


def _drafted(request: Request, stop: StopSignals, *, quiet: bool) -> Drafted:
    with progress(click.format_filename(request.recording.name), quiet=quiet) as shown:

        def step(doing: str, seconds: float | None) -> None:
            stop.breaks_in = doing != LAST_STEP
            if shown:
                shown(doing, seconds)

        return draft(request, step)
