"""What the light does through a song, in seconds: when it grows, stays, fades, flashes and is out.

The cues are followed side by side in the order of the hand; a cue that lands on its place begins earlier by its
fade. Nothing here knows where on the page a second lies.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from itertools import pairwise

from cuesuggest.analysis.types import Bar
from cuesuggest.chart.records import MarkKind
from cuesuggest.cues import ENTRANCES, Category, Cue, Look

__all__ = ["DYNAMICS", "WEIGHTS", "Fade", "Light", "Sign", "Stay", "follow", "hand_begins"]

DYNAMICS: dict[Category, str] = {"rest": "", "subtle": "p", "lift": "f", "intense": "ff"}
WEIGHTS: dict[Category, int] = {"rest": 1, "subtle": 1, "lift": 2, "intense": 3}
_SIGNS: dict[str, MarkKind] = {
    "cut-in": "cut-in",
    "cut-out": "cut-out",
    "one-shot": "accent",
    "recall": "recall",
    "speed": "speed",
    "call": "call",
}
_SOON = 1e-6
_BEAT = 0.5  # seconds of a count where there are no bars: 120 a minute, between slow and fast


@dataclass(frozen=True, slots=True)
class Fade:
    """A fade or ramp; how far its strokes are apart at both ends, 0..1."""

    start: float
    end: float
    from_open: float
    to_open: float
    cue: Cue


@dataclass(frozen=True, slots=True)
class Stay:
    """Light is on: how heavy, and the dynamic of its look."""

    start: float
    end: float
    category: Category


@dataclass(frozen=True, slots=True)
class Sign:
    """Something at a moment."""

    at: float
    kind: MarkKind
    cue: Cue


@dataclass(frozen=True, slots=True)
class Light:
    """The light of a whole song."""

    fades: tuple[Fade, ...]
    stays: tuple[Stay, ...]
    """In order, not overlapping; dark is where none is."""
    signs: tuple[Sign, ...]
    entrances: tuple[tuple[float, Category], ...]
    """When a look comes in, and its category; in order."""
    starts: Mapping[str, float]
    """Seconds at which the hand begins a cue, by the cue's id."""


@dataclass(frozen=True, slots=True)
class _Lit:
    """A side that is up."""

    since: float
    category: Category
    level: int | None


def follow(cues: Iterable[Cue], looks: Mapping[str, Look], bars: Mapping[int, Bar], end: float) -> Light:
    """Follow the light from cue to cue.

    Parameters
    ----------
    cues : iterable of Cue
        Without the rejected ones.
    looks : mapping
        By id.
    bars : mapping
        By number; a series counts them.
    end : float
        Seconds; what is still lit then ends there.

    Returns
    -------
    Light
    """
    fades: list[Fade] = []
    signs: list[Sign] = []
    spans: list[Stay] = []
    entrances: list[tuple[float, Category]] = []
    starts: dict[str, float] = {}
    lit: dict[str, _Lit] = {}

    def dark(side: str, at: float) -> None:
        up = lit.pop(side, None)
        if up is not None and at > up.since:
            spans.append(Stay(up.since, at, up.category))

    timed = sorted(((hand_begins(cue, bars), cue) for cue in cues), key=lambda pair: (pair[0], pair[1].number))
    for begin, cue in timed:
        starts[cue.id] = begin
        side = cue.side or ""
        up, down = _lengths(cue, bars)
        look = looks.get(cue.look or "")
        if cue.kind in ENTRANCES:
            others = [other for other in lit if other != side]
            leaves = begin + (down or up)
            if cue.kind == "crossfade" or cue.down_seconds is not None or cue.down_beats is not None:
                for other in others:
                    dark(other, leaves)
                # After a cut-in only the words tell it: drawn, it would lie under the sign.
                if others and leaves > begin + _SOON and cue.kind == "crossfade":
                    fades.append(Fade(begin, leaves, 1.0, 0.0, cue))
            if up > _SOON and cue.kind != "cut-in":
                fades.append(Fade(begin, begin + up, 0.0, 1.0, cue))
            dark(side, begin)
            lit[side] = _Lit(begin, look.category if look else "lift", cue.level)
            entrances.append((begin, lit[side].category))
        elif cue.kind == "ramp":
            before = lit.get(side)
            fades.append(Fade(begin, begin + max(up, down), *_ramp(before.level if before else None, cue.level), cue))
            if before is not None:
                lit[side] = _Lit(before.since, before.category, cue.level)
        elif cue.kind in ("fade-out", "cut-out") and cue.trigger != "held":
            gone = begin + (down if cue.kind == "fade-out" else 0.0)
            for other in [side] if side else list(lit):
                dark(other, gone)
            if gone > begin + _SOON:
                fades.append(Fade(begin, gone, 1.0, 0.0, cue))
        if cue.kind in _SIGNS:
            kind: MarkKind = "held" if cue.trigger == "held" and cue.kind == "cut-out" else _SIGNS[cue.kind]
            signs += [Sign(at, kind, cue) for at in _repeats(cue, bars)]
    for side in list(lit):
        dark(side, end)
    return Light(tuple(fades), tuple(_merged(spans)), tuple(signs), tuple(entrances), starts)


