"""What speaks for a beat, a downbeat and music in every frame: log-likelihood ratios for the decoder.

This is the seam of the rhythm analysis: the decoder takes an `Evidence`, from wherever it comes. Here beats and music
come from the network of `network.py`. For downbeats two witnesses are heard: the network, and a linear model (a
logistic regression) of changes of harmony and timbre, whose weights lie in `evidence.npz`, fitted by
`training.fit_evidence`. Both had classes weighted alike in training, so that a logit is close to a
log-likelihood ratio; how much each counts was chosen on songs that neither was trained on.
"""

from __future__ import annotations

from dataclasses import dataclass
from importlib import resources

import numpy as np
from scipy import ndimage

from cuesuggest.analysis.frames import HEADS
from cuesuggest.analysis.rhythm.network import NETWORKS, heads_of
from cuesuggest.analysis.spectrum import BANDS, CHROMA_RATE, FRAME_RATE, Spectrum, band_edges, running_sums

__all__ = ["Evidence", "downbeat_features", "flux", "observe", "top_near"]

# Kick and bass, body, snare and voice, cymbals and consonants.
GROUP_EDGES_HZ = (140.0, 600.0, 2500.0)
_FLUX_LAG = 2  # frames: shorter misses slow attacks, longer blurs sixteenths
_LOCAL = round(8 * FRAME_RATE)  # 8 s: long enough for two bars of a ballad, short enough to follow a crescendo
_CHANGE_SECONDS = (0.4, 0.9, 1.8)
_LLR_LIMIT = 4.0
# The network is surer of downbeats than it should be on recordings unlike those that it was trained on: on two of six
# real pieces it put every bar line two beats off, with logits of 5 and more. Limited and halved, it still decides
# between what the linear model finds alike.
_NETWORK_LIMIT, _NETWORK_SHARE, _LINEAR_SHARE = 3.0, 0.5, 1.5
# Below this mean square a frame is silence, whatever the models say: -66 dB under full scale.
_SILENCE = 2.5e-7
_NEAR_SOUND = 3  # frames


@dataclass(frozen=True, slots=True)
class Evidence:
    """Log-likelihood ratios in nats, one a frame, 50 frames a second.

    Attributes
    ----------
    beat : ndarray, shape (frames,)
        A beat falls here, against none.
    downbeat : ndarray, shape (frames,)
        A beat that falls here opens a bar, against not.
    music : ndarray, shape (frames,)
        Music sounds, against anything else.
    onset : ndarray, shape (frames,)
        Strength of attacks of any kind, zero mean and unit spread nearby; for subdivisions.
    opens, heard : ndarray, shape (frames,), optional
        As `downbeat` and `music`, what the network alone says and without limits: where it denies, it denies loudly,
        and of a band it is surer than of a held chord.
    pulse : ndarray, shape (frames,), optional
        Music sounds because a pulse is kept; minus infinity where that says nothing. See `rhythm.music`.
    high : ndarray, shape (frames,), optional
        As `onset`, of the highest bands alone, where snare and cymbals are; within two frames.
    network : str
        Whose logits these are; each is weighed by numbers of its own.
    """

    beat: np.ndarray
    downbeat: np.ndarray
    music: np.ndarray
    onset: np.ndarray
    opens: np.ndarray | None = None
    heard: np.ndarray | None = None
    pulse: np.ndarray | None = None
    high: np.ndarray | None = None
    network: str = NETWORKS[0]


def observe(spectrum: Spectrum, logits: np.ndarray | None = None, network: str = NETWORKS[0]) -> Evidence:
    """What a network and the linear model make of a recording.

    Parameters
    ----------
    spectrum : Spectrum
    logits : ndarray, shape (7, frames), optional
        What `heads_of` made of the spectrum, if it is known already.
    network : str
        One of `NETWORKS`.

    Returns
    -------
    Evidence
    """
    heads = dict(zip(HEADS, heads_of(spectrum, network) if logits is None else logits, strict=True))
    groups = flux(spectrum.bands)
    # Two of the network's heads tell a downbeat: that one is here at all, less that a beat is; and given a beat.
    given = (heads["opens"] + heads["downbeat"] - np.maximum(heads["beat"], -_NETWORK_LIMIT)) / 2
    downbeat = _NETWORK_SHARE * np.clip(given, -_NETWORK_LIMIT, _NETWORK_LIMIT)
    downbeat += _LINEAR_SHARE * _limited(_linear_downbeat(spectrum, groups))
    silent = spectrum.level < _SILENCE
    beat, music = _limited(heads["beat"]), _limited(heads["music"])
    music[silent] = -_LLR_LIMIT
    # In digital silence the network goes on beating time; the frame of an attack may itself be silent still.
    beat[ndimage.binary_erosion(silent, np.ones(2 * _NEAR_SOUND + 1), border_value=1)] = -_LLR_LIMIT
    return Evidence(
        beat=beat,
        downbeat=_limited(downbeat),
        music=ndimage.uniform_filter1d(music, round(FRAME_RATE), mode="nearest"),
        onset=groups.mean(axis=1),
        high=ndimage.maximum_filter1d(groups[:, 3], 5),
        opens=np.asarray(heads["opens"]),
        heard=ndimage.uniform_filter1d(heads["music"], round(FRAME_RATE), mode="nearest"),
        network=network,
    )


def _limited(nats: np.ndarray) -> np.ndarray:
    return np.clip(nats, -_LLR_LIMIT, _LLR_LIMIT)


