"""Fit the weights of drive (`cuesuggest.analysis.energy`) on recordings whose energy was planned.

    python -m cuesuggest.analysis.training.fit_drive FOLDER... [-o drive.json]

The truth of a recording says for every bar how hard it was meant to push (`bars[].drive`, 0..1). Weights come from
least squares in which every song counts alike and no measure may turn around: louder, fuller, denser, brighter never
means less drive. Least squares shrinks towards the middle; the sum is stretched so that drive spreads as far as what
was planned. Take recordings that the network was not trained on.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import click
import numpy as np
from scipy import optimize, stats

from cuesuggest.analysis.bars.numbering import NumberedBars
from cuesuggest.analysis.energy import MEASURES, PARTS, bar_energy
from cuesuggest.analysis.rhythm.choice import believed
from cuesuggest.analysis.spectrum import hear
from cuesuggest.analysis.training.fit_evidence import of_each
from cuesuggest.sound.recording import open_recording

# A riser is bright and loud before the band has come in: it alone counts against.
AGAINST = ("riser",)
# Plans give a ballad's last chorus and a club track's drop the same energy. Attacks a second tell the two apart on
# one scale for all songs, so they keep a weight whatever the plans say: four a second more are 0.08 of the plan's
# range.
AT_LEAST = {"attacks": 0.005, "busy": 0.02, "bright": 0.1, "pulse": 0.03}
PART_RANGE = (5, 95)  # percentiles of all bars between which a part goes from 0 to 1


@dataclass(frozen=True, slots=True)
class Planned:
    """Bars of one song: what was measured, shape (bars, measures), and what was planned, shape (bars,)."""

    measures: np.ndarray
    energy: np.ndarray


def planned(path: Path, truth: dict[str, Any]) -> Planned | None:
    """Measure the bars of a recording whose plan is known; None where no bars are found or planned."""
    spectrum = hear(open_recording(path))
    logits, rhythm = believed(spectrum)
    if not truth.get("bars") or not (rhythm.grid.slots == 0).any():
        return None
    numbered = NumberedBars(spectrum, rhythm, None)
    measures = bar_energy(spectrum, numbered.starts, numbered.ends, logits).measures
    energy = planned_energy(truth, (numbered.starts + numbered.ends) / 2)
    use = np.isfinite(energy) & (numbered.numbers >= 1)
    return Planned(np.stack([measures[name][use] for name in MEASURES], axis=1), energy[use])


def planned_energy(truth: dict[str, Any], seconds: np.ndarray) -> np.ndarray:
    """Energy that was planned for given times; NaN outside the bars."""
    starts = np.array([bar["start"] for bar in truth["bars"]])
    ends = np.array([bar["end"] for bar in truth["bars"]])
    drive = np.array([bar["drive"] for bar in truth["bars"]], float)
    index = np.clip(np.searchsorted(starts, seconds, "right") - 1, 0, len(starts) - 1)
    return np.where((seconds >= starts[index]) & (seconds < ends[index]), drive[index], np.nan)


def fit(songs: list[Planned]) -> dict[str, Any]:
    """Weights, offset, and the range of each part.

    Parameters
    ----------
    songs : list of Planned

    Returns
    -------
    dict
        As `drive.json` holds it.
    """
    x = np.concatenate([song.measures for song in songs])
    y = np.concatenate([song.energy for song in songs])
    share = np.concatenate([np.full(len(song.energy), len(song.energy) ** -0.5) for song in songs])
    low = np.array([-np.inf if name in AGAINST else AT_LEAST.get(name, 0.0) for name in MEASURES])
    high = np.array([0.0 if name in AGAINST else np.inf for name in MEASURES])
    rows = np.column_stack([x, np.ones(len(x))]) * share[:, None]
    bounds = (np.append(low, -np.inf), np.append(high, np.inf))
    w = optimize.lsq_linear(rows, y * share, bounds).x
    guess = x @ w[:-1] + w[-1]

    def misses(bend: np.ndarray) -> list[float]:
        drive = 1 / (1 + np.exp(-(bend[0] + bend[1] * guess)))
        return [drive.mean() - y.mean(), drive.std() - y.std()]

    offset, slope = optimize.root(misses, [-2.5, 5.0]).x
    weights = {name: float(slope * value) for name, value in zip(MEASURES, w[:-1], strict=True)}
    ranges = {}
    for part, names in PARTS.items():
        total = sum(weights[name] * x[:, MEASURES.index(name)] for name in names)
        ranges[part] = [round(float(edge), 3) for edge in np.percentile(total, PART_RANGE)]
    return {
        "weights": {name: round(value, 4) for name, value in weights.items()},
        "offset": round(float(offset + slope * w[-1]), 4),
        "parts": ranges,
    }


def ranks(songs: list[Planned], weights: dict[str, Any]) -> tuple[list[float], float]:
    """Rank correlation of drive with the plan: within each song that has a plan, and over all bars."""
    w = np.array([weights["weights"][name] for name in MEASURES])
    found = [song.measures @ w for song in songs]
    within = [
        float(stats.spearmanr(drive, song.energy)[0])
        for drive, song in zip(found, songs, strict=True)
        if len(np.unique(song.energy)) > 2
    ]
    return within, float(stats.spearmanr(np.concatenate(found), np.concatenate([s.energy for s in songs]))[0])


@click.command()
@click.argument("folders", nargs=-1, required=True, type=click.Path(exists=True, file_okay=False, path_type=Path))
@click.option("-o", "--output", default="drive.json", type=click.Path(path_type=Path))
@click.option("--jobs", default=1)
def main(folders: tuple[Path, ...], output: Path, jobs: int) -> None:
    """Fit on every recording of the folders that has a truth file."""
    songs = [song for song in of_each(folders, planned, jobs) if song is not None and len(song.energy)]
    weights = fit(songs)
    within, pooled = ranks(songs, weights)
    click.echo(
        f"{len(songs)} songs, {sum(len(s.energy) for s in songs)} bars; rank correlation within songs: median "
        f"{np.median(within):.3f}, a tenth under {np.percentile(within, 10):.3f}; over all bars {pooled:.3f}"
    )
    output.write_text(json.dumps(weights, indent=1) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
