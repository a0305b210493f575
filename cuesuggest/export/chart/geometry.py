"""The geometry of a song's chart: frozen records in abstract units, drawn alike on screen and on paper.

One unit is a pixel on a screen that shows the chart at its own size; text is 11 units high or more. Inside a
line, x and y count from the line's upper left corner, y downwards; a line says where on which page it stands.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

__all__ = [
    "Chart",
    "ChartBar",
    "ChartLine",
    "Hairpin",
    "KeyItem",
    "LegendItem",
    "LegendSign",
    "Mark",
    "MarkKind",
    "Sustain",
    "Words",
    "WordsRole",
]

MarkKind = Literal["accent", "cut-in", "cut-out", "held", "recall", "speed", "call", "rest"]
LegendSign = MarkKind | Literal["drive", "hairpin", "sustain", "letters", "dashed"]
WordsRole = Literal[
    "title", "about", "number", "meter", "heard", "label", "again", "name", "first-words", "dynamic", "action", "call"
]  # fmt: skip


@dataclass(frozen=True, slots=True)
class Words:
    """A text on one line, standing on its baseline."""

    text: str
    x: float
    y: float
    size: float
    role: WordsRole
    anchor: Literal["start", "middle", "end"] = "start"
    bold: bool = False
    italic: bool = False
    cue: str | None = None
    """Id of the cue that it speaks of."""


@dataclass(frozen=True, slots=True)
class ChartBar:
    """A bar, or a stretch without bars such as talk; time runs evenly through its width."""

    number: int | None
    """None for a stretch without bars."""
    start: float
    """Seconds from the start of the recording, as `end`."""
    end: float
    beats: int
    """0 for a stretch without bars."""
    x: float
    width: float
    dashed: bool
    """Its bar lines are dashed, because it is uncertain."""
    opens_section: bool


@dataclass(frozen=True, slots=True)
class Hairpin:
    """Light that grows or fades: two strokes `from_open` apart at `x`, `to_open` apart at `to_x`."""

    x: float
    to_x: float
    from_open: float
    """0 (closed) to 1 (fully open)."""
    to_open: float
    cue: str


@dataclass(frozen=True, slots=True)
class Sustain:
    """Light that stays: a stroke on the light's line, as heavy as its category."""

    x: float
    to_x: float
    weight: int
    """1 subtle, 2 lift, 3 intense."""


@dataclass(frozen=True, slots=True)
class Mark:
    """A sign on the light's line, centred on `x`."""

    kind: MarkKind
    x: float
    cue: str | None = None


@dataclass(frozen=True, slots=True)
class ChartLine:
    """A phrase: bars on a line like a staff, the margin at its left, the light below."""

    page: int
    x: float
    y: float
    width: float
    height: float
    section: str | None
    """Id of the section; None outside the sections."""
    staff_x: float
    """Where the margin ends and the staff begins."""
    staff_to_x: float
    staff_top: float
    """Where bar lines begin; the song's strongest bars reach nearly as high."""
    staff_base: float
    """The staff's line itself, where bar lines end."""
    light_y: float
    """The line on which the light is written."""
    light_half: float
    """Half the height of an open hairpin."""
    bars: tuple[ChartBar, ...]
    drive: tuple[tuple[float, float], ...]
    """How hard the music pushes, bar by bar: points of one thin path."""
    sustains: tuple[Sustain, ...]
    hairpins: tuple[Hairpin, ...]
    marks: tuple[Mark, ...]
    leaders: tuple[tuple[float, float, float], ...]
    """Thin strokes straight down from the light to words that could not stand right under it: x, y, lower y."""
    words: tuple[Words, ...]


@dataclass(frozen=True, slots=True)
class LegendItem:
    """What a sign means, at the foot of the last page."""

    sign: LegendSign
    x: float
    y: float
    """Of the sign's middle."""
    shown: str
    """The letters that are explained; nothing where a sign is drawn."""
    words: Words


@dataclass(frozen=True, slots=True)
class KeyItem:
    """What short words of the chart mean, below the signs where there is room."""

    short: Words
    meaning: Words


@dataclass(frozen=True, slots=True)
class Chart:
    """A whole song on one or more pages of `width` by `height`."""

    bars_per_line: int
    width: float
    height: float
    pages: int
    lines: tuple[ChartLine, ...]
    header: tuple[Words, ...]
    """Title and what the song is like; on the first page."""
    legend: tuple[LegendItem, ...]
    """Of the signs that stand on the chart."""
    key: tuple[KeyItem, ...]
    """Of the short words that stand on the chart; empty where a page has no room for it."""
