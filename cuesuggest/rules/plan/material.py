"""What the plan looks at: the drive of each section in itself and in its song, what leans lower, who plays."""

from __future__ import annotations

from dataclasses import dataclass, replace
from statistics import median

from cuesuggest.analysis.types import Bar, Event, Section
from cuesuggest.rules.settings.house import Profile
from cuesuggest.score.grid import Grid

__all__ = ["INTENSE", "LIFT", "PHRASES_APART", "REST", "SUBTLE", "Material", "finale", "gather"]

REST, SUBTLE, LIFT, INTENSE = range(4)

PHRASES_APART = 0.04
"""Drive. Phrases this far apart are louder or quieter; between others there is nothing to follow."""

# Kinds of event in which nobody plays the song.
_NO_SONG = ("talk", "count-in", "crowd", "pause")

# Of the drive that the plan reads, the share that comes from where a section stands in its own song.
_OWN_RANGE = 0.5

# A song whose sections are all alike is not stretched beyond this.
_MOST_STRETCH = 2.0

# Drive. No style leaves in the dark what pushes like this.
_LOUD = 0.6

# Drive from which on a last section that rings out has light to let go of.
_ENDS_LIT = 0.45

# Of a section's bars the share in which a voice leads, from which on the section is the voice's.
_VOICE_LEADS = 0.5


@dataclass(frozen=True, slots=True)
class Material:
    """What the plan looks at in one section."""

    section: Section
    drive: float
    """Mean over its bars, 0..1."""
    bar_drives: tuple[float, ...]
    leaning: float
    """Drive as the plan reads it: partly by its place in the song, lower in intro and outro and where a voice leads,
    higher after a build."""
    lean_reason: str
    song: bool
    """False where nobody plays the song: talk, count-in, pauses."""
    after_gap: bool
    """True if the section does not follow the one before without a pause."""
    built: bool = False
    """True if a build or a drop leads in."""
    build_bars: int = 0
    """How many of its last bars a build takes that leads out of it."""
    landing: int | None = None
    """The bar (0 the first) on which a drop lands, or a build that began inside ends."""
    drop: bool = False
    """True if what lands is a drop."""
    early: bool = False
    """True if the song has not gone far enough for an intense look."""
    rings: bool = False
    """True if its last sound rings out."""
    doubted: bool = False
    """True if the bars of the whole song are too unsure for an intense look."""
    may_rest: bool = True
    """False where the song is too loud to be left dark, or about a voice that nothing is to be set off against."""
    sung: bool = False
    """True if a voice leads in most of its bars."""


def gather(grid: Grid, events: tuple[Event, ...], profile: Profile) -> list[Material]:
    """Collect what the plan needs of each section whose bars are known."""
    material: list[Material] = []
    count = sum(len(grid.bars_of(section)) for section in grid.sections)
    gone = 0
    families = [section.family for section in grid.sections]
    drives = [grid.drive_of(section) for section in grid.sections]
    for index, section in enumerate(grid.sections):
        bars = grid.bars_of(section)
        built = _built(events, bars[0], profile)
        lean, reason = (0.0, "") if built else _lean(index, section, families, drives, profile)
        voices = [bar.voice for bar in bars if bar.voice is not None]
        voice = sum(voices) / len(voices) if voices else 0.0
        landing, drop = _landing(events, bars, profile)
        previous = grid.bars_of(grid.sections[index - 1])[-1].end if index else bars[0].start
        material.append(
            Material(
                section=section,
                drive=drives[index],
                bar_drives=tuple(bar.drive for bar in bars),
                leaning=drives[index] - lean - profile.drive.voice_lean * voice,
                lean_reason=reason,
                song=section.role != "talk" and not _without_the_song(events, bars),
                after_gap=bars[0].start - previous > max(1.0, 0.5 * (bars[0].end - bars[0].start)),
                built=built,
                build_bars=_build_out(events, bars, profile),
                landing=landing,
                drop=drop,
                rings=any(
                    event.kind == "ring-out" and bars[-1].start - 4 * (bars[-1].end - bars[-1].start) <= event.start
                    for event in events
                ),
                early=not built and gone < profile.budget.intense_from * count,
                sung=voice > _VOICE_LEADS,
            )
        )
        gone += len(bars)
    return _in_the_song(material, profile)


def _without_the_song(events: tuple[Event, ...], bars: list[Bar]) -> bool:
    """Whether nobody plays the song in half of a section's bars and more; a pause between bars is none of them."""
    taken = sum(
        max(0.0, min(event.end, bar.end) - max(event.start, bar.start))
        for event in events
        if event.kind in _NO_SONG
        for bar in bars
    )
    return taken >= 0.5 * sum(bar.end - bar.start for bar in bars)


