"""What the finders of events share: frames at a time, levels between two times, runs of frames and their joins."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TypeVar

import numpy as np

from cuesuggest.analysis.spectrum import FRAME_RATE, Spectrum

__all__ = ["frame_at", "joined", "loudness", "stretches"]

_Place = TypeVar("_Place", int, float)


def frame_at(spectrum: Spectrum, seconds: float) -> int:
    """Frame whose centre is nearest to a time; the first or last outside the recording."""
    return int(np.clip(round((seconds - spectrum.start) * FRAME_RATE), 0, len(spectrum.level) - 1))


def loudness(spectrum: Spectrum, start: float, end: float) -> float:
    """Level of the mean power between two times, in dB."""
    part = spectrum.level[frame_at(spectrum, start) : frame_at(spectrum, end) + 1]
    return float(10 * np.log10(max(float(np.mean(part, dtype=np.float64)), 1e-10)))


def stretches(mask: np.ndarray) -> list[tuple[int, int]]:
    """Runs of True: index of the first, and of the last or the end of the mask."""
    edges = np.flatnonzero(np.diff(np.concatenate([[0], mask.astype(np.int8), [0]])))
    return [(int(a), int(min(b, len(mask) - 1))) for a, b in edges.reshape(-1, 2)]


def joined(spans: Iterable[tuple[_Place, _Place]], most: float) -> list[tuple[_Place, _Place]]:
    """Spans in order, as one where from the end of one to the start of the next it is no further than `most`."""
    found: list[tuple[_Place, _Place]] = []
    for start, end in spans:
        if found and start - found[-1][1] <= most:
            start = found.pop()[0]
        found.append((start, end))
    return found
