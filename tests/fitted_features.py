"""What weights and costs were fitted to, measured on two recordings: evidence, and features of all kinds.

    python -m tests.fitted_features

writes `tests/data/fitted_features.json` anew: after the weights were fitted anew to features measured otherwise.
"""

from __future__ import annotations

import json
import tempfile
from collections.abc import Iterable, Mapping
from itertools import combinations, pairwise
from pathlib import Path

import numpy as np
import soundfile

from cuesuggest.analysis.bars.attempts import attempts
from cuesuggest.analysis.bars.numbering import NumberedBars, possible_counts
from cuesuggest.analysis.energy import bar_energy
from cuesuggest.analysis.events.builds import breakdown_candidates, build_lines
from cuesuggest.analysis.events.ending import ending_candidates, ritardando_candidates
from cuesuggest.analysis.events.gaps import find_gaps
from cuesuggest.analysis.events.pauses import pause_candidates
from cuesuggest.analysis.events.stops import hit_candidates
from cuesuggest.analysis.events.talk import find_crowd, find_talk
from cuesuggest.analysis.events.voice import voice_features
from cuesuggest.analysis.finding.scene import Candidate
from cuesuggest.analysis.finding.talk_signs import sound_features
from cuesuggest.analysis.frames import HEADS
from cuesuggest.analysis.rhythm import find_rhythm
from cuesuggest.analysis.rhythm.beat_confidence import BAR_FEATURES, BEAT_FEATURES, bar_features, beat_features
from cuesuggest.analysis.rhythm.doubt import READING_FEATURES
from cuesuggest.analysis.rhythm.evidence import downbeat_features, flux, observe
from cuesuggest.analysis.rhythm.level import FEATURES as LEVEL_FEATURES
from cuesuggest.analysis.rhythm.level import level_features
from cuesuggest.analysis.rhythm.music import (
    PULSE_FEATURES,
    SONG_FEATURES,
    counted_through,
    pulse_features,
    song_features,
)
from cuesuggest.analysis.rhythm.network import heads_of
from cuesuggest.analysis.rhythm.tempo import attack_times
from cuesuggest.analysis.spectrum import FRAME_RATE, hear
from cuesuggest.analysis.structure import SongBars
from cuesuggest.analysis.structure.bar_vectors import bar_vectors
from cuesuggest.analysis.structure.boundary_signs import SIGNS, line_signs
from cuesuggest.analysis.structure.divide import SOUNDS, best_edges, boundary_odds, section_sounds, section_worth
from cuesuggest.analysis.structure.letters import PAIRS, pair_features
from cuesuggest.analysis.structure.section_confidence import sure_features
from cuesuggest.analysis.structure.weights import shipped
from cuesuggest.sound.recording import open_recording
from tests.sounds import RATE, applause, babble, play

TABLE = Path(__file__).parent / "data" / "fitted_features.json"
SAMPLE = Path(__file__).parent.parent / "samples" / "first_light.ogg"
ROWS = 8  # of a kind, spread over the song

Rows = list[dict[str, float]]


def evening(folder: Path) -> Path:
    """A false start, talk, sticks, a song with a silent bar, a pause with talk in it, the song's end, applause."""

    def played(form: str, **given: object) -> np.ndarray:
        path = folder / "part.wav"
        play(path, form, **given)
        return soundfile.read(path)[0]

    def quiet(seconds: float) -> np.ndarray:
        return np.zeros(int(seconds * RATE))

    broken = played("B8", count_in=True)[: int(10.2 * RATE)]
    first = played("B8 A8 C8 B8 A8", lead=0.2, count_in=True, stop_bar=15, tail=0.5)
    again = played("C8 B8", lead=0.3, tail=3.0)
    parts = [broken, quiet(1.5), babble(4), quiet(1), first, quiet(1), babble(5, seed=3), quiet(1.5), again]
    sound = np.concatenate([*parts, 0.4 * applause(5, claps=250), quiet(1)])
    sound += np.random.default_rng(3).standard_normal(len(sound)) * 1e-4
    path = folder / "evening.wav"
    soundfile.write(path, sound.astype(np.float32), RATE)
    return path


