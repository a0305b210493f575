"""Tones to play by: a click for beats, a count in pips, a figure for each kind of cue, and the go.

No voice: none that is free, kept up and small could be had with the program. A figure draws what the hand does, and its
pitch tells the side.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from typing import TYPE_CHECKING

from cuesuggest.score.records import CueKind

if TYPE_CHECKING:
    import numpy as np

__all__ = ["FIGURES", "figure", "go", "pips", "side_pitch", "struck"]

_CLICK_SECONDS, _CLICK_FADES = 0.03, 0.006
# Hz. The bar's first beat is an octave higher, which is heard at once at any volume.
_BEAT, _DOWNBEAT = 1000.0, 2000.0
_LOWEST, _STEP = 294.0, 4  # Hz of what is on no side; semitones from there to the first side, and from side to side
_RISE, _FALL = 0.001, 0.01  # s of each note
_HARMONICS = (1.0, 0.4, 0.2)  # which tell it from a click
_PIP, _PIP_EVERY = 0.05, 0.09  # s

_Note = tuple[float, float, float, float]
"""Second at which it begins, its length, semitones above the side's pitch as it begins and as it ends."""

FIGURES: dict[CueKind, tuple[_Note, ...]] = {
    "cut-in": ((0.0, 0.08, 0, 0), (0.1, 0.16, 7, 7)),
    "cut-out": ((0.0, 0.08, 7, 7), (0.1, 0.16, 0, 0)),
    "fade-in": ((0.0, 0.26, 0, 12),),
    "fade-out": ((0.0, 0.26, 12, 0),),
    "crossfade": ((0.0, 0.26, 0, 12), (0.0, 0.26, 12, 0)),
    "ramp": ((0.0, 0.08, 0, 0), (0.09, 0.08, 2, 2), (0.18, 0.08, 4, 4)),
    "speed": ((0.0, 0.05, 0, 0), (0.07, 0.05, 4, 4), (0.14, 0.05, 0, 0), (0.21, 0.05, 4, 4)),
    "one-shot": ((0.0, 0.06, 12, 12),),
    "recall": ((0.0, 0.1, 0, 0), (0.16, 0.1, 0, 0)),
    "call": ((0.0, 0.26, 0, 0),),
}
_GO: tuple[_Note, ...] = ((0.0, 0.2, 12, 12),)


def side_pitch(index: int | None) -> float:
    """Hz of the sides of a song in their order; None is what is on no side."""
    steps = 0 if index is None else 1 + min(index, 3)
    return _LOWEST * 2.0 ** (steps * _STEP / 12)


@lru_cache(maxsize=32)
def struck(rate: int, downbeat: bool) -> np.ndarray:
    """A click that begins at its loudest, so that its start is where it is heard.

    Parameters
    ----------
    rate : int
        Samples a second.
    downbeat : bool
        Whether it is for a bar's first beat.

    Returns
    -------
    ndarray of float32
        As loud as full scale, as all of these are.
    """
    import numpy as np

    time = np.arange(round(_CLICK_SECONDS * rate)) / rate
    wave = np.cos(2 * np.pi * (_DOWNBEAT if downbeat else _BEAT) * time) * np.exp(-time / _CLICK_FADES)
    return wave.astype(np.float32)


def pips(rate: int, count: int, pitch: float) -> np.ndarray:
    """As many pips as there are beats to go."""
    return _sounded(rate, tuple((_PIP_EVERY * index, _PIP, 0, 0) for index in range(count)), pitch)


def figure(rate: int, kind: CueKind, pitch: float) -> np.ndarray:
    """What is told of a cue before it is counted."""
    return _sounded(rate, FIGURES[kind], pitch)


def go(rate: int, pitch: float) -> np.ndarray:
    """What sounds as the hand begins."""
    return _sounded(rate, _GO, pitch)


@lru_cache(maxsize=128)
def _sounded(rate: int, notes: Sequence[_Note], pitch: float) -> np.ndarray:
    import numpy as np

    wave = np.zeros(round(max(start + length for start, length, _, _ in notes) * rate) + 1)
    for start, length, low, high in notes:
        time = np.arange(round(length * rate)) / rate
        hertz = pitch * 2.0 ** ((low + (high - low) * time / length) / 12)
        phase = 2 * np.pi * np.cumsum(hertz) / rate
        heard = (np.arange(1, len(_HARMONICS) + 1)[:, None] * hertz) < 0.45 * rate
        shape = np.minimum(1.0, np.minimum(time / _RISE, (length - time) / _FALL))
        first = round(start * rate)
        for number, (share, there) in enumerate(zip(_HARMONICS, heard, strict=True), 1):
            wave[first : first + len(time)] += share * shape * there * np.sin(number * phase)
    return (wave / np.abs(wave).max()).astype(np.float32)