def _in_the_song(material: list[Material], profile: Profile) -> list[Material]:
    """Judge each section by its place in the song, too: what is loud here, what may be dark here, what is the peak."""
    played = [each for each in material if each.song]
    if not played:
        return material
    drives = [each.drive for each in played]
    middle = median([each.drive for each in played for _ in range(each.section.bars)])
    low, high = min(drives), max(drives)
    loud = min(middle + 1e-9, profile.drive.least("lift"), _LOUD)
    others = sorted(drives)[-2] if len(drives) > 1 else 0.0
    told = []
    for index, each in enumerate(material):
        moved = each.leaning - each.drive
        leaning = (1 - _OWN_RANGE) * each.drive + _OWN_RANGE * _stretched(each.drive, low, high, profile) + moved
        if each.built:
            # It is never the build alone that makes a section big.
            leaning = max(leaning, min(leaning + profile.drive.build_lean, profile.drive.lift))
        beside = [material[other].drive for other in (index - 1, index + 1) if 0 <= other < len(material)]
        set_off = max(beside, default=0.0) >= each.drive + profile.drive.contrast_from
        edge = bool(each.lean_reason)
        # Where anything is lit, the song's loudest is.
        loudest = each.drive >= high - profile.drive.same_within and high > profile.drive.least("subtle")
        # A song that rings out is let go of by hand, unless it ends quietly.
        ends = index == len(material) - 1 and each.rings and each.drive >= _ENDS_LIT
        may_rest = each.drive < loud and not (loudest or each.drop or ends) and (not each.sung or set_off or edge)
        # The one loudest place of a song is its peak wherever it stands.
        early = each.early and not (each.drive == high and high - others > profile.drive.same_within)
        told.append(replace(each, leaning=leaning, may_rest=may_rest or not each.song, early=early))
    return told


def _stretched(drive: float, low: float, high: float, profile: Profile) -> float:
    """Return the drive that a section would have if its song went from subtle to as far as the style lets it."""
    wanted = profile.drive
    if high >= wanted.intense_floor:
        top = max(wanted.intense, high)
    else:
        top = max(wanted.lift, high) if high >= wanted.least("lift") else high
    bottom = min(low, wanted.subtle)
    slope = min((top - bottom) / (high - low), _MOST_STRETCH) if high - low > 1e-6 else 0.0
    return top - (high - drive) * slope


def _promises(event: Event, profile: Profile) -> bool:
    return event.kind in ("build", "drop") and event.confidence >= profile.evidence.event


def _lands(event: Event) -> float:
    return event.end if event.kind == "build" else event.start


def _built(events: tuple[Event, ...], first: Bar, profile: Profile) -> bool:
    """Whether a build ends, or a drop lands, within a beat of a section's first bar line."""
    near = (first.end - first.start) / first.beats
    return any(_promises(each, profile) and abs(_lands(each) - first.start) <= near for each in events)


def _landing(events: tuple[Event, ...], bars: list[Bar], profile: Profile) -> tuple[int | None, bool]:
    """Return the bar on which a drop lands or a build ends, at the start or well inside a section; whether a drop."""
    fewest = int(profile.min_stay_bars.lift)
    found: list[tuple[bool, int]] = []
    for event in events:
        if not _promises(event, profile):
            continue
        for index, bar in enumerate(bars):
            near = (bar.end - bar.start) / bar.beats
            inside = index == 0 or (fewest <= index <= len(bars) - fewest)
            if inside and abs(_lands(event) - bar.start) <= near:
                found.append((event.kind != "drop", index))
    near = (bars[0].end - bars[0].start) / bars[0].beats
    stops = [event for event in events if event.kind == "stop" and event.confidence >= profile.evidence.event]
    if any(abs(stop.end - bars[0].start) <= near and stop.end - stop.start >= near / 2 for stop in stops):
        # The band comes back from a stop.
        found.append((True, 0))
    return (min(found)[1], not min(found)[0]) if found else (None, False)


def _build_out(events: tuple[Event, ...], bars: list[Bar], profile: Profile) -> int:
    """Return how many of a section's last bars belong to a build that leads out of it."""
    beat = (bars[-1].end - bars[-1].start) / bars[-1].beats
    most = 0
    for event in events:
        if event.kind == "build" and _promises(event, profile) and abs(event.end - bars[-1].end) <= beat:
            most = max(most, sum(bar.start > event.start - beat for bar in bars))
    return most


def _lean(
    index: int, section: Section, families: list[str], drives: list[float], profile: Profile
) -> tuple[float, str]:
    """Intro and outro lean lower: named so, or material at the edge that the song does not come back to.

    Not where nothing is louder: a song may start or end at its biggest.
    """
    letter, last = families[index], len(families) - 1
    if len(drives) > 1 and drives[index] >= max(drives):
        return 0.0, ""
    # In two or three sections nothing is an edge.
    edge = last >= 3 and families.count(letter) == 1
    if section.role == "intro" or (index == 0 and edge):
        return profile.drive.edge_lean, "It is the intro and is kept lower, so that there is somewhere to go."
    if section.role == "outro" or (index == last and edge):
        return profile.drive.edge_lean, "It is the outro and is kept lower, on the way out."
    return 0.0, ""


def finale(material: list[Material], profile: Profile) -> int | None:
    """Return the last big section: the last whose drive is as good as the song's highest.

    None where there is nothing to be bigger than, or nothing big enough to wish for a lift.
    """
    if sum(each.song for each in material) < 2:
        return None
    # What comes too early to be intense is no finale.
    able = [index for index, each in enumerate(material) if each.song and not each.early]
    highest = max((material[index].drive for index in able), default=0.0)
    least = highest - profile.drive.same_within
    if highest >= profile.drive.intense_floor:
        least = max(least, profile.drive.intense_floor)
    if max((material[index].leaning for index in able), default=0.0) < profile.drive.least("lift"):
        return None
    big = [index for index in able if material[index].drive >= least]
    # An outro is the last big section only if nothing else is as big.
    return max((index for index in big if not material[index].lean_reason), default=max(big))
