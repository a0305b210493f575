"""The chart as a picture: Scalable Vector Graphics 1.1, which every browser and drawing program reads."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from cuesuggest.export.chart import Chart, Words, lay_out
from cuesuggest.export.common.escape import one_line
from cuesuggest.export.common.options import About, Options, about
from cuesuggest.export.common.xml_element import element, xml_bytes
from cuesuggest.export.paper import FACES
from cuesuggest.export.paper.chart_drawing import Point, draw

if TYPE_CHECKING:
    from xml.etree.ElementTree import Element

    from cuesuggest.song import Song

__all__ = ["WIDTH", "drawn_chart", "svg"]

WIDTH = 1040.0
"""Of a chart in a picture, in its units."""
_MARGIN = 20.0
_SCALE = 1.2  # px a unit: text of 11 units is 9.9 points


def svg(song: Song, options: Options) -> bytes:
    """Draw a song's chart on one page.

    Parameters
    ----------
    song : Song
    options : Options

    Returns
    -------
    bytes
        UTF-8.
    """
    return drawn_chart(lay_out(song, 16, WIDTH), about(song, options))


def drawn_chart(chart: Chart, said: About) -> bytes:
    """Draw a chart of one page.

    Parameters
    ----------
    chart : Chart
    said : About
        What the picture says about itself.

    Returns
    -------
    bytes
        UTF-8.
    """
    sides = (-_MARGIN, -_MARGIN, chart.width + 2 * _MARGIN, chart.height + 2 * _MARGIN)
    x, y, wide, high = box = [f"{side:g}" for side in sides]
    size = {"width": f"{sides[2] * _SCALE:g}", "height": f"{sides[3] * _SCALE:g}"}
    root = element("svg", xmlns="http://www.w3.org/2000/svg", **size, viewBox=" ".join(box), role="img")
    root.set("font-family", FACES)
    root.append(element("title", one_line(said.title)))
    root.append(element("desc", "; ".join(map(one_line, said.lines()))))
    root.append(element("rect", x=x, y=y, width=wide, height=high, fill="#fff"))
    draw(chart, 1, _SvgPen(root))
    return xml_bytes(root)


class _SvgPen:
    """Puts elements into one."""

    def __init__(self, root: Element) -> None:
        self._root = root

    def path(
        self,
        strokes: Sequence[Sequence[Point]],
        width: float,
        *,
        dash: tuple[float, float] | None = None,
        closed: bool = False,
        filled: bool = False,
    ) -> None:
        data = "".join("M" + "L".join(f"{x:.6g} {y:.6g}" for x, y in points) + "Z" * closed for points in strokes)
        look = {"fill": "#000" if filled else "none", "stroke": "#000", "stroke_width": f"{width:g}"}
        dashes = f"{dash[0]:g} {dash[1]:g}" if dash else None
        self._root.append(element("path", d=data, **look, stroke_dasharray=dashes))

    def text(self, words: Words, x: float, y: float) -> None:
        at = {"x": f"{x + words.x:.6g}", "y": f"{y + words.y:.6g}", "font_size": f"{words.size:g}"}
        # `direction` stays left-to-right, so that a right-to-left name does not turn its anchor around.
        anchor = None if words.anchor == "start" else words.anchor
        bold, italic = "bold" if words.bold else None, "italic" if words.italic else None
        text = one_line(words.text)
        self._root.append(element("text", text, **at, text_anchor=anchor, font_weight=bold, font_style=italic))