def hand_begins(cue: Cue, bars: Mapping[int, Bar]) -> float:
    """Tell when the hand begins a cue, in seconds.

    A cue that lands on its place begins earlier by its fade; a one-shot is told where it is seen, not where it is
    pressed.
    """
    if cue.anchor == "starts-on" or cue.kind == "one-shot":
        return cue.place.seconds
    up, down = _lengths(cue, bars)
    return max(0.0, cue.place.seconds - (down if cue.kind == "fade-out" else up))


def _lengths(cue: Cue, bars: Mapping[int, Bar]) -> tuple[float, float]:
    """Seconds of a cue's way up and down; from its counts where it has no seconds."""
    bar = bars.get(cue.place.bar) if cue.place.bar is not None else None
    beat = (bar.end - bar.start) / bar.beats if bar is not None else _BEAT
    up = (cue.up_beats or 0.0) * beat if cue.up_seconds is None else cue.up_seconds
    down = (cue.down_beats or 0.0) * beat if cue.down_seconds is None else cue.down_seconds
    return up, down


def _ramp(before: int | None, after: int | None) -> tuple[float, float]:
    """How open a ramp's strokes are: the higher level is fully open, the lower by its share, never closed."""
    if before is None or after is None or before == after:
        return 0.4, 1.0
    share = max(0.3, min(before, after) / max(before, after, 1))
    return (share, 1.0) if after > before else (1.0, share)


def _repeats(cue: Cue, bars: Mapping[int, Bar]) -> list[float]:
    if cue.series is None or cue.place.bar not in bars or cue.place.beat is None:
        return [cue.place.seconds]
    numbers = range(cue.series.first_bar, cue.series.last_bar + 1, max(1, cue.series.every_bars))
    shown = [bars[number] for number in numbers if number in bars and number not in cue.series.skip]
    return [bar.start + (cue.place.beat - 1) / bar.beats * (bar.end - bar.start) for bar in shown] or [
        cue.place.seconds
    ]


def _merged(spans: list[Stay]) -> list[Stay]:
    """Make of overlapping spans one line that is as heavy as the heaviest."""
    edges = sorted({edge for span in spans for edge in (span.start, span.end)})
    merged: list[Stay] = []
    for start, end in pairwise(edges):
        heaviest = max(
            (span.category for span in spans if span.start <= start and end <= span.end),
            key=lambda category: WEIGHTS[category],
            default=None,
        )
        if heaviest is None:
            continue
        if merged and merged[-1].end == start and merged[-1].category == heaviest:
            merged[-1] = Stay(merged[-1].start, end, heaviest)
        else:
            merged.append(Stay(start, end, heaviest))
    return merged
