from dataclasses import replace

import pytest

from cuesuggest.analysis.types import Alternative, Event
from cuesuggest.rules import Pin, check_playable, draft, load_profile, load_rig
from tests.songs import hands_of_draft, make_analysis, retimed

BAND, RIG = load_profile("band"), load_rig(None)
ONE_SIDE = replace(RIG, sides=RIG.sides[:1])
# A chorus below the floor of an intense look, so that it is a lift.
VERSE_CHORUS = {"A": 0.38, "B": 0.7}
# B3 is intense: eight bars in forty-eight are inside the budget.
LONG = "A8 B8 A8 B8 C8 B8"
LONG_DRIVE = {"A": 0.35, "B": 0.85, "C": 0.5}


def drafted(form, rig=RIG, **kwargs):
    found = draft(make_analysis(form, **kwargs), BAND, rig)
    assert check_playable(found.cues, rig) == []
    return found


def said(start, form, rig=RIG, **kwargs):
    """What the hand does for the one cue whose id starts so."""
    found = drafted(form, rig, **kwargs)
    return hands_of_draft(found, make_analysis(form, **kwargs), rig).of(cue(found, start))


def cue(found, start):
    """The one cue whose id starts so."""
    (only,) = [each for each in found.cues if each.id.startswith(start)]
    return only


def kinds(found):
    return [each.kind for each in found.cues]


# Looks


def test_a_song_has_one_look_for_each_category_and_the_home_look():
    found = drafted("A8 B8 A8", drive=VERSE_CHORUS)
    assert [(look.id, look.category, look.home) for look in found.looks] == [
        ("subtle-1", "subtle", False),
        ("lift-1", "lift", False),
        ("home", "subtle", True),
    ]


def test_the_biggest_pass_gets_a_second_look_if_its_category_was_seen_before():
    found = drafted("A8 B8 A8 B8", drive=VERSE_CHORUS)
    assert [each.look for each in found.plan] == ["subtle-1", "lift-1", "subtle-1", "lift-2"]


@pytest.mark.parametrize("bpm", [40, 63, 96, 128, 174, 200])
def test_motion_takes_a_whole_number_or_simple_fraction_of_bars_in_the_seconds_of_its_category(bpm):
    for look in drafted(LONG, bpm=bpm, drive=LONG_DRIVE).looks:
        if look.cycle_bars is None:
            continue
        low, high = BAND.looks.cycle_seconds.of(look.category)
        assert low <= look.cycle_seconds <= high
        assert look.cycle_seconds == pytest.approx(look.cycle_bars * 240 / bpm, abs=0.01)
        assert (look.cycle_bars >= 1 and look.cycle_bars.is_integer()) or (1 / look.cycle_bars).is_integer()


def test_no_look_stands_still_and_none_goes_over_the_ceiling():
    for look in drafted(LONG, drive=LONG_DRIVE).looks:
        assert look.cycle_seconds
        assert look.level_ceiling <= 80


# Sides and entries


def test_looks_alternate_between_the_sides():
    entries = [each for each in drafted(LONG, drive=LONG_DRIVE).cues if each.id.startswith("enter/")]
    assert [each.side for each in entries] == ["A", "B", "A", "B", "A", "B"]


def test_each_look_is_recalled_in_the_dark_before_it_comes_in():
    found = drafted("A8 B8 C8", drive={"A": 0.4, "B": 0.7, "C": 0.95})
    assert [(each.kind, str(each.place), each.side) for each in found.cues[2:6]] == [
        ("recall", "A1, bar 5 of 8", "B"),
        ("crossfade", "B1, bar 1 of 8", "B"),
        ("recall", "B1, bar 5 of 8", "A"),
        ("cut-in", "C1, bar 1 of 8", "A"),
    ]


def test_a_side_that_still_holds_the_look_is_not_set_again():
    found = drafted("A8 B8 A8", drive=VERSE_CHORUS)
    assert [str(each.place) for each in found.cues if each.kind == "recall"] == ["0:00.0", "A1, bar 5 of 8"]
    assert [each.side for each in found.cues if each.id.startswith("enter/")] == ["A", "B", "A"]


