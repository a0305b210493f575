"""The edit layer: pure changes with an inverse, and the history they make."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta, timezone

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cuesuggest.decide.cue_edits import moved
from cuesuggest.errors import EditError
from cuesuggest.score.records import Place, Series
from cuesuggest.song import (
    AddCue,
    RemoveCue,
    SetCue,
    SetLook,
    SetSection,
    SetTitle,
    Song,
    apply,
    change,
    inverse,
    redo,
    undo,
)
from tests.songs import make_analysis, make_cue, make_song, place_at, retimed

SONG = make_song("A8 B8 A8")
NOON = datetime(2031, 5, 4, 12, 0, tzinfo=UTC)


def cue(song, cue_id):
    return next(each for each in song.cues if each.id == cue_id)


def test_setting_a_field_changes_that_field_and_the_status_of_a_suggestion():
    after = apply(SONG, SetCue("cut-in/3", {"level": 60}))
    assert cue(after, "cut-in/3") == replace(cue(SONG, "cut-in/3"), level=60, status="edited")
    assert [each for each in after.cues if each.id != "cut-in/3"] == [
        each for each in SONG.cues if each.id != "cut-in/3"
    ]
    assert cue(SONG, "cut-in/3").level == 80


# (status before, changes, status after)
STATUS = [
    ("suggested", {"level": 60}, "edited"),
    ("accepted", {"level": 60}, "edited"),
    ("edited", {"level": 60}, "edited"),
    ("added", {"level": 60}, "added"),
    ("rejected", {"level": 60}, "rejected"),
    ("suggested", {"level": 80}, "suggested"),  # The level it has.
    ("suggested", {"note": "watch the singer"}, "suggested"),
    ("suggested", {"lock": True}, "suggested"),
    ("suggested", {"status": "accepted"}, "accepted"),
    ("suggested", {"level": 60, "status": "accepted"}, "accepted"),
    ("edited", {"status": "suggested"}, "suggested"),
]


@pytest.mark.parametrize(("before", "changes", "after"), STATUS)
def test_the_status_tells_whose_word_a_cue_is(before, changes, after):
    song = apply(SONG, SetCue("cut-in/3", {"status": before}))
    assert cue(apply(song, SetCue("cut-in/3", changes)), "cut-in/3").status == after


def test_a_cue_moves_to_its_new_place_in_time():
    moved = apply(SONG, SetCue("cut-in/3", {"place": place_at(SONG.analysis, 3)}))
    assert [each.number for each in moved.cues] == [1, 3, 2, 4]
    assert str(cue(moved, "cut-in/3").place) == "A1, bar 3 of 8"


def test_a_cue_can_be_put_between_two_others_and_taken_out_again():
    new = make_cue(2.5, "one-shot", place_at(SONG.analysis, 8), status="added")
    with_it = apply(SONG, AddCue(new))
    assert [each.number for each in with_it.cues] == [1, 2, 2.5, 3, 4]
    assert apply(with_it, RemoveCue(new.id)) == SONG


def test_a_section_gets_the_name_and_the_words_that_the_user_gives_it():
    after = apply(SONG, SetSection("s2", {"name": "Chorus", "first_words": "All the tin roofs"}))
    section = after.analysis.sections[1]
    assert (section.name, section.first_words, section.role) == ("Chorus", "All the tin roofs", None)
    assert after.analysis.sections[::2] == SONG.analysis.sections[::2]


def test_a_look_gets_the_colours_that_the_user_gives_it_and_is_decided_then():
    after = apply(SONG, SetLook("lift", {"colours": 1, "colour_relation": "amber"}))
    (lift,) = (look for look in after.looks if look.id == "lift")
    assert (lift.colours, lift.colour_relation, lift.decided) == (1, "amber", True)
    assert apply(after, inverse(SONG, SetLook("lift", {"colours": 1, "colour_relation": "amber"}))) == SONG


def test_a_title_can_change():
    assert apply(SONG, SetTitle("Tin Roof")).title == "Tin Roof"


# (an edit that does not fit, what the message says)
MISFITS = [
    (SetCue("cut-in/9", {"level": 60}), "There is no cue 'cut-in/9'"),
    (RemoveCue("cut-in/9"), "There is no cue 'cut-in/9'"),
    (SetSection("s9", {"name": "x"}), "There is no section 's9' in this song; it has s1 (A1), s2 (B1), s3 (A2)"),
    (SetCue("cut-in/3", {}), "set-cue names no field to change"),
    (SetCue("cut-in/3", {"level": 101}), "cues[2].level: must be 0 to 100, not 101"),
    (SetCue("cut-in/3", {"level": "loud"}), "level: must be a whole number, not 'loud'"),
    (SetCue("cut-in/3", {"id": "x"}), "id: is not a field"),
    (SetCue("cut-in/3", {"reasons": ("x",)}), "reasons: is not a field"),
    (SetCue("cut-in/3", {"number": 2}), "2 is taken by cues[1] already"),
    (SetCue("cut-in/3", {"look": "fog"}), "there is no look with the id 'fog'"),
    (SetCue("cut-in/3", {"place": Place(1.0, 99, 1.0)}), "there is no bar 99; the song has bars 1 to 24"),
    (SetCue("cut-in/3", {"kind": "fade"}), "kind: must be 'recall', 'fade-in'"),
    (SetSection("s2", {"label": "C"}), "label: is not a field"),
    (SetSection("s2", {"name": 7}), "name: must be a text in quotes, not 7"),
    (AddCue(make_cue(9, "recall", Place(1.0), id="recall/2")), "'recall/2' is taken by cues[1] already"),
    (SetLook("fog", {"colours": 1}), "There is no look 'fog' in this song; it has home (Slow drift), lift (Wide fans)"),
    (SetLook("lift", {"colours": 0}), "colours: must be 1 or more, not 0"),
    (SetLook("lift", {"name": "x"}), "name: is not a field"),
    (SetTitle(None), "title: must be a text in quotes, not null"),
]


@pytest.mark.parametrize(("edit", "says"), MISFITS, ids=[each[1] for each in MISFITS])
def test_an_edit_that_does_not_fit_is_refused_in_words(edit, says):
    with pytest.raises(EditError) as told:
        apply(SONG, edit)
    assert says in str(told.value)
    with pytest.raises(EditError):
        change(SONG, edit, by="page")


def test_a_change_is_written_into_the_history_under_the_next_revision():
    cet = timezone(timedelta(hours=1))
    edit = SetCue("cut-in/3", {"level": 60})
    changed = change(SONG, edit, by="page", at=NOON.astimezone(cet))
    (entry,) = changed.history
    assert changed.revision == entry.revision == SONG.revision + 1
    assert (entry.time, entry.by, entry.edit) == ("2031-05-04T12:00:00Z", "page", edit)
    assert entry.inverse == SetCue("cut-in/3", {"level": 80, "status": "suggested"})


def test_a_change_without_a_time_is_made_now():
    before = datetime.now(UTC).replace(microsecond=0)
    (entry,) = change(SONG, SetTitle("Tin Roof"), by="page").history
    assert before <= datetime.fromisoformat(entry.time) <= datetime.now(UTC)


def test_changes_are_taken_back_and_made_again_one_by_one():
    one = change(SONG, SetTitle("Tin Roof"), by="page")
    two = change(one, SetTitle("Tin Hat"), by="page")
    assert [undo(two).title, undo(undo(two)).title] == ["Tin Roof", "Paper Boats"]
    back = undo(undo(two))
    assert [redo(back).title, redo(redo(back)).title] == ["Tin Roof", "Tin Hat"]
    assert back.revision == 4
    assert redo(redo(back)).revision == 6
    with pytest.raises(EditError, match="no change to take back"):
        undo(back)
    with pytest.raises(EditError, match="no change to make again"):
        redo(two)


def test_a_new_change_forgets_what_was_taken_back():
    back = undo(change(SONG, SetTitle("Tin Roof"), by="page"))
    assert len(back.undone) == 1
    assert change(back, SetTitle("Tin Hat"), by="page").undone == ()


def test_taking_back_a_change_to_a_cue_that_has_gone_is_refused():
    changed = change(SONG, SetCue("cut-in/3", {"level": 60}), by="page")
    redrafted = changed.replaced(cues=changed.cues[:2])
    with pytest.raises(EditError, match="There is no cue 'cut-in/3'"):
        undo(redrafted)


def test_history_outlives_the_file():
    song = change(SONG, AddCue(make_cue(9, "call", Place(1.0), status="added")), by="page", at=NOON)
    song = change(song, SetCue("call/9", {"series": Series(2, 1, 8), "look": None}), by="page", at=NOON)
    song = change(song, RemoveCue("call/9"), by="page", at=NOON)
    read = Song.from_json(song.to_json())
    assert read == song
    assert undo(undo(undo(read))).cues == SONG.cues


# Short, because what is drawn is not the bars.
SHORT = make_song("A2 B2 A2")
texts = st.text(st.characters(exclude_categories=["Cs"]), max_size=12)
levels = st.none() | st.integers(0, 100)
lengths = st.none() | st.floats(0, 64)
places = st.one_of(
    st.builds(Place, st.floats(0, 15)),
    st.builds(lambda bar, beat: place_at(SHORT.analysis, bar, beat), st.integers(1, 6), st.floats(1, 4.99)),
)
cue_changes = st.fixed_dictionaries(
    {},
    optional={
        "number": st.floats(100, 200),
        "kind": st.sampled_from(["cut-in", "fade-out", "call"]),
        "place": places,
        "look": st.sampled_from([None, "home", "lift"]),
        "side": st.none() | texts,
        "level": levels,
        "up_beats": lengths,
        "down_seconds": lengths,
        "series": st.none() | st.just(Series(2, 1, 5, (3,))),
        "operator_confirms": st.booleans(),
        "status": st.sampled_from(["suggested", "accepted", "edited", "rejected", "added"]),
        "note": texts,
        "lock": st.booleans(),
    },
).filter(bool)
section_changes = st.fixed_dictionaries(
    {}, optional={"name": texts, "first_words": texts, "role": st.none() | texts}
).filter(bool)


look_changes = st.fixed_dictionaries({"colours": st.integers(1, 12)}, optional={"colour_relation": texts})


@st.composite
def songs_and_edits(draw):
    song = SHORT
    for status in draw(st.lists(st.sampled_from(["accepted", "rejected", "edited"]), max_size=2)):
        song = change(song, SetCue(draw(st.sampled_from(song.cues)).id, {"status": status}), by="page", at=NOON)
    cue_ids = st.sampled_from([each.id for each in song.cues])
    edit = draw(
        st.one_of(
            st.builds(SetCue, cue_ids, cue_changes),
            st.builds(RemoveCue, cue_ids),
            st.builds(AddCue, st.builds(make_cue, st.floats(5, 99), st.just("call"), places, level=levels)),
            st.builds(SetSection, st.sampled_from(["s1", "s2", "s3"]), section_changes),
            st.builds(SetLook, st.sampled_from(["home", "lift"]), look_changes),
            st.builds(SetTitle, texts),
        )
    )
    return song, edit


@given(songs_and_edits())
def test_an_edit_and_its_inverse_leave_the_song_as_it_was(case):
    song, edit = case
    assert apply(apply(song, edit), inverse(song, edit)) == song


@given(songs_and_edits())
def test_undo_brings_back_everything_but_the_revision(case):
    song, edit = case
    changed = change(song, edit, by="page", at=NOON)
    back = undo(changed)
    assert back.revision == song.revision + 2
    assert back.replaced(revision=song.revision, undone=song.undone) == song
    again = redo(back)
    assert again.cues == changed.cues
    assert again.analysis == changed.analysis
    assert again.title == changed.title
    assert again.looks == changed.looks


@given(songs_and_edits())
def test_an_edited_song_comes_back_from_its_file(case):
    changed = change(*case, by="page", at=NOON)
    assert Song.from_json(changed.to_json()) == changed


@pytest.mark.parametrize(("anchor", "seconds"), [("lands-on", 4.0), ("starts-on", 2.0)])
def test_a_fade_that_moves_to_where_the_tempo_doubles_lasts_as_its_beats_do_there(anchor, seconds):
    """Four beats before bar 5 last four seconds, four beats from it on last two."""
    analysis = retimed(make_analysis("A4 B8", bpm=60), tempos={5: 120.0})
    song = make_song("A4 B8", analysis=analysis, cues=())
    fade = make_cue(
        1, "crossfade", place_at(analysis, 3), anchor=anchor, up_beats=4.0, up_seconds=1.0, down_beats=4.0,
        down_seconds=1.0,
    )  # fmt: skip
    changes = moved(song, fade, place_at(analysis, 5)).changes
    assert (changes["up_seconds"], changes["down_seconds"]) == (seconds, seconds)
