"""A take as it is compared with another one: what sounds on each of its beats."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import fft, ndimage

from cuesuggest.analysis.frames import FRAME_RATE, HEADS
from cuesuggest.analysis.rhythm.evidence import flux
from cuesuggest.analysis.spectrum import CHROMA_RATE, Spectrum, means_within
from cuesuggest.analysis.types import SongAnalysis

__all__ = ["HeardTake", "Take", "counted", "take_of"]

_CHROMA_PARTS, _RHYTHM_PARTS = 2, 4  # of a beat
_TIMBRE_TERMS = 12
_BAR_LINE = 6.0  # nats; further off, the network is only loud


@dataclass(frozen=True, slots=True)
class HeardTake:
    """All that is known of a recording's sound: its frames, what the network made of them, and the analysis."""

    spectrum: Spectrum
    logits: np.ndarray
    analysis: SongAnalysis


@dataclass(frozen=True, slots=True)
class Take:
    """What sounds on the beats of one take, relative to the take itself, as rooms and desks differ.

    Attributes
    ----------
    times : ndarray, shape (beats + 1,)
        Seconds from the start of the file; the last is the end of the last beat.
    chroma : ndarray, shape (beats, 2, 12)
        How much more of a pitch class sounds than of the others, in each half of the beat.
    timbre : ndarray, shape (beats, 12)
    rhythm : ndarray, shape (beats, 16)
        Attacks in each quarter of the beat, in four ranges.
    loudness : ndarray, shape (beats,)
    opens : ndarray, shape (beats,)
        Log odds that a bar starts here.
    """

    times: np.ndarray
    chroma: np.ndarray
    timbre: np.ndarray
    rhythm: np.ndarray
    loudness: np.ndarray
    opens: np.ndarray

    def __len__(self) -> int:
        return len(self.times) - 1

    @property
    def beat(self) -> float:
        """Seconds that a beat lasts, as most do."""
        return float(np.median(np.diff(self.times)))


def counted(analysis: SongAnalysis, factor: float = 1.0) -> np.ndarray:
    """Return the beats of a song and the end of the last, counted otherwise where asked.

    Parameters
    ----------
    analysis : SongAnalysis
    factor : float
        How many of the new beats are as long as one of the old: 2 for twice as many.

    Returns
    -------
    ndarray
        Seconds, rising; empty where there are no beats.
    """
    beats = np.array(analysis.beats)
    if len(beats) < 2:
        return np.zeros(0)
    beats = np.append(beats, beats[-1] + np.median(np.diff(beats[-9:])))
    start = 0.0
    if factor < 1 and analysis.downbeats:  # counted from a bar line, so that bars stay whole
        start = float(np.abs(beats - analysis.downbeats[0]).argmin()) % (1 / factor)
    places = np.arange(start, len(beats) - 1 + 1e-6, 1 / factor)
    return np.asarray(np.interp(places, np.arange(len(beats)), beats))


def take_of(heard: HeardTake, times: np.ndarray) -> Take:
    """Describe what sounds on beats.

    Parameters
    ----------
    heard : HeardTake
    times : ndarray, shape (beats + 1,)
        As `counted` returns them.
    """
    spectrum = heard.spectrum
    at = times[:-1] - spectrum.start, times[1:] - spectrum.start
    chroma = means_within(np.sqrt(spectrum.chroma), CHROMA_RATE, *at, _CHROMA_PARTS)
    chroma = chroma / np.maximum(np.linalg.norm(chroma, axis=2, keepdims=True), 1e-9)
    bands = means_within(spectrum.bands, FRAME_RATE, *at, 1)[:, 0]
    # The first term is loudness, which is told by itself.
    timbre = fft.dct(bands, axis=1, norm="ortho")[:, 1 : _TIMBRE_TERMS + 1]
    rhythm = means_within(np.maximum(flux(spectrum.bands), 0), FRAME_RATE, *at, _RHYTHM_PARTS)
    level = means_within(np.maximum(spectrum.level, 1e-9)[:, None], FRAME_RATE, *at, 1)[:, 0, 0]
    heads = dict(zip(HEADS, heard.logits, strict=True))
    frames = np.clip(np.rint(at[0] * FRAME_RATE).astype(int), 0, len(spectrum.bands) - 1)
    opens = ndimage.maximum_filter1d(heads["downbeat"] + heads["opens"], 5)[frames]
    return Take(
        times,
        chroma - chroma.mean(axis=2, keepdims=True),
        _standard(timbre),
        _standard(rhythm.reshape(len(times) - 1, -1)),
        _standard(10 * np.log10(level)),
        np.clip(opens, -_BAR_LINE, _BAR_LINE),
    )


def _standard(rows: np.ndarray) -> np.ndarray:
    return np.asarray((rows - rows.mean(axis=0)) / (rows.std(axis=0) + 0.1 * rows.std() + 1e-6))
