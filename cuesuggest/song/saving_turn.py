"""Turns in saving one document: by a lock on the document itself, or by a mark beside it where there are no locks.

Nothing of it depends on the user, the temporary folder or the clock, so any two programs on one document meet.
"""

from __future__ import annotations

import contextlib
import hashlib
import os
import random
import secrets
import time
from collections.abc import Callable, Iterator
from pathlib import Path

from cuesuggest.errors import DocumentError

try:
    import fcntl
except ImportError:  # Windows, where a file that is open cannot be replaced either: marks are right there
    fcntl = None  # type: ignore[assignment]

__all__ = ["saving_turn"]

# What is done in a turn takes milliseconds, since the new content is on the disk by then.
_WAIT_SECONDS = 10.0
_DEAD_SECONDS = 3.0  # a mark that stays so long was left by a program that was killed
_PAUSE_SECONDS = 0.01

_Free = Callable[[], None]


class _NoLocksError(Exception):
    """The file system has no locks; some say so in one way, some in another."""


@contextlib.contextmanager
def saving_turn(target: Path, named: Path) -> Iterator[None]:
    """Keep other saves of a document out, and wait for those that are at it.

    Parameters
    ----------
    target : Path
        The document, links followed. Where nothing is, nothing is held: who makes it has to make it new.
    named : Path
        What messages call it.

    Raises
    ------
    DocumentError
        If others were saving it all the time.
    OSError
        If it cannot be opened.
    """
    free = _taken(target, named)
    try:
        yield
    finally:
        free()


def _taken(target: Path, named: Path) -> _Free:
    attempt: Callable[[], _Free | None] = _Lock(target).attempt
    end = time.monotonic() + _WAIT_SECONDS
    while True:
        try:
            free = attempt()
        except _NoLocksError:
            attempt = _Mark(target).attempt
            continue
        if free is not None:
            return free
        if time.monotonic() > end:
            raise DocumentError(f"{named} is being saved by another program. Wait for it to finish, then save again.")
        time.sleep(_PAUSE_SECONDS * random.uniform(0.5, 1.5))


class _Lock:
    """A lock on the document's own file: it goes with the program that holds it, however that ends."""

    def __init__(self, target: Path) -> None:
        self._target = target

    def attempt(self) -> _Free | None:
        if fcntl is None:
            raise _NoLocksError
        try:
            descriptor = os.open(self._target, os.O_RDONLY)
        except FileNotFoundError:
            return lambda: None
        is_ours = False
        try:
            is_ours = self._is_locked(descriptor)
        finally:
            if not is_ours:
                os.close(descriptor)
        return (lambda: os.close(descriptor)) if is_ours else None

    def _is_locked(self, descriptor: int) -> bool:
        try:
            fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            return False
        except OSError:
            raise _NoLocksError from None
        # Each save puts another file in the place: a lock on the one that was there keeps nobody out.
        with contextlib.suppress(FileNotFoundError):
            return os.path.samestat(os.fstat(descriptor), os.stat(self._target))
        return False


class _Mark:
    """A file beside the document that only one program can make."""

    def __init__(self, target: Path) -> None:
        # Not the document's own name, which may be as long as names can be.
        name = hashlib.sha256(os.fsencode(target.name)).hexdigest()[:12]
        self._path = target.with_name(f".cuesuggest-{name}.saving")
        self._own = secrets.token_bytes(16)
        self._seen = b""
        self._since = time.monotonic()

    def attempt(self) -> _Free | None:
        try:
            descriptor = os.open(self._path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o666)
        except (FileExistsError, PermissionError):
            # Windows refuses it, too, while a mark that was removed is still open somewhere. That the folder can be
            # written to is known: the new content lies in it.
            self._look()
            return None
        with os.fdopen(descriptor, "wb") as file:
            file.write(self._own)
        return self._free

    def _look(self) -> None:
        """Watch the mark of another program; remove it if it has been the same for so long that nobody holds it."""
        # By our own waiting: the times of files are those of a clock that may be wrong, or set back.
        there = self._content()
        if there != self._seen:
            self._seen, self._since = there, time.monotonic()
        elif time.monotonic() - self._since > _DEAD_SECONDS:
            with contextlib.suppress(OSError):
                self._path.unlink()

    def _free(self) -> None:
        with contextlib.suppress(OSError):
            if self._content() == self._own:
                self._path.unlink(missing_ok=True)

    def _content(self) -> bytes:
        try:
            return self._path.read_bytes()
        except (FileNotFoundError, PermissionError):
            return b""
