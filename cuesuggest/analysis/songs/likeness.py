"""How like each other two pieces of music are: by their harmony, beat by beat or bar by bar."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from cuesuggest.analysis.spectrum import CHROMA_RATE, FRAME_RATE, Spectrum, running_sums

__all__ = ["opening_alike"]

_OPENING = 32  # beats from the top that are compared
_OFFSET = 8  # beats by which one may begin later than the other: a count that was taken for music
_FEWEST = 6
_COLOURS = 16  # groups of bands


def opening_alike(spectrum: Spectrum, first: np.ndarray, second: np.ndarray) -> float:
    """How like the beginning of one piece of music that of another is.

    Parameters
    ----------
    spectrum : Spectrum
        In which both are.
    first, second : ndarray
        Their beats, seconds.

    Returns
    -------
    float
        1 where they are the same; 0 where they are no more alike than any two places of the two.
    """
    both = [_sounds(spectrum, beats) for beats in (first, second)]
    # What all of the longer piece has in common says nothing; the shorter may have too little to have a middle.
    usual_sound = [rows.mean(axis=0) for rows in max(both, key=lambda each: len(each[0]))]
    here, there = (_unlike(rows, usual_sound) for rows in both)
    every = here @ there.T
    usual = float(np.median(every))
    best = -1.0
    for late in range(-_OFFSET, _OFFSET + 1):
        count = min(_OPENING, len(here) - max(-late, 0), len(there) - max(late, 0))
        if count >= _FEWEST:
            at = np.arange(count)
            best = max(best, float(every[at + max(-late, 0), at + max(late, 0)].mean()))
    return (best - usual) / max(1 - usual, 1e-3)


def _unlike(rows: Sequence[np.ndarray], usual: Sequence[np.ndarray]) -> np.ndarray:
    """What beats have beside what is usual, harmony and colour alike, of length 1."""
    apart = [each - middle for each, middle in zip(rows, usual, strict=True)]
    parts = [each / np.maximum(np.linalg.norm(each, axis=1, keepdims=True), 1e-6) for each in apart]
    return np.asarray(np.concatenate(parts, axis=1) / np.sqrt(len(parts)))


def _sounds(spectrum: Spectrum, beats: np.ndarray) -> list[np.ndarray]:
    """Harmony of each beat, and colour."""
    ends = np.append(beats[1:], 2 * beats[-1] - beats[-2])
    ends = np.minimum(ends, beats + 2 * float(np.median(ends - beats)))
    bands = spectrum.bands.reshape(len(spectrum.bands), _COLOURS, -1).mean(axis=2)
    parts = []
    for rows, rate, width in ((spectrum.chroma, CHROMA_RATE, 12), (spectrum.bands, FRAME_RATE, _COLOURS)):
        first = max(0, int((beats[0] - spectrum.start) * rate) - 1)
        last = int((ends[-1] - spectrum.start) * rate) + 2
        inside = rows[first:last]
        sums = running_sums(inside.reshape(len(inside), width, -1).mean(axis=2))
        a, b = (
            np.clip(np.rint((t - spectrum.start) * rate).astype(int) - first, 0, len(sums) - 2) for t in (beats, ends)
        )
        parts.append((sums[np.maximum(b, a + 1)] - sums[a]) / np.maximum(b - a, 1)[:, None])
    return parts
