"""How sure an event is: of those marked 0.8, eight in ten should be right.

A logistic regression per kind over its candidates' features. The weights lie in `events.json`, fitted by
`training.fit_events` on songs that the network was not trained on.
"""

from __future__ import annotations

import json
import math
from collections.abc import Iterable, Mapping
from functools import cache
from importlib import resources
from typing import Any

import numpy as np

from cuesuggest.analysis.finding.scene import Candidate

__all__ = ["event_weights", "log_odds", "probability", "probable"]


@cache
def event_weights() -> dict[str, dict[str, float]]:
    """Entry -> feature -> weight in nats; one table for the whole process, which training fills anew."""
    text = resources.files(__package__).joinpath("events.json").read_text(encoding="utf-8")
    table: dict[str, dict[str, float]] = json.loads(text)
    return table


def log_odds(name: str, features: Mapping[str, float] | Mapping[str, np.ndarray]) -> Any:
    """Log odds by the weights of a name; the weight "one" is the offset, features without a weight are not used.

    Parameters
    ----------
    name : str
        A key of `events.json`.
    features : mapping of str to float or ndarray

    Returns
    -------
    float or ndarray
        As the features are.
    """
    chosen = event_weights()[name]
    return chosen["one"] + sum(features[key] * weight for key, weight in chosen.items() if key != "one")


def probability(candidate: Candidate) -> float:
    """Probability that a candidate is what its kind says, 0..1."""
    odds = float(log_odds(candidate.entry or candidate.kind, candidate.features))
    return 1 / (1 + math.exp(-min(max(odds, -30.0), 30.0)))


def probable(candidates: Iterable[Candidate], least: float = 0.5) -> list[tuple[Candidate, float]]:
    """Candidates that are surer than `least`, each with its confidence."""
    pairs = ((candidate, round(probability(candidate), 3)) for candidate in candidates)
    return [(candidate, confidence) for candidate, confidence in pairs if confidence >= least]
