"""How hard the music pushes: loudness, low end, density and brightness of every bar, and drive from them.

All scales are fixed, so that drive can be compared between songs; only loudness is set against the song itself,
because the level of a recording says nothing about the music.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import ndimage

from cuesuggest.analysis.loudness import SILENCE_LUFS
from cuesuggest.analysis.spectrum import FRAME_RATE, Spectrum, band_edges, running_sums
from cuesuggest.analysis.types import DriveParts

__all__ = ["BarEnergy", "bar_energy"]

ENVELOPE_STEPS = 8
_LOUDNESS_RANGE = (-18.0, 1.0)  # LU under the song's loud bars: from a lone instrument to the whole band
_LOW_RANGE = (0.35, 1.25)  # magnitude under 140 Hz against the mean of all bands
_DENSITY_RANGE = (0.5, 9.0)  # attacks a second
_BRIGHT_RANGE = (0.15, 0.75)  # magnitude over 2.5 kHz against the mean of all bands
_WEIGHTS = {"loudness": 0.5, "low_end": 0.15, "density": 0.2, "brightness": 0.15}
_FLAT_WEIGHTS = {"loudness": 0.2, "low_end": 0.25, "density": 0.3, "brightness": 0.25}
# Bars of a levelled recording differ by less than this (10th to 90th percentile): its loudness says little.
_FLAT_SPREAD_LU = 4.0
_SONG_RANGE_LU = 50.0  # further under the loud bars is silence
_ENVELOPE_DB = 30.0
_ATTACK = 0.35  # rise of compressed magnitude, mean over the bands, that counts as an attack


@dataclass(frozen=True, slots=True)
class BarEnergy:
    """Energy of the bars.

    Attributes
    ----------
    loudness : ndarray, shape (bars,)
        LUFS, at least -70 or 50 under the loud bars.
    parts : tuple of DriveParts
    drive : ndarray, shape (bars,)
        0..1.
    envelopes : ndarray, shape (bars, 8)
        Loudness through each bar, 0 (30 dB under the loud passages) to 1.
    compressed : bool
        The recording's level is so even that drive leans on the other parts.
    """

    loudness: np.ndarray
    parts: tuple[DriveParts, ...]
    drive: np.ndarray
    envelopes: np.ndarray
    compressed: bool


def bar_energy(spectrum: Spectrum, starts: np.ndarray, ends: np.ndarray) -> BarEnergy:
    """Measure every bar.

    Parameters
    ----------
    spectrum : Spectrum
    starts, ends : ndarray, shape (bars,), bars >= 1
        Seconds from the start of the file.

    Returns
    -------
    BarEnergy
    """
    power = _mean_between(spectrum.power, 1 / spectrum.power_step, starts - spectrum.start, ends - spectrum.start)
    loudness = -0.691 + 10 * np.log10(np.maximum(power, 1e-12))
    loud = float(np.percentile(loudness, 90))
    # A voice memo may lie under the gate as a whole: its bars differ from one another all the same.
    loudness = np.maximum(loudness, min(SILENCE_LUFS, loud - _SONG_RANGE_LU))
    bands = _mean_between(spectrum.bands, FRAME_RATE, starts - spectrum.start, ends - spectrum.start)
    centres = band_edges()[1:-1]
    overall = np.maximum(bands.mean(axis=1), 1e-6)
    low = bands[:, centres < 140].mean(axis=1) / overall
    bright = bands[:, centres > 2500].mean(axis=1) / overall
    density = _attacks_per_second(spectrum, starts, ends)
    scaled = {
        "loudness": _scale(loudness - loud, *_LOUDNESS_RANGE),
        "low_end": _scale(low, *_LOW_RANGE),
        "density": _scale(density, *_DENSITY_RANGE),
        "brightness": _scale(bright, *_BRIGHT_RANGE),
    }
    compressed = len(starts) >= 16 and bool(np.ptp(np.percentile(loudness, (10, 90))) < _FLAT_SPREAD_LU)
    weights = _FLAT_WEIGHTS if compressed else _WEIGHTS
    drive = sum((weights[name] * values for name, values in scaled.items()), np.zeros(len(starts)))
    parts = tuple(
        DriveParts(**{name: round(float(values[k]), 3) for name, values in scaled.items()}) for k in range(len(starts))
    )
    return BarEnergy(loudness, parts, np.round(drive, 3), _envelopes(spectrum, starts, ends), compressed)


def _scale(values: np.ndarray, low: float, high: float) -> np.ndarray:
    return np.clip((values - low) / (high - low), 0, 1)


def _mean_between(values: np.ndarray, rate: float, starts: np.ndarray, ends: np.ndarray) -> np.ndarray:
    """Mean of rows between two times, parts of a row at the edges counted by their share."""
    if not len(values):
        return np.zeros((len(starts), *values.shape[1:]))
    sums = running_sums(values)

    def until(seconds: np.ndarray) -> np.ndarray:
        place = np.clip(seconds * rate, 0, len(values))
        whole = np.minimum(place.astype(int), len(values) - 1)
        share = (place - whole).reshape(-1, *[1] * (values.ndim - 1))
        return np.asarray(sums[whole] + share * (sums[whole + 1] - sums[whole]))

    length = np.maximum((ends - starts) * rate, 1e-6).reshape(-1, *[1] * (values.ndim - 1))
    return np.asarray((until(ends) - until(starts)) / length)


def _attacks_per_second(spectrum: Spectrum, starts: np.ndarray, ends: np.ndarray) -> np.ndarray:
    rise = spectrum.rise
    top = (rise == ndimage.maximum_filter1d(rise, 5)) & (rise > _ATTACK)
    return _mean_between(top.astype(float), FRAME_RATE, starts - spectrum.start, ends - spectrum.start) * FRAME_RATE


def _envelopes(spectrum: Spectrum, starts: np.ndarray, ends: np.ndarray) -> np.ndarray:
    edges = np.linspace(starts, ends, ENVELOPE_STEPS + 1, axis=1) - spectrum.start
    mean = _mean_between(spectrum.level, FRAME_RATE, edges[:, :-1].ravel(), edges[:, 1:].ravel())
    decibels = 10 * np.log10(np.maximum(mean, 1e-12)).reshape(len(starts), ENVELOPE_STEPS)
    return np.round(_scale(decibels - np.percentile(decibels, 99), -_ENVELOPE_DB, 0.0), 3)
