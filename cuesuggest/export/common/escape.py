"""Text on its way out: one function per kind of file, so that no name, note or title breaks one.

Every function takes any text that a document can hold, with line breaks, quotes, emoji or right-to-left letters in
it, and gives something that its target reads as text and as nothing else.
"""

from __future__ import annotations

import json
import re

__all__ = [
    "ascii_line",
    "csv_cell",
    "decimal_text",
    "number_text",
    "one_line",
    "osc_part",
    "shortened",
    "show_line",
    "toml_string",
    "vtt_text",
]

# What may start a formula, and its full-width twins. A text can also begin a cell after a semicolon, tab or line
# break, where a spreadsheet splits there instead of at commas (OWASP, CSV injection; CWE-1236).
_FORMULA = re.compile("(^|[;\t\r\n])(?=[=+\\-@\t\r\0\uff1d\uff0b\uff0d\uff20])")
# Marks that turn the direction of what follows them, and would turn our own words as well.
_TURNING = re.compile("[\u200e\u200f\u061c\u202a-\u202e\u2066-\u2069]")
_CONTROL = re.compile("[\0-\x1f\x7f-\x9f\u2028\u2029]")
# Broken surrogates, and what XML 1.0 (5th edition, production 2) leaves out beside them.
_NO_CHARACTER = re.compile("[\ud800-\udfff\ufffe\uffff]")


def one_line(text: str) -> str:
    """Put a text on one line: breaks and control characters become a space, what is no character a question mark."""
    return " ".join(_CONTROL.sub(" ", _NO_CHARACTER.sub("?", _TURNING.sub("", text))).split())


def shortened(text: str, most: int) -> str:
    """Cut a text to at most `most` characters, at a space if there is one in its last third."""
    if len(text) <= most:
        return text
    if most <= 3:
        return text[:most]
    cut = text[: most - 3]
    space = cut.rfind(" ", 2 * most // 3)
    return (cut[:space] if space > 0 else cut).rstrip() + "..."


def ascii_line(text: str, most: int | None = None) -> str:
    """Fold a text to one line of printable ASCII (20 to 7E), for MIDI, sound files, OSC and old desks.

    Letters become those they sound or look like ("Łódź" is "Lodz", "Привет" is "Privet"), a picture its name
    (":flashlight:"); what has neither goes.

    Parameters
    ----------
    text : str
    most : int, optional
        Characters; longer texts end in three dots.
    """
    # The registry of formats imports this module, and costs nothing.
    from anyascii import anyascii

    folded = " ".join(anyascii(one_line(text)).split())
    return folded if most is None else shortened(folded, most)


def show_line(text: str, most: int) -> str:
    """Fold a text for the 1992 text interchange: ASCII without the mark that starts a comment."""
    return shortened(ascii_line(text).replace("!", "."), most)


def decimal_text(number: float) -> str:
    """Write a number with four decimals, no exponent, and no minus before a nought."""
    return f"{round(number, 4) + 0.0:.4f}"


def number_text(number: float) -> str:
    """Write a cue number or a time: up to four decimals, no exponent, no trailing zeros."""
    return decimal_text(number).rstrip("0").rstrip(".")


def csv_cell(text: str) -> str:
    """Keep a spreadsheet from running a text as a formula: a single quote goes in front of one."""
    return _FORMULA.sub(r"\1'", text)


def vtt_text(text: str) -> str:
    """Write a text as a line of a caption (WebVTT): no tags, no timing arrow, no blank line."""
    return one_line(text).replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")


def osc_part(text: str) -> str:
    """Make a text a part of an OSC address: small letters, digits, hyphens; "x" if nothing is left.

    Texts in other scripts may sound alike, or lose all that they say; four digits tell them apart.
    """
    part = re.sub("[^a-z0-9]+", "-", ascii_line(text).lower()).strip("-") or "x"
    if text.isascii():
        return part
    # The registry of formats imports this module, and costs nothing.
    from hashlib import sha256

    return f"{part}-{sha256(text.encode('utf-8', 'surrogatepass')).hexdigest()[:4]}"


def toml_string(text: str) -> str:
    """Write a text as a basic string of TOML 1.0, with its quotes; JSON's strings are such but for one character."""
    return json.dumps(_NO_CHARACTER.sub("?", text), ensure_ascii=False).replace("\x7f", "\\u007f")
