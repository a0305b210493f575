"""The one gate out: every file that is written, but for the document itself, is checked and written here.

Checked first, before anything is listened to; written last, all files or none.
"""

from __future__ import annotations

import os
import stat
import sys
from collections.abc import Iterable, Sequence
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from cuesuggest.errors import CuesuggestError, reason_of

__all__ = ["OutputError", "Target", "ThereAlreadyError", "check_targets", "write_all"]

_ELSEWHERE = "Choose another place and try again."


class OutputError(Exception):
    """Standard output cannot be written; whatever else was to be done is done."""

    def __init__(self, reason: OSError) -> None:
        super().__init__(str(reason))
        self.reason = reason


class ThereAlreadyError(CuesuggestError):
    """Files are there that nobody has said may be replaced; nothing was written."""

    def __init__(self, there: Sequence[Path]) -> None:
        names = ", ".join(map(str, there))
        super().__init__(
            f"{names} {'is' if len(there) == 1 else 'are'} there already; nothing was written. "
            "Choose another place, or replace with --force."
        )
        self.there = tuple(there)


@dataclass(frozen=True, slots=True)
class Target:
    """A place to write to, as it was found."""

    named: Path
    """As the user gave it."""
    place: Path
    """Where that leads, links followed."""
    kind: Literal["new", "there", "stream", "output"]
    """Nothing is there; a file that may be replaced; a pipe or a device; standard output, by whichever name."""
    mode: int | None = None
    """Permission bits of the file that is there."""


def check_targets(
    named: Sequence[Path], inputs: Iterable[Path], *, force: bool, make_folder: bool = False
) -> list[Target]:
    """Find out whether files can be written, and may be.

    Parameters
    ----------
    named : sequence of Path
        Files to write; - is standard output.
    inputs : iterable of Path
        Files that the command is about. None of them is ever written to, by whichever name, link or hard link.
    force : bool
        Whether files that are there may be replaced.
    make_folder : bool
        Whether the folder of a file may be missing; it is made when the file is written.

    Returns
    -------
    list of Target
        For `write_all`. Nothing has been changed so far.

    Raises
    ------
    ThereAlreadyError
        If one of them is there already, and may not be replaced.
    CuesuggestError
        If one of them cannot be written, or is one of the inputs; or if two of them are one file.
    """
    inputs = list(inputs)
    targets = [_found(name, make_folder) for name in named]
    for target in targets:
        for file in inputs:
            if _is_same(target, file):
                also = "" if target.named == file else f"{file}, "
                raise CuesuggestError(
                    f"{_shown(target)} is {also}what is worked from, and is never written over; nothing was "
                    f"written. {_ELSEWHERE}"
                )
    for k, target in enumerate(targets):
        for other in targets[:k]:
            if target.kind != "stream" and _is_same(target, other.place):
                raise CuesuggestError(f"{other.named} and {target.named} are one file; nothing was written.")
    there = [target for target in targets if target.kind == "there"]
    if there and not force:
        raise ThereAlreadyError([target.named for target in there])
    folders = {target.place.parent: target for target in targets if target.kind in ("new", "there")}
    for folder, target in folders.items():
        _try_folder(folder, target)
    return targets


def write_all(targets: Sequence[Target], contents: Iterable[bytes]) -> list[Path]:
    """Write files that `check_targets` has let through: all of them, or none.

    Parameters
    ----------
    targets : sequence of Target
    contents : iterable of bytes
        One for each; each is let go once it is written, so that long ones may be made one by one.

    Returns
    -------
    list of Path
        What is on the disk now, as it was named.

    Raises
    ------
    CuesuggestError
        If one cannot be written. Files that were there are as they were before, unless one was put in place while
        another could not be.
    """
    from cuesuggest.song.atomic import fresh_file, put, put_new

    with ExitStack() as stack:
        ready: list[tuple[Target, Path]] = []
        flowing: list[tuple[Target, bytes]] = []
        coming = iter(contents)
        for target in targets:
            content = next(coming)
            if target.kind in ("new", "there"):
                try:
                    target.place.parent.mkdir(parents=True, exist_ok=True)
                    ready.append((target, stack.enter_context(fresh_file(target.place, content, target.mode))))
                except OSError as error:
                    raise _cannot(target, error) from None
            else:
                flowing.append((target, content))
            del content  # before the next is made
        # A pipe's reader may leave, a disk may be full: files are put in place once nothing else can fail.
        for target, content in flowing:
            _stream(target, content)
        made: list[Path] = []
        try:
            for target, fresh in ready:
                if target.kind == "new":
                    put_new(fresh, target.place)
                    made.append(target.place)
                else:
                    put(fresh, target.place)
        except OSError as error:
            for path in made:
                path.unlink(missing_ok=True)
            raise _cannot(target, error) from None
    return [target.named for target, _ in ready]


