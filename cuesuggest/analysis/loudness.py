"""Loudness after ITU-R BS.1770: K-weighting, mean square, gating; momentary and integrated values.

The two K-weighting filters are recursive. Their impulse response has fallen below 1e-9 within 100 ms (the slower one,
a high-pass at 38 Hz with Q 0.5, decays by 1/e in 4 ms), so they are applied block by block in the frequency domain
with 100 ms of the past in front of each block (overlap-save): exact to rounding, and much faster than a loop.
"""

from __future__ import annotations

import math

import numpy as np
from scipy import fft

__all__ = [
    "HOP_SECONDS",
    "MOMENTARY",
    "SILENCE_LUFS",
    "LoudnessMeter",
    "integrated",
    "k_weighting",
    "to_lufs",
    "windowed",
]

HOP_SECONDS = 0.1
MOMENTARY = 4  # hops
SILENCE_LUFS = -70.0  # The absolute gate of BS.1770; silence is shown as this, never as minus infinity.
_HOPS_PER_FRAME = 6

# Analogue prototypes behind the coefficients that BS.1770 prints for 48 kHz: (centre Hz, gain dB, Q).
_SHELF = (1681.974450955533, 3.999843853973347, 0.7071752369554196)
_HIGH_PASS = (38.13547087602444, 0.0, 0.5003270373238773)

_LOUDSPEAKER_GAIN = {5: (1.0, 1.0, 1.0, 1.41, 1.41), 6: (1.0, 1.0, 1.0, 0.0, 1.41, 1.41)}


def k_weighting(sample_rate: float) -> tuple[np.ndarray, np.ndarray]:
    """Coefficients of the two K-weighting filters, made anew for a sample rate.

    Parameters
    ----------
    sample_rate : float
        Hz.

    Returns
    -------
    b, a : ndarray, shape (2, 3)
        Numerators and denominators of shelf and high-pass; `a[:, 0]` is 1.
    """
    f0, gain, q = _SHELF
    k = math.tan(math.pi * f0 / sample_rate)
    high = 10 ** (gain / 20)
    band = high**0.4996667741545416
    a0 = 1 + k / q + k * k
    shelf_b = [
        (high + band * k / q + k * k) / a0,
        2 * (k * k - high) / a0,
        (high - band * k / q + k * k) / a0,
    ]
    shelf_a = [1.0, 2 * (k * k - 1) / a0, (1 - k / q + k * k) / a0]
    f0, _, q = _HIGH_PASS
    k = math.tan(math.pi * f0 / sample_rate)
    a0 = 1 + k / q + k * k
    pass_a = [1.0, 2 * (k * k - 1) / a0, (1 - k / q + k * k) / a0]
    return np.array([shelf_b, [1.0, -2.0, 1.0]]), np.array([shelf_a, pass_a])


