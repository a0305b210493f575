"""Suggesting again keeps every decision, and tells what was kept, is new, has lost its place."""

import re
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from cuesuggest.analysis.types import SongAnalysis
from cuesuggest.decide.cue_edits import added, moved
from cuesuggest.decide.meant import place_at
from cuesuggest.draft.again.carried_sections import carried
from cuesuggest.draft.again.merge import merged
from cuesuggest.draft.again.pins import pins
from cuesuggest.draft.again.same_sound import Match, compare
from cuesuggest.rules import check_playable, draft, load_profile, load_rig
from cuesuggest.song import SetCue, SetLook, SetPlan, SetSection, Settings, SetTitle, Song, SongWindow, change
from cuesuggest.song.decided import decided
from cuesuggest.song.numbers import number_between
from tests.songs import make_analysis, make_song

BAND, RIG = load_profile("band"), load_rig(None)
FORM = "A8 B8 A8 B8 C8 B8"
SAME = Match("same")


def drafted(analysis, style=BAND, decisions=None, rig=RIG) -> Song:
    """A document as `suggest` makes it, without listening."""
    made = draft(analysis, style, rig, decisions)
    blank = make_song(FORM)
    window = SongWindow(start=0.0, end=analysis.duration)
    return blank.replaced(
        recording=replace(blank.recording, duration=analysis.duration, window=window),
        analysis=analysis,
        profile=Settings(style.name, style.values()),
        rig=Settings(rig.name, rig.values()),
        looks=made.looks,
        plan=made.plan,
        cues=made.cues,
        questions=made.questions,
        cautions=made.cautions,
    )


def again(old, analysis=None, style=BAND, match=SAME):
    """Suggest again: the same steps as drafting.suggest_again, after listening."""
    heard, lost = carried(old, analysis or old.analysis, match)
    return merged(old, drafted(heard, style, pins(old, heard, match)), match, lost)


def decide(song, *changes):
    for cue_id, values in changes:
        song = change(song, SetCue(cue_id, values), by="test")
    return song


def by_id(song):
    return {cue.id: cue for cue in song.cues}


def later(analysis: SongAnalysis, seconds: float) -> SongAnalysis:
    """The same song after some more silence."""
    longer = make_analysis(FORM, start=analysis.bars[0].start + seconds)
    return replace(longer, duration=analysis.duration + seconds)


def rough(analysis: SongAnalysis, seed: int) -> SongAnalysis:
    """The song with loudness that no other song has."""
    random = np.random.default_rng(seed)
    bars = [replace(bar, envelope=tuple(random.random(4).round(3).tolist())) for bar in analysis.bars]
    return replace(analysis, bars=tuple(bars))


@pytest.fixture
def song():
    return drafted(make_analysis(FORM))


def entry(song, bar):
    return next(cue for cue in song.cues if cue.place.bar == bar and cue.kind in ("fade-in", "cut-in", "crossfade"))


@pytest.mark.parametrize("status", ["accepted", "edited", "rejected"])
def test_a_decided_cue_is_as_it_was(song, status):
    chosen = entry(song, 9)
    reviewed = decide(song, (chosen.id, {"level": 33, "status": status}), (chosen.id, {"note": "as at rehearsal"}))
    after, told = again(reviewed)
    kept = by_id(after)[chosen.id]
    assert (kept.status, kept.note, kept.number) == (status, "as at rehearsal", chosen.number)
    assert (kept.level == 33) == (status != "rejected")
    assert chosen.id in told.kept
    assert any(f"1 {status}" in line for line in told.lines)


def test_colours_that_were_given_stay_whatever_the_style(song):
    coloured = change(song, SetLook("lift-1", {"colours": 1, "colour_relation": "amber"}), by="test")
    for style in ("gentle", "band", "club"):
        after, _ = again(coloured, style=load_profile(style))
        looks = {look.id: look for look in after.looks}
        assert (looks["lift-1"].colours, looks["lift-1"].colour_relation) == (1, "amber")
        assert not looks["intense-1"].decided
        # All else of a look is the style's.
        assert looks["lift-1"].level_ceiling == load_profile(style).looks.ceiling.lift


