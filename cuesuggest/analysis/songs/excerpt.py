"""A part of what was heard, as if only that part had been listened to: nothing is decoded again."""

from __future__ import annotations

import numpy as np

from cuesuggest.analysis.frames import FRAME_RATE
from cuesuggest.analysis.spectrum import CHROMA_RATE, Spectrum, scaled

__all__ = ["excerpt"]


def excerpt(spectrum: Spectrum, start: float, end: float) -> Spectrum:
    """Cut a part out of a spectrum.

    Loud passages elsewhere no longer count: bands and level are brought to the part's own scale. But for the window of
    a frame at its edges, which still looks a few hundredths of a second outside, it is what listening to the part
    alone gives.

    Parameters
    ----------
    spectrum : Spectrum
    start, end : float
        Seconds from the start of the file, on whole tenths of a second; the spectrum's own ends where they lie outside.

    Returns
    -------
    Spectrum
    """
    last = spectrum.end - spectrum.start
    first, stop = max(start - spectrum.start, 0.0), min(end - spectrum.start, last)

    def part(rows: np.ndarray, rate: float, more: int) -> np.ndarray:
        return rows[round(first * rate) : round(stop * rate) + more]

    bands, level = scaled(np.expm1(part(spectrum.bands, FRAME_RATE, 1)), part(spectrum.level, FRAME_RATE, 1).copy())
    return Spectrum(
        start=round(spectrum.start + first, 4),
        end=spectrum.start + stop,
        bands=bands,
        level=level,
        chroma=part(spectrum.chroma, CHROMA_RATE, 1).copy(),
        power=part(spectrum.power, 1 / spectrum.power_step, 0).copy(),
        power_step=spectrum.power_step,
    )
