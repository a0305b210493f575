"""Fit the weights of `cuesuggest.analysis.rhythm.level` on recordings with known tempo.

    python -m cuesuggest.analysis.training.fit_level FOLDER... [-o level.json]

For each recording the levels are decoded; the weights make the level with the true tempo likely (conditional logistic
regression). Fit the evidence first: the features rest on it.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import click
import numpy as np
from scipy import optimize

from cuesuggest.analysis.rhythm.evidence import observe
from cuesuggest.analysis.rhythm.level import FEATURES, level_features, read_levels
from cuesuggest.analysis.rhythm.music import asked_twice
from cuesuggest.analysis.rhythm.network import NETWORKS
from cuesuggest.analysis.spectrum import FRAME_RATE, Spectrum, hear
from cuesuggest.analysis.training.fit_evidence import folds_of, of_each, song_name
from cuesuggest.sound.recording import open_recording

RIDGE = 3e-3
SAME_TEMPO = 0.05
FOLDS = 5

Case = tuple[np.ndarray, np.ndarray]
"""Features of the levels of one recording, levels x features; and which of them have its tempo."""


def case(spectrum: Spectrum, network: str, tempo: float) -> Case | None:
    """Features of one recording's levels, or None if none of them has its tempo."""
    evidence = asked_twice(spectrum, observe(spectrum, None, network))
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


def _cases(path: Path, truth: dict[str, Any]) -> tuple[str, dict[str, Case | None]] | None:
    """What each network makes of a recording; None where no tempo is known."""
    if not truth.get("tempo_bpm"):
        return None
    spectrum = hear(open_recording(path))
    return song_name(path), {network: case(spectrum, network, truth["tempo_bpm"]) for network in NETWORKS}


@click.command()
@click.argument("folders", nargs=-1, required=True, type=click.Path(exists=True, file_okay=False, path_type=Path))
@click.option("-o", "--output", default="level.json", type=click.Path(path_type=Path))
@click.option("--jobs", default=1)
def main(folders: tuple[Path, ...], output: Path, jobs: int) -> None:
    """Fit on every recording of FOLDERS whose truth names a tempo."""
    known = [each for each in of_each(folders, _cases, jobs) if each is not None]
    table = {}
    for network in NETWORKS:
        cases = [(name, found) for name, each in known if (found := each[network]) is not None]
        folds = folds_of([name for name, _ in cases], FOLDS)
        if folds.max(initial=-1) < FOLDS - 1:
            raise click.ClickException(
                f"The tempo is found in {len(cases)} recordings; at least {FOLDS} songs are needed. Add more."
            )
        right = []
        for k in range(FOLDS):
            weights = fit([found for (_, found), fold in zip(cases, folds, strict=True) if fold != k])
            right += [share_right([found], weights) for (_, found), fold in zip(cases, folds, strict=True) if fold == k]
        weights = fit([found for _, found in cases])
        click.echo(
            f"{network}: {len(cases)} of {len(known)} recordings have their tempo among the levels; right: "
            f"{share_right([found for _, found in cases], weights):.3f}, held out in turn {np.mean(right):.3f}"
        )
        table[network] = {name: round(float(weight), 3) for name, weight in zip(FEATURES, weights, strict=True)}
    output.write_text(json.dumps(table, indent=1) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
