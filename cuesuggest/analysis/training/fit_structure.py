"""Fit the numbers of `cuesuggest.analysis.structure` on recordings with known sections.

    python -m cuesuggest.analysis.training.fit_structure FOLDER... [-o structure.json]

Take recordings that the network was not trained on. Sections are fitted on the tool's own bars: each true start goes to
the bar line nearest to it, and songs in which many are far from any teach nothing. Each song is learned from twice, the
second time without the network's opinion: on bands that it does not understand the other signs must do.
"""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations, pairwise
from pathlib import Path
from typing import Any

import click
import numpy as np
from scipy import optimize

from cuesuggest.analysis.bars.numbering import NumberedBars
from cuesuggest.analysis.energy import bar_energy
from cuesuggest.analysis.form import Part
from cuesuggest.analysis.rhythm import Rhythm
from cuesuggest.analysis.rhythm.choice import believed
from cuesuggest.analysis.rhythm.evidence import flux
from cuesuggest.analysis.spectrum import Spectrum, hear
from cuesuggest.analysis.structure.bar_vectors import BarVectors, SongBars, bar_vectors
from cuesuggest.analysis.structure.boundary_signs import NETWORK_SIGNS, SIGNS, line_signs
from cuesuggest.analysis.structure.divide import (
    LENGTHS,
    LONGEST,
    SOUNDS,
    best_edges,
    boundary_odds,
    length_features,
    log_sums,
    section_sounds,
    section_worth,
)
from cuesuggest.analysis.structure.letters import LIKENESS, PAIRS, pair_features
from cuesuggest.analysis.structure.section_confidence import FEATURES, sure_features
from cuesuggest.analysis.structure.stated_form import StatedForm, longest_part
from cuesuggest.analysis.structure.weights import Weights
from cuesuggest.analysis.training.fit_confidence import fit as logistic
from cuesuggest.analysis.training.fit_confidence import reliability
from cuesuggest.analysis.training.fit_evidence import of_each
from cuesuggest.sound.recording import open_recording

RIDGE = 0.05
ENOUGH = 0.8  # of the true starts must be near a bar line
NO_OPINION = {"head": -1.0}  # of the network, where it hears nothing; 0 for its other signs
# Share of section lengths in 912 published pop songs (Nieto et al. 2019; facts/algorithms.md 3.1), for bars of 4, 8,
# 16, and all odd lengths over 3 together (9 and 7 are told, the rest estimated).
PUBLISHED = {"4": 0.105, "8": 0.446, "16": 0.132, "odd": 0.12}
PUBLISHED_SHARE = 0.5  # of the way from the rendered songs' lengths to the published
EQUAL_NAMES = (0.0, 0.25, 0.5, 1.0, 1.5, 2.0)


@dataclass(frozen=True, slots=True)
class FormedSong:
    """A recording's bars as the tool finds them, described, and its true sections on them."""

    bars: SongBars
    vectors: BarVectors
    signs: np.ndarray
    sounds: np.ndarray
    edges: tuple[int, ...]
    """Boundaries, first and last included, as indices of bars."""
    letters: tuple[str, ...]
    starts: np.ndarray
    """True starts in seconds, that of the song included."""
    fits: bool
    """Enough of the true starts lie near a bar line."""


def described(spectrum: Spectrum, logits: np.ndarray, rhythm: Rhythm, truth: dict[str, Any]) -> FormedSong | None:
    """Describe a recording; None if it has no sections."""
    sections = truth.get("sections") or []
    if len(sections) < 2 or not (rhythm.grid.slots == 0).any():
        return None
    numbered = NumberedBars(spectrum, rhythm, None)
    song = numbered.numbers >= 1
    loudness = bar_energy(spectrum, numbered.starts, numbered.ends, logits).loudness
    bars = SongBars(
        numbered.numbers[song], numbered.starts[song], numbered.ends[song], loudness[song], numbered.confidence[song],
        numbered.beat,
    )  # fmt: skip
    vectors = bar_vectors(spectrum, bars, flux(spectrum.bands))
    count = len(bars)
    starts = np.array([each["start"] for each in sections])
    away = np.abs(bars.starts[:, None] - starts[1:])
    edges = sorted({0, count, *(int(each) for each in away.argmin(axis=0) if each)})
    middles = [(bars.starts[first] + bars.ends[end - 1]) / 2 for first, end in pairwise(edges)]
    letters = [sections[max(0, int(np.searchsorted(starts, middle)) - 1)]["label"] for middle in middles]
    return FormedSong(
        bars,
        vectors,
        line_signs(spectrum, logits, bars, vectors),
        section_sounds(vectors, 0, count, min(LONGEST, count)),
        tuple(edges),
        tuple(each.rstrip("'").upper() for each in letters),
        starts,
        bool((away.min(axis=0) < bars.beat).mean() > ENOUGH),
    )


