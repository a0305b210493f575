"""A night on paper: an overview, then the live page of every song (PDF by reportlab, ISO 32000)."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

from cuesuggest.export.common.escape import one_line, shortened
from cuesuggest.export.common.options import CAUTION, About, Options
from cuesuggest.export.paper.list_pdf import draw_list
from cuesuggest.export.paper.page_pdf import draw_page
from cuesuggest.export.paper.sheets import Paper
from cuesuggest.export.paper.typeface import BOLD, REGULAR, typeface_for
from cuesuggest.score.night_records import BetweenSongs, NightLook, NightPlan, NightSong
from cuesuggest.score.records import clock, counted

if TYPE_CHECKING:
    from cuesuggest.song import Song

__all__ = ["lists", "pdf"]

# Points. Read at a desk before the doors open, and between songs.
_TITLE, _HEAD, _SONG, _TEXT = 20.0, 13.0, 13.0, 10.5
_LEAD = 1.25
_INDENT = 30.0  # of what stands below a song's number
_ENERGY = 74.0  # height of the line of energy
_APART = 6.0  # between two songs on it
_MOMENT = 5.5  # radius of the sign of a big moment
_NAME = 60  # letters


def pdf(plan: NightPlan, songs: Sequence[tuple[Song, Options]], options: Options) -> bytes:
    """Print a night.

    Parameters
    ----------
    plan : NightPlan
    songs : sequence of (Song, Options)
        As they are played in it, in order.
    options : Options
        Of the overview.

    Returns
    -------
    bytes
        The overview on as many pages as it takes, then one page for each song.
    """
    # Laid out once to count its pages, and once to draw them.
    pages = _Overview(_paper(plan, songs, options, landscape=False), plan, 0).draw()
    paper = _paper(plan, songs, options, landscape=False)
    every = pages + len(songs)
    _Overview(paper, plan, every).draw()
    for number, (song, own) in enumerate(songs, pages + 1):
        draw_page(paper, song, own, (number, every))
    return paper.finish()


def lists(plan: NightPlan, songs: Sequence[tuple[Song, Options]], options: Options) -> bytes:
    """Print the full lists of a night's songs, one after the other.

    Parameters
    ----------
    plan : NightPlan
    songs : sequence of (Song, Options)
        As they are played in it, in order.
    options : Options
        Of the paper.

    Returns
    -------
    bytes
        Each song begins on a page of its own, and counts its pages.
    """
    paper = _paper(plan, songs, options, landscape=True)
    for song, own in songs:
        draw_list(paper, song, own)
    return paper.finish()


def _paper(plan: NightPlan, songs: Sequence[tuple[Song, Options]], options: Options, *, landscape: bool) -> Paper:
    made = f"{options.date} cuesuggest {options.program}".strip()
    said = About(title=plan.title, take="", made=made, times="", caution=CAUTION)
    face = typeface_for(f"{plan} {[str(song) for song, _ in songs]}", options.fonts)
    return Paper(said, face, options, landscape=landscape)


class _Overview:
    """Draws the overview from top to bottom, going on to a new page where there is no more room."""

    def __init__(self, paper: Paper, plan: NightPlan, pages: int) -> None:
        self._paper, self._plan, self._pages = paper, plan, pages
        self._face = paper.face
        self._page, self._y = 1, paper.top

    def draw(self) -> int:
        """Draw it; returns how many pages it has."""
        plan = self._plan
        self._text(plan.title, _TITLE, BOLD)
        minutes = sum(song.seconds for song in plan.songs)
        self._text(f"{counted(len(plan.songs), 'song')}, {clock(minutes).partition('.')[0]} of music", _TEXT)
        for words in plan.changed:
            self._text(f"Changed at sound check: {words}.", _TEXT, BOLD)
        for words in plan.remarks:
            self._text(words, _TEXT)
        self._energy()
        self._heading("Order")
        for index, song in enumerate(plan.songs):
            if index == 0:
                self._between(plan.between[0])
            self._song(song)
            self._between(plan.between[index + 1])
        self._heading("Looks to build, the smallest first")
        for look in plan.looks:
            self._look(look)
        self._paper.end_page(self._page, self._pages)
        return self._page

    def _room(self, height: float) -> None:
        if self._y - height < self._paper.bottom:
            self._paper.end_page(self._page, self._pages)
            self._page, self._y = self._page + 1, self._paper.top

    def _text(self, text: str, size: float, font: str = REGULAR, indent: float = 0.0) -> None:
        for row in self._face.whole_lines(text, size, self._paper.width - indent, font):
            self._room(size * _LEAD)
            self._paper.text(row, self._paper.left + indent, self._y - size, size, font)
            self._y -= size * _LEAD

    def _heading(self, text: str) -> None:
        self._room(_HEAD * 7)  # with something below it
        self._y -= 8
        self._text(text, _HEAD, BOLD)
        self._paper.canvas.setLineWidth(0.8)
        self._paper.canvas.line(self._paper.left, self._y, self._paper.left + self._paper.width, self._y)
        self._y -= 4

    def _between(self, part: BetweenSongs) -> None:
        lines = list(self._lines_of(part))
        self._room(sum(size * _LEAD for *_, size in lines) + 6)
        self._y -= 1
        top = self._y
        for text, size in lines:
            self._text(text, size, indent=_INDENT + 10)
        self._paper.canvas.setLineWidth(1.6)
        self._paper.canvas.setStrokeGray(0.6)
        self._paper.canvas.line(self._paper.left + _INDENT, top - 2, self._paper.left + _INDENT, self._y)
        self._paper.canvas.setStrokeGray(0)
        self._y -= 5

    def _lines_of(self, part: BetweenSongs) -> Iterator[tuple[str, float]]:
        room = self._paper.width - _INDENT - 10
        for text in (part.line, *part.cautions):
            for row in self._face.whole_lines(text, _TEXT, room):
                yield row, _TEXT

    def _song(self, song: NightSong) -> None:
        cues = f"cues {song.cues[0]} to {song.cues[1]}" if song.cues[0] else "no cues"
        tempo = f"{song.tempo:.0f} a minute" if song.tempo else ""
        told = ", ".join(filter(None, (cues, tempo, clock(song.seconds).partition(".")[0])))
        below = [*song.changes, song.restraint, f"Still open: {song.to_do}." if song.to_do else ""]
        rows = [
            row
            for text in filter(None, below)
            for row in self._face.whole_lines(text, _TEXT, self._paper.width - _INDENT)
        ]
        self._room(_SONG * _LEAD + len(rows) * _TEXT * _LEAD + 4)
        paper, y = self._paper, self._y - _SONG
        paper.text(str(song.number), paper.left, y, _SONG, BOLD)
        shown = self._face.to_print(told)
        wide = self._face.width(shown, _TEXT)
        paper.text(shown, paper.left + paper.width - wide, y, _TEXT)
        name = self._name(song.title, paper.width - _INDENT - wide - _SONG)
        paper.text(name, paper.left + _INDENT, y, _SONG, BOLD)
        self._y -= _SONG * _LEAD
        for row in rows:
            self._text(row, _TEXT, indent=_INDENT)
        self._y -= 3

    def _name(self, title: str, room: float) -> str:
        """Return as much of a title as there is room for in its line."""
        whole = one_line(title)
        names = (self._face.to_print(shortened(whole, most), BOLD) for most in range(_NAME, 0, -1))
        return next((name for name in names if self._face.width(name, _SONG, BOLD) <= room), "")

    def _look(self, look: NightLook) -> None:
        each = look.look
        seconds = f", one round in {each.cycle_seconds:g} s" if each.cycle_seconds else ""
        where = ", ".join(filter(None, (self._plan.buttons_words(look), look.songs_words)))
        told = f"{each.category}, {each.source}, {one_line(each.description)}{seconds}; up to {each.level_ceiling} %"
        rows = self._face.whole_lines(told, _TEXT, self._paper.width - _INDENT)
        self._room((len(rows) + 1) * _TEXT * _LEAD)
        self._text(f"{one_line(each.name)}: {where}", _TEXT, BOLD)
        for row in rows:
            self._text(row, _TEXT, indent=_INDENT)

    def _energy(self) -> None:
        """Draw how hard the songs push, one after the other, and where the biggest moments are."""
        songs = self._plan.songs
        self._room(_ENERGY + 4 * _TEXT)
        self._y -= 10
        paper, canvas = self._paper, self._paper.canvas
        width = paper.width - _APART * (len(songs) - 1)
        scale = width / (sum(song.seconds for song in songs) or 1.0)
        base, high = self._y - _ENERGY, _ENERGY - 2 * _MOMENT - 4
        x = paper.left
        moments = {(number, use.at): rank for rank, (number, use) in enumerate(self._plan.moments, 1)}
        for song in songs:
            canvas.setLineWidth(0.5)
            canvas.line(x, base, x + song.seconds * scale, base)
            path = canvas.beginPath()
            for index, (start, end, drive) in enumerate(song.energy):
                move = path.lineTo if index else path.moveTo
                move(x + start * scale, base + drive * high)
                path.lineTo(x + end * scale, base + drive * high)
            canvas.setLineWidth(1.2)
            canvas.drawPath(path, stroke=1, fill=0)
            label = str(song.number)
            paper.text(label, x + song.seconds * scale / 2 - self._face.width(label, 9) / 2, base - 10, 9)
            for use in song.biggest:
                if rank := moments.get((song.number, use.at)):
                    at = min(max(x + use.at * scale, paper.left + _MOMENT), paper.left + paper.width - _MOMENT)
                    y = base + use.drive * high + _MOMENT + 3
                    canvas.circle(at, y, _MOMENT, stroke=1, fill=0)
                    sign = str(rank)
                    paper.text(sign, at - self._face.width(sign, 8) / 2, y - 2.8, 8)
            x += song.seconds * scale + _APART
        self._y = base - 16
        names = {each.look.id: each.look.name for each in self._plan.looks}
        titles = {song.number: shortened(one_line(song.title), _NAME) for song in songs}
        told = [
            f"{rank} {titles[number]}, {use.mark}: {one_line(names.get(use.look, use.look))}"
            for rank, (number, use) in enumerate(self._plan.moments, 1)
        ]
        words = f"Biggest moments: {'; '.join(told)}." if told else "No effect light comes in."
        self._text(f"How hard the songs push, from the first to the last. {words}", _TEXT)
