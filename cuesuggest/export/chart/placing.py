"""Where on the page everything of the chart stands; `lay_out` is the one place that decides it."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from cuesuggest.analysis.types import Event, SongAnalysis
from cuesuggest.export.chart.drawn_light import DYNAMICS, WEIGHTS, DrawnLight, Fade, LitSpan, drawn_light
from cuesuggest.export.chart.geometry import (
    Chart,
    ChartBar,
    ChartLine,
    Hairpin,
    LegendItem,
    Mark,
    MarkKind,
    Sustain,
    Words,
    WordsRole,
)
from cuesuggest.export.chart.phrases import ChartPhrase, Stretch, phrases
from cuesuggest.export.chart.short_words import action, fitted, plain, text_width
from cuesuggest.score.grid import Grid
from cuesuggest.score.records import Cue, Look, clock, counted
from cuesuggest.song.rig_facts import hands_of

if TYPE_CHECKING:
    from cuesuggest.song import Song

__all__ = ["BARS_PER_LINE", "lay_out"]

BARS_PER_LINE = (16, 8, 4)
"""Bars side by side that a chart can have; 16 are two phrases of 8, each with its margin."""

TEXT = 11.0
_LABEL = 15.0
_TITLE = 18.0
_MARGIN = {16: 84.0, 8: 96.0, 4: 72.0}
_GUTTER = 18.0  # between two phrases side by side
_NUMBERS = 11.0  # baseline of the bar numbers
_STAFF_TOP, _STAFF_BASE = 15.0, 37.0
_LIGHT, _LIGHT_HALF = 49.0, 5.0
_FIRST_WORDS, _WORDS_STEP = 68.0, 13.0
_BELOW = 9.0
_SIGN = 12.0  # between the middles of two signs
_NEAR = 1e-3  # seconds
_OPEN_SIGNS = ("recall", "held", "call", "speed", "accent", "cut-in")
_BETWEEN = 7.0  # between words side by side
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
    """As `_held` gives them."""
    cues: tuple[Cue, ...]
    looks: Mapping[str, Look]
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
        tuple(_held(light)),
        cues,
        looks,
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
    hairpins = tuple(_hairpins(part.light, bars, at))
    marks = tuple(_marks(cues, part, bars, at))
    dynamics = [each for each in _dynamics(part.light, bars, at) if each.text.strip("()")]
    sustains = tuple(_opened(_sustains(part, bars, at), marks, dynamics))
    actions, leaders, levels = _actions(cues, part, at, right)
    words = [*_margin_words(phrase, part), *_numbers(phrase, bars, part), *dynamics, *actions]
    margin_height = max((word.y for word in words if word.x < part.margin - 1), default=0.0)
    bottom = max(_FIRST_WORDS + (levels - 1) * _WORDS_STEP if levels else _LIGHT + _LIGHT_HALF, margin_height)
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
        light_y=_LIGHT,
        light_half=_LIGHT_HALF,
        bars=bars,
        loudness=tuple(_loudness(phrase, bars)),
        sustains=sustains,
        hairpins=hairpins,
        marks=marks,
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


def _inside(start: float, end: float, bars: tuple[ChartBar, ...]) -> tuple[float, float] | None:
    """Cut a span of time to a line; None where they do not meet."""
    low, high = max(start, bars[0].start), min(end, bars[-1].end)
    return (low, high) if high > low else None


def _hairpins(light: DrawnLight, bars: tuple[ChartBar, ...], at: Callable[[float], float]) -> Iterator[Hairpin]:
    for fade in light.fades:
        cut = _inside(fade.start, fade.end, bars)
        if cut is None:
            continue
        # A hairpin that goes over the end of a line goes on as far open as it was.
        opens = [
            fade.from_open + (time - fade.start) / (fade.end - fade.start) * (fade.to_open - fade.from_open)
            for time in cut
        ]
        yield Hairpin(at(cut[0]), at(cut[1]), round(opens[0], 3), round(opens[1], 3), fade.cue.id)


def _held(light: DrawnLight) -> Iterator[tuple[float, float, int]]:
    """Parts of the song, in seconds, in which light stays, and how heavy; hairpins say the rest."""
    for stay in light.stays:
        pieces = [(stay.start, stay.end)]
        for fade in light.fades:
            if fade.start < stay.end and fade.end > stay.start:
                pieces = [rest for piece in pieces for rest in _without(piece, (fade.start, fade.end))]
        for start, end in pieces:
            yield start, end, WEIGHTS[stay.category]


def _without(piece: tuple[float, float], taken: tuple[float, float]) -> list[tuple[float, float]]:
    if taken[1] <= piece[0] or piece[1] <= taken[0]:
        return [piece]
    return [(a, b) for a, b in ((piece[0], taken[0]), (taken[1], piece[1])) if b > a]


def _sustains(part: _Part, bars: tuple[ChartBar, ...], at: Callable[[float], float]) -> Iterator[Sustain]:
    for start, end, weight in part.held:
        cut = _inside(start, end, bars)
        if cut is not None and at(cut[1]) - at(cut[0]) > 1.0:
            yield Sustain(at(cut[0]), at(cut[1]), weight)


def _opened(sustains: Iterable[Sustain], marks: Iterable[Mark], dynamics: Iterable[Words]) -> Iterator[Sustain]:
    """Leave a gap in the light's line where an open sign or a dynamic stands on it."""
    gaps = [(mark.x - 6, mark.x + 6) for mark in marks if mark.kind in _OPEN_SIGNS]
    gaps += [(words.x - text_width(words.text, words.size, bold=True) - 2, words.x + 4) for words in dynamics]
    for sustain in sustains:
        pieces = [(sustain.x, sustain.to_x)]
        for gap in gaps:
            pieces = [rest for piece in pieces for rest in _without(piece, gap)]
        yield from (Sustain(round(start, 2), round(end, 2), sustain.weight) for start, end in pieces if end - start > 1)


