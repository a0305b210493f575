"""The cue list as a workbook: Office Open XML (ECMA-376) by XlsxWriter.

Every text is written as a string, never as a formula, a link or a number. Sheet, columns and order are those of the
comma-separated table, with the texts as they are in the document: a string cell needs no guard.
"""

from __future__ import annotations

import io
from collections.abc import Sequence
from datetime import datetime
from typing import TYPE_CHECKING, Any

from cuesuggest.export.common.escape import one_line
from cuesuggest.export.common.options import Options, about
from cuesuggest.export.data.csv_table import COLUMNS, rows

if TYPE_CHECKING:
    from cuesuggest.song import Song

__all__ = ["several", "write"]

# ECMA-376 part 1, 18.18.93: text of a cell has up to 32767 characters.
_LONGEST = 32767
_WIDE = {"hand": 50, "why": 60, "cautions": 40, "note": 40, "first words": 24, "section name": 18, "look": 22, "id": 24}
_ALWAYS = datetime(2000, 1, 1)  # the date of making is in the sheet; the file's own would change its bytes


def write(song: Song, options: Options) -> bytes:
    """Write a song's cues, the rejected ones left out.

    Parameters
    ----------
    song : Song
    options : Options

    Returns
    -------
    bytes
        A workbook with the sheets "cues" and "about".
    """
    return _book(song.title, [("cues", song, options)])


def several(title: str, songs: Sequence[tuple[Song, Options]]) -> bytes:
    """Write the cues of several songs, the rejected ones left out.

    Parameters
    ----------
    title : str
    songs : sequence of (Song, Options)
        One at least.

    Returns
    -------
    bytes
        A workbook with a sheet for each song, and the sheet "about".
    """
    names: list[str] = []
    for number, (song, _) in enumerate(songs, 1):
        # ECMA-376 part 1, 18.2.19, leaves names to the program; those of common spreadsheets have up to 31 characters,
        # without these, no quote at either end, and no two alike in any case of letters (common practice).
        plain = _text(one_line(song.title)).translate(dict.fromkeys(map(ord, "[]:*?/\\"), " ")).strip(" '")
        taken = {"about", "history", *(name.casefold() for name in names)}
        free = plain and plain[:31].rstrip(" '").casefold() not in taken
        names.append((plain if free else f"{number} {plain}")[:31].rstrip(" '"))
    return _book(title, [(name, *each) for name, each in zip(names, songs, strict=True)])


def _book(title: str, sheets: Sequence[tuple[str, Song, Options]]) -> bytes:
    import xlsxwriter

    data = io.BytesIO()
    book: Any = xlsxwriter.Workbook(
        data,
        {"in_memory": True, "strings_to_formulas": False, "strings_to_urls": False, "strings_to_numbers": False},
    )
    book.set_properties({"title": one_line(title)[:200], "created": _ALWAYS})
    bold = book.add_format({"bold": True, "text_wrap": True, "valign": "top", "bottom": 1})
    plain = book.add_format({"text_wrap": True, "valign": "top"})
    for name, song, options in sheets:
        _fill(book.add_worksheet(name), song, options, bold, plain)
    told: Any = book.add_worksheet("about")
    told.set_column(0, 0, 100)
    lines = [line for _, song, options in sheets for line in about(song, options).lines()]
    for index, line in enumerate(dict.fromkeys(lines)):
        told.write_string(index, 0, _text(line), plain)
    book.close()
    return data.getvalue()


def _fill(sheet: Any, song: Song, options: Options, bold: Any, plain: Any) -> None:
    for column, name in enumerate(COLUMNS):
        sheet.write_string(0, column, name, bold)
        sheet.set_column(column, column, _WIDE.get(name, 10))
    count = 0
    for count, row in enumerate(rows(song, options), 1):
        for column, value in enumerate(COLUMNS.values()):
            _cell(sheet, count, column, value(row), plain)
    sheet.freeze_panes(1, 1)
    sheet.autofilter(0, 0, count, len(COLUMNS) - 1)
    sheet.set_landscape()
    sheet.set_paper({"a4": 9, "letter": 1}[options.paper])  # ECMA-376 part 1, 18.3.1.63
    sheet.repeat_rows(0)


def _cell(sheet: Any, row: int, column: int, value: object, form: Any) -> None:
    if isinstance(value, bool):
        sheet.write_string(row, column, "yes" if value else "no", form)
    elif isinstance(value, int | float):
        sheet.write_number(row, column, round(value, 4), form)
    elif isinstance(value, str) and value:
        sheet.write_string(row, column, _text(value), form)


def _text(text: str) -> str:
    """Keep a text to what XML 1.0 and a cell can hold."""
    kept = "".join(char if char in "\t\n" or ord(char) >= 0x20 else " " for char in text.replace("\r\n", "\n"))
    kept = "".join(
        "\ufffd" if 0xD800 <= ord(char) <= 0xDFFF or ord(char) in (0xFFFE, 0xFFFF) else char for char in kept
    )
    return kept[:_LONGEST]
