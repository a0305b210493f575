"""Sheets of paper: sizes, margins, and the line at the foot that says which song, which sound, which version."""

from __future__ import annotations

import io
import re
from typing import Any

from cuesuggest.export.common.escape import one_line
from cuesuggest.export.common.options import About, Options
from cuesuggest.export.paper.typeface import REGULAR, Typeface, ready

__all__ = ["PAPERS", "Paper"]

_MM = 72 / 25.4
# Width and height in points, upright. ISO 216; ANSI/ASME Y14.1 size A.
PAPERS: dict[str, tuple[float, float]] = {"a4": (210 * _MM, 297 * _MM), "letter": (612.0, 792.0)}
_MARGIN = 12 * _MM  # printers of the office leave 4 to 6 mm white; a hole punch needs 10
_FOOT = 6.5
_FOOT_STEP = 8.0


class _CodesInPairs:
    """Stands among the fonts of a PDF and puts right what they say of characters beyond U+FFFF, as emoji.

    What a code means is told in UTF-16, so in two halves (ISO 32000-1, 9.10.3); reportlab tells one number, and then
    nothing can be searched for or copied.
    """

    def addObjects(self, doc: Any) -> None:  # noqa: N802, as reportlab calls it
        for name, each in doc.idToObject.items():
            if name.startswith("toUnicodeCMap:"):
                each.content = re.sub("<([0-9A-F]{5,6})>", self._halves, each.content)

    def _halves(self, code: re.Match[str]) -> str:
        return f"<{chr(int(code[1], 16)).encode('utf-16-be').hex().upper()}>"


class Paper:
    """A PDF in the making: margins, foot, page numbers."""

    def __init__(self, said: About, face: Typeface, options: Options, *, landscape: bool) -> None:
        from reportlab.pdfgen.canvas import Canvas

        ready()
        self.face = face
        wide, high = PAPERS[options.paper]
        self._full = (high, wide) if landscape else (wide, high)
        self._bytes = io.BytesIO()
        # Invariant: no random identifier, no time of day, so that the same song gives the same file.
        self.canvas = Canvas(self._bytes, pagesize=self._full, invariant=1, initialFontName=REGULAR)
        # What the file says of itself needs no typeface.
        self.canvas.setTitle(one_line(said.title) or "song")
        self.canvas.setAuthor("")
        self.canvas.setCreator("cuesuggest")
        self.left = _MARGIN
        self.top = self._full[1] - _MARGIN
        self.width = self._full[0] - 2 * _MARGIN
        self.canvas.setSubject(one_line("; ".join(self.say(said))))

    def say(self, said: About) -> tuple[str, ...]:
        """Have the foot of this page, and of those to come, speak of a song; returns what it says."""
        title, *rest = said.lines()
        foot = (f"{title}; " + "; ".join(rest[:-1]), rest[-1])
        room = self.width - 60
        self._foot = [line for each in foot for line in self.face.whole_lines(each, _FOOT, room)]
        self.bottom = _MARGIN + _FOOT_STEP * len(self._foot) + 4
        self.height = self.top - self.bottom
        return foot

    def text(self, text: str, x: float, y: float, size: float, font: str = REGULAR) -> float:
        """Write a text that is ready to print; returns its width."""
        self.face.draw(self.canvas, text, (x, y), size, font)
        return self.face.width(text, size, font)

    def end_page(self, page: int, pages: int) -> None:
        """Write the foot and go on to a new page."""
        y = _MARGIN + _FOOT_STEP * (len(self._foot) - 1)
        self.canvas.setDash()
        for line in self._foot:
            self.text(line, self.left, y, _FOOT)
            y -= _FOOT_STEP
        mark = f"page {page}/{pages}"
        self.text(mark, self.left + self.width - self.face.width(mark, 8), _MARGIN, 8)
        self.canvas.showPage()

    def finish(self) -> bytes:
        """Return the file."""
        # Asked last of all fonts, when each has written what its codes mean.
        self.canvas._doc.delayedFonts.append(_CodesInPairs())
        self.canvas.save()
        return self._bytes.getvalue()
