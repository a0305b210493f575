"""Which metrical level is the beat: half, double, 3:2 or 2:3 of the strongest pulse?

Each level is decoded by itself; what the decoder says about a level, and how its beats compare with the places between
them, is weighed by nine numbers in `level.json`, fitted by `training.fit_level` on rendered songs so that the
weighed sums are log-odds between levels.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from fractions import Fraction
from importlib import resources

import numpy as np

from cuesuggest.analysis.rhythm.beat_grid import BeatGrid
from cuesuggest.analysis.rhythm.beat_terms import observations
from cuesuggest.analysis.rhythm.decoder import Limits, decode_bands
from cuesuggest.analysis.rhythm.evidence import Evidence, top_near
from cuesuggest.analysis.rhythm.meters import FIRST, Meter
from cuesuggest.analysis.rhythm.tempo import strongest_pulse
from cuesuggest.analysis.rhythm.tempo_bins import tempo_bins

__all__ = ["FEATURES", "Level", "bar_shifts", "best_level", "level_features", "read_levels"]

FEATURES = ("score", "on", "between", "downbeats", "octaves", "octaves_squared", "in_three", "compound", "backbeat")
_RATIOS = (0.5, 2 / 3, 1.0, 1.5, 2.0)
_CENTRE = 112.0  # BPM
_SAME = 0.06  # difference of logarithms below which two tempi are one
_FEWEST = 12  # beats; from fewer no level can be told


@dataclass(frozen=True, slots=True)
class Level:
    """A reading that was not chosen: its tempo relative to the chosen one, and how much less likely it is, in nats."""

    kind: str
    ratio: float
    margin: float


def read_levels(
    evidence: Evidence, meters: tuple[Meter, ...] = FIRST, limits: Limits | None = None
) -> dict[float, BeatGrid]:
    """Decode around the strongest pulse and around its half, double, 3:2 and 2:3.

    Parameters
    ----------
    evidence : Evidence
    meters : tuple of Meter
    limits : Limits, optional

    Returns
    -------
    dict of BeatGrid
        By ratio to the strongest pulse; levels outside 47 .. 214 BPM are left out.
    """
    guess = strongest_pulse(evidence)
    bands = {ratio: tempo_bins(guess * ratio) for ratio in _RATIOS}
    bands = {ratio: tempi for ratio, tempi in bands.items() if len(tempi)}
    return dict(zip(bands, decode_bands(evidence, list(bands.values()), meters, limits), strict=True))


def level_features(grid: BeatGrid, evidence: Evidence) -> np.ndarray | None:
    """What speaks for a level.

    Parameters
    ----------
    grid : BeatGrid
    evidence : Evidence

    Returns
    -------
    ndarray, shape (9,), or None
        In the order of `FEATURES`: decoder's score a second; evidence on the beats and half-way between them; by how
        much downbeats stand out; octaves from 112 BPM, and squared; whether most bars are in 3/4, in 6/8; by how much
        snare or cymbals stand out on the second and fourth of four beats, or where else a backbeat would be. None
        where there are too few beats.
    """
    if len(grid.frames) < _FEWEST:
        return None
    interval = 60 / grid.bpm
    octaves = float(np.log2(grid.bpm / _CENTRE))
    opens = grid.slots == 0
    down = evidence.downbeat[grid.frames]
    meter = grid.table[int(np.bincount(grid.meters).argmax())]
    return np.array(
        [
            grid.score / (len(grid.frames) * interval),
            top_near(evidence.beat, grid.frames).mean(),
            top_near(evidence.beat, (grid.frames[:-1] + grid.frames[1:]) // 2).mean(),
            down[opens].mean() - down[~opens].mean() if opens.any() and not opens.all() else 0.0,
            octaves,
            octaves**2,
            float(sum(meter.lengths) == 3),
            float(meter.thirds > 0),
            _backbeat(grid, evidence, meter.beats),
        ]
    )


def _backbeat(grid: BeatGrid, evidence: Evidence, beats: int) -> float:
    """Strength of attacks in the highest bands on the beats of the snare, against all others."""
    on = np.isin(grid.slots, (1, 3)) if beats == 4 else grid.slots == 1 if beats == 2 else grid.slots > 0
    if evidence.high is None or not on.any() or on.all():
        return 0.0
    attacks = evidence.high[grid.frames]
    return float(attacks[on].mean() - attacks[~on].mean())


def best_level(readings: dict[float, BeatGrid], evidence: Evidence) -> tuple[BeatGrid, tuple[Level, ...]]:
    """Choose a level.

    Parameters
    ----------
    readings : dict of BeatGrid
        At least one.
    evidence : Evidence

    Returns
    -------
    chosen : BeatGrid
    others : tuple of Level
        The likeliest first.
    """
    text = resources.files(__package__).joinpath("level.json").read_text(encoding="utf-8")
    weights = np.array([json.loads(text)[evidence.network][name] for name in FEATURES])
    found = {ratio: level_features(grid, evidence) for ratio, grid in readings.items()}
    worth = {ratio: float(weights @ features) for ratio, features in found.items() if features is not None}
    if not worth:
        return max(readings.values(), key=lambda grid: grid.score), ()
    chosen = max(worth, key=lambda ratio: worth[ratio])
    tempi = {ratio: readings[ratio].bpm for ratio in worth}
    others = []
    for ratio, other in worth.items():
        heard = tempi[ratio] / tempi[chosen]
        if abs(np.log(heard)) < _SAME:
            continue  # bands overlap: the same reading once more, or the chosen one
        named = heard if abs(np.log(heard * chosen / ratio)) > _SAME else ratio / chosen
        others.append(Level(_level_name(named), named, worth[chosen] - other))
    return readings[chosen], tuple(sorted(others, key=lambda level: level.margin))


def bar_shifts(grid: BeatGrid, evidence: Evidence) -> tuple[float, ...]:
    """How much less likely the chosen beats are with all bars one, two … beats later.

    Parameters
    ----------
    grid : BeatGrid
    evidence : Evidence
        What the decoder was given.

    Returns
    -------
    tuple of float
        As many as the commonest bar has other beats. Nats a bar, from the decoder's own observations: what bars say
        repeats from bar to bar, and their sum would claim too much.
    """
    if not len(grid.frames):
        return ()
    each = np.stack(observations(evidence, grid.table))[grid.meters, :, grid.frames]
    gain = each[:, 0] - each[:, 1]
    opens = np.flatnonzero(grid.slots == 0)
    commonest = grid.table[int(np.bincount(grid.meters).argmax())]
    margins = []
    for shift in range(1, commonest.beats):
        later = opens + shift
        kept = later < len(grid.frames)
        kept[kept] = grid.runs[later[kept]] == grid.runs[opens[kept]]
        if not kept.any():
            break
        margins.append(float((gain[opens[kept]] - gain[later[kept]]).mean()))
    return tuple(margins)


def _level_name(ratio: float) -> str:
    fraction = Fraction(ratio).limit_denominator(4)
    names = {Fraction(1, 2): "half", Fraction(2): "double"}
    return names.get(fraction, f"{fraction.numerator}:{fraction.denominator}")
