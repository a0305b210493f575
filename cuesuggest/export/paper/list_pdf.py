"""The full list on paper, in landscape, its head on every page (PDF by reportlab, ISO 32000)."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

from cuesuggest.export.common.escape import one_line
from cuesuggest.export.common.options import Options, about
from cuesuggest.export.paper.lines import nothing_to_do, volunteers_words
from cuesuggest.export.paper.list_table import TableRow, columns, table
from cuesuggest.export.paper.live import check_line, removed_line, varied_words
from cuesuggest.export.paper.sheets import Paper
from cuesuggest.export.paper.typeface import BOLD, REGULAR, Typeface, typeface_for

if TYPE_CHECKING:
    from cuesuggest.song import Song

__all__ = ["draw_list", "pdf", "remarks"]

# Points. Two lines of a row and 20 rows fit a page in landscape.
_SIZE, _STEP, _PAD, _TITLE = 8.5, 9.8, 2.2, 16.0
_HEAD = 14.0
_NOTHING = 34.0  # the one sentence of a list without a line
_GAP = 6.0


@dataclass(frozen=True, slots=True)
class _Set:
    """A row broken into lines."""

    row: TableRow
    cells: tuple[list[str], ...]
    height: float


def pdf(song: Song, options: Options) -> bytes:
    """Print a song's list.

    Parameters
    ----------
    song : Song
    options : Options

    Returns
    -------
    bytes
        As many pages as it takes.
    """
    paper = Paper(about(song, options), typeface_for(str(song), options.fonts), options, landscape=True)
    draw_list(paper, song, options)
    return paper.finish()


def draw_list(paper: Paper, song: Song, options: Options) -> None:
    """Draw a song's list on the next sheets of a paper.

    Parameters
    ----------
    paper : Paper
        In landscape.
    song : Song
    options : Options
    """
    face = paper.face
    paper.say(about(song, options))
    shares = columns(options)
    widths = {name: paper.width * share / sum(shares.values()) for name, share in shares.items()}
    rows = [_set_row(row, widths, face) for row in table(song, options)]
    told = [row for text in remarks(song, options) for row in face.whole_lines(text, 9, paper.width)]
    top = _TITLE + 11 + 11 * len(told) + _HEAD
    nothing = nothing_to_do(song, options)
    pages = list(_pages(rows, paper.height - top, paper.height - _HEAD - 14))
    for number, page in enumerate(pages, 1):
        y = paper.top
        if number == 1:
            y -= _TITLE
            paper.text(
                (face.whole_lines(song.title, _TITLE, paper.width, BOLD) or [""])[0], paper.left, y, _TITLE, BOLD
            )
            y -= 3
            for remark in told:
                y -= 11
                paper.text(remark, paper.left, y, 9)
            y -= 8
        else:
            y -= 10
            paper.text((face.whole_lines(song.title, 9, paper.width, BOLD) or [""])[0], paper.left, y, 9, BOLD)
            y -= 4
        if nothing:
            for text in face.whole_lines(nothing, _NOTHING, paper.width, BOLD):
                y -= 1.3 * _NOTHING
                paper.text(text, paper.left, y, _NOTHING, BOLD)
        else:
            _draw(paper, page, y, widths)
        paper.end_page(number, len(pages))


def remarks(song: Song, options: Options) -> Iterator[str]:
    """Say what a reader of the list has to know before its first line."""
    if check := check_line(song, options):
        yield check
    if options.who is not None:
        yield f"The lines of {one_line(options.who)} are black, those of others grey."
    if told := volunteers_words(options):
        yield told
    if options.with_timecode:
        timing = options.timing
        yield f"Timecode at {timing.rate.name} frames a second, {timing.start} at second 0 of the show."
    if options.changed:
        yield "* is new or not as at the last print."
    if told := removed_line(options):
        yield told
    told = varied_words(song.analysis.sections)
    if told and not nothing_to_do(song, options):
        yield f"{told}."
    if not any(cue.status != "rejected" for cue in song.cues):
        yield "There are no cues."


def _set_row(row: TableRow, widths: dict[str, float], face: Typeface) -> _Set:
    cells = tuple(
        face.whole_lines(cell, _SIZE, width - _GAP, BOLD if index == 0 else REGULAR)
        for index, (cell, width) in enumerate(zip(row.cells, widths.values(), strict=True))
    )
    return _Set(row, cells, max(1, *map(len, cells)) * _STEP + 2 * _PAD)


def _pages(rows: list[_Set], first: float, further: float) -> Iterator[list[_Set]]:
    """Fill pages; a stand-by group moves on whole where it fits on a page."""
    page: list[_Set] = []
    room = first
    used = 0.0
    for index, row in enumerate(rows):
        group = [row]
        starts = row.row.line.cue.standby is None or index == 0 or _standby(rows[index - 1]) != _standby(row)
        if starts and _standby(row) is not None:
            for after in rows[index + 1 :]:
                if _standby(after) != _standby(row):
                    break
                group.append(after)
        high = sum(each.height for each in group)
        if page and used + (high if high < further / 3 else row.height) > room:
            yield page
            page, used, room = [], 0.0, further
        page.append(row)
        used += row.height
    yield page


def _standby(row: _Set) -> int | None:
    return row.row.line.cue.standby


def _draw(paper: Paper, rows: list[_Set], y: float, widths: dict[str, float]) -> None:
    canvas = paper.canvas
    x = paper.left
    for name, width in widths.items():
        paper.text(paper.face.to_print(name, BOLD), x, y - 9, 8, BOLD)
        x += width
    y -= _HEAD
    canvas.setLineWidth(1.0)
    canvas.line(paper.left, y, paper.left + paper.width, y)
    for row in rows:
        if row.row.opens_section and row is not rows[0]:
            canvas.setLineWidth(0.5)
            canvas.line(paper.left, y, paper.left + paper.width, y)
        grey = 0.0 if row.row.line.mine else 0.5
        canvas.setFillGray(grey)
        x = paper.left
        for index, (cell, width) in enumerate(zip(row.cells, widths.values(), strict=True)):
            for line, text in enumerate(cell):
                font = BOLD if index == 0 else REGULAR
                paper.text(text, x, y - _PAD - _SIZE - line * _STEP + 1, _SIZE, font)
            x += width
        canvas.setFillGray(0)
        # A bracket down the side holds together what shares a stand-by.
        if row.cells[1]:
            canvas.setLineWidth(1.2)
            left = paper.left + widths["cue"] - 4
            canvas.line(left, y - 1, left, y - row.height + 1)
        if row.row.line.changed:
            canvas.setLineWidth(2.2)
            canvas.line(paper.left - 6, y - 1, paper.left - 6, y - row.height + 1)
        y -= row.height
