"""Moments that are no music or hardly any: talk, crowd, pauses, count-ins, and recordings without music."""

from dataclasses import replace

import numpy as np
import pytest
import soundfile

from cuesuggest.analysis.events import from_frames
from cuesuggest.analysis.events.from_frames import quiet_stretches
from cuesuggest.analysis.finding.scene import Candidate
from cuesuggest.analysis.finding.talk_signs import sound_features
from cuesuggest.analysis.frames import HEADS
from cuesuggest.analysis.listen import analyze_spectrum
from cuesuggest.analysis.rhythm.network import heads_of
from cuesuggest.analysis.spectrum import hear
from cuesuggest.sound.recording import open_recording
from tests.drawn import draw
from tests.sounds import RATE, applause, babble, metronome, play


def moments_of(path, kind):
    spectrum = hear(open_recording(path))
    analysis = analyze_spectrum(spectrum, heads_of(spectrum))
    return [event for event in analysis.events if event.kind == kind]


def write(path, samples):
    noise = np.random.default_rng(3).standard_normal(len(samples)) * 1e-4
    soundfile.write(path, (samples + noise).astype(np.float32), RATE)
    return path


def silence(seconds):
    return np.zeros(int(seconds * RATE))


def test_speech_without_music_is_talk_from_its_first_to_its_last_syllable(tmp_path):
    path = write(tmp_path / "talk.wav", np.concatenate([silence(3), babble(5), silence(4)]))
    talk = moments_of(path, "talk")
    assert talk
    assert talk[0].start == pytest.approx(3.0, abs=0.6)
    assert talk[-1].end == pytest.approx(8.0, abs=0.6)


@pytest.mark.parametrize(
    "sound",
    {
        "applause": applause(15),
        "even noise": np.random.default_rng(2).standard_normal(15 * RATE) * 0.1,
        "a held chord": sum(
            0.1 * np.sin(2 * np.pi * hertz * np.arange(15 * RATE) / RATE) for hertz in (110, 165, 220, 277)
        ),
        "silence": silence(15),
    }.items(),
    ids=lambda pair: pair[0],
)
def test_what_nobody_speaks_is_no_talk(tmp_path, sound):
    assert not moments_of(write(tmp_path / "none.wav", sound[1]), "talk")


def test_sentences_with_a_breath_between_them_are_one_span_and_others_are_two(tmp_path):
    close = np.concatenate([silence(3), babble(4), silence(2.5), babble(4, seed=2), silence(3)])
    (talk,) = moments_of(write(tmp_path / "close.wav", close), "talk")
    assert (talk.start, talk.end) == (pytest.approx(3.0, abs=0.6), pytest.approx(13.5, abs=0.6))
    far = np.concatenate([silence(3), babble(4), silence(9), babble(4, seed=2), silence(3)])
    assert len(moments_of(write(tmp_path / "far.wav", far), "talk")) == 2


def test_a_metronome_is_no_talk(tmp_path):
    path = tmp_path / "tick.wav"
    metronome(path, np.arange(1, 30, 0.5))
    assert not moments_of(path, "talk")


def test_applause_is_a_crowd(tmp_path):
    path = write(tmp_path / "crowd.wav", np.concatenate([silence(3), applause(10, claps=250), silence(3)]))
    crowd = moments_of(path, "crowd")
    assert crowd
    assert crowd[0].start == pytest.approx(3.0, abs=1.5)


def test_talk_before_the_song_is_told_and_bar_1_stays_where_it_was(tmp_path):
    path = tmp_path / "song.wav"
    take = play(path, "A8 B8", lead=8.0)
    samples, _ = soundfile.read(path)
    samples[RATE : 6 * RATE] += babble(5)
    soundfile.write(path, samples.astype(np.float32), RATE)
    spectrum = hear(open_recording(path))
    analysis = analyze_spectrum(spectrum, heads_of(spectrum))
    talk = [event for event in analysis.events if event.kind == "talk"]
    assert talk
    assert talk[0].start == pytest.approx(1.0, abs=0.6)
    assert all(event.bar is None for event in talk)
    assert next(bar.start for bar in analysis.bars if bar.number == 1) == pytest.approx(take.downbeats[0], abs=0.07)
    assert analysis.music_start == pytest.approx(take.downbeats[0], abs=0.1)


@pytest.mark.parametrize("bpm", [84.0, 112.0, 150.0])
def test_four_sticks_are_a_count_in_of_one_bar_and_bar_1_follows(tmp_path, bpm):
    path = tmp_path / "sticks.wav"
    take = play(path, "B8 A8", bpm=bpm, lead=2.0, count_in=True)
    spectrum = hear(open_recording(path))
    analysis = analyze_spectrum(spectrum, heads_of(spectrum))
    (count,) = [event for event in analysis.events if event.kind == "count-in"]
    assert count.start == pytest.approx(2.0, abs=0.1)
    assert count.end == pytest.approx(take.downbeats[0], abs=0.1)
    assert (count.bar, count.beat) == (0, 1.0)
    assert next(bar.start for bar in analysis.bars if bar.number == 1) == pytest.approx(take.downbeats[0], abs=0.07)


