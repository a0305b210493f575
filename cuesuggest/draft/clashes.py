"""What cannot be played of a list as it stands, rejected cues left out."""

from __future__ import annotations

from dataclasses import replace

from cuesuggest.draft.again.merge import Rerun
from cuesuggest.rules import check_flashes, check_hands, check_playable, profile_from_values, rig_from_values
from cuesuggest.score.grid import Grid
from cuesuggest.song import Song

__all__ = ["conflicts", "new_clashes", "with_clashes"]


def conflicts(song: Song) -> tuple[str, ...]:
    """Say what cannot be played of the cues as they stand, rejected ones left out; nothing if all can."""
    live = [cue for cue in song.cues if cue.status != "rejected"]
    profile, rig = profile_from_values(song.profile.values), rig_from_values(song.rig.values)
    grid = Grid(song.analysis)
    return (
        *check_playable(live, rig, song.looks, grid),
        *check_hands(live, profile, rig, grid),
        *check_flashes(live, song.looks, rig, grid),
    )


def new_clashes(before: Song, after: Song) -> tuple[str, ...]:
    """Tell what does not go together since a change. Ask before saving: a style out of bounds is refused here.

    Raises
    ------
    ProfileError
        If the style or the rig that the document holds is out of bounds.
    """
    known = set(conflicts(before))
    return tuple(_told(problem) for problem in conflicts(after) if problem not in known)


def with_clashes(song: Song, rerun: Rerun) -> tuple[Song, Rerun]:
    """Tell also what cannot be played of decisions and draft together."""
    clashes = tuple(map(_told, conflicts(song)))
    return song, replace(rerun, lines=(*rerun.lines, *clashes))


def _told(problem: str) -> str:
    return f"This does not go together now: {problem}"
