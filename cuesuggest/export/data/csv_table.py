"""The cue list as a table: comma-separated values as RFC 4180 (October 2005) has them.

Records end with CR LF, the first is the header. UTF-8 without a byte-order mark: some spreadsheets want one,
but it hurts other readers. A text that a spreadsheet would run as a formula gets a single quote in front
(OWASP, CSV injection; CWE-1236); numbers and what we write ourselves stay bare, so -0.25 is a number.

Where the comma is the decimal sign, a spreadsheet takes 13.116 for thirteen thousand: what may have a fraction has
four decimals, which no grouping of thousands has. For such spreadsheets there is the same table with semicolons
between, commas in its numbers, and the mark.
"""

from __future__ import annotations

import codecs
import csv
import io
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

from cuesuggest.analysis.types import Section
from cuesuggest.export.common.escape import csv_cell, decimal_text
from cuesuggest.export.common.options import Options
from cuesuggest.score.grid import Grid
from cuesuggest.score.light import in_order_of_hand
from cuesuggest.score.records import Cue, Look, Place, clock
from cuesuggest.song.hand_words import HandWords, beside

if TYPE_CHECKING:
    from cuesuggest.song import Song

__all__ = ["COLUMNS", "Cell", "Row", "rows", "write", "write_with_semicolons"]

Cell = str | int | float | bool | None


@dataclass(frozen=True, slots=True)
class Row:
    """A cue with what its cells need to know of the song and of the cue before."""

    cue: Cue
    hand: str
    """What the hand does, in a sentence."""
    place: Place
    """Where the hand begins."""
    lands: Place | None
    """Where its fade has arrived, if it is meant to land there."""
    seconds: float
    """Of the show, when the hand begins."""
    timecode: str
    """When the hand begins."""
    fps: str
    """Which frames it counts."""
    look: Look | None
    section: Section | None
    bars_since: float | None
    seconds_since: float | None


# In the order an operator reads: which cue, where, when, what to do, why, how sure.
COLUMNS: dict[str, Callable[[Row], Cell]] = {
    "number": lambda row: row.cue.number,
    "section": lambda row: row.place.section,
    "pass": lambda row: row.place.pass_,
    "section name": lambda row: row.section.name if row.section else None,
    "first words": lambda row: row.section.first_words if row.section else None,
    "bar in section": lambda row: row.place.bar_in_section,
    "of bars": lambda row: row.place.bars_in_section,
    "bar": lambda row: row.place.bar,
    "beat": lambda row: row.place.beat,
    "lands at": lambda row: str(row.lands) if row.lands else None,
    "time": lambda row: clock(row.seconds),
    "seconds": lambda row: row.seconds,
    "timecode": lambda row: row.timecode,
    "fps": lambda row: row.fps,
    "bars since the last cue": lambda row: row.bars_since,
    "seconds since the last cue": lambda row: row.seconds_since,
    "standby": lambda row: row.cue.standby,
    "kind": lambda row: row.cue.kind,
    "trigger": lambda row: row.cue.trigger,
    "anchor": lambda row: row.cue.anchor,
    "look": lambda row: row.look.name if row.look else None,
    "category": lambda row: row.look.category if row.look else None,
    "side": lambda row: row.cue.side,
    "level %": lambda row: row.cue.level,
    "up (beats)": lambda row: row.cue.up_beats,
    "up (s)": lambda row: row.cue.up_seconds,
    "down (beats)": lambda row: row.cue.down_beats,
    "down (s)": lambda row: row.cue.down_seconds,
    "every (bars)": lambda row: row.cue.series.every_bars if row.cue.series else None,
    "first bar": lambda row: row.cue.series.first_bar if row.cue.series else None,
    "last bar": lambda row: row.cue.series.last_bar if row.cue.series else None,
    "not in bars": lambda row: ", ".join(map(str, row.cue.series.skip)) if row.cue.series else None,
    "who": lambda row: row.cue.who,
    "hand": lambda row: row.hand,
    "why": lambda row: " ".join(row.cue.reasons),
    "cautions": lambda row: "; ".join(row.cue.cautions),
    "operator confirms": lambda row: row.cue.operator_confirms,
    "confidence": lambda row: row.cue.confidence,
    "status": lambda row: row.cue.status,
    "locked": lambda row: row.cue.lock,
    "note": lambda row: beside(row.cue),
    "id": lambda row: row.cue.id,
}
_OURS = {"time", "timecode", "fps"}
"""Columns whose texts nobody types."""


def write(song: Song, options: Options) -> bytes:
    """Write a song's cues, the rejected ones left out, in the order in which the hand begins them.

    Parameters
    ----------
    song : Song
        Without cues gives the header alone.
    options : Options
        The times are those of the show.

    Returns
    -------
    bytes
        UTF-8. Seconds and beats have four decimals; what a cue has not is an empty field; yes and no
        are words.
    """
    return _table(song, options, ",", ".")


def write_with_semicolons(song: Song, options: Options) -> bytes:
    """Write the same table for spreadsheets where the comma is the decimal sign.

    Parameters
    ----------
    song : Song
    options : Options

    Returns
    -------
    bytes
        UTF-8 with the byte-order mark by which a spreadsheet knows it.
    """
    return codecs.BOM_UTF8 + _table(song, options, ";", ",")


def _table(song: Song, options: Options, between: str, point: str) -> bytes:
    text = io.StringIO(newline="")
    table = csv.writer(text, delimiter=between, lineterminator="\r\n", quoting=csv.QUOTE_MINIMAL)
    table.writerow(COLUMNS)
    for row in rows(song, options):
        table.writerow([_field(name, column(row), point) for name, column in COLUMNS.items()])
    # A broken half of a character has no spelling in UTF-8 and becomes a question mark.
    return text.getvalue().encode("utf-8", "replace")


def rows(song: Song, options: Options) -> Iterator[Row]:
    """Go through a song's cues, the rejected ones left out, in the order in which the hand begins them.

    Parameters
    ----------
    song : Song
    options : Options

    Yields
    ------
    Row
        What the `COLUMNS` are made of.
    """
    looks = {look.id: look for look in song.looks}
    grid, words = Grid(song.analysis), HandWords(song)
    standing = [cue for cue in song.cues if cue.status != "rejected"]
    before: Place | None = None
    for place, cue in in_order_of_hand(standing, grid):
        yield Row(
            cue,
            words.of(cue),
            place,
            cue.place if place != cue.place else None,
            options.timing.show(place.seconds),
            options.timing.label(place.seconds),
            options.timing.rate.name,
            looks[cue.look] if cue.look is not None else None,
            grid.section_of(place.bar),
            grid.bars_between(before, place) if before else None,
            place.seconds - before.seconds if before else None,
        )
        before = place


def _field(column: str, cell: Cell, point: str) -> str:
    if cell is None:
        return ""
    if isinstance(cell, bool):
        return "yes" if cell else "no"
    if isinstance(cell, str):
        return cell.replace(".", point) if column in _OURS else csv_cell(cell)
    if isinstance(cell, int) or (column == "number" and cell.is_integer()):
        return str(int(cell))
    return decimal_text(cell).replace(".", point)
