"""What the commands share: options that stand anywhere, opening documents, what is written, the screen's width."""

from __future__ import annotations

import shutil
from collections.abc import Callable, Iterable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from cuesuggest.gate_out import Target, write_all

if TYPE_CHECKING:
    from cuesuggest.song import Song

__all__ = ["FILE", "everywhere", "files_of", "load", "note_written", "put_out", "width"]

FILE = click.Path(path_type=Path)


def _noted(context: click.Context, option: click.Parameter, value: bool) -> None:
    if value:
        context.obj[option.name] = True


def everywhere(command: Callable[..., None]) -> Callable[..., None]:
    """Let --quiet and --debug stand behind the command as well as in front of it."""
    for name in ("--debug", "--quiet"):
        command = click.option(name, is_flag=True, hidden=True, expose_value=False, callback=_noted)(command)
    return command


def load(document: Path) -> Song:
    """Open a document."""
    from cuesuggest.song import Song

    return Song.load(document)


def files_of(song: Song, document: Path) -> list[Path]:
    """Return the files of a song: its document and its recording, which may be missing."""
    from cuesuggest.song import path_to

    return [document, path_to(document, song.recording.path)]


def note_written(path: Path) -> None:
    """Note that a file is on the disk: should the rest fail, as on a full screen, it is told that this much is done."""
    click.get_current_context().find_root().obj["written"].append(path)


def put_out(targets: Sequence[Target], contents: Iterable[bytes]) -> None:
    """Write files that the gate has let through, and note those that are on the disk."""
    for path in write_all(targets, contents):
        note_written(path)


def width() -> int:
    """Columns to print in."""
    return min(shutil.get_terminal_size((100, 24)).columns, 120)
