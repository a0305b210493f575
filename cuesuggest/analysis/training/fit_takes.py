"""Fit the log odds that two beats of two takes are the same (`cuesuggest.analysis.takes.likeness`).

    python -m cuesuggest.analysis.training.fit_takes FOLDER... [-o takes.json]

A folder holds pairs of recordings NAME_a and NAME_b with their truth: bars in seconds, and for every bar of b, in
`from_bars`, the index of the bar of a that it is. Weights come from a logistic regression in which every pair counts
alike and no measure may turn around. Beats that are not the same are drawn from all of the song and from near the right
one, as those are what is confused.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import click
import numpy as np
from scipy import optimize

from cuesuggest.analysis.listen import analyze_spectrum
from cuesuggest.analysis.rhythm.choice import believed
from cuesuggest.analysis.spectrum import hear
from cuesuggest.analysis.takes.align import counts_to_try
from cuesuggest.analysis.takes.likeness import MEASURES, measures
from cuesuggest.analysis.takes.take import HeardTake, counted, take_of
from cuesuggest.sound.recording import open_recording

_FAR = 6  # wrong beats drawn from anywhere for each right one
_NEAR = (1, 2, 4, 8, 16, 32)  # and so many before and after it
_ON_BEAT = 0.25  # of a beat


def heard(path: Path) -> HeardTake:
    """Hear a recording with nothing stated."""
    spectrum = hear(open_recording(path))
    logits, rhythm = believed(spectrum)
    return HeardTake(
        spectrum, logits, analyze_spectrum(spectrum, logits, network=rhythm.evidence.network, rhythm=rhythm)
    )


def in_first(first: dict[str, Any], second: dict[str, Any], times: np.ndarray) -> np.ndarray:
    """Return the time in the first take of each time in the second; NaN outside its bars."""
    bars = second["bars"]
    starts = np.array([bar["start"] for bar in bars])
    ends = np.array([bar["end"] for bar in bars])
    index = np.clip(np.searchsorted(starts, times + 1e-6) - 1, 0, len(bars) - 1)
    part = (times - starts[index]) / (ends - starts)[index]
    was = np.array([[first["bars"][k]["start"], first["bars"][k]["end"]] for k in second["from_bars"]])[index]
    return np.where((part < -1e-6) | (part > 1), np.nan, was[:, 0] + part * (was[:, 1] - was[:, 0]))


def cells(
    one: HeardTake, other: HeardTake, first: dict[str, Any], second: dict[str, Any]
) -> tuple[np.ndarray, np.ndarray]:
    """Measure beats that are the same, and beats that are not.

    Returns
    -------
    ndarray, shape (cells, measures)
    ndarray of bool, shape (cells,)
    """
    draws = np.random.default_rng(0)
    own = take_of(one, counted(one.analysis))
    times = counted(other.analysis, counts_to_try(own, counted(other.analysis))[0])
    table = measures(own, take_of(other, times), second["made"]["take"]["key"])
    values = np.stack([table[name] for name in MEASURES], axis=-1)
    rows, same = [], []
    for step, time in enumerate(in_first(first, second, times[:-1])):
        beat = int(np.abs(own.times[:-1] - time).argmin()) if np.isfinite(time) else -1
        if beat < 0 or abs(own.times[beat] - time) > _ON_BEAT * own.beat:
            continue
        wrong = [*draws.integers(0, len(own), _FAR), *(beat + way * far for far in _NEAR for way in (-1, 1))]
        chosen = [beat, *(k for k in wrong if 0 <= k < len(own) and k != beat)]
        rows += [values[k, step] for k in chosen]
        same += [True] + [False] * (len(chosen) - 1)
    return np.array(rows).reshape(-1, len(MEASURES)), np.array(same, bool)


def fit(pairs: list[tuple[np.ndarray, np.ndarray]]) -> dict[str, float]:
    """Return weights and offset, so that right and wrong beats of every pair count as much as those of any other."""
    x = np.concatenate([rows for rows, _ in pairs])
    same = np.concatenate([each for _, each in pairs])
    share = np.concatenate([np.where(each, 1 / each.sum(), 1 / (~each).sum()) for _, each in pairs])
    spread = x.std(axis=0)
    table = np.column_stack([x / spread, np.ones(len(x))])

    def loss(weights: np.ndarray) -> tuple[float, np.ndarray]:
        odds = table @ weights
        wrong = np.logaddexp(0, np.where(same, -odds, odds))
        slope = table.T @ (share * (1 / (1 + np.exp(-odds)) - same))
        slope[:-1] += 0.1 * weights[:-1]
        return float((share * wrong).sum() + 0.05 * (weights[:-1] ** 2).sum()), slope

    limits = [(0.0, None)] * len(MEASURES) + [(None, None)]
    found = optimize.minimize(loss, np.zeros(len(MEASURES) + 1), jac=True, method="L-BFGS-B", bounds=limits).x
    named = zip(("offset", *MEASURES), (found[-1], *(found[:-1] / spread)), strict=True)
    return {name: round(float(weight), 3) for name, weight in named}


def pairs_in(folders: tuple[Path, ...]) -> Iterator[tuple[np.ndarray, np.ndarray]]:
    """Measure every pair in some folders."""
    for path in sorted(path for folder in folders for path in folder.glob("*_b.json")):
        truths = [json.loads(path.with_name(path.name.replace("_b.json", f"_{k}.json")).read_text()) for k in "ab"]
        one, other = (heard(path.with_name(truth["audio"])) for truth in truths)
        if len(one.analysis.beats) > 2 and len(other.analysis.beats) > 2:
            yield cells(one, other, *truths)


@click.command()
@click.argument("folders", nargs=-1, required=True, type=click.Path(exists=True, file_okay=False, path_type=Path))
@click.option("-o", "--output", default="takes.json", show_default=True, type=click.Path(path_type=Path))
def main(folders: tuple[Path, ...], output: Path) -> None:
    """Fit on pairs of recordings with known correspondence."""
    odds = fit([pair for pair in pairs_in(folders) if pair[1].any()])
    output.write_text(json.dumps({"odds": odds}, indent=1) + "\n", encoding="utf-8")
    for name, weight in odds.items():
        click.echo(f"{name:18} {weight:8.3f}")


if __name__ == "__main__":
    main()
