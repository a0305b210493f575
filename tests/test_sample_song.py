"""The bundled sample through the whole program, against its truth."""

import mir_eval
import numpy as np

from cuesuggest.rules import check_playable, load_rig


def test_beats_of_the_sample_are_found(sample_song, sample_truth):
    # The count-in is no part of the song's beats: the truth begins with bar 1.
    first = next(bar.start for bar in sample_song.analysis.bars if bar.number == 1)
    found = np.array([beat for beat in sample_song.analysis.beats if beat >= first - 1e-3])
    assert mir_eval.beat.f_measure(np.array(sample_truth["beats"]), found) >= 0.90


def test_bar_1_of_the_sample_is_where_the_song_begins(sample_song, sample_truth):
    first = next(bar.start for bar in sample_song.analysis.bars if bar.number == 1)
    assert abs(first - sample_truth["downbeats"][0]) <= 0.07


def test_the_stop_and_the_ring_out_of_the_sample_are_heard(sample_song, sample_truth):
    for kind in ("stop", "ring-out", "count-in"):
        true = next(event for event in sample_truth["events"] if event["kind"] == kind)
        assert any(
            event.kind == kind and abs(event.start - true["start"]) <= 1.2 for event in sample_song.analysis.events
        ), kind


def test_the_draft_of_the_sample_can_be_played_and_says_why(sample_song):
    assert sample_song.cues
    assert check_playable(sample_song.cues, load_rig(None)) == []
    assert all(cue.reasons for cue in sample_song.cues)
    assert any(cue.kind == "recall" for cue in sample_song.cues)
    assert sample_song.cues[-1].kind in ("fade-out", "cut-out")
