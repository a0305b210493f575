"""Confidence of beats and bars: a probability, and what moves it."""

import json
from importlib import resources

import numpy as np
import pytest

from cuesuggest.analysis.rhythm import find_rhythm
from cuesuggest.analysis.rhythm.beat_confidence import (
    BAR_FEATURES,
    BEAT_FEATURES,
    bar_features,
    beat_features,
    confidences,
)
from cuesuggest.analysis.spectrum import hear
from cuesuggest.analysis.training.fit_confidence import fit, held_out, judge, reliability
from cuesuggest.sound.recording import open_recording


@pytest.fixture(scope="module")
def heard(take):
    return hear(open_recording(take.path))


def test_the_shipped_weights_name_every_feature():
    text = resources.files("cuesuggest.analysis.rhythm").joinpath("confidence.json").read_text(encoding="utf-8")
    weights = json.loads(text)
    assert (set(weights["beat"]), set(weights["bar"])) == (set(BEAT_FEATURES), set(BAR_FEATURES))


def test_a_small_band_that_plays_clearly_is_heard_with_confidence(heard):
    rhythm = find_rhythm(heard)
    beats = beat_features(rhythm.times, rhythm.grid, rhythm.evidence, rhythm.reading)
    firsts = np.flatnonzero(rhythm.grid.slots == 0)
    bars = bar_features(beats, firsts, rhythm.grid, rhythm.evidence)
    assert np.median(confidences("beat", beats)) > 0.95
    assert np.median(confidences("bar", bars)) > 0.9


def test_a_beat_without_evidence_is_less_sure():
    row = dict.fromkeys(BEAT_FEATURES, 0.0) | {"one": 1.0, "reading": 3.0, "music": 3.0}
    weak, strong = (np.array([list((row | {"beat": on, "around": on}).values())]) for on in (0.0, 4.0))
    assert confidences("beat", weak)[0] < confidences("beat", strong)[0]


@pytest.mark.parametrize("kind", ["beat", "bar"])
def test_beats_and_bars_inherit_the_doubt_about_the_whole_reading(kind, heard):
    rhythm = find_rhythm(heard)
    told = []
    for reading in (-3.0, 0.0, 4.0):
        rows = beat_features(rhythm.times, rhythm.grid, rhythm.evidence, reading)
        if kind == "bar":
            rows = bar_features(rows, np.flatnonzero(rhythm.grid.slots == 0), rhythm.grid, rhythm.evidence)
        told.append(confidences(kind, rows).mean())
    assert told[0] < told[1] < told[2]
    assert kind == "beat" or told[0] < 0.7, "a reading that is likely wrong has no sure bars, however clear they look"


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
    rhythm = find_rhythm(heard)
    found = judge(rhythm, truth)
    assert found.right
    assert found.bars[1].mean() > 0.9
    late = judge(rhythm, truth | {"downbeats": take.beats[1::4].tolist()})
    assert not late.right
    assert late.bars[1].mean() < 0.1
    assert late.beats[1].mean() > 0.9
    doubled = truth | {"beats": np.sort([*take.beats, *(take.beats[:-1] + np.diff(take.beats) / 2)]).tolist()}
    assert judge(rhythm, doubled).bars[1].mean() < 0.1


def test_readings_are_judged_by_weights_that_have_not_seen_their_song():
    rng = np.random.default_rng(2)
    songs = np.repeat(np.arange(40), 2)
    mark = rng.normal(size=40)[songs]
    right = rng.random(40)[songs] < 0.5  # nothing tells which is right
    x = np.stack([mark, np.ones(80)], axis=1)
    odds = held_out(x, right, songs % 8)
    seen = x @ fit(x, right)
    assert np.corrcoef(seen, right)[0, 1] > 0.05
    assert np.corrcoef(odds, right)[0, 1] < 0.05
