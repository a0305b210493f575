"""What lies on the light's line of the chart, and the words that hang under it."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from itertools import groupby, pairwise
from typing import Literal

from cuesuggest.export.chart.drawn_light import DYNAMICS, WEIGHTS, DrawnLight, Entrance, Fade, LitSpan
from cuesuggest.export.chart.geometry import ChartBar, Hairpin, Mark, Sustain, Words, WordsRole
from cuesuggest.export.chart.short_words import fitted, text_width
from cuesuggest.score.records import Cue
from cuesuggest.song.hand_words import HandWords

__all__ = [
    "FIRST_WORDS",
    "LIGHT",
    "LIGHT_HALF",
    "TEXT",
    "WORDS_STEP",
    "actions",
    "dynamics",
    "extent",
    "gaps",
    "hairpins",
    "held",
    "marks",
    "opened",
    "parted",
    "sustains",
]

TEXT = 11.0
LIGHT, LIGHT_HALF = 45.0, 5.0
FIRST_WORDS, WORDS_STEP = 63.0, 13.0
_SIGN = 12.0  # between the middles of two signs
_NEAR = 1e-3  # seconds
_TOGETHER = 0.1  # seconds; the hand cannot tell them apart, so cues stand in the order of their numbers
_IN_FRONT = 10.0  # from the end of a category to what begins
_BETWEEN = 7.0  # between words side by side


def _inside(start: float, end: float, bars: tuple[ChartBar, ...]) -> tuple[float, float] | None:
    """Cut a span of time to a line; None where they do not meet."""
    low, high = max(start, bars[0].start), min(end, bars[-1].end)
    return (low, high) if high > low else None


def hairpins(light: DrawnLight, bars: tuple[ChartBar, ...], at: Callable[[float], float]) -> Iterator[Hairpin]:
    """Draw what grows and fades on a line."""
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


def held(light: DrawnLight) -> Iterator[tuple[float, float, int]]:
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


def sustains(
    pieces: Iterable[tuple[float, float, int]], bars: tuple[ChartBar, ...], at: Callable[[float], float]
) -> Iterator[Sustain]:
    """Draw what stays on a line."""
    for start, end, weight in pieces:
        cut = _inside(start, end, bars)
        if cut is not None and at(cut[1]) - at(cut[0]) > 1.0:
            yield Sustain(at(cut[0]), at(cut[1]), weight)


def gaps(marks: Iterable[Mark], dynamics: Iterable[Words]) -> list[tuple[float, float]]:
    """Return where a sign or a category stands on the light's line, and light leaves room for it."""
    signs = [(mark.x - _SIGN / 2, mark.x + _SIGN / 2) for mark in marks if mark.kind != "rest"]
    return signs + [(start - 2, end + 2) for start, end in map(extent, dynamics)]


def extent(words: Words) -> tuple[float, float]:
    """Return where a text begins and ends."""
    wide = text_width(words.text, words.size, bold=words.bold)
    return (words.x - wide, words.x) if words.anchor == "end" else (words.x, words.x + wide)


def _around(start: float, end: float, gaps: Iterable[tuple[float, float]]) -> list[tuple[float, float]]:
    pieces = [(start, end)]
    for gap in gaps:
        pieces = [rest for piece in pieces for rest in _without(piece, gap)]
    return [(low, high) for low, high in pieces if high - low > 1]


def opened(sustains: Iterable[Sustain], gaps: Sequence[tuple[float, float]]) -> Iterator[Sustain]:
    """Leave a gap in light that stays wherever something stands on it."""
    for each in sustains:
        for start, end in _around(each.x, each.to_x, gaps):
            yield Sustain(round(start, 2), round(end, 2), each.weight)


def parted(hairpins: Iterable[Hairpin], gaps: Sequence[tuple[float, float]]) -> Iterator[Hairpin]:
    """Leave a gap in light that grows or fades, too; behind it, it is as far open as it would have been."""
    for pin in hairpins:
        pieces = _around(pin.x, pin.to_x, gaps)
        # A hairpin shorter than what stands on it stays whole.
        for start, end in pieces or [(pin.x, pin.to_x)]:
            opens = [
                pin.from_open + (x - pin.x) / ((pin.to_x - pin.x) or 1.0) * (pin.to_open - pin.from_open)
                for x in (start, end)
            ]
            yield Hairpin(round(start, 2), round(end, 2), round(opens[0], 3), round(opens[1], 3), pin.cue)


def marks(
    cues: list[Cue], light: DrawnLight, bars: tuple[ChartBar, ...], at: Callable[[float], float]
) -> Iterator[Mark]:
    """Set signs on the light's line, apart from each other, and a rest in every dark bar."""
    owned = {cue.id for cue in cues}
    xs: list[float] = []
    for sign in light.signs:
        here = sign.cue.id in owned if sign.cue.series is None else bars[0].start <= sign.at < bars[-1].end
        if here:
            x = at(sign.at)
            while any(abs(x - other) < _SIGN for other in xs):
                x += 1.0
            xs.append(x)
            yield Mark(sign.kind, round(x, 2), sign.cue.id)
    moves: tuple[Fade | LitSpan, ...] = (*light.fades, *light.stays)
    busy = [(each.start, each.end) for each in moves if _inside(each.start, each.end, bars) is not None]
    for bar in bars:
        middle = round(bar.x + bar.width / 2, 2)
        dark = not any(start < bar.end - _NEAR and end > bar.start + _NEAR for start, end in busy)
        if dark and not any(abs(middle - x) < _SIGN for x in xs):
            yield Mark("rest", middle)


