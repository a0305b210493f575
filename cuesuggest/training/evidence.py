"""Fit the three linear models of `cuesuggest.analysis.rhythm.evidence` on recordings with known beats.

    python -m cuesuggest.training.evidence FOLDER [-o evidence.npz]

FOLDER holds audio files, each with a JSON file of the same name beside it: `beats`, `downbeats`, `music_start`,
`music_end`, `events`, `ignore` (spans that teach nothing). Recordings without music have empty `beats`.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import click
import numpy as np
from scipy import optimize

from cuesuggest.analysis.rhythm import evidence
from cuesuggest.analysis.spectrum import FRAME_RATE, Spectrum, hear
from cuesuggest.recording import open_recording

AUDIO = (".flac", ".wav", ".ogg", ".mp3", ".m4a")
# Frames next to a beat are neither: players scatter by some milliseconds, and the frame grid is 20 ms.
NEAR = 2
RIDGE = 1e-3
BEFORE_MUSIC_SECONDS = 0.5


def recordings(folder: Path) -> Iterator[tuple[Path, dict[str, Any]]]:
    """Audio files of a folder that have a truth beside them, in order of their names."""
    for path in sorted(folder.rglob("*")):
        truth = path.with_suffix(".json")
        if path.suffix in AUDIO and truth.exists():
            yield path, json.loads(truth.read_text(encoding="utf-8"))


def labels(truth: dict[str, Any], spectrum: Spectrum) -> dict[str, np.ndarray]:
    """Classes of every frame: 1 yes, 0 no, -1 teaches nothing.

    Parameters
    ----------
    truth : dict
    spectrum : Spectrum

    Returns
    -------
    dict of ndarray of int, shape (frames,)
        `beat`, `downbeat` (beats only), `music`.
    """
    frames, seconds = len(spectrum.bands), spectrum.seconds
    beats = np.rint((np.array(truth["beats"], float) - spectrum.start) * FRAME_RATE).astype(int)
    opens = np.isin(np.round(truth["beats"], 4), np.round(truth["downbeats"], 4))
    inside = (beats >= 0) & (beats < frames)
    beats, opens = beats[inside], opens[inside]
    beat = np.zeros(frames, int)
    downbeat = np.full(frames, -1)
    music = np.zeros(frames, int)
    for offset in range(-NEAR, NEAR + 1):
        beat[np.clip(beats + offset, 0, frames - 1)] = -1
    beat[beats] = 1
    downbeat[beats] = opens
    if len(beats):
        music[(seconds > truth["music_start"]) & (seconds < truth["music_end"])] = 1
        edge = np.abs(seconds[:, None] - [truth["music_start"], truth["music_end"]]).min(axis=1)
        music[edge < BEFORE_MUSIC_SECONDS] = -1
        beat[music != 1] = -1
    else:
        # Items without music train the music model only: in the beat model they make dense guitars look like noise.
        beat[:] = -1
    for event in truth.get("events") or []:
        if event["kind"] == "pause":
            music[(seconds > event["start"] + 1) & (seconds < event["end"] - 1)] = 0
    for start, end in truth.get("ignore") or []:
        beat[(seconds >= start) & (seconds <= end)] = -1
        downbeat[(seconds >= start) & (seconds <= end)] = -1
        music[(seconds >= start) & (seconds <= end)] = -1
    return {"beat": beat, "downbeat": downbeat, "music": music}


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
    rows: dict[str, list[np.ndarray]] = {"beat": [], "downbeat": [], "music": []}
    classes: dict[str, list[np.ndarray]] = {"beat": [], "downbeat": [], "music": []}
    for path, truth in recordings(folder):
        spectrum = hear(open_recording(path))
        groups = evidence.flux(spectrum.bands)
        features = {
            "beat": evidence.beat_features(groups),
            "downbeat": evidence.downbeat_features(spectrum, groups),
            "music": evidence.music_features(spectrum)[::10],
        }
        known = labels(truth, spectrum)
        known["music"] = known["music"][::10]
        for head, taught in known.items():
            chosen = taught >= 0
            rows[head].append(features[head][chosen])
            classes[head].append(taught[chosen] == 1)
    weights = {}
    for head in rows:
        x, yes = np.concatenate(rows[head]), np.concatenate(classes[head])
        weights[head] = fit(x, yes)
        logit = x @ weights[head][:-1] + weights[head][-1]
        right = 0.5 * ((logit > 0)[yes].mean() + (logit <= 0)[~yes].mean())
        click.echo(f"{head}: {len(yes)} frames, {yes.sum()} yes, balanced accuracy {right:.3f}")
    np.savez(output, **weights)  # type: ignore[arg-type]  # numpy's own keywords come first


if __name__ == "__main__":
    main()
