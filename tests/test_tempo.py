"""Where beats fall between frames, and how their tempo is told."""

from itertools import pairwise

import mir_eval
import numpy as np
import pytest
import soundfile
from hypothesis import given, settings
from hypothesis import strategies as st

from cuesuggest import analyze
from cuesuggest.analysis.rhythm import find_rhythm
from cuesuggest.analysis.rhythm.tempo import attack_times, smooth_times, tempo_knots
from cuesuggest.analysis.spectrum import FRAME_RATE, hear
from cuesuggest.sound.recording import open_recording
from tests.sounds import RATE, beats_at, drum_loop, metronome, play

FEW = settings(max_examples=6, deadline=None)
EVEN = np.ones(40)


@pytest.fixture(scope="module")
def loop(tmp_path_factory):
    """Twenty seconds of drums at 117.3 BPM, and their samples."""
    played = drum_loop(tmp_path_factory.mktemp("loop") / "loop.wav", beats_at(np.full(39, 117.3)))
    return played, soundfile.read(played.path, dtype="float32")[0]


def beats_of(path):
    return find_rhythm(hear(open_recording(path))).times


def errors(truth, found):
    """Signed distances in milliseconds of the beats that were found to the true ones."""
    pairs = mir_eval.util.match_events(truth, found, 0.07)
    return 1000 * np.array([found[k] - truth[i] for i, k in pairs])


@pytest.mark.parametrize("bpm", np.linspace(50, 200, 13))
def test_a_steady_metronome_shows_its_tempo_to_a_tenth(tmp_path, bpm):
    played = metronome(tmp_path / "ticks.wav", beats_at(np.full(63, bpm)))
    found = analyze(played.path)
    # Ticks alone do not say whether they are beats or half beats.
    level = bpm / (2 if bpm > 130 and found.tempo_bpm < 0.6 * bpm else 1)
    assert found.tempo_bpm == pytest.approx(level, abs=0.1)
    assert [knot.bpm for knot in found.tempo_map] == pytest.approx([level], abs=0.1)
    assert abs(np.median(errors(played.beats, np.array(found.beats)))) < 3


@pytest.mark.parametrize("bpm", [93.0, 122.7, 141.0])
def test_a_steady_drummer_is_still_met_at_bar_97(tmp_path, bpm):
    played = drum_loop(tmp_path / "drums.wav", beats_at(np.full(4 * 100 - 1, bpm)))
    found = analyze(played.path)
    assert found.tempo_bpm == pytest.approx(bpm, abs=0.1)
    late = next(bar for bar in found.bars if bar.number == 97)
    assert late.start == pytest.approx(played.downbeats[96], abs=0.02)


@pytest.mark.parametrize("form", ["A6 A6", "B6 B6", "C6 C6"])
def test_beats_of_a_band_are_neither_early_nor_late(tmp_path, form):
    played = play(tmp_path / "band.wav", form, bpm=104.0)
    late = errors(played.beats, beats_of(played.path))
    assert len(late) > 40
    assert abs(np.median(late)) < 3


def test_beats_of_the_samples_are_neither_early_nor_late(sample_path, sample_truth):
    assert abs(np.median(errors(np.array(sample_truth["beats"]), beats_of(sample_path)))) < 3


@FEW
@given(gain=st.floats(0.02, 1.9), upside_down=st.booleans())
def test_neither_gain_nor_polarity_moves_a_beat(tmp_path_factory, loop, gain, upside_down):
    path = tmp_path_factory.mktemp("gain") / "a.wav"
    soundfile.write(path, loop[1] * np.float32(-gain if upside_down else gain), RATE, subtype="FLOAT")
    assert beats_of(path) == pytest.approx(beats_of(loop[0].path), abs=0.005)


@FEW
@given(seconds=st.floats(0.3, 9.0))
def test_silence_in_front_moves_all_beats_by_its_length(tmp_path_factory, loop, seconds):
    path = tmp_path_factory.mktemp("silence") / "a.wav"
    count = round(seconds * RATE)
    soundfile.write(path, np.concatenate([np.zeros(count, np.float32), loop[1]]), RATE, subtype="FLOAT")
    assert beats_of(path) == pytest.approx(beats_of(loop[0].path) + count / RATE, abs=0.005)


