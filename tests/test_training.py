"""How the shipped numbers are fitted: what is taught, and that fitting finds what is there."""

import json
from importlib import resources
from pathlib import Path

import numpy as np
import pytest
import soundfile
from click.testing import CliRunner

from cuesuggest.analysis.rhythm.evidence import downbeat_features, flux
from cuesuggest.analysis.rhythm.level import FEATURES
from cuesuggest.analysis.rhythm.network import NETWORKS
from cuesuggest.analysis.spectrum import FRAME_RATE, hear
from cuesuggest.analysis.training import fit_evidence as fitting
from cuesuggest.analysis.training import fit_level as level_fitting
from cuesuggest.analysis.training import fit_music as music_fitting
from cuesuggest.sound.recording import open_recording
from tests.sounds import RATE, play

SHIPPED = resources.files("cuesuggest.analysis.rhythm")


@pytest.fixture(scope="module")
def spectrum(take):
    return hear(open_recording(take.path))


def truth_of(take, end):
    return {
        "beats": take.beats.round(4).tolist(),
        "downbeats": take.downbeats.round(4).tolist(),
        "tempo_bpm": 112.0,
        "music_start": float(take.beats[0]),
        "music_end": end,
        "events": [],
        "ignore": [[0, float(take.beats[0]) - 0.05]],
    }


def test_beats_are_taught_and_nothing_else(take, spectrum):
    known = fitting.labels(truth_of(take, 88.0), spectrum)
    frames = np.rint(take.beats * FRAME_RATE).astype(int)
    assert (known[frames] == (np.arange(len(frames)) % 4 == 0)).all()
    assert (np.delete(known, frames) == -1).all()


def test_what_is_to_be_ignored_teaches_nothing(take, spectrum):
    truth = truth_of(take, 88.0) | {"ignore": [[0, float(take.beats[8]) + 0.1]]}
    known = fitting.labels(truth, spectrum)
    assert (known[spectrum.seconds < take.beats[8] + 0.1] == -1).all()


def test_logistic_regression_finds_the_log_odds_of_two_gaussians():
    rng = np.random.default_rng(6)
    # Means 0 and 2, spread 1: the log-likelihood ratio is 2 x - 2, whatever the share of the classes.
    no, yes = rng.normal(0, 1, (40000, 1)), rng.normal(2, 1, (4000, 1))
    weights = fitting.fit(np.concatenate([no, yes]).astype(np.float32), np.arange(44000) >= 40000)
    assert weights == pytest.approx([2.0, -2.0], abs=0.12)


def test_shipped_weights_have_a_number_for_every_feature(spectrum):
    weights = dict(np.load(str(SHIPPED / "evidence.npz")))
    groups = flux(spectrum.bands)
    assert weights["downbeat"].shape == (downbeat_features(spectrum, groups).shape[1] + 1,)
    tables = json.loads((SHIPPED / "level.json").read_text())
    assert set(tables) == set(NETWORKS)
    assert all(set(table) == set(FEATURES) for table in tables.values())


def test_degraded_copies_of_a_song_are_held_out_together_with_it():
    names = [fitting.song_name(Path(name)) for name in ("a.flac", "b.flac", "a_copy1.ogg", "c.wav", "b_copy2.ogg")]
    assert names == ["a", "b", "a", "c", "b"]
    assert fitting.folds_of(names, 2).tolist() == [0, 1, 0, 0, 1]


def measured(path, truth):
    return path.name, truth["tempo_bpm"]


def test_recordings_are_measured_in_order_whatever_the_processes(tmp_path):
    for folder in ("one", "two"):
        (tmp_path / folder).mkdir()
        for name, bpm in (("b", 90), ("a", 120)):
            (tmp_path / folder / f"{name}.wav").touch()
            (tmp_path / folder / f"{name}.json").write_text(json.dumps({"tempo_bpm": bpm}))
        (tmp_path / folder / "no truth.wav").touch()
    folders = [tmp_path / "one", tmp_path / "two"]
    expected = [("a.wav", 120), ("b.wav", 90)] * 2
    assert fitting.of_each(folders, measured) == expected
    assert fitting.of_each(folders, measured, jobs=2) == expected


def test_music_sounds_in_attempts_and_between_pauses_and_nowhere_else():
    truth = {
        "beats": [10.0],
        "music_start": 10.0,
        "music_end": 90.0,
        "events": [{"kind": "pause", "start": 40.0, "end": 50.0}, {"kind": "stop", "start": 60.0, "end": 61.0}],
        "attempts": [{"start": 1.0, "end": 5.0}],
    }
    assert music_fitting.music_spans(truth) == [(1.0, 5.0), (10.0, 40.0), (50.0, 90.0)]
    assert music_fitting.music_spans(truth | {"beats": []}) == []


def test_an_excerpt_is_the_recording_from_there_on(spectrum):
    part = music_fitting.part(spectrum, 10.0, 8.0)
    assert (part.start, part.end, len(part.bands)) == (0.0, 8.0, 400)
    assert (part.bands == spectrum.bands[500:900]).all()
    assert len(part.chroma) == 80


def test_level_fitting_learns_which_feature_tells_the_right_level():
    rng = np.random.default_rng(7)
    cases = []
    for _ in range(200):
        rows, right = rng.normal(size=(4, 3)), np.zeros(4, bool)
        right[0] = True
        rows[0, 1] += 4
        cases.append((rows, right))
    weights = level_fitting.fit(cases)
    assert weights[1] > 5 * max(abs(weights[0]), abs(weights[2]))
    assert level_fitting.share_right(cases, weights) > 0.9


def test_the_scripts_run_on_a_folder_and_the_second_says_when_it_is_too_small(tmp_path):
    for name, bpm in (("one", 100.0), ("two", 126.0)):
        played = play(tmp_path / f"{name}.wav", "A4 B8", bpm=bpm)
        truth = truth_of(played, 20.0) | {"tempo_bpm": bpm}
        (tmp_path / f"{name}.json").write_text(json.dumps(truth))
    rng = np.random.default_rng(1)
    soundfile.write(tmp_path / "noise.wav", (rng.standard_normal(RATE * 8) * 0.1).astype(np.float32), RATE)
    (tmp_path / "noise.json").write_text(json.dumps({"beats": [], "downbeats": [], "tempo_bpm": None}))
    words = [str(tmp_path), "-o"]
    done = CliRunner().invoke(fitting.main, [*words, str(tmp_path / "evidence.npz")], catch_exceptions=False)
    assert done.exit_code == 0
    assert set(np.load(tmp_path / "evidence.npz")) == {"downbeat"}
    done = CliRunner().invoke(level_fitting.main, [*words, str(tmp_path / "level.json")])
    assert done.exit_code == 1
    assert "2 recordings" in done.output
    assert not (tmp_path / "level.json").exists()