def test_a_look_that_comes_back_keeps_its_side_and_another_makes_room():
    found = drafted("A8 B8 C8 B8 D8", drive={"A": 0.4, "B": 0.7, "C": 0.0, "D": 0.4})
    assert [each.look for each in found.plan] == ["subtle-1", "lift-1", None, "lift-2", "subtle-1"]
    entries = [(each.look, each.side) for each in found.cues if each.id.startswith("enter/")]
    assert entries == [("subtle-1", "A"), ("lift-1", "B"), ("lift-2", "B"), ("subtle-1", "A")]
    assert [each.look for each in found.cues if each.kind == "recall"] == ["subtle-1", "lift-1", "lift-2"]


def test_the_first_look_is_ready_before_the_song():
    first = drafted("A8 B8", start=0.0, drive=VERSE_CHORUS).cues[0]
    assert (first.kind, first.place.bar, first.place.seconds) == ("recall", None, 0.0)


def test_a_subtle_look_starts_on_the_downbeat_and_settles_over_bars():
    enter = cue(drafted("A8 B8", drive=VERSE_CHORUS), "enter/s1")
    assert (enter.kind, enter.anchor, enter.up_beats, enter.up_seconds) == ("fade-in", "starts-on", 8, 5.0)
    hand = said("enter/s1", "A8 B8", drive=VERSE_CHORUS)
    assert hand == "Side A: fader up to 40 % over 8 beats, from the 1"


def test_a_lift_comes_in_over_two_beats_and_the_new_look_leads():
    enter = cue(drafted("A8 B8", drive=VERSE_CHORUS), "enter/s2")
    assert (enter.kind, enter.up_beats, enter.down_beats) == ("crossfade", 2, 2)
    assert "The new look leads, so there is no dip." in enter.reasons
    assert said("enter/s2", "A8 B8", drive=VERSE_CHORUS).endswith("side A out over 2 beats once B is half up")


def test_an_intense_look_cuts_in_on_the_downbeat():
    enter = cue(drafted(LONG, drive=LONG_DRIVE), "enter/s6")
    assert (enter.kind, enter.up_beats, enter.place.beat) == ("cut-in", 0, 1.0)


def test_a_fade_lands_on_the_downbeat_out_of_a_build():
    build = [("build", 13, 1.0, 16)]
    found = drafted("A8 B8 A8", drive={"A": 0.6, "B": 0.05}, events=build)
    enter = cue(found, "enter/s3")
    assert (enter.kind, enter.anchor, enter.up_beats) == ("fade-in", "lands-on", 16)
    assert str(enter.place) == "A2, bar 1 of 8"
    hand = said("enter/s3", "A8 B8 A8", drive={"A": 0.6, "B": 0.05}, events=build)
    assert "over 16 beats, from the 1, lands at A2, bar 1 of 8" in hand
    calm = cue(drafted("A8 B8 A8", drive={"A": 0.6, "B": 0.05}), "enter/s3")
    assert calm.anchor == "starts-on"


def test_the_old_look_climbs_with_a_build_into_a_bigger_one():
    found = drafted("A8 B8", drive=VERSE_CHORUS, events=[("build", 5, 1.0, 16)])
    rise = cue(found, "build/s1")
    assert (rise.kind, rise.anchor, rise.side, rise.up_seconds) == ("ramp", "lands-on", "A", 10.0)
    assert rise.level > cue(found, "enter/s1").level


def test_the_same_look_going_on_needs_no_cue():
    found = drafted("A8 B8 C8", bpm=160, drive={"A": 0.38, "B": 0.4, "C": 0.39})
    assert kinds(found) == ["recall", "fade-in", "fade-out"]


def test_a_changed_level_in_one_look_is_one_ramp():
    found = drafted("A8 A8 A8", drive={"A1": 0.48, "A2": 0.29, "A3": 0.3})
    assert kinds(found) == ["recall", "fade-in", "ramp", "fade-out"]
    assert cue(found, "ramp/s2").level == found.plan[1].level < found.plan[0].level


