"""The one reader of files that somebody names: so many bytes at most, and text whose parsing cannot run on."""

from __future__ import annotations

import codecs
import re
import stat
import tomllib
from pathlib import Path
from typing import Any

from cuesuggest.errors import CuesuggestError, reason_of

__all__ = ["MOST_TEXT_BYTES", "parse_toml", "read_bytes", "read_text"]

MOST_TEXT_BYTES = 128 * 1024
"""Bytes of a form, a house style, a rig or a map: thirty times what the longest of ours has."""
# In a line of TOML. Each point of a dotted key is a table more for the parser to walk through, for every key behind it:
# so many, all through the longest file, take it a second and a half; without a limit it takes minutes.
_MOST_POINTS = 100
_DEEPEST = 16  # tables in tables; ours have three
_MOST_BITS = 64  # TOML 1.0 asks for no larger whole number


def read_bytes(path: Path, most: int, error: type[CuesuggestError] = CuesuggestError) -> bytes:
    """Read a file, or a pipe or device up to its end, if it has no more than so many bytes.

    Parameters
    ----------
    path : Path
    most : int
        Bytes; of what is longer no more than that is read.
    error : type
        What is raised.

    Raises
    ------
    CuesuggestError
        Of the kind given: if it is not there, is a folder, cannot be read, or is longer.
    """
    try:
        found = path.stat()
        if stat.S_ISDIR(found.st_mode):
            raise error(f"{path} is a folder. Name a file in it.")
        if stat.S_ISREG(found.st_mode) and found.st_size > most:
            raise error(_too_long(path, most))
        with path.open("rb") as file:
            data = file.read(most + 1)
    except FileNotFoundError:
        raise error(f"{path} was not found. Check the name and the folder.") from None
    except OSError as problem:
        raise error(
            f"{path} cannot be read: {reason_of(problem)}. Check who may read it, then open it again."
        ) from None
    except ValueError:  # a NUL in the name
        raise error(f"{str(path)!r} is no name of a file. Check it.") from None
    if len(data) > most:
        raise error(_too_long(path, most))
    return data


def read_text(path: Path, most: int = MOST_TEXT_BYTES, error: type[CuesuggestError] = CuesuggestError) -> str:
    """Read a text file in UTF-8; some editors and shells mark it, or write it as UTF-16, which is fine, too.

    Raises
    ------
    CuesuggestError
        As `read_bytes` does, and if it is no such text.
    """
    data = read_bytes(path, most, error)
    wide = data.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE))
    try:
        return data.decode("utf-16" if wide else "utf-8-sig").replace("\r\n", "\n")
    except UnicodeDecodeError as problem:
        raise error(f"{path} is not UTF-8 text (byte {problem.start} breaks it). Save it as UTF-8.") from None


def parse_toml(text: str, where: str, error: type[CuesuggestError] = CuesuggestError) -> dict[str, Any]:
    """Parse TOML, of a length and depth that take no time, with no whole numbers beyond 64 bits.

    Parameters
    ----------
    text : str
    where : str
        What messages call it.
    error : type
        What is raised.

    Raises
    ------
    CuesuggestError
        Of the kind given: if it is no TOML, or beyond these.
    """
    if len(text) > MOST_TEXT_BYTES:
        raise error(f"{where} has more than {MOST_TEXT_BYTES} characters. Leave out what is not needed.")
    for number, line in enumerate(text.split("\n"), 1):
        if line.count(".") > _MOST_POINTS:
            raise error(f"{where}, line {number}: more than {_MOST_POINTS} points in a line. Write it over several.")
    try:
        tables = tomllib.loads(text)
    except tomllib.TOMLDecodeError as problem:
        found = re.search(r"\s*\(at (?:line (\d+), column (\d+)|end of document)\)", str(problem))
        what = str(problem).replace(found[0], "") if found else str(problem)
        line_number = int(found[1]) if found and found[1] else max(len(text.splitlines()), 1)
        raise error(
            f"{where}, line {line_number}: not valid TOML: {what[:1].lower()}{what[1:]}. A line is: key = value. Texts "
            "stand in quotes, numbers have a decimal point, comments start with #, and no key comes twice."
        ) from None
    except RecursionError:
        raise error(f"{where}: brackets in brackets without end. Write {_DEEPEST} in each other at most.") from None
    except ValueError:  # Python reads no decimal number of more than 4,300 digits
        raise error(f"{where}: a number has more than 4,300 digits. Correct it.") from None
    _check(tables, where, error, ())
    return tables


def _check(value: Any, where: str, error: type[CuesuggestError], at: tuple[str, ...]) -> None:
    place = f"{where}: {'.'.join(at)}"[: len(where) + 100]
    if len(at) > _DEEPEST:
        raise error(f"{place} is more than {_DEEPEST} levels deep. Write it flatter.")
    if isinstance(value, dict):
        for key, each in value.items():
            _check(each, where, error, (*at, key))
    elif isinstance(value, list):
        for index, each in enumerate(value, 1):
            _check(each, where, error, (*at, str(index)))
    elif isinstance(value, int) and value.bit_length() > _MOST_BITS:
        raise error(f"{place} is a number of more than {_MOST_BITS} bits. Correct it.")


def _too_long(path: Path, most: int) -> str:
    size = f"{most // 2**20} MiB" if most >= 2**20 else f"{most // 1024} KiB"
    return f"{path} has more than {size}, which no such file needs. Check that it is the one you mean."
