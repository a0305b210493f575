"""Tempi that the decoder tells apart, in steps of 2.4 %: bands of them, and what each costs by itself."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

__all__ = ["FASTEST", "REACH", "SLOWEST", "TEMPO_STEP", "TempoBins", "tempo_bins", "tempo_prior"]

SLOWEST, FASTEST = 47.0, 214.0
TEMPO_STEP = 1.024
REACH = 3  # tempo bins that a tempo may move from one beat to the next
_BAND_OCTAVES, _WIDE_BAND_OCTAVES = 0.28, 0.45  # to each side
_TEMPO_CENTRE, _TEMPO_SPREAD = 112.0, 0.6  # BPM, octaves
_TEMPO_WEIGHT = 0.15  # nats a second: a whole nat doubled slow songs


def tempo_bins(bpm: float, *, wide: bool = False) -> np.ndarray:
    """Tempi within 0.28 octave of one, or 0.45 octave, in steps of 2.4 %.

    Parameters
    ----------
    bpm : float
    wide : bool

    Returns
    -------
    ndarray, shape (n,)
        BPM, rising, from a little under 47 to 214.
    """
    octaves = _WIDE_BAND_OCTAVES if wide else _BAND_OCTAVES
    reach = round(octaves * np.log(2) / np.log(TEMPO_STEP))
    tempi = bpm * TEMPO_STEP ** np.arange(-reach, reach + 1)
    return tempi[(tempi >= SLOWEST / TEMPO_STEP**REACH) & (tempi <= FASTEST)]


@dataclass(slots=True)
class TempoBins:
    """Tempi of all bands in a row. Bands are set apart by bins that nothing reaches."""

    tempi: np.ndarray = field(default_factory=lambda: np.zeros(0))
    starts: list[int] = field(default_factory=list)
    """Where each band begins."""

    def add(self, tempi: np.ndarray) -> slice:
        """Put tempi at the end, with a gap after them."""
        start = len(self.tempi)
        self.tempi = np.concatenate([self.tempi, tempi, np.full(REACH, np.nan)])
        return slice(start, start + len(tempi))


def tempo_prior(tempi: np.ndarray) -> np.ndarray:
    """Cost of one beat at each tempo; counted by seconds, or fast tempi would pay for their number of beats."""
    octaves = np.log2(tempi / _TEMPO_CENTRE) / _TEMPO_SPREAD
    return np.asarray(-0.5 * octaves**2 * _TEMPO_WEIGHT * 60 / tempi, np.float32)
