"""The signs that stand on the light's line, as strokes: drawn, so that no font has to have them."""

from __future__ import annotations

from dataclasses import dataclass
from math import cos, pi, sin

from cuesuggest.export.chart.geometry import MarkKind

__all__ = ["SIGNS", "Stroke"]


@dataclass(frozen=True, slots=True)
class Stroke:
    """A path of straight pieces about the sign's middle, in units, y downwards."""

    points: tuple[tuple[float, float], ...]
    width: float
    closed: bool = False
    filled: bool = False


_RING = tuple((round(3.2 * cos(k * pi / 8), 2), round(3.2 * sin(k * pi / 8), 2)) for k in range(16))

SIGNS: dict[MarkKind, tuple[Stroke, ...]] = {
    # The accents, the break and the bar's rest of common music notation.
    "accent": (Stroke(((-5, -4), (5, 0), (-5, 4)), 1.5),),
    "cut-in": (Stroke(((-4, 5), (0, -5), (4, 5)), 1.8),),
    "cut-out": (Stroke(((-5, 5), (-1, -5)), 1.8), Stroke(((0, 5), (4, -5)), 1.8)),
    "rest": (Stroke(((-4.5, -1.5), (4.5, -1.5), (4.5, 1.8), (-4.5, 1.8)), 0.5, closed=True, filled=True),),
    # Held down like a pedal: a bracket open to below.
    "held": (Stroke(((-5, 5), (-5, -4), (5, -4), (5, 5)), 1.5),),
    "recall": (Stroke(_RING, 1.2, closed=True),),
    "speed": (Stroke(((-6, 2.5), (-3, -2.5), (0, 2.5), (3, -2.5), (6, 2.5)), 1.3),),
    "call": (Stroke(((-3.2, -3.2), (3.2, -3.2), (3.2, 3.2), (-3.2, 3.2)), 1.2, closed=True),),
}
