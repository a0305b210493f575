"""What the analysis says about a song: frozen records of plain numbers, written to disk unchanged.

Times are seconds from the start of the recording's file, rounded to 0.1 ms; confidences lie in 0..1.
`None` means "not estimated", never "zero".
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from fractions import Fraction
from itertools import accumulate
from typing import Literal, TypedDict

__all__ = [
    "Alternative",
    "Bar",
    "Confidence",
    "DriveParts",
    "Event",
    "EventKind",
    "Section",
    "SongAnalysis",
    "TempoKnot",
    "beat_shares",
    "felt_beats",
    "json_name",
]

EventKind = Literal[
    "count-in", "false-start", "talk", "crowd", "pause", "build", "drop", "breakdown", "fill", "stop", "hit", "tag",
    "ritardando", "ring-out", "uncounted",
]  # fmt: skip


def json_name(name: str) -> str:
    """Name of a field on disk: a trailing underscore only keeps Python keywords apart (`pass_`)."""
    return name.rstrip("_")


def felt_beats(signature: str) -> int:
    """Return how many beats are felt in a bar: 4 in 4/4, 2 in 6/8, 3 in 7/8 (as 2+2+3).

    Parameters
    ----------
    signature : str
        As "6/8".
    """
    return len(_beat_units(signature))


def beat_shares(signature: str, beats: int) -> tuple[Fraction, ...]:
    """Return where the felt beats of a bar lie in it, from 0 on, and last 1: 0, 2/7, 4/7 and 1 in 7/8.

    Parameters
    ----------
    signature : str
        As "7/8".
    beats : int
        Felt in the bar; they are even where that signature is felt in another number of them.
    """
    units = _beat_units(signature)
    steps = units if len(units) == beats else (1,) * beats
    return tuple(Fraction(each, sum(steps)) for each in accumulate(steps, initial=0))


def _beat_units(signature: str) -> tuple[int, ...]:
    """Length of each felt beat in units of the lower figure: 2, 2 and 3 in 7/8."""
    upper, _, lower = signature.partition("/")
    count = int(upper)
    if lower == "8" and count % 3 == 0:
        return (3,) * (count // 3)
    return (*(2,) * ((count - 3) // 2), 3) if lower == "8" and count in (5, 7) else (1,) * count


class FileConfig(TypedDict):
    """How a record is read at the file's edge; the shape pydantic looks for in `__pydantic_config__`."""

    extra: Literal["forbid"]
    alias_generator: Callable[[str], str]
    populate_by_name: bool


FILE_CONFIG: FileConfig = {"extra": "forbid", "alias_generator": json_name, "populate_by_name": True}


@dataclass(frozen=True, slots=True)
class DriveParts:
    """The parts of a bar's drive, each 0..1 on a fixed scale."""

    __pydantic_config__ = FILE_CONFIG

    loudness: float
    low_end: float
    density: float
    brightness: float


@dataclass(frozen=True, slots=True)
class Bar:
    """One bar. Number 1 is the first full bar of the song; count-in bars are 0, -1, …"""

    __pydantic_config__ = FILE_CONFIG

    number: int
    start: float
    end: float
    beats: int
    time_signature: str
    drive: float
    drive_parts: DriveParts
    loudness_lufs: float
    envelope: tuple[float, ...]
    """Loudness through the bar in equal steps, 0 (silent) to 1 (the song's loudest)."""
    voice: float | None
    """Probability that a voice leads."""
    confidence: float


@dataclass(frozen=True, slots=True)
class Section:
    """A stretch of bars. The letter says what repeats what; `pass_` counts the times it came round."""

    __pydantic_config__ = FILE_CONFIG

    id: str
    start: float
    end: float
    first_bar: int
    last_bar: int
    label: str
    pass_: int
    role: str | None
    """A guess such as "intro"; None where nothing speaks for one."""
    name: str
    first_words: str
    pickup: bool | None
    confidence: float
    turns: tuple[float, ...]
    """Places inside the section where its material turns."""
    alternative: float | None = None
    """Where it starts if not at `start`, told only where that is nearly as likely."""
    vamp: str = ""
    """The sign until which it goes round, as the user says; empty where it is played as written."""

    @property
    def bars(self) -> int:
        """How many bars long."""
        return self.last_bar - self.first_bar + 1

    @property
    def family(self) -> str:
        """The letter without its marks: A and A' are one family."""
        return self.label.rstrip("'’*") or self.label

    @property
    def mark(self) -> str:
        """Letter and pass, as a musician would call it: "B2"."""
        return f"{self.label}{self.pass_}"


@dataclass(frozen=True, slots=True)
class Event:
    """Something that happens once. `bar` and `beat` are None where there are no bars."""

    __pydantic_config__ = FILE_CONFIG

    kind: EventKind
    start: float
    end: float
    bar: int | None
    beat: float | None
    confidence: float


@dataclass(frozen=True, slots=True)
class TempoKnot:
    """From `time` on, beats come at `bpm` (of the beat that the meter names) until the next knot."""

    __pydantic_config__ = FILE_CONFIG

    time: float
    bpm: float


@dataclass(frozen=True, slots=True)
class Alternative:
    """Another reading of the beats and how much less likely it is, in nats (1 nat: odds of 2.7 to one).

    Kinds: "half", "double", "3:2", "2:3" for another level, in nats for the song; "shift 1", "shift 2" … for bars that
    start so many beats later and "shift 0.5" for beats half-way between, a time signature such as "3/4" for another
    count of the same beats, these in nats a bar.
    """

    __pydantic_config__ = FILE_CONFIG

    kind: str
    tempo_bpm: float
    margin: float


@dataclass(frozen=True, slots=True)
class Confidence:
    """How sure the analysis is as a whole; None where there is nothing to be sure of."""

    __pydantic_config__ = FILE_CONFIG

    beats: float | None
    downbeats: float | None
    sections: float | None
    reading: float | None = None
    """That beat level, meter and the place of the one are right on the whole; bars inherit it."""


@dataclass(frozen=True, slots=True)
class SongAnalysis:
    """All that was heard. Without music the lists are empty and `music_start` is None."""

    __pydantic_config__ = FILE_CONFIG

    duration: float
    """Where listening ended: the end of the file, or of the window in it."""
    tempo_bpm: float | None
    beats: tuple[float, ...]
    downbeats: tuple[float, ...]
    beat_confidence: tuple[float, ...]
    meter: int | None
    """Beats per bar, the most common."""
    time_signature: str | None
    tempo_map: tuple[TempoKnot, ...]
    bars: tuple[Bar, ...]
    sections: tuple[Section, ...]
    events: tuple[Event, ...]
    music_start: float | None
    music_end: float | None
    confidence: Confidence
    alternatives: tuple[Alternative, ...] = ()
    remarks: tuple[str, ...] = field(default=())
    """Sentences about the recording that a reader should know, such as "heavily compressed"."""
