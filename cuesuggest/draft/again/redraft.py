"""A song drafted again around what was decided, without listening: what was heard stays as it is."""

from __future__ import annotations

from cuesuggest.draft.again.merge import Rerun, merged
from cuesuggest.draft.again.pins import pins
from cuesuggest.draft.again.same_sound import Match
from cuesuggest.rules import draft, profile_from_values, rig_from_values
from cuesuggest.song import Song

__all__ = ["redrafted"]


def redrafted(song: Song) -> tuple[Song, Rerun]:
    """Draft a song again around what was decided, from the music as it was heard; revision and history stay."""
    match = Match("same")
    drafted = draft(
        song.analysis,
        profile_from_values(song.profile.values),
        rig_from_values(song.rig.values),
        pins(song, song.analysis, match),
    )
    fresh = song.replaced(
        looks=drafted.looks,
        plan=drafted.plan,
        cues=drafted.cues,
        questions=drafted.questions,
        cautions=drafted.cautions,
        unplaced=(),
    )
    return merged(song, fresh, match, revision=song.revision)
