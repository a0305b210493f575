"""Two takes of one song side by side: which bars of the one stand under which of the other, and where one has none."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import groupby, pairwise
from typing import Literal

from cuesuggest.analysis.types import Bar, Section, SongAnalysis
from cuesuggest.score.grid import Grid

__all__ = ["Column", "ColumnBlock", "Pace", "PlayedTake", "TwoTakes", "blocks", "columns", "paces", "turned"]

Lasting = Literal["both", "first", "second"]

# In bars that stand under each other: what leaving the row costs, so that a single bar that sounds like one far away
# does not tear a section apart.
_LEAVES = 2.0
_BOTH = 0.25
_SLIPS = 0.5
_LATER = 0.01
_SLIP = 2  # bars counted otherwise in the middle of a section, which are no difference
_SHORTEST = 4  # bars whose tempo is told
_PACE = 0.03  # relative; tempi that differ by less go together


@dataclass(frozen=True, slots=True)
class PlayedTake:
    """One of two takes."""

    name: str
    """Of the recording's file."""
    sha256: str
    analysis: SongAnalysis
    document: str = ""
    """Name of the document whose bars, sections and names are used; empty where it was heard for this."""

    @property
    def music(self) -> float:
        """Seconds from where the music starts to where it ends."""
        return (self.analysis.music_end or 0.0) - (self.analysis.music_start or 0.0)

    @property
    def bars(self) -> list[Bar]:
        """The bars of the song, without those of a count-in."""
        return [bar for bar in self.analysis.bars if bar.number >= 1]


@dataclass(frozen=True, slots=True)
class Column:
    """A bar of each take, under each other; None where a take has nothing there."""

    first: int | None
    second: int | None
    source: int | None = None
    """Where only the second take has a bar: the bar of the first that is played here out of its order."""
    elsewhere: bool = False
    """Where only one take has a bar: whether the other plays it elsewhere."""

    @property
    def lasting(self) -> Lasting:
        """Which of the takes have a bar here."""
        if self.first is None:
            return "second"
        return "first" if self.second is None else "both"


@dataclass(frozen=True, slots=True)
class Pace:
    """A stretch of the song that both play, and how much faster the second take is there."""

    sections: tuple[Section, ...]
    """Of the first take."""
    beats: int
    seconds: tuple[float, float]
    """That they take in each of the takes."""

    @property
    def first(self) -> float:
        """Beats a minute in the first take."""
        return 60 * self.beats / self.seconds[0]

    @property
    def second(self) -> float:
        """Beats a minute in the second take."""
        return 60 * self.beats / self.seconds[1]

    @property
    def ratio(self) -> float:
        """How many times as fast the second take is."""
        return self.seconds[0] / self.seconds[1]


@dataclass(frozen=True, slots=True)
class TwoTakes:
    """Two takes of one song, laid on each other."""

    first: PlayedTake
    second: PlayedTake
    columns: tuple[Column, ...]
    """Of both from their first bar to their last; empty where they are no takes of one song."""
    key: int = 0
    """Semitones by which the second take is higher."""
    doubtful: bool = False
    """So little alike that they may be two songs."""
    recounted: bool = False
    """The second take's bars are counted as the first's are, rather than as its document has them."""


@dataclass(frozen=True, slots=True)
class ColumnBlock:
    """Columns in a row in which the same take has something, in one way."""

    at: int
    """Index of the first column."""
    columns: tuple[Column, ...]

    @property
    def lasting(self) -> Lasting:
        """Which of the takes have bars here."""
        return self.columns[0].lasting

    @property
    def elsewhere(self) -> bool:
        """Whether the other take plays it elsewhere."""
        return self.columns[0].elsewhere

    @property
    def first(self) -> tuple[int, ...]:
        """Bars of the first take."""
        return tuple(each.first for each in self.columns if each.first is not None)

    @property
    def second(self) -> tuple[int, ...]:
        """Bars of the second take."""
        return tuple(each.second for each in self.columns if each.second is not None)

    @property
    def sources(self) -> tuple[int, ...]:
        """Bars of the first take that are played here out of their order."""
        return tuple(each.source for each in self.columns if each.source is not None)


def columns(first: Sequence[int], second: Sequence[int], sources: Sequence[int | None]) -> tuple[Column, ...]:
    """Put the bars of two takes under each other as far as their order allows.

    Parameters
    ----------
    first, second : sequence of int
        Numbers of the bars, in order.
    sources : sequence of int or None
        The bar of the first take that each bar of the second is; None where it is none.

    Returns
    -------
    tuple of Column
        Every bar stands once, in order.
    """
    known = set(first)
    sources = [source if source in known else None for source in sources]
    kept = _in_order(sources, first[0] if first else 0)
    paired = {sources[index] for index in kept}
    played = {source for source in sources if source is not None}
    index_of = {number: index for index, number in enumerate(first)}
    found: list[Column] = []
    at = done = 0
    for index in [*kept, len(second)]:
        stop = index_of[_known(sources[index])] if index < len(second) else len(first)
        alone = [Column(number, None, elsewhere=number in played) for number in first[done:stop]]
        more = [Column(None, second[k], sources[k], elsewhere=sources[k] is not None) for k in range(at, index)]
        slipped = min(len(alone), len(more))
        if 0 < slipped <= _SLIP and max(len(alone), len(more)) <= 2 * _SLIP:
            found += [replace(a, second=b.second, elsewhere=False) for a, b in zip(alone, more, strict=False)]
            alone, more = alone[slipped:], more[slipped:]
        # What is played once more stands behind what it repeats, what is left out before what goes on.
        found += [*more, *alone] if more and more[0].source in paired else [*alone, *more]
        if index < len(second):
            found.append(Column(first[stop], second[index]))
        at, done = index + 1, stop + 1
    return tuple(found)


