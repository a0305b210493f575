"""The click of another reading of the beats, to be heard before it is chosen."""

from dataclasses import replace

import numpy as np
import pytest

from cuesuggest.review.readings import clicked
from tests.songs import make_analysis

SONG = make_analysis("A4", bpm=120)  # beats every half second, bar 1 at 2.0
BEATS, BARS = np.array(SONG.beats), np.array(SONG.downbeats)


def accents(click):
    return sorted(click.downbeats)


def test_without_a_reading_the_click_is_what_the_document_says():
    for reading in ("", "shift", "nonsense", "no/such"):
        click = clicked(SONG, reading)
        assert list(click.beats) == list(SONG.beats)
        assert accents(click) == list(SONG.downbeats)


@pytest.mark.parametrize("beats", [1, 2, 3])
def test_a_shift_moves_the_accents_and_not_the_beats(beats):
    click = clicked(SONG, f"shift {beats}")
    assert list(click.beats) == list(SONG.beats)
    assert accents(click) == pytest.approx((BARS + beats * 0.5)[: len(click.downbeats)])


def test_half_a_beat_moves_both():
    click = clicked(SONG, "shift 0.5")
    assert click.beats == pytest.approx(BEATS[:-1] + 0.25)
    assert accents(click) == pytest.approx(BARS[: len(click.downbeats)] + 0.25)


@pytest.mark.parametrize(("reading", "step"), [("half", 1.0), ("double", 0.25), ("3:2", 1 / 3), ("2:3", 0.75)])
def test_another_level_is_counted_from_bar_one_with_as_many_beats_a_bar(reading, step):
    click = clicked(SONG, reading)
    assert np.diff(click.beats) == pytest.approx(step, abs=2e-4)
    assert min(np.abs(np.array(click.beats) - BARS[0])) < 2e-4
    assert np.diff(accents(click)) == pytest.approx(4 * step, abs=4e-4)


@pytest.mark.parametrize(("reading", "felt"), [("3/4", 3), ("2/4", 2), ("6/8", 2), ("12/8", 4)])
def test_another_count_keeps_the_beats(reading, felt):
    click = clicked(SONG, reading)
    assert list(click.beats) == list(SONG.beats)
    assert np.diff(accents(click)) == pytest.approx(felt * 0.5)


def test_nothing_is_clicked_between_the_beats_on_both_sides_of_a_pause():
    late = replace(SONG, beats=(*SONG.beats[:8], *(time + 20 for time in SONG.beats[8:])))
    for reading in ("shift 0.5", "double"):
        times = np.array(clicked(late, reading).beats)
        assert not ((times > SONG.beats[7] + 0.01) & (times < SONG.beats[8] + 19.9)).any()


def test_a_recording_without_music_has_no_click():
    assert clicked(make_analysis(""), "half").beats == ()
