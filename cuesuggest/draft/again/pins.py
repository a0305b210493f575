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
    """Return what the designer has decided for sections, by their ids: entrances and exits that stand."""
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
        pin = Pin(looks[entry.look].category, entry.look, entry.side)
        found[first.id] = pin
        left = mover.place(out.place) if out is not None and stands(out) else ""
        last = None if isinstance(left, str) else grid.section_of(left.bar)
        if last is None:
            continue
        begin, end = grid.sections.index(first), grid.sections.index(last)
        for index in range(begin, end + 1):
            section = grid.sections[index]
            found[section.id] = replace(pin, enters=index == begin, leaves=index == end)
        after = grid.sections[end + 1 : end + 2]
        found |= {section.id: Pin("rest") for section in after if section.id in dark and section.id not in found}
    there = {section.id for section in grid.sections}
    for planned in old.plan:
        # A decided cue says more of a section than its category: look and side. Where they disagree, the word on the
        # section itself counts.
        category, known = planned.decided, found.get(planned.section)
        if category is not None and planned.section in there and (known is None or known.category != category):
            found[planned.section] = Pin(category, enters=False)
    return found


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
