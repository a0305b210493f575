"""How sure beats and bars are: of those marked 0.9, nine in ten should be right.

Two logistic regressions over what the decoder saw, and over how sure the reading is as a whole (`rhythm.doubt`). The
weights lie in `confidence.json`; fitted by `training.fit_confidence` on songs that network and linear model were
not trained on.
"""

from __future__ import annotations

import json
from functools import cache
from importlib import resources

import numpy as np

from cuesuggest.analysis.rhythm.beat_grid import BeatGrid
from cuesuggest.analysis.rhythm.evidence import Evidence, top_near

__all__ = ["BAR_FEATURES", "BEAT_FEATURES", "bar_features", "beat_features", "confidences"]

BEAT_FEATURES = ("beat", "around", "even", "music", "reading", "one")
BAR_FEATURES = ("beats", "around", "opens", "phase", "alternate", "usual", "even", "music", "reading", "one")
_REACH = 8  # beats, and bars, to each side
_MOST = 8.0  # nats of a margin beyond which no difference is made


@cache
def _confidence_weights() -> dict[str, dict[str, float]]:
    text = resources.files(__package__).joinpath("confidence.json").read_text(encoding="utf-8")
    weights: dict[str, dict[str, float]] = json.loads(text)
    return weights


def confidences(kind: str, features: np.ndarray) -> np.ndarray:
    """Probability that each beat or bar is right.

    Parameters
    ----------
    kind : str
        "beat" or "bar".
    features : ndarray, shape (n, k)

    Returns
    -------
    ndarray, shape (n,)
    """
    names = BEAT_FEATURES if kind == "beat" else BAR_FEATURES
    weights = np.array([_confidence_weights()[kind][name] for name in names])
    return np.asarray(1 / (1 + np.exp(-np.clip(features @ weights, -30, 30))))


def beat_features(times: np.ndarray, grid: BeatGrid, evidence: Evidence, reading: float) -> np.ndarray:
    """What tells how sure a beat is.

    Parameters
    ----------
    times : ndarray, shape (beats,)
    grid : BeatGrid
    evidence : Evidence
    reading : float
        Log odds that the reading is right as a whole.

    Returns
    -------
    ndarray, shape (beats, 6)
        In the order of `BEAT_FEATURES`: evidence on it; the mean around it; how unlike its neighbours the distance to
        it is; evidence for music; the reading; 1.
    """
    on = top_near(evidence.beat, grid.frames)
    steps = np.diff(times) / np.maximum(grid.lengths[:-1], 1e-6)
    uneven = np.abs(np.diff(np.log(np.maximum(steps, 1e-3)), prepend=0.0)) if len(steps) else np.zeros(0)
    uneven = np.append(uneven, 0.0)[: len(times)] if len(times) else uneven
    return np.stack(
        [
            on,
            _mean_around(on),
            np.minimum(uneven, 0.3),
            evidence.music[grid.frames],
            np.full(len(on), reading),
            np.ones(len(on)),
        ],
        axis=1,
    )


def bar_features(beats: np.ndarray, firsts: np.ndarray, grid: BeatGrid, evidence: Evidence) -> np.ndarray:
    """What tells how sure a bar is: that it starts and ends where told, with so many beats.

    Parameters
    ----------
    beats : ndarray, shape (beats, 6)
        As `beat_features` returned them.
    firsts : ndarray of int, shape (bars,)
        Index of the beat that opens each bar.
    grid : BeatGrid
    evidence : Evidence

    Returns
    -------
    ndarray, shape (bars, 10)
        In the order of `BAR_FEATURES`.
    """
    down = top_near(evidence.downbeat, grid.frames)
    ends = np.append(firsts[1:], len(down))
    counts = ends - firsts
    own = np.array([down[a] - down[a + 1 : b].max(initial=-4.0) for a, b in zip(firsts, ends, strict=True)])
    usual = np.bincount(counts).argmax() if len(counts) else 0
    phase = np.array([_phase(down, grid.slots, first) for first in firsts])
    means = np.add.reduceat(beats[:, [0, 2, 3]], firsts, axis=0) / counts[:, None]
    return np.stack(
        [
            means[:, 0],
            beats[firsts, 1],
            own,
            phase,
            np.full(len(firsts), _alternation(down[firsts])),
            (counts == usual).astype(float),
            means[:, 1],
            means[:, 2],
            beats[firsts, 4],
            np.ones(len(firsts)),
        ],
        axis=1,
    )


def _phase(down: np.ndarray, slots: np.ndarray, first: int) -> float:
    """By how much ones beat the best of the other beats over some bars around."""
    around = slice(max(0, first - 4 * _REACH), first + 4 * _REACH + 1)
    at, places = down[around], slots[around]
    others = [at[places == slot].mean() for slot in np.unique(places) if slot]
    ones = at[places == 0]
    return float(ones.mean() - max(others, default=0.0)) if len(ones) else -4.0


def _alternation(ones: np.ndarray) -> float:
    """By how much every second one stands out: much where bars of four are counted as pairs of bars of two."""
    if len(ones) < 2 * _REACH:
        return 0.0
    return float(min(abs(ones[::2].mean() - ones[1::2].mean()), _MOST))


def _mean_around(values: np.ndarray) -> np.ndarray:
    kernel = np.ones(2 * _REACH + 1)
    total = np.convolve(values, kernel, "full")[_REACH : _REACH + len(values)]
    count = np.convolve(np.ones(len(values)), kernel, "full")[_REACH : _REACH + len(values)]
    return np.asarray(total / count)
