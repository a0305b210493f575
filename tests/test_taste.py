"""What `tests.benchmarks.drafts` counts of a draft's taste, on songs and cues whose count is known."""

from dataclasses import replace

import pytest

from cuesuggest.rules import Draft, load_profile, load_rig
from tests.benchmarks.taste import Light, actions, counted, longest_idle
from tests.songs import HOME, LIFT, make_analysis, make_cue, place_at

BAND, RIG = load_profile("band"), load_rig(None)
BIG = replace(LIFT, id="big", name="Walls", category="intense")
EVENTS = [("stop", 12, 1, 4.0), ("drop", 13, 1, 0.0), ("build", 5, 1, 16.0)]
SONG = make_analysis("A8 B8 A8", bpm=120, drive={"A": 0.4, "B": 0.9}, events=EVENTS)
TRUTH = {"events": [{"kind": each.kind, "start": each.start, "end": each.end} for each in SONG.events]}


def made(*cues):
    numbered = tuple(replace(cue, number=float(number)) for number, cue in enumerate(cues, 1))
    return Draft((HOME, LIFT, BIG), (), numbered, (), ())


def at(kind, bar, beat=1.0, **fields):
    return make_cue(bar + beat / 100, kind, place_at(SONG, bar, beat), **fields)


def up(bar, look="home", level=50, **fields):
    return at("cut-in", bar, look=look, side="A", level=level, **fields)


def count(*cues):
    return counted(TRUTH, SONG, made(*cues), BAND, RIG)


def test_the_peak_is_played_where_the_most_driven_section_has_the_biggest_light():
    assert count(up(1), at("cut-out", 8, 4, side="A"), up(9, "big", 80))["peaks played"] == 1
    assert count(up(1, "big", 80), at("cut-out", 8, 4, side="A"), up(9, "lift", 60))["peaks played"] == 0
    assert count()["peaks played"] == 0


def test_above_the_floor_the_peak_is_an_intense_look():
    assert count(up(9, "big"))["peaks above the floor played"] == 1
    assert count(up(9, "lift"))["peaks above the floor played"] == 0


def test_a_louder_section_is_a_step_up_by_look_or_by_level():
    # B is louder than A; the A after it is not.
    assert count(up(1))["louder sections"] == 1
    assert count(up(1))["louder sections played"] == 0
    assert (
        count(up(1), at("cut-in", 9, look="lift", side="B", level=50, down_seconds=0.5))["louder sections played"] == 1
    )
    louder = {"look": "home", "side": "A", "up_seconds": 1.0}
    assert count(up(1), at("ramp", 9, level=60, **louder))["louder sections played"] == 1
    assert count(up(1), at("ramp", 9, level=55, **louder))["louder sections played"] == 0


def test_light_over_talk_is_counted_as_it_was_heard():
    talk = replace(SONG.events[0], kind="talk", start=1.0, end=6.0)
    spoken = replace(SONG, events=(*SONG.events, talk))
    over = counted(TRUTH, spoken, made(up(1)), BAND, RIG)
    assert over["songs lit over talk"] == 1
    assert counted(TRUTH, spoken, made(up(9)), BAND, RIG)["songs lit over talk"] == 0


@pytest.mark.parametrize("way", ["out and back", "held"])
def test_a_stop_is_played_where_it_is_dark_in_it(way):
    held = at("cut-out", 12, side="A", trigger="held")
    dark = [held] if way == "held" else [at("cut-out", 12, side="A"), up(13, "lift")]
    assert count(up(9, "lift"), *dark)["stops played"] == 1
    assert count(up(9, "lift"))["stops played"] == 0
    assert count(up(9, "lift"))["stops"] == 1


def test_a_moment_that_was_not_heard_is_no_matter_of_taste():
    deaf = replace(SONG, events=())
    assert counted(TRUTH, deaf, made(up(9)), BAND, RIG)["stops"] == 0


def test_a_drop_is_played_by_a_press_or_a_cut_on_the_beat_and_not_beside_it():
    assert count(at("one-shot", 13))["drops played"] == 1
    assert count(up(13))["drops played"] == 1
    assert count(up(1), at("cut-out", 12, side="A", trigger="held"))["drops played"] == 1
    assert count(at("one-shot", 13, 2.0))["drops played"] == 0
    assert count(at("fade-in", 13, look="home", side="A", up_seconds=2.0))["drops played"] == 0


def test_a_long_build_is_played_by_a_long_rise_that_ends_with_it():
    ramp = {"look": "home", "side": "A", "level": 80}
    assert count(up(1, level=40), at("ramp", 5, up_seconds=8.0, **ramp))["long builds played"] == 1
    assert count(up(1, level=40), at("ramp", 5, up_seconds=4.0, **ramp))["long builds played"] == 0
    assert count(up(1, level=40), at("ramp", 8, up_seconds=2.0, **ramp))["long builds played"] == 0


def test_a_loud_section_left_dark_and_a_long_time_without_a_cue_are_counted():
    assert count(up(1), at("cut-out", 8, 4, side="A"))["songs with a dark loud section"] == 1
    assert count(up(1))["songs with a dark loud section"] == 0
    assert count()["songs that idle"] == 1
    assert longest_idle(Light(SONG, made(up(13)), RIG), made(up(13))) == pytest.approx(26.0, abs=0.1)


def test_both_ends_of_a_held_dark_are_actions_and_what_follows_by_itself_is_none():
    cues = made(up(9), at("cut-out", 12, side="A", trigger="held"), at("fade-out", 24, side="A", trigger="follow-on"))
    assert actions(cues, Light(SONG, cues, RIG).grid) == 3