def test_on_one_side_a_look_goes_out_changes_in_the_dark_and_comes_back():
    found = drafted("A16 B8", ONE_SIDE, bpm=60, drive=VERSE_CHORUS)
    changes = [kind for kind in kinds(found) if kind != "ramp"]
    assert changes == ["recall", "fade-in", "fade-out", "recall", "fade-in", "fade-out"]
    assert "changed in the dark on the only side" in cue(found, "leave/s1").reasons[0]


def test_what_is_too_short_for_a_change_is_merged_and_said():
    found = drafted("A8 B2 A8", drive={"A": 0.38, "B": 0.62})
    assert [each.look for each in found.plan] == ["subtle-1"] * 3
    assert "It keeps the look of A1, because it is too short to be worth a change." in found.plan[1].reasons
    assert "crossfade" not in kinds(found)


def test_what_is_loud_but_short_is_not_left_dark_for_it():
    found = drafted("O4 A3 O4 A8", drive={"O": 0.0, "A": 0.7})
    assert found.plan[1].category == "lift"


# Exits, stops, the end


def test_the_light_leaves_early_before_a_quiet_part():
    leave = cue(drafted("A8 B8 A8", drive={"A": 0.6, "B": 0.05}), "leave/s1")
    assert (leave.kind, str(leave.place), leave.down_beats) == ("fade-out", "A1, bar 8 of 8", 4)
    assert "leaves early" in leave.reasons[0]
    assert leave.reasons[0].endswith("so that the quiet after it starts dark.")


def test_what_is_dark_by_decision_is_not_called_quiet():
    analysis = make_analysis("A8 B8 C8", drive={"A": 0.5, "B": 0.6, "C": 0.75})
    found = draft(analysis, BAND, RIG, {analysis.sections[2].id: Pin("rest")})
    (reason,) = cue(found, "leave/s2").reasons
    assert reason.endswith("of B1, so that C1 starts dark.")


def test_it_is_never_dark_before_the_last_hit():
    hit = [("hit", 9, 1.0, 1)]
    leave = cue(drafted("A8 B8 A8", drive={"A": 0.6, "B": 0.05}, events=hit), "leave/s1")
    assert str(leave.place) == "B1, bar 1 of 8"
    assert "never dark before it" in leave.reasons[0]


def test_a_long_stop_cuts_out_with_the_band_and_back_in_with_it():
    found = drafted("A8 B8", drive=VERSE_CHORUS, events=[("stop", 12, 3.2, 1.8)])
    out, back = cue(found, "stop/s2/out"), cue(found, "stop/s2/back")
    assert (out.kind, out.place.bar, out.place.beat) == ("cut-out", 12, 3.2)
    assert (back.kind, str(back.place), back.side) == ("cut-in", "B1, bar 5 of 8", out.side)
    assert back.level == cue(found, "enter/s2").level


def test_a_stop_too_short_for_two_actions_is_one_button_held():
    found = drafted("A8 B8", drive=VERSE_CHORUS, events=[("stop", 12, 4.0, 1)])
    held = cue(found, "stop/s2")
    assert (held.kind, held.trigger) == ("cut-out", "held")
    hand = said("stop/s2", "A8 B8", drive=VERSE_CHORUS, events=[("stop", 12, 4.0, 1)])
    assert hand == "Kill button: press on the 4, as the band stops, hold, let go on the 1"


@pytest.mark.parametrize(
    ("rig", "beats", "why"),
    [(replace(RIG, kill="", hands=1), 1.0, "no kill button"), (RIG, 0.2, "before the hand is down")],
)
def test_a_stop_that_cannot_be_played_is_left_alone_and_said(rig, beats, why):
    found = drafted("A8 B8", rig, drive=VERSE_CHORUS, events=[("stop", 12, 4.0, beats)])
    assert not [each for each in found.cues if each.id.startswith("stop/")]
    assert why in found.plan[1].reasons[-1]


