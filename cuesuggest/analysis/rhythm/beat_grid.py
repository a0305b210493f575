"""Beats as decoded: their frames, their slots in the bar, and the stretches of music that they belong to."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from cuesuggest.analysis.rhythm.meters import COMMON, Meter
from cuesuggest.analysis.spectrum import FRAME_RATE

__all__ = ["BeatGrid"]


@dataclass(frozen=True, slots=True)
class BeatGrid:
    """Beats as decoded.

    Attributes
    ----------
    frames : ndarray of int, shape (beats,)
    slots : ndarray of int, shape (beats,)
        Beat in its bar, 0 the downbeat.
    meters : ndarray of int, shape (beats,)
        Index into `table`.
    runs : ndarray of int, shape (beats,)
        Number of the stretch of music that a beat belongs to: it rises after every stretch of 'no music'.
    score : float
        Log-likelihood ratio of the whole reading, in nats, tempo prior included.
    table : tuple of Meter
    """

    frames: np.ndarray
    slots: np.ndarray
    meters: np.ndarray
    runs: np.ndarray
    score: float
    table: tuple[Meter, ...] = COMMON

    @property
    def lengths(self) -> np.ndarray:
        """How long each beat is, in plain beats."""
        longest = max(meter.beats for meter in self.table)
        of = np.array([[*m.lengths, *m.lengths[-1:] * (longest - m.beats)] for m in self.table])
        return np.asarray(of[self.meters, np.minimum(self.slots, longest - 1)])

    @property
    def places(self) -> np.ndarray:
        """Where each beat falls when plain beats are counted; counting goes on over stretches of 'no music'."""
        return np.asarray(np.concatenate([[0.0], np.cumsum(self.lengths)[:-1]]) if len(self.frames) else np.zeros(0))

    @property
    def bpm(self) -> float:
        """Tempo of the middle one of all plain beats, as near as frames tell it; of two beats or more."""
        return 60 * FRAME_RATE / float(np.median(np.diff(self.frames) / self.lengths[:-1]))
