"""All bundled recordings: each truth agrees with itself, with the paper it was played from, with its recording, and
with what is heard in it."""

from __future__ import annotations

import importlib
import json
from functools import cache
from itertools import pairwise
from pathlib import Path
from typing import Any, NamedTuple

import mir_eval
import numpy as np
import pytest

import cuesuggest
from cuesuggest.sound.recording import open_recording

SAMPLES = Path(__file__).parent.parent / "samples"
NAMES = ("first_light", "first_light_take2", "salt_on_the_sill")
PAPERS = {
    "first_light": ("first_light_paper", "FIRST_TAKE"),
    "first_light_take2": ("first_light_paper", "SECOND_TAKE"),
    "salt_on_the_sill": ("salt_on_the_sill_paper", "SONG"),
}
MS = 0.001  # seconds


class Recorded(NamedTuple):
    """A recording in milliseconds: how much energy each has, all of it and above some 5 kHz."""

    announced: float | None
    seconds: float
    power: np.ndarray
    treble: np.ndarray


@cache
def truth_of(name: str) -> dict[str, Any]:
    return json.loads((SAMPLES / f"{name}.json").read_text(encoding="utf-8"))


@cache
def recorded(name: str) -> Recorded:
    recording = open_recording(SAMPLES / truth_of(name)["audio"])
    sound = np.concatenate(list(recording.blocks())).mean(1).astype(float)
    edges = np.round(np.arange(0, len(sound) / recording.sample_rate, MS) * recording.sample_rate).astype(int)
    power = np.diff(np.concatenate([[0], np.cumsum(sound**2)])[edges]) / np.diff(edges)
    above = np.diff(sound, n=2, append=[0, 0])  # 12 dB an octave
    treble = np.diff(np.concatenate([[0], np.cumsum(above**2)])[edges])
    return Recorded(recording.announced, len(sound) / recording.sample_rate, power, treble)


@pytest.fixture(params=NAMES)
def name(request) -> str:
    return request.param


@pytest.fixture
def truth(name) -> dict[str, Any]:
    return truth_of(name)


@pytest.fixture
def paper(name, monkeypatch):
    """The song that the truth's script played from."""
    monkeypatch.syspath_prepend(SAMPLES)
    module, song = PAPERS[name]
    return getattr(importlib.import_module(module), song)


@pytest.fixture
def heard(name, request):
    """What cuesuggest hears; the first sample has been heard for other tests already."""
    if name == "first_light":
        return request.getfixturevalue("sample_song").analysis
    return analysis_of(name)


@cache
def analysis_of(name: str):
    return cuesuggest.analyze(SAMPLES / truth_of(name)["audio"])


def events(truth: dict[str, Any], kind: str) -> list[dict[str, Any]]:
    return [event for event in truth["events"] if event["kind"] == kind]


def decibels(power: np.ndarray, start: float, end: float) -> float:
    return 10 * np.log10(power[round(start / MS) : round(end / MS)].mean())


# ---------------------------------------------------------------------------------------- truth and itself


def test_every_recording_has_a_truth_and_is_tested_here():
    assert {path.stem for path in SAMPLES.glob("*.json")} == set(NAMES)
    sounds = {path.name for path in SAMPLES.iterdir() if path.suffix in {".ogg", ".m4a"}}
    assert sounds == {truth_of(name)["audio"] for name in NAMES}


def test_beats_come_one_after_another_at_a_tempo_that_drifts(truth):
    tempo = 60 / np.diff(truth["beats"])
    assert np.all(np.abs(tempo / truth["tempo_bpm"] - 1) < 0.15)  # a ritardando is the widest
    assert np.ptp(tempo) / truth["tempo_bpm"] > 0.02


def test_downbeats_are_the_beats_that_begin_a_bar(truth):
    assert truth["downbeats"] == truth["beats"][:: truth["meter"]]
    assert truth["meter"] in truth["meter_accept"]
    assert [(bar["start"], bar["end"]) for bar in truth["bars"]] == list(pairwise(truth["downbeats"]))
    assert [bar["number"] for bar in truth["bars"]] == list(range(1, len(truth["bars"]) + 1))
    assert {(bar["beats"], bar["time_signature"]) for bar in truth["bars"]} == {
        (truth["meter"], truth["time_signature"])
    }


