"""The chart on paper, and as a picture made of points from that paper.

PDF by reportlab (ISO 32000), PNG (ISO/IEC 15948) by pdfium from the PDF, so that both show the same.
"""

from __future__ import annotations

import io
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING

from cuesuggest.export.chart import TEXT, Chart, Words, lay_out
from cuesuggest.export.common.options import About, Options, about
from cuesuggest.export.paper.chart_drawing import Point, draw
from cuesuggest.export.paper.sheets import Paper
from cuesuggest.export.paper.typeface import BOLD, REGULAR, Typeface, typeface_for

if TYPE_CHECKING:
    from reportlab.pdfgen.canvas import Canvas

    from cuesuggest.song import Song

__all__ = ["pdf", "pictured", "png", "printed"]

_DPI = 150
# Points, the largest print first. Under the last a page in the half dark is hard to read: a longer song takes more
# pages instead. The largest print wins that takes the fewest pages and leaves room for the key.
_PRINT = (11.0, 10.25, 9.5)


def pdf(song: Song, options: Options) -> bytes:
    """Draw a song's chart on pages in landscape.

    Parameters
    ----------
    song : Song
    options : Options

    Returns
    -------
    bytes
    """
    texts = str(song)
    return printed(about(song, options), texts, options, lambda width, height: lay_out(song, 16, width, height))


def printed(
    said: About, texts: str, options: Options, laid: Callable[[float, float], Chart], *, landscape: bool = True
) -> bytes:
    """Draw a chart on pages.

    Parameters
    ----------
    said : About
        What the paper says about itself.
    texts : str
        All that may stand on it, in any order.
    options : Options
    laid : callable
        Given the width and height of a page in the chart's units, lays the chart out.
    landscape : bool

    Returns
    -------
    bytes
    """
    paper = Paper(said, typeface_for(texts, options.fonts), options, landscape=landscape)
    scales = [points / TEXT for points in _PRINT]
    charts = [(scale, laid(paper.width / scale, paper.height / scale)) for scale in scales]
    scale, chart = min(charts, key=lambda each: (each[1].pages, not each[1].key))
    for page in range(1, chart.pages + 1):
        draw(chart, page, _PdfPen(paper.canvas, paper.face, paper.left, paper.top, scale))
        paper.end_page(page, chart.pages)
    return paper.finish()


def png(song: Song, options: Options) -> bytes:
    """Draw the chart as one picture, its pages below each other.

    Returns
    -------
    bytes
        Grey, 150 dots per inch.
    """
    return pictured(pdf(song, options))


def pictured(paper: bytes) -> bytes:
    """Draw the pages of a PDF below each other as one picture, as `png` does."""
    import pypdfium2
    from PIL import Image

    document = pypdfium2.PdfDocument(paper)
    try:
        pages = [page.render(scale=_DPI / 72, grayscale=True).to_pil() for page in document]
    finally:
        document.close()
    whole = Image.new("L", (max(page.width for page in pages), sum(page.height for page in pages)), 255)
    y = 0
    for page in pages:
        whole.paste(page, (0, y))
        y += page.height
    out = io.BytesIO()
    whole.save(out, "PNG", dpi=(_DPI, _DPI), optimize=True)
    return out.getvalue()


class _PdfPen:
    """Draws on a canvas whose y goes upwards."""

    def __init__(self, canvas: Canvas, face: Typeface, left: float, top: float, scale: float) -> None:
        self._canvas, self._face, self._left, self._top, self._scale = canvas, face, left, top, scale

    def _at(self, x: float, y: float) -> Point:
        return self._left + x * self._scale, self._top - y * self._scale

    def path(
        self,
        strokes: Sequence[Sequence[Point]],
        width: float,
        *,
        dash: tuple[float, float] | None = None,
        closed: bool = False,
        filled: bool = False,
    ) -> None:
        self._canvas.setLineWidth(width * self._scale)
        self._canvas.setDash(*([value * self._scale for value in dash] if dash else []))
        path = self._canvas.beginPath()
        for points in strokes:
            path.moveTo(*self._at(*points[0]))
            for point in points[1:]:
                path.lineTo(*self._at(*point))
            if closed:
                path.close()
        self._canvas.drawPath(path, stroke=1, fill=int(filled))

    def text(self, words: Words, x: float, y: float) -> None:
        font = BOLD if words.bold else REGULAR
        text = self._face.to_print(words.text, font)
        size = words.size * self._scale
        left, base = self._at(x + words.x, y + words.y)
        left -= {"start": 0.0, "middle": 0.5, "end": 1.0}[words.anchor] * self._face.width(text, size, font)
        # Slanted by us: the typeface comes without its italic, to keep the package small.
        self._face.draw(self._canvas, text, (left, base), size, font, 0.2 if words.italic else 0.0)
