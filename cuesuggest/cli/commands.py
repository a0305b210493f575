"""The short commands. What they call is imported when they run, so that `--help` is quick."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from cuesuggest.cli.progress import progress
from cuesuggest.cli.screen import echo
from cuesuggest.cli.shared import FILE, everywhere, load, put_out, width
from cuesuggest.cli.times import SECONDS
from cuesuggest.gate_out import check_targets

__all__ = ["analyze", "list_"]


@click.command()
@click.argument("file", type=FILE)
@click.option("--json", "output", type=FILE, metavar="OUT", help="Write everything as JSON; - is standard output.")
@click.option("--force", is_flag=True, help="Replace a file that is there.")
@click.option("--from", "start", type=SECONDS, default=0.0, metavar="TIME", help="Start of the song in the file.")
@click.option("--to", "end", type=SECONDS, metavar="TIME", help="End of the song in the file.")
@everywhere
@click.pass_obj
def analyze(obj: dict[str, Any], file: Path, output: Path | None, force: bool, start: float, end: float | None) -> None:
    """Listen to a recording and tell what was heard, without cues."""
    from cuesuggest.cli.report import analysis_text
    from cuesuggest.draft.beside import document_of
    from cuesuggest.draft.listening import analyze as run
    from cuesuggest.song import analysis_json

    targets = check_targets([output] if output else [], [file, document_of(file)], force=force)
    with progress(file.name, quiet=obj["quiet"]) as step:
        analysis = run(file, start=start, end=end, step=step)
    put_out(targets, [analysis_json(analysis)] if targets else [])
    if not obj["quiet"] and not any(target.kind == "output" for target in targets):
        echo(analysis_text(analysis, width()), nl=False)


@click.command(name="list")
@click.argument("document", metavar="DOC", type=FILE)
@everywhere
def list_(document: Path) -> None:
    """Print the cue list of a song document."""
    from cuesuggest.cli.report import song_text

    echo(song_text(load(document), width()), nl=False)
