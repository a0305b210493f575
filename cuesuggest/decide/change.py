"""What somebody decides: edits that belong together, and the sentence that says what they do."""

from __future__ import annotations

from dataclasses import dataclass

from cuesuggest.song import Edit

__all__ = ["Change"]


@dataclass(frozen=True, slots=True)
class Change:
    """One action: its edits, from a song in which what they speak of is there."""

    edits: tuple[Edit, ...]
    said: str
    """What was done, as a sentence; it is also what undo says."""
