"""Which tempo to look around, where beats fall between frames, and the tempo map."""

from __future__ import annotations

import numpy as np
from scipy import fft

from cuesuggest.analysis.rhythm.evidence import Evidence
from cuesuggest.analysis.rhythm.tempo_bins import FASTEST, SLOWEST
from cuesuggest.analysis.spectrum import FRAME_RATE

__all__ = ["attack_times", "pulse_strength", "smooth_times", "strongest_pulse", "tempo_knots"]

_GUESSES = np.geomspace(SLOWEST, FASTEST, 192)  # so near that four beats on, a sharp pulse is still met
_CENTRE, _SPREAD = 112.0, 0.8  # BPM, octaves
_COMB = 4  # intervals ahead at which a pulse must still agree with itself
_ATTACK_REACH = 2  # frames
# Seconds by which the steepest rise is early: for each neper that the bands rise, for the share of the steepest step in
# five, less a constant. A linear fit to what beats at known times show, in some 90 rendered songs, and in drums and
# ticks in front of silence; without it a lone tick is heard 22 ms early, and a drummer in a full band 6 ms.
_EARLY_DEPTH, _EARLY_SHARE, _LATE = 0.0058, 0.0348, 0.0168
_SMOOTH_BEATS = 4  # to each side: two bars of four, over which a band does not change tempo audibly
_OUTLIER = 0.025  # s; a beat further than this from the local line counts less (Huber)
_BENT = 0.012  # s; players' scatter leaves less around a line
_CLEARLY = 0.5  # of the misfit of the line through both sides: a line through one side that fits so well is better
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


def strongest_pulse(evidence: Evidence) -> float:
    """Tempo at which the evidence agrees best with itself, middling tempi preferred.

    Parameters
    ----------
    evidence : Evidence

    Returns
    -------
    float
        BPM.
    """
    octaves = np.log2(_GUESSES / _CENTRE) / _SPREAD
    return float(_GUESSES[(pulse_strength(evidence, _GUESSES) * np.exp(-0.5 * octaves**2)).argmax()])


def attack_times(frames: np.ndarray, bands: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Where the attacks next to frames start, and how clear they are.

    The steepest rise from frame to frame is found to a fraction of a frame by a parabola. It comes before the attack:
    the window that a frame looks through is 93 ms long, and on a logarithmic scale its soft edge shows an attack the
    sooner, the deeper the silence it breaks and the shorter it is.

    Parameters
    ----------
    frames : ndarray of int, shape (beats,)
    bands : ndarray, shape (n, bands), n >= 3
        Compressed magnitudes.

    Returns
    -------
    places : ndarray, shape (beats,)
        In frames; those given where nothing rises within 40 ms.
    clear : ndarray, shape (beats,)
        The steepest rise relative to what is usual among these beats, at most 1.
    """
    rise = np.zeros(len(bands))
    rise[1:] = np.maximum(np.diff(bands, axis=0), 0).mean(axis=1)
    near = np.clip(frames[:, None] + np.arange(-_ATTACK_REACH, _ATTACK_REACH + 1), 1, len(rise) - 2)
    top = near[np.arange(len(frames)), rise[near].argmax(axis=1)]
    left, middle, right = rise[top - 1], rise[top], rise[top + 1]
    bend = left - 2 * middle + right
    between = np.clip(0.5 * (left - right) / np.minimum(bend, -1e-9), -0.5, 0.5)
    before, after = np.maximum(top - 3, 0), np.minimum(top + 2, len(bands) - 1)
    whole = np.maximum(bands[after] - bands[before], 0)
    depth = np.square(whole).sum(axis=1) / np.maximum(whole.sum(axis=1), 1e-9)
    around = rise[np.clip(top[:, None] + np.arange(-2, 3), 0, len(rise) - 1)]
    share = (middle - 0.25 * (left - right) * between) / np.maximum(around.sum(axis=1), 1e-9)
    early = (_EARLY_DEPTH * depth + _EARLY_SHARE * share - _LATE) * FRAME_RATE
    usual = np.percentile(middle, 75) if len(middle) else 0.0
    clear = np.minimum(middle / max(usual, 1e-9), 1.0)
    return np.where(middle > 0, top + between + early, frames), clear


def smooth_times(times: np.ndarray, places: np.ndarray, weights: np.ndarray) -> np.ndarray:
    """Move each beat onto the straight line through its neighbours, far-off ones counting less.

    Players scatter around the pulse by some ten milliseconds and frames add more; a cue wants the pulse. Where the
    tempo jumps, the line goes through the neighbours on the side that it fits.

    Parameters
    ----------
    times : ndarray, shape (beats,)
        Seconds, of one stretch of music.
    places : ndarray, shape (beats,)
        Where they fall when plain beats are counted.
    weights : ndarray, shape (beats,)
        How much each counts.

    Returns
    -------
    ndarray, shape (beats,)
        Seconds.
    """
    count = len(times)
    if count < 5:
        return times.astype(float)
    reach = min(_SMOOTH_BEATS, (count - 1) // 2)
    beats = np.arange(count)
    best, misfit = _on_line(times, places, weights, np.clip(beats - reach, 0, count - 2 * reach - 1), 2 * reach)
    for before in (2 * reach, 0):
        start = beats - before
        whole = (start >= 0) & (start + 2 * reach < count)
        at, error = _on_line(times, places, weights, np.clip(start, 0, count - 2 * reach - 1), 2 * reach)
        better = whole & (misfit > _BENT) & (error < _CLEARLY * misfit)
        best, misfit = np.where(better, at, best), np.where(better, error, misfit)
    return best


def _on_line(
    times: np.ndarray, places: np.ndarray, weights: np.ndarray, start: np.ndarray, steps: int
) -> tuple[np.ndarray, np.ndarray]:
    """Where a line through the beats from `start` on puts each beat, and how far they lie off it (root mean square)."""
    index = start[:, None] + np.arange(steps + 1)
    place = places[index] - places[:, None]
    local, trust = times[index], weights[index]
    weight = trust
    for _ in range(3):
        total = weight.sum(axis=1)
        mean_x = (weight * place).sum(axis=1) / total
        mean_y = (weight * local).sum(axis=1) / total
        dx = place - mean_x[:, None]
        slope = (weight * dx * (local - mean_y[:, None])).sum(axis=1) / (weight * dx * dx).sum(axis=1)
        at_zero = mean_y - slope * mean_x
        error = np.abs(local - at_zero[:, None] - slope[:, None] * place)
        weight = trust * np.minimum(1.0, _OUTLIER / np.maximum(error, 1e-9))
    misfit = np.sqrt((trust * error * error).sum(axis=1) / trust.sum(axis=1))
    return at_zero, misfit


def tempo_knots(times: np.ndarray, places: np.ndarray) -> list[tuple[float, float]]:
    """Bend a tempo line only where a straight one would miss beats by more than 35 ms.

    Parameters
    ----------
    times : ndarray, shape (beats,), beats >= 2
        Seconds, rising, of one stretch of music.
    places : ndarray, shape (beats,)
        Where they fall when plain beats are counted.

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
            inside = slice(first, first + middle + 1)
            if np.abs(_line(times[inside], places[inside])(places[inside]) - times[inside]).max() <= _KNOT_ERROR:
                last, low = first + middle, middle + 1
            else:
                high = middle - 1
        slope = _line(times[first : last + 1], places[first : last + 1]).convert().coef[1]
        knots.append((float(times[first]), 60 / float(slope)))
        first = last
    return knots


def _line(times: np.ndarray, places: np.ndarray) -> np.polynomial.Polynomial:
    return np.polynomial.Polynomial.fit(places, times, 1)
