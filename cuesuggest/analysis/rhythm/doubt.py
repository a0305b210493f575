"""How sure the reading is as a whole: is it music, at this level, in this meter, with the one on this beat?

Where a song is misread, nearly all of its bars are: one number for all of them is more honest than many that look at
their neighbours. It is a logistic regression over how much less likely the other readings are and how well this one
explains what sounds; its weights lie in `doubt.json`, fitted by `training.fit_confidence`. Bars and beats
inherit it, see `rhythm.confidence`.
"""

from __future__ import annotations

import json
from functools import cache
from importlib import resources

import numpy as np

from cuesuggest.analysis.rhythm.beat_grid import BeatGrid
from cuesuggest.analysis.rhythm.evidence import Evidence
from cuesuggest.analysis.rhythm.level import Level
from cuesuggest.analysis.rhythm.music import LOUD_DB, song_features
from cuesuggest.analysis.rhythm.tidy import explained
from cuesuggest.analysis.spectrum import Spectrum, loud_frames

__all__ = ["MOST_ODDS", "READING_FEATURES", "covered", "doubt_weights", "reading_features", "reading_odds"]

READING_FEATURES = (
    "level", "shift", "count", "clearest", "apart", "beats", "covered", "explained", "odd", "two", "one",
)  # fmt: skip
_MOST_LEVEL, _MOST_SHIFT, _MOST_COUNT = 4.0, 3.0, 3.0  # nats beyond which no difference is made
MOST_ODDS = 5.0  # nats, 99.3 %: no reading is surer


@cache
def doubt_weights() -> dict[str, float]:
    """Feature -> weight in nats; one table for the whole process, which training fills anew."""
    text = resources.files(__package__).joinpath("doubt.json").read_text(encoding="utf-8")
    table: dict[str, float] = json.loads(text)
    return table


def reading_odds(features: np.ndarray) -> float:
    """Log odds that a reading is right as a whole.

    Parameters
    ----------
    features : ndarray, shape (11,)
        As `reading_features` gives them.
    """
    odds = float(features @ np.array([doubt_weights()[name] for name in READING_FEATURES]))
    return float(np.clip(odds, -MOST_ODDS, MOST_ODDS))


def covered(grid: BeatGrid, spectrum: Spectrum) -> float:
    """Share of what sounds loud that lies between beats of one stretch.

    Parameters
    ----------
    grid : BeatGrid
    spectrum : Spectrum

    Returns
    -------
    float
        1 where nothing sounds.
    """
    loud = loud_frames(spectrum, LOUD_DB)
    if not loud.any():
        return 1.0
    told = np.zeros(len(loud), bool)
    for run in np.unique(grid.runs):
        frames = grid.frames[grid.runs == run]
        told[frames[0] : 2 * frames[-1] - frames[max(-2, -len(frames))]] = True
    return float(told[loud].mean())


def reading_features(
    grid: BeatGrid,
    share: float,
    evidence: Evidence,
    others: tuple[Level, ...],
    shifts: tuple[float, ...],
    counts: tuple[tuple[str, float], ...],
) -> np.ndarray:
    """What tells how sure a reading is.

    Parameters
    ----------
    grid : BeatGrid
        With beats.
    share : float
        As `covered` gives it.
    evidence : Evidence
    others : tuple of Level
    shifts : tuple of float
    counts : tuple of (str, float)
        As `recount.other_counts` gives them.

    Returns
    -------
    ndarray, shape (11,)
        In the order of `READING_FEATURES`: by how much other levels, other ones and other counts are less likely; how
        clear the clearest beats are, and how far they stand out; how many beats, in octaves; the shares of what sounds
        that is told and of clear beats that are; bars of unusual length; whether bars have two beats, which may be
        halves.
    """
    clearest, apart, *_ = song_features(grid, evidence)
    lengths = np.diff(np.flatnonzero(grid.slots == 0))
    usual = int(np.bincount(lengths).argmax()) if len(lengths) else 0
    return np.array(
        [
            min([_MOST_LEVEL, *(other.margin for other in others)]),
            min([_MOST_SHIFT, *shifts]),
            min([_MOST_COUNT, *(margin for _, margin in counts)]),
            clearest,
            apart,
            float(np.log2(len(grid.frames))),
            share,
            explained(grid, evidence),
            float((lengths != usual).mean()) if len(lengths) else 1.0,
            float(usual == 2),
            1.0,
        ]
    )
