"""Builds, the drops that they lead to, and breakdowns: read from bars, told at bar lines.

A build ends on a bar line: there the network's logit of a build falls at once, and cymbals and pulse come back. Every
bar line where it falls more than at its neighbours is a candidate, as the end of a build and as a drop; a drop brings
low end and level as well. How long the build was, 2, 4, 8 or 16 bars, is the likeliest of the four by the logit inside
it and where it begins: the logit itself rises too early, because the network hears what is coming.

A breakdown is a bar line after which drums and bass are gone for three bars or more, although the band played before
it; it lasts until they are back. It misleads where brushes or a foot are all the drums there are, and where a pad holds
low notes.

The weights lie in `events.json`, see `finding.likely`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from cuesuggest.analysis.energy import BarEnergy
from cuesuggest.analysis.finding.likely import log_odds, probability, probable
from cuesuggest.analysis.finding.scene import Candidate, Scene
from cuesuggest.analysis.finding.spans import frame_at
from cuesuggest.analysis.spectrum import band_edges, running_sums

__all__ = [
    "BuildLine",
    "breakdown_candidates",
    "build_lines",
    "find_breakdowns",
    "find_builds",
]

_LENGTHS = (2, 4, 8, 16)  # bars; phrases that are built on, common practice
_SHORTEST_BREAKDOWN = 3  # bars; drums and bass that are out for less have stopped
_LEAST = 0.6  # of the confidence of what is told: what is told wrongly costs more than what is missed
_LEAST_BREAKDOWN = 0.65
_LEAST_LOGIT = -4.5  # in the bar before the line; under it the network hears no build at all
_APART = 7.5  # bars between the ends of two builds
_NEAR = 2  # bars; of two falls that are closer only the deeper is a candidate
_KICK_HZ, _CYMBAL_HZ = 140.0, 2500.0
_LOW_BACK = 0.5  # of compressed magnitude: a drop that has less low end than the bar before it is none
_LEAST_FALL = 0.5  # of low end, kick and pulse together, at the start of a breakdown


@dataclass(frozen=True, slots=True)
class _Bars:
    """What is looked at, a value a bar: LU under the loud bars; bands; rise of bands, a frame; logits."""

    loud: np.ndarray
    low: np.ndarray
    kick: np.ndarray
    cymbal: np.ndarray
    build: np.ndarray
    beat: np.ndarray

    def step(self, name: str, line: int, before: int, after: int) -> float:
        """Mean of some bars after a bar line less that of some bars before it."""
        values: np.ndarray = getattr(self, name)
        return float(values[line : line + after].mean() - values[max(0, line - before) : line].mean())


def _bars(scene: Scene, energy: BarEnergy) -> _Bars:
    bands, centres = scene.spectrum.bands, band_edges()[1:-1]
    edges = np.array([frame_at(scene.spectrum, at) for at in [*scene.starts, scene.ends[-1]]])

    def mean(values: np.ndarray) -> np.ndarray:
        return np.asarray(np.diff(running_sums(values)[edges]) / np.maximum(np.diff(edges), 1))

    def rise(chosen: np.ndarray) -> np.ndarray:
        part = bands[:, chosen]
        found = np.zeros(len(part))
        found[2:] = np.maximum(part[2:] - part[:-2], 0).mean(axis=1)
        return mean(found)

    return _Bars(
        loud=np.maximum(energy.loudness - np.percentile(energy.loudness, 90), -20.0),
        low=energy.measures["low"],
        kick=rise(centres < _KICK_HZ),
        cymbal=rise(centres > _CYMBAL_HZ),
        build=energy.measures["riser"],
        beat=energy.measures["pulse"],
    )


@dataclass(frozen=True, slots=True)
class BuildLine:
    """A bar line that a build may lead to.

    Attributes
    ----------
    build, drop : Candidate
        The build that ends on it, in its likeliest length, and the drop on it.
    lengths : mapping of int to mapping of str to float
        Bars of the build -> what speaks for that length.
    returns : bool
        Low end and level are back after it, as a drop brings them.
    """

    build: Candidate
    drop: Candidate
    lengths: dict[int, dict[str, float]]
    returns: bool


def build_lines(scene: Scene, energy: BarEnergy) -> list[BuildLine]:
    """Bar lines that a build may lead to.

    Parameters
    ----------
    scene : Scene
    energy : BarEnergy
        Of the same bars.

    Returns
    -------
    list of BuildLine
        In order of time.
    """
    bars = _bars(scene, energy)
    fall = np.append(-np.inf, bars.build[:-1] - bars.build[1:])
    found = []
    for line in np.flatnonzero(scene.numbers >= 1 + min(_LENGTHS)).tolist():
        around = fall[max(0, line - _NEAR) : line + _NEAR + 1]
        if fall[line] < around.max() or bars.build[line - 1] < _LEAST_LOGIT:
            continue
        lengths = _lengths(bars, line, int((scene.numbers[:line] >= 1).sum()))
        start = line - max(lengths, key=lambda length: log_odds("build length", lengths[length]))
        at = float(scene.starts[line])
        features = {
            "before": float(bars.build[line - 1]) / 3,
            "top": float(bars.build[max(0, line - 4) : line].max()) / 3,
            "fall": float(fall[line]) / 3,
            "cymbals": 10 * bars.step("cymbal", line, 1, 2),
            "beats": bars.step("beat", line, 1, 2),
        }
        early = slice(max(0, start - 4), start) if start else slice(0, 1)
        after = slice(line, line + 4)
        found.append(
            BuildLine(
                Candidate("build", float(scene.starts[start]), at, features),
                Candidate("drop", at, at, features),
                lengths,
                bool(bars.loud[after].mean() > bars.loud[early].mean() and bars.step("low", line, 1, 2) > -_LOW_BACK),
            )
        )
    return found


def _lengths(bars: _Bars, line: int, room: int) -> dict[int, dict[str, float]]:
    """What speaks for a build of so many bars before a bar line."""
    lengths = {}
    for length in _LENGTHS:
        if length <= room:
            start = line - length
            lengths[length] = {
                "inside": float(bars.build[start:line].mean()) / 3,
                "first": float(bars.build[start]) / 3,
                "ahead": float(bars.build[max(0, start - 1)]) / 3,
                **{f"{each} bars": float(each == length) for each in _LENGTHS[1:]},
            }
    return lengths


def find_builds(scene: Scene, energy: BarEnergy) -> list[tuple[Candidate, float]]:
    """Builds and drops that are sure enough, each with its confidence.

    Of builds that end within eight bars of one another the surest is told: a build has turns of its own.

    Parameters
    ----------
    scene : Scene
    energy : BarEnergy
        Of the same bars.

    Returns
    -------
    list of (Candidate, float)
        In order of time.
    """
    lines = [(line, probability(line.build)) for line in build_lines(scene, energy)]
    apart = _APART * float(np.median(scene.ends - scene.starts))
    found: list[tuple[Candidate, float]] = []
    ends: list[float] = []
    for line, confidence in sorted(lines, key=lambda each: -each[1]):
        end = line.build.end
        if confidence >= _LEAST and all(abs(end - other) > apart for other in ends):
            ends.append(end)
            found.append((line.build, round(confidence, 3)))
            found += probable([line.drop], _LEAST) if line.returns else []
    return sorted(found, key=lambda each: each[0].start)


def find_breakdowns(scene: Scene, energy: BarEnergy) -> list[tuple[Candidate, float]]:
    """Breakdowns that are sure enough, each with its confidence.

    Parameters
    ----------
    scene : Scene
    energy : BarEnergy
        Of the same bars.

    Returns
    -------
    list of (Candidate, float)
        In order of time.
    """
    return probable(breakdown_candidates(scene, energy), _LEAST_BREAKDOWN)


def breakdown_candidates(scene: Scene, energy: BarEnergy) -> list[Candidate]:
    """Bar lines after which drums and bass may be out.

    Parameters
    ----------
    scene : Scene
    energy : BarEnergy
        Of the same bars.

    Returns
    -------
    list of Candidate
        Each to the bar line where they are back.
    """
    bars = _bars(scene, energy)
    count = len(scene.starts)
    fall = np.full(count, -np.inf)
    for line in range(1, count - 1):
        fall[line] = -sum(
            weight * bars.step(name, line, 2, 2) for name, weight in (("low", 1.0), ("kick", 5.0), ("beat", 0.5))
        )
    loud_low, loud_kick = max(float(np.percentile(bars.low, 75)), 0.1), max(float(np.percentile(bars.kick, 75)), 1e-3)
    found = []
    for line in np.flatnonzero(scene.numbers[: count - 1] >= 3).tolist():
        around = fall[max(0, line - _NEAR) : line + _NEAR + 1]
        if fall[line] < max(around.max(), _LEAST_FALL):
            continue
        before, after = slice(max(0, line - 4), line), slice(line, line + 2)
        half = (bars.low[before].mean() + bars.low[after].mean()) / 2
        returns = np.flatnonzero(bars.low[line + 1 :] >= half)
        if not len(returns) or returns[0] + 1 < _SHORTEST_BREAKDOWN:
            continue  # what does not come back is an ending
        length = int(returns[0]) + 1
        inside = slice(line, line + min(4, length))
        features = {
            "low_left": float(bars.low[inside].mean()) / loud_low,
            "kick_left": float(bars.kick[inside].mean()) / loud_kick,
            "played": float(bars.loud[before].mean()) / 6 + 1,
            "ahead": min(count - line, 16) / 16,
        }
        found.append(Candidate("breakdown", float(scene.starts[line]), float(scene.starts[line + length]), features))
    return found
