"""How the weights of events are fitted: what counts as right, and that the shipped table fits the finders."""

import numpy as np
import pytest

from cuesuggest.analysis.finding.likely import event_weights, probability
from cuesuggest.analysis.finding.scene import Candidate
from cuesuggest.analysis.rhythm import find_rhythm
from cuesuggest.analysis.rhythm.evidence import observe
from cuesuggest.analysis.rhythm.network import heads_of
from cuesuggest.analysis.spectrum import hear
from cuesuggest.analysis.training.fit_events import ENTRIES, TaughtSong, fit_entries, matched
from cuesuggest.sound.recording import open_recording
from tests.sounds import play


@pytest.fixture(scope="module")
def song(tmp_path_factory):
    path = tmp_path_factory.mktemp("moments") / "song.wav"
    take = play(path, "A8 B8 A8", lead=4.0, count_in=True, stop_bar=15)
    spectrum = hear(open_recording(path))
    logits = heads_of(spectrum)
    stop = float(take.downbeats[15])
    truth = {
        "beats": take.beats.tolist(),
        "downbeats": take.downbeats.tolist(),
        "music_start": float(take.beats[0]),
        "music_end": float(take.beats[-1]) + 3,
        "made": {},
        "events": [
            {"kind": "stop", "start": stop, "end": float(take.downbeats[16])},
            {"kind": "count-in", "start": 4.0, "end": float(take.beats[0])},
        ],
    }
    return TaughtSong(spectrum, logits, find_rhythm(spectrum, observe(spectrum, logits)), truth)


def test_a_candidate_is_right_if_start_and_end_are_close_enough():
    spans = [(10.0, 12.0)]
    candidates = [Candidate("stop", start, end, {"k": start}) for start, end in ((10.4, 12.0), (10.6, 12.0), (10, 13))]
    assert [right for _, right in matched(candidates, spans, 0.5, 0.5)] == [True, False, False]
    assert [right for _, right in matched(candidates, spans, 0.5)] == [True, False, True]


def test_every_entry_is_in_the_shipped_table():
    assert set(ENTRIES) <= set(event_weights())


@pytest.mark.parametrize("name", ["count-in", "talk sound", "crowd sound", "stop", "struck", "hit", "ring-out"])
def test_the_finders_measure_what_the_table_weighs(song, name):
    judge, _ = ENTRIES[name]
    judged = judge(song)
    assert judged
    assert set(event_weights()[name]) - {"one"} <= set(judged[0][0])
    assert all(np.isfinite(list(features.values())).all() for features, _ in judged)


def test_the_true_stop_and_count_in_are_among_the_candidates(song):
    assert any(right for _, right in ENTRIES["stop"][0](song))
    assert any(right for _, right in ENTRIES["count-in"][0](song))


def test_fitting_makes_what_is_right_surer_than_what_is_not(song, monkeypatch):
    table = event_weights()
    monkeypatch.setitem(table, "stop", dict.fromkeys(table["stop"], 0.0))
    fit_entries([song], "stop")
    judged = ENTRIES["stop"][0](song)
    told = [(probability(Candidate("stop", 0.0, 0.0, features)), right) for features, right in judged]
    assert min(p for p, right in told if right) > max((p for p, right in told if not right), default=0.0)


def test_what_does_not_occur_keeps_its_weights(song, monkeypatch):
    before = dict(event_weights()["pause"])
    fit_entries([song], "pause")
    assert event_weights()["pause"] == before