def test_sections_cover_the_song_bar_by_bar(truth):
    sections = truth["sections"]
    assert sections[0]["start"] == truth["bars"][0]["start"]
    assert all(here["end"] == after["start"] for here, after in pairwise(sections))
    assert {row["start"] for row in sections} <= {bar["start"] for bar in truth["bars"]}
    assert sections[-1]["end"] == truth["music_end"] >= truth["bars"][-1]["end"]
    assert len({row["name"] for row in sections}) == len(sections)


def test_events_stand_in_order_inside_the_recording(truth):
    starts = [event["start"] for event in truth["events"]]
    assert starts == sorted(starts)
    spans = [(event["start"], event["end"]) for event in truth["events"]] + [tuple(row) for row in truth["ignore"]]
    assert all(0 <= start <= end <= truth["duration"] for start, end in spans)
    (count,), (ring_out,) = events(truth, "count-in"), events(truth, "ring-out")
    assert count["end"] == truth["downbeats"][0]
    assert (ring_out["start"], ring_out["end"]) == (truth["downbeats"][-1], truth["music_end"])
    assert all(talk["end"] < count["start"] or talk["start"] > ring_out["end"] for talk in events(truth, "talk"))


def test_the_truth_tells_the_form_that_stands_on_paper(truth, paper):
    starts = [truth["downbeats"][paper.beat_of(part.name) // paper.beats] for part in paper.form]
    told = [(row["name"], row["label"], row["energy"], row["start"]) for row in truth["sections"]]
    assert told == [(part.name, part.label, part.energy, start) for part, start in zip(paper.form, starts, strict=True)]
    assert (truth["meter"], truth["time_signature"]) == (paper.beats, paper.time_signature)


def test_the_second_take_answers_the_first_section_by_section():
    first, second = truth_of("first_light"), truth_of("first_light_take2")
    bars = {
        name: {
            row["name"]: (row["label"], sum(row["start"] <= bar["start"] < row["end"] for bar in truth["bars"]))
            for row in truth["sections"]
        }
        for name, truth in (("first", first), ("second", second))
    }
    assert second["other_take"]["truth"] == "first_light.json"
    answers = second["other_take"]["sections"]
    assert [row["name"] for row in answers] == [row["name"] for row in second["sections"]]
    assert [row["answers"] for row in answers if row["answers"]] == [row["name"] for row in first["sections"]]
    assert all(bars["second"][row["name"]] == bars["first"][row["answers"]] for row in answers if row["answers"])
    (added,) = (row["name"] for row in answers if row["answers"] is None)
    assert bars["second"][added] == bars["first"]["Chorus 1"], "one chorus more"
    assert 0.92 < second["tempo_bpm"] / first["tempo_bpm"] < 0.96


# ---------------------------------------------------------------------------------------- truth and recording


def test_the_recording_decodes_to_the_length_that_file_and_truth_tell(name, truth):
    sound = recorded(name)
    assert sound.seconds == pytest.approx(truth["duration"], abs=0.001)
    assert sound.announced == pytest.approx(truth["duration"], abs=0.001)


def test_onsets_in_the_recording_sit_on_the_beats_of_every_section(name, truth):
    treble = np.concatenate([[0], np.cumsum(recorded(name).treble)])
    after, before = (treble[13:] - treble[10:-3]) / 3, (treble[10:-3] - treble[:-13]) / 10
    rise = np.pad(np.log((after + 1e-9) / (before + 1e-9)), (10, 3))  # at a millisecond: 3 ms from it, 10 ms before
    for row in truth["sections"]:
        beats = [beat for beat in truth["beats"] if row["start"] <= beat < row["end"] - 1]
        around = rise[np.round(np.array(beats) / MS).astype(int)[:, None] + np.arange(-60, 61)]
        late = around.argmax(1)[around.max(1) > 1] - 60
        assert len(late) >= 4, row["name"]
        assert abs(np.median(late)) <= 15, row["name"]


def test_sticks_count_the_song_in_as_the_paper_says(name, truth, paper):
    treble, (count,) = recorded(name).treble, events(truth, "count-in")
    beat = (count["end"] - count["start"]) / paper.count_beats
    struck = [
        count["start"] + beat * (bar * paper.beats + step / paper.division)
        for bar, word in enumerate(paper.count)
        for step, sign in enumerate(paper.drums[word]["stick"])
        if sign != "."
    ]
    span = range(round((count["start"] - 0.1) / MS), round((count["end"] - 0.1) / MS))
    loud = 0.1 * treble[span].max()
    heard = [MS * k for k in span if treble[k] > loud and treble[k] == treble[k - 100 : k + 100].max()]
    assert heard == pytest.approx(struck, abs=0.025)


@pytest.mark.parametrize("name", ["first_light_take2", "salt_on_the_sill"], indirect=True)
def test_talk_sounds_where_the_truth_has_it(name, truth):
    power, (count,) = recorded(name).power, events(truth, "count-in")
    pause = decibels(power, count["start"] - 0.5, count["start"] - 0.1)
    for talk in events(truth, "talk"):
        assert decibels(power, talk["start"], talk["end"]) > pause + 8
        assert decibels(power, talk["start"], talk["start"] + 0.2) > pause + 3


def test_choruses_are_louder_than_what_leads_to_them(name, truth):
    loud = [decibels(recorded(name).power, row["start"], row["end"]) for row in truth["sections"]]
    steps = [
        after - before
        for (before, after), (here, then) in zip(pairwise(loud), pairwise(truth["sections"]), strict=True)
        if then["label"] == "B" and then["energy"] > here["energy"]
    ]
    assert len(steps) >= 3
    assert min(steps) > 1


# ---------------------------------------------------------------------------------------- truth and hearing


class Floor(NamedTuple):
    """What the hearing of a recording must not fall below: F-measures of beats and downbeats within 70 ms."""

    beats: float
    downbeats: float


FLOORS = {
    "first_light": Floor(0.90, 0.95),
    "first_light_take2": Floor(0.90, 0.90),
    # Read as 3/4: its bars are right, but each is counted in three instead of two, 0.40 by measure.
    "salt_on_the_sill": Floor(0.38, 0.90),
}


def outside(times: list[float] | tuple[float, ...], spans: list[list[float]]) -> np.ndarray:
    """Times in no span: where a beat is neither right nor wrong it is left out on both sides."""
    return np.array([time for time in times if not any(start <= time <= end for start, end in spans)])


def test_beats_and_bars_are_heard_no_worse_than_they_were(name, truth, heard):
    scores = [
        mir_eval.beat.f_measure(outside(truth[key], truth["ignore"]), outside(getattr(heard, key), truth["ignore"]))
        for key in ("beats", "downbeats")
    ]
    assert scores[0] >= FLOORS[name].beats
    assert scores[1] >= FLOORS[name].downbeats


def test_bar_1_and_the_start_of_the_music_are_heard_after_talk_and_count_in(truth, heard):
    first = next(bar.start for bar in heard.bars if bar.number == 1)
    assert first == pytest.approx(truth["downbeats"][0], abs=0.07)
    assert heard.music_start == pytest.approx(truth["music_start"], abs=0.1)


@pytest.mark.parametrize("name", ["first_light_take2", "salt_on_the_sill"], indirect=True)
def test_talk_before_a_song_is_heard_and_holds_no_beat(truth, heard):
    for talk in (event for event in events(truth, "talk") if event["end"] < truth["music_start"]):
        assert any(event.kind == "talk" and abs(event.start - talk["start"]) <= 0.5 for event in heard.events)
        assert not any(talk["start"] <= beat <= talk["end"] for beat in heard.beats)


@pytest.mark.parametrize("name", ["first_light", "first_light_take2"], indirect=True)
def test_count_in_stop_and_ring_out_are_heard_in_both_takes(truth, heard):
    assert heard.time_signature == truth["time_signature"]
    for kind in ("count-in", "stop", "ring-out"):
        true = events(truth, kind)[0]
        assert any(event.kind == kind and abs(event.start - true["start"]) <= 0.3 for event in heard.events), kind
