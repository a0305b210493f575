"""What was changed for a whole night at sound check, kept beside its set list to be told and taken back."""

from __future__ import annotations

import json
import os
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from cuesuggest.bounded import read_text
from cuesuggest.errors import CuesuggestError

__all__ = ["KeptChange", "changes_file", "changes_text", "kept_changes"]

_FORMAT = "cuesuggest-night-changes"
_VERSION = 1


@dataclass(frozen=True, slots=True)
class KeptChange:
    """One command at sound check."""

    said: str
    """What it does, in a sentence."""
    time: str
    """In UTC, as in the history of each song that it changed."""
    dropped: tuple[tuple[int, str], ...] = ()
    """Numbers and documents, as the set list names them, of the songs that it took out of the night."""
    songs: tuple[str, ...] = ()
    """Documents that it changed, as seen from the folder of the set list."""
    others: tuple[str, ...] = ()
    """Documents in which there was nothing to change."""


def changes_file(night: Path) -> Path:
    """Return where a night's changes are kept."""
    return night.with_name(f"{night.name.removesuffix('.toml')}.changes.json")


def kept_changes(night: Path) -> list[KeptChange]:
    """Return what was changed at sound check and still holds, the latest last.

    Raises
    ------
    CuesuggestError
        If the file of it is broken.
    """
    file = changes_file(night)
    if not os.path.lexists(file):
        return []
    wrong = CuesuggestError(
        f"{file} is not what the sound check wrote. Put back a copy of it, or move it away: the songs stay as they "
        "are, and each can be taken back by itself (cuesuggest edit DOC undo)."
    )
    try:
        told = json.loads(read_text(file))
    except (ValueError, RecursionError):
        raise wrong from None
    if not isinstance(told, dict) or told.get("format") != _FORMAT or told.get("version") != _VERSION:
        raise wrong
    listed = told.get("changes")
    if not isinstance(listed, list) or not all(map(_is_change, listed)):
        raise wrong
    return [
        KeptChange(
            each["said"],
            each["time"],
            tuple(map(tuple, each["dropped"])),
            tuple(each["songs"]),
            tuple(each["others"]),
        )
        for each in listed
    ]


def _is_change(told: Any) -> bool:
    def is_list(key: str, kind: type) -> bool:
        return isinstance(told.get(key), list) and all(type(each) is kind for each in told[key])

    return (
        isinstance(told, dict)
        and all(isinstance(told.get(key), str) for key in ("said", "time"))
        and is_list("dropped", list)
        and all([type(part) for part in each] == [int, str] for each in told["dropped"])
        and is_list("songs", str)
        and is_list("others", str)
    )


def changes_text(changes: Sequence[KeptChange]) -> str:
    """Write changes as the file holds them."""
    told = {"format": _FORMAT, "version": _VERSION, "changes": [asdict(each) for each in changes]}
    return json.dumps(told, ensure_ascii=False, indent=1) + "\n"
