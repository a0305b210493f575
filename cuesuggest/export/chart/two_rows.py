"""Two takes of a song as two charts under each other, on one scale of bars, with gaps where one of them has nothing."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

from cuesuggest.analysis.types import Bar, Section
from cuesuggest.export.chart.drive_line import STAFF_BASE, STAFF_TOP, SURE, drive_line, drive_range
from cuesuggest.export.chart.geometry import Chart, ChartBar, ChartLine, LegendSign, Sustain, Words
from cuesuggest.export.chart.light_line import LIGHT_HALF, TEXT, WORDS_STEP
from cuesuggest.export.chart.over_bars import new_meters, over_bars
from cuesuggest.export.chart.phrases import Stretch
from cuesuggest.export.chart.placing import LEGEND_STEP, TITLE, legend_items, lowered
from cuesuggest.export.chart.short_words import fitted, text_width
from cuesuggest.score.grid import Grid
from cuesuggest.score.records import clock
from cuesuggest.score.side_by_side import ColumnBlock, PlayedTake, TwoTakes, blocks
from cuesuggest.score.take_words import differences, take_line

__all__ = ["lay_out_two"]

_PER_ROW = (32, 24, 16)  # bars: whole phrases of eight, as many as have room
_BAR = 22.0  # in which a number of three digits has room
_AT_LEAST = 0.6  # of a row that ends where a section does
_MARGIN = 54.0
_LABEL = 13.0
_LEAST_NAME = 4  # letters; less of a name says nothing
_TOLD = ("talk", "crowd", "false-start", "pause", "stop", "hit", "build", "drop", "breakdown", "tag")
_OVER = 14.0  # for the names of sections, over the bar numbers
_MARKED = STAFF_BASE + 4.5  # where bars that only one of the takes has are underlined
_UNDER = STAFF_BASE + 15.0
_TAKE = 19.0  # from the staff's line to the end of a take's row
_BETWEEN = 8.0  # between pairs of rows
_MOST_SAID = 16  # lines
_STEP = 14.0
_ELSEWHERE, _ALONE = 1, 3


@dataclass(frozen=True, slots=True)
class _Scale:
    """How wide things are."""

    width: float
    """Of a row, with its margin."""
    bar: float


@dataclass(frozen=True, slots=True)
class _Side:
    """One of the takes, as its rows are drawn."""

    name: str
    take: PlayedTake
    grid: Grid
    drives: tuple[float, float]
    meters: frozenset[int]
    notes: dict[int, tuple[int, int, str]]
    """By bar, where only this take has it: how heavy it is marked, the last bar of the stretch, what is said of it."""


def lay_out_two(two: TwoTakes, width: float, height: float | None = None) -> Chart:
    """Lay two takes out under each other.

    Parameters
    ----------
    two : TwoTakes
        With columns.
    width : float
        Of a page, in units.
    height : float, optional
        Of a page; without one everything stands on one page that is as high as it needs.

    Returns
    -------
    Chart
        Each stretch of bars without a gap is a line of it.
    """
    found = blocks(two.columns)
    sides = (
        _side("first", two.first, [(each, each.first) for each in found if each.lasting == "first"], found),
        _side("second", two.second, [(each, each.second) for each in found if each.lasting == "second"], found),
    )
    header = list(_header(two, width))
    count = next((each for each in _PER_ROW if (width - _MARGIN) / each >= _BAR), _PER_ROW[-1])
    scale = _Scale(width, (width - _MARGIN) / count)
    pairs = [_pair(two, sides, span, scale) for span in _rows(two, sides, count)]
    legend = list(legend_items(_signs([line for pair, _ in pairs for line in pair]), width))
    legend_height = (legend[-1].y if legend else 0.0) + LEGEND_STEP
    lines: list[ChartLine] = []
    page, y = 1, header[-1].y + _STEP
    for index, (pair, high) in enumerate(pairs):
        below = legend_height if index == len(pairs) - 1 else 0.0
        if height is not None and y + high + below > height and y > 0:
            page, y = page + 1, 0.0
        lines += [replace(line, page=page, y=round(line.y + y, 2)) for line in pair]
        y += high + _BETWEEN
    whole = y + legend_height if height is None else height
    top = whole - legend_height
    return Chart(
        count,
        width,
        round(whole, 2),
        page,
        tuple(lines),
        tuple(header),
        tuple(replace(item, y=item.y + top, words=lowered(item.words, top)) for item in legend),
        (),
    )


def _side(
    name: str, take: PlayedTake, own: Iterable[tuple[ColumnBlock, tuple[int, ...]]], found: Sequence[ColumnBlock]
) -> _Side:
    moved = {bar for block in found if block.lasting == "first" and block.elsewhere for bar in block.first}
    notes: dict[int, tuple[int, int, str]] = {}
    for block, bars in own:
        if not block.elsewhere:
            note = "left out by the second" if name == "first" else "only here"
        else:
            again = name == "second" and not moved & set(block.sources)
            note = "once more" if again else "at another place"
        weight = _ELSEWHERE if block.elsewhere else _ALONE
        notes |= dict.fromkeys(bars, (weight, bars[-1], note))
    analysis = take.analysis
    # The first time signature is told above.
    meters = new_meters(analysis) - {take.analysis.bars[0].number}
    return _Side(name, take, Grid(analysis), drive_range(analysis.bars), meters, notes)


# Rows.


def _rows(two: TwoTakes, sides: tuple[_Side, _Side], count: int) -> Iterator[tuple[int, int]]:
    """Divide the columns into rows, where a section starts if there is one near the end of a row."""
    opening = [
        index
        for index, column in enumerate(two.columns)
        if _opens(sides[0], column.first) or _opens(sides[1], column.second)
    ]
    at = 0
    while at < len(two.columns):
        stop = at + count
        if stop < len(two.columns):
            stop = max((start for start in opening if at + _AT_LEAST * count <= start <= stop), default=stop)
        yield at, min(stop, len(two.columns))
        at = stop


def _opens(side: _Side, number: int | None) -> bool:
    section = side.grid.section_of(number)
    return section is not None and section.first_bar == number


def _pair(
    two: TwoTakes, sides: tuple[_Side, _Side], span: tuple[int, int], scale: _Scale
) -> tuple[list[ChartLine], float]:
    """Draw a row of each take, from y 0 on; returns how high they are together."""
    low, high = span
    numbers = [each.first for each in two.columns[low:high]], [each.second for each in two.columns[low:high]]
    lines: list[ChartLine] = []
    y = 0.0
    for side, row in zip(sides, numbers, strict=True):
        drawn = _row(side, row, scale)
        lines += [replace(line, y=y) for line in drawn]
        y += drawn[0].height
    return lines, y


def _row(side: _Side, numbers: Sequence[int | None], scale: _Scale) -> list[ChartLine]:
    """Draw a row of one take: a line for each stretch without a gap; the words stand with the first."""
    width = scale.width
    found = [(index, bar) for index, number in enumerate(numbers) if number and (bar := side.grid.bar(number))]
    bars = [_bar(side, bar, _MARGIN + index * scale.bar, scale.bar) for index, bar in found]
    stretches = [Stretch(bar, bar.start, bar.end) for _, bar in found]
    over, rows = _over(side, stretches, bars, width)
    lower = _OVER + rows * WORDS_STEP
    words = [Words(side.name, 0.0, lower + STAFF_BASE - 11, TEXT, "label", bold=True)]
    if bars:
        words.append(Words(clock(bars[0].start).partition(".")[0], 0.0, lower + STAFF_BASE + 2, TEXT, "about"))
    words += [*_labels(side, bars, width), *(lowered(each, lower) for each in over)]
    words += [lowered(each, lower) for each in _under(side, bars, width)]
    high = lower + STAFF_BASE + _TAKE
    if not bars:
        return [_line(side, (), (), width, lower, high, words)]
    cuts = [0, *(k + 1 for k, (a, b) in enumerate(pairwise(found)) if b[0] > a[0] + 1), len(bars)]
    return [
        _line(side, bars[a:b], stretches[a:b], width, lower, high, words if a == 0 else ()) for a, b in pairwise(cuts)
    ]


def _bar(side: _Side, bar: Bar, x: float, width: float) -> ChartBar:
    return ChartBar(
        number=bar.number,
        start=bar.start,
        end=bar.end,
        beats=bar.beats,
        x=round(x, 2),
        width=round(width, 2),
        dashed=bar.confidence < SURE,
        opens_section=_opens(side, bar.number),
    )


def _line(
    side: _Side,
    bars: Sequence[ChartBar],
    stretches: Sequence[Stretch],
    width: float,
    lower: float,
    high: float,
    words: Sequence[Words],
) -> ChartLine:
    left = bars[0].x if bars else _MARGIN
    return ChartLine(
        page=1,
        x=0.0,
        y=0.0,
        width=round(width, 2),
        height=round(high, 2),
        section=None,
        staff_x=left,
        staff_to_x=round(bars[-1].x + bars[-1].width, 2) if bars else left,
        staff_top=lower + STAFF_TOP,
        staff_base=lower + STAFF_BASE,
        light_y=lower + _MARKED,
        light_half=LIGHT_HALF,
        bars=tuple(bars),
        drive=tuple((x, round(lower + y, 2)) for x, y in drive_line(stretches, bars, side.drives)),
        sustains=tuple(_marked(side, bars)),
        hairpins=(),
        marks=(),
        leaders=(),
        words=tuple(words),
    )


def _marked(side: _Side, bars: Sequence[ChartBar]) -> Iterator[Sustain]:
    """Underline bars that only this take has here."""
    for bar in bars:
        if bar.number in side.notes:
            yield Sustain(bar.x, round(bar.x + bar.width, 2), side.notes[bar.number][0])


# Words.


def _over(side: _Side, stretches: Sequence[Stretch], bars: Sequence[ChartBar], width: float) -> tuple[list[Words], int]:
    """Write bar numbers and what is heard; what is wider than the rest of the row is told in words alone."""
    if not bars:
        return [], 0
    room = width - bars[0].x
    events = [each for each in side.take.analysis.events if each.kind in _TOLD and text_width(each.kind, TEXT) <= room]
    return over_bars(stretches, bars, events, side.meters, width)


def _parts(side: _Side, bars: Sequence[ChartBar], width: float) -> Iterator[tuple[Section, ChartBar, float]]:
    """Yield each section of a row with its first bar there, and where the next one begins."""
    found: list[tuple[Section, ChartBar]] = []
    for before, bar in zip([None, *bars], bars, strict=False):
        section = side.grid.section_of(bar.number)
        goes_on = before is not None and abs(before.x + before.width - bar.x) < 1
        if section and not (goes_on and found and found[-1][0] == section):
            found.append((section, bar))
    for index, (section, bar) in enumerate(found):
        yield section, bar, found[index + 1][1].x if index + 1 < len(found) else width


def _labels(side: _Side, bars: Sequence[ChartBar], width: float) -> Iterator[Words]:
    for section, bar, end in _parts(side, bars, width):
        room = end - bar.x - 4
        if not bar.opens_section:
            yield Words(fitted(f"({section.mark})", TEXT, room), bar.x, 11.0, TEXT, "again")
            continue
        mark = fitted(section.mark, _LABEL, room, bold=True)
        yield Words(mark, bar.x, 11.0, _LABEL, "label", bold=True)
        named = section.name or (f"{section.role}?" if section.role else "")
        at = bar.x + text_width(mark, _LABEL, bold=True) + 4
        name = fitted(named, TEXT, end - 4 - at)
        if named and (name == named or len(name) > _LEAST_NAME):
            yield Words(name, round(at, 2), 11.0, TEXT, "name")


def _under(side: _Side, bars: Sequence[ChartBar], width: float) -> Iterator[Words]:
    """Write the tempo of each section, and what is said of bars that only this take has here."""
    taken: list[tuple[float, float]] = []
    parts = list(_parts(side, bars, width))
    for section, bar, end in parts:
        if not bar.opens_section:
            continue
        inside = side.grid.bars_of(section)
        bpm = 60 * sum(each.beats for each in inside) / sum(each.end - each.start for each in inside)
        for text in (f"{bpm:.0f}/min", f"{bpm:.0f}"):
            if text_width(text, TEXT) <= end - bar.x - 4:
                taken.append((bar.x, bar.x + text_width(text, TEXT) + 8))
                yield Words(text, bar.x, _UNDER, TEXT, "about")
                break
    told: set[int] = set()
    for bar in bars:
        note = side.notes.get(bar.number or 0)
        if note is None or note[1] in told:
            continue
        told.add(note[1])
        at = max([right for left, right in taken if left <= bar.x < right], default=bar.x)
        end = min([left for left, _ in taken if left > bar.x] or [width])
        if text_width(note[2], TEXT) <= end - at - 4:
            yield Words(note[2], round(at, 2), _UNDER, TEXT, "heard", italic=True)
            taken.append((at, at + text_width(note[2], TEXT)))


def _signs(lines: Sequence[ChartLine]) -> Iterator[tuple[LegendSign, str, str]]:
    yield "drive", "", "drive: how hard the band pushes, in this take's range"
    if any(line.sustains for line in lines):
        yield (
            "sustain",
            "",
            "thin: the other take plays it elsewhere, or less often; thick: the other take has it nowhere",
        )
    if any(bar.dashed for line in lines for bar in line.bars):
        yield "dashed", "", "bar uncertain"


def _header(two: TwoTakes, width: float) -> Iterator[Words]:
    title = f"{two.first.name} and {two.second.name}"
    size = TITLE if text_width(title, TITLE, bold=True) <= width else _LABEL
    yield Words(fitted(title, size, width, bold=True), 0.0, 18.0, size, "title", bold=True)
    heads = [f"First: {take_line(two.first)}", f"Second: {take_line(two.second)}"]
    lines = [line for text in (*heads, *differences(two)) for line in _wrapped(text, width)]
    if len(lines) > _MOST_SAID:
        lines = [*lines[: _MOST_SAID - 1], "There is more: the command prints all of it."]
    for index, line in enumerate(lines):
        yield Words(line, 0.0, 34.0 + index * _STEP, TEXT, "about")


def _wrapped(text: str, width: float) -> Iterator[str]:
    line = ""
    for word in text.split():
        longer = f"{line} {word}".strip()
        if line and text_width(longer, TEXT) > width:
            yield line
            longer = word
        line = longer
    yield fitted(line, TEXT, width)
