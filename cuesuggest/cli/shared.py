"""What the commands share: options that stand anywhere, opening and writing files, the width of the screen."""

from __future__ import annotations

import shutil
import sys
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

import click

from cuesuggest.errors import CuesuggestError

if TYPE_CHECKING:
    from cuesuggest.song import Song

__all__ = ["FILE", "everywhere", "load", "width", "write"]

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


def write(target: Path, data: bytes) -> None:
    """Write a file in one step; - is standard output."""
    from cuesuggest.song.atomic import replace_file

    if str(target) == "-":
        sys.stdout.buffer.write(data)
        return
    try:
        replace_file(target, data)
    except OSError as error:
        raise CuesuggestError(
            f"{target} cannot be written: {error.strerror}. Choose another place with -o and run the command again."
        ) from None


def width() -> int:
    """Columns to print in."""
    return min(shutil.get_terminal_size((100, 24)).columns, 120)