def test_without_a_kill_button_two_hands_play_a_short_stop_as_one_gesture():
    found = drafted("A8 B8", replace(RIG, kill=""), drive=VERSE_CHORUS, events=[("stop", 12, 4.0, 1)])
    out, back = cue(found, "stop/s2/out"), cue(found, "stop/s2/back")
    assert back.place.seconds - out.place.seconds < BAND.hands.peak_gap_seconds
    hand = said("stop/s2/back", "A8 B8", replace(RIG, kill=""), drive=VERSE_CHORUS, events=[("stop", 12, 4.0, 1)])
    assert "with the same gesture" in hand


def test_after_a_stop_a_lift_cuts_in_with_the_band():
    found = drafted("A8 B8", drive=VERSE_CHORUS, events=[("stop", 8, 2.1, 2.9)])
    assert cue(found, "leave/s1/stop").kind == "cut-out"
    assert cue(found, "enter/s2").kind == "cut-in"


def test_a_stop_of_half_a_beat_before_a_change_is_one_gesture_of_two_hands():
    found = drafted("A8 B8", bpm=80, drive=VERSE_CHORUS, events=[("stop", 8, 4.5, 0.5)])
    out, enter = cue(found, "leave/s1/stop"), cue(found, "enter/s2")
    assert (out.kind, enter.kind) == ("cut-out", "cut-in")
    assert out.side != enter.side
    assert 0 < enter.place.seconds - out.place.seconds < 0.5


def test_nothing_rises_across_a_silence():
    # Two hits and a silence before the drop: the rise out of the dark is there before them, and comes back with it.
    events = [("build", 9, 1, 32.0), ("stop", 16, 2.0, 3.0), ("drop", 17, 1, 0.0)]
    found = drafted("A8 O8 B8", drive={"A": 0.4, "O": 0.05, "B": 0.7}, events=events)
    enter = cue(found, "enter/s3")
    assert (enter.anchor, str(enter.place)) == ("lands-on", "O1, bar 8 of 8 beat 2")
    out, back = cue(found, "stop/s2/out"), cue(found, "stop/s2/back")
    assert (out.kind, str(out.place), back.kind, str(back.place)) == (
        "cut-out",
        "O1, bar 8 of 8 beat 2",
        "cut-in",
        "B1, bar 1 of 8",
    )


def test_a_way_in_is_up_before_the_band_stops():
    # Eight counts of fade, and a stop on the fifth.
    found = drafted("O8 A16", drive={"O": 0.0, "A": 0.4}, events=[("stop", 10, 1.0, 4.0)])
    enter = cue(found, "enter/s2")
    assert enter.place.seconds + enter.up_seconds <= cue(found, "stop/s2/out").place.seconds + 1e-3
    assert "It is up before the band stops." in enter.reasons


def test_a_fade_out_does_not_go_on_through_a_silence():
    found = drafted("A8 O8 A8", drive={"A": 0.6, "O": 0.05}, events=[("stop", 8, 3.0, 2.0)])
    leave = cue(found, "leave/s1")
    assert (leave.kind, str(leave.place)) == ("cut-out", "A1, bar 8 of 8 beat 3")


def test_out_of_the_dark_a_look_rises_with_a_build_for_an_intense_one_to_cut_into():
    events = [("build", 9, 1, 32.0), ("drop", 17, 1, 0.0)]
    found = drafted("I8 O8 D8 A8", drive={"I": 0.02, "A": 0.4, "O": 0.05, "D": 0.9}, events=events)
    rise, cut = cue(found, "enter/s2"), cue(found, "enter/s3")
    assert (rise.kind, rise.anchor, str(rise.place), rise.up_beats) == ("fade-in", "lands-on", "D1, bar 1 of 8", 28)
    assert (cut.kind, str(cut.place)) == ("cut-in", "D1, bar 1 of 8")