def count_of_two_bars(path, beats, gain, hertz=2400.0):
    """The count-in that is told where sticks mark some of the four beats before the bar that is counted as well."""
    beat = 60 / 112
    lead = 1.0 + 4 * beat
    play(path, "B8 A8", lead=lead, count_in=True)
    samples, _ = soundfile.read(path)
    time = np.arange(int(0.03 * RATE)) / RATE
    for each in beats:
        at = int((1.0 + each * beat) * RATE)
        samples[at : at + len(time)] += gain * 0.125 * np.sin(2 * np.pi * hertz * time) * np.exp(-150 * time)
    soundfile.write(path, samples.astype(np.float32), RATE)
    (count,) = moments_of(path, "count-in")
    assert count.end == pytest.approx(lead + 4 * beat, abs=0.1)
    return round((count.end - count.start) / (4 * beat))


@pytest.mark.parametrize(
    ("beats", "gain", "hertz", "bars"),
    [
        ((0, 2), 1.0, 2400.0, 2),
        ((0, 2), 0.1, 2400.0, 1),
        ((0,), 1.0, 2400.0, 1),
        ((0, 2), 1.0, 300.0, 1),
    ],
    ids=["one … two …", "far softer", "one knock", "of another colour"],
)
def test_two_bars_are_counted_where_the_first_has_every_other_beat_of_the_same_sticks(
    tmp_path, beats, gain, hertz, bars
):
    assert count_of_two_bars(tmp_path / "two.wav", beats, gain, hertz) == bars


def test_a_song_without_sticks_has_no_count_in(tmp_path):
    path = tmp_path / "none.wav"
    play(path, "A8 B8")
    assert not moments_of(path, "count-in")


def test_where_the_band_goes_on_after_talk_with_something_else_there_is_a_pause(tmp_path):
    first, second = tmp_path / "1.wav", tmp_path / "2.wav"
    play(first, "A4 B8 A4", lead=0.5, tail=1.0)
    take = play(second, "B8 A8", lead=0.2)
    one, two = (soundfile.read(each)[0] for each in (first, second))
    path = write(tmp_path / "both.wav", np.concatenate([one, silence(1), babble(5), silence(1.5), two]))
    (pause,) = moments_of(path, "pause")
    again = len(one) / RATE + 7.5 + take.downbeats[0]
    assert pause.end == pytest.approx(again, abs=1.2)
    assert pause.start == pytest.approx(len(one) / RATE - 1.5, abs=2.2)
    talk = [event for event in moments_of(path, "talk") if pause.start - 1 < event.start < pause.end]
    assert talk


def test_sentences_four_seconds_apart_are_one_that_is_as_sure_as_the_surest(monkeypatch):
    def said(candidates, least):
        return [(each, each.features["sure"]) for each in candidates]

    spans = [(1.0, 2.0, 0.6), (6.0, 7.0, 0.9), (7.5, 8.0, 0.7), (12.1, 13.0, 0.8)]
    found = [Candidate("talk", start, end, {"sure": sure}) for start, end, sure in spans]
    monkeypatch.setattr(from_frames, "find_talk", lambda heard, quiet: found)
    monkeypatch.setattr(from_frames, "find_crowd", lambda heard, quiet: [])
    monkeypatch.setattr(from_frames, "probable", said)
    scene, _ = draw("F" * 8)
    events = from_frames.events_without_music(scene.spectrum, np.zeros((len(HEADS), len(scene.decibels))))
    assert [(each.start, each.end, each.confidence) for each in events] == [(1.0, 8.0, 0.9), (12.1, 13.0, 0.8)]


def test_without_music_it_is_before_the_song_and_its_count_between_false_starts_in_pauses_and_after():
    scene, _ = draw("F" * 8)
    scene = replace(scene, starts=scene.starts + 20, beats=scene.beats + 20, music_start=19.5, music_end=33.0)
    end = scene.spectrum.end
    assert quiet_stretches(scene, []) == [(0.0, 19.5), (33.0, end)]
    assert quiet_stretches(scene, [(25.0, 28.0)]) == [(0.0, 19.5), (25.0, 28.0), (33.0, end)]
    counted = replace(scene, count=Candidate("count-in", 17.0, 20.0, {}))
    assert quiet_stretches(counted, []) == [(0.0, 17.0), (33.0, end)]
    broken = [(Candidate("false-start", 4.0, 8.0, {}), 0.5), (Candidate("false-start", 10.0, 12.0, {}), 0.4)]
    assert quiet_stretches(replace(counted, broken_off=broken), []) == [(0.0, 4.0), (8.0, 17.0), (33.0, end)]


def test_where_an_even_sound_gives_way_to_another_nothing_swings_and_no_feature_is_undefined():
    scene, _ = draw("F" * 24 + "P" * 8)
    features = sound_features(scene.spectrum, np.zeros(len(scene.decibels)))
    assert all(np.isfinite(values).all() for values in features.values())
    assert features["swing"].min() >= 0