def _known(source: int | None) -> int:
    assert source is not None
    return source


def _in_order(sources: Sequence[int | None], lowest: int) -> list[int]:
    """Return the bars that stand under the bars they are: as many as can in order, in few pieces.

    Of two ways that are as good, what comes first stands under what it is.
    """
    best: list[float] = []
    before: list[int] = []
    for index, source in enumerate(sources):
        score, came = 1.0 - _cost(index, (source or lowest) - lowest) - _LATER, -1
        for earlier in range(index if source is not None else 0):
            other = sources[earlier]
            if other is None or source is None or other >= source:
                continue
            reached = best[earlier] + 1.0 - _cost(index - earlier - 1, source - other - 1)
            if reached > score:
                score, came = reached, earlier
        best.append(score if source is not None else float("-inf"))
        before.append(came)
    at = max(range(len(best)), key=lambda index: best[index], default=-1)
    kept: list[int] = []
    while at >= 0 and best[at] > float("-inf"):
        kept.append(at)
        at = before[at]
    return kept[::-1]


def turned(two: TwoTakes) -> TwoTakes:
    """Return two takes with the second as the first."""
    paired = {each.first for each in two.columns if each.lasting == "both"}
    played: dict[int | None, int | None] = {each.source: each.second for each in two.columns if each.source}

    def turn(column: Column) -> Column:
        if column.lasting == "both":
            return Column(column.second, column.first)
        if column.lasting == "first":
            return Column(None, column.first, played.get(column.first), column.elsewhere)
        return Column(column.second, None, elsewhere=column.elsewhere and column.source not in paired)

    return replace(two, first=two.second, second=two.first, columns=tuple(map(turn, two.columns)), key=-two.key)


def _cost(more: int, fewer: int) -> float:
    """Return what it costs to go on after bars that only one of the takes has: a left-out bar less than a jump."""
    if 0 < more == fewer <= _SLIP:
        return _SLIPS
    return _LEAVES * (more > 0) + min(fewer / 4, 1.0) * _LEAVES + _BOTH * (more > 0 and fewer > 0)


def blocks(columns: Sequence[Column]) -> list[ColumnBlock]:
    """Return columns in blocks in which the same take has something: in order, left out, new, played elsewhere."""
    found: list[ColumnBlock] = []
    at = 0
    for _, group in groupby(columns, key=lambda each: (each.lasting, each.elsewhere)):
        for piece in _pieces(list(group)):
            found.append(ColumnBlock(at, tuple(piece)))
            at += len(piece)
    return found


def _pieces(group: list[Column]) -> Iterator[list[Column]]:
    """Divide bars that are played out of their order where they go on elsewhere."""
    piece = group[:1]
    for before, column in pairwise(group):
        if before.source is not None and column.source is not None and not 0 <= column.source - before.source <= _SLIP:
            yield piece
            piece = []
        piece.append(column)
    yield piece


def paces(two: TwoTakes) -> tuple[Pace, ...]:
    """Return how much faster the second take is: a stretch for each part in which it is another.

    Sections of the first take go together where their tempi differ little.
    """
    first, second = Grid(two.first.analysis), Grid(two.second.analysis)
    by_section: dict[str, list[tuple[Bar, Bar]]] = {}
    for column in two.columns:
        section = first.section_of(column.first)
        one, other = first.bar(column.first or 0), second.bar(column.second or 0)
        if column.lasting == "both" and section and one and other:
            by_section.setdefault(section.id, []).append((one, other))
    found = [
        Pace(
            (section,),
            sum(one.beats for one, _ in pairs),
            (sum(one.end - one.start for one, _ in pairs), sum(_as_counted(*pair) for pair in pairs)),
        )
        for section in first.sections
        if len(pairs := by_section.get(section.id, [])) >= _SHORTEST
    ]
    while len(found) > 1:
        apart = [abs(a.ratio / b.ratio - 1) for a, b in pairwise(found)]
        near = apart.index(min(apart))
        if apart[near] >= _PACE:
            break
        found[near : near + 2] = [_together(found[near], found[near + 1])]
    return tuple(found)


def _as_counted(one: Bar, other: Bar) -> float:
    """Return how long the beats of a bar take in the other take, whose bar may have another number of them."""
    return (other.end - other.start) * one.beats / other.beats


def _together(one: Pace, other: Pace) -> Pace:
    seconds = one.seconds[0] + other.seconds[0], one.seconds[1] + other.seconds[1]
    return Pace((*one.sections, *other.sections), one.beats + other.beats, seconds)
