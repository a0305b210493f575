"""Fit the weights of `cuesuggest.analysis.rhythm.level` on recordings with known tempo.

    python -m cuesuggest.training.level FOLDER [-o level.json]

For each recording the levels are decoded; the weights make the level with the true tempo likely (conditional logistic
regression). Fit the evidence first: the features rest on it.
"""

from __future__ import annotations

import json
from pathlib import Path

import click
import numpy as np
from scipy import optimize

from cuesuggest.analysis.rhythm.evidence import observe
from cuesuggest.analysis.rhythm.level import FEATURES, level_features, read_levels
from cuesuggest.analysis.rhythm.music import asked_twice
from cuesuggest.analysis.spectrum import FRAME_RATE, hear
from cuesuggest.recording import open_recording
from cuesuggest.training.evidence import recordings

RIDGE = 3e-3
SAME_TEMPO = 0.05
FOLDS = 5

Case = tuple[np.ndarray, np.ndarray]
"""Features of the levels of one recording, levels x features; and which of them have its tempo."""


def case(path: Path, tempo: float) -> Case | None:
    """Features of one recording's levels, or None if none of them has its tempo."""
    spectrum = hear(open_recording(path))
    evidence = asked_twice(spectrum, observe(spectrum))
    rows, right = [], []
    for grid in read_levels(evidence).values():
        features = level_features(grid, evidence)
        if features is not None:
            bpm = 60 * FRAME_RATE / float(np.median(np.diff(grid.frames)))
            rows.append(features)
            right.append(abs(bpm / tempo - 1) < SAME_TEMPO)
    return (np.array(rows), np.array(right)) if any(right) else None


def fit(cases: list[Case]) -> np.ndarray:
    """Weights under which the right levels are likeliest, with a small ridge on standardised features."""
    spread = np.concatenate([rows for rows, _ in cases]).std(axis=0) + 1e-6

    def loss(w: np.ndarray) -> tuple[float, np.ndarray]:
        value, slope = 0.0, np.zeros_like(w)
        for rows, right in cases:
            worth = (rows / spread) @ w
            share = np.exp(worth - worth.max())
            share /= share.sum()
            good = float(share[right].sum())
            value -= np.log(good + 1e-12)
            slope -= (rows / spread).T @ (np.where(right, share, 0) / good - share)
        return value / len(cases) + RIDGE * float(w @ w), slope / len(cases) + 2 * RIDGE * w

    return np.asarray(optimize.minimize(loss, np.zeros(len(spread)), jac=True, method="L-BFGS-B").x / spread)


def share_right(cases: list[Case], weights: np.ndarray) -> float:
    """Share of recordings whose likeliest level is right."""
    return float(np.mean([right[int((rows @ weights).argmax())] for rows, right in cases]))


@click.command()
@click.argument("folder", type=click.Path(exists=True, file_okay=False, path_type=Path))
@click.option("-o", "--output", default="level.json", type=click.Path(path_type=Path))
def main(folder: Path, output: Path) -> None:
    """Fit on every recording of FOLDER whose truth names a tempo."""
    known = [(path, truth["tempo_bpm"]) for path, truth in recordings(folder) if truth.get("tempo_bpm")]
    cases = [found for path, tempo in known if (found := case(path, tempo)) is not None]
    if len(cases) < FOLDS:
        raise click.ClickException(
            f"{folder} has {len(cases)} recordings whose tempo is found; at least {FOLDS} are needed. Add more."
        )
    held_out = [
        share_right(cases[k::FOLDS], fit([c for i, c in enumerate(cases) if i % FOLDS != k])) for k in range(FOLDS)
    ]
    weights = fit(cases)
    click.echo(
        f"{len(cases)} of {len(known)} recordings have their tempo among the levels; right: "
        f"{share_right(cases, weights):.3f}, held out in turn {np.mean(held_out):.3f}"
    )
    named = {name: round(float(weight), 3) for name, weight in zip(FEATURES, weights, strict=True)}
    output.write_text(json.dumps({"weights": named}, indent=1) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
