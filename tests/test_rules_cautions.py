"""What is said before anybody plays it, and the counter of flashes over all sides."""

import re
from dataclasses import replace
from importlib.resources import files

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cuesuggest.analysis.types import Event
from cuesuggest.errors import ProfileError
from cuesuggest.rules import check_flashes, draft, kit, load_profile, load_rig
from cuesuggest.rules.person.flashes import Flash, crowded, flashes, most_flashes, runs
from cuesuggest.rules.settings.house import LocalRules
from cuesuggest.rules.settings.settings_file import shipped_rigs
from cuesuggest.score.grid import Grid
from cuesuggest.score.records import Look, Series
from tests.songs import hands_of_draft, make_analysis, make_cue, place_at
from tests.test_rules_hands import PROFILES
from tests.test_rules_properties import songs

BAND, RIG = load_profile("band"), load_rig(None)
LONG, LONG_DRIVE = "A8 B8 A8 B8 C8 B8", {"A": 0.35, "B": 0.85, "C": 0.5}
ANALYSIS = make_analysis("A8 B8 A8", bpm=120)
STROBE = replace(RIG.sides[0], source="strobe", still_beam=True)
STROBES = replace(RIG, sides=(STROBE, replace(STROBE, name="B")))

# Onsets per beat, tempo, and the worst count in a half-open second (facts of arithmetic; the limit 3 is WCAG 2.3.1's).
COUNTS = [
    (1, 120, 2),
    (1, 174, 3),
    (1, 180, 3),
    (1, 181, 4),
    (2, 90, 3),
    (2, 91, 4),
    (2, 120, 4),
    (2, 128, 5),
]


@pytest.mark.parametrize(("per_beat", "bpm", "worst"), COUNTS)
def test_flashes_are_counted_in_half_open_seconds(per_beat, bpm, worst):
    assert most_flashes([beat * 60 / bpm / per_beat for beat in range(64)]) == worst


def look(cycle):
    return Look("pulse", "Pulse", "lift", "strobe", 1.0, cycle, 1, "white", 80, 0.0, "pulses")


def lit(cycle, bars=4, side="A", first=1):
    """A strobe side that pulses from one bar to another."""
    return [
        make_cue(first, "cut-in", place_at(ANALYSIS, first), look="pulse", side=side),
        make_cue(first + 0.5, "cut-out", place_at(ANALYSIS, first + bars), side=side, down_seconds=0.0),
    ]


def test_two_sides_of_two_a_second_are_four_a_second_to_the_eye():
    other = [replace(cue, place=replace(cue.place, seconds=cue.place.seconds + 0.25)) for cue in lit(0.5, side="B")]
    other = [replace(cue, id=f"b/{cue.id}") for cue in other]
    assert check_flashes(lit(0.5), [look(0.5)], STROBES, Grid(ANALYSIS)) == [
        "Flashing without a break from 0:02.0 to 0:09.5; 5 s is long enough."
    ]
    (told, *_) = check_flashes([*lit(0.5), *other], [look(0.5)], STROBES, Grid(ANALYSIS))
    assert told == "4 flashes within a second at 0:02.0, over all sides; the limit is 3."


def test_what_jumps_up_at_the_same_moment_is_one_flash():
    same = [replace(cue, id=f"b/{cue.id}") for cue in lit(0.5, side="B")]
    found = flashes([*lit(0.5), *same], [look(0.5)], STROBES, ANALYSIS.bars)
    assert crowded(found) == []
    assert len(found) > 20


def test_a_series_of_one_shots_counts_with_every_press():
    shots = make_cue(9, "one-shot", place_at(ANALYSIS, 1), series=Series(1, 1, 4))
    assert [flash.seconds for flash in flashes([shots], (), RIG, Grid(ANALYSIS))] == [2.0, 4.0, 6.0, 8.0]


def test_a_slow_fade_is_no_flash_and_a_very_short_one_is():
    slow = make_cue(1, "fade-in", place_at(ANALYSIS, 1), side="A", up_seconds=1.0)
    assert flashes([slow], (), RIG, ANALYSIS.bars) == []
    assert len(flashes([replace(slow, up_seconds=0.2)], (), RIG, ANALYSIS.bars)) == 1


def test_flashing_that_goes_on_is_told_even_where_it_is_slow():
    beats = [Flash(beat * 0.9, "x") for beat in range(8)]
    assert runs(beats) == [(0.0, pytest.approx(6.3))]
    assert runs(beats[:6]) == []
    assert runs([Flash(float(beat), "x") for beat in range(20)]) == []


def test_a_local_limit_holds_with_its_source_and_a_looser_one_needs_it(tmp_path):
    fast = [make_cue(n, "one-shot", place_at(ANALYSIS, 1, 1 + n / 2)) for n in range(1, 5)]
    local = replace(RIG, local=LocalRules(flashes_per_second=4.0, source="town rule 12"))
    assert check_flashes(fast, (), RIG, Grid(ANALYSIS))
    assert check_flashes(fast, (), local, Grid(ANALYSIS)) == []
    assert check_flashes(fast, (), replace(RIG, local=LocalRules(flashes_per_second=2.0)), Grid(ANALYSIS))
    file = tmp_path / "own.toml"
    example = files("cuesuggest.rules.settings").joinpath("rigs/example.toml").read_text("utf-8")
    file.write_text(f"{example}\n[local]\nflashes_per_second = 4\n")
    with pytest.raises(ProfileError, match=r"more than 3 needs local\.source"):
        load_rig(file)


