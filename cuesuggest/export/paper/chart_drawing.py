"""The chart's geometry turned into strokes and texts; a pen puts them down, on paper or in a picture."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Protocol

from cuesuggest.export.chart import SIGNS, Chart, ChartLine, LegendItem, MarkKind, Words

__all__ = ["Pen", "draw"]

Point = tuple[float, float]

_HAIR, _THIN, _STAFF = 0.5, 0.8, 0.9
_SUSTAIN = {1: 0.9, 2: 2.0, 3: 3.6}
_DASH = (2.5, 2.0)
_DRIVE: tuple[Point, ...] = ((-12, 4), (-6, 4), (0, 0), (6, -4), (12, -3))


class Pen(Protocol):
    """What can draw in the chart's units, y downwards from the upper left corner; one ink."""

    def path(
        self,
        strokes: Sequence[Sequence[Point]],
        width: float,
        *,
        dash: tuple[float, float] | None = None,
        closed: bool = False,
        filled: bool = False,
    ) -> None:
        """Draw strokes as one path."""

    def text(self, words: Words, x: float, y: float) -> None:
        """Write words; `x` and `y` are the corner of what they count from."""


def draw(chart: Chart, page: int, pen: Pen) -> None:
    """Draw one page.

    Parameters
    ----------
    chart : Chart
    page : int
        From 1.
    pen : Pen
    """
    if page == 1:
        for words in chart.header:
            pen.text(words, 0.0, 0.0)
    for line in chart.lines:
        if line.page == page:
            _draw_line(line, pen)
    if page == chart.pages:
        for item in chart.legend:
            _draw_legend(item, pen)
        for each in chart.key:
            pen.text(each.short, 0.0, 0.0)
            pen.text(each.meaning, 0.0, 0.0)


def _draw_line(line: ChartLine, pen: Pen) -> None:
    def at(*points: Point) -> list[Point]:
        return [(line.x + x, line.y + y) for x, y in points]

    if line.bars:
        pen.path([at((line.staff_x, line.staff_base), (line.staff_to_x, line.staff_base))], _STAFF)
    for dashed in (False, True):
        bars = [bar for bar in line.bars if bar.dashed is dashed]
        edges = sorted({bar.x for bar in bars} | {round(bar.x + bar.width, 2) for bar in bars})
        strokes = [at((x, line.staff_top), (x, line.staff_base)) for x in edges]
        if strokes:
            pen.path(strokes, _THIN, dash=_DASH if dashed else None)
    # A section opens with a double bar line, as in common notation.
    opened = [bar.x for bar in line.bars if bar.opens_section]
    if opened:
        pen.path([at((x - 3, line.staff_top), (x - 3, line.staff_base)) for x in opened], 1.8)
    if line.drive:
        pen.path([at(*line.drive)], _THIN)
    for weight, width in _SUSTAIN.items():
        held = [
            at((each.x, line.light_y), (each.to_x, line.light_y)) for each in line.sustains if each.weight == weight
        ]
        if held:
            pen.path(held, width)
    for pin in line.hairpins:
        near, far = line.light_half * pin.from_open, line.light_half * pin.to_open
        strokes = [at((pin.x, line.light_y + s * near), (pin.to_x, line.light_y + s * far)) for s in (-1, 1)]
        pen.path(strokes, 1.1)
    for mark in line.marks:
        _draw_sign(mark.kind, line.x + mark.x, line.y + line.light_y, pen)
    if line.leaders:
        pen.path([at((x, top), (x, bottom)) for x, top, bottom in line.leaders], _HAIR)
    for words in line.words:
        pen.text(words, line.x, line.y)


def _draw_sign(kind: MarkKind, x: float, y: float, pen: Pen) -> None:
    for stroke in SIGNS[kind]:
        points = [(x + dx, y + dy) for dx, dy in stroke.points]
        pen.path([points], stroke.width, closed=stroke.closed, filled=stroke.filled)


def _draw_legend(item: LegendItem, pen: Pen) -> None:
    x, y = item.x, item.y
    match item.sign:
        case "hairpin":
            pen.path([[(x - 12, y), (x, y - 4), (x, y - 4)], [(x - 12, y), (x, y + 4)]], 1.1)
            pen.path([[(x + 1, y - 4), (x + 13, y)], [(x + 1, y + 4), (x + 13, y)]], 1.1)
        case "sustain":
            pen.path([[(x - 11, y), (x - 2, y)]], _SUSTAIN[1])
            pen.path([[(x + 1, y), (x + 11, y)]], _SUSTAIN[3])
        case "letters":
            pen.text(Words(item.shown, x, y + 4, 12, "dynamic", "middle", bold=True, italic=True), 0.0, 0.0)
        case "drive":
            pen.path([[(x + dx, y + dy) for dx, dy in _DRIVE]], _THIN)
        case "dashed":
            pen.path([[(x, y - 7), (x, y + 6)]], _THIN, dash=_DASH)
        case kind:
            _draw_sign(kind, x, y, pen)
    pen.text(item.words, 0.0, 0.0)
