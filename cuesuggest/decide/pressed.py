"""What is pressed while the song plays: categories and hits, laid on bars and beats, as a proposal beside the draft.

A press comes late by as much as its person always does, which is measured on a click; where presses come in here it
has been taken off. A category goes to the nearest bar line and holds until the next one, or until the run ends in which
it was pressed; a hit goes to an accent of the band that is near, else to the nearest beat. Nothing is changed by this:
a section's light and the one-shots are taken over by an act of its own.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import Literal

from cuesuggest.analysis.types import Section
from cuesuggest.decide.category import category_decided
from cuesuggest.decide.change import Change
from cuesuggest.decide.cue_edits import added
from cuesuggest.decide.meant import place_at
from cuesuggest.decide.quick import one_shot_at
from cuesuggest.errors import EditError
from cuesuggest.score.grid import Grid
from cuesuggest.score.light import presses as presses_of
from cuesuggest.score.records import CATEGORIES, Category, Place, counted, near_beat
from cuesuggest.song import Edit, Song, change_all

__all__ = [
    "EARLIEST",
    "LATEST",
    "Press",
    "PressKind",
    "PressedPart",
    "PressedRun",
    "PressedSection",
    "Proposal",
    "latency_of",
    "proposed",
    "taken_over",
]

PressKind = Literal["rest", "subtle", "lift", "intense", "hit", "note"]

EARLIEST, LATEST = -0.2, 0.4  # s; a tap further from a click belongs to another one

_NEAR_ACCENT = 0.15  # s from a hit, a drop or the band's return
_SAME_SHOT = 0.2  # s; a one-shot so near is the same one
_COVERED = 0.5  # of a section's bars, from which it counts as pressed
_FEWEST_CLICKS = 8
_STRAY = 0.1  # of the taps at each end, which may be slips: not counted
_STEADY = 0.08  # s from the median that half of the taps stay within
_TO_WRITE = "a note to write"


@dataclass(frozen=True, slots=True)
class Press:
    """A key that was pressed for a time of the recording, while it was playing."""

    seconds: float
    kind: PressKind


@dataclass(frozen=True, slots=True)
class PressedRun:
    """What was pressed while the song played on without a jump."""

    presses: tuple[Press, ...]
    until: float
    """Seconds at which it ended; what comes later was not pressed in it."""


@dataclass(frozen=True, slots=True)
class PressedPart:
    """Bars side by side in one section, or outside all, for which one category was pressed."""

    section: str | None
    """Its id."""
    first_bar: int
    last_bar: int
    start: float
    end: float
    category: Category


@dataclass(frozen=True, slots=True)
class PressedSection:
    """What was pressed over a section, beside what the draft has."""

    section: str
    """Its id."""
    mark: str
    start: float
    drafted: Category | None
    pressed: Category | None
    """The one that most of its bars have; None where too few were pressed to say."""
    parts: tuple[PressedPart, ...]
    hits: tuple[Place, ...]
    """Those for which the draft has no one-shot."""
    notes: tuple[Place, ...]

    @property
    def differs(self) -> bool:
        """Whether another light than the draft's was pressed."""
        return self.pressed is not None and self.drafted != self.pressed

    @property
    def news(self) -> bool:
        """Whether there is anything to take over."""
        return self.differs or bool(self.hits or self.notes)


@dataclass(frozen=True, slots=True)
class Proposal:
    """All that was pressed, placed."""

    parts: tuple[PressedPart, ...]
    """In order of time."""
    sections: tuple[PressedSection, ...]
    """Those in which anything was pressed."""
    hits: tuple[Place, ...]
    new_hits: tuple[Place, ...]
    """Those for which the draft has no one-shot."""
    notes: tuple[Place, ...]
    """Those for which there is no line yet."""