@pytest.mark.parametrize("rate", [32000, 44100, 48000])
def test_another_sample_rate_moves_no_beat(tmp_path, loop, rate):
    import soxr

    soundfile.write(tmp_path / "a.wav", soxr.resample(loop[1], RATE, rate), rate, subtype="FLOAT")
    assert beats_of(tmp_path / "a.wav") == pytest.approx(beats_of(loop[0].path), abs=0.005)


def strokes(at, frames=400, level=4.0):
    """Bands in which an attack rises at a place between frames, as a window of five frames sees it."""
    away = np.arange(frames)[:, None] - np.asarray(at)
    return np.repeat(level * np.exp(-0.5 * (away / 1.2) ** 2).max(axis=1)[:, None], 64, axis=1)


def test_attacks_are_placed_between_frames(tmp_path):
    times = 1.0 + np.cumsum(np.random.default_rng(7).uniform(0.35, 0.7, 80))
    bands = hear(open_recording(drum_loop(tmp_path / "a.wav", times).path)).bands
    places, clear = attack_times(np.rint(times * FRAME_RATE).astype(int), bands)
    late = 1000 * (places / FRAME_RATE - times)
    assert abs(np.median(late)) < 3
    assert np.abs(late - np.median(late)).max() < 8
    assert (clear > 0.4).all()


def test_where_nothing_rises_the_frame_stands_and_is_told_as_unclear():
    bands = strokes([100.0, 150.0, 200.0])
    places, clear = attack_times(np.array([100, 150, 200, 300]), bands)
    assert places[3] == 300
    assert clear.tolist() == [1, 1, 1, 0]


def test_scatter_is_smoothed_and_one_stray_beat_drags_no_other():
    even = 0.5 * np.arange(40)
    scattered = even + np.random.default_rng(2).normal(0, 0.008, 40)
    scattered[20] += 0.09
    smooth = smooth_times(scattered, np.arange(40.0), EVEN)
    assert np.abs(smooth - even).max() < 0.025
    assert np.sqrt(np.mean((smooth - even) ** 2)) < 0.6 * 0.008 * 1.2


def test_a_beat_without_an_attack_counts_little():
    even = 0.5 * np.arange(40)
    blurred, weights = even.copy(), EVEN.copy()
    blurred[10:13] += 0.02
    weights[10:13] = 0.05
    assert np.abs(smooth_times(blurred, np.arange(40.0), weights) - even).max() < 0.003


def test_a_jump_of_tempo_stays_where_it_is():
    times = beats_at(np.r_[np.full(20, 120.0), np.full(19, 143.0)])
    assert smooth_times(times, np.arange(40.0), EVEN) == pytest.approx(times, abs=1e-6)


def test_uneven_beats_are_on_a_straight_line_when_plain_beats_are_counted():
    places = np.concatenate([[0.0], np.cumsum(np.tile([1, 1, 1.5], 14))[:39]])
    assert smooth_times(0.4 * places, places, EVEN) == pytest.approx(0.4 * places, abs=1e-9)
    assert tempo_knots(0.4 * places, places) == [(0.0, pytest.approx(150.0))]


@given(bpm=st.floats(47, 214), beats=st.integers(2, 400), first=st.floats(0, 100))
def test_an_even_tempo_is_one_line(bpm, beats, first):
    times = beats_at(np.full(beats - 1, bpm), first)
    assert tempo_knots(times, np.arange(float(beats))) == [(pytest.approx(first), pytest.approx(bpm))]


@given(st.lists(st.floats(60, 200), min_size=3, max_size=60))
def test_no_beat_is_further_from_the_tempo_map_than_it_promises(tempi):
    times = beats_at(np.array(tempi))
    knots = [*tempo_knots(times, np.arange(float(len(times)))), (float(times[-1]), 0.0)]
    for (start, bpm), (end, _) in pairwise(knots):
        inside = times[(times >= start) & (times <= end)]
        ideal = 60 / bpm * np.arange(len(inside))
        assert np.ptp(inside - ideal) < 4 * 0.035
