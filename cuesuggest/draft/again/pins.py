"""What the designer has decided of whole sections, as pins for the plan: entrances and exits that stand, categories."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from cuesuggest.analysis.types import Section, SongAnalysis
from cuesuggest.draft.again.moved_cues import Mover
from cuesuggest.draft.again.same_sound import Match
from cuesuggest.rules import Pin
from cuesuggest.score.grid import Grid
from cuesuggest.score.light import follow, lit_stretches
from cuesuggest.score.records import Cue, Place
from cuesuggest.song import Song
from cuesuggest.song.decided import stands

__all__ = ["pins"]


def pins(old: Song, new: SongAnalysis, match: Match) -> dict[str, Pin]:
    """Return what the designer has decided for sections and their parts: entrances and exits that stand.

    Keys are section ids; what the draft brings in later in a section has "id+9", with the bar of the section.
    """
    mover, grid = Mover(old.analysis, new, match), Grid(new)
    looks = {look.id: look for look in old.looks}
    dark = {each.section for each in old.plan if each.look is None}
    found: dict[str, Pin] = {}
    for entry, out in _stays(old):
        if entry.look not in looks or not (stands(entry) or (out is not None and stands(out))):
            continue
        place = mover.place(entry.place)
        first = None if isinstance(place, str) else _entered(grid, place)
        if first is None:
            continue
        key = first.id + _later(entry, first)
        pin = Pin(looks[entry.look].category, entry.look, entry.side, whole=False)
        found[key] = pin
        left = mover.place(out.place) if out is not None and stands(out) else ""
        last = None if isinstance(left, str) else grid.section_of(left.bar)
        if last is None:
            continue
        begin, end = grid.sections.index(first), grid.sections.index(last)
        for index in range(begin, end + 1):
            name = key if index == begin else grid.sections[index].id
            found[name] = replace(pin, enters=index == begin, leaves=index == end, whole=True)
        after = grid.sections[end + 1 : end + 2]
        found |= {section.id: Pin("rest") for section in after if section.id in dark and section.id not in found}
    there = {section.id for section in grid.sections}
    decided = {planned.section for planned in old.plan if planned.decided is not None}
    # A category is for the whole section: what was decided for its parts has made way.
    found = {key: pin for key, pin in found.items() if key.partition("+")[0] not in decided or "+" not in key}
    for planned in old.plan:
        # A decided cue says more of a section than its category: look and side. Where they disagree, the word on the
        # section itself counts.
        category, known = planned.decided, found.get(planned.section)
        if category is not None and planned.section in there:
            agrees = known is not None and known.category == category
            found[planned.section] = replace(known, whole=True) if known and agrees else Pin(category, enters=False)
    return found


def _later(entry: Cue, section: Section) -> str:
    """Say in which bar of a section the draft brought a look in, if not in its first; nothing for cues of one's own."""
    ordinal = entry.id.rpartition("/")[2]
    later = entry.rule == "enter" and entry.section_id == section.id and ordinal.isdigit() and int(ordinal) > 1
    return f"+{ordinal}" if later else ""


def _stays(old: Song) -> Iterable[tuple[Cue, Cue | None]]:
    """Yield each entrance of a look with the cue that takes it out by itself, if one does."""
    # A stop interrupts a look and brings it back.
    cues = [cue for cue in old.cues if cue.status != "rejected" and cue.rule != "stop"]
    for lit in lit_stretches(follow(cues, grid=Grid(old.analysis)), old.analysis.duration):
        yield lit.entered, lit.left


def _entered(grid: Grid, place: Place) -> Section | None:
    """Return the section that a look comes in for: the one that starts within a bar, else the one there."""
    if place.bar is None:
        return None
    following = grid.section_of(place.bar + 1)
    here = grid.section_of(place.bar)
    if following is not None and following != here and place.beat != 1.0:
        return following
    return here
