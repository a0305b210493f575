"""What is printed: nothing in a name, title or note reaches the terminal as anything but a text."""

from __future__ import annotations

import io
import re
import sys
from types import TracebackType

import click

__all__ = ["echo", "ready", "shown", "tell_usage", "wrapped"]

# All that a terminal obeys instead of showing, but line breaks and tabs: controls of both tables (ECMA-48), marks that
# turn the direction of all that follows (Unicode UAX 9); and bytes of file names that are no characters.
_OBEYED = re.compile("[\0-\x08\x0b-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069\ud800-\udfff]")
_BYTES = range(0xDC80, 0xDD00)  # how Python writes the bytes of a file name that are no characters


def shown(text: str) -> str:
    r"""Make a text harmless to a terminal.

    Parameters
    ----------
    text : str

    Returns
    -------
    str
        With what a terminal would obey, or could not encode, written out as ``\x1b`` or ``\u202e``.
    """
    return _OBEYED.sub(_written_out, text)


def _written_out(found: re.Match[str]) -> str:
    code = ord(found[0])
    code = code - 0xDC00 if code in _BYTES else code
    return f"\\x{code:02x}" if code < 0x100 else f"\\u{code:04x}"


def echo(text: str, *, err: bool = False, nl: bool = True) -> None:
    """Print a text to standard output, or to standard error."""
    click.echo(shown(text), err=err, nl=nl)


def wrapped(text: str, width: int, first: str, further: str) -> list[str]:
    """Break a text into lines of at most `width` columns, the first and the further ones each with a start of its own.

    An empty text is one line: the start, without spaces at its end.
    """
    from textwrap import wrap

    return wrap(text, width, initial_indent=first, subsequent_indent=further) or [first.rstrip()]


def tell_usage(error: click.ClickException) -> None:
    """Print what was wrong with the words of a command."""
    said = io.StringIO()
    error.show(said)
    echo(said.getvalue(), err=True, nl=False)


def ready() -> None:
    """Let everything be printed whatever the encoding of the screen, and traces as harmlessly as all else."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="backslashreplace")
    sys.excepthook = _trace


def _trace(kind: type[BaseException], error: BaseException, at: TracebackType | None) -> None:
    import traceback

    echo("".join(traceback.format_exception(kind, error, at)), err=True, nl=False)