def test_colours_of_a_look_that_is_gone_are_told(song):
    coloured = change(song, SetLook("intense-1", {"colours": 1, "colour_relation": "red"}), by="test")
    dark = replace(BAND, drive=replace(BAND.drive, intense=1.0, intense_floor=1.0))
    after, told = again(coloured, style=dark)
    assert "intense-1" not in {look.id for look in after.looks}
    assert "Opening fan had colours that you gave it (red); there is no such look any more." in told.lines


def test_names_first_words_and_title_stay(song):
    second = song.analysis.sections[1].id
    named = change(song, SetSection(second, {"name": "Chorus", "first_words": "and the tide"}), by="test")
    after, _ = again(change(named, SetTitle("Low Water"), by="test"))
    assert [each.name for each in after.analysis.sections] == ["", "Chorus", "", "", "", ""]
    assert after.analysis.sections[1].first_words == "and the tide"
    assert after.title == "Low Water"


def test_a_cue_of_ones_own_stays_with_its_number(song):
    place = place_at(song, section="C1", bar=3)
    own = added(song, "call", place, note="House light down", who="house")
    after, _ = again(change(song, own, by="test"))
    assert by_id(after)[own.cue.id] == own.cue


def test_a_locked_suggestion_stays_whatever_the_style(song):
    chosen = entry(song, 9)
    after, told = again(decide(song, (chosen.id, {"lock": True})), style=load_profile("gentle"))
    assert by_id(after)[chosen.id].look == chosen.look
    assert any("1 locked" in line for line in told.lines)


def test_numbers_stay_once_something_is_decided_and_new_cues_go_between(song):
    reviewed = decide(song, (entry(song, 9).id, {"status": "accepted"}))
    after, told = again(reviewed, style=load_profile("club"))
    before = by_id(song)
    for cue in after.cues:
        if cue.id in before:
            assert cue.number == before[cue.id].number
    numbers = [cue.number for cue in after.cues]
    assert numbers == sorted(numbers)
    assert {cue.id for cue in after.cues if not cue.number.is_integer()} <= set(told.new)


def test_numbers_start_anew_while_nobody_has_decided_anything(song):
    after, _ = again(song, style=load_profile("club"))
    assert [cue.number for cue in after.cues] == list(range(1, len(after.cues) + 1))


def test_numbers_on_paper_stay_without_any_decision(song):
    after, _ = again(song.replaced(numbers_frozen=True), style=load_profile("club"))
    before = by_id(song)
    assert all(cue.number == before[cue.id].number for cue in after.cues if cue.id in before)
    assert after.numbers_frozen


@pytest.mark.parametrize(
    ("low", "high", "count", "found"),
    [
        (12, 13, 1, [12.5]),
        (12, 13, 3, [12.2, 12.5, 12.8]),
        (12, 12.5, 1, [12.2]),
        (0, 1, 1, [0.5]),
        (7, None, 2, [8, 9]),
    ],
)
def test_numbers_between_two_have_few_digits(low, high, count, found):
    assert number_between(low, high, count) == found


def test_running_again_without_any_change_changes_nothing_but_the_revision(song):
    reviewed = decide(song, (entry(song, 9).id, {"status": "accepted", "level": 40}))
    once, _ = again(reviewed)
    twice, told = again(once)
    assert twice == once.replaced(revision=once.revision + 1)
    assert (told.new, told.gone, told.unplaced) == ((), (), ())


def test_what_is_new_and_gone_is_told_in_places_and_not_in_a_row_of_numbers(song):
    reviewed = decide(song, (entry(song, 9).id, {"status": "accepted"}))
    for style in ("gentle", "club"):
        _, told = again(reviewed, style=load_profile(style))
        changed = [line for line in told.lines if line.startswith(("New", "No longer suggested"))]
        assert changed
        for line in changed:
            assert re.search(r" at [A-Z]\d| at \d:|from .* to ", line), line
            assert not re.search(r"\(\d+(, \d+)+\)", line), line


