"""How sure the reading is as a whole: is it music, at this level, in this meter, with the one on this beat?

Where a song is misread, nearly all of its bars are: one number for all of them is more honest than many that look at
their neighbours. It is a logistic regression over how much less likely the other readings are and how well this one
explains what sounds; its weights lie in `doubt.json`, fitted by `cuesuggest.training.confidence`. Bars and beats
inherit it, see `rhythm.confidence`.
"""

from __future__ import annotations

import json
from functools import cache
from importlib import resources

import numpy as np

from cuesuggest.analysis.rhythm.decoder import Grid
from cuesuggest.analysis.rhythm.evidence import Evidence, top_near
from cuesuggest.analysis.rhythm.level import Level
from cuesuggest.analysis.rhythm.music import song_features
from cuesuggest.analysis.rhythm.tidy import explained

__all__ = ["MOST_ODDS", "READING_FEATURES", "covered", "reading_features", "reading_odds", "weights"]

READING_FEATURES = (
    "level", "shift", "count", "between", "clearest", "apart", "music", "beats", "covered", "explained", "ones",
    "network", "odd", "even", "one",
)  # fmt: skip
_MOST_LEVEL, _MOST_SHIFT, _MOST_COUNT, _MOST_BETWEEN = 6.0, 4.0, 3.0, 6.0  # nats beyond which no difference is made
MOST_ODDS = 5.0  # nats, 99.3 %: no reading is surer
_SOUNDS = 1.0  # nats of music from which on something is to be told


@cache
def weights() -> dict[str, dict[str, float]]:
    """Network -> feature -> weight in nats; one table for the whole process, which training fills anew."""
    text = resources.files(__package__).joinpath("doubt.json").read_text(encoding="utf-8")
    table: dict[str, dict[str, float]] = json.loads(text)
    return table


def reading_odds(network: str, features: np.ndarray) -> float:
    """Log odds that a reading is right as a whole.

    Parameters
    ----------
    network : str
        Whose evidence was read.
    features : ndarray, shape (15,)
        As `reading_features` gives them.
    """
    odds = float(features @ np.array([weights()[network][name] for name in READING_FEATURES]))
    return float(np.clip(odds, -MOST_ODDS, MOST_ODDS))


def covered(grid: Grid, evidence: Evidence) -> float:
    """Share of the frames with music that lie between beats of one stretch.

    Parameters
    ----------
    grid : Grid
    evidence : Evidence

    Returns
    -------
    float
        1 where there is no music.
    """
    sounds = evidence.music > _SOUNDS
    if not sounds.any():
        return 1.0
    told = np.zeros(len(sounds), bool)
    for run in np.unique(grid.runs):
        frames = grid.frames[grid.runs == run]
        told[frames[0] : 2 * frames[-1] - frames[max(-2, -len(frames))]] = True
    return float(told[sounds].mean())


def reading_features(
    grid: Grid,
    evidence: Evidence,
    others: tuple[Level, ...],
    shifts: tuple[float, ...],
    counts: tuple[tuple[str, float], ...],
    between: float | None,
) -> np.ndarray:
    """What tells how sure a reading is.

    Parameters
    ----------
    grid : Grid
        With beats.
    evidence : Evidence
    others : tuple of Level
    shifts : tuple of float
    counts : tuple of (str, float)
        As `recount.other_counts` gives them.
    between : float, optional
        As `recount.between_beats` gives it.

    Returns
    -------
    ndarray, shape (15,)
        In the order of `READING_FEATURES`.
    """
    clearest, apart, music, *_ = song_features(grid, evidence)
    opens = grid.slots == 0
    down = top_near(evidence.downbeat, grid.frames)
    alone = down if evidence.opens is None else np.clip(top_near(evidence.opens, grid.frames), -6, 6)
    both = bool(opens.any() and not opens.all())
    lengths = np.diff(np.flatnonzero(opens))
    usual = int(np.bincount(lengths).argmax()) if len(lengths) else 0
    steps = np.diff(grid.frames) / grid.lengths[:-1] if len(grid.frames) > 1 else np.ones(1)
    return np.array(
        [
            min([_MOST_LEVEL, *(other.margin for other in others)]),
            min([_MOST_SHIFT, *shifts]),
            min([_MOST_COUNT, *(margin for _, margin in counts)]),
            min(_MOST_BETWEEN, _MOST_BETWEEN if between is None else between),
            clearest,
            apart,
            music,
            float(np.log2(len(grid.frames))),
            covered(grid, evidence),
            explained(grid, evidence),
            float(down[opens].mean() - down[~opens].mean()) if both else 0.0,
            float(alone[opens].mean() - alone[~opens].mean()) if both else 0.0,
            float((lengths != usual).mean()) if len(lengths) else 1.0,
            float(np.minimum(np.abs(np.diff(np.log(np.maximum(steps, 1)))), 0.3).mean()) if len(steps) > 1 else 0.3,
            1.0,
        ]
    )
