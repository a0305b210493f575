"""What is known of the bars, and vectors by which they are compared.

Similarities are made where they are needed and never kept for all pairs of bars: two hours have thousands of bars.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy import fft

from cuesuggest.analysis.spectrum import CHROMA_RATE, FRAME_RATE, Spectrum, means_within

__all__ = ["COMPARED", "BarVectors", "SongBars", "bar_vectors"]

COMPARED = 128  # bars compared with all others at a time
_CHROMA_PARTS, _TIMBRE_PARTS, _RHYTHM_PARTS = 4, 2, 16
_TIMBRE_TERMS = 12
_TRANSPOSITIONS = (1, 2, -1, -2)
# A transposition must win clearly: among unrelated bars one of five always fits a little better.
_MOVED_COST = 0.15


@dataclass(frozen=True, slots=True)
class SongBars:
    """The bars of the song itself, the count-in left out.

    Attributes
    ----------
    numbers : ndarray of int, shape (bars,), bars >= 1
    starts, ends : ndarray, shape (bars,)
        Seconds from the start of the file.
    loudness : ndarray, shape (bars,)
        LUFS.
    confidence : ndarray, shape (bars,)
        That the bar is where it is told.
    beat : float
        Seconds.
    """

    numbers: np.ndarray
    starts: np.ndarray
    ends: np.ndarray
    loudness: np.ndarray
    confidence: np.ndarray
    beat: float

    def __len__(self) -> int:
        return len(self.starts)


@dataclass(frozen=True, slots=True)
class BarVectors:
    """Bars as vectors of unit length: the product of two says how alike the bars are, at most 1."""

    chroma: np.ndarray
    moved: tuple[np.ndarray, ...]
    """The chroma a few semitones up and down."""
    timbre: np.ndarray
    rhythm: np.ndarray

    def __len__(self) -> int:
        return len(self.chroma)

    def harmony(self, rows: slice, columns: slice) -> np.ndarray:
        """Likeness in harmony of some bars with others, after the best transposition by up to two semitones."""
        best = self.chroma[rows] @ self.chroma[columns].T
        for moved in self.moved:
            np.maximum(best, self.chroma[rows] @ moved[columns].T - _MOVED_COST, out=best)
        return np.asarray(best)

    def alike(self, rows: slice, columns: slice, weights: Sequence[float] | np.ndarray) -> np.ndarray:
        """Sum of the likeness in harmony, timbre and rhythm, each with its weight."""
        harmony, timbre, rhythm = weights
        alike = harmony * self.harmony(rows, columns)
        alike += timbre * (self.timbre[rows] @ self.timbre[columns].T)
        alike += rhythm * (self.rhythm[rows] @ self.rhythm[columns].T)
        return alike


def bar_vectors(spectrum: Spectrum, bars: SongBars, flux: np.ndarray) -> BarVectors:
    """Describe every bar by its chords, its sound and its rhythm.

    Parameters
    ----------
    spectrum : Spectrum
    bars : SongBars
    flux : ndarray, shape (frames, 4)
        As `rhythm.evidence.flux` makes it.
    """
    starts, ends = bars.starts - spectrum.start, bars.ends - spectrum.start
    chroma = means_within(np.sqrt(spectrum.chroma), CHROMA_RATE, starts, ends, _CHROMA_PARTS)
    chroma = chroma - chroma.mean(axis=2, keepdims=True)
    timbre = means_within(spectrum.bands, FRAME_RATE, starts, ends, _TIMBRE_PARTS)
    timbre = fft.dct(timbre, axis=2, norm="ortho")[:, :, :_TIMBRE_TERMS].reshape(len(starts), -1)
    timbre = (timbre - timbre.mean(axis=0)) / (timbre.std(axis=0) + 0.1)
    rhythm = means_within(np.maximum(flux, 0), FRAME_RATE, starts, ends, _RHYTHM_PARTS)
    rhythm = rhythm - rhythm.mean(axis=0)
    moved = tuple(_unit(np.roll(chroma, shift, axis=2)) for shift in _TRANSPOSITIONS)
    return BarVectors(_unit(chroma), moved, _unit(timbre), _unit(rhythm))


def _unit(rows: np.ndarray) -> np.ndarray:
    rows = rows.reshape(len(rows), -1)
    return np.asarray(rows / np.maximum(np.linalg.norm(rows, axis=1, keepdims=True), 1e-9), np.float32)
