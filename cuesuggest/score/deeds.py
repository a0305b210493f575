"""What the tool asks, and what an answer does: a deed, said as it is meant now.

A deed is told in relative words ("twice as fast", "a beat later"). It becomes an edit with absolute facts only when it
is done (`cuesuggest.decide.answers`), from the song as it is then; the command that a list prints is made from it, too.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from cuesuggest.analysis.types import FILE_CONFIG

__all__ = [
    "BEAT_SPEEDS",
    "Answer",
    "BarOneAt",
    "BeatSpeed",
    "BeatTempo",
    "BeatTimes",
    "CountedIn",
    "Deed",
    "JudgeCues",
    "KeepPlace",
    "MoveCue",
    "Question",
    "SectionStarts",
    "ShiftBars",
]


BeatSpeed = Literal["half", "as-heard", "double"]
BEAT_SPEEDS: dict[BeatSpeed, float] = {"half": 0.5, "as-heard": 1.0, "double": 2.0}
"""How many times as fast as heard."""


@dataclass(frozen=True, slots=True)
class BeatTimes:
    """The beat is half or twice as fast as heard, or as heard."""

    __pydantic_config__ = FILE_CONFIG

    speed: BeatSpeed
    do: Literal["beat-times"] = "beat-times"


@dataclass(frozen=True, slots=True)
class BeatTempo:
    """The beat has a tempo."""

    __pydantic_config__ = FILE_CONFIG

    bpm: float
    do: Literal["beat-tempo"] = "beat-tempo"


@dataclass(frozen=True, slots=True)
class CountedIn:
    """Bars have a time signature."""

    __pydantic_config__ = FILE_CONFIG

    signature: str
    do: Literal["counted-in"] = "counted-in"


@dataclass(frozen=True, slots=True)
class BarOneAt:
    """Bar 1 starts at a time."""

    __pydantic_config__ = FILE_CONFIG

    seconds: float
    do: Literal["bar-one-at"] = "bar-one-at"


@dataclass(frozen=True, slots=True)
class ShiftBars:
    """Bars start so many beats later than heard; 0 is as heard."""

    __pydantic_config__ = FILE_CONFIG

    beats: float
    do: Literal["shift-bars"] = "shift-bars"


@dataclass(frozen=True, slots=True)
class SectionStarts:
    """A section starts at a bar of the song."""

    __pydantic_config__ = FILE_CONFIG

    mark: str
    """Letter and pass, as "B2"."""
    bar: int
    do: Literal["section-starts"] = "section-starts"


@dataclass(frozen=True, slots=True)
class JudgeCues:
    """Cues are accepted or rejected."""

    __pydantic_config__ = FILE_CONFIG

    status: Literal["accepted", "rejected"]
    cues: tuple[str, ...]
    """Their ids."""
    do: Literal["judge-cues"] = "judge-cues"


@dataclass(frozen=True, slots=True)
class MoveCue:
    """A cue goes to the beat nearest to a time."""

    __pydantic_config__ = FILE_CONFIG

    cue: str
    """Its id."""
    seconds: float
    do: Literal["move-cue"] = "move-cue"


@dataclass(frozen=True, slots=True)
class KeepPlace:
    """A cue that came from another take is where it belongs."""

    __pydantic_config__ = FILE_CONFIG

    cue: str
    """Its id."""
    do: Literal["keep-place"] = "keep-place"


Deed = BeatTimes | BeatTempo | CountedIn | BarOneAt | ShiftBars | SectionStarts | JudgeCues | MoveCue | KeepPlace


@dataclass(frozen=True, slots=True)
class Answer:
    """One way to answer a question."""

    __pydantic_config__ = FILE_CONFIG

    text: str
    """Short enough for a button."""
    deed: Deed
    reading: str | None = None
    """How beats are read then, as in `SongAnalysis.alternatives`; "" is as told, None where that is not the matter."""


@dataclass(frozen=True, slots=True)
class Question:
    """Something the tool is unsure of; the more cues hang on it, the earlier it is asked."""

    __pydantic_config__ = FILE_CONFIG

    id: str
    text: str
    listen_at: float
    """Seconds from the start of the recording."""
    cues: tuple[str, ...]
    """Ids of those that hang on the answer."""
    answers: tuple[Answer, ...] = ()
    """What the draft takes for right comes first."""
