"""What the list of songs shows of a night: numbers, the line of energy, shared looks, what lies between."""

from __future__ import annotations

from collections.abc import Container, Mapping
from pathlib import Path
from typing import Any

from cuesuggest.errors import CuesuggestError
from cuesuggest.night.kept_changes import kept_changes
from cuesuggest.night.song_facts import SongFacts
from cuesuggest.night.the_set import places_of, plan_of
from cuesuggest.review.night_controls import night_controls
from cuesuggest.rules.settings.settings_file import load_set_list
from cuesuggest.score.night_records import NightPlan

__all__ = ["shown_night"]

_LATE = (
    "Song {} is not on this page: it came into the night after the page was started. Start cuesuggest review again to "
    "have it here."
)


def shown_night(file: Path, facts: Mapping[Path, SongFacts], listed: Container[Path]) -> dict[str, Any]:
    """Return what is shown of a night, as it is on the disk now.

    Parameters
    ----------
    file : Path
        Its set list.
    facts : mapping
        Of the songs that can be opened, by document.
    listed : container of Path
        The documents that the page goes through.
    """
    try:
        set_list, changes = load_set_list(file), kept_changes(file)
    except CuesuggestError as error:
        return {**_shown(None, {}), "remarks": [str(error)], "controls": None}
    try:
        played = places_of(file, set_list, changes)
    except CuesuggestError as error:  # none is left; the last change can be taken back all the same
        return {**_shown(None, {}), "remarks": [str(error)], "controls": night_controls(file, [], [], changes)}
    places = [place for place in played if place.document in facts]
    plan = plan_of(file, set_list, changes, [(place, facts[place.document]) for place in places])
    shown = _shown(plan, {place.number: str(place.document) for place in places})
    shown["remarks"] += [_LATE.format(place.number) for place in played if place.document not in listed]
    rigs = [facts[place.document].rig for place in places]
    titles = [(song.number, song.title) for song in plan.songs]
    return {**shown, "controls": night_controls(file, rigs, titles, changes)}


def _shown(plan: NightPlan | None, documents: Mapping[int, str]) -> dict[str, Any]:
    if plan is None:
        return {"title": "", "songs": [], "moments": [], "looks": [], "before": "", "remarks": []}
    names = {each.look.id: each.look.name for each in plan.looks}
    titles = {song.number: song.title for song in plan.songs}
    return {
        "title": plan.title,
        "songs": [
            {
                "document": documents[song.number],
                "number": song.number,
                "cues": f"{song.cues[0]} to {song.cues[1]}" if song.cues[0] else "none",
                "seconds": song.seconds,
                "energy": [list(part) for part in song.energy],
                "said": list(filter(None, (*song.changes, song.restraint))),
                "after": after.line,
            }
            for song, after in zip(plan.songs, plan.between[1:], strict=True)
        ],
        "moments": [
            {
                "number": number,
                "at": use.at,
                "drive": use.drive,
                "words": f"{titles[number]}, {use.mark}: {names.get(use.look, use.look)}",
            }
            for number, use in plan.moments
        ],
        "looks": [
            {"name": each.look.name, "button": plan.buttons_words(each), "songs": each.songs_words}
            for each in plan.looks
        ],
        "before": plan.between[0].line if plan.between else "",
        "remarks": [*(f"Changed at sound check: {said}." for said in plan.changed), *plan.remarks],
    }
