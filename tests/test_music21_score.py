"""An outside check: scores out of the corpus that music21 bundles, played by sines, against the beats of the score.

Strings alone, without drums or a bass that plays on the beat, are what the tool was least made for. The first two
scores were chosen for their meters before anything was measured, the two with a pickup out of nine: of those, three
were read with two written bars in one, and three with bars elsewhere.
"""

from __future__ import annotations

import mir_eval
import numpy as np
import pytest
import soundfile
from music21 import corpus

import cuesuggest
from tests.sounds import RATE

SECONDS = 45.0
LEAD = 0.5


def notes(name, bpm):
    """Start and length in seconds and pitch of every note that begins within the first 45 seconds of a score."""
    beat = 60 / bpm
    for note in corpus.parse(name).flatten().notes:
        start, length = float(note.offset) * beat, float(note.quarterLength) * beat
        goes_on = note.tie is not None and note.tie.type != "start"
        if start < SECONDS and length > 0 and not goes_on:
            yield from ((start, length, pitch.ps) for pitch in note.pitches)


def performance(name, bpm):
    """Play a score with six harmonics a note, each note struck and dying away, as exactly as it is written."""
    sound = np.zeros(int((LEAD + SECONDS + 4) * RATE))
    for start, length, pitch in notes(name, bpm):
        time = np.arange(int(min(length, 3.0) * RATE)) / RATE
        hertz = 440 * 2 ** ((pitch - 69) / 12)
        tone = sum(np.sin(2 * np.pi * hertz * k * time) / k**1.5 for k in range(1, 7) if hertz * k < 10000)
        tone *= np.minimum(time / 0.008, 1) * np.exp(-2.5 * time) * np.minimum((time[-1] - time) / 0.03, 1)
        place = int((LEAD + start) * RATE)
        sound[place : place + len(tone)] += tone
    return sound / np.abs(sound).max() * 0.7


@pytest.fixture(scope="module")
def heard(tmp_path_factory):
    """What is heard of a score: its analysis."""

    def listen(name, bpm):
        path = tmp_path_factory.mktemp("score") / "score.wav"
        soundfile.write(path, performance(name, bpm), RATE)
        return cuesuggest.analyze(path)

    return listen


def written(name, bpm, beats):
    """Seconds of the beats and bar lines of a score's first 45 seconds; a pickup has neither."""
    lines = [float(measure.offset) for measure in corpus.parse(name).parts[0].getElementsByClass("Measure")]
    first = 1 if lines[1] - lines[0] < lines[2] - lines[1] else 0
    lines = np.array([line for line in lines[first:] if line * 60 / bpm < SECONDS])
    within = np.arange(beats) * (lines[1] - lines[0]) / beats
    return LEAD + (lines[:, None] + within).ravel() * 60 / bpm, LEAD + lines * 60 / bpm


def agreement(truth, found):
    return mir_eval.beat.f_measure(mir_eval.beat.trim_beats(truth), mir_eval.beat.trim_beats(np.array(found)))


# Name in the corpus -> quarters a minute, time signature, beats in a bar, beats a minute.
SCORES = {
    "mozart/k155/movement1": (120.0, "4/4", 4, 120.0),
    "haydn/opus74no1/movement3": (138.0, "3/4", 3, 138.0),
    "mozart/k458/movement1": (150.0, "6/8", 2, 100.0),
    "beethoven/opus18no4": (132.0, "4/4", 4, 132.0),
}
PICKUPS = ("mozart/k458/movement1", "beethoven/opus18no4")


@pytest.mark.parametrize("name", SCORES)
def test_beats_and_bars_of_a_string_quartet_are_those_of_its_score(heard, name):
    quarters, signature, per_bar, bpm = SCORES[name]
    found = heard(name, quarters)
    beats, downbeats = written(name, quarters, per_bar)
    assert (found.time_signature, found.tempo_bpm) == (signature, pytest.approx(bpm, abs=0.2))
    assert agreement(beats, [beat for beat in found.beats if beat < beats[-1] + 0.1]) >= 0.95
    assert agreement(downbeats, [beat for beat in found.downbeats if beat < beats[-1] + 0.1]) >= 0.95
    (one,) = (bar.start for bar in found.bars if bar.number == 1)
    assert one == pytest.approx(downbeats[0], abs=0.07)


def test_two_of_the_scores_begin_with_a_pickup():
    for name in SCORES:
        lines = [float(each.offset) for each in corpus.parse(name).parts[0].getElementsByClass("Measure")[:3]]
        assert (lines[1] - lines[0] < lines[2] - lines[1]) == (name in PICKUPS)