def _found(named: Path, make_folder: bool) -> Target:
    if str(named) == "-":
        return Target(named, named, "output")
    place = Path(os.path.realpath(named))
    try:
        status = os.stat(named)
    except (FileNotFoundError, NotADirectoryError):
        if make_folder or place.parent.is_dir():
            return Target(named, place, "new")
        raise CuesuggestError(
            f"There is no folder {place.parent} to write {place.name} in. Make it first, or choose another place."
        ) from None
    except OSError as error:
        raise CuesuggestError(f"{named} cannot be written: {reason_of(error)}. {_ELSEWHERE}") from None
    kind = status.st_mode
    if stat.S_ISDIR(kind):
        raise CuesuggestError(f"{named} is a folder. Give the file a name in it.")
    if stat.S_ISBLK(kind):
        raise CuesuggestError(f"{named} is a disk, not a file. {_ELSEWHERE}")
    output = _output_status()
    if output is not None and os.path.samestat(status, output):
        return Target(named, place, "output")  # as /dev/stdout
    if not stat.S_ISREG(kind):
        return Target(named, Path(named), "stream")
    if not kind & stat.S_IWUSR:
        raise CuesuggestError(f"{named} is write-protected. Allow writing, or choose another place.")
    return Target(named, place, "there", stat.S_IMODE(kind))


def _output_status() -> os.stat_result | None:
    try:
        return os.fstat(sys.stdout.fileno())
    except (AttributeError, OSError, ValueError):  # closed, or not the system's
        return None


def _is_same(target: Target, file: Path) -> bool:
    """Whether a target is a file: by what it is, not by its name."""
    status = _output_status() if target.kind == "output" else None
    try:
        there = file.stat()
        return os.path.samestat(status or target.place.stat(), there)
    except (OSError, ValueError):  # one of them is not there
        return target.kind != "output" and os.path.realpath(file) == str(target.place)


def _try_folder(folder: Path, target: Target) -> None:
    """Write to a folder, or to the one it would be made in: permissions say nothing of a file system's own mind."""
    from cuesuggest.song.atomic import fresh_file

    missing = folder
    while not os.path.lexists(missing):
        missing = missing.parent
    if not missing.is_dir():
        raise CuesuggestError(f"{folder} cannot be made: {missing} is not a folder. {_ELSEWHERE}")
    try:
        with fresh_file(missing / "any", b""):
            pass
    except OSError as error:
        raise _cannot(target, error) from None


def _stream(target: Target, content: bytes) -> None:
    """Write into what reads at once: never replaced, and waited for as long as it takes."""
    if target.kind == "output":
        if sys.stdout is None:
            raise CuesuggestError(f"Standard output is closed. {_ELSEWHERE}")
        try:
            sys.stdout.flush()
            sys.stdout.buffer.write(content)
            sys.stdout.buffer.flush()
        except OSError as error:
            raise OutputError(error) from error
        return
    try:
        with open(os.open(target.place, os.O_WRONLY | getattr(os, "O_BINARY", 0)), "wb") as file:
            file.write(content)
    except OSError as error:
        raise _cannot(target, error) from None


def _shown(target: Target) -> str:
    return "Standard output" if str(target.named) == "-" else str(target.named)


def _cannot(target: Target, error: OSError) -> CuesuggestError:
    return CuesuggestError(f"{target.named} cannot be written: {reason_of(error)}. {_ELSEWHERE}")
