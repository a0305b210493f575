"""The chart as a picture: Scalable Vector Graphics 1.1, which every browser and drawing program reads."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from cuesuggest.export.chart import Words, lay_out
from cuesuggest.export.common.escape import one_line, xml_text
from cuesuggest.export.common.options import Options, about
from cuesuggest.export.paper.chart_drawing import Point, draw

if TYPE_CHECKING:
    from cuesuggest.song import Song

__all__ = ["svg"]

_WIDTH = 1200.0
_MARGIN = 24.0
_FACES = "'DejaVu Sans Condensed','DejaVu Sans','Liberation Sans',Arial,Helvetica,sans-serif"


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
    chart = lay_out(song, 16, _WIDTH)
    pen = _SvgPen()
    draw(chart, 1, pen)
    told = "; ".join(map(one_line, about(song, options).lines()))
    wide, high = chart.width + 2 * _MARGIN, chart.height + 2 * _MARGIN
    return (
        '<?xml version="1.0" encoding="UTF-8"?>\n'
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{wide:g}" height="{high:g}" '
        f'viewBox="{-_MARGIN:g} {-_MARGIN:g} {wide:g} {high:g}" role="img" font-family="{_FACES}">\n'
        f"<title>{xml_text(one_line(song.title))}</title>\n<desc>{xml_text(told)}</desc>\n"
        f'<rect x="{-_MARGIN:g}" y="{-_MARGIN:g}" width="{wide:g}" height="{high:g}" fill="#fff"/>\n'
        + "\n".join(pen.parts)
        + "\n</svg>\n"
    ).encode()


class _SvgPen:
    """Collects elements."""

    def __init__(self) -> None:
        self.parts: list[str] = []

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
        dashes = f' stroke-dasharray="{dash[0]:g} {dash[1]:g}"' if dash else ""
        fill = "#000" if filled else "none"
        self.parts.append(f'<path d="{data}" fill="{fill}" stroke="#000" stroke-width="{width:g}"{dashes}/>')

    def text(self, words: Words, x: float, y: float) -> None:
        style = ' font-weight="bold"' * words.bold + ' font-style="italic"' * words.italic
        anchor = "" if words.anchor == "start" else f' text-anchor="{words.anchor}"'
        # `direction` stays left-to-right, so that a right-to-left name does not turn its anchor around.
        self.parts.append(
            f'<text x="{x + words.x:.6g}" y="{y + words.y:.6g}" font-size="{words.size:g}"{anchor}{style}>'
            f"{xml_text(one_line(words.text))}</text>"
        )
