"""Fit the weights of `cuesuggest.analysis.rhythm.music`: whether a kept pulse is music, and whether there is a song.

    python -m cuesuggest.analysis.training.fit_music FOLDER... [-o music.json]

FOLDERS hold songs, degraded copies of songs and recordings without music, each with its truth. Short excerpts of all of
them are taken as well: a song of ten seconds is one, too.
"""

from __future__ import annotations

import json
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import Any

import click
import numpy as np

from cuesuggest.analysis.rhythm import music
from cuesuggest.analysis.rhythm.evidence import observe
from cuesuggest.analysis.rhythm.level import best_level, read_levels
from cuesuggest.analysis.rhythm.network import NETWORKS
from cuesuggest.analysis.spectrum import CHROMA_RATE, FRAME_RATE, Spectrum, hear
from cuesuggest.analysis.training.fit_evidence import fit, folds_of, of_each, song_name
from cuesuggest.sound.recording import open_recording

EVERY = 25  # frames: neighbours say nearly the same
EXCERPTS = (8.0, 16.0)  # seconds
FOLDS = 5


def music_spans(truth: dict[str, Any]) -> list[tuple[float, float]]:
    """Where music sounds: from its start to its end, pauses left out; and in attempts that were broken off."""
    if not truth["beats"]:
        return []
    spans, at = [(attempt["start"], attempt["end"]) for attempt in truth.get("attempts") or []], truth["music_start"]
    for event in sorted((truth.get("events") or []), key=lambda each: each["start"]):
        if event["kind"] == "pause" and event["start"] > at:
            spans.append((at, event["start"]))
            at = event["end"]
    return [*spans, (at, truth["music_end"])]


def part(spectrum: Spectrum, start: float, seconds: float) -> Spectrum:
    """An excerpt of a recording, on the scale of the whole."""

    def cut(values: np.ndarray, rate: float) -> np.ndarray:
        return values[round(start * rate) : round((start + seconds) * rate)]

    return replace(
        spectrum,
        start=0.0,
        end=seconds,
        bands=cut(spectrum.bands, FRAME_RATE),
        level=cut(spectrum.level, FRAME_RATE),
        chroma=cut(spectrum.chroma, CHROMA_RATE),
        power=cut(spectrum.power, 1 / spectrum.power_step),
    )


Cases = tuple[np.ndarray, np.ndarray]
"""Features, one row for each case, and whether it is music."""


def pulse_cases(spectrum: Spectrum, truth: dict[str, Any], network: str) -> Cases:
    """Features of the pulse in every so-many-th frame, and whether music sounds there."""
    evidence = observe(spectrum, None, network)
    x = music.pulse_features(spectrum, evidence, music.counted_through(evidence))
    seconds = spectrum.seconds
    yes = np.zeros(len(seconds), bool)
    for a, b in music_spans(truth):
        yes |= (seconds >= a) & (seconds <= b)
    use = np.zeros(len(seconds), bool)
    use[::EVERY] = True
    for a, b in truth.get("ignore") or []:
        use &= (seconds < a) | (seconds > b)
    return x[use], yes[use]


def song_cases(spectrum: Spectrum, truth: dict[str, Any], network: str) -> Cases:
    """Features of a recording and of short parts of it, and whether there is music in them."""
    spans = music_spans(truth)
    parts = [spectrum]
    for seconds in EXCERPTS:
        for share in (0.3, 0.6):
            start = share * (spectrum.end - spectrum.start)
            inside = any(a <= start and start + seconds <= b for a, b in spans)
            if start + seconds < spectrum.end - spectrum.start and (inside or not spans):
                parts.append(part(spectrum, start, seconds))
    rows = []
    for each in parts:
        evidence = music.asked_twice(each, observe(each, None, network))
        grid, _ = best_level(read_levels(evidence), evidence)
        if len(grid.frames) >= 4:
            rows.append(music.song_features(grid, evidence))
    return np.array(rows).reshape(-1, len(music.SONG_FEATURES)), np.full(len(rows), bool(spans))


def held_out(x: np.ndarray, yes: np.ndarray, folds: np.ndarray) -> tuple[float, float]:
    """Shares of yes and of no that are told right where their recordings took no part in the fit."""
    told = np.zeros(len(yes), bool)
    for fold in range(FOLDS):
        out = folds == fold
        weights = fit(x[~out, :-1], yes[~out])
        told[out] = x[out, :-1] @ weights[:-1] + weights[-1] > 0
    return float(told[yes].mean()), float((~told[~yes]).mean())


def _measured(kind: str, path: Path, truth: dict[str, Any]) -> tuple[str, dict[str, Cases]]:
    """Cases of one kind in a recording, as each network hears it."""
    spectrum = hear(open_recording(path))
    cases = pulse_cases if kind == "pulse" else song_cases
    return song_name(path), {network: cases(spectrum, truth, network) for network in NETWORKS}


@click.command()
@click.argument("folders", nargs=-1, required=True, type=click.Path(exists=True, file_okay=False, path_type=Path))
@click.option("-o", "--output", default="music.json", type=click.Path(path_type=Path))
@click.option("--jobs", default=1)
def main(folders: tuple[Path, ...], output: Path, jobs: int) -> None:
    """Fit on every recording of the folders that has a truth file."""
    for kind, names in (("pulse", music.PULSE_FEATURES), ("song", music.SONG_FEATURES)):
        found = of_each(folders, partial(_measured, kind), jobs)
        folds = folds_of([name for name, _ in found], FOLDS)
        for network in NETWORKS:
            parts = [each[network] for _, each in found]
            x, yes = (np.concatenate([part[k] for part in parts]) for k in (0, 1))
            music_right, other_right = held_out(x, yes, np.repeat(folds, [len(part[1]) for part in parts]))
            click.echo(
                f"{network}, {kind}: {len(yes)} cases, {yes.sum()} of music; held out in turn {music_right:.3f} of "
                f"these right, {other_right:.3f} of the others"
            )
            # The second kind rests on the first.
            music.music_weights()[network][kind] = {
                name: round(float(value), 4) for name, value in zip(names, fit(x[:, :-1], yes), strict=True)
            }
    output.write_text(json.dumps(music.music_weights(), indent=1) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
