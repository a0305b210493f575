"""Beats, bars and tempo: evidence, decoder, choice of level, tempo map."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from cuesuggest.analysis.rhythm.decoder import FASTEST, METERS, SLOWEST, Grid, decode, tempo_bins
from cuesuggest.analysis.rhythm.evidence import Evidence, linear_evidence
from cuesuggest.analysis.rhythm.tempo import pulse_strength, smooth_times, subframe_times
from cuesuggest.analysis.spectrum import FRAME_RATE, Spectrum

__all__ = ["Reading", "Rhythm", "find_rhythm"]

_FIRST_GUESS = np.geomspace(SLOWEST, FASTEST, 64)
_GUESS_CENTRE, _GUESS_SPREAD = 112.0, 0.8  # BPM, octaves
_LEVELS = {"half": 0.5, "2:3": 2 / 3, "same": 1.0, "3:2": 1.5, "double": 2.0}
_FEWEST_BEATS = 8  # two bars of four: less is no song


@dataclass(frozen=True, slots=True)
class Reading:
    """One way to read the beats: what it is relative to the first guess, and how well it explains the evidence."""

    kind: str
    tempo_bpm: float
    score: float
    grid: Grid


@dataclass(frozen=True, slots=True)
class Rhythm:
    """Beats of a recording.

    Attributes
    ----------
    times : ndarray, shape (beats,)
        Seconds from the start of the file.
    grid : Grid
        Slots, meters and runs of the beats.
    evidence : Evidence
        What the reading rests on.
    others : tuple of Reading
        Readings at other levels, best first.
    """

    times: np.ndarray
    grid: Grid
    evidence: Evidence
    others: tuple[Reading, ...]


def find_rhythm(spectrum: Spectrum, evidence: Evidence | None = None) -> Rhythm:
    """Find beats and bars.

    Parameters
    ----------
    spectrum : Spectrum
    evidence : Evidence, optional
        In place of the linear models'.

    Returns
    -------
    Rhythm
        Without beats if no music was heard.
    """
    evidence = evidence or linear_evidence(spectrum)
    readings = sorted(_read_levels(evidence), key=lambda r: -r.score)
    grid = _long_enough(readings[0].grid)
    refined = subframe_times(grid.frames, evidence.beat) / FRAME_RATE + spectrum.start
    times = np.zeros(len(refined))
    for run in np.unique(grid.runs):
        times[grid.runs == run] = smooth_times(refined[grid.runs == run])
    return Rhythm(times, grid, evidence, tuple(readings[1:]))


def _read_levels(evidence: Evidence) -> list[Reading]:
    """Decode around the strongest pulse and around its half, double, 3:2 and 2:3."""
    octaves = np.log2(_FIRST_GUESS / _GUESS_CENTRE) / _GUESS_SPREAD
    salience = pulse_strength(evidence, _FIRST_GUESS) * np.exp(-0.5 * octaves**2)
    guess = float(_FIRST_GUESS[salience.argmax()])
    readings = []
    for kind, ratio in _LEVELS.items():
        tempi = tempo_bins(guess * ratio)
        if len(tempi):
            grid = decode(evidence, tempi)
            readings.append(Reading(kind, guess * ratio, grid.score, grid))
    return readings


def _long_enough(grid: Grid) -> Grid:
    """Leave out stretches of music too short to be one, such as a stick tapped during talk."""
    counts = np.bincount(grid.runs, minlength=1)
    keep = counts[grid.runs] >= _FEWEST_BEATS
    return Grid(grid.frames[keep], grid.slots[keep], grid.meters[keep], grid.runs[keep], grid.score)


def bar_starts(grid: Grid) -> np.ndarray:
    """Indices of the beats that open bars."""
    return np.flatnonzero(grid.slots == 0)


def signature(grid: Grid) -> str:
    """Time signature of the most bars."""
    counts = np.bincount(grid.meters[grid.slots == 0], minlength=len(METERS))
    return METERS[int(counts.argmax())].signature
