"""Where on the page everything of the chart stands; `lay_out` is the one place that decides it."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from cuesuggest.analysis.types import SongAnalysis
from cuesuggest.export.chart.drawn_light import DrawnLight, drawn_light
from cuesuggest.export.chart.drive_line import STAFF_BASE, STAFF_TOP, SURE, drive_line, drive_range
from cuesuggest.export.chart.explained import explained_signs, explained_words
from cuesuggest.export.chart.geometry import Chart, ChartBar, ChartLine, KeyItem, LegendItem, LegendSign, Words
from cuesuggest.export.chart.light_line import (
    FIRST_WORDS,
    LIGHT,
    LIGHT_HALF,
    TEXT,
    WORDS_STEP,
    actions,
    dynamics,
    extent,
    gaps,
    hairpins,
    held,
    marks,
    opened,
    parted,
    sustains,
)
from cuesuggest.export.chart.over_bars import new_meters, over_bars
from cuesuggest.export.chart.phrases import ChartPhrase, phrases
from cuesuggest.export.chart.short_words import fitted, plain, text_width
from cuesuggest.score.grid import Grid, tempo_words
from cuesuggest.score.records import Cue, clock, counted
from cuesuggest.song.hand_words import HandWords
from cuesuggest.song.rig_facts import hands_of

if TYPE_CHECKING:
    from cuesuggest.song import Song

__all__ = ["BARS_PER_LINE", "LEGEND_STEP", "TITLE", "lay_out", "legend_items", "lowered"]

BARS_PER_LINE = (16, 8, 4)
"""Bars side by side that a chart can have; 16 are two phrases of 8, each with its margin."""

_LABEL = 15.0
TITLE = 18.0
_MARGIN = {16: 76.0, 8: 96.0, 4: 72.0}
_GUTTER = 18.0  # between two phrases side by side
_BELOW = 6.0
_NEAR = 1e-3  # seconds
_WHOLE = 1.0  # s at either end that make no part of a recording
LEGEND_STEP = 15.0
_HEADER = 42.0


@dataclass(frozen=True, slots=True)
class _Part:
    """What all lines of a song share."""

    analysis: SongAnalysis
    start: float
    """Seconds at which the song starts in its recording."""
    light: DrawnLight
    held: tuple[tuple[float, float, int], ...]
    """As `light_line.held` gives them."""
    cues: tuple[Cue, ...]
    hand: HandWords
    margin: float
    width: float
    """Of a line."""
    length: int
    """Bars that normally stand on a line."""
    sure: float
    """Confidence below which a bar is dashed."""
    new_meters: frozenset[int]
    """Bars that change the time signature."""
    drives: tuple[float, float]
    """At the foot and at the head of the staff."""


def lay_out(song: Song, bars_per_line: int = 16, width: float = 1400.0, height: float | None = None) -> Chart:
    """Lay a song out on pages.

    Parameters
    ----------
    song : Song
        Rejected cues are left out.
    bars_per_line : int
        16, 8 or 4.
    width : float
        Of a page, in units; below 60 a bar its words get shortened.
    height : float, optional
        Of a page; without one everything stands on one page that is as high as it needs.

    Returns
    -------
    Chart

    Raises
    ------
    ValueError
        If `bars_per_line` is none of `BARS_PER_LINE`.
    """
    if bars_per_line not in BARS_PER_LINE:
        raise ValueError(f"bars_per_line is {bars_per_line}; choose one of {BARS_PER_LINE}")
    columns = 2 if bars_per_line == 16 else 1
    part = _part(song, bars_per_line, (width - _GUTTER * (columns - 1)) / columns)
    times = list(part.light.starts.values())
    times += [fade.end for fade in part.light.fades if part.analysis.bars and fade.end > part.analysis.bars[-1].end]
    found = phrases(part.analysis, part.length, times, part.start)
    groups = _cues_by_phrase(found, part)
    lines = [_chart_line(phrase, cues, part) for phrase, cues in zip(found, groups, strict=True)]
    header = tuple(_header(song, width))
    legend = list(legend_items(explained_signs(lines), width))
    legend_height = (legend[-1].y if legend else 0.0) + LEGEND_STEP
    key = list(_key(part, width, legend_height))
    key_height = key[-1].short.y + LEGEND_STEP - legend_height if key else 0.0
    placed, pages, used = _paged(lines, columns, part.width + _GUTTER, height, legend_height)
    if height is not None and used + legend_height + key_height > height:
        key, key_height = [], 0.0
    high = used + legend_height + key_height if height is None else height
    top = high - legend_height - key_height
    return Chart(
        bars_per_line,
        width,
        round(high, 2),
        pages,
        tuple(placed),
        header,
        tuple(replace(item, y=item.y + top, words=lowered(item.words, top)) for item in legend),
        tuple(KeyItem(lowered(item.short, top), lowered(item.meaning, top)) for item in key),
    )


def _part(song: Song, bars_per_line: int, width: float) -> _Part:
    cues = tuple(cue for cue in song.cues if cue.status != "rejected")
    looks = {look.id: look for look in song.looks}
    end = max([song.analysis.duration, *(cue.place.seconds + (cue.down_seconds or 0.0) for cue in cues)])
    evidence = song.profile.values.get("evidence")
    weak = evidence.get("weak") if isinstance(evidence, dict) else None
    light = drawn_light(cues, looks, Grid(song.analysis), end, hands_of(song))
    return _Part(
        song.analysis,
        song.recording.window.start,
        light,
        tuple(held(light)),
        cues,
        HandWords(song),
        _MARGIN[bars_per_line],
        width,
        min(8, bars_per_line),
        weak if isinstance(weak, float) else SURE,
        new_meters(song.analysis),
        drive_range(song.analysis.bars),
    )


# One line.


def _chart_line(phrase: ChartPhrase, cues: list[Cue], part: _Part) -> ChartLine:
    bars = tuple(_bars(phrase, part))
    right = bars[-1].x + bars[-1].width
    at = _ruler(bars)
    signs = tuple(marks(cues, part.light, bars, at))
    categories = dynamics(part.light, bars, at, signs)
    left_out = gaps(signs, categories)
    # Words may use the room to the right of a short phrase.
    room = part.margin, max(right, part.width)
    below, leaders, levels = actions(cues, part.light.starts, part.hand, bars, room, at)
    over, rows = over_bars(phrase.stretches, bars, part.analysis.events, part.new_meters, room[1])
    words = [*_margin_words(phrase, part, categories), *over, *categories, *below]
    margin_height = max((word.y for word in words if word.x < part.margin - 1), default=0.0)
    bottom = max(FIRST_WORDS + (levels - 1) * WORDS_STEP if levels else LIGHT + LIGHT_HALF, margin_height)
    down = rows * WORDS_STEP
    return ChartLine(
        page=1,
        x=0.0,
        y=0.0,
        width=round(part.width, 2),
        height=round(down + bottom + _BELOW, 2),
        section=phrase.section.id if phrase.section else None,
        staff_x=part.margin,
        staff_to_x=round(right, 2),
        staff_top=down + STAFF_TOP,
        staff_base=down + STAFF_BASE,
        light_y=down + LIGHT,
        light_half=LIGHT_HALF,
        bars=bars,
        drive=tuple((x, round(down + y, 2)) for x, y in drive_line(phrase.stretches, bars, part.drives)),
        sustains=tuple(opened(sustains(part.held, bars, at), left_out)),
        hairpins=tuple(parted(hairpins(part.light, bars, at), left_out)),
        marks=signs,
        leaders=tuple((x, down + top, down + low) for x, top, low in leaders),
        words=tuple(lowered(each, down) for each in words),
    )


def _bars(phrase: ChartPhrase, part: _Part) -> Iterator[ChartBar]:
    width = (part.width - part.margin) / max(part.length, phrase.room)
    for index, stretch in enumerate(phrase.stretches):
        bar = stretch.bar
        yield ChartBar(
            number=bar.number if bar else None,
            start=stretch.start,
            end=stretch.end,
            beats=bar.beats if bar else 0,
            x=round(part.margin + index * width, 2),
            width=round(width, 2),
            dashed=bar is None or bar.confidence < part.sure,
            opens_section=index == 0 and phrase.first,
        )


def _ruler(bars: tuple[ChartBar, ...]) -> Callable[[float], float]:
    """Return what turns seconds into x on a line; times outside lie at its ends."""

    def at(seconds: float) -> float:
        for bar in bars:
            if seconds < bar.end:
                share = max(0.0, seconds - bar.start) / (bar.end - bar.start)
                return round(bar.x + share * bar.width, 2)
        return round(bars[-1].x + bars[-1].width, 2)

    return at


def _cues_by_phrase(found: list[ChartPhrase], part: _Part) -> list[list[Cue]]:
    """Give each cue to the line of its bar, or to that of its time where the hand begins elsewhere."""
    groups: list[list[Cue]] = [[] for _ in found]
    by_bar = {stretch.bar.number: k for k, phrase in enumerate(found) for stretch in phrase.stretches if stretch.bar}
    starts = [phrase.stretches[0].start for phrase in found]
    for cue in part.cues if found else ():
        begin = part.light.starts[cue.id]
        if cue.place.bar in by_bar and begin == cue.place.seconds:
            groups[by_bar[cue.place.bar]].append(cue)
        else:
            groups[max(0, bisect_right(starts, begin + _NEAR) - 1)].append(cue)
    return groups


def _margin_words(phrase: ChartPhrase, part: _Part, categories: Sequence[Words]) -> Iterator[Words]:
    section = phrase.section
    taken = min((extent(each)[0] for each in categories), default=part.margin) - 4

    def room(y: float) -> float:
        return min(part.margin - 16, taken) if abs(y - LIGHT - 4) < TEXT else part.margin - 16

    if section is None:
        # What is heard stands over the line itself.
        yield Words(_outside(phrase, part.analysis), 0.0, STAFF_BASE, TEXT, "name", italic=True)
        return
    label = section.mark
    if not phrase.first:
        yield Words(f"({label})", 0.0, STAFF_BASE, TEXT, "again")
        return
    yield Words(label, 0.0, 24.0, _LABEL, "label", bold=True)
    y = 37.0
    if section.name or section.role:
        yield Words(fitted(section.name or f"{section.role}?", TEXT, room(y)), 0.0, y, TEXT, "name")
        y += 13.0
    if section.vamp:
        yield Words(fitted(f"until {section.vamp}", TEXT, room(y)), 0.0, y, TEXT, "name", italic=True)
        y += 13.0
    if section.first_words:
        for text in _two_lines(f"“{plain(section.first_words)}”", (room(y), room(y + 13.0))):
            yield Words(text, 0.0, y, TEXT, "first-words", italic=True)
            y += 13.0


def _outside(phrase: ChartPhrase, analysis: SongAnalysis) -> str:
    """Say where a line lies that belongs to no section."""
    at = phrase.stretches[0].start
    starts = [section.start for section in analysis.sections]
    if not starts:
        return ""
    if at < min(starts):
        return "before"
    return "between" if at < max(starts) else "after"


def _two_lines(text: str, rooms: tuple[float, float]) -> Iterator[str]:
    """Break a text once, at a space; what is over is shortened."""
    first = ""
    words = text.split(" ")
    while words and text_width(f"{first} {words[0]}".strip(), TEXT) <= rooms[0]:
        first = f"{first} {words.pop(0)}".strip()
    if first:
        yield first
    if words:
        yield fitted(" ".join(words), TEXT, rooms[1] if first else rooms[0])


# Pages.


def _paged(
    lines: list[ChartLine], columns: int, step: float, height: float | None, legend: float
) -> tuple[list[ChartLine], int, float]:
    """Put lines into rows and rows onto pages; the legend has its place on the last page."""
    rows = [lines[start : start + columns] for start in range(0, len(lines), columns)]
    placed: list[ChartLine] = []
    page, y = 1, _HEADER
    for index, row in enumerate(rows):
        # Staffs side by side stand at one height, whatever is over them.
        staff = max(line.staff_top for line in row)
        high = max(staff - line.staff_top + line.height for line in row)
        below = legend if index == len(rows) - 1 else 0.0
        if height is not None and y + high + below > height and y > 0.0:
            page, y = page + 1, 0.0
        placed += [
            replace(line, page=page, x=round(column * step, 2), y=round(y + staff - line.staff_top, 2))
            for column, line in enumerate(row)
        ]
        y += high
    return placed, page, y


def _header(song: Song, width: float) -> Iterator[Words]:
    analysis = song.analysis
    yield Words(fitted(song.title, TITLE, width, bold=True), 0.0, 18.0, TITLE, "title", bold=True)
    count = sum(bar.number >= 1 for bar in analysis.bars)
    if analysis.tempo_bpm is None:
        about = f"no music found; {_length(song)} long"
    else:
        about = f"{tempo_words(analysis)}, {counted(count, 'bar')}, {_length(song)}"
    yield Words(fitted(about, TEXT, width), 0.0, 33.0, TEXT, "about")


def _length(song: Song) -> str:
    """Say how long the song is; of a part of a recording also which, as all its times count from the file's start."""
    window = song.recording.window
    length = clock(window.end - window.start)
    if window.start < _WHOLE and window.end > song.recording.duration - _WHOLE:
        return length
    name = song.recording.path.rpartition("/")[2]
    return f"{length} ({clock(window.start)} to {clock(window.end)} of {name})"


