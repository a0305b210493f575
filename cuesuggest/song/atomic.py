"""Files written whole or not at all."""

from __future__ import annotations

import contextlib
import os
import secrets
from pathlib import Path

__all__ = ["replace_file"]


def replace_file(target: Path, data: bytes, mode: int | None = None) -> None:
    """Put bytes in place of a file in one step: afterwards it is all new, or as it was before.

    Parameters
    ----------
    target : Path
    data : bytes
    mode : int, optional
        Permission bits; the usual ones of a new file if left out.

    Raises
    ------
    OSError
        If it cannot be written; nothing is left behind.
    """
    # In the same folder: only there is the replacement one step.
    fresh = target.parent / f".cuesuggest-{secrets.token_hex(6)}.tmp"
    # Made by open, not by tempfile, so that a new file gets the permissions that the user's umask allows.
    flags = os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0)
    try:
        with os.fdopen(os.open(fresh, flags, 0o666), "wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        if mode is not None:
            fresh.chmod(mode)
        os.replace(fresh, target)
    except BaseException:
        fresh.unlink(missing_ok=True)
        raise
    _sync_folder(target.parent)


def _sync_folder(folder: Path) -> None:
    # The new name survives a power cut only once its folder is written. Some systems cannot do that for a
    # folder; the file itself is safe by now.
    with contextlib.suppress(OSError):
        descriptor = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(descriptor)
        finally:
            os.close(descriptor)
