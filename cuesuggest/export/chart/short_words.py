"""How wide a text will be, and texts cut to the room there is."""

from __future__ import annotations

import unicodedata

__all__ = ["fitted", "plain", "text_width"]

# Widths of common characters in units of the text size, measured on DejaVu Sans Condensed, which is as wide as
# the usual faces or wider; what is not here is taken to be as wide as a capital.
_WIDTHS = {
    **dict.fromkeys("iljI'|!.,:; ", 0.30),
    **dict.fromkeys('()[]{}ftr-/\\"', 0.38),
    **dict.fromkeys("abcdeghknopqsuvxyz0123456789?*", 0.57),
    **dict.fromkeys("ABCDEFGHJKLNOPQRSTUVXYZ", 0.68),
    **dict.fromkeys("mwMW%@…—", 0.90),
}
_BOLD = 1.12


def text_width(text: str, size: float, *, bold: bool = False) -> float:
    """Estimate how wide a text is.

    Parameters
    ----------
    text : str
    size : float
        In any unit.
    bold : bool

    Returns
    -------
    float
        In the same unit, rather too wide than too narrow.
    """
    return size * sum(map(_width, text)) * (_BOLD if bold else 1.0)


def _width(char: str) -> float:
    known = _WIDTHS.get(char)
    if known is not None:
        return known
    if unicodedata.combining(char):
        return 0.0
    return 1.05 if unicodedata.east_asian_width(char) in "WF" else 0.70


def plain(text: str) -> str:
    """Write a text on one line: control characters and runs of space become one space."""
    shown = "".join(" " if unicodedata.category(char) in ("Cc", "Zl", "Zp") else char for char in text)
    return " ".join(shown.split())


def fitted(text: str, size: float, room: float, *, bold: bool = False) -> str:
    """Shorten a text to the room there is, at the end of a word where that keeps most of it.

    Parameters
    ----------
    text : str
    size, room : float
        In the same unit.
    bold : bool

    Returns
    -------
    str
        The text itself where it fits; otherwise its beginning and "…".
    """
    text = plain(text)
    if text_width(text, size, bold=bold) <= room:
        return text
    kept = 0
    while kept < len(text) and text_width(text[: kept + 1] + "…", size, bold=bold) <= room:
        kept += 1
    # Combining marks stay with their letter.
    while 0 < kept < len(text) and unicodedata.combining(text[kept]):
        kept -= 1
    cut = text.rfind(" ", 0, kept + 1)
    return text[: cut if cut > kept * 0.6 else kept].rstrip(" ,;:-") + "…"
