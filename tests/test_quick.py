"""What is decided with one key, as edits: everything accepted, one-shots, darks on stops, lengths, names, halves."""

from dataclasses import replace

import pytest

from cuesuggest.decide import statements
from cuesuggest.decide.meant import place_at
from cuesuggest.decide.quick import (
    all_accepted,
    dark_held,
    lengthened,
    one_shot_at,
    section_accepted,
    section_named,
    with_length,
)
from cuesuggest.errors import EditError
from cuesuggest.rules import load_profile, load_rig
from cuesuggest.score.deeds import Answer, JudgeCues, Question
from cuesuggest.song import Settings, change_all
from tests.songs import make_cue, make_song
from tests.songs import place_at as at

RIG, BAND = load_rig(None), load_profile("band")


def song_of(*cues, form="A8 B8 A8", rig=None, **options):
    """A song of 4/4 at 60, bar 1 at 2 s: the downbeat of bar n is at 4n - 2 s."""
    values = {**RIG.values(), **(rig or {})}
    song = make_song(
        form, bpm=60, rig=Settings(RIG.name, values), profile=Settings(BAND.name, BAND.values()), **options
    )
    made = [make_cue(n, kind, at(song.analysis, *place), **more) for n, (kind, place, more) in enumerate(cues, 1)]
    return song.replaced(cues=tuple(made)) if cues else song


def made(song, change):
    return change.made_in(song, by="test")


LIT = ("cut-in", (1,), {"side": "A", "level": 70, "look": "home"})


def test_the_whole_draft_is_accepted_at_once_and_what_was_decided_stays():
    song = song_of(LIT, ("fade-out", (9,), {"side": "A", "status": "rejected"}), ("one-shot", (5,), {}))
    change = all_accepted(song)
    assert {cue.number: cue.status for cue in made(song, change).cues} == {1: "accepted", 2: "rejected", 3: "accepted"}
    assert "A1, bar 1 of 8" in change.said
    with pytest.raises(EditError, match="so already"):
        made(made(song, change), all_accepted(made(song, change)))


def test_questions_that_it_answers_are_told_with_it():
    song = song_of(LIT, ("one-shot", (5,), {}))
    asked = Question("stop/5", "Is it so?", 2.0, (song.cues[1].id,), (Answer("yes", JudgeCues("accepted", ())),))
    assert "1 question about cues answered" in all_accepted(song.replaced(questions=(asked,))).said


def test_all_of_a_section_is_accepted_and_nothing_else():
    song = song_of(LIT, ("one-shot", (5,), {}), ("one-shot", (12,), {}))
    after = made(song, section_accepted(song, song.analysis.sections[0]))
    assert [cue.status for cue in after.cues] == ["accepted", "accepted", "suggested"]


def test_a_one_shot_is_like_the_nearest_and_asks_for_no_words():
    song = song_of(LIT, ("one-shot", (5,), {"level": 60, "side": "B"}), ("one-shot", (20,), {"level": 90}))
    after = made(song, one_shot_at(song, place_at(song, bar=7)))
    new = next(cue for cue in after.cues if cue.status == "added")
    assert (new.kind, new.place.bar, new.place.beat, new.level, new.side) == ("one-shot", 7, 1.0, 60, "B")
    assert 2 < new.number < 3


def test_a_one_shot_that_was_left_out_comes_back_and_one_that_stands_is_not_doubled():
    song = song_of(LIT, ("one-shot", (5,), {"status": "rejected"}))
    after = made(song, one_shot_at(song, place_at(song, bar=5)))
    assert [cue.status for cue in after.cues] == ["suggested", "accepted"]
    with pytest.raises(EditError, match="already: cue 2"):
        one_shot_at(after, place_at(after, bar=5))


@pytest.mark.parametrize("seconds", [14.0, 15.2, 17.0, 11.0])
def test_a_short_stop_is_one_button_held_from_the_stop_on(seconds):
    song = song_of(LIT, events=[("stop", 4, 2, 0.9)])
    after = made(song, dark_held(song, seconds))
    (dark,) = [cue for cue in after.cues if cue.status == "added"]
    assert (dark.kind, dark.trigger, dark.side, dark.place.bar, dark.place.beat) == ("cut-out", "held", "A", 4, 2.0)


def test_a_stop_longer_than_a_hand_needs_is_a_cut_out_and_a_cut_back_to_the_same_level():
    song = song_of(LIT, events=[("stop", 4, 2, 3)])
    out, back = [cue for cue in made(song, dark_held(song, 15.0)).cues if cue.status == "added"]
    assert (out.kind, out.trigger, out.place.seconds, out.level) == ("cut-out", "hand", 15.0, 0)
    assert (back.kind, back.place.bar, back.place.beat, back.level, back.look) == ("cut-in", 5, 1.0, 70, "home")


def test_the_light_goes_with_the_last_hit_never_before_it():
    song = song_of(LIT, events=[("stop", 4, 2, 2.9), ("hit", 4, 3, 0.2)])
    out, _ = [cue for cue in made(song, dark_held(song, 15.0)).cues if cue.status == "added"]
    assert out.place.seconds == pytest.approx(16.0, abs=0.02)


def test_a_rig_without_a_button_to_hold_cuts_out_and_back():
    song = song_of(LIT, rig={"kill": ""}, events=[("stop", 4, 2, 0.9)])
    kinds = [cue.kind for cue in made(song, dark_held(song, 15.0)).cues if cue.status == "added"]
    assert kinds == ["cut-out", "cut-in"]


