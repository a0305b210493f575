"""Two states of a song compared: which cues came, went, moved and changed, and where light or a start is another."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from cuesuggest.analysis.types import Section
from cuesuggest.score.grid import Grid
from cuesuggest.score.light import hand_place
from cuesuggest.score.records import Cue, counted

if TYPE_CHECKING:
    from cuesuggest.song.model import Song

__all__ = ["Difference", "changed_stretches", "compared", "in_places", "kind_words", "stretch_words"]

# Cues that are told one by one; of more than that nobody reads each.
_ONE_BY_ONE = 4
_SAME_TIME = 0.02  # s
_PLAYED = ("kind", "trigger", "anchor", "look", "side", "level", "up_beats", "down_beats", "series", "who")
_KIND_WORDS = {"call": "line", "recall": "look set in the dark", "speed": "change of speed"}


@dataclass(frozen=True, slots=True)
class Difference:
    """What is played otherwise in a song than in the one before it; rejected cues are played in neither."""

    new: tuple[Cue, ...] = ()
    gone: tuple[Cue, ...] = ()
    """As they were."""
    moved: tuple[tuple[Cue, Cue], ...] = ()
    """As they were, and as they are."""
    changed: tuple[tuple[Cue, Cue], ...] = ()
    """Those that stay where they were."""


def compared(before: Song, after: Song) -> Difference:
    """Return which cues came, went, moved and changed between two states of a song."""
    old, now = _played(before), _played(after)
    both = [(old[id_], cue) for id_, cue in now.items() if id_ in old]
    return Difference(
        new=tuple(cue for id_, cue in now.items() if id_ not in old),
        gone=tuple(cue for id_, cue in old.items() if id_ not in now),
        moved=tuple(pair for pair in both if _has_moved(*pair)),
        changed=tuple(pair for pair in both if not _has_moved(*pair) and _is_other(*pair)),
    )


def _played(song: Song) -> dict[str, Cue]:
    return {cue.id: cue for cue in song.cues if cue.status != "rejected"}


def _has_moved(old: Cue, now: Cue) -> bool:
    return abs(old.place.seconds - now.place.seconds) > _SAME_TIME


def _is_other(old: Cue, now: Cue) -> bool:
    return any(getattr(old, name) != getattr(now, name) for name in _PLAYED)


def changed_stretches(before: Song, after: Song) -> tuple[tuple[int, int], ...]:
    """Return the bars of a song that are otherwise than in the one before it, as first and last number, in order.

    A bar counts in which a cue came, went, moved to or from, or changed; every bar of a section whose light is
    another; and the first bar of a section that starts elsewhere.
    """
    difference = compared(before, after)
    was, now = Grid(before.analysis), Grid(after.analysis)
    cues = [(cue, now) for cue in difference.new] + [(cue, was) for cue in difference.gone]
    cues += [each for old, new in (*difference.moved, *difference.changed) for each in ((old, was), (new, now))]
    # Where the hand begins, and where the light lands.
    times = [place.seconds for cue, grid in cues for place in (cue.place, hand_place(cue, grid))]
    starts = {section.start for section in before.analysis.sections}
    times += [
        section.start
        for section in after.analysis.sections
        if all(abs(section.start - start) > _SAME_TIME for start in starts)
    ]
    bars = after.analysis.bars
    numbers = {bar.number for bar in bars for time in times if bar.start - _SAME_TIME <= time < bar.end - _SAME_TIME}
    light = {planned.section: planned.category for planned in before.plan}
    relit = {
        planned.section for planned in after.plan if light.get(planned.section, planned.category) != planned.category
    }
    for section in after.analysis.sections:
        if section.id in relit:
            numbers |= set(range(section.first_bar, section.last_bar + 1))
    return _runs(sorted(numbers & {bar.number for bar in bars}))


def _runs(numbers: Sequence[int]) -> tuple[tuple[int, int], ...]:
    there = set(numbers)
    firsts = [number for number in numbers if number - 1 not in there]
    lasts = [number for number in numbers if number + 1 not in there]
    return tuple(zip(firsts, lasts, strict=True))


def stretch_words(song: Song, stretches: Iterable[tuple[int, int]]) -> str:
    """Name stretches of bars by the sections that they lie in: "B2 bars 3 to 4, C1"."""
    said = []
    for first, last in stretches:
        inside = [each for each in song.analysis.sections if each.first_bar <= last and first <= each.last_bar]
        said += [_part_words(max(first, each.first_bar), min(last, each.last_bar), each) for each in inside]
        if not inside:
            said.append(f"bar {first}" if first == last else f"bars {first} to {last}")
    return ", ".join(said)


def _part_words(first: int, last: int, section: Section) -> str:
    low, high = first - section.first_bar + 1, last - section.first_bar + 1
    if (low, high) == (1, section.bars):
        return section.mark
    return f"{section.mark} bar {low}" if low == high else f"{section.mark} bars {low} to {high}"


def kind_words(cue: Cue) -> str:
    """Name what a cue is, for reading."""
    return _KIND_WORDS.get(cue.kind, cue.kind)


def in_places(cues: Sequence[Cue], grid: Grid) -> str:
    """Say which cues are meant, by what they are and where: a few one by one, many by where they begin and end.

    Parameters
    ----------
    cues : sequence of Cue
    grid : Grid
        Of the song that they are, or were, in.
    """
    places = [hand_place(cue, grid) for cue in cues]
    if len(cues) <= _ONE_BY_ONE:
        told = zip(cues, places, strict=True)
        return ", ".join(f"the {kind_words(cue)} at {place} (cue {cue.number:g})" for cue, place in told)
    places.sort(key=lambda place: place.seconds)
    return f"{counted(len(cues), 'cue')}, from {places[0]} to {places[-1]}"