def _linear_downbeat(spectrum: Spectrum, groups: np.ndarray) -> np.ndarray:
    with resources.files(__package__).joinpath("evidence.npz").open("rb") as file:
        weights = np.load(file)["downbeat"]
    return np.asarray(downbeat_features(spectrum, groups) @ weights[:-1] + weights[-1])


def top_near(curve: np.ndarray, frames: np.ndarray) -> np.ndarray:
    """Largest value at each frame and its two neighbours.

    Parameters
    ----------
    curve : ndarray, shape (n,)
    frames : ndarray of int, shape (beats,)

    Returns
    -------
    ndarray, shape (beats,)
    """
    index = np.clip(frames[:, None] + np.arange(-1, 2), 0, len(curve) - 1)
    return np.asarray(curve[index].max(axis=1))


def flux(bands: np.ndarray) -> np.ndarray:
    """Rise of magnitude in four groups of bands, against a vibrato-proof past, normalised to its surroundings.

    The past is widened by one band to each side before it is subtracted, so that a tone that slides does not count
    as an attack (Böck and Widmer 2013, "Maximum filter vibrato suppression for onset detection").

    Parameters
    ----------
    bands : ndarray, shape (frames, 64)

    Returns
    -------
    ndarray of float32, shape (frames, 4)
        Zero mean and unit spread within 8 s, clipped to -2 .. 6.
    """
    past = ndimage.maximum_filter1d(bands, 3, axis=1)
    rise = bands[_FLUX_LAG:] - past[:-_FLUX_LAG]
    np.maximum(rise, 0, out=rise)
    starts = np.searchsorted(band_edges()[1:-1], (0.0, *GROUP_EDGES_HZ))
    groups = np.zeros((len(bands), len(starts)), bands.dtype)
    np.add.reduceat(rise, starts, axis=1, out=groups[_FLUX_LAG:])
    # A group without sound has no attacks: the floor keeps its noise from being blown up to unit spread.
    floor = 0.02 * np.diff([*starts, BANDS]).astype(np.float32)
    return np.clip(_standard(groups, floor), -2, 6)


def _standard(values: np.ndarray, floor: np.ndarray | float) -> np.ndarray:
    mean = ndimage.uniform_filter1d(values, _LOCAL, axis=0, mode="nearest")
    square = ndimage.uniform_filter1d(values * values, _LOCAL, axis=0, mode="nearest")
    spread = np.sqrt(np.maximum(square - mean * mean, 0))
    return ((values - mean) / np.maximum(spread, floor)).astype(np.float32)


def _shifted(values: np.ndarray, lag: int) -> np.ndarray:
    """`values[t + lag]` at t; the edges repeat."""
    index = np.clip(np.arange(len(values)) + lag, 0, len(values) - 1)
    return values[index]


def downbeat_features(spectrum: Spectrum, groups: np.ndarray) -> np.ndarray:
    """What tells a downbeat from another beat: harmony and timbre that change, low end, cymbals that start to ring.

    Parameters
    ----------
    spectrum : Spectrum
    groups : ndarray, shape (frames, 4)

    Returns
    -------
    ndarray of float32, shape (frames, features)
    """
    frames = len(spectrum.bands)
    attacks = ndimage.maximum_filter1d(groups, 5, axis=0)
    columns = [attacks, attacks[:, :1] - attacks[:, 2:3], np.maximum(attacks[:, 3:] - 2, 0)]
    chroma_at = np.linspace(0, (frames - 1) / FRAME_RATE * CHROMA_RATE, frames)
    chroma = _unit(spectrum.chroma)
    coarse = spectrum.bands[::5]
    for seconds in _CHANGE_SECONDS:
        reach = max(2, round(seconds * CHROMA_RATE))
        harmony = _at(_change(chroma, reach, cosine=True), chroma_at)
        timbre = _at(_change(coarse, reach, cosine=False), np.arange(frames) / 5)
        for curve in (harmony, timbre):
            standard = np.clip(_standard(curve[:, None], 0.01), -3, 5)
            nearby = ndimage.maximum_filter1d(standard, round(1.2 * FRAME_RATE), axis=0)
            columns += [standard, standard - nearby]
    high = spectrum.bands[:, np.searchsorted(band_edges()[1:-1], 5000.0) :].mean(axis=1, keepdims=True)
    smooth = ndimage.uniform_filter1d(high, 20, axis=0, mode="nearest")
    ring = _shifted(smooth, 12) - _shifted(smooth, -12)
    columns.append(np.clip(_standard(ring, 0.05), -3, 5))
    return np.concatenate(columns, axis=1)


def _unit(rows: np.ndarray) -> np.ndarray:
    return rows / np.maximum(np.linalg.norm(rows, axis=1, keepdims=True), 1e-6)


def _change(rows: np.ndarray, reach: int, *, cosine: bool) -> np.ndarray:
    """Distance between the means of the `reach` rows from a place on and of those before it."""
    sums = running_sums(rows)
    place = np.arange(len(rows))
    before, after = np.maximum(place - reach, 0), np.minimum(place + reach, len(rows))
    past = (sums[place] - sums[before]) / np.maximum(place - before, 1)[:, None]
    coming = (sums[after] - sums[place]) / np.maximum(after - place, 1)[:, None]
    if cosine:
        return np.asarray(1 - np.einsum("ij,ij->i", _unit(past), _unit(coming)))
    return np.asarray(np.abs(coming - past).mean(axis=1))


def _at(curve: np.ndarray, places: np.ndarray) -> np.ndarray:
    return np.interp(places, np.arange(len(curve)), curve)
