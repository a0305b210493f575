"""The short commands. What they call is imported when they run, so that `--help` is quick."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from cuesuggest.cli.progress import progress
from cuesuggest.cli.shared import FILE, everywhere, load, width, write
from cuesuggest.cli.times import SECONDS

__all__ = ["analyze", "export", "list_"]


@click.command()
@click.argument("file", type=FILE)
@click.option("--json", "output", type=FILE, metavar="OUT", help="Write everything as JSON; - is standard output.")
@click.option("--from", "start", type=SECONDS, default=0.0, metavar="TIME", help="Start of the song in the file.")
@click.option("--to", "end", type=SECONDS, metavar="TIME", help="End of the song in the file.")
@everywhere
@click.pass_obj
def analyze(obj: dict[str, Any], file: Path, output: Path | None, start: float, end: float | None) -> None:
    """Listen to a recording and tell what was heard, without cues."""
    from cuesuggest.report import analysis_text
    from cuesuggest.song import analysis_json
    from cuesuggest.workflow import analyze as run

    with progress(file.name, quiet=obj["quiet"]) as step:
        analysis = run(file, start=start, end=end, step=step)
    if output is not None:
        write(output, analysis_json(analysis))
    if not obj["quiet"] and str(output) != "-":
        click.echo(analysis_text(analysis, width()), nl=False)


@click.command(name="list")
@click.argument("document", metavar="DOC", type=FILE)
@everywhere
def list_(document: Path) -> None:
    """Print the cue list of a song document."""
    from cuesuggest.report import song_text

    click.echo(song_text(load(document), width()), nl=False)


@click.command()
@click.argument("document", metavar="DOC", type=FILE)
@click.option("--to", "name", required=True, metavar="FORMAT", help="csv: the cue list as a table.")
@click.option("-o", "--output", type=FILE, metavar="PATH", help="File to write; - is standard output.")
@everywhere
@click.pass_obj
def export(obj: dict[str, Any], document: Path, name: str, output: Path | None) -> None:
    """Write a song document in another format, beside it unless told otherwise.

    From then on the numbers of its cues stay, since somebody may have them on paper.
    """
    from cuesuggest.errors import DocumentError
    from cuesuggest.export import FORMATS
    from cuesuggest.export import export as run
    from cuesuggest.workflow import freeze_numbers

    song = load(document)
    data = run(song, name)
    target = output or document.with_name(document.name.removesuffix(".json") + FORMATS[name].extension)
    if target.is_dir():
        target = target / (document.name.removesuffix(".json") + FORMATS[name].extension)
    write(target, data)
    if not obj["quiet"] and str(target) != "-":
        click.echo(f"Written: {target}")
    try:
        freeze_numbers(song, document)
    except DocumentError as error:
        click.echo(f"The cue numbers could not be frozen: {error}", err=True)
