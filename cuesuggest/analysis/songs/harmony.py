"""How like each other two pieces of music are: by their harmony, beat by beat or bar by bar."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from cuesuggest.analysis.spectrum import CHROMA_RATE, FRAME_RATE, Spectrum, means_within, running_sums

__all__ = ["bar_harmony", "likeness", "opening_alike"]

_OPENING = 32  # beats from the top that are compared
_OFFSET = 8  # beats by which one may begin later than the other: a count that was taken for music
_FEWEST = 6
_COLOURS = 16  # groups of bands
_PHRASE = 8  # bars
_OTHER_KEY = 0.1  # of likeness


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


def bar_harmony(spectrum: Spectrum, starts: np.ndarray, ends: np.ndarray) -> np.ndarray:
    """Harmony of each half of each bar, against what is usual in the piece.

    Parameters
    ----------
    spectrum : Spectrum
    starts, ends : ndarray, shape (bars,)
        Seconds.

    Returns
    -------
    ndarray of float32, shape (bars, 2, 12)
        Each bar of length 1; pitch classes C first.
    """
    halves = means_within(spectrum.chroma, CHROMA_RATE, starts - spectrum.start, ends - spectrum.start, 2)
    both = halves / np.maximum(np.linalg.norm(halves, axis=2, keepdims=True), 1e-9)
    return _of_length_one(both - both.mean(axis=(0, 1))).astype(np.float32)


def likeness(first: np.ndarray, second: np.ndarray) -> float:
    """How much of the shorter of two pieces is found in the other, in any key and any order of its phrases.

    Each phrase of the one is laid beside every phrase of the other; the best of them counts.

    Parameters
    ----------
    first, second : ndarray, shape (bars, 2, 12)
        As `bar_harmony` gives them.

    Returns
    -------
    float
        1 where all is found as it is; less in another key, as songs share chords in some key or other.
    """
    short, long = sorted((first, second), key=len)
    if len(short) < _PHRASE:
        return 0.0
    best = 0.0
    for shift in range(12):
        every = np.einsum("ihk,jhk->ij", short, np.roll(long, shift, axis=2))
        best = max(best, _found(every) - (_OTHER_KEY if shift else 0.0))
    return best


def _found(every: np.ndarray) -> float:
    """Mean over the phrases of the shorter piece: how well the best place in the longer one answers."""
    rows, columns = every.shape
    sums = np.zeros((rows + 1, columns + 1))
    for k in range(rows):
        sums[k + 1, 1:] = sums[k, :-1] + every[k]
    phrases = (sums[_PHRASE:, _PHRASE:] - sums[:-_PHRASE, :-_PHRASE]) / _PHRASE
    return float(phrases.max(axis=1).mean())


def _of_length_one(bars: np.ndarray) -> np.ndarray:
    length = np.sqrt(np.einsum("ihk,ihk->i", bars, bars))
    return np.asarray(bars / np.maximum(length, 1e-9)[:, None, None])
