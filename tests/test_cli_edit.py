"""`cuesuggest edit`: decisions from a script or by hand, without the page."""

import json

import pytest

from cuesuggest.rules import load_rig
from cuesuggest.song import Settings, Song
from cuesuggest.song.hand_words import HandWords
from tests.reviewing import copied
from tests.songs import make_song

RIG = load_rig(None)


@pytest.fixture
def document(tmp_path):
    """The song of `make_song`: cues 1 to 4 on the sides of the example rig."""
    path = tmp_path / "boats.cues.json"
    make_song("A8 B8 A8", rig=Settings(RIG.name, RIG.values())).save(path)
    return path


@pytest.fixture
def edit(run, document):
    """Run `cuesuggest edit` on the document; gives exit code, output, errors and the song afterwards."""

    def edit(*words):
        code, out, err = run("edit", document, *words)
        return code, out, err, Song.load(document)

    return edit


def cue(song, number):
    return next(each for each in song.cues if each.number == number)


# words, number of the cue, what it has afterwards
DECISIONS = [
    (("accept", "1"), 1, {"status": "accepted"}),
    (("reject", "3"), 3, {"status": "rejected"}),
    (("lock", "2-4"), 3, {"lock": True}),
    (("level", "3", "55"), 3, {"level": 55, "status": "edited"}),
    (("note", "4", "watch the drummer"), 4, {"note": "watch the drummer", "status": "suggested"}),
]


@pytest.mark.parametrize(("words", "number", "after"), DECISIONS)
def test_a_decision_is_in_the_document_and_told(edit, words, number, after):
    code, out, err, song = edit(*words)
    assert (code, err) == (0, "")
    assert f"Cue {number}" in out
    assert {name: getattr(cue(song, number), name) for name in after} == after
    assert song.history[-1].by == "command line"


def test_all_are_those_that_are_still_suggestions(edit):
    edit("reject", "3")
    _, _, _, song = edit("accept", "all")
    assert [each.status for each in song.cues] == ["accepted", "accepted", "rejected", "accepted"]
    assert [each.status for each in edit("reopen", "1-2")[3].cues][:2] == ["suggested", "suggested"]


# words, (bar, beat)
PLACES = [
    (("--bar", "5"), (5, 1.0)),
    (("--bar", "5", "--beat", "3.5"), (5, 3.5)),
    (("--section", "B1", "--bar", "2"), (10, 1.0)),
    (("--section", "A2"), (17, 1.0)),
    (("--at", "0:14.6"), (6, 1.0)),
    (("--at", "0:16.4"), (6, 4.0)),
]


@pytest.mark.parametrize(("words", "place"), PLACES)
def test_a_cue_is_moved_to_the_place_that_is_meant(edit, words, place):
    code, _, err, song = edit("move", "4", *words)
    assert (code, err) == (0, "")
    assert (cue(song, 4).place.bar, cue(song, 4).place.beat) == place


def test_words_for_the_hand_follow_level_and_beat(run, tmp_path):
    path = tmp_path / "boats.cues.json"
    make_song("A8 B8", rig=Settings(RIG.name, RIG.values())).save(path)
    run("edit", path, "level", "1", "35")
    run("edit", path, "move", "1", "--bar", "1", "--beat", "3")
    song = Song.load(path)
    assert HandWords(song).of(cue(song, 1)) == "Side A: fader up to 35 % over 8 beats, from the 3"


def test_a_fade_of_so_many_beats_is_counted_anew_in_seconds(edit):
    _, _, _, song = edit("move", "1", "--bar", "3")
    assert cue(song, 1).up_beats == 8.0
    assert cue(song, 1).up_seconds == pytest.approx(8 * 60 / 96)


def test_a_section_gets_its_name_and_first_words_and_is_found_by_the_name(edit):
    edit("section", "B1", "--name", "Chorus", "--first-words", "paper boats")
    code, _, _, song = edit("move", "4", "--section", "chorus", "--bar", "4")
    assert code == 0
    assert (song.analysis.sections[1].name, song.analysis.sections[1].first_words) == ("Chorus", "paper boats")
    assert cue(song, 4).place.bar == 12


def test_a_cue_of_ones_own_goes_between_its_neighbours_and_can_be_removed(edit):
    code, out, _, song = edit("add", "call", "--bar", "8", "--note", "House light down", "--who", "house")
    assert (code, "2.5" in out) == (0, True)
    assert (cue(song, 2.5).status, cue(song, 2.5).who, cue(song, 2.5).note) == ("added", "house", "House light down")
    assert len(edit("remove", "2.5")[3].cues) == 4
    assert "Reject it" in edit("remove", "2")[2]


def test_an_added_fade_has_look_side_level_and_length(edit):
    words = ("--look", "wide fans", "--side", "B", "--level", "60", "--beats", "4", "--note", "B up slowly")
    _, _, _, song = edit("add", "fade-in", "--section", "A2", "--bar", "1", *words)
    new = next(each for each in song.cues if each.status == "added")
    assert (new.look, new.side, new.level, new.up_beats, new.up_seconds) == ("lift", "B", 60, 4.0, 2.5)