def test_where_one_look_goes_on_through_a_build_its_level_climbs_to_the_end_of_it():
    analysis = make_analysis("A8 B8", bpm=120, drive={"A": 0.6, "B": 0.7}, events=[("build", 5, 1.0, 16)])
    found = draft(analysis, BAND, RIG, {"s1": Pin("lift"), "s2": Pin("lift", enters=False)})
    ramp = cue(found, "ramp/s2")
    assert (ramp.anchor, ramp.up_beats, str(ramp.place)) == ("lands-on", 16, "B1, bar 1 of 8")


def test_where_a_drop_lands_a_lift_cuts_in_so_that_a_hand_is_free_for_the_one_shot():
    found = drafted("A8 B8", drive=VERSE_CHORUS, events=[("drop", 9, 1, 0.0)])
    assert cue(found, "enter/s2").kind == "cut-in"
    assert [str(shot.place) for shot in shots(found)] == ["B1, bar 1 of 8"]


def test_the_ending_is_held_to_the_cut_off_and_fades_with_the_ring_out():
    analysis = make_analysis("A8 B8", drive=VERSE_CHORUS, ring_out=3.0)
    end = draft(analysis, BAND, RIG).cues[-1]
    assert (end.id, end.kind, end.trigger, end.anchor) == ("ending/s2/out/1", "fade-out", "hand", "starts-on")
    assert end.place.seconds == analysis.sections[-1].end
    assert end.down_seconds == pytest.approx(3.0, abs=0.01)
    assert "watched, not counted" in end.reasons[0]


def test_the_ending_waits_for_the_last_hit():
    hit = Event("hit", 42.5, 42.6, None, None, 0.9)
    found = drafted("A8 B8", drive=VERSE_CHORUS, events=[hit], ring_out=0)
    assert found.cues[-1].place.seconds >= 42.5


def thinning(analysis, last):
    """The two bars up to one of them with hardly anything in them."""
    thin = tuple(replace(bar, drive=0.2) if last - 2 < bar.number <= last else bar for bar in analysis.bars)
    return replace(analysis, bars=thin)


def test_a_held_last_chord_is_faded_by_eye_and_not_dark_before_it():
    analysis = thinning(make_analysis("A8 B8", drive=VERSE_CHORUS, ring_out=0), 16)
    end = draft(analysis, BAND, RIG).cues[-1]
    assert end.place.seconds >= analysis.sections[-1].end - 1e-3


def test_before_a_pause_what_thins_out_lets_the_light_leave_early():
    analysis = thinning(make_analysis("A8 B8 A8", drive=VERSE_CHORUS), 16)
    paused = retimed(analysis, pauses={17: 20.0})
    end = cue(draft(paused, BAND, RIG), "leave/s2")
    assert (str(end.place), end.down_beats) == ("B1, bar 7 of 8", 8)


def test_light_is_out_before_anybody_talks():
    paused = retimed(make_analysis("A8 B8 A8", drive=VERSE_CHORUS), pauses={17: 20.0})
    begin = paused.sections[1].end
    talk = Event("talk", begin + 1.0, begin + 18.0, None, None, 0.9)
    ring = Event("ring-out", begin, begin + 4.0, None, None, 0.9)
    found = draft(replace(paused, events=(*paused.events, ring, talk)), BAND, RIG)
    out = cue(found, "ending/s2")
    assert out.place.seconds + out.down_seconds <= begin + 1.0 + 1e-3
    assert "It is out before anybody speaks or counts." in out.reasons[0]


def test_a_pause_inside_a_section_takes_the_light_out():
    paused = retimed(make_analysis("A8 B16 A8", drive=VERSE_CHORUS), pauses={17: 20.0})
    found = draft(paused, BAND, RIG)
    out = [each for each in found.cues if each.id.startswith("ending/s2")]
    assert out[0].place.seconds <= paused.bars[15].end + 1e-3
    assert any(each.id.startswith("enter/s2/") and each.place.bar == 17 for each in found.cues)


def test_a_song_that_ends_dark_needs_no_ending():
    found = drafted("A8 B8 A8 O8", drive={"A": 0.4, "B": 0.8, "O": 0.05})
    assert not [each for each in found.cues if each.id.startswith("ending/")]


# One-shots


def shots(found):
    return [each for each in found.cues if each.kind == "one-shot"]


