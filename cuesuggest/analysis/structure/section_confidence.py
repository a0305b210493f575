"""How sure a section's start is: of those marked 0.9, nine in ten should be on the right bar line.

A logistic regression over what the division tells of its boundaries; there is one for sections that were found and one
for those that were stated. Fitted by `training.fit_structure`.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from cuesuggest.analysis.structure.weights import Weights

__all__ = ["FEATURES", "next_likely", "sure_features", "sureness"]

FEATURES = ("odds", "beside", "bar", "opens", "each")
"""Log odds of the boundary by the model; of the bar line nearby that is next likely; of the bar; 1 for the song's first
section; 1."""
_LIMIT = 5.0  # log odds
_NEAR = 2  # bars to each side in which another start is told
_NEARLY = 0.3  # how likely that one must be, against the one that was taken


def _log_odds(probability: np.ndarray | float) -> np.ndarray:
    kept = np.clip(probability, 1e-6, 1 - 1e-6)
    return np.asarray(np.clip(np.log(kept / (1 - kept)), -_LIMIT, _LIMIT))


def _beside(edges: Sequence[int], place: int) -> np.ndarray:
    """Bar lines near an inner boundary at which its section could start as well."""
    near = np.arange(edges[place] - _NEAR, edges[place] + _NEAR + 1)
    return near[(near > edges[place - 1]) & (near < edges[place + 1]) & (near != edges[place])]


def sure_features(edges: Sequence[int], odds: Sequence[np.ndarray], bar_confidence: np.ndarray) -> np.ndarray:
    """What tells how sure each section's start is.

    Parameters
    ----------
    edges : sequence of int, length sections + 1
    odds : sequence of ndarray, shape (bars + 1,)
        Of each inner boundary, the probability of every bar line.
    bar_confidence : ndarray, shape (bars,)

    Returns
    -------
    ndarray, shape (sections, 5)
        In the order of `FEATURES`.
    """
    rows = [[0.0, 0.0, float(_log_odds(bar_confidence[0])), 1.0, 1.0]]
    for place in range(1, len(edges) - 1):
        likely = odds[place - 1]
        other = likely[_beside(edges, place)].max(initial=0.0)
        at = edges[place]
        rows.append([*(float(_log_odds(each)) for each in (likely[at], other, bar_confidence[at])), 0.0, 1.0])
    return np.array(rows)


def sureness(features: np.ndarray, weights: Weights, *, stated: bool) -> np.ndarray:
    """Probability that each section starts on the right bar line.

    Parameters
    ----------
    features : ndarray, shape (sections, 5)
    weights : Weights
    stated : bool
        The user gave the form.
    """
    total = features @ weights.of("stated" if stated else "found", FEATURES)
    return np.asarray(1 / (1 + np.exp(-np.clip(total, -30, 30))))


def next_likely(edges: Sequence[int], place: int, odds: np.ndarray) -> int | None:
    """The bar line a bar or two away at which an inner boundary may lie nearly as well, None if it is clear.

    Parameters
    ----------
    edges : sequence of int
    place : int
        Index of the boundary, 1 for the second section's start.
    odds : ndarray, shape (bars + 1,)
        Probability of every bar line.
    """
    near = _beside(edges, place)
    if not len(near):
        return None
    best = int(near[odds[near].argmax()])
    return best if odds[best] >= _NEARLY * odds[edges[place]] else None
