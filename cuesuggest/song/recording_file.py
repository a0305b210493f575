"""The recording that a document is about, and the part of it that is the song."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

from pydantic import Field

from cuesuggest.analysis.types import FILE_CONFIG
from cuesuggest.song.corrections import Seconds

__all__ = ["RecordingFile", "SongWindow"]


@dataclass(frozen=True, slots=True)
class SongWindow:
    """The part of the recording that is this song, in seconds from the file's start."""

    __pydantic_config__ = FILE_CONFIG

    start: Seconds
    end: Seconds


@dataclass(frozen=True, slots=True)
class RecordingFile:
    """The audio file that the document is about."""

    __pydantic_config__ = FILE_CONFIG

    path: str
    """Relative to the document, with forward slashes; absolute only on another drive."""
    sha256: Annotated[str, Field(pattern="^[0-9a-f]{64}$")]
    """Of the file's bytes, in hexadecimal."""
    decoder: str
    sample_rate: Annotated[int, Field(ge=1)]
    """Samples per second."""
    channels: Annotated[int, Field(ge=1)]
    duration: Seconds
    window: SongWindow
