"""How hard the music pushes: loudness, low end, density and brightness of every bar, and drive from them.

Drive is a sum of eight measures of a bar with weights that never turn a measure around, bent into 0..1. None of them
knows the level of the recording. Loudness is set against the song's own loud bars and its own spread, but a spread of
less than 4 LU is not stretched: on a levelled recording loudness says little, and the other measures decide. How the
bands stand is taken on the scale of the song's loud passages (see `Spectrum.bands`). How many attacks a second the
song has where it is busy, and how clear a pulse the network hears, are on the same scale for all songs: they keep the
last chorus of a ballad under the drop of a club track.

The weights lie in `drive.json`, fitted by `training.fit_drive` on songs that the network was not trained on.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib import resources
from typing import Any

import numpy as np
from scipy import ndimage

from cuesuggest.analysis.frames import HEADS
from cuesuggest.analysis.loudness import SILENCE_LUFS
from cuesuggest.analysis.spectrum import FRAME_RATE, Spectrum, band_edges, running_sums
from cuesuggest.analysis.types import DriveParts

__all__ = ["MEASURES", "PARTS", "BarEnergy", "bar_energy", "drive_of"]

PARTS = {
    "loudness": ("loud", "body"),
    "low_end": ("low",),
    "density": ("attacks", "busy", "pulse"),
    "brightness": ("bright", "riser"),
}
"""Which measures make each part of the drive."""
MEASURES = tuple(name for names in PARTS.values() for name in names)

ENVELOPE_STEPS = 8
# Bars of a levelled recording differ by less than this (10th to 90th percentile): its loudness says little.
_FLAT_SPREAD_LU = 4.0
_LOUD_RANGE = (-2.5, 0.5)  # spreads under the loud bars: further down is a rest, not a softer band
_SONG_RANGE_LU = 50.0  # further under the loud bars is silence
_ENVELOPE_DB = 30.0
_ATTACK = 0.2  # rise of compressed magnitude, mean over the bands, that counts as an attack
_BUSY = 75  # percentile of the bars
_LOGIT_LIMIT = 6.0
_LOW_HZ, _BODY_HZ, _BRIGHT_HZ = 140.0, 600.0, 2500.0


@dataclass(frozen=True, slots=True)
class BarEnergy:
    """Energy of the bars.

    Attributes
    ----------
    loudness : ndarray, shape (bars,)
        LUFS, at least -70 or 50 under the loud bars.
    measures : mapping of str to ndarray, shape (bars,)
        What drive is made of, by the names of `MEASURES`: `loud`, loudness under the song's loud bars, in spreads;
        `low`, `body`, `bright`, mean of the bands under 140 Hz, from there to 600 Hz, over 2.5 kHz; `attacks`, a
        second; `busy`, the same in the song's busy bars; `pulse`, `riser`, the network's logits of beat and build.
    parts : tuple of DriveParts
    drive : ndarray, shape (bars,)
        0..1.
    envelopes : ndarray, shape (bars, 8)
        Loudness through each bar, 0 (30 dB under the loud passages) to 1.
    compressed : bool
        The recording's level is so even that drive leans on the other parts.
    """

    loudness: np.ndarray
    measures: Mapping[str, np.ndarray]
    parts: tuple[DriveParts, ...]
    drive: np.ndarray
    envelopes: np.ndarray
    compressed: bool


def bar_energy(spectrum: Spectrum, starts: np.ndarray, ends: np.ndarray, logits: np.ndarray) -> BarEnergy:
    """Measure every bar.

    Parameters
    ----------
    spectrum : Spectrum
    starts, ends : ndarray, shape (bars,), bars >= 1
        Seconds from the start of the file.
    logits : ndarray, shape (7, frames)
        What the network made of the spectrum.

    Returns
    -------
    BarEnergy
    """
    starts_here, ends_here = starts - spectrum.start, ends - spectrum.start

    def mean(values: np.ndarray) -> np.ndarray:
        return _mean_between(values, FRAME_RATE, starts_here, ends_here)

    power = _mean_between(spectrum.power, 1 / spectrum.power_step, starts_here, ends_here)
    loudness = -0.691 + 10 * np.log10(np.maximum(power, 1e-12))
    loud = float(np.percentile(loudness, 90))
    # A voice memo may lie under the gate as a whole: its bars differ from one another all the same.
    loudness = np.maximum(loudness, min(SILENCE_LUFS, loud - _SONG_RANGE_LU))
    spread = float(np.ptp(np.percentile(loudness, (10, 90))))
    bands = mean(spectrum.bands)
    centres = band_edges()[1:-1]
    heads = mean(np.clip(logits, -_LOGIT_LIMIT, _LOGIT_LIMIT).T)
    attacks = mean(_attacks(spectrum)) * FRAME_RATE
    measures = {
        "loud": np.clip((loudness - loud) / max(spread, _FLAT_SPREAD_LU), *_LOUD_RANGE),
        "body": bands[:, (centres >= _LOW_HZ) & (centres < _BODY_HZ)].mean(axis=1),
        "low": bands[:, centres < _LOW_HZ].mean(axis=1),
        "attacks": attacks,
        "busy": np.full(len(starts), np.percentile(attacks, _BUSY)),
        "pulse": heads[:, HEADS.index("beat")],
        "bright": bands[:, centres > _BRIGHT_HZ].mean(axis=1),
        "riser": heads[:, HEADS.index("build")],
    }
    drive, parts = drive_of(measures)
    return BarEnergy(
        loudness=loudness,
        measures=measures,
        parts=parts,
        drive=drive,
        envelopes=_envelopes(spectrum, starts, ends),
        compressed=len(starts) >= 16 and spread < _FLAT_SPREAD_LU,
    )


@cache
def _drive_weights() -> dict[str, Any]:
    text = resources.files(__package__).joinpath("drive.json").read_text(encoding="utf-8")
    weights: dict[str, Any] = json.loads(text)
    return weights


def drive_of(measures: Mapping[str, np.ndarray]) -> tuple[np.ndarray, tuple[DriveParts, ...]]:
    """Drive, and the parts that it is made of.

    Parameters
    ----------
    measures : mapping of str to ndarray, shape (bars,)
        By the names of `MEASURES`.

    Returns
    -------
    drive : ndarray, shape (bars,)
        0..1.
    parts : tuple of DriveParts
    """
    weights = _drive_weights()
    sums = {part: sum(weights["weights"][name] * measures[name] for name in names) for part, names in PARTS.items()}
    total = weights["offset"] + sum(sums.values())
    scaled = {part: _scale(np.asarray(values), *weights["parts"][part]) for part, values in sums.items()}
    parts = tuple(
        DriveParts(**{name: round(float(values[k]), 3) for name, values in scaled.items()}) for k in range(len(total))
    )
    return np.round(1 / (1 + np.exp(-np.clip(total, -30, 30))), 3), parts


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


def _attacks(spectrum: Spectrum) -> np.ndarray:
    """1 in every frame where an attack is strongest, else 0."""
    rise = spectrum.rise
    return ((rise == ndimage.maximum_filter1d(rise, 5)) & (rise > _ATTACK)).astype(float)


def _envelopes(spectrum: Spectrum, starts: np.ndarray, ends: np.ndarray) -> np.ndarray:
    edges = np.linspace(starts, ends, ENVELOPE_STEPS + 1, axis=1) - spectrum.start
    mean = _mean_between(spectrum.level, FRAME_RATE, edges[:, :-1].ravel(), edges[:, 1:].ravel())
    decibels = 10 * np.log10(np.maximum(mean, 1e-12)).reshape(len(starts), ENVELOPE_STEPS)
    return np.round(_scale(decibels - np.percentile(decibels, 99), -_ENVELOPE_DB, 0.0), 3)
