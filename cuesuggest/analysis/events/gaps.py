"""Gaps: places in the song where the level falls and comes back. Stops and hits are made of them.

A gap is measured against the bars around it, never against a level of the recording, so that a quieter copy has the
same gaps. What tells a stop from a rest of one sparse player is weighed later; here is what speaks for and against.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import ndimage

from cuesuggest.analysis.finding.scene import Scene
from cuesuggest.analysis.finding.spans import frame_at, stretches
from cuesuggest.analysis.frames import FRAME_RATE, band_edges

__all__ = ["Gap", "find_gaps"]

_FALL_DB = 7.0  # under the bars around; less is a soft beat
_LEAST_BEATS, _MOST_BEATS, _MOST_BARS = 0.25, 9.0, 2.6  # the longest is the longer of the last two
_ATTACK_BEATS = 1.0  # an attack further before the fall has nothing to do with it
_SECOND = 0.5  # of the strongest attack in that time: a later one of such strength is the one before the fall
_GROUPS = (140.0, 600.0, 2500.0)  # Hz between the groups of bands that must all fall
_NEAR_BARS = 4.0


@dataclass(frozen=True, slots=True)
class Gap:
    """A fall of the level with music after it. Levels in units of 10 dB, lengths in beats."""

    start: float
    """Seconds."""
    end: float
    attack: float
    """The last attack before it, seconds."""
    features: dict[str, float]


def find_gaps(scene: Scene) -> list[Gap]:
    """Find where the level falls by 7 dB or more for a quarter of a beat to some two bars, and comes back.

    Parameters
    ----------
    scene : Scene

    Returns
    -------
    list of Gap
        In order of time.
    """
    song = scene.numbers >= 1
    starts, ends = scene.starts[song], scene.ends[song]
    if len(starts) < 4:
        return []
    spectrum, beat = scene.spectrum, scene.beat * FRAME_RATE
    level = ndimage.maximum_filter1d(scene.decibels, 3)
    usual, loud = _levels_around(scene, level, starts, ends)
    low = level < usual - _FALL_DB
    low[: frame_at(spectrum, starts[0])] = False
    low[frame_at(spectrum, scene.music_end) :] = False
    most = max(_MOST_BEATS, _MOST_BARS * float(np.median(ends - starts)) / scene.beat)
    found = [(a, b) for a, b in stretches(low) if _LEAST_BEATS <= (b - a) / beat <= most]
    groups = _band_groups(spectrum.bands)
    rise = spectrum.rise
    usual_rise = float(np.percentile(rise[frame_at(spectrum, starts[0]) : frame_at(spectrum, ends[-1])], 97)) + 1e-6
    top = rise >= ndimage.maximum_filter1d(rise, 5)
    depths = [float(usual[a] - np.median(level[a:b])) for a, b in found]
    middles = np.array([(a + b) / 2 for a, b in found])
    reach = _NEAR_BARS * float(np.median(ends - starts)) * FRAME_RATE
    gaps = []
    for k, (a, b) in enumerate(found):
        as_deep = np.array(depths) >= 0.7 * depths[k]
        apart = np.abs(middles - middles[k])
        company = int((as_deep & (apart < reach / _NEAR_BARS)).sum()) - 1
        near = int((as_deep & (apart < reach)).sum()) - 1 - company
        early = max(0, a - round(_ATTACK_BEATS * beat))
        recent = rise[early : a + 1]
        strong = np.flatnonzero((recent >= _SECOND * recent.max()) & top[early : a + 1])
        attack = early + int(strong[-1] if len(strong) else recent.argmax())
        edge = min(3, (b - a) // 4)
        inside = slice(a + edge, b - edge)
        start, end = float(spectrum.seconds[a]), float(spectrum.seconds[b])
        before, after = level[early:a].max(initial=-100.0), level[b : b + round(0.5 * beat)].max(initial=-100.0)
        falls = groups[max(0, a - 6) : a].max(axis=0, initial=0) - np.median(groups[inside], axis=0)
        gaps.append(
            Gap(
                start,
                end,
                float(spectrum.seconds[attack]),
                {
                    "depth": min(depths[k], 40.0) / 10,
                    "bottom": min(float(usual[a] - level[inside].min()), 40.0) / 10,
                    "fall": float(np.clip(level[max(0, a - 4)] - level[min(b, a + 6)], 0, 40)) / 10,
                    "rise": float(np.clip(level[min(len(level) - 1, b + 3)] - level[max(a, b - 4)], 0, 40)) / 10,
                    "before": float(np.clip(before - usual[a], -20, 10)) / 10,
                    "after": float(np.clip(after - usual[b], -20, 10)) / 10,
                    "all": float(np.clip(falls.min(), -1, 3)),
                    "beats": float(np.log2((b - a) / beat)),
                    "company": float(min(company, 2)),
                    "near": float(np.log1p(near)),
                    "full": float(np.clip(usual[a] - loud, -20, 0)) / 10,
                    "inside": float(min(rise[inside].max(initial=0.0) / usual_rise, 2.0)),
                    "struck": float(min(rise[attack] / usual_rise, 2.0)),
                    "since": (start - float(spectrum.seconds[attack])) / scene.beat,
                    "on_one": _distance(end, scene.starts, scene.beat),
                    "on_beat": _distance(end, scene.beats, scene.beat),
                    "off_beat": _distance(float(spectrum.seconds[attack]), _halves(scene.beats), scene.beat),
                },
            )
        )
    return gaps


def _levels_around(scene: Scene, level: np.ndarray, starts: np.ndarray, ends: np.ndarray) -> tuple[np.ndarray, float]:
    """Level of the bars around each frame, and of the loud bars."""
    spectrum = scene.spectrum
    bars = [(frame_at(spectrum, a), frame_at(spectrum, b)) for a, b in zip(starts, ends, strict=True)]
    medians = np.array([np.median(level[a : b + 1]) for a, b in bars])
    # The bars around, not the bar itself: a stop of a whole bar would set its own measure.
    around = ndimage.median_filter(medians, 5, mode="nearest")
    return np.interp(spectrum.seconds, (starts + ends) / 2, around), float(np.percentile(medians, 90))


def _band_groups(bands: np.ndarray) -> np.ndarray:
    """Mean of the bands in four groups, frame by frame."""
    edges = np.searchsorted(band_edges()[1:-1], _GROUPS)
    return np.stack([part.mean(axis=1) for part in np.split(bands, edges, axis=1)], axis=1)


def _distance(seconds: float, grid: np.ndarray, beat: float) -> float:
    """From the nearest of some times, in beats, at most one."""
    return min(float(np.abs(grid - seconds).min()) / beat, 1.0)


def _halves(beats: np.ndarray) -> np.ndarray:
    return np.sort(np.concatenate([beats, (beats[:-1] + beats[1:]) / 2]))
