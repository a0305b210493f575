"""Music that sounds where no bars are told is said, and is nothing else."""

from types import SimpleNamespace

import numpy as np
import pytest

from cuesuggest.analysis.events.uncounted import find_uncounted
from cuesuggest.analysis.types import Event

SECONDS = np.arange(0, 120, 0.1)
BARS = np.arange(20, 80, 2.0)


def scene(music, level=None):
    """Bars from 20 to 80 s; music by nats where it is heard, tenths of a second each."""
    heard = SimpleNamespace(
        seconds=SECONDS, music=music, level=np.full(len(SECONDS), -20.0) if level is None else level
    )
    return SimpleNamespace(heard=heard, starts=BARS, ends=BARS + 2.0)


def between(start, end, yes, no):
    return np.where((start <= SECONDS) & (end > SECONDS), yes, no)


def spans(*args):
    return [(round(each.start), round(each.end)) for each, _ in find_uncounted(*args)]


def test_a_long_stretch_of_music_after_the_last_bar_is_told_with_how_likely_it_is():
    ((each, likely),) = find_uncounted(scene(between(20, 100, 4.0, -4.0)), ())
    assert (each.kind, round(each.start), round(each.end)) == ("uncounted", 80, 100)
    assert likely == pytest.approx(0.98, abs=0.01)


def test_a_gap_of_a_second_does_not_part_it_and_a_bar_or_two_are_not_worth_a_word():
    music = between(20, 100, 4.0, -4.0)
    music[900:910] = -4.0
    assert spans(scene(music), ()) == [(80, 100)]
    assert spans(scene(between(20, 84, 4.0, -4.0)), ()) == []


def test_what_is_told_as_something_else_is_not_missing():
    talk = Event("talk", 80.0, 100.0, None, None, 0.9)
    assert spans(scene(between(20, 100, 4.0, -4.0)), (talk,)) == []


def test_music_from_the_next_room_is_none():
    level = between(20, 80, -20.0, -45.0)
    assert spans(scene(between(0, 120, 4.0, -4.0), level), ()) == []


@pytest.mark.parametrize(("end", "told"), [(86.0, [(80, 86)]), (85.8, [])])
def test_six_seconds_are_the_least_that_is_told(end, told):
    assert spans(scene(between(20, end + 0.1, 4.0, -4.0)), ()) == told


@pytest.mark.parametrize(("pause", "told"), [(19, [(80, 100)]), (25, [(83, 100)])])
def test_two_seconds_without_music_do_not_part_a_stretch_and_more_do(pause, told):
    music = between(20, 100, 4.0, -4.0)
    music[805 : 805 + pause] = -4.0
    assert spans(scene(music), ()) == told


@pytest.mark.parametrize(("nats", "told"), [(1.1, 1), (1.0, 0)])
def test_what_may_be_music_is_told_only_where_the_network_leans_to_it(nats, told):
    assert len(spans(scene(between(20, 80, 4.0, -4.0) + between(80, 100, nats + 4.0, 0.0)), ())) == told


@pytest.mark.parametrize(("under", "told"), [(14.0, 1), (15.0, 0)])
def test_fifteen_decibels_under_the_loud_passages_is_background(under, told):
    level = between(20, 80, -20.0, -20.0 - under)
    assert len(spans(scene(between(0, 120, 4.0, -4.0), level), ())) == 2 * told
