"""Confidence of beats and bars: a probability, and what moves it."""

import json
from importlib import resources

import numpy as np
import pytest

from cuesuggest.analysis.rhythm import find_rhythm
from cuesuggest.analysis.rhythm.confidence import BAR_FEATURES, BEAT_FEATURES, bar_features, beat_features, sure
from cuesuggest.analysis.spectrum import hear
from cuesuggest.recording import open_recording
from cuesuggest.training.confidence import fit, judged, reliability


@pytest.fixture(scope="module")
def heard(take):
    return hear(open_recording(take.path))


def test_the_shipped_weights_name_every_feature():
    text = resources.files("cuesuggest.analysis.rhythm").joinpath("confidence.json").read_text(encoding="utf-8")
    weights = json.loads(text)
    assert (set(weights["beat"]), set(weights["bar"])) == (set(BEAT_FEATURES), set(BAR_FEATURES))


def test_a_small_band_that_plays_clearly_is_heard_with_confidence(heard):
    rhythm = find_rhythm(heard)
    beats = beat_features(rhythm.times, rhythm.grid, rhythm.evidence, rhythm.others)
    firsts = np.flatnonzero(rhythm.grid.slots == 0)
    bars = bar_features(beats, firsts, rhythm.grid, rhythm.evidence, rhythm.shifts)
    assert np.median(sure("beat", beats)) > 0.95
    assert np.median(sure("bar", bars)) > 0.9


def test_a_beat_without_evidence_is_less_sure():
    row = dict.fromkeys(BEAT_FEATURES, 0.0) | {"one": 1.0, "level": 5.0, "music": 3.0}
    weak, strong = (np.array([list((row | {"beat": on, "around": on}).values())]) for on in (0.0, 4.0))
    assert sure("beat", weak)[0] < sure("beat", strong)[0]


def test_fitting_finds_the_odds_it_was_given():
    rng = np.random.default_rng(1)
    x = np.stack([rng.normal(size=20000), np.ones(20000)], axis=1)
    right = rng.random(20000) < 1 / (1 + np.exp(-(1.5 * x[:, 0] + 0.5)))
    w = fit(x, right)
    assert w == pytest.approx([1.5, 0.5], abs=0.15)
    assert reliability(1 / (1 + np.exp(-x @ w)), right)[1] < 0.03


def test_reliability_tells_a_boast():
    lines, gap = reliability(np.full(100, 0.93), np.arange(100) < 50)
    assert gap == pytest.approx(0.43)
    assert "marked 0.930, right 0.500" in lines[0]


def test_judging_counts_a_bar_as_right_only_with_both_ends_and_all_beats(heard, take):
    truth = {
        "beats": take.beats.tolist(),
        "downbeats": take.downbeats.tolist(),
        "ignore": [[0, float(take.beats[0]) - 0.1]],
    }
    found = judged(heard, truth)
    assert found["bar"][1].mean() > 0.9
    late = truth | {"downbeats": take.beats[1::4].tolist()}
    assert judged(heard, late)["bar"][1].mean() < 0.1
    doubled = truth | {"beats": np.sort([*take.beats, *(take.beats[:-1] + np.diff(take.beats) / 2)]).tolist()}
    assert judged(heard, doubled)["bar"][1].mean() < 0.1
