"""Another category for a section, or for all passes of it, as edits; the draft is then made anew around them."""

from __future__ import annotations

from cuesuggest.analysis.types import Section
from cuesuggest.decide.boundaries import family
from cuesuggest.decide.change import Change
from cuesuggest.score.records import ENTRANCES, Category
from cuesuggest.song import Edit, RemoveCue, SetCue, SetPlan, Song

__all__ = ["category_decided"]


def category_decided(song: Song, section: Section, category: Category, *, repeats: bool) -> Change:
    """Return the change that decides on the category of a section; of every pass of it, if `repeats`.

    Entrances of another category that were decided there make way: they become suggestions again, which the next draft
    may leave out; added ones are taken out.
    """
    sections = family(song, section) if repeats else (section,)
    looks = {look.id: look.category for look in song.looks}
    plan = {planned.section: planned for planned in song.plan}
    edits: list[Edit] = []
    for section in sections:
        there = plan[section.id]
        if there.category == category and there.decided == category:
            continue
        for cue in song.cues:
            here = cue.kind in ENTRANCES and (cue.place.section, cue.place.pass_) == (section.label, section.pass_)
            if here and cue.status in ("accepted", "edited", "added") and looks.get(cue.look or "") != category:
                edits.append(RemoveCue(cue.id) if cue.status == "added" else SetCue(cue.id, {"status": "suggested"}))
        edits.append(SetPlan(section.id, category))
    return Change(tuple(edits), f"{', '.join(each.mark for each in sections)}: {category}")
