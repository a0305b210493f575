"""False starts: the band plays some bars, breaks off, and begins again from the top.

What tells one from a song with a pause in it: it is short beside what follows, and what follows begins with the same
music. Sameness is measured on beats, by harmony and colour, from the first downbeat of either attempt on, and set
against how like each other any two places of the song are.
"""

from __future__ import annotations

import numpy as np

from cuesuggest.analysis.events.scene import Candidate
from cuesuggest.analysis.frames import FRAME_RATE
from cuesuggest.analysis.spectrum import CHROMA_RATE, Spectrum, running_sums

__all__ = ["attempt_candidates"]

_LONGEST = 32  # beats from the top that are compared
_FEWEST = 4
_COLOURS = 16  # groups of bands
_MOST_SHARE = 0.5  # of what follows: an attempt that is longer is no false start


def attempt_candidates(spectrum: Spectrum, beats: np.ndarray, slots: np.ndarray, runs: np.ndarray) -> list[Candidate]:
    """List the stretches of music that may be false starts, each set against what follows it.

    Parameters
    ----------
    spectrum : Spectrum
    beats : ndarray, shape (beats,)
        Seconds.
    slots : ndarray of int, shape (beats,)
        Beat in its bar, 0 the downbeat.
    runs : ndarray of int, shape (beats,)
        Which attempt each beat belongs to.

    Returns
    -------
    list of Candidate
        In order of time, one for each attempt but the last; from its first downbeat to a beat after its last.
    """
    if not len(beats) or runs[-1] == runs[0]:
        return []
    sounds = _sounds(spectrum, beats)
    some = sounds[:: max(1, len(sounds) // (2 * _LONGEST))]
    usual = float(np.median(some @ some.T))
    found = []
    for run in np.unique(runs)[:-1]:
        here, after = np.flatnonzero(runs == run), np.flatnonzero(runs > run)
        opening = np.flatnonzero(runs == run + 1)
        tops = [part[slots[part] == 0] for part in (here, opening)]
        if not all(len(top) for top in tops):
            continue
        count = min(_LONGEST, here[-1] - tops[0][0] + 1, opening[-1] - tops[1][0] + 1)
        last = float(beats[here[-1]])
        step = float(np.median(np.diff(beats[here]))) if len(here) > 1 else 0.5
        share = (last - float(beats[here[0]])) / max(float(beats[after[-1]] - beats[after[0]]), 1e-3)
        if count < _FEWEST or share > _MOST_SHARE:
            continue
        first, again = (sounds[top[0] : top[0] + count] for top in tops)
        next_step = float(np.median(np.diff(beats[opening]))) if len(opening) > 1 else step
        alike = float(np.einsum("ij,ij->i", first, again).mean())
        found.append(
            Candidate(
                "false-start",
                float(beats[tops[0][0]]),
                last + step,
                {
                    "alike": (alike - usual) / max(1 - usual, 1e-3),
                    "compared": float(np.log2(count)),
                    "beats": float(np.log2(len(here))),
                    "share": min(share, 1.0),
                    "gap": float(np.log2(max(float(beats[opening[0]]) - last, 0.25))),
                    "tempo": min(abs(float(np.log2(next_step / step))), 1.0),
                },
            )
        )
    return found


def _sounds(spectrum: Spectrum, beats: np.ndarray) -> np.ndarray:
    """Harmony and colour of each beat, of length 1."""
    ends = np.append(beats[1:], 2 * beats[-1] - beats[-2] if len(beats) > 1 else beats[-1] + 0.5)
    ends = np.minimum(ends, beats + 2 * float(np.median(ends - beats)))  # the last of an attempt
    bands = spectrum.bands.reshape(len(spectrum.bands), _COLOURS, -1).mean(axis=2)
    parts = []
    for rows, rate in ((spectrum.chroma, CHROMA_RATE), (bands, FRAME_RATE)):
        sums = running_sums(rows)
        a, b = (np.clip(np.rint((t - spectrum.start) * rate).astype(int), 0, len(rows) - 1) for t in (beats, ends))
        mean = (sums[np.maximum(b, a + 1)] - sums[a]) / np.maximum(b - a, 1)[:, None]
        mean -= mean.mean(axis=0)
        parts.append(mean / np.maximum(np.linalg.norm(mean, axis=1, keepdims=True), 1e-6))
    return np.asarray(np.concatenate(parts, axis=1) / np.sqrt(2))
