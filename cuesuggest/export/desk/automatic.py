"""What a machine would do by itself to play a list: looks that come and go, levels that move, a dark that is held.

Only cues that need no person's go act here, unless the user allowed all; the others are reminders, and no more.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from cuesuggest.export.common.options import Options, is_automatic
from cuesuggest.export.common.show_bars import song_end
from cuesuggest.export.common.timing import cues_in_time, in_time
from cuesuggest.score.grid import Grid
from cuesuggest.score.light import LevelMove, Step, follow, hand_presses, held_until, is_held, presses
from cuesuggest.score.records import ENTRANCES, EXITS, Cue
from cuesuggest.song.rig_facts import hands_of, one_shot_seconds

if TYPE_CHECKING:
    from cuesuggest.song import Song

__all__ = ["Dark", "LookOn", "Moves", "acts", "moves"]


@dataclass(frozen=True, slots=True)
class LookOn:
    """A look is on a side, or a one-shot runs, from one moment to another."""

    at: float
    until: float
    look: str
    side: str | None
    cue: Cue


@dataclass(frozen=True, slots=True)
class Dark:
    """All is out as long as a button is held."""

    at: float
    until: float
    cue: Cue


@dataclass(frozen=True, slots=True)
class Moves:
    """All that would happen by itself, in seconds of the show, each kind in order of time."""

    levels: tuple[LevelMove, ...]
    looks: tuple[LookOn, ...]
    darks: tuple[Dark, ...]


def acts(song: Song, options: Options) -> list[tuple[float, Cue]]:
    """Every cue that acts by itself, with the seconds of the show at which it starts, each time that it does.

    Parameters
    ----------
    song : Song
    options : Options

    Returns
    -------
    list of (float, Cue)
        In order of time; a one-shot that lands on its place starts as long before it as it takes to its peak.
    """
    grid = Grid(song.analysis)
    found = [
        (_at(options, at), cue)
        for cue in _automatic(song, options)
        for at, lit in zip(hand_presses(cue, grid, song.looks), presses(cue, grid), strict=True)
        if in_time(cue, lit, options.timing)
    ]
    return sorted(found, key=lambda each: (each[0], each[1].kind != "recall", each[1].number))


def _automatic(song: Song, options: Options) -> list[Cue]:
    return [cue for cue in cues_in_time(song, options.timing)[0] if is_automatic(cue, options)]


def _at(options: Options, seconds: float) -> float:
    """Seconds of the show at a second of the recording; its start for what begins before it."""
    return max(options.timing.show(seconds), options.timing.opens)


def moves(song: Song, options: Options) -> Moves:
    """Follow the cues that act by themselves through a song.

    Parameters
    ----------
    song : Song
    options : Options

    Returns
    -------
    Moves
        Everything ends: a look with the way out of its side, at the latest with the song.
    """
    cues = _automatic(song, options)
    steps = follow(cues, grid=Grid(song.analysis), looks=song.looks, hands=hands_of(song))
    levels = [replace(each, start=_at(options, each.start)) for step in steps for each in step.moves if each.side]
    run, timed = one_shot_seconds(song), acts(song, options)
    shots = [LookOn(at, at + run, cue.look or "one-shot", None, cue) for at, cue in timed if cue.kind == "one-shot"]
    darks = [Dark(at, max(_at(options, held_until(cue, song.analysis)), at), cue) for at, cue in timed if is_held(cue)]
    return Moves(
        tuple(sorted(levels, key=lambda each: each.start)),
        tuple(sorted([*_looks_on(steps, song, options), *shots], key=lambda each: (each.at, each.until))),
        tuple(darks),
    )


def _looks_on(steps: tuple[Step, ...], song: Song, options: Options) -> list[LookOn]:
    """Looks from the moment they are set up, or come in, until their side is out or another is set up on it."""
    on: dict[str, tuple[float, str, Cue]] = {}
    found = []

    def off(side: str, at: float) -> None:
        if side in on:
            since, look, cue = on.pop(side)
            found.append(LookOn(since, max(at, since), look, side, cue))

    for step in steps:
        cue, at = step.cue, _at(options, step.at)
        if cue.kind in EXITS and not is_held(cue):
            ends = {move.side: move.seconds for move in step.moves}
            for side in [cue.side] if cue.side else list(on):
                off(side, at + ends.get(side, 0.0))
        elif cue.side is not None and cue.kind in ("recall", "ramp", *ENTRANCES):
            if cue.look is not None and (cue.side not in on or on[cue.side][1] != cue.look):
                off(cue.side, at)
                on[cue.side] = (at, cue.look, cue)
            for move in step.moves[1:]:
                off(move.side, _at(options, move.end))
    end = _at(options, song_end(song))
    for side in list(on):
        off(side, end)
    return found
