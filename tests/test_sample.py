"""The bundled song: its truth agrees with itself and with what is heard."""

from __future__ import annotations

import json
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile

SAMPLES = Path(__file__).parent.parent / "samples"
FRAME = 0.001  # seconds


@pytest.fixture(scope="module")
def truth() -> dict[str, Any]:
    return json.loads((SAMPLES / "first_light.json").read_text(encoding="utf-8"))


@pytest.fixture(scope="module")
def sound(truth) -> np.ndarray:
    """The recording, cut into milliseconds: shape (milliseconds, samples of each, channels)."""
    samples, rate = soundfile.read(SAMPLES / truth["audio"], dtype="float32")
    # 44.1 samples to the millisecond: 44 of them, from where it begins.
    starts = np.round(np.arange(0, len(samples) / rate - FRAME, FRAME) * rate).astype(int)
    return samples[starts[:, None] + np.arange(44)]


@pytest.fixture(scope="module")
def level(sound) -> np.ndarray:
    """RMS of every millisecond."""
    return np.sqrt((sound**2).mean((1, 2)))


@pytest.fixture(scope="module")
def onsets(sound) -> np.ndarray:
    """How suddenly the treble rises at every millisecond: 3 ms from it on, over 10 ms up to it, in nepers."""
    treble = np.diff(sound.mean(2), n=2)  # 12 dB an octave
    total = np.concatenate([[0], np.cumsum((treble**2).sum(1, dtype=float))])
    after, before = (total[13:] - total[10:-3]) / 3, (total[10:-3] - total[:-13]) / 10
    return np.pad(np.maximum(np.log((after + 1e-8) / (before + 1e-8)), 0), (10, 2))


def decibels(level: np.ndarray, start: float, end: float) -> float:
    """Level of a stretch of the recording, dBFS."""
    return 10 * np.log10(np.mean(level[round(start / FRAME) : round(end / FRAME)] ** 2) + 1e-12)


def lag_of_onsets(onsets: np.ndarray, beats: list[float]) -> int:
    """Milliseconds by which the onsets around beats, laid over one another, come late."""
    around = np.arange(-100, 101)
    rows = onsets[np.round(np.array(beats) / FRAME).astype(int)[:, None] + around]
    # Ten milliseconds of smoothing: players scatter about the grid by that much.
    return int(around[np.argmax(np.convolve(rows.mean(0), np.hanning(15), mode="same"))])


def section(truth: dict[str, Any], name: str) -> dict[str, Any]:
    return next(row for row in truth["sections"] if row["name"] == name)


def test_the_truth_lasts_as_long_as_the_recording(truth):
    info = soundfile.info(SAMPLES / truth["audio"])
    assert truth["duration"] == pytest.approx(info.frames / info.samplerate, abs=0.001)
    assert (info.samplerate, info.channels, info.subtype) == (44100, 2, "VORBIS")


def test_every_beat_comes_after_the_one_before_at_the_told_tempo(truth):
    intervals = np.diff(truth["beats"])
    tempo = 60 / intervals
    assert np.all(np.abs(tempo / truth["tempo_bpm"] - 1) < 0.08)
    assert np.ptp(tempo) / truth["tempo_bpm"] > 0.02, "a band drifts"


def test_every_fourth_beat_is_a_downbeat(truth):
    assert truth["meter"] == 4
    assert truth["downbeats"] == truth["beats"][::4]


def test_bars_run_from_downbeat_to_downbeat(truth):
    assert [(bar["start"], bar["end"]) for bar in truth["bars"]] == list(pairwise(truth["downbeats"]))
    assert [bar["number"] for bar in truth["bars"]] == list(range(1, len(truth["bars"]) + 1))


def test_sections_follow_one_another_without_a_gap_and_start_on_downbeats(truth):
    sections = truth["sections"]
    assert sections[0]["start"] == truth["downbeats"][0]
    assert sections[-1]["end"] == truth["music_end"]
    assert all(here["end"] == after["start"] for here, after in pairwise(sections))
    assert {row["start"] for row in sections} <= set(truth["downbeats"])


def test_all_events_lie_inside_the_recording(truth):
    kinds = {event["kind"] for event in truth["events"]}
    assert kinds == {"count-in", "build", "hit", "stop", "drop", "ring-out"}
    spans = [(event["start"], event["end"]) for event in truth["events"]] + [tuple(row) for row in truth["ignore"]]
    assert all(0 <= start <= end <= truth["duration"] for start, end in spans)
    assert 0 < truth["music_start"] < truth["music_end"] < truth["duration"]


def test_onsets_in_the_recording_sit_on_the_beats(truth, onsets):
    inside = truth["beats"][:-1]  # the last chord's strings are spread
    assert lag_of_onsets(onsets, inside) == pytest.approx(0, abs=5)


@pytest.mark.parametrize("name", ["Verse 1", "Chorus 1", "Verse 2", "Chorus 2", "Build", "Last chorus", "Tag"])
def test_onsets_stay_on_the_beats_all_through_the_song(truth, onsets, name):
    row = section(truth, name)
    beats = [beat for beat in truth["beats"] if row["start"] <= beat < row["end"] - 1]
    assert lag_of_onsets(onsets, beats) == pytest.approx(0, abs=10)


def test_the_sticks_count_four_in(truth, level):
    count = next(event for event in truth["events"] if event["kind"] == "count-in")
    clicks = np.linspace(count["start"], count["end"], 4, endpoint=False)
    peaks = [level[round((click - 0.1) / FRAME) : round((click + 0.1) / FRAME)].argmax() - 100 for click in clicks]
    assert np.abs(peaks).max() < 25
    assert decibels(level, 0.5, count["start"] - 0.1) < -60, "room tone before"


def test_the_band_is_silent_in_the_stop_and_back_after_it(truth, level):
    stop = next(event for event in truth["events"] if event["kind"] == "stop")
    beat = (stop["end"] - stop["start"]) / 2
    before = decibels(level, stop["start"] - 8 * beat, stop["start"] - 2 * beat)
    assert decibels(level, stop["start"] + beat / 2, stop["end"] - 0.05) < before - 20
    assert decibels(level, stop["end"], stop["end"] + beat) > before - 3


def test_choruses_are_louder_than_what_leads_to_them_and_the_last_is_the_loudest(truth, level):
    loud = {row["name"]: decibels(level, row["start"], row["end"]) for row in truth["sections"]}
    assert loud["Chorus 1"] > loud["Verse 1"] + 2 > loud["Intro"] + 2
    assert loud["Chorus 2"] > loud["Verse 2"] + 1.5
    assert loud["Chorus 2"] > loud["Bridge"] + 2
    assert max(loud, key=loud.get) == "Last chorus"


def test_the_samples_stay_small():
    files = [path for path in SAMPLES.rglob("*") if path.is_file() and "__pycache__" not in path.parts]
    assert sum(path.stat().st_size for path in files) < 10_000_000