def test_where_no_stop_was_heard_it_is_held_for_a_beat_and_said_so():
    song = song_of(LIT)
    change = dark_held(song, 23.1)
    (dark,) = [cue for cue in made(song, change).cues if cue.status == "added"]
    assert (dark.trigger, dark.place.bar, dark.place.beat) == ("held", 6, 2.0)
    assert "no stop was heard here" in change.said


def test_what_is_dark_is_not_made_dark():
    with pytest.raises(EditError, match="Nothing is lit at A1, bar 4 of 8 beat 2"):
        dark_held(song_of(("one-shot", (5,), {}), events=[("stop", 4, 2, 3)]), 15.0)


def test_a_dark_that_the_draft_has_is_accepted_with_its_return():
    cues = (LIT, ("cut-out", (4, 2), {"side": "A"}), ("cut-in", (5,), {"side": "A", "level": 70}))
    song = song_of(*cues, events=[("stop", 4, 2, 3)])
    after = made(song, dark_held(song, 15.0))
    assert [cue.status for cue in after.cues] == ["suggested", "accepted", "accepted"]


def fade(**more):
    return song_of(("fade-in", (5,), {"side": "A", "level": 70, "up_beats": 8.0, "up_seconds": 8.0, **more}))


@pytest.mark.parametrize(
    ("by", "beats"), [({"beats": 1}, 9), ({"beats": -1}, 7), ({"times": 2}, 16), ({"times": 0.5}, 4)]
)
def test_a_fade_is_made_longer_and_shorter_and_its_seconds_follow(by, beats):
    song = fade()
    cue = change_all(song, [lengthened(song, song.cues[0], **by)], by="test").cues[0]
    assert (cue.up_beats, cue.up_seconds, cue.status) == (beats, beats, "edited")


def test_what_goes_out_is_counted_down_and_the_way_out_of_the_others_stays_or_is_as_many_times_as_long():
    song = song_of(
        ("fade-out", (9,), {"side": "A", "down_beats": 4.0}),
        ("crossfade", (5,), {"side": "B", "up_beats": 8.0, "down_beats": 4.0}),
    )
    cues = {cue.kind: cue for cue in song.cues}

    def after(edit):
        return next(cue for cue in change_all(song, [edit], by="test").cues if cue.id == edit.cue)

    out = after(with_length(song, cues["fade-out"], 12))
    assert (out.down_beats, out.down_seconds, out.up_beats) == (12, 12, None)
    over = after(lengthened(song, cues["crossfade"], beats=1))
    assert (over.up_beats, over.down_beats) == (9, 4)
    twice = after(lengthened(song, cues["crossfade"], times=2))
    assert (twice.up_beats, twice.up_seconds, twice.down_beats, twice.down_seconds) == (16, 16, 8, 8)


def test_what_has_no_length_and_what_is_no_length_are_refused_in_words():
    song = song_of(LIT, ("fade-in", (5,), {"side": "A", "up_beats": 1.0}))
    with pytest.raises(EditError, match="is a cut-in, which has no length"):
        lengthened(song, song.cues[0], beats=1)
    with pytest.raises(EditError, match="shorter is a cut"):
        lengthened(song, song.cues[1], beats=-1)
    with pytest.raises(EditError, match="no such length"):
        with_length(song, song.cues[1], 0.1)


def test_a_fade_without_beats_starts_from_its_seconds():
    song = song_of(("fade-in", (5,), {"side": "A", "up_seconds": 6.0}))
    assert lengthened(song, song.cues[0], beats=1).changes["up_beats"] == 7


def test_a_name_is_for_one_section_or_for_all_of_its_letter():
    song = song_of()
    one = made(song, section_named(song, song.analysis.sections[2], "chorus", repeats=False))
    assert [each.name for each in one.analysis.sections] == ["", "", "chorus"]
    every = made(one, section_named(one, one.analysis.sections[0], "chorus", repeats=True))
    assert [each.name for each in every.analysis.sections] == ["chorus", "", "chorus"]


# Bars half a bar off.


def ones(edit):
    return [fact.time for fact in edit.corrections if fact.kind == "downbeat"]


def bar_one(edit):
    return next(fact.time for fact in edit.corrections if fact.kind == "bar-one")


def test_halves_are_swapped_half_a_bar_later_where_the_band_starts_with_bar_one():
    song = song_of()
    edit = statements.halves_swapped(song)
    assert bar_one(edit) == 4.0
    assert ones(edit)[:3] == [4.0, 8.0, 12.0]


def test_and_half_a_bar_earlier_where_the_band_plays_by_then():
    song = song_of(start=6.0, count_in=1)
    song = song.replaced(analysis=replace(song.analysis, music_start=2.0))
    assert bar_one(statements.halves_swapped(song)) == 4.0


def test_bars_of_three_beats_have_no_middle():
    song = make_song("A8 B8", bpm=60, time_signature="3/4")
    with pytest.raises(EditError, match="none in the middle"):
        statements.halves_swapped(song)


def test_from_a_bar_on_the_bars_before_stay():
    song = song_of()
    edit = statements.halves_swapped(song, 9)
    assert min(time for time in ones(edit) if time > 34.0) == 36.0
    assert {fact.kind for fact in edit.corrections} >= {"downbeat", "tempo"}
