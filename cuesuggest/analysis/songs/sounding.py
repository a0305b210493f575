"""Where music sounds in a long recording: stretches, with whatever is played in them, and nothing else."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from scipy import ndimage

from cuesuggest.analysis.finding.spans import stretches
from cuesuggest.analysis.frames import FRAME_RATE, HEADS

__all__ = ["sounding"]

_LIMIT = 6.0  # nats; so that a second of certainty is not outvoted by a moment of more
_RATE = 10  # values a second
_JOIN_SECONDS = 1.5  # a breath or a stop, in which the network may doubt; who talks between two songs talks longer
_LEAST_SECONDS = 4.0  # two bars


def sounding(logits: Sequence[np.ndarray], start: float) -> list[tuple[float, float]]:
    """Find where either network hears music: a loud band through a phone is heard by only one of them.

    Parameters
    ----------
    logits : sequence of ndarray, shape (7, frames)
        What each network made of the recording.
    start : float
        Seconds of the first frame.

    Returns
    -------
    list of (float, float)
        Seconds, in order.
    """
    row = HEADS.index("music")
    music = np.max(
        [ndimage.uniform_filter1d(np.clip(each[row], -_LIMIT, _LIMIT), round(FRAME_RATE)) for each in logits], axis=0
    )
    heard = music[:: round(FRAME_RATE / _RATE)] > 0
    heard = ndimage.binary_closing(heard, np.ones(round(_JOIN_SECONDS * _RATE)))
    return [(start + a / _RATE, start + b / _RATE) for a, b in stretches(heard) if b - a >= _LEAST_SECONDS * _RATE]
