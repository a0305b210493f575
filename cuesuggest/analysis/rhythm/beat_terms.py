"""What a beat at a frame brings, in nats, by its slot in the bar and by the attacks at its thirds."""

from __future__ import annotations

from functools import cache

import numpy as np

from cuesuggest.analysis.rhythm.evidence import Evidence
from cuesuggest.analysis.rhythm.meters import Meter

__all__ = ["observations", "thirds_over_middle"]

_BEAT_OFFSET = 0.5  # nats a beat must bring: without it, every weak onset would be worth a beat
_DOWNBEAT_WEIGHT = 1.0
_TERNARY_WEIGHT = 0.35


def observations(evidence: Evidence, meters: tuple[Meter, ...]) -> list[np.ndarray]:
    """What a beat in each slot of each meter brings at each frame.

    The downbeat's ratio is set against the mix of downbeats and other beats in that meter, so that on evidence that
    says nothing no meter gains by having more, or fewer, downbeats.

    Parameters
    ----------
    evidence : Evidence
    meters : tuple of Meter

    Returns
    -------
    list of ndarray, each of shape (2, frames)
        For each meter: what a downbeat brings, what another beat brings, in nats.
    """
    ratio = np.exp(_DOWNBEAT_WEIGHT * evidence.downbeat)
    found = []
    for meter in meters:
        other = evidence.beat - _BEAT_OFFSET - np.log(ratio / meter.beats + 1 - 1 / meter.beats)
        found.append(np.stack([other + _DOWNBEAT_WEIGHT * evidence.downbeat - meter.bar_cost, other]))
    return found


def thirds_over_middle(onset: np.ndarray, intervals: dict[float, np.ndarray]) -> dict[float, np.ndarray]:
    """By how much attacks at the thirds of the beat that ends here outweigh those in its middle; frames x tempi.

    Two thirds into the beat a shuffle sounds too; the mean of both thirds, or places that say nothing would win.
    """
    wide = np.maximum(np.maximum(onset, np.roll(onset, 1)), np.roll(onset, -1)).astype(np.float32)
    place = np.arange(len(onset))

    @cache
    def earlier(steps: int) -> np.ndarray:
        return wide[np.maximum(place - steps, 0)]

    @cache
    def term(interval: int) -> np.ndarray:
        thirds = (earlier(round(interval / 3)) + earlier(round(2 * interval / 3))) / 2
        return np.asarray(_TERNARY_WEIGHT * np.clip(thirds - earlier(round(interval / 2)), -2, 2), np.float32)

    return {length: np.stack([term(int(k)) for k in every], axis=1) for length, every in intervals.items()}