def dynamics(
    light: DrawnLight, bars: tuple[ChartBar, ...], at: Callable[[float], float], signs: Iterable[Mark]
) -> list[Words]:
    """Write the category of a look where it comes in; in brackets where a line begins in the middle of it."""
    begin, end = bars[0].start, bars[-1].end
    left = bars[0].x
    here = [each for each in light.entrances if DYNAMICS[each.category] and begin - _NEAR <= each.at < end]
    before = [each for each in light.entrances if each.at < begin - _NEAR]
    lit = any(stay.start < begin + _NEAR < stay.end for stay in light.stays)
    # Light that still rises from dark is nothing yet.
    rising = any(each.from_dark and each.start < begin + _NEAR < each.at for each in light.entrances)
    taken = [(mark.x - _SIGN / 2, mark.x + _SIGN / 2) for mark in signs]
    words: list[Words] = []
    still = DYNAMICS[before[-1].category] if before else ""
    if still and lit and not rising and not (here and at(here[0].at) - left < 2 * TEXT):
        words.append(_dynamic(f"({still})", left - _IN_FRONT, "end"))
    for each in here:
        words.append(_beside(each, at(each.at), left, [*taken, *map(extent, words)]))
    return words


def _beside(entrance: Entrance, x: float, left: float, taken: Sequence[tuple[float, float]]) -> Words:
    """Set a category in front of what begins, or behind the rise that leads to it and what stands there."""
    text = DYNAMICS[entrance.category]
    in_front = _dynamic(text, x - _IN_FRONT, "end")
    if (not entrance.rises or x - left < 1.0) and _is_clear(in_front, taken):
        return in_front
    x += 3
    while not _is_clear(behind := _dynamic(text, x, "start"), taken):
        x += 1.0
    return behind


def _is_clear(words: Words, taken: Iterable[tuple[float, float]]) -> bool:
    start, end = extent(words)
    return all(end <= low or high <= start for low, high in taken)


def _dynamic(text: str, x: float, anchor: Literal["start", "end"]) -> Words:
    return Words(text, round(x, 2), LIGHT + 4, TEXT + 1, "dynamic", anchor, bold=True, italic=True)


def actions(
    cues: Sequence[Cue],
    starts: Mapping[str, float],
    hand: HandWords,
    bars: tuple[ChartBar, ...],
    room: tuple[float, float],
    at: Callable[[float], float],
) -> tuple[list[Words], tuple[tuple[float, float, float], ...], int]:
    """Set the words under their beats, lower where they would run into each other.

    Those of a bar stand in the order in which they are read. The last bar comes first: what is earlier then goes
    lower, and its leader passes left of the words above it.
    """
    spans: list[tuple[int, float, float]] = []
    hanging: list[tuple[int, float]] = []
    words: dict[str, Words] = {}
    leaders: list[tuple[float, float, float]] = []
    margin, edge = room
    order = _in_order(cues, starts)
    begins = [bar.start - _NEAR for bar in bars]
    in_bars = [list(group) for _, group in groupby(order, key=lambda cue: bisect_right(begins, starts[cue.id]))]
    for group in reversed(in_bars):
        lowest = 0
        for cue in group:
            x = at(starts[cue.id])
            text = fitted(f"{cue.number:g} {hand.short(cue)}", TEXT, edge - margin)
            wide = text_width(text, TEXT)
            left = round(max(margin, min(x, edge - wide)), 2)
            # The lowest leader that would go through these words says how far down they have to stand.
            under = max((k for k, below in hanging if left - 1 < below < left + wide), default=0)
            level = max(under, lowest)
            while not _is_free(level, left, left + wide, spans):
                level += 1
            lowest = level
            hanging.append((level, x))
            y = FIRST_WORDS + level * WORDS_STEP
            if level or x - left > 1.0:
                leaders.append((x, LIGHT + LIGHT_HALF + 2, FIRST_WORDS - TEXT + 1))
            for row in range(level):
                # A leader leaves out the words that stand in its way: earlier ones of its bar, or moved there.
                if not any(k == row and begin - 1 < x < end for k, begin, end in spans):
                    top = FIRST_WORDS + row * WORDS_STEP - TEXT + 1
                    leaders.append((x, top, top + WORDS_STEP))
            spans.append((level, left, left + wide))
            role: WordsRole = "call" if cue.kind == "call" or cue.who != "operator" else "action"
            words[cue.id] = Words(text, left, y, TEXT, role, italic=role == "call", cue=cue.id)
    levels = max((level for level, _, _ in spans), default=-1) + 1
    return [words[cue.id] for cue in order], tuple(leaders), levels


def _is_free(level: int, start: float, end: float, spans: Iterable[tuple[int, float, float]]) -> bool:
    return all(k != level or end + _BETWEEN <= low or high + _BETWEEN <= start for k, low, high in spans)


def _in_order(cues: Iterable[Cue], starts: Mapping[str, float]) -> list[Cue]:
    """Put cues in the order in which they are read: as the hand begins them, together by their numbers."""
    timed = sorted(cues, key=lambda each: (starts[each.id], each.number))
    group = 0
    groups = [0] * len(timed)
    for k, (one, other) in enumerate(pairwise(timed), 1):
        group += starts[other.id] - starts[one.id] > _TOGETHER
        groups[k] = group
    return [cue for _, cue in sorted(zip(groups, timed, strict=True), key=lambda each: (each[0], each[1].number))]
