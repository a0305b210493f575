"""What a night has to know of a song: a few facts, so that a list of many songs costs little."""

from __future__ import annotations

from dataclasses import dataclass

from cuesuggest.rules import Profile, Rig, profile_from_values, rig_from_values
from cuesuggest.rules.plan.looks import LOOKS
from cuesuggest.score.grid import Grid
from cuesuggest.score.night_records import SOUND_CHECK, BiggestUse
from cuesuggest.score.records import ENTRANCES, Cue, Look
from cuesuggest.song import Song
from cuesuggest.song.decided import decided
from cuesuggest.song.left_to_do import left_to_do

__all__ = ["SongFacts", "facts_of", "size_of"]


@dataclass(frozen=True, slots=True)
class SongFacts:
    """A song, as far as a night asks."""

    title: str
    tempo: float | None
    seconds: float
    first: float | None
    """The lowest and the highest number of its cues; None where it has none."""
    last: float | None
    looks: tuple[Look, ...]
    """Those that lie on buttons: all that it plays but one-shots, which have a button of their own."""
    begins: tuple[str, str] | None
    """Side and look with which it begins; None where nothing comes in."""
    set_by: float | None
    """Number of the cue that sets this look up; None where no cue does."""
    set_later: tuple[str, ...]
    """Looks that its other cues set up, in order."""
    energy: tuple[tuple[float, float, float], ...]
    biggest: tuple[BiggestUse, ...]
    profile: Profile
    rig: Rig
    to_do: str
    sound_checks: frozenset[str]
    """Times of the changes of a sound check that its history holds."""


def size_of(look: str) -> int:
    """Return how big a look is among those that drafts have; what a person made is as small as the home look."""
    return LOOKS.index(look) + 1 if look in LOOKS else 0


def facts_of(song: Song) -> SongFacts:
    """Return what a night has to know of a song.

    Parameters
    ----------
    song : Song

    Raises
    ------
    ProfileError
        If the style or the rig that the document holds is out of bounds.
    """
    cues = [cue for cue in song.cues if cue.status != "rejected"]
    played = {cue.look for cue in cues if cue.look and cue.kind != "one-shot"}
    entrances = [cue for cue in cues if cue.kind in ENTRANCES and cue.look]
    first = entrances[0] if entrances else None
    recalls = [cue for cue in cues if cue.kind == "recall" and cue.look]
    set_by = _set_by(recalls, first)
    start = song.recording.window.start
    grid = Grid(song.analysis)
    return SongFacts(
        title=song.title,
        tempo=song.analysis.tempo_bpm,
        seconds=song.recording.window.end - start,
        first=min((cue.number for cue in cues), default=None),
        last=max((cue.number for cue in cues), default=None),
        looks=tuple(look for look in song.looks if look.id in played or look.home),
        begins=(first.side, first.look) if first and first.side and first.look else None,
        set_by=set_by,
        set_later=tuple(cue.look for cue in recalls if cue.look and cue.number != set_by),
        energy=tuple((each.start - start, each.end - start, grid.drive_of(each)) for each in grid.sections),
        biggest=_biggest(song, entrances, grid),
        profile=profile_from_values(song.profile.values),
        rig=rig_from_values(song.rig.values),
        to_do=left_to_do(song).words,
        sound_checks=frozenset(entry.time for entry in song.history if entry.by == SOUND_CHECK),
    )


def _set_by(recalls: list[Cue], first: Cue | None) -> float | None:
    if first is None:
        return None
    before = [
        cue
        for cue in recalls
        if (cue.side, cue.look) == (first.side, first.look) and cue.place.seconds <= first.place.seconds
    ]
    return before[0].number if before else None


def _biggest(song: Song, entrances: list[Cue], grid: Grid) -> tuple[BiggestUse, ...]:
    most = max((size_of(cue.look or "") for cue in entrances), default=0)
    if not most:
        return ()
    found = []
    for cue in entrances:
        # What comes in late in a section, or lands on the next one, is for that one.
        section = grid.section_of_place(cue.place)
        if size_of(cue.look or "") == most and section is not None:
            found.append(
                BiggestUse(
                    section.mark,
                    cue.look or "",
                    grid.drive_of(section),
                    cue.place.seconds - song.recording.window.start,
                    decided(cue) or any(each.section == section.id and each.decided for each in song.plan),
                )
            )
    return tuple(found)
