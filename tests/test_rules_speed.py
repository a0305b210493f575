"""How fast the motion goes: a simple number of bars, set as the rig says, set anew where the tempo moves."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cuesuggest.rules import check_playable, draft, load_profile, load_rig
from cuesuggest.rules.settings.house import Speed
from cuesuggest.score.grid import Grid
from cuesuggest.score.light import hand_starts
from tests.songs import hands_of_draft, make_analysis, retimed
from tests.test_rules_properties import STYLES, any_rig, quick, some_songs

BAND, RIG = load_profile("band"), load_rig(None)
LIFT = {"A": 0.1, "B": 0.7}


def rig_of(unit):
    return replace(RIG, speed=Speed(unit, "the wheel"))


def drafted(analysis, unit):
    rig = rig_of(unit)
    found = draft(analysis, BAND, rig)
    assert check_playable(found.cues, rig, found.looks, Grid(analysis)) == []
    return found


def sentences(analysis, unit, kind):
    """What the hand does for each cue of a kind."""
    found = drafted(analysis, unit)
    words = hands_of_draft(found, analysis, rig_of(unit))
    return [words.of(cue) for cue in found.cues if cue.kind == kind]


def speeds(found):
    return [cue for cue in found.cues if cue.kind == "speed"]


def faster(bar, bpm=120.0, form="A8 B24", **kwargs):
    """Rest, then one lift at 96 beats a minute that is faster from a bar on."""
    return retimed(make_analysis(form, drive=LIFT, **kwargs), tempos={bar: bpm})


# Motion restarts with the look


def test_lift_and_intense_restart_with_the_look_and_subtle_need_not():
    analysis = make_analysis("A8 B8 A8 B8 C8 B8", drive={"A": 0.42, "B": 0.9, "C": 0.5})
    found = drafted(analysis, "none")
    category, words = {look.id: look.category for look in found.looks}, hands_of_draft(found, analysis, RIG)
    entries = [cue for cue in found.cues if cue.id.startswith("enter/")]
    told = {(category[cue.look], "motion restarted" in words.of(cue)) for cue in entries}
    assert told == {("subtle", False), ("lift", True), ("intense", True)}


# Setting it with the look


@pytest.mark.parametrize(
    ("unit", "count_in", "said"),
    [
        ("bpm", 0, "; the wheel at 96 BPM, one round in 2 bars (5.0 s)"),
        ("watch", 0, "; the wheel so that one round takes 5.0 s by a watch"),
        ("tap", 0, "; one round in 2 bars (5.0 s); tap the tempo on the band's first beats (the wheel)"),
        ("tap", 1, "; one round in 2 bars (5.0 s); tap the tempo with the count-in (the wheel)"),
        ("none", 0, "before the song starts"),
    ],
)
def test_the_first_recall_says_how_the_speed_is_set(unit, count_in, said):
    first, *_ = sentences(make_analysis("B16", start=6.0, count_in=count_in, drive=LIFT), unit, "recall")
    assert first.endswith(said)


def test_a_rig_that_says_nothing_of_speed_cannot_set_it(tmp_path):
    old = tmp_path / "old.toml"
    text = "\n".join(line for line in TOML.splitlines() if "speed" not in line)
    old.write_text(text, encoding="utf-8")
    assert load_rig(old).speed == Speed("none", "")


TOML = """
hands = 1
practised = "operator"
reaction_seconds = 0.3
haze = true
cameras = false
[[sides]]
name = "A"
source = "lamp"
jumps = false
settle_seconds = 1.0
"""


# A tempo that moves


@pytest.mark.parametrize(
    ("unit", "how"),
    [
        ("bpm", "by ear: the wheel to 120 BPM, one round in 2 bars (4.0 s)"),
        ("watch", "by ear: the wheel so that one round takes 4.0 s by a watch"),
        ("tap", "by ear: tap the beat on the wheel, 4 taps from the 1, one round in 2 bars (4.0 s)"),
    ],
)
def test_a_new_tempo_is_set_by_ear_on_its_first_free_downbeat(unit, how):
    (cue,) = speeds(drafted(faster(25), unit))
    assert (cue.place.bar, cue.place.beat, cue.cycle_seconds) == (25, 1.0, 4.0)
    assert sentences(faster(25), unit, "speed")[0].endswith(how)
    assert cue.reasons == ("The band plays 120 beats a minute here, the motion goes with 96.",)


def test_a_look_for_a_new_tempo_is_set_in_the_dark_where_the_tempo_can_be_dialled():
    # The first two lifts are one look, built for the longer one; the second comes in faster.
    analysis = faster(25, form="B16 A8 B8 A8 B8")
    (cue,) = speeds(drafted(analysis, "bpm"))
    entry = next(each for each in drafted(analysis, "bpm").cues if each.id == "enter/s3/lift/1")
    assert "in the dark" in sentences(analysis, "bpm", "speed")[0]
    assert cue.side == entry.side
    assert cue.place.bar < entry.place.bar
    (tapped,) = speeds(drafted(analysis, "tap"))
    assert tapped.place.bar > entry.place.bar
    assert "by ear" in sentences(analysis, "tap", "speed")[0]


def test_a_look_that_its_side_still_holds_is_at_the_speed_it_was_set_to():
    found = drafted(faster(25, form="B24 A8 B8 A8 B16", bpm=120.0), "bpm")
    first = speeds(found)
    assert len(first) == 1
    assert len([each for each in found.cues if each.kind == "recall"]) == 2
    slow_again = retimed(make_analysis("B24 A8 B8 A8 B16", drive=LIFT), tempos={9: 120.0, 25: 96.0})
    assert [round(60 / (each.cycle_seconds / 8)) for each in speeds(drafted(slow_again, "bpm"))] == [120, 96]


@pytest.mark.parametrize(("bpm", "cues"), [(98.0, 0), (105.0, 0), (106.0, 1), (86.0, 1), (88.0, 0)])
def test_a_tempo_within_what_the_style_allows_is_left_alone(bpm, cues):
    assert BAND.looks.speed_within.lift == 0.10
    assert len(speeds(drafted(faster(25, bpm), "bpm"))) == cues


def test_a_slow_wave_needs_the_beat_less_than_a_lift():
    subtle = make_analysis("B32", drive={"B": 0.42})
    assert speeds(drafted(retimed(subtle, tempos={25: 115.0}), "bpm")) == []
    assert len(speeds(drafted(retimed(subtle, tempos={25: 125.0}), "bpm"))) == 1


def test_a_bar_or_two_of_another_tempo_set_nothing():
    analysis = retimed(make_analysis("A8 B24", drive=LIFT), tempos={20: 140.0, 21: 96.0})
    assert speeds(drafted(analysis, "bpm")) == []


def test_a_drift_is_set_when_it_has_gone_too_far_since_the_last_time():
    tempos = {bar: 96.0 + bar - 8 for bar in range(9, 49, 3)}
    analysis = retimed(make_analysis("A8 B40", drive=LIFT), tempos=tempos)
    cues = speeds(drafted(analysis, "bpm"))
    assert 1 <= len(cues) <= 2


def test_a_wobble_never_asks_for_a_speed_on_a_lit_side():
    # Eight bars are heard faster, and then it is as before: nobody taps for that.
    wobble = retimed(make_analysis("A8 B32", drive=LIFT), tempos={17: 120.0, 25: 96.0})
    assert speeds(drafted(wobble, "tap")) == []
    # The last bars of a song are not worth it, either.
    assert speeds(drafted(faster(29), "tap")) == []
    lasting = retimed(make_analysis("A8 B32", drive=LIFT), tempos={17: 120.0})
    assert len(speeds(drafted(lasting, "tap"))) == 1


def test_a_stretch_that_nobody_counts_sets_no_speed():
    free = make_analysis("A8 B32", drive=LIFT)
    first, last = free.bars[16].start, free.bars[30].start
    loose = replace(free.events[0], kind="uncounted", start=first, end=last, confidence=0.9)
    rubato = retimed(replace(free, events=(*free.events, loose)), tempos={17: 120.0})
    assert speeds(drafted(rubato, "tap")) == []


def test_at_double_tempo_a_round_takes_more_bars_and_the_dial_says_so():
    analysis = retimed(make_analysis("A8 B24", drive=LIFT), tempos={21: 210.0, 33: 96.0})
    (cue,) = speeds(drafted(analysis, "bpm"))
    low, high = BAND.looks.cycle_seconds.lift
    assert low <= cue.cycle_seconds <= high
    (hand,) = sentences(analysis, "bpm", "speed")
    assert "one round in 4 bars" in hand
    assert "to 105 BPM" in hand


def test_where_it_cannot_be_set_the_plan_says_so():
    found = drafted(faster(25), "none")
    assert speeds(found) == []
    assert "The tempo moves from 96 to 120 here; the look keeps its speed." in found.plan[1].reasons


def test_nothing_is_set_in_a_slowing_down():
    analysis = make_analysis("A8 B24", drive=LIFT, events=[("ritardando", 25, 1.0, 32)])
    assert speeds(drafted(retimed(analysis, tempos={25: 70.0}), "tap")) == []


@quick
@given(some_songs(7, uneven=st.just(True)), st.sampled_from(STYLES), any_rig())
def test_every_motion_takes_its_seconds_and_every_change_of_speed_has_its_reason(analysis, profile, rig):
    found = draft(analysis, profile, rig)
    looks = {look.id: look for look in found.looks}
    for look in found.looks:
        # A strobe's round is a flash, and has a limit of its own.
        if look.cycle_bars is not None and look.source != "strobe":
            low, high = profile.looks.cycle_seconds.of(look.category)
            assert low - 0.01 <= look.cycle_seconds <= high + 0.01
    cues = [cue for cue in found.cues if cue.kind == "speed"]
    assert not cues or rig.speed.unit != "none"
    gap = profile.hands.peak_gap_seconds * (profile.hands.volunteer_factor if rig.practised == "volunteer" else 1.0)
    for cue in cues:
        low, high = profile.looks.cycle_seconds.of(looks[cue.look].category)
        assert low - 0.01 <= cue.cycle_seconds <= high + 0.01 or looks[cue.look].source == "strobe"
        assert cue.place.beat == 1.0
        others = [hand_starts(other) for other in found.cues if other is not cue and other.kind != "one-shot"]
        assert all(abs(at - cue.place.seconds) >= gap - 0.01 for at in others)
