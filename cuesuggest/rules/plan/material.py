"""What the plan looks at: the drive of each section, what leans lower, who plays."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from cuesuggest.analysis.types import Bar, Event, Section
from cuesuggest.rules.settings.house import Profile
from cuesuggest.score.grid import Grid
from cuesuggest.score.records import CATEGORIES, Category

__all__ = ["INTENSE", "REST", "Material", "Pin", "budgets", "finale", "gather"]

REST, INTENSE = 0, 3

# Kinds of event in which nobody plays the song.
_NO_SONG = ("talk", "count-in", "crowd", "pause")


@dataclass(frozen=True, slots=True)
class Pin:
    """What the designer has decided for a section."""

    category: Category
    look: str | None = None
    """None where it is dark."""
    side: str | None = None
    """The side that its look comes in on."""
    enters: bool = True
    """Whether the look comes in with this section; False if it is there already."""
    leaves: bool = False
    """Whether the look goes out with the end of this section."""


@dataclass(frozen=True, slots=True)
class Material:
    """What the plan looks at in one section."""

    section: Section
    drive: float
    """Mean over its bars, 0..1."""
    leaning: float
    """Drive as the plan reads it: lower in intro and outro and where a voice leads, higher after a build."""
    lean_reason: str
    song: bool
    """False where nobody plays the song: talk, count-in, pauses."""
    after_gap: bool
    """True if the section does not follow the one before without a pause."""
    built: bool = False
    """True if a build or a drop leads in."""
    early: bool = False
    """True if the song has not gone far enough for an intense look."""
    doubted: bool = False
    """True if the bars of the whole song are too unsure for an intense look."""
    pinned: int | None = None
    """Index of the category that the designer has decided on."""
    enters: bool = False
    """True if it was decided that a look comes in here."""


def gather(
    grid: Grid, events: tuple[Event, ...], profile: Profile, pins: Mapping[str, Pin] | None = None
) -> list[Material]:
    """Collect what the plan needs of each section whose bars are known; `pins` by section id."""
    material: list[Material] = []
    count = sum(len(grid.bars_of(section)) for section in grid.sections)
    gone = 0
    families = [section.family for section in grid.sections]
    for index, section in enumerate(grid.sections):
        bars = grid.bars_of(section)
        drive = grid.drive_of(section)
        lean, reason = _lean(index, section, families, profile)
        voices = [bar.voice for bar in bars if bar.voice is not None]
        if voices:
            lean += profile.drive.voice_lean * sum(voices) / len(voices)
        start, end = bars[0].start, bars[-1].end
        built = _built(events, bars[0], profile)
        leaning = drive - lean
        if built:
            # It is never the build alone that makes a section big.
            leaning = max(leaning, min(leaning + profile.drive.build_lean, profile.drive.lift))
        taken = sum(
            max(0.0, min(event.end, end) - max(event.start, start)) for event in events if event.kind in _NO_SONG
        )
        pin = (pins or {}).get(section.id)
        previous = grid.bars_of(grid.sections[index - 1])[-1].end if index else start
        material.append(
            Material(
                section=section,
                drive=drive,
                leaning=leaning,
                lean_reason=reason,
                song=taken < 0.5 * (end - start) and section.role != "talk",
                after_gap=start - previous > max(1.0, 0.5 * (bars[0].end - bars[0].start)),
                built=built,
                early=not built and gone < profile.budget.intense_from * count,
                pinned=None if pin is None else CATEGORIES.index(pin.category),
                enters=pin is not None and pin.enters and pin.category != "rest",
            )
        )
        gone += len(bars)
    return material


def _built(events: tuple[Event, ...], first: Bar, profile: Profile) -> bool:
    """Whether a build ends, or a drop lands, within a beat of a section's first bar line."""
    near = (first.end - first.start) / first.beats
    ends = [each.end if each.kind == "build" else each.start for each in events if _promises(each, profile)]
    return any(abs(end - first.start) <= near for end in ends)


def _promises(event: Event, profile: Profile) -> bool:
    return event.kind in ("build", "drop") and event.confidence >= profile.evidence.event


def _lean(index: int, section: Section, families: list[str], profile: Profile) -> tuple[float, str]:
    """Intro and outro lean lower: named so, or material at the edge that the song does not come back to."""
    letter, last = families[index], len(families) - 1
    # In two or three sections nothing is an edge.
    edge = last >= 3 and families.count(letter) == 1
    if section.role == "intro" or (index == 0 and edge):
        return profile.drive.edge_lean, "the intro leans lower, so that there is somewhere to go"
    if section.role == "outro" or (index == last and edge):
        return profile.drive.edge_lean, "the outro leans lower, on the way out"
    return 0.0, ""


def finale(material: list[Material], profile: Profile) -> int | None:
    """Return the last big section: the last whose drive is as good as the song's highest.

    None where there is nothing to be bigger than, or nothing big enough to wish for a lift.
    """
    if sum(each.song for each in material) < 2:
        return None
    # What comes too early to be intense is no finale.
    able = [index for index, each in enumerate(material) if each.song and not each.early]
    highest = max((material[index].leaning for index in able), default=0.0)
    if highest < (profile.drive.subtle + profile.drive.lift) / 2:
        return None
    return max(index for index in able if material[index].leaning >= highest - profile.drive.same_within)


def budgets(material: list[Material], profile: Profile) -> tuple[float, float]:
    """Return how many bars may be intense, and how many lit; what the designer decided is always allowed."""
    bars = sum(each.section.bars for each in material)
    lit = profile.budget.lit_share * bars if bars >= profile.budget.lit_from_bars else bars
    decided = [(each.pinned, each.section.bars) for each in material if each.pinned is not None]
    intense = sum(count for category, count in decided if category == INTENSE)
    return (
        max(profile.budget.intense_share * bars, intense) + 1e-9,
        max(lit, sum(count for category, count in decided if category != REST)) + 1e-9,
    )