@pytest.mark.parametrize("form", [FORM, "A16 B16 A16 B40"])
def test_a_draft_that_is_accepted_whole_stays_as_it_is(form):
    # The last chorus of the longer one is a lift first, and intense in its last phrases.
    old = drafted(make_analysis(form, drive={"A": 0.4, "B": 0.6, "B2": 0.9, "B3": 0.9}))
    accepted = decide(old, *((cue.id, {"status": "accepted"}) for cue in old.cues))
    after, told = again(accepted)
    assert (told.new, told.gone, told.unplaced) == ((), (), ())
    assert [replace(cue, status="suggested") for cue in after.cues] == list(old.cues)


def test_a_decision_for_one_section_changes_the_light_of_no_other(song):
    first = song.analysis.sections[1]
    decided_on = change(song, SetPlan(first.id, "subtle"), by="test")
    after, told = again(decided_on)
    light = {each.section: each.category for each in after.plan}
    assert light[first.id] == "subtle"
    assert {each.section for each in song.plan if light[each.section] != each.category} == {first.id}
    assert not any(line.startswith(("A", "B", "C")) and " now, not " in line for line in told.lines)


def test_a_kept_entrance_is_planned_around(song):
    chosen = entry(song, 9)
    reviewed = decide(song, (chosen.id, {"status": "accepted"}))
    for style in ("gentle", "club"):
        after, _ = again(reviewed, style=load_profile(style))
        assert by_id(after)[chosen.id].look == chosen.look
        assert check_playable([cue for cue in after.cues if cue.status != "rejected"], RIG) == []


def test_more_silence_in_front_moves_every_decision_by_as_much():
    old = drafted(rough(make_analysis(FORM), 1))
    heard = rough(later(old.analysis, 3.5), 1)
    match = compare(old.analysis, heard)
    assert (match.kind, match.lag) == ("shifted", pytest.approx(3.5, abs=0.1))
    chosen = entry(old, 9)
    after, _ = again(decide(old, (chosen.id, {"status": "accepted"})), heard, match=match)
    kept = by_id(after)[chosen.id]
    assert kept.place.bar == chosen.place.bar
    assert kept.place.seconds == pytest.approx(chosen.place.seconds + 3.5, abs=1e-3)


def test_another_take_is_no_longer_the_same_sound():
    first = rough(make_analysis(FORM), 1)
    assert compare(first, rough(make_analysis(FORM, bpm=101), 2)).kind == "other"
    assert compare(first, make_analysis("")).kind == "other"
    assert compare(first, first).kind == "same"


def test_in_another_take_decisions_are_placed_by_section_and_bar(song):
    slower = make_analysis("A4 A8 B8 A8 B8 C8 B8".replace("A4 ", "D4 "), bpm=80)
    chosen = entry(song, 9)
    own = added(song, "call", place_at(song, section="B3", bar=8), note="House light up")
    reviewed = change(decide(song, (chosen.id, {"status": "accepted"})), own, by="test")
    after, told = again(reviewed, slower, match=Match("other"))
    kept = by_id(after)
    assert (kept[chosen.id].place.section, kept[chosen.id].place.bar, kept[chosen.id].place.bar_in_section) == (
        "B",
        13,
        1,
    )
    assert (kept[own.cue.id].place.pass_, kept[own.cue.id].place.bar_in_section) == (3, 8)
    assert told.unplaced == ()


def test_what_has_no_place_in_another_take_is_kept_aside_and_told(song):
    own = added(song, "call", place_at(song, section="C1", bar=3), note="Bridge light")
    named = change(song, SetSection(song.analysis.sections[4].id, {"name": "Bridge"}), by="test")
    after, told = again(change(named, own, by="test"), make_analysis("A8 B8 A8 B8"), match=Match("other"))
    assert [each.cue for each in after.unplaced] == [own.cue]
    assert any("lost its place" in line for line in told.lines)
    assert any("Bridge" in line for line in told.lines)
    found, _ = again(after, make_analysis(FORM), match=Match("other"))
    assert own.cue.id in by_id(found)
    assert found.unplaced == ()


