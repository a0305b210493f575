"""What a document remembers of the take that its cues come from; frozen records, checked on their way in."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

from pydantic import Field

from cuesuggest.analysis.types import FILE_CONFIG, Section
from cuesuggest.song.corrections import Seconds

__all__ = ["Doubt", "TakenOver"]


@dataclass(frozen=True, slots=True)
class Doubt:
    """A cue that came along from another take and may be on the wrong bar, until somebody has listened."""

    __pydantic_config__ = FILE_CONFIG

    cue: str
    """Its id."""
    at: Seconds
    """Where it was put; moved since, it is no longer in doubt."""
    why: str
    """What speaks against it, in words that go on after a colon."""
    elsewhere: tuple[Seconds, ...] = ()
    """Where it may belong instead."""


@dataclass(frozen=True, slots=True)
class TakenOver:
    """What came along from another take of the song, and what did not."""

    __pydantic_config__ = FILE_CONFIG

    take: str
    """Name of the other recording's file."""
    sha256: Annotated[str, Field(pattern="^[0-9a-f]{64}$")]
    """Of its bytes."""
    sure: dict[str, float]
    """How sure it is that a cue is on its bar, 0 to 1, by the cue's id."""
    doubts: tuple[Doubt, ...]
    new_cues: tuple[str, ...]
    """Ids of what is suggested for sections that the other take does not have."""
    left: tuple[Section, ...]
    """Sections of the other take that this one does not have."""
    lines: tuple[str, ...]
    """The report, in sentences."""