def test_what_does_not_go_together_any_more_is_told_when_it_happens(edit):
    assert "go together" not in edit("accept", "2")[1]
    assert "side B holds nothing" in edit("reject", "2")[1]
    assert "go together" not in edit("note", "3", "still to be set up")[1]


def test_a_cue_that_needs_a_side_and_names_none_is_told_so(edit):
    code, out, _, _ = edit("add", "cut-in", "--bar", "5", "--note", "go", "--look", "home")
    assert code == 0
    assert "it names no side; the rig has A, B" in out
    assert "None" not in out


def test_undo_redo_and_history(edit, document):
    edit("level", "3", "55")
    edit("accept", "1-2")
    code, out, _, _ = edit("history")
    assert code == 0
    assert [line.split(": ", 1)[1] for line in out.splitlines()] == [
        "cue 3 in B1, bar 1 of 8: level 55",
        "cue 1 in A1, bar 1 of 8: accepted",
        "cue 2 in A1, bar 7 of 8: accepted",
    ]
    _, out, _, song = edit("undo", "2")
    told = "Taken back: cue 1 in A1, bar 1 of 8: accepted; cue 2 in A1, bar 7 of 8: accepted."
    assert out.splitlines()[0] == told
    assert out.count("Taken back") == 2
    assert cue(song, 3).level == 80
    assert (cue(song, 3).status, cue(song, 1).status) == ("suggested", "suggested")
    assert cue(edit("redo")[3], 3).level == 55
    assert edit("title", "Paper Boats, slower")[3].title == "Paper Boats, slower"
    assert "no change to make again" in edit("redo")[2]


def test_a_look_gets_as_many_colours_as_are_said_until_that_is_taken_back(edit):
    _, out, _, song = edit("colours", "wide fans", "1")
    assert out.splitlines()[0] == "Wide fans: colours 1, colour relation one colour."
    fans = next(look for look in song.looks if look.name == "Wide fans")
    assert (fans.colours, fans.colour_relation, fans.decided) == (1, "one colour", True)
    song = edit("colours", "wide fans", "3", "--relation", "amber, red, white")[3]
    assert next(look for look in song.looks if look.name == "Wide fans").colour_relation == "amber, red, white"
    edit("undo")
    fans = next(look for look in edit("undo")[3].looks if look.name == "Wide fans")
    assert (fans.colours, fans.decided) == (2, False)
    assert "There is no look 'fog' in this song" in edit("colours", "fog", "2")[2]
    assert edit("colours", "wide fans", "0")[0] == 2


def test_a_locked_cue_is_not_changed_until_it_is_unlocked(edit):
    edit("lock", "3")
    code, _, err, song = edit("level", "3", "10")
    assert (code, cue(song, 3).level) == (2, 80)
    assert "locked" in err
    edit("unlock", "3")
    assert cue(edit("level", "3", "10")[3], 3).level == 10


# words, what the message says
WRONG = [
    (("accept", "9"), "it has 1 to 4"),
    (("accept", "the first"), "12-15"),
    (("level", "2", "50"), "sets no level"),
    (("level", "3", "120"), "0<=x<=100"),
    (("move", "1", "--bar", "99"), "bars 1 to 24"),
    (("move", "1", "--bar", "2", "--beat", "7"), "beats 1 to 4"),
    (("move", "1", "--section", "C1"), "A1, B1, A2"),
    (("move", "1", "--section", "A", "--bar", "1"), "Say which"),
    (("move", "1", "--section", "B1", "--bar", "9"), "bars 1 to 8"),
    (("move", "1", "--at", "9:00"), "lasts"),
    (("move", "1"), "Give a bar"),
    (("add", "fade-in", "--bar", "2", "--note", "up", "--look", "nets"), "Slow drift, Wide fans"),
    (("add", "fade-in", "--bar", "2", "--note", "up", "--beats", "nan"), "'nan' is no number from 0 to 10000"),
    (("add", "fade-in", "--bar", "2", "--note", "up", "--beats", "inf"), "'inf' is no number from 0 to 10000"),
    (("add", "fade-in", "--bar", "2", "--beat", "nan", "--note", "up"), "'nan' is no number from 1 to 100"),
    (("add", "fade-in", "--at", "25:00:00", "--note", "up"), "'25:00:00' is more than a day"),
    (("move", "1", "--at", "9" * 400), "is more than a day"),
    (("move", "1", "--section", f"A{'9' * 5000}"), "There is no section"),
    (("note", "1", "x" * 20_001), "has 20001 characters; at most 20000 are read"),
    (("section", "B1",), "--first-words"),
]  # fmt: skip


@pytest.mark.parametrize(("words", "says"), WRONG)
def test_what_is_wrong_is_said_and_nothing_is_changed(edit, document, words, says):
    before = document.read_bytes()
    code, _, err, _ = edit(*words)
    assert code == 2
    assert says in err
    assert document.read_bytes() == before


def test_export_freezes_the_numbers(run, document):
    assert not Song.load(document).numbers_frozen
    assert run("export", document, "--to", "csv")[0] == 0
    assert json.loads(document.read_text(encoding="utf-8"))["numbers_frozen"] is True


