"""One typeface for everything that is printed, and any text made printable in it.

DejaVu Sans Condensed (fonts/LICENSE) has Latin, Greek, Cyrillic, Hebrew, Arabic and many signs. What it has not, as
Chinese or most emoji, shows as a box, so that the reader sees that something was there. Right-to-left text is put
into the order in which it is drawn, Arabic letters in the forms in which they join.
"""

from __future__ import annotations

import unicodedata
from functools import cache, lru_cache
from pathlib import Path
from typing import Any

from cuesuggest.export.common.escape import one_line

__all__ = ["BOLD", "REGULAR", "drawn", "font_file", "printed_width", "ready", "to_print", "whole_lines"]

REGULAR, BOLD = "cuesuggest-regular", "cuesuggest-bold"
_FILES = {REGULAR: "DejaVuSansCondensed.ttf", BOLD: "DejaVuSansCondensed-Bold.ttf"}
_BOX = "\u25a1"
_BRACKETS = (("(", ")"), ("[", "]"), ("{", "}"), ("<", ">"), ("«", "»"))
# Drawn by nobody: joiners and marks that choose a variant of the character before.
_UNSEEN = {"\u200c", "\u200d", "\ufe0e", "\ufe0f", "\u00ad"}


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


def drawn(char: str) -> bool:
    """Whether the typeface has a character, in both of its weights."""
    return all(ord(char) in _glyphs(name) for name in _FILES)


@cache
def _joiner() -> Any:
    """Return what gives each Arabic letter the form that its neighbours ask for, and takes nothing away."""
    from arabic_reshaper import ArabicReshaper

    return ArabicReshaper({"delete_harakat": False, "ARABIC LIGATURE ALLAH": False})


# A page asks for the same lines at one size after another until they fit.
@lru_cache(maxsize=1 << 14)
def to_print(text: str, font: str = REGULAR) -> str:
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
        What to hand to reportlab.
    """
    text = unicodedata.normalize("NFC", one_line(text))
    if any(unicodedata.bidirectional(char) in ("R", "AL", "AN") for char in text):
        from bidi import get_display

        text = _mirrored(str(get_display(_joiner().reshape(text))))
    known = _glyphs(font)
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


def printed_width(text: str, size: float, font: str = REGULAR) -> float:
    """Width of a text that `to_print` made, in the unit of the size."""
    from reportlab.pdfbase.pdfmetrics import stringWidth

    ready()
    return float(stringWidth(text, font, size))


def whole_lines(text: str, size: float, room: float, font: str = REGULAR) -> list[str]:
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
        for piece in _parts_that_fit(word, size, room, font):
            longer = f"{line} {piece}" if line else piece
            if line and _width_of(longer, size, font) > room:
                lines.append(line)
                line = piece
            else:
                line = longer
    return [to_print(each, font) for each in (*lines, line) if each]


def _parts_that_fit(word: str, size: float, room: float, font: str) -> list[str]:
    pieces: list[str] = []
    while len(word) > 1 and _width_of(word, size, font) > room:
        take = next((k for k in range(len(word) - 1, 1, -1) if _width_of(word[:k], size, font) <= room), 1)
        # A mark stays with its letter.
        while take < len(word) and take > 1 and unicodedata.combining(word[take]):
            take -= 1
        pieces.append(word[:take])
        word = word[take:]
    return [*pieces, word]


def _width_of(text: str, size: float, font: str) -> float:
    return printed_width(to_print(text, font), size, font)


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
