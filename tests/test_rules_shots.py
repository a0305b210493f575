"""One-shots: a series on the measure without what does not fit, singles with a reason, none beyond its phrase."""

from dataclasses import replace
from datetime import UTC, datetime
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cuesuggest.decide.cue_edits import moved
from cuesuggest.errors import EditError
from cuesuggest.rules import check_playable, draft, load_profile, load_rig
from cuesuggest.score.grid import Grid
from cuesuggest.score.light import presses
from cuesuggest.song import change
from cuesuggest.song.hand_words import HandWords
from tests.songs import hands_of_draft, make_analysis, make_song
from tests.test_rules_properties import STYLES, any_rig, quick, some_songs

RIG = load_rig(None)
CLUB = load_profile("club")
LONG = "A16 D16 A16"
BIG = {"A": 0.42, "D": 0.95}
ANALYSIS = make_analysis(LONG, bpm=120, drive=BIG)
NOON = datetime(2026, 1, 1, 12, tzinfo=UTC)
LIFTED = {"form": "A8 B16", "drive": {"A": 0.35, "B": 0.7}}


def with_shot(**fields):
    return replace(RIG, one_shot=replace(RIG.one_shot, **fields))


def with_words(form=LONG, rig=RIG, profile=CLUB, weak=(), **kwargs):
    """The one-shots of a draft, each with what the hand does."""
    analysis = make_analysis(form, bpm=120, drive=kwargs.pop("drive", BIG), **kwargs)
    bars = tuple(replace(bar, confidence=0.2) if bar.number in weak else bar for bar in analysis.bars)
    analysis = replace(analysis, bars=bars)
    found = draft(analysis, profile, rig)
    assert check_playable(found.cues, rig, found.looks, Grid(analysis)) == []
    words = hands_of_draft(found, analysis, rig)
    return [(cue, words.of(cue)) for cue in found.cues if cue.kind == "one-shot"]


def shots(**given):
    return [cue for cue, _ in with_words(**given)]


def in_bars(cue):
    return (cue.series.every_bars, cue.series.first_bar, cue.series.last_bar, cue.series.skip)


# Series


def test_a_series_has_its_measure_its_bars_its_run_time_and_its_reason():
    ((cue, hand),) = with_words()
    assert in_bars(cue) == (4, 17, 29, ())
    assert hand.endswith("again every 4 bars to bar 29, 4 times in all; each runs 1.5 s")
    assert cue.reasons == ("D1 is long and intense enough to mark its phrases, every 4 bars.",)


@pytest.mark.parametrize(
    ("weak", "expected"),
    [
        ((21,), (4, 17, 29, (21,))),
        ((21, 25), (4, 17, 29, (21, 25))),
        ((17,), (4, 21, 29, ())),
        ((29,), (4, 17, 25, ())),
        ((17, 29), (4, 21, 25, ())),
        # One press of four is no series at this measure; at the next, every 8 bars, two fit.
        ((21, 25, 29), None),
    ],
)
def test_what_does_not_fit_is_left_out_of_a_series_while_enough_remain(weak, expected):
    series = [cue for cue in shots(weak=weak) if cue.series is not None]
    assert [in_bars(cue) for cue in series] == ([expected] if expected else [])


def test_bars_left_out_of_a_series_are_said():
    ((_, hand),) = with_words(weak=(21,))
    assert "3 times in all, not in bar 21" in hand


def test_where_no_series_fits_the_section_opens_with_a_single():
    found = shots(weak=(21, 25, 29))
    assert [(cue.series, cue.place.bar, cue.id.split("/")[2]) for cue in found] == [(None, 17, "opening")]


@pytest.mark.parametrize(
    ("every", "most", "bars"),
    [
        ((1, 2, 4), 16, (2, 17, 31, ())),
        ((2,), 8, (2, 17, 31, ())),
        ((1, 8), 16, (8, 17, 25, ())),
        ((4,), 4, (4, 17, 29, ())),
    ],
)
def test_the_measure_is_the_first_choice_that_keeps_them_apart_and_is_not_too_long(every, most, bars):
    profile = replace(CLUB, shots=replace(CLUB.shots, series_every=every, series_most=most, spacing_seconds=3.0))
    (cue,) = [cue for cue in shots(profile=profile) if cue.series is not None]
    assert in_bars(cue) == bars


def test_a_stop_in_the_way_is_left_out_of_the_series():
    (cue,) = [cue for cue in shots(events=[("stop", 25, 1.0, 2.0)]) if cue.series is not None]
    assert 25 in cue.series.skip


# Singles


def roles(**kwargs):
    return [(cue.id.split("/")[2], cue.place.bar, cue.place.beat) for cue in shots(**kwargs)]


def test_the_end_of_a_fill_in_a_big_section_is_an_accent():
    assert roles(form="A8 B16", drive={"A": 0.35, "B": 0.6}, events=[("fill", 16, 3.0, 2)]) == [("fill", 17, 1.0)]


def test_a_fill_in_a_quiet_section_is_left_to_the_drummer():
    found = roles(form="A8 B16", drive={"A": 0.35, "B": 0.6}, events=[("fill", 4, 3.0, 2)])
    assert "fill" not in {role for role, _, _ in found}


