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
    x = _front(_normalised(spectrum), weights)
    layer = 0
    while f"body.{layer}.near.weight" in weights:
        x = _residual(x, layer, weights)
        layer += 1
    return np.ascontiguousarray((_elu(x) @ _matrix(weights, "heads") + weights["heads.bias"]).T)


def _front(x: np.ndarray, weights: dict[str, np.ndarray]) -> np.ndarray:
    """Frames x bands -> frames x width: attacks and timbre of each frame and its neighbours."""
    first, second, third = (_matrix(weights, name) for name in ("first", "second", "third"))
    padded = np.pad(x, ((1, 1), (0, 0)))
    seen = sliding_window_view(padded, (3, 3))  # frames x 62 x 3 x 3
    parts = []
    for start in range(0, len(x), _CHUNK):
        chunk = seen[start : start + _CHUNK]
        # The largest of three first, offset and function then: they keep the order, so at a third it comes to the same.
        y = _elu(_pooled(chunk.reshape(*chunk.shape[:2], 9) @ first) + weights["first.bias"])
        around = np.moveaxis(sliding_window_view(y, 10, axis=1), -1, -2)  # frames x 11 x 10 x front
        y = _elu(_pooled(around.reshape(*around.shape[:2], -1) @ second) + weights["second.bias"])
        parts.append(y.reshape(len(y), -1))
    y = np.pad(np.concatenate(parts), ((1, 1), (0, 0)))
    found = []
    for start in range(0, len(x), _CHUNK):  # in chunks, or two hours would need a table of 300 MB
        stop = min(start + _CHUNK, len(x))
        around = np.concatenate([y[start + k : stop + k] for k in range(3)], axis=1)
        found.append(_elu(around @ third + weights["third.bias"]))
    return np.concatenate(found)


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


def _normalised(spectrum: Spectrum) -> np.ndarray:
    """Take off each band's mean and one spread for all, both of the active frames."""
    active = active_frames(spectrum.level)
    if not active.any():
        return np.zeros_like(spectrum.bands)
    heard = spectrum.bands[active]
    mean = heard.mean(axis=0)
    spread = float(np.sqrt(np.square(heard - mean).mean()))
    return np.asarray((spectrum.bands - mean) / max(spread, 1e-3))


def _elu(x: np.ndarray) -> np.ndarray:
    below = np.minimum(x, 0)
    np.exp(below, out=below)  # three times as fast as expm1, and as good here
    below -= 1
    return np.maximum(x, below, out=below)


def _matrix(weights: dict[str, np.ndarray], name: str) -> np.ndarray:
    """Weights of a convolution as a matrix, (inputs, outputs); inputs ordered place by place, channels innermost."""
    kernel = weights[f"{name}.weight"]
    return np.ascontiguousarray(np.moveaxis(kernel, 1, -1).reshape(len(kernel), -1).T)
