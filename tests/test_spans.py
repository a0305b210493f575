"""Frames of times, and stretches of them, as all finders of events count them."""

import numpy as np
import pytest

from cuesuggest.analysis.finding.spans import frame_at, joined, loudness, stretches
from tests.drawn import draw


@pytest.mark.parametrize(
    ("mask", "found"),
    [
        ([0, 1, 1, 0, 1, 0], [(1, 3), (4, 5)]),
        ([1, 0, 0], [(0, 1)]),
        ([0, 0, 1], [(2, 2)]),
        ([0, 0], []),
    ],
)
def test_a_stretch_goes_up_to_the_first_that_is_no_more_or_to_the_last_there_is(mask, found):
    assert stretches(np.array(mask, bool)) == found


def test_stretches_are_one_where_no_more_than_so_much_lies_between_them():
    spans = [(0, 2), (5, 6), (10, 12), (13, 14)]
    assert joined(spans, 3) == [(0, 6), (10, 14)]
    assert joined(spans, 2.9) == [(0, 2), (5, 6), (10, 14)]
    assert joined(spans, 4) == [(0, 14)]
    assert joined([], 1) == []


def test_a_time_outside_the_recording_is_its_first_or_last_frame():
    scene, _ = draw("FQ")
    last = len(scene.decibels) - 1
    assert [frame_at(scene.spectrum, at) for at in (-1.0, 0.0, 1.0, 1.011, 3.98, 4.5)] == [0, 0, 50, 51, last, last]


def test_loudness_is_the_level_of_the_mean_power_with_both_ends():
    scene, _ = draw("FQS")
    assert loudness(scene.spectrum, 0.0, 1.0) == pytest.approx(10 * np.log10(0.03))
    assert loudness(scene.spectrum, 1.98, 2.0) == pytest.approx(10 * np.log10((0.03 + 0.004) / 2))
    assert loudness(scene.spectrum, 4.5, 5.0) == -100.0