def legend_items(signs: Iterable[tuple[LegendSign, str, str]], width: float) -> Iterator[LegendItem]:
    """Place what signs mean, as `explained_signs` yields it, in rows from y 0 on."""
    x, y = 0.0, LEGEND_STEP
    for sign, shown, text in signs:
        wide = 28 + text_width(text, TEXT) + 12
        if x + wide > width and x > 0:
            x, y = 0.0, y + LEGEND_STEP
        yield LegendItem(sign, round(x + 12, 2), y - 4, shown, Words(text, round(x + 28, 2), y, TEXT, "about"))
        x += wide


def _key(part: _Part, width: float, top: float) -> Iterator[KeyItem]:
    x, y = 0.0, top + LEGEND_STEP
    for term, meaning in explained_words(part.cues, part.hand):
        short = fitted(f"{term}:", TEXT, width / 2, bold=True)
        begin = text_width(short, TEXT, bold=True) + 4
        text = fitted(meaning, TEXT, width - begin)
        wide = begin + text_width(text, TEXT) + 20
        if x + wide - 20 > width and x > 0:
            x, y = 0.0, y + LEGEND_STEP
        yield KeyItem(
            Words(short, round(x, 2), y, TEXT, "about", bold=True), Words(text, round(x + begin, 2), y, TEXT, "about")
        )
        x += wide


def lowered(words: Words, by: float) -> Words:
    """Return words that stand lower."""
    return replace(words, y=round(words.y + by, 2))
