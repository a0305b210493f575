"""A song drafted again around what was decided, without listening: what was heard stays as it is."""

from __future__ import annotations

from collections.abc import Iterator

from cuesuggest.draft.again.merge import Rerun, merged
from cuesuggest.draft.again.pins import pins
from cuesuggest.draft.again.same_sound import Match
from cuesuggest.rules import draft, profile_from_values, rig_from_values
from cuesuggest.song import Song

__all__ = ["lights_that_change", "redrafted"]


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
    return merged(song, fresh, match, lights_that_change(song, fresh), revision=song.revision)


def lights_that_change(old: Song, fresh: Song) -> Iterator[str]:
    """Say of each section that nobody decided on and that gets other light all the same, what and why."""
    before = {planned.section: planned for planned in old.plan}
    marks = {section.id: section.mark for section in old.analysis.sections}
    for planned in fresh.plan:
        was = before.get(planned.section)
        if was is None or was.decided or was.category == planned.category:
            continue
        why = [reason for reason in planned.reasons if reason not in was.reasons]
        yield f"{marks[planned.section]} is {planned.category} now, not {was.category}. {' '.join(why)}".rstrip()
