"""The fitted numbers of this package: `structure.json`, written by `training.fit_structure`."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from importlib import resources

import numpy as np

__all__ = ["Weights", "shipped"]


@dataclass(frozen=True, slots=True)
class Weights:
    """Numbers by what they are for ("signs", "lengths", "sounds", "same", "form", "found", "stated") and name."""

    table: Mapping[str, Mapping[str, float]]

    def of(self, part: str, names: Sequence[str]) -> np.ndarray:
        """The numbers of one part, in the order of some names."""
        return np.array([self.table[part][name] for name in names])


@cache
def shipped() -> Weights:
    """Those that lie in the package."""
    return Weights(json.loads(resources.files(__package__).joinpath("structure.json").read_text(encoding="utf-8")))
