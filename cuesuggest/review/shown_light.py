"""The light that the page draws: levels over time, from the one follower of cues; the page itself knows no cues."""

from __future__ import annotations

from typing import Any

from cuesuggest.rules.person.flashes import Flash, crowded
from cuesuggest.score.grid import Grid
from cuesuggest.score.light import LevelMove, follow, held_until, is_held, presses
from cuesuggest.score.records import Cue
from cuesuggest.song import Song
from cuesuggest.song.rig_facts import hands_of

__all__ = ["shown_light"]

_PLAIN_SHOT = 80.0  # percent; of a one-shot that says no level and names no look


def shown_light(song: Song) -> dict[str, Any]:
    """Return what the light of a song's operator does, without the cues that are rejected.

    Parameters
    ----------
    song : Song

    Returns
    -------
    dict
        Seconds of the recording, levels 0..1. "sides": by name the corner points [seconds, level] of each side, in
        order, straight between them, "" for cues that name no side; "held": [from, until] of each dark while a button
        is held; "shots": [seconds, level, fast] of each one-shot in order, `fast` where more than three fall into a
        second.
    """
    grid = Grid(song.analysis)
    cues = [cue for cue in song.cues if cue.status != "rejected" and cue.who == "operator"]
    sides: dict[str, list[list[float]]] = {}
    for step in follow(cues, grid=grid, looks=song.looks, hands=hands_of(song)):
        for move in step.moves:
            _go(sides.setdefault(move.side, []), move)
    return {
        "sides": sides,
        "held": [[cue.place.seconds, held_until(cue, song.analysis)] for cue in cues if is_held(cue)],
        "shots": _shots(song, cues, grid),
    }


def _go(points: list[list[float]], move: LevelMove) -> None:
    """Add a move to a side's corner points; what was still to come from its start on gives way."""
    start, end = round(move.start, 4), round(move.end, 4)
    while points and points[-1][0] > start:
        points.pop()
    points += [[start, round(move.from_ / 100, 4)], [end, round(move.to / 100, 4)]]


def _shots(song: Song, cues: list[Cue], grid: Grid) -> list[list[float | bool]]:
    ceilings = {look.id: float(look.level_ceiling) for look in song.looks}
    levels = {
        cue.id: float(cue.level) if cue.level is not None else ceilings.get(cue.look or "", _PLAIN_SHOT)
        for cue in cues
        if cue.kind == "one-shot"
    }
    found = [Flash(at, cue.id) for cue in cues if cue.id in levels for at in presses(cue, grid)]
    fast = {flash for group in crowded(found) for flash in group}
    return [
        [flash.seconds, levels[flash.cue] / 100, flash in fast]
        for flash in sorted(found, key=lambda flash: (flash.seconds, flash.cue))
    ]
