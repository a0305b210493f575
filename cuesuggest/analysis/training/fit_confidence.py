"""Fit the confidences of `cuesuggest.analysis.rhythm`: of whole readings, of beats and of bars.

    python -m cuesuggest.analysis.training.fit_confidence FOLDER... [-o FOLDER]

Writes doubt.json and confidence.json. Take recordings that the network and the linear model were not trained on, or
they will look surer than they are; a quarter of them or more degraded (`training.degrade`), or none will be
misread.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from typing import Any

import click
import numpy as np
from scipy import optimize

from cuesuggest.analysis.rhythm import Rhythm, find_rhythm
from cuesuggest.analysis.rhythm.beat_confidence import BAR_FEATURES, BEAT_FEATURES, bar_features, beat_features
from cuesuggest.analysis.rhythm.choice import preferred
from cuesuggest.analysis.rhythm.doubt import MOST_ODDS, READING_FEATURES
from cuesuggest.analysis.rhythm.evidence import observe
from cuesuggest.analysis.rhythm.network import NETWORKS
from cuesuggest.analysis.spectrum import hear
from cuesuggest.analysis.training.fit_evidence import folds_of, of_each, song_name
from cuesuggest.sound.recording import open_recording

SAME = 0.07  # s, the tolerance of the field
RIDGE = 1e-2
READING_RIDGE = 3e-2
HALF = 0.5  # of the bars right, and of the song told: less is misread
FOLDS = 8


@dataclass(frozen=True, slots=True)
class Judged:
    """What was found in one recording, and what of it is right.

    Attributes
    ----------
    reading : ndarray, shape (features,)
    right : bool
        At least half of the bars are right, and half of the song is told.
    beats, bars : (ndarray, ndarray)
        Features, one row each, and whether they are right; spans that the truth ignores are left out.
    """

    reading: np.ndarray
    right: bool
    beats: tuple[np.ndarray, np.ndarray]
    bars: tuple[np.ndarray, np.ndarray]


def judge(rhythm: Rhythm, truth: dict[str, Any]) -> Judged | None:
    """Judge what is found in a recording; None where too little is found.

    A beat is right within 70 ms of a true one; a bar if both its ends are and its beats are as many.
    """
    times, grid = rhythm.times, rhythm.grid
    if len(times) < 8 or not truth["beats"] or rhythm.features is None:
        return None
    beats, downbeats = np.array(truth["beats"]), np.array(truth["downbeats"])
    x = beat_features(times, grid, rhythm.evidence, rhythm.reading)
    firsts = np.flatnonzero(grid.slots == 0)
    y = bar_features(x, firsts, grid, rhythm.evidence)

    def close(where: np.ndarray, found: np.ndarray) -> np.ndarray:
        return np.asarray(np.abs(found[:, None] - where).min(axis=1) < SAME)

    def not_ignored(found: np.ndarray) -> np.ndarray:
        spans = truth.get("ignore") or []
        return ~np.any([(found >= a) & (found <= b) for a, b in spans] or [np.zeros(len(found), bool)], axis=0)

    starts = times[firsts]
    counts = np.diff(np.append(firsts, len(times)))
    right = close(downbeats, starts)
    right[:-1] &= right[1:]
    inside = [((beats > start - SAME) & (beats < end - SAME)).sum() for start, end in pairwise(starts)]
    right[:-1] &= counts[:-1] == np.array(inside)
    use = not_ignored(starts)
    use[-1] = False  # its end is not told by a bar line
    told = float(np.diff(starts)[use[:-1]].sum()) / max(float(np.ptp(downbeats)), 1e-6)
    return Judged(
        rhythm.features,
        bool(use.any() and right[use].mean() >= HALF and told >= HALF),
        (x[not_ignored(times)], close(beats, times)[not_ignored(times)]),
        (y[use], right[use]),
    )


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


def held_out(x: np.ndarray, yes: np.ndarray, folds: np.ndarray) -> np.ndarray:
    """Log odds of readings that took no part in the fit.

    Parameters
    ----------
    x : ndarray, shape (readings, features)
    yes : ndarray of bool, shape (readings,)
    folds : ndarray of int, shape (readings,)
    """
    odds = np.zeros(len(yes))
    for fold in range(FOLDS):
        out = folds == fold
        if out.any():
            odds[out] = x[out] @ fit(x[~out], yes[~out], READING_RIDGE)
    return np.clip(odds, -MOST_ODDS, MOST_ODDS)


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


def _probability(odds: np.ndarray) -> np.ndarray:
    return np.asarray(1 / (1 + np.exp(-odds)))


def _print_reliability(kind: str, confidence: np.ndarray, right: np.ndarray) -> None:
    lines, gap = reliability(confidence, right)
    click.echo("\n".join([f"{kind}: {len(right)}, right {right.mean():.3f}, gap {gap:.3f}", *lines]))


def _judged(path: Path, truth: dict[str, Any]) -> tuple[str, list[Judged | None], int]:
    """Judge what is found by the evidence of each network, and tell which is believed."""
    spectrum = hear(open_recording(path))
    readings = [find_rhythm(spectrum, observe(spectrum, None, network)) for network in NETWORKS]
    first, second = readings
    judged = [judge(rhythm, truth) for rhythm in readings]
    return song_name(path), judged, preferred((first.covered, second.covered))


@click.command()
@click.argument("folders", nargs=-1, required=True, type=click.Path(exists=True, file_okay=False, path_type=Path))
@click.option("-o", "--output", default=".", type=click.Path(file_okay=False, path_type=Path))
@click.option("--jobs", default=1)
def main(folders: tuple[Path, ...], output: Path, jobs: int) -> None:
    """Fit on every recording of the folders that has a truth file."""
    read = of_each(folders, _judged, jobs)
    # The readings of both networks teach the doubt: there are few that are wrong. Beats and bars are those believed.
    each = [(name, judged, k == which) for name, both, which in read for k, judged in enumerate(both) if judged]
    folds = folds_of([name for name, _, _ in each], FOLDS)
    x, right = np.stack([judged.reading for _, judged, _ in each]), np.array([judged.right for _, judged, _ in each])
    odds = held_out(x, right, folds)
    _print_reliability("readings, held out", _probability(odds), right)
    doubt = {
        name: round(float(value), 4) for name, value in zip(READING_FEATURES, fit(x, right, READING_RIDGE), strict=True)
    }
    use = np.array([believed for _, _, believed in each])
    found, odds, right = [judged for _, judged, believed in each if believed], odds[use], right[use]
    _print_reliability("readings believed, held out", _probability(odds), right)
    weights, means = {}, []
    for kind, features in (("beat", BEAT_FEATURES), ("bar", BAR_FEATURES)):
        parts = [judged.beats if kind == "beat" else judged.bars for judged in found]
        for (rows, _), sure in zip(parts, odds, strict=True):
            rows[:, features.index("reading")] = sure
        rows, yes = (np.concatenate([part[k] for part in parts]) for k in (0, 1))
        w = fit(rows, yes)
        _print_reliability(kind, _probability(rows @ w), yes)
        weights[kind] = {name: round(float(value), 4) for name, value in zip(features, w, strict=True)}
        means = [float(_probability(part @ w).mean()) if len(part) else 0.0 for part, _ in parts]
    surely = (np.array(means) >= 0.7) & ~right
    click.echo(f"misread {(~right).sum()} of {len(right)}, of these {surely.sum()} with a mean of bars of .7 and more")
    for name, content in (("doubt", doubt), ("confidence", weights)):
        (output / f"{name}.json").write_text(json.dumps(content, indent=1) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
