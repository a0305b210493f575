"""One typeface for everything that is printed, and any text made printable in it.

DejaVu Sans Condensed (fonts/LICENSE) has Latin, Greek, Cyrillic, Hebrew, Arabic and many signs. What it has not, as
Chinese or most emoji, is taken from further fonts where there are any; else it shows as a box, so that the reader
sees that something was there. Right-to-left text is put into the order in which it is drawn, Arabic letters in the
forms in which they join.
"""

from __future__ import annotations

import io
import unicodedata
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache, lru_cache
from itertools import groupby
from pathlib import Path
from typing import TYPE_CHECKING, Any

from cuesuggest.export.common.escape import one_line
from cuesuggest.export.paper.further_fonts import cut_font, shipped_fonts

if TYPE_CHECKING:
    from reportlab.pdfgen.canvas import Canvas

__all__ = ["BOLD", "REGULAR", "Typeface", "drawn", "font_file", "ready", "typeface_for"]

REGULAR, BOLD = "cuesuggest-regular", "cuesuggest-bold"
_FILES = {REGULAR: "DejaVuSansCondensed.ttf", BOLD: "DejaVuSansCondensed-Bold.ttf"}
_BOX = "\u25a1"
_BRACKETS = (("(", ")"), ("[", "]"), ("{", "}"), ("<", ">"), ("«", "»"))
# Drawn by nobody: joiners and marks that choose a variant of the character before, as the tone of a skin.
_UNSEEN = {"\u200c", "\u200d", "\ufe0e", "\ufe0f", "\u00ad", *map(chr, range(0x1F3FB, 0x1F400))}
# They stay on the line of what they close (classes CL, EX and NS of Unicode Standard Annex 14, the usual ones).
_NEVER_FIRST = set("、。，．：；！？）］｝」』】〉》〕・ー々％")


def font_file(name: str) -> Path:
    """Return the file of `REGULAR` or `BOLD`."""
    return Path(__file__).parent / "fonts" / _FILES[name]


@cache
def ready() -> None:
    """Make the typeface known to reportlab; once is enough."""
    from reportlab.pdfbase import pdfmetrics
    from reportlab.pdfbase.ttfonts import TTFont

    for name in _FILES:
        pdfmetrics.registerFont(TTFont(name, str(font_file(name))))


@cache
def _glyphs(name: str) -> frozenset[int]:
    from reportlab.pdfbase import pdfmetrics

    ready()
    face: Any = pdfmetrics.getFont(name).face
    return frozenset(face.charToGlyph)


@lru_cache(maxsize=256)
def _known(names: tuple[str, ...]) -> frozenset[int]:
    return frozenset().union(*map(_glyphs, names))


def drawn(char: str) -> bool:
    """Whether our own typeface has a character, in both of its weights."""
    return all(ord(char) in _glyphs(name) for name in _FILES)


@dataclass(frozen=True, slots=True)
class Typeface:
    """Our typeface in its two weights, and behind it further fonts in one."""

    further: tuple[str, ...] = ()
    """As reportlab knows them; the first that has a character draws it."""

    def to_print(self, text: str, font: str = REGULAR) -> str:
        """Put a text on one line in the characters of the typeface, in the order in which they are drawn.

        Parameters
        ----------
        text : str
            Any.
        font : str
            `REGULAR` or `BOLD`.

        Returns
        -------
        str
            What `draw` takes.
        """
        return _to_print(text, (font, *self.further))

    def width(self, text: str, size: float, font: str = REGULAR) -> float:
        """Width of a text that `to_print` made, in the unit of the size."""
        from reportlab.pdfbase.pdfmetrics import stringWidth

        return float(sum(stringWidth(run, name, size) for name, run in self._runs(text, font)))

    def draw(
        self, canvas: Canvas, text: str, at: tuple[float, float], size: float, font: str = REGULAR, slant: float = 0.0
    ) -> None:
        """Write a text that `to_print` made on a page."""
        line = canvas.beginText()
        line.setTextTransform(1, 0, slant, 1, *at)
        for name, run in self._runs(text, font):
            line.setFont(name, size)
            line.textOut(run)
        canvas.drawText(line)

    def _runs(self, text: str, font: str) -> Iterator[tuple[str, str]]:
        """Take a text apart by the font that draws it."""
        if not self.further:
            yield font, text
            return
        names = (font, *self.further)
        for name, run in groupby(text, lambda char: next((each for each in names if ord(char) in _glyphs(each)), font)):
            yield name, "".join(run)

    def whole_lines(self, text: str, size: float, room: float, font: str = REGULAR) -> list[str]:
        """Break a text at spaces into lines that fit; only a word wider than the room is broken inside.

        Parameters
        ----------
        text : str
            Any.
        size, room : float
            In points.
        font : str

        Returns
        -------
        list of str
            As `to_print` makes them; empty for an empty text.
        """
        lines: list[str] = []
        line = ""
        for word in one_line(text).split(" "):
            for piece in self._parts_that_fit(word, size, room, font):
                longer = f"{line} {piece}" if line else piece
                if line and self._width_of(longer, size, font) > room:
                    lines.append(line)
                    line = piece
                else:
                    line = longer
        return [self.to_print(each, font) for each in (*lines, line) if each]

    def _parts_that_fit(self, word: str, size: float, room: float, font: str) -> list[str]:
        pieces: list[str] = []
        while len(word) > 1 and self._width_of(word, size, font) > room:
            take = next((k for k in range(len(word) - 1, 1, -1) if self._width_of(word[:k], size, font) <= room), 1)
            # A mark stays with its letter, what closes with what it closes.
            while 1 < take < len(word) and (unicodedata.combining(word[take]) or word[take] in _NEVER_FIRST):
                take -= 1
            pieces.append(word[:take])
            word = word[take:]
        return [*pieces, word]

    def _width_of(self, text: str, size: float, font: str) -> float:
        return self.width(self.to_print(text, font), size, font)


