"""What lies on the light's line of the chart, and the words that hang under it."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence

from cuesuggest.export.chart.drawn_light import DYNAMICS, WEIGHTS, DrawnLight, Fade, LitSpan
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
    "hairpins",
    "held",
    "marks",
    "opened",
    "sustains",
]

TEXT = 11.0
LIGHT, LIGHT_HALF = 49.0, 5.0
FIRST_WORDS, WORDS_STEP = 68.0, 13.0
_SIGN = 12.0  # between the middles of two signs
_NEAR = 1e-3  # seconds
_OPEN_SIGNS = ("recall", "held", "call", "speed", "accent", "cut-in")
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


def opened(sustains: Iterable[Sustain], marks: Iterable[Mark], dynamics: Iterable[Words]) -> Iterator[Sustain]:
    """Leave a gap in the light's line where an open sign or a dynamic stands on it."""
    gaps = [(mark.x - 6, mark.x + 6) for mark in marks if mark.kind in _OPEN_SIGNS]
    gaps += [(words.x - text_width(words.text, words.size, bold=True) - 2, words.x + 4) for words in dynamics]
    for sustain in sustains:
        pieces = [(sustain.x, sustain.to_x)]
        for gap in gaps:
            pieces = [rest for piece in pieces for rest in _without(piece, gap)]
        yield from (Sustain(round(start, 2), round(end, 2), sustain.weight) for start, end in pieces if end - start > 1)


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


def dynamics(light: DrawnLight, bars: tuple[ChartBar, ...], at: Callable[[float], float]) -> Iterator[Words]:
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
    return Words(text, round(x - 8, 2), LIGHT + 4, TEXT + 1, "dynamic", "end", bold=True, italic=True)


def actions(
    cues: Sequence[Cue],
    starts: Mapping[str, float],
    hand: HandWords,
    room: tuple[float, float],
    at: Callable[[float], float],
) -> tuple[list[Words], tuple[tuple[float, float, float], ...], int]:
    """Set the words under their beats, lower where they would run into each other."""
    # The last first: what is earlier then goes lower, and its leader passes left of the words above it. What comes at
    # one place stands in the order in which it is read.
    begins: list[float] = []
    spans: list[tuple[int, float, float]] = []
    hanging: list[tuple[int, float]] = []
    words: list[Words] = []
    leaders: list[tuple[float, float, float]] = []
    margin, edge = room
    for cue in sorted(cues, key=lambda each: (-round(starts[each.id], 3), each.number)):
        x = at(starts[cue.id])
        text = fitted(f"{cue.number:g} {hand.short(cue)}", TEXT, edge - margin)
        wide = text_width(text, TEXT)
        left = round(max(margin, min(x, edge - wide)), 2)
        # The lowest leader that would go through these words says how far down they have to stand.
        under = max((k for k, below in hanging if left - 1 < below < left + wide), default=0)
        free = (k for k, begin in enumerate(begins) if k >= under and left + wide + _BETWEEN <= begin)
        level = next(free, max(under, len(begins)))
        begins += [edge + _BETWEEN] * (level + 1 - len(begins))
        begins[level] = left
        hanging.append((level, x))
        y = FIRST_WORDS + level * WORDS_STEP
        if level or x - left > 1.0:
            leaders.append((x, LIGHT + LIGHT_HALF + 2, FIRST_WORDS - TEXT + 1))
        for row in range(level):
            # A leader leaves out the words that had to move over its place.
            if not any(k == row and begin - 1 < x < end for k, begin, end in spans):
                top = FIRST_WORDS + row * WORDS_STEP - TEXT + 1
                leaders.append((x, top, top + WORDS_STEP))
        spans.append((level, left, left + wide))
        role: WordsRole = "call" if cue.kind == "call" or cue.who != "operator" else "action"
        words.append(Words(text, left, y, TEXT, role, italic=role == "call", cue=cue.id))
    order = {cue.id: k for k, cue in enumerate(sorted(cues, key=lambda each: (starts[each.id], each.number)))}
    return sorted(words, key=lambda each: order[each.cue or ""]), tuple(leaders), len(begins)
