"""Fit the linear model of downbeats of `cuesuggest.analysis.rhythm.evidence` on recordings with known beats.

    python -m cuesuggest.analysis.training.fit_evidence FOLDER [-o evidence.npz]

FOLDER holds audio files, each with a JSON file of the same name beside it: `beats`, `downbeats`, `ignore` (spans that
teach nothing). Recordings without beats are passed over.
"""

from __future__ import annotations

import json
import multiprocessing
from collections.abc import Callable, Iterable, Iterator
from pathlib import Path
from typing import Any, TypeVar

import click
import numpy as np
from scipy import optimize

from cuesuggest.analysis.rhythm import evidence
from cuesuggest.analysis.spectrum import FRAME_RATE, Spectrum, hear
from cuesuggest.sound.recording import open_recording

T = TypeVar("T")

AUDIO = (".flac", ".wav", ".ogg", ".mp3", ".m4a")
RIDGE = 1e-3


def recordings(folder: Path) -> Iterator[tuple[Path, dict[str, Any]]]:
    """Audio files of a folder that have a truth beside them, in order of their names."""
    for path in sorted(folder.rglob("*")):
        truth = path.with_suffix(".json")
        if path.suffix in AUDIO and truth.exists():
            yield path, json.loads(truth.read_text(encoding="utf-8"))


def of_each(folders: Iterable[Path], measure: Callable[[Path, dict[str, Any]], T], jobs: int = 1) -> list[T]:
    """What a function of path and truth makes of every recording of some folders.

    Parameters
    ----------
    folders : iterable of Path
    measure : callable
        At the top level of its module where there are several jobs.
    jobs : int
        Processes; each knows what the tables of weights hold at this moment.

    Returns
    -------
    list
        In the order of the folders and of names.
    """
    tasks = [each for folder in folders for each in recordings(folder)]
    if jobs == 1:
        return [measure(*task) for task in tasks]
    with multiprocessing.get_context("fork").Pool(jobs) as pool:
        return pool.starmap(measure, tasks, chunksize=1)


def song_name(path: Path) -> str:
    """Name of the song that a recording is of: degraded copies are of the song that they were made from."""
    return path.stem.partition("_copy")[0]


def folds_of(names: list[str], folds: int) -> np.ndarray:
    """Fold of each recording, for fits that are tried on what they have not seen: all of one song are in one fold."""
    order = {name: k for k, name in enumerate(dict.fromkeys(names))}
    return np.array([order[name] % folds for name in names], int)


def labels(truth: dict[str, Any], spectrum: Spectrum) -> np.ndarray:
    """Classes of every frame: 1 a beat that is a downbeat, 0 another beat, -1 teaches nothing.

    Parameters
    ----------
    truth : dict
    spectrum : Spectrum

    Returns
    -------
    ndarray of int, shape (frames,)
    """
    frames, seconds = len(spectrum.bands), spectrum.seconds
    beats = np.rint((np.array(truth["beats"], float) - spectrum.start) * FRAME_RATE).astype(int)
    opens = np.isin(np.round(truth["beats"], 4), np.round(truth["downbeats"], 4))
    inside = (beats >= 0) & (beats < frames)
    downbeat = np.full(frames, -1)
    downbeat[beats[inside]] = opens[inside]
    for start, end in truth.get("ignore") or []:
        downbeat[(seconds >= start) & (seconds <= end)] = -1
    return downbeat


def fit(features: np.ndarray, yes: np.ndarray) -> np.ndarray:
    """Logistic regression with both classes weighted alike and a small ridge.

    Parameters
    ----------
    features : ndarray, shape (n, k)
    yes : ndarray of bool, shape (n,)

    Returns
    -------
    ndarray of float32, shape (k + 1,)
        Weights, then the offset.
    """
    mean, spread = features.mean(axis=0), features.std(axis=0) + 1e-6
    x = np.concatenate([(features - mean) / spread, np.ones((len(features), 1), features.dtype)], axis=1)
    sign = np.where(yes, 1.0, -1.0)
    weight = np.where(yes, 0.5 / max(yes.sum(), 1), 0.5 / max((~yes).sum(), 1))

    def loss(w: np.ndarray) -> tuple[float, np.ndarray]:
        z = sign * (x @ w)
        slope = -sign * weight / (1 + np.exp(np.clip(z, -60, 60)))
        value = float(weight @ np.logaddexp(0, -z)) + 0.5 * RIDGE * float(w[:-1] @ w[:-1])
        return value, x.T @ slope + RIDGE * np.append(w[:-1], 0)

    w = optimize.minimize(loss, np.zeros(x.shape[1]), jac=True, method="L-BFGS-B").x
    scaled = w[:-1] / spread
    return np.append(scaled, w[-1] - scaled @ mean).astype(np.float32)


@click.command()
@click.argument("folder", type=click.Path(exists=True, file_okay=False, path_type=Path))
@click.option("-o", "--output", default="evidence.npz", type=click.Path(path_type=Path))
def main(folder: Path, output: Path) -> None:
    """Fit on every recording of FOLDER that has a truth file."""
    rows, classes = [], []
    for path, truth in recordings(folder):
        if not truth["beats"]:
            continue
        spectrum = hear(open_recording(path))
        taught = labels(truth, spectrum)
        rows.append(evidence.downbeat_features(spectrum, evidence.flux(spectrum.bands))[taught >= 0])
        classes.append(taught[taught >= 0] == 1)
    x, yes = np.concatenate(rows), np.concatenate(classes)
    weights = fit(x, yes)
    logit = x @ weights[:-1] + weights[-1]
    right = 0.5 * ((logit > 0)[yes].mean() + (logit <= 0)[~yes].mean())
    click.echo(f"{len(yes)} beats, {yes.sum()} downbeats, balanced accuracy {right:.3f}")
    np.savez(output, downbeat=weights)


if __name__ == "__main__":
    main()