def test_better_bars_take_a_cue_on_the_one_along_to_the_nearest_one(song):
    """The bars were heard a beat too late before."""
    beat = 60 / 96
    better = replace(make_analysis(FORM, start=2.0 - beat), duration=song.analysis.duration)
    chosen = entry(song, 17)
    after, _ = again(decide(song, (chosen.id, {"status": "accepted"})), better)
    assert (by_id(after)[chosen.id].place.bar, by_id(after)[chosen.id].place.beat) == (17, 1.0)
    assert by_id(after)[chosen.id].place.seconds == pytest.approx(chosen.place.seconds - beat, abs=1e-3)


def test_sections_keep_their_id_where_half_of_them_is_the_same(song):
    """The first two were one section before; the last is found a bar longer."""
    heard = make_analysis("A16 A8 B8 C7 B9")
    names = [section.id for section in carried(song, heard, SAME)[0].sections]
    assert names[1:] == ["s3", "s4", "s5", "s6"]
    assert len(set(names)) == len(names)


def test_changes_of_what_is_gone_leave_the_history(song):
    own = added(song, "call", place_at(song, section="C1", bar=3), note="Bridge light")
    reviewed = change(decide(song, (entry(song, 9).id, {"status": "accepted"})), own, by="test")
    after, told = again(reviewed, make_analysis("A8 B8 A8 B8"), match=Match("other"))
    assert len(after.history) == 1
    assert any("taken back" in line for line in told.lines)


STATUS = st.sampled_from(["accepted", "edited", "rejected", None, None])


@settings(max_examples=40, deadline=None)
@given(
    st.lists(STATUS, min_size=30, max_size=30),
    st.sampled_from(["gentle", "band", "club"]),
    st.sampled_from(["A8 B8 A8 B8 C8 B8", "A12 B6 C8 B8", "A8 B8", "D4 A8 B8 A8 B8 C8 B16"]),
    st.sampled_from(["same", "other"]),
)
def test_no_decision_is_ever_lost(statuses, style, form, kind):
    song = drafted(make_analysis(FORM))
    for cue, status in zip(song.cues, statuses, strict=False):
        if status:
            song = decide(song, (cue.id, {"status": status, "note": f"my {status}"}))
    heard = replace(make_analysis(form), duration=max(song.analysis.duration, make_analysis(form).duration))
    after, told = again(song, heard, load_profile(style), Match(kind))
    there = by_id(after) | {each.cue.id: each.cue for each in after.unplaced}
    for cue in song.cues:
        if decided(cue):
            assert (there[cue.id].status, there[cue.id].note) == (cue.status, cue.note)
            assert cue.id in told.kept or cue.id in told.unplaced
            if cue.status in ("accepted", "edited"):
                assert (there[cue.id].look, there[cue.id].level, there[cue.id].side) == (cue.look, cue.level, cue.side)
    assert Song.from_json(after.to_json()) == after


@settings(max_examples=30, deadline=None)
@given(st.integers(0, 30), st.integers(1, 48), st.sampled_from([1.0, 2.0, 2.5, 4.0]))
def test_a_moved_cue_comes_back_to_where_it_was_put(index, bar, beat):
    song = drafted(make_analysis(FORM))
    cue = song.cues[index % len(song.cues)]
    place = place_at(song, bar=bar, beat=beat)
    # A series is not moved out of the song; test_rules_shots has that.
    if cue.series is not None:
        ends = {cue.series.first_bar + bar - cue.place.bar, cue.series.last_bar + bar - cue.place.bar}
        assume(ends <= {each.number for each in song.analysis.bars})
    song = change(song, moved(song, cue, place), by="test")
    after, _ = again(song)
    assert by_id(after)[cue.id].place == by_id(song)[cue.id].place
    assert by_id(after)[cue.id].status == ("suggested" if place == cue.place else "edited")
