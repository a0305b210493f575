"""Which tempo to look around, where beats fall between frames, and the tempo map."""

from __future__ import annotations

import numpy as np
from scipy import fft

from cuesuggest.analysis.rhythm.evidence import Evidence
from cuesuggest.analysis.spectrum import FRAME_RATE

__all__ = ["pulse_strength", "smooth_times", "subframe_times", "tempo_knots"]

_COMB = 4  # intervals ahead at which a pulse must still agree with itself
_SMOOTH_BEATS = 4  # to each side: two bars of four, over which a band does not change tempo audibly
_OUTLIER = 0.025  # s; a beat further than this from the local line counts less (Huber)
_KNOT_ERROR = 0.035  # s; a straight tempo may miss its beats by so much before the map bends


def pulse_strength(evidence: Evidence, tempi: np.ndarray) -> np.ndarray:
    """How well the beat evidence agrees with itself one to four beats later, for each tempo.

    Parameters
    ----------
    evidence : Evidence
    tempi : ndarray, shape (n,)
        BPM.

    Returns
    -------
    ndarray, shape (n,)
        1 is the agreement of the evidence with itself at no delay.
    """
    pulse = np.maximum(evidence.beat + 1.0, 0) * (evidence.music > 0)
    if not pulse.any():
        return np.zeros(len(tempi))
    pulse = pulse - pulse[pulse > 0].mean() * (pulse > 0)
    size = fft.next_fast_len(2 * len(pulse), real=True)
    agreement = fft.irfft(np.abs(fft.rfft(pulse, size)) ** 2, size)[: len(pulse)]
    agreement = agreement / max(agreement[0], 1e-9)
    delays = 60 * FRAME_RATE / tempi[:, None] * np.arange(1, _COMB + 1)
    return np.asarray(np.interp(delays, np.arange(len(agreement)), agreement, right=0.0).mean(axis=1))


def subframe_times(frames: np.ndarray, curve: np.ndarray) -> np.ndarray:
    """Tops of a curve next to frames, by a parabola through three points.

    Parameters
    ----------
    frames : ndarray of int, shape (beats,)
    curve : ndarray, shape (n,)

    Returns
    -------
    ndarray, shape (beats,)
        Places in frames, at most one from the given ones.
    """
    inner = np.clip(frames, 1, max(1, len(curve) - 2))
    left, middle, right = curve[inner - 1], curve[inner], curve[inner + 1]
    bend = left - 2 * middle + right
    top = np.where(bend < -1e-3, 0.5 * (left - right) / np.minimum(bend, -1e-3), 0.0)
    return np.asarray(frames + np.clip(top, -0.5, 0.5))


def smooth_times(times: np.ndarray) -> np.ndarray:
    """Move each beat onto the straight line through its neighbours, far-off ones counting less.

    Players scatter around the pulse by some ten milliseconds and frames add more; a cue wants the pulse.

    Parameters
    ----------
    times : ndarray, shape (beats,)
        Seconds, of one stretch of music.

    Returns
    -------
    ndarray, shape (beats,)
        Seconds.
    """
    count = len(times)
    if count < 5:
        return times.astype(float)
    reach = min(_SMOOTH_BEATS, (count - 1) // 2)
    start = np.clip(np.arange(count) - reach, 0, count - 2 * reach - 1)
    index = start[:, None] + np.arange(2 * reach + 1)
    place = (index - np.arange(count)[:, None]).astype(float)
    local = times[index]
    weight = np.ones_like(local)
    at_zero = times.astype(float)
    for _ in range(3):
        total = weight.sum(axis=1)
        mean_x = (weight * place).sum(axis=1) / total
        mean_y = (weight * local).sum(axis=1) / total
        dx = place - mean_x[:, None]
        slope = (weight * dx * (local - mean_y[:, None])).sum(axis=1) / (weight * dx * dx).sum(axis=1)
        at_zero = mean_y - slope * mean_x
        error = np.abs(local - at_zero[:, None] - slope[:, None] * place)
        weight = np.minimum(1.0, _OUTLIER / np.maximum(error, 1e-9))
    return np.asarray(at_zero)


def tempo_knots(times: np.ndarray) -> list[tuple[float, float]]:
    """Bend a tempo line only where a straight one would miss beats by more than 35 ms.

    Parameters
    ----------
    times : ndarray, shape (beats,), beats >= 2
        Seconds, rising, of one stretch of music.

    Returns
    -------
    list of (float, float)
        Seconds and BPM; each tempo holds until the next knot.
    """
    knots: list[tuple[float, float]] = []
    first = 0
    while first < len(times) - 1:
        last = first + 1
        low, high = 1, len(times) - 1 - first
        while low <= high:  # the longest straight stretch, found by halving
            middle = (low + high) // 2
            if _straight(times[first : first + middle + 1]):
                last, low = first + middle, middle + 1
            else:
                high = middle - 1
        slope = np.polyfit(np.arange(last - first + 1), times[first : last + 1], 1)[0]
        knots.append((float(times[first]), 60 / float(slope)))
        first = last
    return knots


def _straight(times: np.ndarray) -> bool:
    line = np.polynomial.Polynomial.fit(np.arange(len(times)), times, 1)
    return bool(np.abs(line(np.arange(len(times))) - times).max() <= _KNOT_ERROR)
