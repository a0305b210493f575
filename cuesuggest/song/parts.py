"""What a song document holds beside the analysis and the cues; frozen records, checked on their way in."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Annotated

from pydantic import AfterValidator, Field

from cuesuggest.analysis.types import FILE_CONFIG
from cuesuggest.score.records import Cue
from cuesuggest.song.edit_types import Edit

__all__ = [
    "HistoryEntry",
    "Printed",
    "PrintedCue",
    "Unplaced",
    "Versions",
]


def _utc(text: str) -> str:
    try:
        time = datetime.fromisoformat(text)
    except ValueError:
        time = None
    if time is None or time.utcoffset() != timedelta(0):
        raise ValueError(f"{text!r} is not a time in UTC such as '2031-05-04T18:30:00Z'")
    return text


UtcTime = Annotated[str, AfterValidator(_utc)]


@dataclass(frozen=True, slots=True)
class Versions:
    """What made the document; results are comparable where these are equal."""

    __pydantic_config__ = FILE_CONFIG

    program: str
    features: int
    """Rises whenever the front end of the analysis gives other numbers."""
    weights: str | None
    """Digest of the network's weights; None where none were used."""
    profile: str


@dataclass(frozen=True, slots=True)
class Unplaced:
    """A cue that lost its place in a new analysis, kept so that nobody's work disappears."""

    __pydantic_config__ = FILE_CONFIG

    cue: Cue
    why: str
    """A sentence for the designer."""


@dataclass(frozen=True, slots=True)
class PrintedCue:
    """A cue as it stood on paper."""

    __pydantic_config__ = FILE_CONFIG

    id: str
    number: float
    digest: Annotated[str, Field(pattern="^[0-9a-f]{16}$")]
    """Of what a reader sees of it."""


@dataclass(frozen=True, slots=True)
class Printed:
    """The last print: with it the next one finds what to mark."""

    __pydantic_config__ = FILE_CONFIG

    edition: Annotated[int, Field(ge=1)]
    """Rises when something is printed that is not as it was."""
    date: str
    head: Annotated[str, Field(pattern="^[0-9a-f]{16}$")]
    """Digest of title and sections."""
    cues: tuple[PrintedCue, ...]
    changed: tuple[str, ...] = ()
    """Ids of the cues that were marked in this edition."""
    removed: tuple[float, ...] = ()
    """Numbers of the cues that were gone in this edition."""


@dataclass(frozen=True, slots=True)
class HistoryEntry:
    """One change: what was done, and what takes it back."""

    __pydantic_config__ = FILE_CONFIG

    revision: Annotated[int, Field(ge=1)]
    """That the document got by this change."""
    time: UtcTime
    by: str
    """Where it was made, such as "command line" or "page"."""
    edit: Edit
    inverse: Edit
    together: Annotated[int, Field(ge=1)] = 1
    """How many changes up to this one were one action, and are taken back as one."""
    said: str = ""
    """What the action did, in a sentence; with its last change. Empty where the edit says it by itself."""
