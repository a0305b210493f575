"""What of the light is drawn: where it grows, stays and fades, signs at moments, and the category of what comes in.

The cues themselves are followed by `cuesuggest.score.light`. Nothing here knows where on the page a second lies.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

from cuesuggest.export.chart.geometry import MarkKind
from cuesuggest.score.grid import Grid
from cuesuggest.score.light import Step, follow, is_held, lit_stretches, presses
from cuesuggest.score.records import ENTRANCES, EXITS, Category, Cue, Look

__all__ = ["DYNAMICS", "WEIGHTS", "DrawnLight", "Entrance", "Fade", "LitSpan", "Sign", "drawn_light"]

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
_JUST_THEN = 0.1  # s
_LONG = 0.9  # bars; a shorter rise is read as one sign with the category in front of it
_UNKNOWN: Category = "lift"  # of a cue that names no look


@dataclass(frozen=True, slots=True)
class Fade:
    """A fade or ramp; how far its strokes are apart at both ends, 0..1."""

    start: float
    end: float
    from_open: float
    to_open: float
    cue: Cue


@dataclass(frozen=True, slots=True)
class LitSpan:
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
class Entrance:
    """A look comes in."""

    start: float
    at: float
    """When its category is said: at the end of a rise that leads to it, as a dynamic stands behind its hairpin."""
    category: Category
    from_dark: bool

    @property
    def rises(self) -> bool:
        """Whether it is said at the end of a rise."""
        return self.at > self.start


@dataclass(frozen=True, slots=True)
class DrawnLight:
    """The light of a whole song."""

    fades: tuple[Fade, ...]
    stays: tuple[LitSpan, ...]
    """In order, not overlapping; dark is where none is."""
    signs: tuple[Sign, ...]
    entrances: tuple[Entrance, ...]
    """In the order in which their categories are said."""
    starts: Mapping[str, float]
    """Seconds at which the hand begins a cue, by the cue's id."""


def drawn_light(cues: Iterable[Cue], looks: Mapping[str, Look], grid: Grid, end: float, hands: int) -> DrawnLight:
    """Follow the light from cue to cue.

    Parameters
    ----------
    cues : iterable of Cue
        Without the rejected ones.
    looks : mapping
        By id.
    grid : Grid
        Of the song.
    end : float
        Seconds; what is still lit then ends there.
    hands : int
        Of the person who plays.

    Returns
    -------
    DrawnLight
    """
    steps = follow(cues, grid=grid, looks=looks.values(), hands=hands)

    def category(cue: Cue) -> Category:
        look = looks.get(cue.look or "")
        return look.category if look else _UNKNOWN

    spans = [
        LitSpan(lit.start, lit.end, category(lit.entered)) for lit in lit_stretches(steps, end) if lit.end > lit.start
    ]
    signs = [
        Sign(at, "held" if is_held(step.cue) else _SIGNS[step.cue.kind], step.cue)
        for step in steps
        if step.cue.kind in _SIGNS
        for at in presses(step.cue, grid)
    ]
    entrances = [_entrance(step, steps, category(step.cue), grid) for step in steps if step.cue.kind in ENTRANCES]
    return DrawnLight(
        tuple(fade for step in steps for fade in _fades(step)),
        tuple(_merged(spans)),
        tuple(signs),
        tuple(sorted(entrances, key=lambda each: each.at)),
        {step.cue.id: max(step.at, 0.0) for step in steps},
    )


def _entrance(step: Step, steps: Sequence[Step], category: Category, grid: Grid) -> Entrance:
    """Say a look's category where it is there.

    That is the end of a rise that lands on its place, or of a long one from dark, which is nothing yet where it
    begins; unless something else takes over before.
    """
    lands = step.moves[0].end if step.moves else step.at
    dark = not any(state.lit for state in step.before.values())
    long = bool(grid.bars) and lands - step.at > _LONG * grid.bar_seconds(step.at)
    taken = any(
        step.at < other.at < lands + _JUST_THEN and other.cue.kind in (*ENTRANCES, *EXITS) and not is_held(other.cue)
        for other in steps
    )
    rises = not taken and (step.cue.anchor == "lands-on" or (dark and long))
    return Entrance(step.at, lands if rises else step.at, category, dark)


def _fades(step: Step) -> Iterable[Fade]:
    cue = step.cue
    for move in step.moves:
        if move.seconds <= _SOON:
            continue
        if cue.kind == "ramp":
            before = step.before.get(move.side)
            yield Fade(move.start, move.end, *_ramp(before.level if before and before.lit else None, cue.level), cue)
        elif cue.kind in EXITS:
            yield Fade(move.start, move.end, 1.0, 0.0, cue)
        elif move.side == (cue.side or ""):
            yield Fade(move.start, move.end, 0.0, 1.0, cue)
        elif cue.kind == "crossfade":
            # After a cut-in only the words tell it: drawn, it would lie under the sign.
            yield Fade(move.start, move.end, 1.0, 0.0, cue)


def _ramp(before: int | None, after: int | None) -> tuple[float, float]:
    """How open a ramp's strokes are: the higher level is fully open, the lower by its share, never closed."""
    if before is None or after is None or before == after:
        return 0.4, 1.0
    share = max(0.3, min(before, after) / max(before, after, 1))
    return (share, 1.0) if after > before else (1.0, share)


def _merged(spans: list[LitSpan]) -> list[LitSpan]:
    """Make of overlapping spans one line that is as heavy as the heaviest."""
    edges = sorted({edge for span in spans for edge in (span.start, span.end)})
    merged: list[LitSpan] = []
    for start, end in pairwise(edges):
        heaviest = max(
            (span.category for span in spans if span.start <= start and end <= span.end),
            key=lambda category: WEIGHTS[category],
            default=None,
        )
        if heaviest is None:
            continue
        if merged and merged[-1].end == start and merged[-1].category == heaviest:
            merged[-1] = LitSpan(merged[-1].start, end, heaviest)
        else:
            merged.append(LitSpan(start, end, heaviest))
    return merged
