"""The words of a plan: place, look, cue, and what hangs on them; frozen records, written unchanged."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from cuesuggest.analysis.types import FILE_CONFIG

__all__ = [
    "CATEGORIES",
    "ENTRANCES",
    "EXITS",
    "ON_THE_BEAT",
    "Category",
    "Cue",
    "CueKind",
    "Look",
    "Place",
    "PlannedPart",
    "PlannedSection",
    "Series",
    "Source",
    "beat_words",
    "clock",
    "colours_alone",
    "counted",
    "near_beat",
]

Category = Literal["rest", "subtle", "lift", "intense"]
CATEGORIES: tuple[Category, ...] = ("rest", "subtle", "lift", "intense")

Source = Literal["laser", "lamp", "strobe"]
"""What makes the light."""

CueKind = Literal[
    "recall", "fade-in", "crossfade", "fade-out", "cut-in", "cut-out", "ramp", "one-shot", "speed", "call"
]  # fmt: skip
ENTRANCES: tuple[CueKind, ...] = ("fade-in", "cut-in", "crossfade")
"""Kinds of cues that bring light in on a side."""
EXITS: tuple[CueKind, ...] = ("fade-out", "cut-out")
"""Kinds of cues that take light out."""
Trigger = Literal["hand", "held", "follow-on", "chase"]
Anchor = Literal["starts-on", "lands-on"]
Status = Literal["suggested", "accepted", "edited", "rejected", "added"]


ON_THE_BEAT = 0.04
"""Beats; nobody hears that so little beside a beat is not on it."""


@dataclass(frozen=True, slots=True)
class Place:
    """Where something happens.

    The key is bar and beat (beat 1.0 is the downbeat), or seconds alone where there are no bars; section,
    pass, bar in section and seconds follow from it and are stored for the reader.
    """

    __pydantic_config__ = FILE_CONFIG

    seconds: float
    bar: int | None = None
    beat: float | None = None
    section: str | None = None
    pass_: int | None = None
    bar_in_section: int | None = None
    bars_in_section: int | None = None

    def __str__(self) -> str:
        """Name the place as a musician would: "B2, bar 5 of 8", with the beat when it is not the first."""
        if self.bar is None:
            return clock(self.seconds)
        beat = beat_words(self.beat)
        if self.section is None:
            return f"bar {self.bar}{beat}"
        return f"{self.section}{self.pass_}, bar {self.bar_in_section} of {self.bars_in_section}{beat}"


def beat_words(beat: float | None) -> str:
    """Say which beat of its bar a place is on, for reading: " beat 3"; nothing for the first.

    So little beside a beat that nobody hears it is on it.
    """
    near = 1.0 if beat is None else near_beat(beat)
    return "" if near == 1.0 else f" beat {near:g}"


def near_beat(beat: float) -> float:
    """Return the half beat that a place is heard on, or its own part of a beat where it is on none."""
    half = round(beat * 2) / 2
    return half if abs(beat - half) < ON_THE_BEAT else beat


def clock(seconds: float) -> str:
    """Seconds as m:ss.t, the way a player's display counts; those before its start with a minus."""
    tenths = abs(round(seconds * 10))
    before = "-" if seconds < 0 and tenths else ""
    return f"{before}{tenths // 600}:{tenths // 10 % 60:02d}.{tenths % 10}"


def colours_alone(count: int) -> str:
    """Say how colours go together where nothing but their number is known."""
    return "one colour" if count == 1 else f"{count} colours of your choice"


def counted(count: int, what: str) -> str:
    """Write a count of things: "1 cue", "2 cues"."""
    return f"{count} {what}" + ("" if count == 1 else "s")


@dataclass(frozen=True, slots=True)
class Look:
    """One stored state of effect light, built before rehearsal."""

    __pydantic_config__ = FILE_CONFIG

    id: str
    name: str
    category: Category
    source: Source
    cycle_bars: float | None
    """Bars for one round of its motion; None for a look whose motion keeps its own slow time."""
    cycle_seconds: float | None
    colours: int
    colour_relation: str
    level_ceiling: int
    """Percent; a fifth stays in hand."""
    peak_after: float
    """Seconds from the press to its strongest moment."""
    description: str
    home: bool = False
    decided: bool = False
    """True where the designer has said how many colours it has; the next draft leaves them."""


@dataclass(frozen=True, slots=True)
class Series:
    """A one-shot that comes again: every so many bars, from one bar to another, leaving some out."""

    __pydantic_config__ = FILE_CONFIG

    every_bars: int
    first_bar: int
    last_bar: int
    skip: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True)
class Cue:
    """Something to do at a place in the song, and why."""

    __pydantic_config__ = FILE_CONFIG

    id: str
    """Rule, section id, role and ordinal: "enter/s3/lift/1". Never a position in a list."""
    number: float
    """Frozen once printed; an insert between 12 and 13 becomes 12.5."""
    kind: CueKind
    trigger: Trigger
    anchor: Anchor
    place: Place
    reasons: tuple[str, ...]
    confidence: float
    look: str | None = None
    side: str | None = None
    level: int | None = None
    """Percent."""
    up_beats: float | None = None
    up_seconds: float | None = None
    down_beats: float | None = None
    down_seconds: float | None = None
    series: Series | None = None
    cycle_seconds: float | None = None
    """For one round of the motion, where the cue sets its speed."""
    cycle_bars: float | None = None
    """Bars that this round takes at the tempo that the speed is set for."""
    dark_by: float | None = None
    """Seconds of the recording at which a one-shot has to be dark, before its run is over."""
    standby: int | None = None
    """Cues that share one stand-by have the same group number."""
    who: str = "operator"
    operator_confirms: bool = True
    """It waits for a person's go; what does not may be played by a machine (`score.by_itself`)."""
    cautions: tuple[str, ...] = ()
    status: Status = "suggested"
    note: str = ""
    """A person's own words; what the hand does is told from the values (`cuesuggest.song.hand_words`)."""
    lock: bool = False

    @property
    def rule(self) -> str:
        """The rule that made it, the first part of its id: "enter", "leave", "stop"; "own" if the user did."""
        return self.id.partition("/")[0]

    @property
    def section_id(self) -> str:
        """Id of the section that it was made for, the second part of its id; empty if there is none."""
        return [*self.id.split("/"), ""][1]

    @property
    def role(self) -> str:
        """What it does for its rule, the last part of its id but one: "lift", "out"; empty if there is none."""
        return ["", *self.id.split("/")][-2]


@dataclass(frozen=True, slots=True)
class PlannedPart:
    """From one bar on, a section has this category and look."""

    __pydantic_config__ = FILE_CONFIG

    first_bar: int
    category: Category
    look: str | None


@dataclass(frozen=True, slots=True)
class PlannedSection:
    """The category that the plan gives one pass of a section, and why."""

    __pydantic_config__ = FILE_CONFIG

    section: str
    """The section's id."""
    category: Category
    """Where it changes inside, the biggest."""
    look: str | None
    level: int
    drive: float
    reasons: tuple[str, ...]
    decided: Category | None = None
    """What the designer wants here; None leaves it to the plan."""
    parts: tuple[PlannedPart, ...] = ()
    """Where its category or look changes inside: each stretch of it, in order; empty where it does not."""
