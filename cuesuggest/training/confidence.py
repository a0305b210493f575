"""Fit the confidences of `cuesuggest.analysis.rhythm.confidence` on recordings with known beats and bars.

    python -m cuesuggest.training.confidence FOLDER... [-o confidence.json]

Take recordings that the network and the linear model were not trained on, or they will look surer than they are.
"""

from __future__ import annotations

import json
from itertools import pairwise
from pathlib import Path
from typing import Any

import click
import numpy as np
from scipy import optimize

from cuesuggest.analysis.rhythm import find_rhythm
from cuesuggest.analysis.rhythm.confidence import BAR_FEATURES, BEAT_FEATURES, bar_features, beat_features
from cuesuggest.analysis.spectrum import Spectrum, hear
from cuesuggest.recording import open_recording
from cuesuggest.training.evidence import recordings

SAME = 0.07  # s, the tolerance of the field
RIDGE = 1e-2


def judged(spectrum: Spectrum, truth: dict[str, Any]) -> dict[str, tuple[np.ndarray, np.ndarray]]:
    """Features of the beats and bars found in a recording, and which of them are right.

    A beat is right within 70 ms of a true one; a bar if both its ends are and its beats are as many. Spans that the
    truth ignores are left out.
    """
    rhythm = find_rhythm(spectrum)
    times, grid = rhythm.times, rhythm.grid
    if len(times) < 8 or not truth["beats"]:
        return {}
    beats, downbeats = np.array(truth["beats"]), np.array(truth["downbeats"])
    x = beat_features(times, grid, rhythm.evidence, rhythm.others)
    firsts = np.flatnonzero(grid.slots == 0)
    y = bar_features(x, firsts, grid, rhythm.evidence, rhythm.shifts)

    def close(where: np.ndarray, found: np.ndarray) -> np.ndarray:
        return np.asarray(np.abs(found[:, None] - where).min(axis=1) < SAME)

    def known(found: np.ndarray) -> np.ndarray:
        spans = truth.get("ignore") or []
        return ~np.any([(found >= a) & (found <= b) for a, b in spans] or [np.zeros(len(found), bool)], axis=0)

    starts = times[firsts]
    counts = np.diff(np.append(firsts, len(times)))
    right = close(downbeats, starts)
    right[:-1] &= right[1:]
    inside = [((beats > start - SAME) & (beats < end - SAME)).sum() for start, end in pairwise(starts)]
    right[:-1] &= counts[:-1] == np.array(inside)
    use = known(starts)
    use[-1] = False  # its end is not told by a bar line
    return {"beat": (x[known(times)], close(beats, times)[known(times)]), "bar": (y[use], right[use])}


def fit(x: np.ndarray, yes: np.ndarray, ridge: float = RIDGE) -> np.ndarray:
    """Logistic regression with a small ridge; a column of ones is the offset."""
    spread = np.maximum(x.std(axis=0), 1e-3)
    spread[x.std(axis=0) == 0] = 1.0
    sign = np.where(yes, 1.0, -1.0)

    def loss(w: np.ndarray) -> tuple[float, np.ndarray]:
        z = sign * ((x / spread) @ w)
        slope = -(x / spread).T @ (sign / (1 + np.exp(np.clip(z, -60, 60)))) / len(x)
        return float(np.logaddexp(0, -z).mean() + ridge * w @ w / 2), slope + ridge * w

    return np.asarray(optimize.minimize(loss, np.zeros(x.shape[1]), jac=True, method="L-BFGS-B").x / spread)


def reliability(confidence: np.ndarray, right: np.ndarray) -> tuple[list[str], float]:
    """Table of confidence against the share that is right, and the mean gap between the two, weighted by count."""
    edges = np.array([0, 0.5, 0.7, 0.8, 0.9, 0.95, 0.98, 1.001])
    lines, gap = [], 0.0
    for low, high in pairwise(edges):
        inside = (confidence >= low) & (confidence < high)
        if inside.any():
            told, was = confidence[inside].mean(), right[inside].mean()
            gap += inside.mean() * abs(told - was)
            lines.append(f"{low:.2f} to {min(high, 1):.2f}: {inside.sum():6d} marked {told:.3f}, right {was:.3f}")
    return lines, gap


@click.command()
@click.argument("folders", nargs=-1, required=True, type=click.Path(exists=True, file_okay=False, path_type=Path))
@click.option("-o", "--output", default="confidence.json", type=click.Path(path_type=Path))
def main(folders: tuple[Path, ...], output: Path) -> None:
    """Fit on every recording of the folders that has a truth file."""
    songs = [each for folder in folders for each in recordings(folder)]
    found = [judged(hear(open_recording(path)), truth) for path, truth in songs]
    weights = {}
    for kind, names in (("beat", BEAT_FEATURES), ("bar", BAR_FEATURES)):
        x, right = (np.concatenate([each[kind][k] for each in found if each]) for k in (0, 1))
        w = fit(x, right)
        lines, gap = reliability(1 / (1 + np.exp(-x @ w)), right)
        click.echo("\n".join([f"{kind}: {len(x)}, right {right.mean():.3f}, gap {gap:.3f}", *lines]))
        weights[kind] = {name: round(float(value), 4) for name, value in zip(names, w, strict=True)}
    output.write_text(json.dumps(weights, indent=1) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