def test_a_hit_in_a_lift_fires_the_one_shot_so_that_its_peak_meets_the_beat():
    (shot,) = shots(drafted("A8 B8", drive=VERSE_CHORUS, events=[("hit", 13, 3.0, 1)]))
    assert str(shot.place) == "B1, bar 5 of 8 beat 3"
    hand = said("shot/", "A8 B8", drive=VERSE_CHORUS, events=[("hit", 13, 3.0, 1)])
    assert hand == "One-shot button: press 0.15 s before the 3, so that its peak meets the beat"


def test_a_hit_in_a_quiet_section_is_left_to_the_band():
    assert shots(drafted("A8 B8", drive=VERSE_CHORUS, events=[("hit", 5, 3.0, 1)])) == []


def test_two_hits_close_together_get_one_one_shot():
    events = [("hit", 13, 1.0, 1), ("hit", 13, 3.0, 1)]
    assert len(shots(drafted("A8 B8", drive=VERSE_CHORUS, events=events))) == 1


def test_a_long_intense_section_carries_a_series_that_ends_with_its_last_phrase():
    (shot,) = shots(drafted(LONG, drive=LONG_DRIVE))
    assert (shot.series.every_bars, shot.series.first_bar, shot.series.last_bar) == (4, 41, 45)
    assert "long and intense enough" in shot.reasons[0]


def test_a_short_intense_section_opens_with_a_single():
    found = drafted("A8 B8 A8 B4", drive={"A": 0.35, "B": 0.8, "B2": 0.9})
    (shot,) = shots(found)
    assert (shot.series, str(shot.place)) == (None, "B2, bar 1 of 4")


def test_there_is_no_one_shot_in_free_time_or_on_weak_bars():
    hit = ("hit", 13, 3.0, 1)
    assert shots(drafted("A8 B8", drive=VERSE_CHORUS, events=[hit, ("ritardando", 13, 1.0, 12)])) == []
    analysis = make_analysis("A8 B8", drive=VERSE_CHORUS, events=[hit])
    weak = tuple(replace(bar, confidence=0.3) if bar.number == 13 else bar for bar in analysis.bars)
    assert shots(draft(replace(analysis, bars=weak), BAND, RIG)) == []


# Doubts


def test_weak_evidence_lowers_confidence_and_asks():
    found = drafted("A8 B8 A8", confidence=0.3, drive=VERSE_CHORUS, events=[("hit", 13, 3.0, 1)])
    assert {each.confidence for each in found.cues} == {0.3}
    assert shots(found) == []
    assert [question.text for question in found.questions] == [
        "Is this bar 1, with its 1 at 0:02.0?",
        "Does B1 start at bar 9 or 10?",
        "Does A2 start at bar 17 or 18?",
    ]
    counts = [len(question.cues) for question in found.questions]
    assert counts == sorted(counts, reverse=True)


def test_the_likelier_neighbour_is_where_the_music_steps():
    analysis = make_analysis("A8 B8", confidence=0.3, drive=VERSE_CHORUS)
    early = tuple(replace(bar, drive=0.8) if bar.number == 8 else bar for bar in analysis.bars)
    found = draft(replace(analysis, bars=early), BAND, RIG)
    assert "Does B1 start at bar 8 or 9?" in [question.text for question in found.questions]


@pytest.mark.parametrize(("bpm", "margin", "asked"), [(48, 0.3, True), (192, 0.3, True), (48, 3.0, False)])
def test_half_or_double_tempo_is_asked_about_where_it_is_close(bpm, margin, asked):
    analysis = replace(
        make_analysis("A8 B8", drive=VERSE_CHORUS), alternatives=(Alternative("half", float(bpm), margin),)
    )
    texts = [question.text for question in draft(analysis, BAND, RIG).questions]
    assert (f"Is the pulse felt at 96 or at {bpm} beats a minute?" in texts) is asked


def test_a_sure_song_asks_nothing():
    assert drafted("A8 B8 A8", drive=VERSE_CHORUS).questions == ()