def fit_division(songs: Sequence[FormedSong]) -> dict[str, dict[str, float]]:
    """Weights under which the true divisions are most likely among all."""
    names = [*SIGNS, *LENGTHS, *SOUNDS]
    blank = np.array([NO_OPINION.get(name, 0.0) for name in NETWORK_SIGNS])
    columns = [SIGNS.index(name) for name in NETWORK_SIGNS]
    cases = []
    for song in songs:
        if song.fits and max(np.diff(song.edges)) <= LONGEST:
            deaf = song.signs.copy()
            deaf[1:, columns] = blank
            cases += [(song, song.signs), (song, deaf)]
    spread = np.concatenate(
        [
            np.concatenate([song.signs for song in songs]).std(axis=0),
            length_features(LONGEST).std(axis=0),
            np.concatenate([song.sounds.reshape(-1, len(SOUNDS)) for song in songs]).std(axis=0),
        ]
    )
    spread = np.maximum(spread, 0.05)

    def loss(scaled: np.ndarray) -> tuple[float, np.ndarray]:
        weights, total, slope = scaled / spread, 0.0, np.zeros(len(names))
        for song, signs in cases:
            more, by_weight = _less_likely(song, signs, weights)
            total, slope = total + more, slope + by_weight
        return total / len(cases) + RIDGE * scaled @ scaled / 2, slope / len(cases) / spread + RIDGE * scaled

    start = np.zeros(len(names))
    found = optimize.minimize(loss, start, jac=True, method="L-BFGS-B", options={"maxiter": 80}).x / spread
    table = dict(zip(names, found.tolist(), strict=True))
    for name, by in _published(songs).items():
        table[name] += PUBLISHED_SHARE * by
    return {
        "signs": {name: table[name] for name in SIGNS},
        "lengths": {name: table[name] for name in LENGTHS},
        "sounds": {name: table[name] for name in SOUNDS},
    }


def _less_likely(song: FormedSong, signs: np.ndarray, weights: np.ndarray) -> tuple[float, np.ndarray]:
    """Nats by which the true division is less likely than certain, and their slope."""
    count, longest = song.sounds.shape[0], song.sounds.shape[1] - 1
    by_sign, by_length, by_sound = np.split(weights, [len(SIGNS), len(SIGNS) + len(LENGTHS)])
    lengths = length_features(longest)
    worth = song.sounds @ by_sound + (signs @ by_sign)[:, None] + lengths @ by_length
    ends = np.arange(count)[:, None] + np.arange(longest + 1)
    worth[:, 0] = -np.inf
    worth[ends > count] = -np.inf
    sums = log_sums(worth)
    whole = sums.before[-1]
    share = np.exp(np.minimum(sums.before[:count, None] + worth + sums.after[np.minimum(ends, count)] - whole, 0))
    true = 0.0
    for first, end in pairwise(song.edges):
        true += worth[first, end - first]
        share[first, end - first] -= 1
    slope = [share.sum(axis=1) @ signs, share.sum(axis=0) @ lengths, np.tensordot(share, song.sounds, 2)]
    return float(whole - true), np.concatenate(slope)


def _published(songs: Sequence[FormedSong]) -> dict[str, float]:
    """Log ratio of published to rendered lengths."""
    lengths = Counter(int(each) for song in songs for each in np.diff(song.edges))
    total = sum(lengths.values())
    own = {name: lengths[int(name)] / total for name in PUBLISHED if name != "odd"}
    own["odd"] = sum(times for each, times in lengths.items() if each > 3 and each % 2) / total
    return {name: float(np.log(PUBLISHED[name] / max(own[name], 0.01))) for name in PUBLISHED}


