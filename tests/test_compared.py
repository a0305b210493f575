"""Two states of a song compared: what is marked on the chart after an act, and how it is told."""

from dataclasses import replace

import pytest

from cuesuggest.decide.telling import describe, entry_text
from cuesuggest.score.grid import Grid
from cuesuggest.song import AddCue, RemoveCue, SetCue, SetPlan, SetSection, change
from cuesuggest.song.compared import changed_stretches, compared, in_places, stretch_words
from tests.songs import make_cue, make_song, place_at


def song_of(*cues):
    song = make_song("A8 B8 A8", bpm=60)
    return song.replaced(
        cues=tuple(
            make_cue(n, kind, place_at(song.analysis, *at), **more) for n, (kind, at, more) in enumerate(cues, 1)
        )
    )


BEFORE = song_of(
    ("cut-in", (1,), {"side": "A", "level": 70}), ("one-shot", (5,), {}), ("fade-out", (12,), {"side": "A"})
)


def with_cue(index, **values):
    cues = list(BEFORE.cues)
    cues[index] = replace(cues[index], **values)
    return BEFORE.replaced(cues=tuple(cues))


CHANGES = {
    "nothing": (BEFORE, (), ""),
    "accepted": (with_cue(1, status="accepted"), (), ""),
    "noted and locked": (with_cue(1, note="mind him", lock=True), (), ""),
    "left out": (with_cue(1, status="rejected"), ((5, 5),), "A1 bar 5"),
    "brighter": (with_cue(0, level=80), ((1, 1),), "A1 bar 1"),
    "moved": (with_cue(1, place=place_at(BEFORE.analysis, 10)), ((5, 5), (10, 10)), "A1 bar 5, B1 bar 2"),
    "moved a bar": (with_cue(1, place=place_at(BEFORE.analysis, 6)), ((5, 6),), "A1 bars 5 to 6"),
    "landing there": (with_cue(2, anchor="lands-on", down_beats=8.0), ((10, 10), (12, 12)), "B1 bar 2, B1 bar 4"),
    "gone": (BEFORE.replaced(cues=BEFORE.cues[:2]), ((12, 12),), "B1 bar 4"),
    "relit": (
        BEFORE.replaced(
            plan=tuple(replace(each, category="intense") if each.section == "s3" else each for each in BEFORE.plan)
        ),
        ((17, 24),),
        "A2",
    ),
}


@pytest.mark.parametrize(("after", "bars", "words"), CHANGES.values(), ids=CHANGES)
def test_the_bars_that_are_marked_are_those_where_the_light_is_another(after, bars, words):
    assert changed_stretches(BEFORE, after) == bars
    assert stretch_words(after, bars) == words


def test_a_section_that_starts_elsewhere_is_marked_at_its_first_bar():
    old = make_song("A8 B8 A8", bpm=60)
    new = old.replaced(analysis=make_song("A8 B9 A7", bpm=60).analysis)
    assert changed_stretches(old.replaced(cues=()), new.replaced(cues=())) == ((18, 18),)


def test_what_came_went_moved_and_changed_is_told_apart():
    other = song_of(("cut-in", (1,), {"side": "B", "level": 70}), ("one-shot", (6,), {}))
    new = other.replaced(cues=(*other.cues, make_cue(9, "one-shot", place_at(other.analysis, 20))))
    found = compared(BEFORE, new)
    assert [cue.number for cue in found.new] == [9]
    assert [cue.number for cue in found.gone] == [3]
    assert [(was.place.bar, now.place.bar) for was, now in found.moved] == [(5, 6)]
    assert [(was.side, now.side) for was, now in found.changed] == [("A", "B")]


def test_many_cues_are_told_by_where_they_begin_and_end():
    cues = [("one-shot", (bar,), {}) for bar in range(1, 12)]
    song = song_of(*cues)
    said = in_places(song.cues, Grid(song.analysis))
    assert said == "11 cues, from A1, bar 1 of 8 to B1, bar 3 of 8"


def test_no_edit_is_told_by_an_id_also_when_what_it_was_about_is_gone():
    song = BEFORE
    own = make_cue(4, "one-shot", place_at(song.analysis, 7), id="own/one-shot/1", status="added")
    added = change(song, AddCue(own), by="test")
    gone = change(added, RemoveCue(own.id), by="test")
    told = [entry_text(gone, entry) for entry in gone.history]
    told += [describe(gone, SetCue(own.id, {"level": 3})), describe(gone, SetPlan("s99", "lift"))]
    told += [describe(gone, SetSection("s99", {"name": "verse"}))]
    assert told[1] == "cue 4 in A1, bar 7 of 8 removed"
    assert not [said for said in told if "own/" in said or "s99" in said]
    assert describe(song, SetCue(song.cues[0].id, {"up_beats": 1.0})).endswith("up over 1 beat")