def latency_of(taps: Sequence[float], clicks: Sequence[float]) -> float:
    """Return how late somebody taps to a click: the mean over the taps near a click, without the strays.

    Parameters
    ----------
    taps, clicks : sequence of float
        Seconds, by the same clock; the clicks rising.

    Returns
    -------
    float
        Seconds; negative for somebody who is early.

    Raises
    ------
    EditError
        If there are too few, or they are no taps to this click.
    """
    late = []
    for tap in taps:
        # An early tap belongs to the click to come.
        index = bisect_right(clicks, tap - EARLIEST) - 1
        if index >= 0 and tap - clicks[index] <= LATEST:
            late.append(tap - clicks[index])
    if len(late) < _FEWEST_CLICKS:
        raise EditError(f"Tap to at least {_FEWEST_CLICKS} clicks; {counted(len(late), 'tap')} came near one.")
    late.sort()
    middle = late[len(late) // 2]
    if sorted(abs(each - middle) for each in late)[len(late) // 2] > _STEADY:
        raise EditError("These taps do not keep to the click. Tap once on every click, as you hear it.")
    stray = round(_STRAY * len(late))
    counting = late[stray : len(late) - stray]
    return round(sum(counting) / len(counting), 4)


def proposed(song: Song, runs: Sequence[PressedRun]) -> Proposal:
    """Lay presses on bars and beats.

    Parameters
    ----------
    song : Song
    runs : sequence of PressedRun
        In the order in which they were played; where one goes over a stretch again, what it has there replaces what
        was pressed before.

    Raises
    ------
    EditError
        If the song has no bars.
    """
    grid = Grid(song.analysis)
    if not grid.bars:
        raise EditError("The song has no bars to lay presses on. Put the music right first.")
    parts = _parts(_painted(runs, grid), grid)
    hits = _apart([_accent(song, grid, at) for at in _moments(runs, "hit")])
    standing = [cue for cue in song.cues if cue.kind == "one-shot" and cue.status != "rejected"]
    shots = [at for cue in standing for at in presses_of(cue, grid)]
    calls = [cue.place.seconds for cue in song.cues if cue.kind == "call" and cue.status != "rejected"]
    new = _without(hits, shots)
    notes = _without(_apart([_beat(song, at) for at in _moments(runs, "note")]), calls)
    return Proposal(parts, _sections(song, grid, parts, new, notes), hits, new, notes)


def _painted(runs: Sequence[PressedRun], grid: Grid) -> dict[int, Category]:
    """Return the category of each bar for which one was pressed, by its number."""
    lines = [bar.start for bar in grid.bars]
    painted: dict[int, Category] = {}
    for run in runs:
        presses = sorted(run.presses, key=lambda press: press.seconds)
        held = [(press.seconds, each) for press in presses for each in CATEGORIES if each == press.kind]
        firsts = [_nearest(lines, at) for at, _ in held]
        ends = [*firsts[1:], bisect_left(lines, run.until)]
        for first, end, (_, category) in zip(firsts, ends, held, strict=False):
            # Of two at one line the last is meant: nothing is left for the first.
            painted |= dict.fromkeys((bar.number for bar in grid.bars[first:end]), category)
    return painted


def _nearest(lines: Sequence[float], at: float) -> int:
    after = bisect_left(lines, at)
    return min((k for k in (after - 1, after) if 0 <= k < len(lines)), key=lambda k: abs(lines[k] - at))


def _parts(painted: dict[int, Category], grid: Grid) -> tuple[PressedPart, ...]:
    def kind(index: int) -> tuple[Category | None, Section | None]:
        number = grid.bars[index].number
        return painted.get(number), grid.section_of(number)

    found = []
    for (category, section), indexes in groupby(range(len(grid.bars)), key=kind):
        if category is not None:
            bars = [grid.bars[index] for index in indexes]
            first, last = bars[0], bars[-1]
            id_ = section.id if section else None
            found.append(PressedPart(id_, first.number, last.number, first.start, last.end, category))
    return tuple(found)


def _moments(runs: Sequence[PressedRun], kind: PressKind) -> list[float]:
    """Return when something was pressed that is about one moment, in order."""
    found: list[float] = []
    for run in runs:
        here = sorted(press.seconds for press in run.presses if press.kind == kind)
        if here:
            found = [at for at in found if not here[0] <= at <= run.until] + here
    return sorted(found)


def _accent(song: Song, grid: Grid, seconds: float) -> Place:
    """Return the accent of the band that a press is near, else the nearest beat."""
    accents = [event.start for event in song.analysis.events if event.kind in ("hit", "drop")]
    accents += [event.end for event in song.analysis.events if event.kind == "stop"]
    near = min(accents, key=lambda at: abs(at - seconds), default=None)
    if near is None or abs(near - seconds) > _NEAR_ACCENT:
        return _beat(song, seconds)
    place = grid.locate(near)
    if place.bar is None or place.beat is None:
        return place
    return grid.place(place.bar, near_beat(place.beat))


def _without(places: Sequence[Place], there: Sequence[float]) -> tuple[Place, ...]:
    return tuple(place for place in places if not any(abs(place.seconds - at) < _SAME_SHOT for at in there))


def _apart(places: Sequence[Place]) -> tuple[Place, ...]:
    """Return places without those that are the same as one before."""
    found: list[Place] = []
    for place in sorted(places, key=lambda place: place.seconds):
        if not found or place.seconds - found[-1].seconds >= _SAME_SHOT:
            found.append(place)
    return tuple(found)


def _beat(song: Song, seconds: float) -> Place:
    return place_at(song, seconds=min(max(seconds, 0.0), song.recording.duration))


def _sections(
    song: Song, grid: Grid, parts: Sequence[PressedPart], hits: Sequence[Place], notes: Sequence[Place]
) -> tuple[PressedSection, ...]:
    plan = {each.section: each.category for each in song.plan}
    found = []
    for section in grid.sections:
        inside = tuple(each for each in parts if each.section == section.id)
        held: dict[Category, float] = {}
        for part in inside:
            held[part.category] = held.get(part.category, 0.0) + part.end - part.start
        enough = section.id in plan and sum(held.values()) >= _COVERED * (section.end - section.start)
        of_hits, of_notes = (
            tuple(place for place in places if grid.section_of_place(place) == section) for places in (hits, notes)
        )
        if inside or of_hits or of_notes:
            most = max(held.items(), key=lambda each: each[1])[0] if enough else None
            drafted = plan.get(section.id)
            found.append(
                PressedSection(section.id, section.mark, section.start, drafted, most, inside, of_hits, of_notes)
            )
    return tuple(found)


def taken_over(song: Song, proposal: Proposal, section: str | None = None, left: Sequence[str] = ()) -> Change:
    """Return the change that takes over what was pressed: the light of the sections that differ, hits, notes.

    Parameters
    ----------
    song : Song
    proposal : Proposal
        Made of this song.
    section : str, optional
        Id of the only section to take over; all that was pressed if left out.
    left : sequence of str
        Ids of sections that stay as drafted, with what was pressed in them.

    Raises
    ------
    EditError
        If nothing of it differs from the draft.
    """
    chosen = [
        each for each in proposal.sections if each.section not in left and section in (None, each.section) and each.news
    ]
    by_id = {each.id: each for each in song.analysis.sections}
    decided = [(each, each.pressed) for each in chosen if each.differs and each.pressed is not None]
    hits = [place for each in chosen for place in each.hits]
    notes = [place for each in chosen for place in each.notes]
    if section is None:
        inside = {place for each in proposal.sections for place in (*each.hits, *each.notes)}
        hits += [place for place in proposal.new_hits if place not in inside]
        notes += [place for place in proposal.notes if place not in inside]
    told = [f"{each.mark}: {pressed}" for each, pressed in decided]
    told += [f"one-shot at {place}" for place in hits] + [f"note at {place}" for place in notes]
    if not told:
        raise EditError("Nothing that was pressed there differs from the draft.")
    edits: list[Edit] = []
    for each, pressed in decided:
        edits += category_decided(song, by_id[each.section], pressed, repeats=False).edits
    edits += _new_cues(song, hits, notes)
    return Change(tuple(edits), f"taken over as pressed: {'; '.join(told)}")


def _new_cues(song: Song, hits: Sequence[Place], notes: Sequence[Place]) -> list[Edit]:
    """Return the edits that add one-shots and notes, each with a number between its neighbours."""
    edits: list[Edit] = []
    for place in hits:
        made = one_shot_at(song, place).edits
        edits += made
        song = change_all(song, made, by="trial", said="")
    for place in notes:
        edit = added(song, "call", place, note=_TO_WRITE)
        edits.append(edit)
        song = change_all(song, (edit,), by="trial", said="")
    return edits
