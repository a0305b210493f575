"""Where on the page everything of the chart stands; `lay_out` is the one place that decides it."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from cuesuggest.analysis.types import Event, SongAnalysis
from cuesuggest.export.chart.drawn_light import DrawnLight, drawn_light
from cuesuggest.export.chart.geometry import (
    Chart,
    ChartBar,
    ChartLine,
    LegendItem,
    MarkKind,
    Words,
)
from cuesuggest.export.chart.light_line import (
    FIRST_WORDS,
    LIGHT,
    LIGHT_HALF,
    TEXT,
    WORDS_STEP,
    actions,
    dynamics,
    hairpins,
    held,
    marks,
    opened,
    sustains,
)
from cuesuggest.export.chart.phrases import ChartPhrase, Stretch, phrases
from cuesuggest.export.chart.short_words import fitted, plain, text_width
from cuesuggest.score.grid import Grid, tempo_words
from cuesuggest.score.records import Cue, clock, counted
from cuesuggest.song.hand_words import HandWords
from cuesuggest.song.rig_facts import hands_of

if TYPE_CHECKING:
    from cuesuggest.song import Song

__all__ = ["BARS_PER_LINE", "lay_out"]

BARS_PER_LINE = (16, 8, 4)
"""Bars side by side that a chart can have; 16 are two phrases of 8, each with its margin."""

_LABEL = 15.0
_TITLE = 18.0
_MARGIN = {16: 84.0, 8: 96.0, 4: 72.0}
_GUTTER = 18.0  # between two phrases side by side
_NUMBERS = 11.0  # baseline of the bar numbers
_STAFF_TOP, _STAFF_BASE = 15.0, 37.0
_BELOW = 9.0
_NEAR = 1e-3  # seconds
_LEGEND_STEP = 18.0
_HEADER = 44.0
# Below it the rules give a bar fewer cues, too (`evidence.weak` of a profile that has none of its own).
_SURE = 0.5

_LEGEND: tuple[tuple[MarkKind | str, str], ...] = (
    ("hairpin", "grows, fades"),
    ("sustain", "stays; heavier is stronger"),
    ("dynamic", "p subtle, f lift, ff intense"),
    ("cut-in", "in at once"),
    ("cut-out", "out at once"),
    ("held", "dark while held"),
    ("accent", "one-shot"),
    ("recall", "set in the dark"),
    ("call", "somebody else's line"),
    ("rest", "dark bar"),
    ("dashed", "uncertain bar"),
)


@dataclass(frozen=True, slots=True)
class _Part:
    """What all lines of a song share."""

    analysis: SongAnalysis
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
    found = phrases(part.analysis, part.length, times)
    groups = _cues_by_phrase(found, part)
    lines = [_chart_line(phrase, cues, part) for phrase, cues in zip(found, groups, strict=True)]
    header = tuple(_header(song, width))
    legend = tuple(_legend(width))
    legend_height = (legend[-1].y if legend else 0.0) + _LEGEND_STEP
    placed, pages, used = _paged(lines, columns, part.width + _GUTTER, height, legend_height)
    high = used + legend_height if height is None else height
    legend = tuple(_moved(item, high - legend_height) for item in legend)
    return Chart(bars_per_line, width, round(high, 2), pages, tuple(placed), header, legend)


def _part(song: Song, bars_per_line: int, width: float) -> _Part:
    cues = tuple(cue for cue in song.cues if cue.status != "rejected")
    looks = {look.id: look for look in song.looks}
    end = max([song.analysis.duration, *(cue.place.seconds + (cue.down_seconds or 0.0) for cue in cues)])
    evidence = song.profile.values.get("evidence")
    weak = evidence.get("weak") if isinstance(evidence, dict) else None
    light = drawn_light(cues, looks, Grid(song.analysis), end, hands_of(song))
    return _Part(
        song.analysis,
        light,
        tuple(held(light)),
        cues,
        HandWords(song),
        _MARGIN[bars_per_line],
        width,
        min(8, bars_per_line),
        weak if isinstance(weak, float) else _SURE,
        _new_meters(song.analysis),
    )


# One line.


def _chart_line(phrase: ChartPhrase, cues: list[Cue], part: _Part) -> ChartLine:
    bars = tuple(_bars(phrase, part))
    right = bars[-1].x + bars[-1].width
    at = _ruler(bars)
    drawn = tuple(hairpins(part.light, bars, at))
    signs = tuple(marks(cues, part.light, bars, at))
    loud = [each for each in dynamics(part.light, bars, at) if each.text.strip("()")]
    lasting = tuple(opened(sustains(part.held, bars, at), signs, loud))
    # Words may use the room to the right of a short phrase.
    room = part.margin, max(right, part.width)
    below, leaders, levels = actions(cues, part.light.starts, part.hand, room, at)
    words = [*_margin_words(phrase, part), *_numbers(phrase, bars, part), *loud, *below]
    margin_height = max((word.y for word in words if word.x < part.margin - 1), default=0.0)
    bottom = max(FIRST_WORDS + (levels - 1) * WORDS_STEP if levels else LIGHT + LIGHT_HALF, margin_height)
    return ChartLine(
        page=1,
        x=0.0,
        y=0.0,
        width=round(part.width, 2),
        height=round(bottom + _BELOW, 2),
        section=phrase.section.id if phrase.section else None,
        staff_x=part.margin,
        staff_to_x=round(right, 2),
        staff_top=_STAFF_TOP,
        staff_base=_STAFF_BASE,
        light_y=LIGHT,
        light_half=LIGHT_HALF,
        bars=bars,
        loudness=tuple(_loudness(phrase, bars)),
        sustains=lasting,
        hairpins=drawn,
        marks=signs,
        leaders=leaders,
        words=tuple(words),
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


def _loudness(phrase: ChartPhrase, bars: tuple[ChartBar, ...]) -> Iterator[tuple[float, float]]:
    for stretch, place in zip(phrase.stretches, bars, strict=True):
        if stretch.bar is None or not stretch.bar.envelope:
            yield (place.x, _STAFF_BASE)
            yield (round(place.x + place.width, 2), _STAFF_BASE)
            continue
        step = place.width / len(stretch.bar.envelope)
        for index, level in enumerate(stretch.bar.envelope):
            high = _STAFF_BASE - min(1.0, max(0.0, level)) * (_STAFF_BASE - _STAFF_TOP)
            yield (round(place.x + (index + 0.5) * step, 2), round(high, 2))


def _margin_words(phrase: ChartPhrase, part: _Part) -> Iterator[Words]:
    section = phrase.section
    room = part.margin - 16
    if section is None:
        # What is heard stands over the line itself.
        name = "before" if phrase.stretches[0].start < (part.analysis.music_start or 0.0) else "after"
        yield Words(name, 0.0, _STAFF_BASE, TEXT, "name", italic=True)
        return
    label = section.mark
    if not phrase.first:
        yield Words(f"({label})", 0.0, _STAFF_BASE, TEXT, "again")
        return
    yield Words(label, 0.0, 27.0, _LABEL, "label", bold=True)
    y = 41.0
    if section.name or section.role:
        yield Words(fitted(section.name or f"{section.role}?", TEXT, room), 0.0, y, TEXT, "name")
        y += 13.0
    if section.vamp:
        yield Words(fitted(f"until {section.vamp}", TEXT, room), 0.0, y, TEXT, "name", italic=True)
        y += 13.0
    if section.first_words:
        for text in _two_lines(f"“{plain(section.first_words)}”", room):
            yield Words(text, 0.0, y, TEXT, "first-words", italic=True)
            y += 13.0


def _two_lines(text: str, room: float) -> Iterator[str]:
    """Break a text once, at a space; what is over is shortened."""
    first = ""
    words = text.split(" ")
    while words and text_width(f"{first} {words[0]}".strip(), TEXT) <= room:
        first = f"{first} {words.pop(0)}".strip()
    if first:
        yield first
    if words:
        yield fitted(" ".join(words), TEXT, room)


def _numbers(phrase: ChartPhrase, bars: tuple[ChartBar, ...], part: _Part) -> Iterator[Words]:
    """Write bar numbers over the bar lines, a time signature where it changes, and what is heard."""
    events = part.analysis.events
    for stretch, place in zip(phrase.stretches, bars, strict=True):
        x = place.x
        if stretch.bar is None:
            text = f"{clock(stretch.start)} {stretch.heard}".rstrip()
            text = text if text_width(text, TEXT) <= place.width - 4 else clock(stretch.start)
            yield Words(text, x, _NUMBERS, TEXT, "heard", italic=True)
            continue
        number = str(stretch.bar.number)
        yield Words(number, x, _NUMBERS, TEXT, "number")
        x += text_width(number, TEXT) + 5
        if stretch.bar.number in part.new_meters:
            meter = stretch.bar.time_signature
            yield Words(meter, round(x, 2), _NUMBERS, TEXT, "meter", bold=True)
            x += text_width(meter, TEXT, bold=True) + 5
        heard = ", ".join(dict.fromkeys(event.kind for event in events if _starts_in(event, stretch)))
        room = place.x + place.width - x - 4
        if heard and text_width(heard, TEXT) <= room:
            yield Words(heard, round(x, 2), _NUMBERS, TEXT, "heard", italic=True)


def _starts_in(event: Event, stretch: Stretch) -> bool:
    return stretch.bar is not None and event.bar == stretch.bar.number


def _new_meters(analysis: SongAnalysis) -> frozenset[int]:
    """Return the bars whose time signature is not that of the bar before."""
    before = ""
    found: list[int] = []
    for bar in analysis.bars:
        if bar.time_signature != before:
            found.append(bar.number)
        before = bar.time_signature
    return frozenset(found)


# Pages.


def _paged(
    lines: list[ChartLine], columns: int, step: float, height: float | None, legend: float
) -> tuple[list[ChartLine], int, float]:
    """Put lines into rows and rows onto pages; the legend has its place on the last page."""
    rows = [lines[start : start + columns] for start in range(0, len(lines), columns)]
    placed: list[ChartLine] = []
    page, y = 1, _HEADER
    for index, row in enumerate(rows):
        high = max(line.height for line in row)
        below = legend if index == len(rows) - 1 else 0.0
        if height is not None and y + high + below > height and y > 0.0:
            page, y = page + 1, 0.0
        placed += [
            replace(line, page=page, x=round(column * step, 2), y=round(y, 2)) for column, line in enumerate(row)
        ]
        y += high
    return placed, page, y


def _header(song: Song, width: float) -> Iterator[Words]:
    analysis = song.analysis
    yield Words(fitted(song.title, _TITLE, width, bold=True), 0.0, 18.0, _TITLE, "title", bold=True)
    count = sum(bar.number >= 1 for bar in analysis.bars)
    if analysis.tempo_bpm is None:
        about = f"no music found; {clock(analysis.duration)} long"
    else:
        about = f"{tempo_words(analysis)}, {counted(count, 'bar')}, {clock(analysis.duration)}"
    yield Words(fitted(about, TEXT, width), 0.0, 33.0, TEXT, "about")


def _legend(width: float) -> Iterator[LegendItem]:
    x, y = 0.0, _LEGEND_STEP
    for sign, text in _LEGEND:
        wide = 30 + text_width(text, TEXT) + 14
        if x + wide > width and x > 0:
            x, y = 0.0, y + _LEGEND_STEP
        yield LegendItem(sign, x + 12, y - 4, Words(text, x + 28, y, TEXT, "about"))  # type: ignore[arg-type]
        x = round(x + wide, 2)


def _moved(item: LegendItem, by: float) -> LegendItem:
    return replace(item, y=round(item.y + by, 2), words=replace(item.words, y=round(item.words.y + by, 2)))
