"""What cannot be played of a list as it stands, rejected cues left out."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import replace

from cuesuggest.draft.again.merge import Rerun
from cuesuggest.rules import (
    Unplayable,
    check_flashes,
    check_hands,
    profile_from_values,
    rig_from_values,
    unplayable,
)
from cuesuggest.score.grid import Grid
from cuesuggest.score.records import Cue
from cuesuggest.song import Song

__all__ = ["clashes", "conflicts", "new_clashes", "told", "with_clashes"]


def conflicts(song: Song) -> tuple[str, ...]:
    """Say what cannot be played of the cues as they stand, rejected ones left out; nothing if all can.

    Raises
    ------
    ProfileError
        If the style or the rig that the document holds is out of bounds.
    """
    return tuple(_sentences(clashes(song).values()))


def new_clashes(before: Song, after: Song) -> tuple[str, ...]:
    """Tell what does not go together since a change. Ask before saving: a style out of bounds is refused here.

    Raises
    ------
    ProfileError
        If the style or the rig that the document holds is out of bounds.
    """
    known = clashes(before)
    return tuple(map(told, _sentences(each for key, each in clashes(after).items() if key not in known)))


def with_clashes(song: Song, rerun: Rerun) -> tuple[Song, Rerun]:
    """Tell also what cannot be played of decisions and draft together."""
    return song, replace(rerun, lines=(*rerun.lines, *map(told, conflicts(song))))


def told(problem: str) -> str:
    """Say of what cannot be played that it came with what was just done."""
    return f"This does not go together now: {problem}"


def clashes(song: Song) -> dict[tuple[str, str, str], Unplayable]:
    """Return what cannot be played, each by what it is of: cue, place and what; a number may change."""
    live = [cue for cue in song.cues if cue.status != "rejected"]
    profile, rig = profile_from_values(song.profile.values), rig_from_values(song.rig.values)
    grid = Grid(song.analysis)
    found = [
        *unplayable(live, rig, song.looks, grid),
        *(Unplayable(None, words) for words in check_hands(live, profile, rig, grid)),
        *(Unplayable(None, words) for words in check_flashes(live, song.looks, rig, grid)),
    ]
    return {(each.cue.id, str(each.cue.place), each.what) if each.cue else ("", "", each.what): each for each in found}


def _sentences(found: Iterable[Unplayable]) -> Iterator[str]:
    """Say each thing once, with all cues of which it is so."""
    by_what: dict[str, list[Cue]] = {}
    for each in found:
        by_what.setdefault(each.what, []).extend([each.cue] if each.cue else [])
    for what, cues in by_what.items():
        who = ", ".join(f"{cue.number:g} ({cue.place})" for cue in cues)
        yield f"Cue{'s' * (len(cues) > 1)} {who}: {what}." if cues else what
