"""The live page on one side of paper (PDF by reportlab, ISO 32000)."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Literal

from cuesuggest.export.common.options import Options, about
from cuesuggest.export.paper.live import Act, Block, BlockRow, LivePage, live_page, thinned
from cuesuggest.export.paper.sheets import Paper
from cuesuggest.export.paper.typeface import BOLD, REGULAR, typeface_for

if TYPE_CHECKING:
    from cuesuggest.song import Song

__all__ = ["Breaks", "draw_page", "fitting", "pdf"]

Breaks = Literal["between blocks", "between rows", "anywhere"]
"""Where a column may end: in front of a part, in front of a row for some of its passes, in front of an action."""
_TRIES: tuple[tuple[int, Breaks], ...] = (
    (1, "between blocks"),
    (2, "between blocks"),
    (2, "between rows"),
    (2, "anywhere"),
)

# Points. What the hand does and where are read at arm's length in little light: 14 and more.
_ACTION, _SECTION, _TITLE, _SMALL, _RULE = 14.0, 18.0, 20.0, 11.0, 10.0
_NOTHING = 48.0  # the one sentence of a page without an action
_LEAD = 1.22  # from line to line, in text sizes
_GUTTER = 18.0
_WHERE = 104.0  # "bar 12 before 2"
_WHERE_NARROW = 52.0  # where the page has two columns it is broken
_BESIDE = 3.0  # between where and what
_INDENT = 6.0  # of what stands below the heading of a row
_NUMBER = 9.0
_PENCIL = 130.0
_MARK = "*"


@dataclass(frozen=True, slots=True)
class _Drawable:
    """Something with a height that can be drawn with its upper edge at a y."""

    height: float
    draw: Callable[[float, float], None]
    """Takes x and y of the upper left corner."""
    keep: bool = False
    """Stays with the piece after it."""
    of: str = ""
    """The heading that it belongs to, said again where a new column begins in front of it."""


def pdf(song: Song, options: Options) -> bytes:
    """Print a song's live page.

    Parameters
    ----------
    song : Song
    options : Options

    Returns
    -------
    bytes
        One page; what does not fit on it is left to the list, and the page says which cues.
    """
    paper = Paper(about(song, options), typeface_for(str(song), options.fonts), options, landscape=False)
    draw_page(paper, song, options, (1, 1))
    return paper.finish()


def draw_page(paper: Paper, song: Song, options: Options, count: tuple[int, int]) -> None:
    """Draw a song's live page on the next sheet of a paper.

    Parameters
    ----------
    paper : Paper
        Upright.
    song : Song
    options : Options
    count : int, int
        Which page it is, of how many.
    """
    page, columns, breaks = fitting(song, options)
    paper.say(about(song, options))
    layout = _Layout(paper, page, count)
    if page.nothing:
        layout.draw_nothing()
    else:
        layout.draw(columns, breaks)


def fitting(song: Song, options: Options) -> tuple[LivePage, int, Breaks]:
    """Thin a song's live page until it fits one side.

    Parameters
    ----------
    song : Song
    options : Options

    Returns
    -------
    page : LivePage
    columns : int
        1 or 2.
    breaks : Breaks
        Where the first column may end.
    """
    page, said, face = live_page(song, options), about(song, options), typeface_for(str(song), options.fonts)
    most = sum(1 for _ in page.acts)
    while True:
        for columns, breaks in _TRIES:
            if _Layout(Paper(said, face, options, landscape=False), page).fits(columns, breaks):
                return page, columns, breaks
        if most == 0:
            # Twenty letters and not one action: the heads alone fill more than a side.
            return page, 2, "anywhere"
        most -= 1
        page = thinned(page, most)


def _whole(blocks: list[list[_Drawable]], breaks: Breaks) -> Iterator[list[_Drawable]]:
    """Take blocks apart where a column may end: a heading stays with what it heads, whatever happens."""
    for block in blocks:
        whole: list[_Drawable] = []
        for piece in block:
            parts = breaks == "anywhere" or (breaks == "between rows" and not piece.of)
            if whole and parts and not whole[-1].keep:
                yield whole
                whole = []
            whole.append(piece)
        yield whole


def _number(act: Act) -> str:
    return f"{act.line.cue.number:g}{_MARK if act.line.changed else ''}"


class _Layout:
    """Draws a live page; made anew for every try, since drawing and measuring are one walk."""

    def __init__(self, paper: Paper, page: LivePage, count: tuple[int, int] = (1, 1)) -> None:
        self._paper, self._page, self._count = paper, page, count
        self._canvas, self._face = paper.canvas, paper.face
        # As wide as they are and no wider: what the hand does needs the room.
        self._numbers = 6 + max(
            (self._face.width(self._face.to_print(_number(act)), _NUMBER) for act in page.acts), default=0.0
        )

    def fits(self, columns: int, breaks: Breaks) -> bool:
        """Whether everything finds room."""
        head, foot = self._head(), self._foot()
        room = self._paper.height - sum(piece.height for piece in (*head, *foot))
        return self._placed(columns, room, breaks) is not None

    def draw(self, columns: int, breaks: Breaks) -> None:
        """Draw everything; what finds no room is left out."""
        paper = self._paper
        y = paper.top
        for piece in self._head():
            piece.draw(paper.left, y)
            y -= piece.height
        foot = self._foot()
        room = y - paper.bottom - sum(piece.height for piece in foot)
        placed = self._placed(columns, room, breaks, force=True) or []
        width = self._width(columns)
        for column, top, piece in placed:
            piece.draw(paper.left + column * (width + _GUTTER), y - top)
        if columns == 1:
            self._pencil(paper.left + paper.width - _PENCIL, _PENCIL, y - 4, room - 8)
        else:
            ends = [top + piece.height for column, top, piece in placed if column == 1]
            used = max(ends, default=0.0)
            self._pencil(paper.left + width + _GUTTER, width, y - used - 4, room - used - 8)
        y = paper.bottom + sum(piece.height for piece in foot)
        for piece in foot:
            piece.draw(paper.left, y)
            y -= piece.height
        paper.end_page(*self._count)

    def draw_nothing(self) -> None:
        """Draw one large sentence in place of all that there would be to do, and the way to put everything out."""
        paper, page = self._paper, self._page
        y = paper.top
        pieces = [
            self._text(page.title, _TITLE, BOLD, paper.width, most=2),
            self._text(page.nothing, _NOTHING, BOLD, paper.width),
            self._safety(paper.width, (("ALL OUT", page.all_out),)),
            *(self._text(remark, _RULE, REGULAR, paper.width) for remark in page.remarks),
        ]
        for piece in pieces:
            piece.draw(paper.left, y)
            y -= piece.height + _ACTION
        paper.end_page(*self._count)

    def _width(self, columns: int) -> float:
        if columns == 1:
            return self._paper.width - _PENCIL - _GUTTER
        return (self._paper.width - _GUTTER) / 2

    def _placed(
        self, columns: int, room: float, breaks: Breaks, *, force: bool = False
    ) -> list[tuple[int, float, _Drawable]] | None:
        """Pour the blocks into columns, as whole as `breaks` says; None if they do not fit."""
        placed: list[tuple[int, float, _Drawable]] = []
        column, top = 0, 0.0
        for pieces in _whole(self._blocks(self._width(columns)), breaks):
            high = sum(piece.height for piece in pieces)
            if top + high > room:
                if column + 1 >= columns:
                    return placed if force else None
                column, top = column + 1, 0.0
                if pieces[0].of:
                    again = self._text(f"{pieces[0].of}, continued", _ACTION, BOLD, self._width(columns))
                    placed.append((column, top, again))
                    top += again.height
                if top + high > room and not force:
                    return None
            for piece in pieces:
                placed.append((column, top, piece))
                top += piece.height
        return placed

    # The head: title, order, the two ways to safety.

    def _head(self) -> list[_Drawable]:
        page, width = self._page, self._paper.width
        pieces = [self._text(page.title, _TITLE, BOLD, width, most=2), self._text(page.about, _SMALL, REGULAR, width)]
        pieces.append(self._order(width))
        pieces.append(self._safety(width, (("HOME", page.home), ("ALL OUT", page.all_out))))
        if page.before:
            pieces.append(self._rule(width))
            pieces += [self._act(act, width) for act in page.before if act.where != "after"]
        return pieces

    def _order(self, width: float) -> _Drawable:
        """The strip of the song's order: boxes with section and bars, IN under those that begin with an entrance."""
        high, gap = 33.0, 4.0
        cells: list[tuple[float, float, int]] = []
        x, row = 0.0, 0
        for index, step in enumerate(self._page.order):
            wide = max(self._face.width(self._face.to_print(step.label, BOLD), _ACTION, BOLD), 18.0) + 12
            if x + wide > width and index:
                x, row = 0.0, row + 1
            cells.append((x, wide, row))
            x += wide + gap

        def draw(left: float, top: float) -> None:
            for step, (x, wide, row) in zip(self._page.order, cells, strict=True):
                y = top - 6 - row * high
                self._line_width(1.6 if step.safe else 0.6)
                self._canvas.rect(left + x, y - 19, wide, 19, stroke=1, fill=0)
                label = self._face.to_print(step.label, BOLD)
                middle = left + x + wide / 2
                self._at(label, middle - self._face.width(label, _ACTION, BOLD) / 2, y - 14.5, _ACTION, BOLD)
                under = f"{step.bars} IN" if step.safe else f"{step.bars}"
                self._at(under, middle - self._face.width(under, 8) / 2, y - 27, 8)

        return _Drawable((cells[-1][2] + 1) * high + 4 if cells else 0.0, draw)

    def _safety(self, width: float, texts: tuple[tuple[str, str], ...]) -> _Drawable:
        half = (width - _GUTTER) / 2
        broken = [self._face.whole_lines(text, 12, half - 78) for _, text in texts]
        high = max(22.0, max(map(len, broken)) * 12 * _LEAD + 8)

        def draw(left: float, top: float) -> None:
            for index, ((name, _), rows) in enumerate(zip(texts, broken, strict=True)):
                x = left + index * (half + _GUTTER)
                self._line_width(1.6)
                self._canvas.rect(x, top - high, half, high, stroke=1, fill=0)
                self._at(name, x + 6, top - 16, _ACTION, BOLD)
                for row, text in enumerate(rows):
                    self._at(text, x + 74, top - 15 - row * 12 * _LEAD, 12)

        return _Drawable(high + 6, draw)

    # Blocks.

    def _blocks(self, width: float) -> list[list[_Drawable]]:
        found = [self._block_pieces(block, width) for block in self._page.blocks]
        after = [act for act in self._page.before if act.where == "after"]
        if after:
            found.append([self._act(act, width) for act in after])
        return found

    def _block_pieces(self, block: Block, width: float) -> list[_Drawable]:
        pieces = [self._rule(width), self._block_head(block, width)]
        for row in block.rows:
            pieces += self._row_pieces(row, width)
        return pieces

    def _block_head(self, block: Block, width: float) -> _Drawable:
        letter = self._face.to_print(block.letter, BOLD)
        # The letter hangs on its line, what it is called stands beside it.
        box = self._face.width(letter, _SECTION, BOLD) + 10
        names = self._face.whole_lines(block.name, _ACTION, width - box - 8, BOLD)
        signs = self._face.whole_lines(block.sign, _SMALL, width - box - 8)
        # A name and words that fit side by side share a line.
        beside = (
            len(names) == len(signs) == 1
            and self._face.width(names[0], _ACTION, BOLD) + 10 + self._face.width(signs[0], _SMALL) <= width - box - 8
        )
        rows = 1 if beside else len(names) + len(signs)
        high = max(24.0, rows * _ACTION * _LEAD + 4)

        def draw(left: float, top: float) -> None:
            self._at(letter, left, top - 18, _SECTION, BOLD)
            self._canvas.rect(left, top - 23, box - 10, 2, stroke=0, fill=1)
            x, y = left + box, top - 16
            for text in names:
                self._at(text, x, y, _ACTION, BOLD)
                y -= 0 if beside else _ACTION * _LEAD
            if beside:
                x += self._face.width(names[0], _ACTION, BOLD) + 10
            for text in signs:
                self._at(text, x, y, _SMALL)
                y -= _ACTION * _LEAD

        return _Drawable(high, draw, keep=True)

    def _row_pieces(self, row: BlockRow, width: float) -> list[_Drawable]:
        tags = self._face.whole_lines(f"{row.tag}: {row.bars}", _ACTION, width, BOLD)
        lights = self._face.whole_lines(f"light: {row.light}", _ACTION, width - _INDENT)
        high = (len(tags) + len(lights)) * _ACTION * _LEAD + 2

        def draw(left: float, top: float) -> None:
            y = top - _ACTION
            for text in tags:
                self._at(text, left, y, _ACTION, BOLD)
                y -= _ACTION * _LEAD
            for text in lights:
                self._at(text, left + _INDENT, y, _ACTION)
                y -= _ACTION * _LEAD

        acts = (replace(self._act(act, width), of=row.tag) for act in row.acts)
        return [_Drawable(high, draw, keep=bool(row.acts)), *acts]

    def _act(self, act: Act, width: float) -> _Drawable:
        room = _WHERE if width > self._paper.width / 2 else _WHERE_NARROW
        number = self._face.to_print(_number(act))
        where = self._face.whole_lines(act.where, _ACTION, room - _BESIDE)
        font = BOLD if act.line.mine else REGULAR
        texts = self._face.whole_lines(act.text, _ACTION, width - _INDENT - room - self._numbers, font)
        rows = max(len(where), len(texts), 1)

        def draw(left: float, top: float) -> None:
            self._canvas.setFillGray(0 if act.line.mine else 0.45)
            for row, text in enumerate(where):
                self._at(text, left + _INDENT, top - _ACTION - row * _ACTION * _LEAD, _ACTION)
            for row, text in enumerate(texts):
                self._at(text, left + _INDENT + room, top - _ACTION - row * _ACTION * _LEAD, _ACTION, font)
            self._at(number, left + width - self._face.width(number, _NUMBER), top - _ACTION, _NUMBER)
            self._canvas.setFillGray(0)

        return _Drawable(rows * _ACTION * _LEAD + 1, draw)

    # The foot: what to do when it goes otherwise.

    def _foot(self) -> list[_Drawable]:
        width = self._paper.width
        pieces = [self._rule(width)]
        half = (width - _GUTTER) / 2
        rules = self._page.rules
        for start in range(0, len(rules), 2):
            pieces.append(self._rule_pair(rules[start : start + 2], half))
        pieces += [self._text(remark, _RULE, REGULAR, width) for remark in self._page.remarks]
        return pieces

    def _rule_pair(self, pair: tuple[tuple[str, str], ...], half: float) -> _Drawable:
        broken = [self._face.whole_lines(what, _RULE, half - 76) for _, what in pair]

        def draw(left: float, top: float) -> None:
            for index, (when, _) in enumerate(pair):
                x = left + index * (half + _GUTTER)
                self._at(self._face.to_print(when, BOLD), x, top - _RULE, _RULE, BOLD)
                for row, text in enumerate(broken[index]):
                    self._at(text, x + 76, top - _RULE - row * _RULE * _LEAD, _RULE)

        return _Drawable(max(map(len, broken)) * _RULE * _LEAD, draw)

    # Small things.

    def _text(self, text: str, size: float, font: str, width: float, most: int | None = None) -> _Drawable:
        rows = self._face.whole_lines(text, size, width, font)
        if most is not None and len(rows) > most:
            rows = [*rows[: most - 1], rows[most - 1] + "…"]

        def draw(left: float, top: float) -> None:
            for index, row in enumerate(rows):
                self._at(row, left, top - size - index * size * _LEAD, size, font)

        return _Drawable(len(rows) * size * _LEAD, draw)

    def _rule(self, width: float) -> _Drawable:
        def draw(left: float, top: float) -> None:
            self._line_width(0.6)
            self._canvas.line(left, top - 3, left + width, top - 3)

        return _Drawable(7.0, draw, keep=True)

    def _pencil(self, left: float, width: float, top: float, room: float) -> None:
        """Leave room to write, with faint lines in it."""
        self._line_width(0.4)
        self._canvas.setStrokeGray(0.6)
        for step in range(1, int(max(0.0, room) // 24)):
            self._canvas.line(left, top - step * 24, left + width, top - step * 24)
        self._canvas.setStrokeGray(0)

    def _at(self, text: str, x: float, y: float, size: float, font: str = REGULAR) -> None:
        self._paper.text(text, x, y, size, font)

    def _line_width(self, width: float) -> None:
        self._canvas.setLineWidth(width)
