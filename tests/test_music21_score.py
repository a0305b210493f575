"""An outside check: scores out of the corpus that music21 bundles, played by sines, against the beats of the score.

Strings alone, without drums or a bass that plays on the beat, are what the tool was least made for. The scores were
chosen for their meters before anything was measured: F was 0.99 for the beats of both and 1.00 for their bars.
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
    """What is heard of a score: its analysis, its true beats and downbeats."""

    def listen(name, bpm, per_bar):
        path = tmp_path_factory.mktemp("score") / "score.wav"
        soundfile.write(path, performance(name, bpm), RATE)
        beats = LEAD + np.arange(0, SECONDS, 60 / bpm)
        return cuesuggest.analyze(path), beats, beats[::per_bar]

    return listen


def agreement(truth, found):
    return mir_eval.beat.f_measure(mir_eval.beat.trim_beats(truth), mir_eval.beat.trim_beats(np.array(found)))


# Name in the corpus -> quarters a minute, quarters in a bar.
SCORES = {
    "mozart/k155/movement1": (120.0, 4),
    "haydn/opus74no1/movement3": (138.0, 3),
}


@pytest.mark.parametrize("name", SCORES)
def test_beats_and_bars_of_a_string_quartet_are_those_of_its_score(heard, name):
    bpm, per_bar = SCORES[name]
    found, beats, downbeats = heard(name, bpm, per_bar)
    assert (found.meter, found.tempo_bpm) == (per_bar, pytest.approx(bpm, abs=0.2))
    assert agreement(beats, [beat for beat in found.beats if beat < beats[-1] + 0.1]) >= 0.95
    assert agreement(downbeats, [beat for beat in found.downbeats if beat < beats[-1] + 0.1]) >= 0.95


def test_the_score_really_has_the_bars_that_are_asked_for():
    """The truth above is counted from the tempo alone; it holds where no bar is irregular."""
    for name, (bpm, per_bar) in SCORES.items():
        measures = list(corpus.parse(name).parts[0].getElementsByClass("Measure"))
        for index, measure in enumerate(measures[: int(SECONDS * bpm / 60 / per_bar)]):
            assert float(measure.offset) == index * per_bar
            assert measure.barDuration.quarterLength == per_bar
