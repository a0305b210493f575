"""The commands. What they call is imported when they run, so that `--help` is quick."""

from __future__ import annotations

import shutil
import sys
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from cuesuggest.cli.progress import progress
from cuesuggest.cli.times import SECONDS
from cuesuggest.errors import CuesuggestError

if TYPE_CHECKING:
    from cuesuggest.song import Song

__all__ = ["analyze", "export", "list_", "suggest"]

_FILE = click.Path(path_type=Path)


def _noted(context: click.Context, option: click.Parameter, value: bool) -> None:
    if value:
        context.obj[option.name] = True


def _everywhere(command: Callable[..., None]) -> Callable[..., None]:
    """Let --quiet and --debug stand behind the command as well as in front of it."""
    for name in ("--debug", "--quiet"):
        command = click.option(name, is_flag=True, hidden=True, expose_value=False, callback=_noted)(command)
    return command


@click.command()
@click.argument("files", metavar="FILE...", nargs=-1, required=True, type=_FILE)
@click.option("--profile", default="band", show_default=True, metavar="NAME|FILE", help="House style.")
@click.option("--rig", metavar="FILE", help="What there is to play on; an example rig if left out.")
@click.option("--from", "start", type=SECONDS, default=0.0, metavar="TIME", help="Start of the song in the file.")
@click.option("--to", "end", type=SECONDS, metavar="TIME", help="End of the song in the file.")
@click.option("-o", "--output", type=_FILE, metavar="PATH", help="Document to write; a folder for several files.")
@_everywhere
@click.pass_obj
def suggest(
    obj: dict[str, Any],
    files: tuple[Path, ...],
    profile: str,
    rig: str | None,
    start: float,
    end: float | None,
    output: Path | None,
) -> None:
    """Listen to recordings and write a cue list for each.

    The document is written beside the recording as NAME.cues.json, and the list printed. TIME is seconds (75.5)
    or minutes and seconds (1:15.5).
    """
    from cuesuggest.report import song_text
    from cuesuggest.workflow import document_path
    from cuesuggest.workflow import suggest as run

    if output and len(files) > 1 and not output.is_dir():
        raise CuesuggestError(f"{output} is no folder. Give -o a folder that exists when there are several recordings.")
    failed = 0
    for file in files:
        target = document_path(file) if output is None else output
        if target.is_dir():
            target = target / document_path(file).name
        try:
            revision = _replaceable(target)
            with progress(file.name, quiet=obj["quiet"]) as step:
                song = run(file, profile=profile, rig=rig, start=start, end=end, document=target, step=step)
            if revision is not None:
                song = song.replaced(revision=revision + 1)
            song.save(target, expected_revision=revision)
        except CuesuggestError as error:
            if len(files) == 1 or obj["debug"]:
                raise
            failed += 1
            click.echo(f"cuesuggest: {error}", err=True)
            continue
        if not obj["quiet"]:
            click.echo(song_text(song, _width()))
            click.echo(f"Written: {target}")
    if failed:
        raise click.exceptions.Exit(2 if failed == len(files) else 1)


@click.command()
@click.argument("file", type=_FILE)
@click.option("--json", "output", type=_FILE, metavar="OUT", help="Write everything as JSON; - is standard output.")
@click.option("--from", "start", type=SECONDS, default=0.0, metavar="TIME", help="Start of the song in the file.")
@click.option("--to", "end", type=SECONDS, metavar="TIME", help="End of the song in the file.")
@_everywhere
@click.pass_obj
def analyze(obj: dict[str, Any], file: Path, output: Path | None, start: float, end: float | None) -> None:
    """Listen to a recording and tell what was heard, without cues."""
    from cuesuggest.report import analysis_text
    from cuesuggest.song import analysis_json
    from cuesuggest.workflow import analyze as run

    with progress(file.name, quiet=obj["quiet"]) as step:
        analysis = run(file, start=start, end=end, step=step)
    if output is not None:
        _write(output, analysis_json(analysis))
    if not obj["quiet"] and str(output) != "-":
        click.echo(analysis_text(analysis, _width()), nl=False)


@click.command(name="list")
@click.argument("document", metavar="DOC", type=_FILE)
@_everywhere
def list_(document: Path) -> None:
    """Print the cue list of a song document."""
    from cuesuggest.report import song_text

    click.echo(song_text(_load(document), _width()), nl=False)


@click.command()
@click.argument("document", metavar="DOC", type=_FILE)
@click.option("--to", "name", required=True, metavar="FORMAT", help="csv: the cue list as a table.")
@click.option("-o", "--output", type=_FILE, metavar="PATH", help="File to write; - is standard output.")
@_everywhere
@click.pass_obj
def export(obj: dict[str, Any], document: Path, name: str, output: Path | None) -> None:
    """Write a song document in another format, beside it unless told otherwise."""
    from cuesuggest.export import FORMATS
    from cuesuggest.export import export as run

    song = _load(document)
    data = run(song, name)
    target = output or document.with_name(document.name.removesuffix(".json") + FORMATS[name].extension)
    if target.is_dir():
        target = target / (document.name.removesuffix(".json") + FORMATS[name].extension)
    _write(target, data)
    if not obj["quiet"] and str(target) != "-":
        click.echo(f"Written: {target}")


def _load(document: Path) -> Song:
    from cuesuggest.song import Song

    return Song.load(document)


def _replaceable(target: Path) -> int | None:
    """Revision of a draft that may be replaced, None if there is none; decisions are never overwritten."""
    if not target.exists():
        return None
    song = _load(target)
    if song.history or song.corrections or any(cue.status != "suggested" or cue.lock for cue in song.cues):
        raise CuesuggestError(
            f"{target} holds decisions of yours, and a new draft would lose them. Write the new one elsewhere with -o, "
            "or move that document away."
        )
    return song.revision


def _write(target: Path, data: bytes) -> None:
    from cuesuggest.atomic import replace_file

    if str(target) == "-":
        sys.stdout.buffer.write(data)
        return
    try:
        replace_file(target, data)
    except OSError as error:
        raise CuesuggestError(
            f"{target} cannot be written: {error.strerror}. Choose another place with -o and run the command again."
        ) from None


def _width() -> int:
    return min(shutil.get_terminal_size((100, 24)).columns, 120)
