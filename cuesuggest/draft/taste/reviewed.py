"""A song as its designer left it, beside what the rules suggest for it, and how many repairs lie between the two."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from functools import cached_property

from cuesuggest.analysis.types import SongAnalysis
from cuesuggest.rules import Grid, Pin, Profile, Rig, draft, rig_from_values
from cuesuggest.score.light import follow, lit_stretches, presses
from cuesuggest.score.records import CATEGORIES, Category, Cue, Look
from cuesuggest.song import Song
from cuesuggest.song.decided import decided, stands

__all__ = [
    "Repair",
    "ReviewedSong",
    "Suggestion",
    "other_length",
    "other_level",
    "pairs",
    "repairs",
    "suggestion",
    "was_reviewed",
]

# Seconds. A press so near another is the same one.
_SAME_PLACE = 0.2

# A fade is another one if it is longer by more than a quarter, or shorter by as much.
_LONGER = 1.25

# Percent. A change of level that is no more than this is not worth a repair.
_NEAR_LEVEL = 5

# Of the suggestions, what has to be decided for a song to count as gone through.
_MOST = 0.5


Repair = tuple[str, str]
"""Its kind, and what it is done to."""


@dataclass(frozen=True)
class ReviewedSong:
    """A song as its designer left it."""

    name: str
    song: Song

    @property
    def analysis(self) -> SongAnalysis:
        """What was heard, under what the designer stated."""
        return self.song.analysis

    @cached_property
    def rig(self) -> Rig:
        """What it is played on."""
        return rig_from_values(self.song.rig.values)

    @cached_property
    def grid(self) -> Grid:
        """Its bars."""
        return Grid(self.analysis)

    @cached_property
    def light(self) -> dict[str, Category]:
        """The category of each section, by id, as it is really lit."""
        return _light(self, self._played, self.song.looks)

    @cached_property
    def shots(self) -> tuple[float, ...]:
        """Seconds of every one-shot that is left."""
        return _shots(self._played, self.grid)

    @cached_property
    def stand(self) -> dict[str, Cue]:
        """The cues that are the designer's by now, by id."""
        return {cue.id: cue for cue in self._played if stands(cue)}

    @cached_property
    def rejected(self) -> frozenset[str]:
        """Ids of the cues that were left out."""
        return frozenset(cue.id for cue in self.song.cues if cue.status == "rejected")

    @cached_property
    def _played(self) -> tuple[Cue, ...]:
        return tuple(cue for cue in self.song.cues if cue.status != "rejected" and cue.who == "operator")


@dataclass(frozen=True)
class Suggestion:
    """What a style suggests for a song."""

    light: dict[str, Category]
    """The category of each section if nobody says anything."""
    cues: tuple[Cue, ...]
    """The cues once every section has the category that the designer wants."""
    looks: tuple[Look, ...]
    shots: tuple[float, ...]


def was_reviewed(song: Song) -> bool:
    """Whether somebody went through a song: the list was taken out, or most of it was decided on."""
    cues = [cue for cue in song.cues if cue.kind != "recall"]
    return bool(cues) and (song.numbers_frozen or sum(map(decided, cues)) >= _MOST * len(cues))


def suggestion(song: ReviewedSong, style: Profile) -> Suggestion:
    """Draft a song in a style: its light as the style would have it, and the cues around the light that was wanted.

    As a person repairs a draft: first how much light each section gets, then what is still wrong.
    """
    made = draft(song.analysis, style, song.rig)
    light = _light(song, made.cues, made.looks)
    wanted = {id_: Pin(song.light[id_], enters=False) for id_, each in light.items() if song.light[id_] != each}
    around = draft(song.analysis, style, song.rig, wanted) if wanted else made
    return Suggestion(light, around.cues, around.looks, _shots(around.cues, song.grid))


def repairs(song: ReviewedSong, made: Suggestion) -> frozenset[Repair]:
    """Return what has to be put right of a suggestion for it to be what the designer kept.

    "light": sections with another category; "one-shots": presses too many or missing; "lengths": fades longer or
    shorter by more than a quarter; "levels": those off by more than 5 percent; "colours": looks with more or fewer.
    """
    found = {("light", id_) for id_, category in made.light.items() if song.light[id_] != category}
    found |= {("one-shots", f"{at:.1f}") for at in (*_apart(made.shots, song.shots), *_apart(song.shots, made.shots))}
    kept_looks = {look.id: look for look in song.song.looks}
    found |= {("colours", each.id) for each in made.looks if each.colours != kept_looks.get(each.id, each).colours}
    for ours, kept in pairs(song, made.cues):
        found |= {("lengths", f"{ours.id} up")} if other_length(ours.up_beats, kept.up_beats) else set()
        found |= {("lengths", f"{ours.id} down")} if other_length(ours.down_beats, kept.down_beats) else set()
        found |= {("levels", ours.id)} if other_level(ours.level, kept.level) else set()
    return frozenset(found)


def pairs(song: ReviewedSong, cues: Iterable[Cue]) -> Iterator[tuple[Cue, Cue]]:
    """Yield suggested cues beside what the designer made of them; what nobody decided on stands as suggested."""
    for cue in cues:
        if cue.id not in song.rejected:
            kept = song.stand.get(cue.id, cue)
            if kept.kind == cue.kind:
                yield cue, kept


def other_length(suggested: float | None, kept: float | None) -> int:
    """Return 1 where a fade was made clearly longer, -1 where shorter, else 0."""
    if not suggested or not kept:
        return 0
    return (kept > suggested * _LONGER) - (suggested > kept * _LONGER)


def other_level(suggested: int | None, kept: int | None) -> int:
    """Return 1 where a level was set clearly higher, -1 where lower, else 0."""
    if not suggested or not kept:
        return 0
    return (kept > suggested + _NEAR_LEVEL) - (kept < suggested - _NEAR_LEVEL)


def _light(song: ReviewedSong, cues: Iterable[Cue], looks: Iterable[Look]) -> dict[str, Category]:
    """Return for each section the category that it has for most of its time."""
    looks = tuple(looks)
    of = {look.id: look.category for look in looks}
    steps = follow(cues, grid=song.grid, looks=looks, hands=song.rig.hands)
    lit = [each for each in lit_stretches(steps, song.analysis.duration) if each.entered.look in of]
    found: dict[str, Category] = {}
    for section in song.analysis.sections:
        seconds: dict[Category, float] = dict.fromkeys(CATEGORIES, 0.0)
        for each in lit:
            seconds[of[each.entered.look or ""]] += max(min(each.end, section.end) - max(each.start, section.start), 0)
        seconds["rest"] = section.end - section.start - sum(seconds.values())
        found[section.id] = max(CATEGORIES, key=lambda category: round(seconds[category], 3))
    return found


def _shots(cues: Iterable[Cue], grid: Grid) -> tuple[float, ...]:
    return tuple(sorted(at for cue in cues if cue.kind == "one-shot" for at in presses(cue, grid)))


def _apart(these: Iterable[float], others: tuple[float, ...]) -> list[float]:
    return [at for at in these if all(abs(at - other) >= _SAME_PLACE for other in others)]
