"""One person plays it: hands, pace, and what is said where something is left out."""

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cuesuggest.rules import check_hands, draft, load_profile, load_rig
from cuesuggest.rules.person.hands import Action, Hold, too_many_hands, too_much
from cuesuggest.score.grid import Grid
from tests.songs import hands_of_draft, make_analysis, make_cue, make_song, place_at
from tests.test_rules_properties import songs

BAND, RIG = load_profile("band"), load_rig(None)
VOLUNTEER = replace(RIG, practised="volunteer")
ANALYSIS = make_analysis("A8 B8 A8", bpm=120)


def at(*seconds):
    return [Action(each, each, 1, (index,)) for index, each in enumerate(seconds)]


# Common practice: a peak of one action a second for at most four, one in four seconds for long.
@pytest.mark.parametrize(
    ("moments", "wrong"),
    [
        ((0, 1, 2, 3), ()),
        ((0, 1, 2, 3, 4), (0, 1, 2, 3, 4)),
        ((0, 0.5), (0, 1)),
        ((0, 4, 8, 12, 16, 20, 24), ()),
        ((0, 1, 2, 3, 7), ()),
        ((0, 3, 6, 9, 12, 15, 18, 21, 24, 27, 30, 33, 36, 39, 42, 45, 48), tuple(range(17))),
    ],
)
def test_four_in_a_row_at_the_peak_and_then_one_in_four_seconds(moments, wrong):
    found = too_much(at(*moments), BAND, RIG)
    assert bool(found) == bool(wrong)
    assert set(found) <= set(wrong)


def test_a_volunteer_gets_twice_the_time():
    assert too_much(at(0, 1), BAND, RIG) == ()
    assert too_much(at(0, 1), BAND, VOLUNTEER) == (0, 1)
    assert too_much(at(0, 2, 4, 6), BAND, VOLUNTEER) == ()


def test_a_hand_on_a_fader_is_no_free_hand():
    long, longer, press = Hold(0, 8, 0), Hold(2, 9, 1), Hold(4, 4, 2)
    assert too_many_hands([long, longer], RIG) == ()
    assert too_many_hands([long, longer, press], RIG) == (0, 1, 2)
    assert too_many_hands([long, press], replace(RIG, hands=1)) == (0, 2)
    assert too_many_hands([long, Hold(8, 8, 3)], replace(RIG, hands=1)) == ()


def test_a_list_that_needs_three_hands_is_told_by_its_numbers():
    cues = [
        make_cue(1, "fade-in", place_at(ANALYSIS, 1), side="A", up_seconds=16.0),
        make_cue(2, "ramp", place_at(ANALYSIS, 3), side="B", up_seconds=12.0),
        make_cue(3, "cut-in", place_at(ANALYSIS, 5), side="C"),
    ]
    (told,) = check_hands(cues, BAND, RIG, Grid(ANALYSIS))
    assert told.startswith("Cues 1, 2, 3 from 0:02.0: more than 2 hands")


def test_what_somebody_else_does_takes_no_hand_of_the_operator():
    cues = [make_cue(n, "cut-in", place_at(ANALYSIS, 1, 1 + n / 10), who="house light") for n in range(1, 9)]
    assert check_hands(cues, BAND, RIG, Grid(ANALYSIS)) == []
    assert check_hands([replace(cue, who="operator") for cue in cues], BAND, RIG, Grid(ANALYSIS))


def test_every_press_of_a_series_is_an_action():
    from cuesuggest.score.records import Series

    cue = make_cue(1, "one-shot", place_at(ANALYSIS, 1), series=Series(1, 1, 16))
    assert check_hands([cue], BAND, VOLUNTEER, Grid(ANALYSIS))
    assert check_hands([replace(cue, series=Series(2, 1, 15))], BAND, RIG, Grid(ANALYSIS)) == []


def test_what_is_left_out_for_the_hands_is_said_on_a_cue_beside_it():
    busy = [("hit", bar, beat, 1) for bar in range(9, 17) for beat in (1.0, 3.0)]
    quick = replace(BAND, shots=replace(BAND.shots, spacing_seconds=1.0, most_per_song=40))
    rig = replace(VOLUNTEER, one_shot=replace(RIG.one_shot, run_seconds=0.5))
    analysis = make_analysis("A8 B8 A8", bpm=120, drive={"A": 0.35, "B": 0.8}, events=busy)
    found = draft(analysis, quick, rig)
    assert check_hands(found.cues, quick, rig, Grid(analysis)) == []
    said = [reason for cue in found.cues for reason in cue.reasons if "so that one person can play this" in reason]
    assert said


def test_with_one_hand_nothing_is_set_up_during_a_fade():
    one = replace(RIG, hands=1)
    found = draft(make_analysis("A8 B8 A8 B8", bpm=60, drive={"A": 0.35, "B": 0.8}), BAND, one)
    assert check_hands(found.cues, BAND, one, Grid(make_analysis("A8 B8 A8 B8", bpm=60))) == []


def test_kill_and_master_are_called_as_the_rig_calls_them():
    rig = replace(RIG, kill="red pedal", master="big fader")
    analysis = make_analysis("A8 B8", bpm=96, drive={"A": 0.35, "B": 0.7}, events=[("stop", 12, 3.0, 1)])
    found = draft(analysis, BAND, rig)
    held = [cue for cue in found.cues if cue.trigger == "held"]
    assert [hands_of_draft(found, analysis, rig).of(cue).split(":")[0] for cue in held] == ["Red pedal"]
    assert "Everything out: the red pedal and big fader" in " ".join(found.cautions)


RIGS = st.builds(
    lambda hands, practised, sides, settle, shot: replace(
        RIG,
        hands=hands,
        practised=practised,
        sides=tuple(replace(RIG.sides[0], name=name, settle_seconds=settle) for name in "ABC"[:sides]),
        one_shot=shot,
    ),
    hands=st.integers(1, 3),
    practised=st.sampled_from(["operator", "volunteer"]),
    sides=st.integers(1, 3),
    settle=st.sampled_from([0.0, 1.0, 3.0]),
    shot=st.sampled_from([None, RIG.one_shot, replace(RIG.one_shot, run_seconds=0.5, peak_after=0.4)]),
)
PROFILES = st.builds(
    lambda style, gap, burst, pace, factor, spacing: replace(
        style,
        hands=replace(style.hands, peak_gap_seconds=gap, burst=burst, sustained_seconds=pace, volunteer_factor=factor),
        shots=replace(style.shots, spacing_seconds=spacing, most_per_song=30),
    ),
    style=st.sampled_from([load_profile(name) for name in ("gentle", "band", "club")]),
    gap=st.sampled_from([0.5, 1.0, 1.5]),
    burst=st.integers(1, 6),
    pace=st.sampled_from([2.0, 4.0, 6.0]),
    factor=st.sampled_from([1.5, 2.0]),
    spacing=st.sampled_from([1.0, 4.0, 6.0]),
)


@settings(max_examples=120, deadline=None, derandomize=True)
@given(songs, PROFILES, RIGS)
def test_no_draft_asks_more_than_one_person_can_do(analysis, profile, rig):
    found = draft(analysis, profile, rig)
    assert check_hands(found.cues, profile, rig, Grid(analysis)) == []


def test_the_counter_finds_nothing_in_a_song_made_by_hand():
    song = make_song("A8 B8 A8", bpm=96)
    assert check_hands(song.cues, BAND, RIG, Grid(song.analysis)) == []
