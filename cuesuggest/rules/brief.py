"""What every rule is given: the song, the style, the rig; and how a rule makes a cue."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from functools import cached_property

from cuesuggest.analysis.types import Event, EventKind, Section, SongAnalysis
from cuesuggest.rules.plan.plan_parts import Pin, PlanPart
from cuesuggest.rules.plan.plan_reasons import sentence
from cuesuggest.rules.settings.house import Profile, Rig, Side
from cuesuggest.score.grid import Grid
from cuesuggest.score.records import Cue, Look, Place

__all__ = ["Brief", "Clash", "Move", "Stay"]

# What goes first when hands are full: a phrase's small move before all; FIRM goes only together with a whole look.
PHRASE_RANK, ONE_SHOT_RANK, SPEED_RANK, RAMP_RANK, STOP_RANK, FIRM = 0, 1, 2, 3, 4, 9

# Where the song's pulse does not carry, or nobody plays it.
FREE_TIME: tuple[EventKind, ...] = (
    "talk", "count-in", "crowd", "pause", "ritardando", "ring-out", "false-start", "uncounted",
)  # fmt: skip


@dataclass(frozen=True)
class Brief:
    """The song, the style and the rig."""

    analysis: SongAnalysis
    grid: Grid
    profile: Profile
    rig: Rig
    parts: tuple[PlanPart, ...] = ()
    """The sections, cut where their light changes inside; the rules count them by index."""

    @property
    def gap(self) -> float:
        """Seconds that two actions of this person must be apart."""
        return self.profile.hands.peak_gap_seconds * self.profile.hands.slowness(self.rig)

    @cached_property
    def sections(self) -> tuple[Section, ...]:
        """The parts as sections of their own: fewer bars, the same id and letter."""
        return tuple(part.section for part in self.parts)

    def pin(self, index: int) -> Pin | None:
        """Return what the designer has decided for a part."""
        return self.parts[index].pin

    def name(self, index: int) -> str:
        """Say which part is meant: "B2", or "bar 9 of B2"."""
        return self.parts[index].name

    def bars_of_section(self, first: int, last: int, *, of: int) -> int:
        """Return how many bars of some parts in a row belong to the section of one of them: phrases are no sections."""
        own = self.parts[of].index
        return sum(part.section.bars for part in self.parts[first : last + 1] if part.index == own)

    def events(self, *kinds: EventKind) -> list[Event]:
        """Events of some kinds that are sure enough to move light, in order of time."""
        return sorted(
            (
                event
                for event in self.analysis.events
                if event.kind in kinds and event.confidence >= self.profile.evidence.event
            ),
            key=lambda event: (event.start, event.end, event.kind),
        )

    def free_time(self, seconds: float) -> bool:
        """Whether nobody counts there: talk, count-in, a pause, a slowing down."""
        return any(
            event.start <= seconds + 1e-3 < event.end for event in self.analysis.events if event.kind in FREE_TIME
        )

    def weak(self, index: int) -> bool:
        """Whether the bars or the limits of a part are too unsure to lean on."""
        each = self.parts[index].section
        bars = self.grid.bars_of(each)
        sure = min(each.confidence, sum(bar.confidence for bar in bars) / len(bars))
        return sure < self.profile.evidence.weak

    def trust(self, place: Place, event: Event | None = None) -> float:
        """How sure a cue's place is: the least of its bar, its section and the event that it hangs on."""
        bar = None if place.bar is None else self.grid.bar(place.bar)
        section = self.grid.section_of(place.bar)
        sure = [each.confidence for each in (bar, section, event) if each is not None]
        if bar is None and event is None:
            sure.append(self.analysis.confidence.beats or 0.0)
        return round(float(min(sure)), 3)

    def index_at(self, place: Place) -> int | None:
        """Return the index of the part that a place is in."""
        bar = place.bar
        if bar is None:
            return None
        return next(
            (i for i, part in enumerate(self.parts) if part.section.first_bar <= bar <= part.section.last_bar), None
        )


@dataclass(frozen=True, slots=True)
class Stay:
    """A look that stays over one or more parts, on one side."""

    look: Look
    first: int
    """Index of its first part."""
    last: int
    side: Side


@dataclass(frozen=True, slots=True)
class Move:
    """A cue on its way into the list, and what may become of it."""

    cue: Cue
    start: float
    """Seconds at which the hand starts."""
    end: float
    """Seconds at which the light has arrived."""
    stay: int | None = None
    rank: int = FIRM
    pair: str = ""
    """Moves of one pair go together."""
    repeats: tuple[float, ...] = field(default=())
    """Further starts, for a series."""

    @property
    def starts(self) -> tuple[float, ...]:
        """Every moment at which the hand is needed."""
        return (self.start, *self.repeats)

    @property
    def hands(self) -> int:
        """Hands needed at the start."""
        return 2 if self.cue.kind == "crossfade" else 1

    def because(self, reason: str) -> Move:
        """Return the move with one more reason."""
        return replace(self, cue=replace(self.cue, reasons=(*self.cue.reasons, sentence(reason))))


@dataclass(frozen=True, slots=True)
class Clash:
    """A look for which there is no room, and why."""

    stay: int
    why: str
