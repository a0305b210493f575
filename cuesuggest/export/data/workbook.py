"""The cue list as a workbook: Office Open XML (ECMA-376) by XlsxWriter.

Every text is written as a string, never as a formula, a link or a number. Sheet, columns and order are those of the
comma-separated table, with the texts as they are in the document: a string cell needs no guard.
"""

from __future__ import annotations

import io
from datetime import datetime
from typing import TYPE_CHECKING, Any

from cuesuggest.export.common.escape import one_line
from cuesuggest.export.common.options import Options, about
from cuesuggest.export.data.csv_table import COLUMNS, rows

if TYPE_CHECKING:
    from cuesuggest.song import Song

__all__ = ["write"]

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
    import xlsxwriter

    data = io.BytesIO()
    book: Any = xlsxwriter.Workbook(
        data,
        {"in_memory": True, "strings_to_formulas": False, "strings_to_urls": False, "strings_to_numbers": False},
    )
    book.set_properties({"title": one_line(song.title)[:200], "created": _ALWAYS})
    bold = book.add_format({"bold": True, "text_wrap": True, "valign": "top", "bottom": 1})
    plain = book.add_format({"text_wrap": True, "valign": "top"})
    sheet: Any = book.add_worksheet("cues")
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
    told: Any = book.add_worksheet("about")
    told.set_column(0, 0, 100)
    for index, line in enumerate(about(song, options).lines()):
        told.write_string(index, 0, _text(line), plain)
    book.close()
    return data.getvalue()


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
