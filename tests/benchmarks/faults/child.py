"""The real command line in a process of its own, as people start it, and what its end and its words must not be."""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from tests.benchmarks.faults.kind import FaultError, tidy_environment

__all__ = ["leavings", "ran", "start", "state"]

_UNFORESEEN = ("Traceback (most recent", "unforeseen", "Fatal Python error", "Exception ignored")
_LIMIT = 120  # s for a command on a busy machine


def start(
    folder: Path, *words: object, prelude: str = "", environment: Mapping[str, str] | None = None, **how: Any
) -> subprocess.Popen[str]:
    """Start a command.

    Parameters
    ----------
    folder : Path
        Where it keeps what it keeps.
    *words : object
    prelude : str
        Code that runs before the program is imported, to put something wrong in its way.
    environment : mapping, optional
        Instead of a tidy one.
    **how
        As for `subprocess.Popen`.
    """
    code = f"{prelude}\nfrom cuesuggest.cli import main\nmain()"
    command = [sys.executable, "-c", code, *map(str, words)]
    given: dict[str, Any] = {
        "stdin": subprocess.DEVNULL,
        "stdout": subprocess.PIPE,
        "stderr": subprocess.PIPE,
        "text": True,
    }
    given |= {"env": environment or tidy_environment(folder), "cwd": folder}
    return subprocess.Popen(command, **(given | how))


def ran(folder: Path, *words: object, **how: Any) -> tuple[int, str]:
    """Run a command to its end; returns its exit code and what it said as an error.

    Raises
    ------
    FaultError
        If it hangs, crashes, or shows a trace.
    """
    process = start(folder, *words, **how)
    try:
        _, told = process.communicate(timeout=_LIMIT)
    except subprocess.TimeoutExpired:
        process.kill()
        process.communicate()
        raise FaultError(f"{_said(words)} hangs") from None
    told = told or ""
    if process.returncode < 0 or any(each in told for each in _UNFORESEEN):
        raise FaultError(f"{_said(words)} ended with {process.returncode}: {told.strip()[-3000:]}")
    return process.returncode, told


def _said(words: tuple[object, ...]) -> str:
    return " ".join(Path(word).name if isinstance(word, Path) else str(word) for word in words)


def state(document: Path) -> dict[str, Any] | None:
    """Return what a document holds but for times of the clock; None if there is none.

    Raises
    ------
    FaultError
        If it cannot be loaded.
    """
    from cuesuggest.errors import CuesuggestError
    from cuesuggest.song import Song

    if not document.exists():
        return None
    try:
        song = Song.load(document)
    except CuesuggestError as error:
        raise FaultError(f"the document is broken: {error}") from error
    parsed: dict[str, Any] = json.loads(song.to_json())
    for entry in (*parsed.get("history", ()), *parsed.get("undone", ())):
        entry.pop("time", None)
    return parsed


def leavings(folder: Path) -> list[Path]:
    """Return what a save that did not end has left in a folder."""
    return sorted(path for path in folder.iterdir() if path.name.startswith(".cuesuggest-"))