class LoudnessMeter:
    """K-weighted power of a stream, in steps of 100 ms.

    Parameters
    ----------
    sample_rate : int
        Hz.
    channels : int
        Weighted as left, right, centre … of BS.1770 where there are five or six; else all alike.
    """

    def __init__(self, sample_rate: int, channels: int) -> None:
        self.hop = max(1, round(sample_rate * HOP_SECONDS))
        self.step = self.hop / sample_rate
        self._gain = np.sqrt(np.array(_LOUDSPEAKER_GAIN.get(channels, (1.0,) * channels), np.float32))
        self._size = fft.next_fast_len(self.hop * (_HOPS_PER_FRAME + 1))
        b, a = k_weighting(sample_rate)
        z = np.exp(-2j * np.pi * np.arange(self._size) / self._size)
        powers = np.stack([np.ones_like(z), z, z * z])
        self._response = np.prod((b @ powers) / (a @ powers), axis=0).astype(np.complex64)
        # A hop of the past, and behind it what was too short for a frame.
        self._kept = np.zeros((self.hop, channels + channels % 2), np.float32)
        self._power: list[np.ndarray] = []

    def add(self, block: np.ndarray) -> None:
        """Take in samples.

        Parameters
        ----------
        block : ndarray of float32, shape (n, channels)
        """
        weighted = block if (self._gain == 1).all() else block * self._gain
        if weighted.shape[1] % 2:  # silence beside an odd last channel
            weighted = np.pad(weighted, ((0, 0), (0, 1)))
        stream = np.concatenate([self._kept, weighted])
        frame = self.hop * _HOPS_PER_FRAME
        frames = (len(stream) - self.hop) // frame
        self._measure(stream, frames)
        self._kept = stream[frames * frame :].copy()

    def finish(self) -> np.ndarray:
        """Power of every full 100 ms, an incomplete last one dropped.

        Returns
        -------
        ndarray, shape (hops,)
            Sum over channels of the weighted mean square.
        """
        hops = len(self._kept) // self.hop - 1
        if hops:
            padded = np.zeros((self.hop * (_HOPS_PER_FRAME + 1), self._kept.shape[1]), np.float32)
            padded[: len(self._kept)] = self._kept
            self._measure(padded, 1)
            self._power[-1] = self._power[-1][:hops]
        self._kept = self._kept[: self.hop]
        return np.concatenate(self._power) if self._power else np.zeros(0)

    def _measure(self, stream: np.ndarray, frames: int) -> None:
        """Measure frames of a stream that begins with a hop of the past."""
        hop, frame = self.hop, self.hop * _HOPS_PER_FRAME
        total = np.zeros((frames, _HOPS_PER_FRAME))
        # The filter is real, so two channels pass it as real and imaginary part of one and do not mix.
        for pair in range(0, stream.shape[1], 2):
            both = np.ascontiguousarray(stream[:, pair : pair + 2]).view(np.complex64)[:, 0]
            for row in range(frames):
                spectrum = fft.fft(both[row * frame : (row + 1) * frame + hop], self._size)
                spectrum *= self._response
                weighted = fft.ifft(spectrum, overwrite_x=True)[hop : hop + frame]
                parts = weighted.view(np.float32).reshape(_HOPS_PER_FRAME, 2 * hop)
                total[row] += np.einsum("ij,ij->i", parts, parts, dtype=np.float64) / hop
        self._power.append(total.ravel())


def to_lufs(power: np.ndarray | float) -> np.ndarray:
    """Loudness of a power; below the absolute gate it is the gate's value.

    Parameters
    ----------
    power : ndarray or float
        Weighted mean square.

    Returns
    -------
    ndarray
        LUFS, never under -70.
    """
    power = np.maximum(np.asarray(power, np.float64), 1e-12)
    return np.maximum(-0.691 + 10 * np.log10(power), SILENCE_LUFS)


def windowed(power: np.ndarray, hops: int) -> np.ndarray:
    """Power of windows that start at every 100 ms step; 4 hops are 'momentary', 30 'short-term' (EBU Tech 3341).

    Parameters
    ----------
    power : ndarray, shape (n,)
    hops : int
        Length of a window.

    Returns
    -------
    ndarray, shape (max(0, n - hops + 1),)
    """
    if len(power) < hops:
        return np.zeros(0)
    sums = np.concatenate([[0.0], np.cumsum(power)])
    return np.maximum(sums[hops:] - sums[:-hops], 0) / hops


def integrated(power: np.ndarray) -> float | None:
    """Gated programme loudness (BS.1770-4, annex 1): gates at -70 LUFS and 10 LU below the rest.

    Parameters
    ----------
    power : ndarray, shape (hops,)

    Returns
    -------
    float or None
        LUFS; None when there are less than 400 ms or nothing passes the absolute gate.
    """
    blocks = windowed(power, MOMENTARY)
    gate = 10 ** ((SILENCE_LUFS + 0.691) / 10)
    loud = blocks[blocks > gate]
    if not len(loud):
        return None
    loud = loud[loud > loud.mean() / 10]
    return float(to_lufs(loud.mean()))
