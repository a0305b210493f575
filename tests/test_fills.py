"""Fills and pickups: only the clear ones."""

from dataclasses import replace

import numpy as np
import pytest

from cuesuggest.analysis.events.fills import find_fills, find_pickups
from tests.drawn import BEAT, draw


def test_a_roll_in_the_last_beat_before_a_section_is_a_fill():
    scene, _ = draw("F" * 7 + "R" + "F" * 8)
    ((fill, confidence),) = find_fills(scene, [0, 8])
    assert (fill.start, fill.end) == (scene.starts[8] - BEAT, scene.starts[8])
    assert 0.6 <= confidence <= 0.8


@pytest.mark.parametrize(
    ("letters", "starts"),
    [
        ("F" * 16, [0, 8]),
        ("F" * 6 + "RF" + "F" * 8, [0, 8]),
        ("R" * 16, [0, 8]),
        ("F" * 8 + "P" * 7 + "R", [0, 8]),
        ("F" * 3 + "R" + "F" * 4, [0, 4]),
    ],
    ids=["no roll", "a roll inside the section", "a roll in every bar", "a roll after it", "too early to know"],
)
def test_no_fill_is_told_of(letters, starts):
    scene, _ = draw(letters)
    assert find_fills(scene, starts) == []


def test_a_fill_before_a_bar_line_inside_a_section_is_not_looked_for():
    scene, _ = draw("F" * 7 + "R" + "F" * 8)
    assert find_fills(scene, [0, 4]) == []


@pytest.mark.parametrize("missing", [[31], [29, 30, 31], [17]])
def test_where_a_bar_broke_off_no_fill_is_told_of(missing):
    scene, _ = draw("F" * 7 + "R" + "F" * 8)
    beats, runs = (np.delete(each, missing) for each in (scene.beats, scene.runs))
    assert find_fills(replace(scene, beats=beats, runs=runs), [0, 8]) == []


def sung(from_beat, beats=64, until=None):
    """Logits of a voice that enters on a beat, counted from 0."""
    logits = np.full(beats, -5.0)
    logits[from_beat:until] = 5.0
    return logits


@pytest.mark.parametrize(
    ("voice", "pickup"),
    [
        (sung(31), True),
        (sung(30), True),
        (sung(32), False),
        (sung(0), None),
        (sung(64), None),
        (sung(40), None),
    ],
    ids=["a beat early", "two beats early", "on the one", "sung all along", "never sung", "two bars late"],
)
def test_a_section_has_a_pickup_if_its_voice_comes_before_it(voice, pickup):
    scene, _ = draw("F" * 16, voice=voice)
    assert find_pickups(scene, [8]) == [pickup]


@pytest.mark.parametrize(("early", "pickup"), [(0.0, False), (0.08, False), (1.0, True), (1.75, True)])
def test_the_song_has_a_pickup_if_it_sounds_before_bar_1(early, pickup):
    scene, _ = draw("SF" + "F" * 14)
    scene = replace(scene, numbers=scene.numbers - 1, music_start=float(scene.starts[1]) - early)
    assert find_pickups(scene, [1]) == [pickup]
