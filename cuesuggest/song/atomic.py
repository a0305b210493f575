"""Files written whole or not at all."""

from __future__ import annotations

import contextlib
import os
import re
import secrets
import stat
from collections.abc import Iterator
from pathlib import Path

__all__ = ["fresh_file", "put", "put_new", "replace_file"]

# What a program that was killed leaves behind, also the marks of `song.saving_turn`; nothing else has such a name.
_LEAVING = re.compile(r"\.cuesuggest-[0-9a-f]{12}\.(tmp|saving)")
_LEFT_SECONDS = 3600.0  # No program takes so long from writing its file to putting it in place.


@contextlib.contextmanager
def fresh_file(target: Path, data: bytes, mode: int | None = None) -> Iterator[Path]:
    """Write bytes to the disk beside the place that they are for, to be put there or dropped.

    Parameters
    ----------
    target : Path
        Where they are to go; nothing is done to it.
    data : bytes
    mode : int, optional
        Permission bits; the usual ones of a new file if left out, and where the file system keeps none.

    Yields
    ------
    Path
        The file. It is gone afterwards, unless it was put somewhere. What others that were killed left in the folder
        is removed.

    Raises
    ------
    OSError
        If it cannot be written; nothing is left behind.
    """
    # In the same folder: only there is putting it in place one step.
    fresh = target.parent / f".cuesuggest-{secrets.token_hex(6)}.tmp"
    # Made by open, not by tempfile, so that a new file gets the permissions that the user's umask allows.
    flags = os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0)
    try:
        with os.fdopen(os.open(fresh, flags, 0o666), "wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        del data  # Others may be written before this one is put in place.
        if mode is not None:
            # FAT and many network drives refuse that; a save is worth more than its permissions.
            with contextlib.suppress(OSError):
                fresh.chmod(mode)
        with contextlib.suppress(OSError):
            _sweep(fresh)
        yield fresh
    finally:
        with contextlib.suppress(OSError):
            fresh.unlink(missing_ok=True)


def put(fresh: Path, target: Path) -> None:
    """Put a fresh file in place of what is there, if anything is, in one step.

    Raises
    ------
    OSError
        If that cannot be done; the place is as it was before.
    """
    os.replace(fresh, target)
    _sync_folder(target.parent)


def put_new(fresh: Path, target: Path) -> None:
    """Put a fresh file where nothing is.

    Raises
    ------
    FileExistsError
        If something is there by now, made by whomever.
    OSError
        If it cannot be done.
    """
    try:
        os.link(fresh, target)
    except FileExistsError:
        raise
    except OSError:  # no hard links here, as on FAT: claimed first, then replaced
        os.close(os.open(target, os.O_WRONLY | os.O_CREAT | os.O_EXCL))
        try:
            os.replace(fresh, target)
        except BaseException:
            target.unlink(missing_ok=True)
            raise
    _sync_folder(target.parent)


def replace_file(target: Path, data: bytes, mode: int | None = None) -> None:
    """Put bytes in place of a file in one step: afterwards it is all new, or as it was before.

    Parameters
    ----------
    target : Path
    data : bytes
    mode : int, optional
        Permission bits, as for `fresh_file`.

    Raises
    ------
    OSError
        If it cannot be written; nothing is left behind.
    """
    with fresh_file(target, data, mode) as fresh:
        put(fresh, target)


def _sweep(fresh: Path) -> None:
    """Remove what programs that were killed left in the folder of a file that was made just now."""
    # Both times are the file system's own, which may be hours off ours; and a clock may have been set back.
    now = fresh.stat().st_mtime
    with os.scandir(fresh.parent) as entries:
        for entry in entries:
            if _LEAVING.fullmatch(entry.name):
                with contextlib.suppress(OSError):
                    found = entry.stat(follow_symlinks=False)
                    if stat.S_ISREG(found.st_mode) and abs(now - found.st_mtime) > _LEFT_SECONDS:
                        os.unlink(entry.path)


def _sync_folder(folder: Path) -> None:
    # The new name survives a power cut only once its folder is written. Some systems cannot do that for a
    # folder; the file itself is safe by now.
    with contextlib.suppress(OSError):
        descriptor = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(descriptor)
        finally:
            os.close(descriptor)
