"""What tells talk and a crowd from music, tenth of a second by tenth of a second, all through a recording.

Speech is told by what a syllable is: a voiced, harmonic sound of a sixth of a second that starts and stops, whose
pitch does not stay. So each second is measured for its swing of level at the rate of syllables (2.5 to 8 Hz), the
share of it that sounds, how sharp its partials are between 150 and 1200 Hz, how long they keep their places, and its
colour; the network adds whether it is music. Applause has no partials and sounds all the time, sticks and metronomes
sound for a tenth of the time, a held or tuned note keeps its place. Two logistic regressions weigh this for each
tenth of a second.
"""

from __future__ import annotations

import numpy as np
from scipy import ndimage

from cuesuggest.analysis.finding.likely import log_odds
from cuesuggest.analysis.finding.scene import Heard
from cuesuggest.analysis.frames import FRAME_RATE, band_edges
from cuesuggest.analysis.spectrum import Spectrum

__all__ = ["SOUNDS_DB", "STEP", "hear_around", "sound_features"]

STEP = 5  # frames: ten values a second
_SYLLABLE, _PHRASE = 3, 15  # frames; between the two lie 2.5 to 8 Hz
_WINDOW = round(FRAME_RATE)
SOUNDS_DB = 15.0  # under the loudest within a second and a half: a syllable, not the room after it
_RANGE_DB = 30.0
_HOLD = 12  # frames after which a vowel has moved on and a note has not
_NOISE_SHARP = 2.2  # noise has partials of 1.0 to 1.6, voices and notes of 3 and more
_SPARSE = 0.35  # of the time: speech sounds more, clicks less
_AROUND = 41  # seconds in which the noise of the room is sought
_LIMIT = 6.0  # nats


def sound_features(spectrum: Spectrum, music: np.ndarray) -> dict[str, np.ndarray]:
    """What tells speech from applause, clicks, notes and noise, over a second around each tenth of a second.

    Parameters
    ----------
    spectrum : Spectrum
    music : ndarray, shape (frames,)
        The network's logit.

    Returns
    -------
    dict of str to ndarray, shape (ceil(frames / 5),)
        None of them changes with the level of the recording.
    """
    magnitude = np.expm1(spectrum.bands)
    power = magnitude * magnitude
    middle, upper, top = (power[:, part].sum(axis=1) for part in _PARTS)
    voice = _decibels(middle + upper)
    loudest = ndimage.maximum_filter1d(voice, round(1.5 * FRAME_RATE))
    level = np.maximum(voice, loudest - _RANGE_DB)
    sounds = (voice > loudest - SOUNDS_DB).astype(np.float32)
    duty = _mean(sounds, _WINDOW)

    def sounding(values: np.ndarray) -> np.ndarray:
        return np.asarray(_mean(values * sounds, _WINDOW) / np.maximum(duty, 1e-3))

    swing = _mean(level, _SYLLABLE) - _mean(level, _PHRASE)
    colour = _mean(np.clip(_decibels(middle) - _decibels(top + upper / 2), -30, 30), _SYLLABLE)
    partials = _decibels(ndimage.uniform_filter1d(power[:, _PARTIALS], 5, axis=0))
    sharp = np.abs(2 * partials[:, 1:-1] - partials[:, :-2] - partials[:, 2:]).mean(axis=1) / 2
    partials -= partials.mean(axis=1, keepdims=True)
    length = np.sqrt(np.einsum("ij,ij->i", partials, partials)) + 1e-6
    hold = np.zeros(len(partials), np.float32)
    hold[_HOLD:] = np.einsum("ij,ij->i", partials[_HOLD:], partials[:-_HOLD]) / (length[_HOLD:] * length[:-_HOLD])
    floor = ndimage.percentile_filter(level_of_second := level[:: round(FRAME_RATE)], 5, size=_AROUND, mode="nearest")
    over = voice - np.interp(np.arange(len(voice)), np.arange(len(level_of_second)) * FRAME_RATE, floor)
    found = {
        "swing": np.minimum(_root(_mean(swing**2, _WINDOW)), 3),
        "sparse": np.maximum(_SPARSE - duty, 0),
        "turns": np.minimum(_root(sounding((colour - _mean(colour, 25)) ** 2)), 4),
        "sharp": np.minimum(sounding(sharp), 4),
        "hold": sounding(hold),
        "top": np.maximum(sounding(_decibels(top) - _decibels(middle + upper + top)), -30) / 10,
        "upper": np.maximum(sounding(_decibels(upper) - _decibels(middle)), -30) / 10,
        "over": np.clip(sounding(over), 0, 20) / 10,
        "music": _mean(np.clip(music, -_LIMIT, _LIMIT), _WINDOW),
    }
    # Noise that stands out of the room's own: a crowd has no partials, but neither has an open microphone.
    found["noise"] = np.clip(_NOISE_SHARP - found["sharp"], 0, 1) * found["over"]
    return {name: values[::STEP] for name, values in found.items()}


def hear_around(spectrum: Spectrum, music: np.ndarray) -> Heard:
    """Log odds of talk and of a crowd, ten times a second.

    Parameters
    ----------
    spectrum : Spectrum
    music : ndarray, shape (frames,)
        The network's logit.

    Returns
    -------
    Heard
    """
    features = sound_features(spectrum, music)
    level = ndimage.maximum_filter1d(spectrum.decibels, STEP)[::STEP]
    talk, crowd = (np.clip(log_odds(f"{kind} sound", features), -_LIMIT, _LIMIT) for kind in ("talk", "crowd"))
    return Heard(spectrum.seconds[::STEP], level, talk, crowd, features["music"])


def _band_parts() -> tuple[slice, slice, slice]:
    edges = np.searchsorted(band_edges()[1:-1], (150.0, 1000.0, 3500.0))
    return slice(edges[0], edges[1]), slice(edges[1], edges[2]), slice(edges[2], None)


_PARTS = _band_parts()
_PARTIALS = slice(_PARTS[0].start, int(np.searchsorted(band_edges()[1:-1], 1200.0)))


def _decibels(power: np.ndarray) -> np.ndarray:
    return np.asarray(10 * np.log10(power + 1e-9))


def _mean(values: np.ndarray, frames: int) -> np.ndarray:
    return np.asarray(ndimage.uniform_filter1d(values, frames, mode="nearest"))


def _root(mean: np.ndarray) -> np.ndarray:
    """Square root of a running mean, which rounding may bring a little under 0."""
    return np.asarray(np.sqrt(np.maximum(mean, 0)))
