"""The numbers of a night on a desk: a shared look is the same note in all songs, a side the same channel."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import replace

from cuesuggest.export.common.desk_map import DeskMap, LookMap, SideMap
from cuesuggest.rules.plan.looks import ONE_SHOT
from cuesuggest.score.night_records import NightPlan

__all__ = ["over_the_night"]

_MOST_NOTES, _MOST_CHANNELS, _MOST_CONTROLLERS = 127, 16, 119


def over_the_night(given: DeskMap, plan: NightPlan, sides: Iterable[str]) -> DeskMap:
    """Give the looks and sides of a night what a map left open, counting from 1 past what is taken.

    Parameters
    ----------
    given : DeskMap
        What it says counts.
    plan : NightPlan
    sides : iterable of str
        Of the rig, in its order.

    Returns
    -------
    DeskMap
        Where there are more looks than notes, the others are left open; an export then says so.
    """
    ids = [*(each.look.id for each in plan.looks), ONE_SHOT]
    names = list(dict.fromkeys(sides))
    notes = _free([each.note for each in given.looks.values()], _MOST_NOTES)
    channels = _free([each.midi_channel for each in given.sides.values()], _MOST_CHANNELS)
    controllers = _free([each.controller for each in given.sides.values()], _MOST_CONTROLLERS)
    taken = [channel for each in given.sides.values() for channel in each.channels]
    levels = _free(taken, len(taken) + len(names))
    looks = {id_: given.looks.get(id_, LookMap()) for id_ in (*ids, *given.looks)}
    found = {name: given.sides.get(name, SideMap()) for name in (*names, *given.sides)}
    return replace(
        given,
        looks={
            id_: each if each.note is not None else replace(each, note=next(notes, None)) for id_, each in looks.items()
        },
        sides={
            name: replace(
                each,
                midi_channel=next(channels, None) if each.midi_channel is None else each.midi_channel,
                controller=next(controllers, None) if each.controller is None else each.controller,
                channels=each.channels or (next(levels),),
            )
            for name, each in found.items()
        },
        one_shot_channel=given.one_shot_channel or min(len(names) + 1, _MOST_CHANNELS),
    )


def _free(taken: list[int | None] | list[int], most: int) -> Iterator[int]:
    return (number for number in range(1, most + 1) if number not in taken)