def test_a_draft_leaves_a_one_shot_out_where_all_together_would_flash_too_fast():
    events = [("hit", 41, beat, 1) for beat in (1.0, 1.5, 2.0, 2.5, 3.0, 3.5)]
    quick = replace(
        BAND,
        shots=replace(BAND.shots, spacing_seconds=1.0, most_per_song=40),
        hands=replace(BAND.hands, peak_gap_seconds=0.3, burst=20, sustained_seconds=1.0),
    )
    rig = replace(RIG, one_shot=replace(RIG.one_shot, run_seconds=0.1, peak_after=0.0), hands=4)
    analysis = make_analysis(LONG, bpm=120, drive=LONG_DRIVE, events=events)
    for limit in (3.0, 1.0):
        held = replace(rig, local=LocalRules(flashes_per_second=limit))
        found = draft(analysis, quick, held)
        assert check_flashes(found.cues, found.looks, held, Grid(analysis)) == []


STROBE_RIGS = st.builds(
    lambda rig, sides, shot, haze, cameras, kill, limit: replace(
        rig,
        sides=tuple(replace(rig.sides[0], name=name) for name in "ABC"[:sides]),
        one_shot=shot,
        haze=haze,
        cameras=cameras,
        kill=kill,
        local=LocalRules(flashes_per_second=limit),
    ),
    rig=st.sampled_from([RIG, STROBES, *shipped_rigs()]),
    sides=st.integers(1, 3),
    shot=st.sampled_from([None, RIG.one_shot, replace(RIG.one_shot, source="strobe", run_seconds=0.2, peak_after=0.0)]),
    haze=st.booleans(),
    cameras=st.booleans(),
    kill=st.sampled_from(["", "kill button"]),
    limit=st.sampled_from([2.0, 3.0]),
)


def all_words(found, analysis, rig):
    words = hands_of_draft(found, analysis, rig)
    for cue in found.cues:
        yield from (*cue.reasons, *cue.cautions, words.of(cue))
    yield from found.cautions
    yield from (each.description for each in found.looks)
    yield from (question.text for question in found.questions)
    yield from (reason for each in found.plan for reason in each.reasons)


@settings(max_examples=120, deadline=None, derandomize=True)
@given(songs, PROFILES, STROBE_RIGS)
def test_no_draft_flashes_too_fast_or_too_long_and_none_claims_anything(analysis, profile, rig):
    found = draft(analysis, profile, rig)
    assert check_flashes(found.cues, found.looks, rig, Grid(analysis)) == []
    words = " ".join(all_words(found, analysis, rig)).lower()
    assert not re.search(r"\b(?:un)?safe(?:ly|ty)?\b|complian|approved|certif", words)
    assert len(found.cautions) == len(set(found.cautions))
    if not rig.haze:
        assert not re.search(r"beams? (?:moving|that)|columns", " ".join(each.description for each in found.looks))


def test_the_first_line_says_that_only_timing_is_planned():
    (first, *_) = draft(ANALYSIS, BAND, RIG).cautions
    assert "plans timing only" in first
    assert "local codes and licensed practice decide" in first


def cautions(rig=RIG, **kwargs):
    return " ".join(draft(make_analysis(LONG, drive=LONG_DRIVE, **kwargs), BAND, rig).cautions)


def test_heights_are_the_users_own_or_told_with_where_they_come_from():
    general = cautions()
    assert "3 m above" in general
    assert "checklist" in general
    assert "second hand" in general
    own = cautions(replace(RIG, local=LocalRules(separation="4 m above any floor (county permit 7)")))
    assert "Lasers, heights and distances: 4 m above any floor (county permit 7)." in own
    assert "3 m above" not in own
    assert "heights" not in cautions(load_rig("two-lamps-strobe"))


def test_a_rig_without_a_kill_or_a_master_is_told_to_agree_on_one():
    assert "Everything out: the kill button and master fader" in cautions()
    assert "names no kill button and no master" in cautions(replace(RIG, kill="", master=""))


def test_cameras_are_told_of_steps_strobes_and_beams():
    watched = cautions(replace(RIG, cameras=True))
    assert "steps in brightness" in watched
    assert "lenses" in watched
    strobe = cautions(replace(load_rig("two-lamps-strobe"), cameras=True), events=[("hit", 42, 1.0, 1)])
    assert "stripes" in strobe
    assert "lenses" not in strobe
    assert "Cameras" not in cautions()


def test_without_haze_no_look_is_for_the_air():
    found = draft(make_analysis(LONG, drive=LONG_DRIVE), BAND, replace(RIG, haze=False))
    assert any("no haze" in each for each in found.cautions)
    assert all("wall" in each.description for each in found.looks if each.id not in ("home", "one-shot"))


def test_a_laser_that_comes_in_right_after_talk_is_special_and_no_other_cue_is():
    talk = Event("talk", 12.0, 21.5, None, None, 0.9)
    found = draft(make_analysis("A8 B8 A8", drive={"A": 0.1, "B": 0.8}, events=[talk]), BAND, RIG)
    marked = [cue.id for cue in found.cues if cue.cautions]
    assert marked == ["enter/s2/lift/1"]
    assert "people are clear" in next(cue for cue in found.cues if cue.cautions).cautions[0]
    lamps = draft(
        make_analysis("A8 B8 A8", drive={"A": 0.1, "B": 0.8}, events=[talk]), BAND, load_rig("two-lamps-strobe")
    )
    assert not [cue for cue in lamps.cues if cue.cautions]


def test_the_kit_carries_the_same_cautions():
    made = kit(ANALYSIS, BAND, RIG).cautions
    assert "plans timing only" in made[0]
    assert any("checklist" in each for each in made)