def test_what_was_done_in_one_command_is_taken_back_and_made_again_as_one(edit):
    edit("accept", "all")
    assert {each.status for each in edit("undo")[3].cues} == {"suggested"}
    assert {each.status for each in edit("redo")[3].cues} == {"accepted"}
    assert {each.status for each in edit("undo")[3].cues} == {"suggested"}


def test_a_cue_is_copied_to_the_other_passes_of_its_section(edit):
    _, out, _, song = edit("copy", "1")
    copies = [each for each in song.cues if each.status == "added"]
    assert [(each.kind, each.place.section, each.place.pass_, each.place.bar_in_section) for each in copies] == [
        ("fade-in", "A", 2, 1)
    ]
    assert (copies[0].look, copies[0].level, copies[0].up_beats) == ("home", 50, 8.0)
    assert "added: fade-in at A2, bar 1 of 8" in out
    again = edit("copy", "1")
    assert again[0] == 2
    assert "Every other pass of A has such a cue" in again[2]


def test_a_section_gets_another_category_alone_or_with_its_passes(run, drafted_take, tmp_path):
    document = copied(drafted_take, drafted_take.with_name("evening.wav"), tmp_path / "own")
    before = Song.load(document)
    letter = max({each.family for each in before.analysis.sections}, key=lambda family: len(of(before, family)))
    one = of(before, letter)[-1]
    assert run("edit", document, "section", one.mark, "--light", "rest")[:2] != (2, "")
    decided = {each.section: each.decided for each in Song.load(document).plan if each.decided}
    assert decided == {one.id: "rest"}
    code, out, _ = run("edit", document, "section", one.mark, "--light", "rest", "--all")
    assert code == 0
    decided = {each.section: each.category for each in Song.load(document).plan if each.decided}
    assert decided == {each.id: "rest" for each in of(before, letter)}
    assert ", ".join(each.mark for each in of(before, letter)) in out
    assert "so already" in run("edit", document, "section", one.mark, "--light", "rest", "--all")[2]
    run("edit", document, "undo", "2")
    assert Song.load(document).cues == before.cues


def of(song, family):
    return [each for each in song.analysis.sections if each.family == family]


def test_nothing_left_to_accept_is_no_trouble(edit):
    edit("accept", "all")
    before = edit("history")[3]
    code, out, err, song = edit("accept", "all")
    assert (code, out, err) == (0, "", "")
    assert song == before


def test_more_than_there_is_to_take_back_takes_back_nothing(edit):
    edit("level", "3", "55")
    code, _, err, song = edit("undo", "2")
    assert code == 2
    assert "no change to take back" in err
    assert cue(song, 3).level == 55


def test_an_edit_that_is_refused_is_not_saved(run, document):
    song = json.loads(document.read_text(encoding="utf-8"))
    song["profile"]["values"]["budget"] = {"lit_share": 1.76}
    document.write_text(json.dumps(song), encoding="utf-8")
    before = document.read_bytes()
    code, _, err = run("edit", document, "title", "Evening")
    assert code == 2
    assert "lit_share" in err
    assert document.read_bytes() == before


def test_a_whole_draft_a_section_a_one_shot_a_dark_and_a_length_take_one_word_each(edit):
    code, out, _, song = edit("accept-section", "B1")
    assert (code, cue(song, 3).status, cue(song, 1).status) == (0, "accepted", "suggested")
    code, out, _, song = edit("accept-all")
    assert (code, {each.status for each in song.cues}) == (0, {"accepted"})
    assert out.startswith("The whole draft accepted: ")
    code, out, _, song = edit("one-shot", "--bar", "6")
    assert code == 0
    assert "added: one-shot at A1, bar 6 of 8" in out
    code, out, _, song = edit("dark", "--bar", "11", "--beat", "2")
    assert [each.trigger for each in song.cues if each.kind == "cut-out"] == ["held"], out
    code, _, _, song = edit("length", "1", "6")
    assert (code, cue(song, 1).up_beats) == (0, 6)


def test_a_name_can_be_given_to_every_pass_at_once(edit):
    song = edit("section", "A1", "--name", "verse", "--all")[3]
    assert [each.name for each in song.analysis.sections] == ["verse", "", "verse"]
    assert edit("section", "A1", "--first-words", "hey", "--all")[0] == 2


def test_the_command_line_says_what_it_is_at_while_it_works(run, drafted_take, tmp_path, monkeypatch):
    from contextlib import contextmanager

    from cuesuggest.cli import editing

    document = copied(drafted_take, drafted_take.with_name("evening.wav"), tmp_path / "evening")
    said = []

    @contextmanager
    def progress(name, *, quiet):
        said.append("" if quiet else name)
        yield None

    monkeypatch.setattr(editing, "progress", progress)
    run("correct", document, "--swap")
    run("edit", document, "section", "A1", "--light", "lift")
    run("edit", document, "accept", "1")
    run("edit", document, "undo")
    assert said == [
        "evening.cues.json: hearing anew",
        "evening.cues.json: drafting anew",
        "",
        "evening.cues.json: taken back",
    ]
