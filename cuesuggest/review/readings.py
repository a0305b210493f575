"""Where the click falls in another reading of the beats, so that it can be heard before it is chosen."""

from __future__ import annotations

import re
from collections.abc import Sequence
from fractions import Fraction
from itertools import pairwise

from cuesuggest.analysis.types import SongAnalysis, felt_beats
from cuesuggest.review.page_sound import Click

__all__ = ["clicked"]

_LEVELS = {"half": Fraction(1, 2), "double": Fraction(2)}
_SECONDS = re.compile(r"\d{1,5}(?:\.\d{1,4})?")
_SAME_TIME = 0.05  # s
_LONGEST_GAP = 2.5  # beats; further apart, nobody counts between them


def clicked(analysis: SongAnalysis, reading: str = "") -> Click:
    """Return the click of a reading.

    Parameters
    ----------
    analysis : SongAnalysis
    reading : str
        A kind of `analysis.alternatives`; "from 12.5" comes in at a time, "on 12.5" is that moment alone, "not 12.5
        14" is silent between two. Empty, or one that is none of these, is what the document says.

    Returns
    -------
    Click
    """
    beats, downbeats = analysis.beats, frozenset(analysis.downbeats)
    kind, _, shift = reading.partition(" ")
    moments = [float(each) for each in _SECONDS.findall(shift)] if kind in ("from", "on", "not") else []
    if moments:
        return _at_moments(kind, moments, beats, downbeats)
    if len(beats) < 2 or analysis.meter is None:
        return Click(beats, downbeats)
    first = next((k for k, time in enumerate(beats) if time in downbeats), 0)
    if kind == "shift" and shift == "0.5":
        middles = {a: round((a + b) / 2, 4) for a, b in _neighbours(beats)}
        return Click(tuple(middles.values()), frozenset(middles[time] for time in downbeats if time in middles))
    if kind == "shift" and shift.isdigit():
        later = [beats[k + int(shift)] for k in range(len(beats) - int(shift)) if beats[k] in downbeats]
        return Click(beats, frozenset(later))
    if kind in _LEVELS or ":" in kind:
        ratio = _LEVELS.get(kind) or Fraction(kind.replace(":", "/"))
        return _at_level(beats, first, analysis.meter, ratio)
    count, _, unit = kind.partition("/")
    if count.isdigit() and unit.isdigit():
        return Click(beats, frozenset(beats[first :: felt_beats(kind)]))
    return Click(beats, downbeats)


def _at_moments(kind: str, moments: list[float], beats: Sequence[float], downbeats: frozenset[float]) -> Click:
    """Clicks that point to a moment; the moment itself is as strong as a 1."""
    first, last = moments[0], moments[-1]
    if kind == "on":
        return Click((first,), frozenset({first}))
    if kind == "not":
        left = tuple(beat for beat in beats if not first - _SAME_TIME <= beat < last - _SAME_TIME)
        return Click(left, downbeats)
    later = tuple(beat for beat in beats if beat > first + _SAME_TIME)
    return Click((first, *later), downbeats | {first})


def _neighbours(beats: Sequence[float]) -> list[tuple[float, float]]:
    """Beats that follow each other without a pause."""
    pairs = list(pairwise(beats))
    usual = sorted(b - a for a, b in pairs)[len(pairs) // 2]
    return [(a, b) for a, b in pairs if b - a < _LONGEST_GAP * usual]


def _at_level(beats: Sequence[float], first: int, per_bar: int, ratio: Fraction) -> Click:
    """So many beats in place of each one, counted from a downbeat on."""
    step = 1 / ratio
    lowest = -int(first / step)
    found, downbeats = [], set()
    whole = {a for a, _ in _neighbours(beats)}
    k = lowest
    while (at := first + k * step) <= len(beats) - 1:
        before, part = int(at), float(at % 1)
        if not part or beats[before] in whole:
            later = beats[min(before + 1, len(beats) - 1)]
            time = round(beats[before] + part * (later - beats[before]), 4)
            found.append(time)
            if k % per_bar == 0:
                downbeats.add(time)
        k += 1
    return Click(tuple(found), frozenset(downbeats))
