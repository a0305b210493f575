"""The whole analysis on sound with a known truth."""

import mir_eval
import numpy as np
import pytest
import soundfile

import cuesuggest
from tests.sounds import RATE, play


@pytest.fixture(scope="module")
def heard(take):
    return cuesuggest.analyze(take.path)


def song_beats(analysis):
    """Beats of the song itself, the count-in left out."""
    first = next(bar.start for bar in analysis.bars if bar.number == 1)
    return np.array([beat for beat in analysis.beats if beat >= first - 1e-3])


def song_downbeats(analysis):
    return np.array([bar.start for bar in analysis.bars if bar.number >= 1])


def test_beats_and_downbeats_of_a_plain_band_are_found(take, heard):
    assert mir_eval.beat.f_measure(take.beats, song_beats(heard)) >= 0.98
    assert mir_eval.beat.f_measure(take.downbeats, song_downbeats(heard)) >= 0.95


def test_a_steady_tempo_is_shown_to_a_fifth_of_a_beat_a_minute(heard):
    assert heard.tempo_bpm == pytest.approx(112.0, abs=0.2)
    assert (heard.meter, heard.time_signature) == (4, "4/4")


def test_bar_1_comes_after_the_count_in(take, heard):
    counted = [event for event in heard.events if event.kind == "count-in"]
    assert len(counted) == 1
    assert counted[0].start == pytest.approx(1.0, abs=0.07)
    assert next(bar.start for bar in heard.bars if bar.number == 1) == pytest.approx(take.downbeats[0], abs=0.05)
    assert [bar.number for bar in heard.bars][:2] == [0, 1]


def test_sections_start_on_the_bars_where_the_band_changes(take, heard):
    starts = {section.first_bar - 1 for section in heard.sections}
    assert {0, 8, 16, 24} <= starts
    letters = {section.first_bar - 1: section.label[0] for section in heard.sections}
    assert letters[0] == letters[16]
    assert letters[8] == letters[24]
    assert letters[0] != letters[8]


def test_a_silent_bar_is_a_stop(take, heard):
    stops = [event for event in heard.events if event.kind == "stop"]
    assert len(stops) == 1
    silent = take.downbeats[31]
    assert silent - 0.3 <= stops[0].start <= silent + 0.7
    assert stops[0].end == pytest.approx(take.downbeats[32], abs=0.08)


def test_full_sections_drive_more_than_thin_ones(heard):
    drive = {bar.number: bar.drive for bar in heard.bars}
    thin, full = np.mean([drive[n] for n in range(2, 8)]), np.mean([drive[n] for n in range(10, 16)])
    assert full > thin + 0.1


def test_the_last_chord_rings_out(take, heard):
    ring = [event for event in heard.events if event.kind == "ring-out"]
    assert len(ring) == 1
    assert ring[0].start == pytest.approx(take.beats[-1], abs=0.1)
    assert heard.music_end == pytest.approx(ring[0].end)


def test_every_bar_lies_between_its_beats_and_bars_follow_one_another(heard):
    for bar, following in zip(heard.bars, heard.bars[1:], strict=False):
        assert bar.end == following.start
        assert following.number == bar.number + 1
        inside = [beat for beat in heard.beats if bar.start <= beat < bar.end]
        assert len(inside) == bar.beats


def test_two_seconds_of_silence_in_front_move_everything_by_two_seconds(tmp_path, take, heard):
    sound, rate = soundfile.read(take.path, dtype="float32")
    soundfile.write(tmp_path / "later.wav", np.concatenate([np.zeros(2 * rate, np.float32), sound]), rate)
    later = cuesuggest.analyze(tmp_path / "later.wav")
    assert np.array(later.beats) == pytest.approx(np.array(heard.beats) + 2, abs=0.012)
    assert [s.first_bar for s in later.sections] == [s.first_bar for s in heard.sections]


def test_6_db_quieter_moves_no_beat(tmp_path, take, heard):
    sound, rate = soundfile.read(take.path, dtype="float32")
    soundfile.write(tmp_path / "quiet.wav", sound * 0.5, rate)
    assert np.array(cuesuggest.analyze(tmp_path / "quiet.wav").beats) == pytest.approx(np.array(heard.beats), abs=0.012)


def test_the_same_recording_gives_the_same_analysis_again(take, heard):
    assert cuesuggest.analyze(take.path) == heard


def test_a_window_hears_only_its_part_but_counts_from_the_files_start(take):
    part = cuesuggest.analyze(take.path, start=20.0, end=50.0)
    assert min(part.beats) >= 20.0
    assert max(part.beats) <= 50.0
    inside = take.beats[(take.beats >= 20.0) & (take.beats <= 50.0)]
    assert mir_eval.beat.f_measure(inside, np.array(part.beats)) >= 0.9


@pytest.mark.parametrize("bpm", [76.0, 96.0, 132.0, 150.0])
def test_the_felt_tempo_of_a_plain_band_is_found(tmp_path, bpm):
    played = play(tmp_path / "band.wav", "A4 B8 A4 B4", bpm=bpm)
    assert cuesuggest.analyze(played.path).tempo_bpm == pytest.approx(bpm, rel=0.01)


def nothing_musical():
    rng = np.random.default_rng(8)
    time = np.arange(20 * RATE) / RATE
    return {
        "silence": np.zeros(20 * RATE),
        "white noise": rng.standard_normal(20 * RATE) * 0.1,
        "one held tone": 0.3 * np.sin(2 * np.pi * 220 * time),
    }


@pytest.mark.parametrize("name", nothing_musical())
def test_where_there_is_no_music_none_is_told(tmp_path, name):
    soundfile.write(tmp_path / "a.wav", nothing_musical()[name].astype(np.float32), RATE)
    found = cuesuggest.analyze(tmp_path / "a.wav")
    assert found.beats == ()
    assert found.bars == ()
    assert found.sections == ()
    assert found.music_start is None
    assert "No music" in found.remarks[0]