def fit_same(songs: Sequence[FormedSong]) -> dict[str, float]:
    """Weights of `PAIRS` for two sections having one letter."""
    rows, same = [], []
    for song in songs:
        spans = list(pairwise(song.edges))
        for one, other in combinations(range(len(spans)), 2):
            rows.append(pair_features(song.vectors, song.bars.loudness, spans[one], spans[other]))
            same.append(song.letters[one] == song.letters[other])
    weights = dict(zip(PAIRS, logistic(np.array(rows), np.array(same)).tolist(), strict=True))
    # More alike never speaks against.
    return {name: max(value, 0.0) if name in LIKENESS else value for name, value in weights.items()}


def starts_right(song: FormedSong, edges: Sequence[int]) -> np.ndarray:
    """Which starts of a division lie within half a beat of a true one."""
    found = song.bars.starts[list(edges[:-1])]
    return np.asarray(np.abs(found[:, None] - song.starts).min(axis=1) <= song.bars.beat / 2)


def divided(song: FormedSong, weights: Weights, *, stated: bool) -> tuple[list[int], list[np.ndarray]]:
    """Boundaries as the tool would find them, for the true names in order if `stated`; and their odds."""
    if not stated:
        worth = section_worth(song.vectors, song.signs, weights)
        edges = best_edges(worth)
        return edges, [boundary_odds(worth)] * (len(edges) - 2)
    form = [Part(name) for name in song.letters]
    longest = longest_part(form, len(song.bars))
    worth = section_worth(song.vectors, song.signs, weights, longest)
    asked = StatedForm(form, worth, song.vectors, song.bars.loudness, weights)
    edges = asked.edges()
    return edges, asked.odds(edges)


def fit_form(songs: Sequence[FormedSong], table: dict[str, dict[str, float]]) -> dict[str, float]:
    """How much it counts that parts of one name are alike: the value with most starts on the right bar."""

    def right(value: float) -> float:
        weights = Weights({**table, "form": {"equal_names": value}})
        return float(np.mean([starts_right(song, divided(song, weights, stated=True)[0]).mean() for song in songs]))

    found = {value: right(value) for value in EQUAL_NAMES}
    click.echo("form: " + ", ".join(f"{value:g} {share:.3f}" for value, share in found.items()))
    return {"equal_names": max(found, key=lambda value: found[value])}


def fit_sureness(songs: Sequence[FormedSong], weights: Weights, *, stated: bool) -> dict[str, float]:
    """Weights of `FEATURES` for a start being on the right bar line."""
    rows, right = [], []
    for song in songs:
        edges, odds = divided(song, weights, stated=stated)
        rows.append(sure_features(edges, odds, song.bars.confidence))
        right.append(starts_right(song, edges))
    x, yes = np.concatenate(rows), np.concatenate(right)
    fitted = logistic(x, yes)
    lines, gap = reliability(1 / (1 + np.exp(-x @ fitted)), yes)
    click.echo(
        "\n".join([f"{'stated' if stated else 'found'}: {len(x)}, right {yes.mean():.3f}, gap {gap:.3f}", *lines])
    )
    return dict(zip(FEATURES, fitted.tolist(), strict=True))


def fit(songs: Sequence[FormedSong]) -> dict[str, dict[str, float]]:
    """All numbers of `structure.json`."""
    table = fit_division(songs)
    table["same"] = fit_same(songs)
    table["form"] = fit_form(songs, table)
    for kind in ("found", "stated"):
        table[kind] = fit_sureness(songs, Weights(table), stated=kind == "stated")
    return {part: {name: round(value, 4) for name, value in values.items()} for part, values in table.items()}


def _song(path: Path, truth: dict[str, Any]) -> FormedSong | None:
    spectrum = hear(open_recording(path))
    return described(spectrum, *believed(spectrum), truth)


@click.command()
@click.argument("folders", nargs=-1, required=True, type=click.Path(exists=True, file_okay=False, path_type=Path))
@click.option("-o", "--output", default="structure.json", type=click.Path(path_type=Path))
@click.option("--jobs", default=1)
def main(folders: tuple[Path, ...], output: Path, jobs: int) -> None:
    """Fit on every recording of the folders that has a truth file."""
    songs = [song for song in of_each(folders, _song, jobs) if song is not None]
    output.write_text(json.dumps(fit(songs), indent=1) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
