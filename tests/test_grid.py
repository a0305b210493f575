"""Places and counts, as they are said."""

from dataclasses import replace
from itertools import pairwise

import pytest

from cuesuggest.analysis.rhythm.meters import stated_meter
from cuesuggest.analysis.types import beat_shares, felt_beats
from cuesuggest.score.grid import Grid, count_word
from cuesuggest.score.records import Place
from tests.songs import make_analysis, place_at

BESIDE = [(1.01, ""), (3.02, " beat 3"), (2.99, " beat 3"), (2.5, " beat 2.5"), (4.41, " beat 4.41")]


@pytest.mark.parametrize(("beat", "said"), BESIDE)
def test_a_place_so_little_beside_a_beat_that_nobody_hears_it_is_said_to_be_on_it(beat, said):
    assert str(Place(9.0, 5, beat, "A", 1, 1, 8)) == f"A1, bar 1 of 8{said}"


@pytest.mark.parametrize(
    ("beat", "said"),
    [
        (1.0, "the 1"),
        (3.02, "the 3"),
        (2.5, "the 'and' of 2"),
        (2.2, "just after the 2"),
        (2.8, "just before the 3"),
        (4.8, "just before the next 1"),
        (4.98, "the next 1"),
    ],
)
def test_a_beat_is_named_as_one_counts_it_in_its_bar(beat, said):
    assert count_word(beat, 4) == said
    analysis = make_analysis("A8")
    assert Grid(analysis).count(place_at(analysis, 2, beat)) == said


def test_a_bar_whose_beats_were_not_tracked_is_felt_as_its_meter_is():
    analysis = make_analysis("A8", time_signature="7/8", bpm=240)
    bars = tuple(replace(bar, beats=3) for bar in analysis.bars)
    grid = Grid(replace(analysis, bars=bars, beats=(), beat_confidence=()))
    assert [grid.place(2, beat).seconds - bars[1].start for beat in (1, 2, 3, 3.5)] == [0, 0.5, 1.0, 1.375]


@pytest.mark.parametrize("signature", ["4/4", "3/4", "6/8", "12/8", "5/4", "5/8", "7/8", "2/2", "3/8", "9/8"])
def test_bars_are_felt_as_they_are_listened_for(signature):
    lengths = stated_meter(signature).lengths
    shares = beat_shares(signature, felt_beats(signature))
    assert [float(right - left) * sum(lengths) for left, right in pairwise(shares)] == pytest.approx(lengths)


def test_something_is_done_on_a_count_or_just_beside_it():
    analysis = make_analysis("A8")
    grid = Grid(analysis)
    assert [grid.on_count(place_at(analysis, 2, beat)) for beat in (3.0, 3.2)] == ["on the 3", "just after the 3"]
