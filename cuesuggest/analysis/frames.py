"""The frame grid, its bands and the network's heads: what training shares with hearing, and nothing heavier."""

from __future__ import annotations

import numpy as np

__all__ = ["BANDS", "FRAME_RATE", "HEADS", "HOP", "LOUD", "RATE", "band_edges", "bands_at"]

RATE = 22050
HOP = 441
FRAME_RATE = RATE / HOP
BANDS = 64
LOUD = 50.0  # what the 95th percentile of the active frames is scaled to before log(1 + x)
HEADS = ("beat", "downbeat", "opens", "music", "section", "voice", "build")
"""What each row of the network's logits is about. `downbeat`: one is here at all; `opens`: a beat here is one."""
_LOW, _HIGH, _BEND = 30.0, 10000.0, 150.0


def band_edges() -> np.ndarray:
    """Corners of the 64 triangular bands, evenly spaced in log(1 + f / 150).

    Returns
    -------
    ndarray, shape (66,)
        Hz, from 30 to 10000; band b rises from corner b to b + 1 and falls to b + 2.
    """
    bent = np.linspace(np.log1p(_LOW / _BEND), np.log1p(_HIGH / _BEND), BANDS + 2)
    return _BEND * np.expm1(bent)


def bands_at(hertz: np.ndarray) -> np.ndarray:
    """Where frequencies lie among the bands' centres.

    Parameters
    ----------
    hertz : ndarray

    Returns
    -------
    ndarray
        0 is the centre of the lowest band, 63 of the highest; fractions between, and beyond.
    """
    low, high = np.log1p(_LOW / _BEND), np.log1p(_HIGH / _BEND)
    return np.asarray((np.log1p(hertz / _BEND) - low) / (high - low) * (BANDS + 1) - 1)