def _marks(cues: list[Cue], part: _Part, bars: tuple[ChartBar, ...], at: Callable[[float], float]) -> Iterator[Mark]:
    owned = {cue.id for cue in cues}
    xs: list[float] = []
    for sign in part.light.signs:
        here = sign.cue.id in owned if sign.cue.series is None else bars[0].start <= sign.at < bars[-1].end
        if here:
            x = at(sign.at)
            while any(abs(x - other) < _SIGN for other in xs):
                x += 1.0
            xs.append(x)
            yield Mark(sign.kind, round(x, 2), sign.cue.id)
    moves: tuple[Fade | LitSpan, ...] = (*part.light.fades, *part.light.stays)
    busy = [(each.start, each.end) for each in moves if _inside(each.start, each.end, bars) is not None]
    for bar in bars:
        middle = round(bar.x + bar.width / 2, 2)
        dark = not any(start < bar.end - _NEAR and end > bar.start + _NEAR for start, end in busy)
        if dark and not any(abs(middle - x) < _SIGN for x in xs):
            yield Mark("rest", middle)


def _dynamics(light: DrawnLight, bars: tuple[ChartBar, ...], at: Callable[[float], float]) -> Iterator[Words]:
    """Write the category of a look where it comes in; in brackets where a line begins in the middle of it."""
    begin, end = bars[0].start, bars[-1].end
    here = [entrance for entrance in light.entrances if begin - _NEAR <= entrance[0] < end]
    before = [category for time, category in light.entrances if time < begin - _NEAR]
    lit = any(stay.start < begin + _NEAR < stay.end for stay in light.stays)
    if before and lit and not (here and at(here[0][0]) - bars[0].x < 2 * TEXT):
        yield _dynamic(f"({DYNAMICS[before[-1]]})", bars[0].x)
    for time, category in here:
        yield _dynamic(DYNAMICS[category], at(time))


def _dynamic(text: str, x: float) -> Words:
    return Words(text, round(x - 8, 2), _LIGHT + 4, TEXT + 1, "dynamic", "end", bold=True, italic=True)


def _actions(
    cues: Iterable[Cue], part: _Part, at: Callable[[float], float], right: float
) -> tuple[list[Words], tuple[tuple[float, float, float], ...], int]:
    """Set the words under their beats, lower where they would run into each other."""
    # The last first: what is earlier then goes lower, and its leader passes left of the words above it.
    begins: list[float] = []
    spans: list[tuple[int, float, float]] = []
    hanging: list[tuple[int, float]] = []
    words: list[Words] = []
    leaders: list[tuple[float, float, float]] = []
    # Words may use the room to the right of a short phrase.
    edge = max(right, part.width)
    for cue in sorted(cues, key=lambda each: (part.light.starts[each.id], each.number), reverse=True):
        x = at(part.light.starts[cue.id])
        text = fitted(f"{cue.number:g} {action(cue, part.looks)}", TEXT, edge - part.margin)
        wide = text_width(text, TEXT)
        left = round(max(part.margin, min(x, edge - wide)), 2)
        # The lowest leader that would go through these words says how far down they have to stand.
        under = max((k for k, below in hanging if left - 1 < below < left + wide), default=0)
        free = (k for k, begin in enumerate(begins) if k >= under and left + wide + _BETWEEN <= begin)
        level = next(free, max(under, len(begins)))
        begins += [edge + _BETWEEN] * (level + 1 - len(begins))
        begins[level] = left
        hanging.append((level, x))
        y = _FIRST_WORDS + level * _WORDS_STEP
        if level or x - left > 1.0:
            leaders.append((x, _LIGHT + _LIGHT_HALF + 2, _FIRST_WORDS - TEXT + 1))
        for row in range(level):
            # A leader leaves out the words that had to move over its place.
            if not any(k == row and begin - 1 < x < end for k, begin, end in spans):
                top = _FIRST_WORDS + row * _WORDS_STEP - TEXT + 1
                leaders.append((x, top, top + _WORDS_STEP))
        spans.append((level, left, left + wide))
        role: WordsRole = "call" if cue.kind == "call" or cue.who != "operator" else "action"
        words.append(Words(text, left, y, TEXT, role, italic=role == "call", cue=cue.id))
    return words[::-1], tuple(leaders), len(begins)


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
        about = f"{analysis.tempo_bpm:.0f} beats a minute, {counted(count, 'bar')}, {clock(analysis.duration)}"
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
