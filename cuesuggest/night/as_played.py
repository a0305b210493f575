"""A song as it is played in a night: cues numbered over the night, looks under the names that they have there."""

from __future__ import annotations

from dataclasses import replace

from cuesuggest.export import Options
from cuesuggest.night.arranged import in_night
from cuesuggest.score.night_records import NightPlan, NightSong
from cuesuggest.score.records import Look
from cuesuggest.song import Song

__all__ = ["as_played", "numbered_in_night", "options_of"]


_OPERATOR = "operator"
_BUTTONS = "A number in brackets is the button on which a look lies."


def as_played(song: Song, place: NightSong, plan: NightPlan) -> Song:
    """Return a song with the numbers and the names of looks of a night; nothing else of it is changed.

    Parameters
    ----------
    song : Song
    place : NightSong
        What it is in the night.
    plan : NightPlan

    Returns
    -------
    Song
        To be exported, and never saved.
    """
    ids = dict(place.renamed)
    names = {each.look.id: each.look.name for each in plan.looks}
    buttons = {look: button for button, look in place.buttons} if plan.buttons else {}

    def named(look: Look) -> Look:
        id_ = ids.get(look.id, look.id)
        button = f" [{buttons[id_]}]" if id_ in buttons else ""
        return replace(look, id=id_, name=names.get(id_, look.name) + button)

    def own(id_: str | None) -> str | None:
        return None if id_ is None else ids.get(id_, id_)

    return song.replaced(
        title=f"{place.number}. {song.title}",
        looks=tuple(map(named, song.looks)),
        plan=tuple(
            replace(each, look=own(each.look), parts=tuple(replace(part, look=own(part.look)) for part in each.parts))
            for each in song.plan
        ),
        cues=tuple(replace(cue, look=own(cue.look)) for cue in numbered_in_night(song, place.number, plan.step).cues),
        history=(),
        undone=(),
        unplaced=(),
    )


def options_of(options: Options, place: NightSong, plan: NightPlan, index: int) -> Options:
    """Return how a song of a night is written: with the numbers of what is gone, and what lies around it.

    What lies around it is the operator's, and no volunteer's where lasers are played in it.
    """
    around = plan.between[index + 1 - (index == 0) : index + 2]
    if options.who not in (None, _OPERATOR) or (options.plain and any(each.laser for each in around)):
        around = ()
    before = around[:-1]
    return replace(
        options,
        removed=tuple(in_night(place.number, number, plan.step) for number in options.removed),
        in_night=True,
        before=before,
        after=around[-1:],
        remarks=(_BUTTONS,) if plan.buttons else (),
    )


def numbered_in_night(song: Song, number: int, step: int) -> Song:
    """Return a song with the numbers that its cues have in a night."""
    return song.replaced(cues=tuple(replace(cue, number=in_night(number, cue.number, step)) for cue in song.cues))
