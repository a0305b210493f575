"""Beats, bars and tempo: evidence, decoder, choice of level, tempo map."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

import numpy as np

from cuesuggest.analysis.rhythm.decoder import FASTEST, SLOWEST, Grid, decode, tempo_bins
from cuesuggest.analysis.rhythm.evidence import Evidence, linear_evidence
from cuesuggest.analysis.rhythm.tempo import pulse_strength, smooth_times, subframe_times
from cuesuggest.analysis.spectrum import FRAME_RATE, Spectrum

__all__ = ["Level", "Rhythm", "find_rhythm"]

_FIRST_GUESS = np.geomspace(SLOWEST, FASTEST, 64)
_GUESS_CENTRE, _GUESS_SPREAD = 112.0, 0.8  # BPM, octaves
_LEVELS = (0.5, 2 / 3, 1.0, 1.5, 2.0)
# Nats that each beat costs when levels are compared. Off-beats carry attacks too, so twice as many beats nearly always
# gather more evidence; within one level the same cost would only lose beats in quiet passages.
_LEVEL_COST = 0.5
_ATTACK_SHARE = 0.4  # of the usual rise at a beat: a weaker one may be an echo or a voice in the room
_LEAST_EVIDENCE = 1.15  # nats a beat; on the fitting set noise stays under it, music above
_FEWEST_BEATS = 8  # two bars of four: less is no song


@dataclass(frozen=True, slots=True)
class Level:
    """Another metrical level: its tempo relative to the chosen one, and how much less it explains, in nats a beat."""

    kind: str
    ratio: float
    margin: float


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
    others : tuple of Level
        Other levels, best first.
    """

    times: np.ndarray
    grid: Grid
    evidence: Evidence
    others: tuple[Level, ...]


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
    ratio, grid = _best_level(readings := _read_levels(evidence))
    others = _compared(readings, ratio)
    grid = _plausible(_long_enough(_until_last_attack(grid, spectrum)), evidence)
    refined = subframe_times(grid.frames, evidence.beat) / FRAME_RATE + spectrum.start
    times = np.zeros(len(refined))
    for run in np.unique(grid.runs):
        times[grid.runs == run] = smooth_times(refined[grid.runs == run])
    return Rhythm(times, grid, evidence, others)


def _read_levels(evidence: Evidence) -> dict[float, Grid]:
    """Decode around the strongest pulse and around its half, double, 3:2 and 2:3; keyed by ratio to that pulse."""
    octaves = np.log2(_FIRST_GUESS / _GUESS_CENTRE) / _GUESS_SPREAD
    salience = pulse_strength(evidence, _FIRST_GUESS) * np.exp(-0.5 * octaves**2)
    guess = float(_FIRST_GUESS[salience.argmax()])
    bands = {ratio: tempo_bins(guess * ratio) for ratio in _LEVELS}
    return {ratio: decode(evidence, tempi) for ratio, tempi in bands.items() if len(tempi)}


def _worth(grid: Grid) -> float:
    return grid.score - _LEVEL_COST * len(grid.frames)


def _best_level(readings: dict[float, Grid]) -> tuple[float, Grid]:
    return max(readings.items(), key=lambda item: _worth(item[1]))


def _compared(readings: dict[float, Grid], chosen: float) -> tuple[Level, ...]:
    """The levels not chosen, relative to the chosen one."""
    best = readings[chosen]
    beats = max(len(best.frames), 1)
    levels = [
        Level(_level_name(ratio / chosen), ratio / chosen, (_worth(best) - _worth(grid)) / beats)
        for ratio, grid in readings.items()
        if ratio != chosen
    ]
    return tuple(sorted(levels, key=lambda level: level.margin))


def _level_name(ratio: float) -> str:
    fraction = Fraction(ratio).limit_denominator(9)
    names = {Fraction(1, 2): "half", Fraction(2): "double"}
    return names.get(fraction, f"{fraction.numerator}:{fraction.denominator}")


def _until_last_attack(grid: Grid, spectrum: Spectrum) -> Grid:
    """End the beats with the last attack: into a chord that rings out, any decoder counts on."""
    rise = np.zeros(len(spectrum.bands))
    rise[2:] = np.maximum(spectrum.bands[2:] - spectrum.bands[:-2], 0).mean(axis=1)
    if len(grid.frames) < 2:
        return grid
    usual = np.percentile([rise[max(0, f - 2) : f + 3].max() for f in grid.frames], 75)
    last = int(np.flatnonzero(rise >= _ATTACK_SHARE * usual)[-1])
    return _kept(grid, grid.frames <= last + 0.3 * np.median(np.diff(grid.frames)))


def _long_enough(grid: Grid) -> Grid:
    """Leave out stretches of music too short to be one, such as a stick tapped during talk."""
    return _kept(grid, np.bincount(grid.runs, minlength=1)[grid.runs] >= _FEWEST_BEATS)


def _plausible(grid: Grid, evidence: Evidence) -> Grid:
    """Leave out everything when the beats hardly stand out: noise and applause can be counted along to, too."""
    weak = len(grid.frames) and evidence.beat[grid.frames].mean() < _LEAST_EVIDENCE
    return _kept(grid, np.zeros(len(grid.frames), bool)) if weak else grid


def _kept(grid: Grid, keep: np.ndarray) -> Grid:
    runs = np.unique(grid.runs[keep], return_inverse=True)[1]
    return Grid(grid.frames[keep], grid.slots[keep], grid.meters[keep], runs, grid.score)