def measured(path: Path) -> dict[str, Rows]:
    """Features of a recording, by the table or the entry whose weights they are for; and how far beats are moved."""
    spectrum = hear(open_recording(path))
    logits = heads_of(spectrum)
    observed = observe(spectrum, logits)
    rhythm = find_rhythm(spectrum, observed)
    numbered = NumberedBars(spectrum, rhythm, None)
    scene, grid, evidence = numbered.scene(logits), numbered.rhythm.grid, numbered.rhythm.evidence
    energy = bar_energy(spectrum, scene.starts, scene.ends, logits)
    song = numbered.numbers >= 1
    bars = SongBars(
        numbered.numbers[song], numbered.starts[song], numbered.ends[song], energy.loudness[song],
        numbered.confidence[song], numbered.beat,
    )  # fmt: skip
    vectors = bar_vectors(spectrum, bars, flux(spectrum.bands))
    signs = line_signs(spectrum, logits, bars, vectors)
    worth = section_worth(vectors, signs, shipped())
    edges = best_edges(worth)
    pairs = [pair_features(vectors, bars.loudness, *two) for two in combinations(list(pairwise(edges)), 2)]
    odds = [boundary_odds(worth)] * (len(edges) - 2)
    beats = beat_features(numbered.rhythm.times, grid, evidence, rhythm.reading)
    ones = np.flatnonzero(grid.slots == 0)
    gaps = find_gaps(scene)
    whole = [(spectrum.start, spectrum.end)]
    first = int(np.flatnonzero(rhythm.grid.slots == 0)[0])
    lines = build_lines(scene, energy)
    early = spectrum.start + grid.frames / FRAME_RATE
    attacks, clear = attack_times(grid.frames, spectrum.bands)
    heard = ("beat", "downbeat", "music", "onset", "opens", "heard", "high")
    found = {
        "evidence": columns({name: getattr(observed, name) for name in heard}),
        "attack": columns({"after": attacks - grid.frames, "clear": clear}),
        "time": columns({"after": 50 * (numbered.rhythm.times - early)}),
        "downbeat": named(downbeat_features(spectrum, flux(spectrum.bands))),
        "beat": named(beats, BEAT_FEATURES),
        "bar": named(bar_features(beats, ones, grid, evidence), BAR_FEATURES),
        "reading": named(rhythm.features[None], READING_FEATURES),
        "level": named(level_features(grid, evidence)[None], LEVEL_FEATURES),
        "pulse": named(pulse_features(spectrum, evidence, counted_through(evidence)), PULSE_FEATURES),
        "song": named(song_features(grid, evidence)[None], SONG_FEATURES),
        "drive": columns(energy.measures),
        "sound": columns(sound_features(spectrum, logits[HEADS.index("music")])),
        "voice": columns(voice_features(scene)),
        "signs": named(signs, SIGNS),
        "sounds": named(section_sounds(vectors, 0, len(bars), 16)[:, 2::3].reshape(-1, 3), SOUNDS),
        "same": named(np.array(pairs), PAIRS),
        "sure": named(sure_features(edges, odds, bars.confidence)),
        "false-start": candidates(each.candidate for each in attempts(spectrum, rhythm.times, rhythm.grid.runs)),
        "count-in": candidates(count.candidate for count in possible_counts(spectrum, rhythm, first)),
        "pause": candidates(pause_candidates(scene)),
        "talk": candidates(find_talk(scene.heard, whole)),
        "crowd": candidates(find_crowd(scene.heard, whole)),
        "stop": [dict(gap.features) for gap in gaps],
        "hit": candidates(hit_candidates(scene, gaps)),
        "ending": candidates(ending_candidates(scene) + ritardando_candidates(scene)),
        "build": candidates(line.build for line in lines),
        "drop": candidates(line.drop for line in lines),
        "build length": [features for line in lines for features in line.lengths.values()],
        "breakdown": candidates(breakdown_candidates(scene, energy)),
    }
    return {kind: spread(rows) for kind, rows in found.items()}


def named(table: np.ndarray, names: Iterable[str] = ()) -> Rows:
    names = list(names) or [str(k) for k in range(table.shape[1])]
    return [dict(zip(names, map(float, row), strict=True)) for row in table]


def columns(values: Mapping[str, np.ndarray]) -> Rows:
    return named(np.stack(list(values.values()), axis=1), values)


def candidates(found: Iterable[Candidate]) -> Rows:
    return [dict(each.features) for each in found]


def spread(rows: Rows) -> Rows:
    """Some of the rows, from the first to the last, and the mean of all."""
    if not rows:
        return []
    chosen = [rows[round(k)] for k in np.linspace(0, len(rows) - 1, min(ROWS, len(rows)))]
    mean = {name: float(np.mean([row[name] for row in rows])) for name in rows[0]}
    return [{name: round(float(value), 4) for name, value in row.items()} for row in (*chosen, mean)]


def recordings(folder: Path) -> list[Path]:
    """Both recordings; the one that is played is written into a folder."""
    return [evening(folder), SAMPLE]


if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as made:
        tables = {path.stem: measured(path) for path in recordings(Path(made))}
    lines = [
        f' "{name}": {{\n' + ",\n".join(f'  "{kind}": {json.dumps(rows)}' for kind, rows in kinds.items()) + "\n }"
        for name, kinds in tables.items()
    ]
    TABLE.write_text("{\n" + ",\n".join(lines) + "\n}\n", encoding="utf-8")