def typeface_for(texts: str, fonts: tuple[Path, ...] = ()) -> Typeface:
    """Return the typeface in which texts are printed.

    Parameters
    ----------
    texts : str
        All that will be printed, in any order.
    fonts : tuple of Path
        Files that are asked for what ours lacks, before those that the extra `fonts` installs.

    Returns
    -------
    Typeface

    Raises
    ------
    CuesuggestError
        If one of the files is none, or may not be put into documents.
    """
    # A letter with a mark is one character or two.
    signs = set(unicodedata.normalize("NFC", texts)) - _UNSEEN
    return _typeface(frozenset(sign for sign in signs if sign.isprintable() and not drawn(sign)), fonts)


@lru_cache(maxsize=64)
def _typeface(lacking: frozenset[str], fonts: tuple[Path, ...]) -> Typeface:
    from reportlab.pdfbase import pdfmetrics
    from reportlab.pdfbase.ttfonts import TTFont

    names: list[str] = []
    for file, number in (*((font, 0) for font in fonts), *(shipped_fonts(lacking) if lacking else ())):
        name, data, has = cut_font(file, number, lacking)
        if has:
            pdfmetrics.registerFont(TTFont(name, io.BytesIO(data)))
            names.append(name)
            lacking -= has
    return Typeface(tuple(names))


@cache
def _joiner() -> Any:
    """Return what gives each Arabic letter the form that its neighbours ask for, and takes nothing away."""
    from arabic_reshaper import ArabicReshaper

    return ArabicReshaper({"delete_harakat": False, "ARABIC LIGATURE ALLAH": False})


# A page asks for the same lines at one size after another until they fit.
@lru_cache(maxsize=1 << 14)
def _to_print(text: str, fonts: tuple[str, ...]) -> str:
    text = unicodedata.normalize("NFC", one_line(text))
    if any(unicodedata.bidirectional(char) in ("R", "AL", "AN") for char in text):
        from bidi import get_display

        text = _mirrored(str(get_display(_joiner().reshape(text))))
    known = _known(fonts)
    shown: list[str] = []
    for char in text:
        if char in _UNSEEN:
            continue
        if ord(char) in known:
            shown.append(char)
        elif not unicodedata.combining(char) and shown[-1:] != [_BOX]:
            # Side by side, as a family of emoji, they leave one box.
            shown.append(_BOX)
    return "".join(shown)


def _mirrored(shown: str) -> str:
    """Turn the brackets that stand in right-to-left words; in drawing order they close before they open.

    The library's fast algorithm turns none, its other one knows no pairs of brackets.
    """
    for opening, closing in _BRACKETS:
        turned: list[str] = []
        open_, turning = 0, 0
        for char in shown:
            if char == closing and not open_:
                turning += 1
                turned.append(opening)
            elif char == opening and turning:
                turning -= 1
                turned.append(closing)
            else:
                open_ += (char == opening) - (char == closing)
                turned.append(char)
        shown = "".join(turned)
    return shown
