"""How likely it is that a beat of one take is a beat of another: log odds from chords, sound, rhythm and loudness."""

from __future__ import annotations

import json
from functools import cache
from importlib import resources

import numpy as np

from cuesuggest.analysis.takes.take import Take

__all__ = ["MEASURES", "likely_keys", "log_odds", "measures"]

MEASURES = ("chords", "chords_around", "sound_around", "rhythm_around", "loudness", "loudness_around", "bars_around")
_AROUND, _NEAR = 8, 4  # beats before or after
_KEY_AROUND = 16
_FLAT = 0.7  # of the usual size: what is smaller says less


@cache
def _weights() -> dict[str, float]:
    """Fitted by `training.fit_takes`."""
    table = resources.files(__package__).joinpath("takes.json").read_text(encoding="utf-8")
    return dict(json.loads(table)["odds"])


def log_odds(first: Take, second: Take, key: int) -> np.ndarray:
    """Log odds that two beats are the same beat of the song, rather than any two.

    Parameters
    ----------
    first, second : Take
    key : int
        Semitones by which the second is higher.

    Returns
    -------
    ndarray, shape (beats of first, beats of second)
    """
    weights = _weights()
    odds = np.full((len(first), len(second)), weights["offset"])
    for name, measure in measures(first, second, key).items():
        if weights[name]:
            odds += weights[name] * measure
    return odds


def measures(first: Take, second: Take, key: int) -> dict[str, np.ndarray]:
    """Measure the likeness of every beat of one take with every beat of another, see `log_odds`."""
    chords = _cosines(first.chroma, np.roll(second.chroma, -key, axis=2))
    loudness = -np.abs(first.loudness[:, None] - second.loudness[None])
    bars = np.outer(first.opens - first.opens.mean(), second.opens - second.opens.mean()) / 10
    values = (
        chords,
        _around(chords),
        _around(_cosines(first.timbre, second.timbre)),
        _around(_cosines(first.rhythm, second.rhythm), _NEAR),
        loudness,
        _around(loudness),
        _around(bars),
    )
    return dict(zip(MEASURES, values, strict=True))


def likely_keys(first: Take, second: Take, count: int) -> list[int]:
    """Return the semitones by which a take may be higher than another, the most likely first."""
    found = []
    for key in range(12):
        chords = _around(_cosines(first.chroma, np.roll(second.chroma, -key, axis=2)), _KEY_AROUND)
        best = np.sort(chords.max(axis=0))  # what has no counterpart, such as a new part, lies below
        found.append((-float(best[len(best) // 4 :].mean()), key))
    return [key for _, key in sorted(found)[:count]]


def _cosines(rows: np.ndarray, columns: np.ndarray) -> np.ndarray:
    """Cosines of the angles between rows; what is flat, such as the chords of drums, is like nothing."""
    units = []
    for each in (rows, columns):
        flat = each.reshape(len(each), -1)
        norms = np.linalg.norm(flat, axis=1, keepdims=True)
        units.append(flat / np.maximum(norms, _FLAT * np.median(norms) + 1e-9))
    return np.asarray(units[0] @ units[1].T)


def _around(cells: np.ndarray, beats: int = _AROUND) -> np.ndarray:
    """Mean along the diagonal over some beats from here on, or up to here: whichever is more alike.

    At a seam only one side is the same.
    """
    return np.maximum(_onwards(cells, beats), _onwards(cells[::-1, ::-1], beats)[::-1, ::-1])


def _onwards(cells: np.ndarray, beats: int) -> np.ndarray:
    rows, columns = cells.shape
    total, count = cells.copy(), np.ones(cells.shape)
    for step in range(1, min(beats, rows, columns)):
        total[: rows - step, : columns - step] += cells[step:, step:]
        count[: rows - step, : columns - step] += 1
    return np.asarray(total / count)
