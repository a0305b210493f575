"""The networks that observe: band magnitudes in, log-likelihood ratios of every frame out.

A temporal convolutional network after Böck and Davies 2020 (ISMIR, "Deconstruct, analyse, reconstruct"): three small
convolutions over bands, then residual layers of two dilated convolutions each, whose reach doubles from layer to layer.
Run here by matrix products. Classes were weighted alike in training, so that a logit is close to a log-likelihood
ratio.

Two sets of weights by `training.train_network`: the first learned from rendered songs, the second from fewer of
them, from recorded pieces and from copies of both through rooms, phones and overload. The first hears finer, the
second holds where it is loud; see `rhythm.choice`.
"""

from __future__ import annotations

import hashlib
import math
from functools import cache
from importlib import resources

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view

from cuesuggest.analysis.frames import HEADS
from cuesuggest.analysis.spectrum import Spectrum, active_frames

__all__ = ["HEADS", "NETWORKS", "heads_of", "weights_digest"]

NETWORKS = ("network", "network-loud")
"""Names of the weights, in the order in which they are asked."""

_CHUNK = 512  # frames that pass a layer at once: what lies between two layers stays in a processor's cache


@cache
def weights_digest() -> str:
    """Digest of the shipped weights: documents are comparable where it is equal."""
    folder = resources.files(__package__)
    return hashlib.sha256(b"".join(folder.joinpath(f"{name}.npz").read_bytes() for name in NETWORKS)).hexdigest()[:16]


@cache
def _network_weights(network: str) -> dict[str, np.ndarray]:
    with resources.files(__package__).joinpath(f"{network}.npz").open("rb") as file:
        return {name: values.astype(np.float32) for name, values in np.load(file).items()}


def heads_of(spectrum: Spectrum, network: str = NETWORKS[0]) -> np.ndarray:
    """Run a network over a recording.

    Parameters
    ----------
    spectrum : Spectrum
    network : str
        One of `NETWORKS`.

    Returns
    -------
    ndarray of float32, shape (7, frames)
        Logits in the order of `HEADS`.
    """
    weights = _network_weights(network)
    x = _front(spectrum, weights)
    layer = 0
    while f"body.{layer}.near.weight" in weights:
        x = _residual(x, layer, weights)
        layer += 1
    return np.ascontiguousarray((_elu(x) @ _matrix(weights, "heads") + weights["heads.bias"]).T)


def _front(spectrum: Spectrum, weights: dict[str, np.ndarray]) -> np.ndarray:
    """Frames x width: attacks and timbre of each frame and its neighbours; silence beyond the ends."""
    frames = len(spectrum.bands)
    mean, spread = _scale(spectrum)
    third = _matrix(weights, "third")
    found = np.empty((frames, third.shape[1]), np.float32)
    for start in range(0, frames, _CHUNK):
        stop = min(start + _CHUNK, frames)
        # A frame more on each side, and for that one more again. Made anew for each chunk, they need no table of all.
        first, last = max(start - 1, 0), min(stop + 1, frames)
        x = (spectrum.bands[max(first - 1, 0) : last + 1] - mean) / spread
        y = _timbre(np.pad(x, ((int(first == 0), int(last == frames)), (0, 0))), weights)
        y = np.pad(y, ((int(start == 0), int(stop == frames)), (0, 0)))
        around = np.concatenate([y[k : k + stop - start] for k in range(3)], axis=1)
        found[start:stop] = _elu(around @ third + weights["third.bias"])
    return found


def _timbre(x: np.ndarray, weights: dict[str, np.ndarray]) -> np.ndarray:
    """Two convolutions over bands: what each frame but the outermost is like."""
    first, second = _matrix(weights, "first"), _matrix(weights, "second")
    seen = sliding_window_view(x, (3, 3))  # frames x 62 x 3 x 3
    # The largest of three first, offset and function then: they keep the order, so at a third it comes to the same.
    y = _elu(_pooled(seen.reshape(*seen.shape[:2], 9) @ first) + weights["first.bias"])
    around = np.moveaxis(sliding_window_view(y, 10, axis=1), -1, -2)  # frames x 11 x 10 x front
    y = _elu(_pooled(around.reshape(*around.shape[:2], -1) @ second) + weights["second.bias"])
    return y.reshape(len(y), -1)


def _pooled(y: np.ndarray) -> np.ndarray:
    """Largest of three neighbouring bands; what is left over at the top is dropped."""
    last = 3 * (y.shape[1] // 3)
    return np.asarray(np.maximum(np.maximum(y[:, 0:last:3], y[:, 1:last:3]), y[:, 2:last:3]))


def _residual(x: np.ndarray, layer: int, weights: dict[str, np.ndarray]) -> np.ndarray:
    """One layer: two convolutions of five taps, near and far, silence beyond the ends; what they find is added."""
    name = f"body.{layer}"
    near, far = (_matrix(weights, f"{name}.{branch}") for branch in ("near", "far"))
    join, out = _matrix(weights, f"{name}.join"), _matrix(weights, f"{name}.out")
    bias = np.concatenate([weights[f"{name}.near.bias"], weights[f"{name}.far.bias"]])
    dilation = 2**layer
    edge = 2 * 2 * dilation  # two taps of the far branch
    padded = np.pad(x, ((edge, edge), (0, 0)))
    found = np.empty_like(x)
    for start in range(0, len(x), _CHUNK):
        stop = min(start + _CHUNK, len(x))
        both = [
            np.concatenate([padded[edge + start + k * step : edge + stop + k * step] for k in range(-2, 3)], axis=1)
            for step in (dilation, 2 * dilation)
        ]
        y = np.concatenate([both[0] @ near, both[1] @ far], axis=1) + bias
        y = _elu(y) @ join + weights[f"{name}.join.bias"]
        y = _elu(y) @ out + weights[f"{name}.out.bias"]
        np.add(x[start:stop], y, out=found[start:stop])
    return found


def _scale(spectrum: Spectrum) -> tuple[np.ndarray, float]:
    """Each band's mean and one spread for all, both of the active frames; they are taken off before the network."""
    active = np.flatnonzero(active_frames(spectrum.level))
    if not len(active):
        return np.zeros(spectrum.bands.shape[1], np.float32), 1.0
    parts = [active[start : start + _CHUNK] for start in range(0, len(active), _CHUNK)]
    mean = sum(spectrum.bands[part].sum(axis=0, dtype=np.float64) for part in parts) / len(active)
    mean = np.asarray(mean, np.float32)
    power = sum(float(np.square(spectrum.bands[part] - mean).sum(dtype=np.float64)) for part in parts)
    return mean, max(math.sqrt(power / (len(active) * len(mean))), 1e-3)


def _elu(x: np.ndarray) -> np.ndarray:
    below = np.minimum(x, 0)
    np.exp(below, out=below)  # three times as fast as expm1, and as good here
    below -= 1
    return np.maximum(x, below, out=below)


def _matrix(weights: dict[str, np.ndarray], name: str) -> np.ndarray:
    """Weights of a convolution as a matrix, (inputs, outputs); inputs ordered place by place, channels innermost."""
    kernel = weights[f"{name}.weight"]
    return np.ascontiguousarray(np.moveaxis(kernel, 1, -1).reshape(len(kernel), -1).T)