def test_at_most_five_questions():
    form = " ".join(["A8", "B8"] * 6)
    assert len(drafted(form, confidence=0.3, drive=VERSE_CHORUS).questions) == 5


# Hands and stand-bys


def test_a_volunteer_is_given_less_to_do():
    busy = {"drive": LONG_DRIVE, "bpm": 120, "events": [("stop", 44, 2.0, 3.0), ("hit", 12, 1.0, 1)]}
    practised = drafted(LONG, **busy)
    volunteer = drafted(LONG, replace(RIG, practised="volunteer"), **busy)
    assert len(volunteer.cues) < len(practised.cues)


def test_what_is_left_out_for_the_hands_is_said():
    # At 200 beats a minute eight bars last under ten seconds, too little for a change each way.
    found = drafted("A8 B4 C8 B4 A8 B4 C8", replace(RIG, practised="volunteer"), bpm=200)
    words = " ".join(reason for each in found.plan for reason in each.reasons)
    assert "one person has no time for it" in words or "no time to set it up" in words


def test_cues_within_a_phrase_share_a_stand_by():
    found = drafted("A8 B8 A8", drive=VERSE_CHORUS)
    groups = [each.standby for each in found.cues]
    assert groups == sorted(groups)
    assert cue(found, "recall/s2").standby == cue(found, "enter/s1").standby
    assert cue(found, "enter/s2").standby > cue(found, "enter/s1").standby


# Cautions


def words_of(found):
    parts = [*found.cautions, *(look.description for look in found.looks)]
    parts += [text for each in found.cues for text in (*each.cautions, *each.reasons)]
    return " ".join(parts).lower()


def test_cautions_are_said_once_and_claim_nothing():
    found = drafted(LONG, drive=LONG_DRIVE)
    assert len(found.cautions) == len(set(found.cautions))
    assert "plans timing only" in found.cautions[0]
    assert "local codes and licensed practice decide" in found.cautions[0]
    assert not [word for word in ("safe", "compliant", "approved") if word in words_of(found)]
    assert not [each for each in found.cues if each.cautions]


def test_haze_and_cameras_are_mentioned_only_where_they_matter():
    plain = " ".join(drafted("A8 B8").cautions)
    assert "haze" not in plain
    assert "Cameras" not in plain
    special = " ".join(drafted("A8 B8", replace(RIG, haze=False, cameras=True)).cautions)
    assert "no haze" in special
    assert "Cameras" in special


# The checker


@pytest.mark.parametrize(
    ("change", "problem"),
    [
        (lambda cues: cues[:-1], "lit at the end"),
        (lambda cues: [c for c in cues if c.id != "recall/s2/lift/1"], "holds nothing, not lift-1"),
        (
            lambda cues: [replace(c, side="A") if c.id == "recall/s2/lift/1" else c for c in cues],
            "side A is lit",
        ),
        (lambda cues: [replace(c, operator_confirms=False) for c in cues], "needs a person's go"),
        (lambda cues: [replace(c, trigger="follow-on") for c in cues], "never follows on"),
        (lambda cues: [replace(c, side="Z") for c in cues], "there is no side Z"),
        (
            lambda cues: [replace(c, up_seconds=60.0) if c.id.startswith("enter/s1") else c for c in cues],
            "has not ended",
        ),
        (
            lambda cues: [replace(c, down_seconds=22.0) if c.id.startswith("enter/s2") else c for c in cues],
            "has not ended",
        ),
        (
            lambda cues: [replace(c, place=cues[3].place) if c.id == "recall/s2/lift/1" else c for c in cues],
            "still moving",
        ),
        (
            lambda cues: [
                replace(c, kind="fade-in", down_seconds=None, down_beats=None) if c.id.startswith("enter/s2") else c
                for c in cues
            ],
            "another side stays lit",
        ),
    ],
)
def test_the_checker_finds_what_cannot_be_played(change, problem):
    cues = drafted("A8 B8 A8", drive=VERSE_CHORUS).cues
    assert any(problem in line for line in check_playable(change(list(cues)), RIG))
