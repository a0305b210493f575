"""Fit the weights of `cuesuggest.analysis.rhythm.music`: whether a kept pulse is music, and whether there is a song.

    python -m cuesuggest.training.music FOLDER... [-o music.json]

FOLDERS hold songs, degraded copies of songs and recordings without music, each with its truth. Short excerpts of all of
them are taken as well: a song of ten seconds is one, too.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import click
import numpy as np

from cuesuggest.analysis.rhythm import music
from cuesuggest.analysis.rhythm.evidence import observe
from cuesuggest.analysis.rhythm.level import best_level, read_levels
from cuesuggest.analysis.spectrum import CHROMA_RATE, FRAME_RATE, Spectrum, hear
from cuesuggest.recording import open_recording
from cuesuggest.training.evidence import fit, recordings

EVERY = 25  # frames: neighbours say nearly the same
EXCERPTS = (4.0, 8.0, 16.0)  # seconds
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


def pulse_cases(spectrum: Spectrum, truth: dict[str, Any]) -> tuple[np.ndarray, np.ndarray]:
    """Features of the pulse in every so-many-th frame, and whether music sounds there."""
    evidence = observe(spectrum)
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


def song_cases(spectrum: Spectrum, truth: dict[str, Any]) -> Iterator[tuple[np.ndarray, bool]]:
    """Features of a recording and of short parts of it, and whether there is music in them."""
    spans = music_spans(truth)
    parts = [spectrum]
    for seconds in EXCERPTS:
        for share in (0.3, 0.6):
            start = share * (spectrum.end - spectrum.start)
            inside = any(a <= start and start + seconds <= b for a, b in spans)
            if start + seconds < spectrum.end - spectrum.start and (inside or not spans):
                parts.append(part(spectrum, start, seconds))
    for each in parts:
        evidence = music.asked_twice(each, observe(each))
        grid, _ = best_level(read_levels(evidence), evidence)
        if len(grid.frames) >= 4:
            yield music.song_features(grid, evidence), bool(spans)


def held_out(x: np.ndarray, yes: np.ndarray, groups: np.ndarray) -> tuple[float, float]:
    """Shares of yes and of no that are told right where their recordings took no part in the fit."""
    told = np.zeros(len(yes), bool)
    for fold in range(FOLDS):
        out = groups % FOLDS == fold
        weights = fit(x[~out, :-1], yes[~out])
        told[out] = x[out, :-1] @ weights[:-1] + weights[-1] > 0
    return float(told[yes].mean()), float((~told[~yes]).mean())


@click.command()
@click.argument("folders", nargs=-1, required=True, type=click.Path(exists=True, file_okay=False, path_type=Path))
@click.option("-o", "--output", default="music.json", type=click.Path(path_type=Path))
def main(folders: tuple[Path, ...], output: Path) -> None:
    """Fit on every recording of the folders that has a truth file."""
    songs = [each for folder in folders for each in recordings(folder)]
    heard = [(hear(open_recording(path)), truth) for path, truth in songs]
    for kind, names in (("pulse", music.PULSE_FEATURES), ("song", music.SONG_FEATURES)):
        rows, classes, groups = [], [], []
        for k, (spectrum, truth) in enumerate(heard):
            if kind == "pulse":
                x, yes = pulse_cases(spectrum, truth)
            else:
                cases = list(song_cases(spectrum, truth))
                x, yes = np.array([case for case, _ in cases]), np.array([each for _, each in cases], bool)
            rows.append(x.reshape(-1, len(names)))
            classes.append(yes)
            groups.append(np.full(len(yes), k))
        x, yes = np.concatenate(rows), np.concatenate(classes)
        music_right, other_right = held_out(x, yes, np.concatenate(groups))
        click.echo(
            f"{kind}: {len(yes)} cases, {yes.sum()} of music; held out in turn {music_right:.3f} of these right, "
            f"{other_right:.3f} of the others"
        )
        # The second rests on the first.
        music.weights()[kind] = {
            name: round(float(value), 4) for name, value in zip(names, fit(x[:, :-1], yes), strict=True)
        }
    output.write_text(json.dumps(music.weights(), indent=1) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