def test_phrases_of_an_intense_section_without_a_series_start_with_a_single():
    profile = replace(CLUB, shots=replace(CLUB.shots, series_most=0))
    assert roles(profile=profile) == [("opening", 17, 1.0), ("phrase", 25, 1.0)]


def test_a_lift_has_none_just_for_its_phrases():
    assert roles(form="A8 B32", drive={"A": 0.35, "B": 0.6}, profile=load_profile("band")) == []


def test_in_a_club_the_phrases_of_a_lift_are_told():
    found = roles(form="A8 B32", drive={"A": 0.35, "B": 0.6})
    assert {role for role, _, _ in found} == {"phrase"}
    assert {bar for _, bar, _ in found} <= {17, 25, 33}


# The press, and the end


def test_the_press_comes_before_the_beat_by_as_much_as_the_peak_comes_after_it():
    ((cue, hand),) = with_words(
        rig=with_shot(run_seconds=4.0, peak_after=1.2),
        form="A8 B8",
        drive={"A": 0.35, "B": 0.75},
        events=[("hit", 13, 1.0, 1)],
    )
    assert cue.anchor == "lands-on"
    assert "press 1.2 s before the 1, so that its peak meets the beat" in hand


def test_a_press_long_before_the_beat_needs_a_hand_that_is_free_then():
    # Two seconds before the hit, the look comes in.
    hit = {"form": "A8 B8", "drive": {"A": 0.35, "B": 0.6}, "events": [("hit", 10, 1.0, 1)]}
    assert len(shots(rig=with_shot(run_seconds=4.0, peak_after=0.1), **hit)) == 1
    assert shots(rig=with_shot(run_seconds=4.0, peak_after=1.7), **hit) == []


def test_a_run_longer_than_its_phrase_is_faded_out_early():
    found = with_words(
        rig=with_shot(run_seconds=9.5, peak_after=0.0),
        form="A16 D16 O16",
        drive={**BIG, "O": 0.05},
        events=[("hit", 31, 1.0, 1)],
    )
    cue, hand = found[-1]
    assert (cue.place.bar, cue.series) == (31, None)
    assert hand.endswith("; fade out early, dark at O1, bar 1 of 16")
    assert "The music ends before its run does, so it is faded out early." in cue.reasons


def test_no_run_goes_into_a_stop():
    # Half a second after the hit the band stops, and there is no hand to end the run as well.
    stop = ("stop", 16, 4.0, 3.0)
    assert "hit" not in [role for role, _, _ in roles(**LIFTED, events=[("hit", 16, 3.0, 0.5), stop])]
    assert ("hit", 14, 3.0) in roles(**LIFTED, events=[("hit", 14, 3.0, 0.5), stop])


@quick
@given(some_songs(7, uneven=st.booleans()), st.sampled_from(STYLES), any_rig())
def test_one_shots_keep_apart_in_number_and_inside_the_song(analysis, profile, rig):
    found = draft(analysis, profile, rig)
    cues = [cue for cue in found.cues if cue.kind == "one-shot"]
    times = sorted(at for cue in cues for at in presses(cue, Grid(analysis)))
    assert len(times) <= profile.shots.most_per_song
    assert not cues or rig.one_shot is not None
    if rig.one_shot is None:
        return
    apart = max(rig.one_shot.run_seconds, profile.shots.spacing_seconds)
    assert all(b - a >= apart - 1e-3 for a, b in pairwise(times))
    assert all(at >= rig.one_shot.peak_after for at in times)
    stops = [event for event in analysis.events if event.kind == "stop" and event.confidence >= profile.evidence.event]
    assert not [at for at in times for stop in stops if stop.start - 0.02 <= at < stop.end - 0.06]
    for cue in cues:
        if cue.series is not None:
            assert cue.series.every_bars in profile.shots.series_every
            assert 2 <= len(presses(cue, Grid(analysis))) <= profile.shots.series_most
            assert not {cue.series.first_bar, cue.series.last_bar} & set(cue.series.skip)


def test_a_series_that_is_moved_moves_with_all_its_presses_and_its_words():
    (cue,) = shots(weak=(21,))
    song = make_song(LONG).replaced(analysis=ANALYSIS, cues=(replace(cue, look=None),))
    grid = Grid(ANALYSIS)
    later = change(song, moved(song, cue, grid.place(cue.place.bar + 1)), by="cli", at=NOON).cues[0]
    assert in_bars(later) == (4, 18, 30, (22,))
    assert "to bar 30, 3 times in all, not in bar 22" in HandWords(song.replaced(cues=(later,))).of(later)
    starts = {bar.number: bar.start for bar in ANALYSIS.bars}
    assert presses(later, Grid(ANALYSIS)) == tuple(starts[bar] for bar in (18, 26, 30))


def test_a_series_is_not_moved_out_of_the_song():
    (cue,) = shots()
    song = make_song(LONG).replaced(analysis=ANALYSIS, cues=(replace(cue, look=None),))
    with pytest.raises(EditError, match="run out of the song"):
        moved(song, cue, Grid(ANALYSIS).place(ANALYSIS.bars[-1].number))
