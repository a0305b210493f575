"""An open document: what is done to it, taken back, saved, and what happens when somebody else was there."""

import json
import os
from dataclasses import replace

import pytest

from cuesuggest.decide.answers import answered
from cuesuggest.draft.again.redraft import redrafted
from cuesuggest.draft.states import kept_folder
from cuesuggest.errors import CuesuggestError, DocumentError, EditError
from cuesuggest.review.actions import ACTIONS
from cuesuggest.review.asked import Asked
from cuesuggest.review.session import BehindError, Session
from cuesuggest.score.deeds import Answer, BeatTimes, JudgeCues, Question, SectionStarts, ShiftBars
from cuesuggest.song import SetTitle, Song, change
from cuesuggest.song.open_questions import open_questions

CONTENT = ("title", "analysis", "corrections", "looks", "plan", "cues", "questions", "cautions", "unplaced")


@pytest.fixture
def session(document, tmp_path):
    return Session(document, tmp_path / "kept")


def act(session, what, **values):
    return session.act(session.song.revision, lambda song: ACTIONS[what](song, Asked(values)))


def content(song):
    return {name: getattr(song, name) for name in CONTENT}


def lit(song):
    """An entrance of a look."""
    return next(cue for cue in song.cues if cue.kind in ("fade-in", "crossfade", "cut-in"))


def planned(song, section_id):
    return next(each for each in song.plan if each.section == section_id)


# (action, what it needs from the song)
EVERYTHING = {
    "status": lambda s: {"cues": [s.cues[0].id], "status": "accepted"},
    "accept-section": lambda s: {"section": next(x.id for x in s.analysis.sections if x.label == lit(s).place.section)},
    "accept-all": lambda s: {},
    "one-shot": lambda s: {"bar": 3, "beat": 3},
    "dark": lambda s: {"seconds": lit(s).place.seconds + 6.0},
    "length": lambda s: {"cue": next(c.id for c in s.cues if c.kind in ("fade-in", "crossfade")), "beats": 1},
    "swap": lambda s: {},
    "lock": lambda s: {"cue": s.cues[0].id, "lock": True},
    "level": lambda s: {"cue": lit(s).id, "level": 35},
    "note": lambda s: {"cue": s.cues[0].id, "note": "ask the drummer"},
    "move": lambda s: {"cue": lit(s).id, "beats": 1, "bars": 0},
    "set": lambda s: {
        "cue": lit(s).id,
        "trigger": "held",
        "anchor": "lands-on",
        "up_beats": 8,
        "who": "Nele",
        "note": "slowly",
    },
    "add": lambda s: {"kind": "one-shot", "note": "the big one", "bar": 3, "beat": 2},
    "copy": lambda s: {"cue": next(c.id for c in s.cues if c.place.section and c.kind != "fade-out")},
    "colours": lambda s: {"look": lit(s).look, "colours": 4, "relation": "amber, red, rose and white"},
    "category": lambda s: {"section": s.analysis.sections[0].id, "category": "lift", "all": False},
    "vamp": lambda s: {"section": s.analysis.sections[1].id, "until": "the singer turns round"},
    "bar-one": lambda s: {"seconds": s.analysis.beats[9]},
    "shift": lambda s: {"beats": 1},
    "half": lambda s: {},
    "double": lambda s: {},
    "tempo": lambda s: {"bpm": 112},
    "signature": lambda s: {"value": "2/4"},
    "tapped": lambda s: {"times": list(s.analysis.beats[8:24])},
    "form": lambda s: {"text": "intro 8, chorus 8, verse 8, chorus 16"},
    "boundary-move": lambda s: {"section": s.analysis.sections[1].id, "bars": 1, "all": False},
    "boundary-add": lambda s: {"bar": s.analysis.sections[1].first_bar + 3},
    "boundary-remove": lambda s: {"section": s.analysis.sections[1].id},
    "name": lambda s: {"section": s.analysis.sections[0].id, "name": "verse", "all": True},
    "first-words": lambda s: {"section": s.analysis.sections[0].id, "words": "when the river"},
    "title": lambda s: {"title": "Other Evening"},
    "end-move": lambda s: {"edge": "end", "bars": -1},
    "end-here": lambda s: {"edge": "start", "seconds": s.analysis.bars[8].start},
    "take-pressed": lambda s: {"runs": [{"until": s.analysis.duration, "presses": [{"at": 9.0, "kind": "note"}]}]},
}


@pytest.mark.parametrize("what", EVERYTHING)
def test_everything_can_be_done_saved_taken_back_and_made_again(session, what):
    values = EVERYTHING[what](session.song)
    if what == "copy":
        # One of two like cues goes, so that there is something to copy.
        values = {"cue": added_in_first_pass(session)}
    before = session.song
    act(session, what, **values)
    after = session.song
    assert content(after) != content(before)
    assert Song.load(session.document) == after
    session.undo(after.revision)
    assert content(session.song) == content(before)
    assert Song.load(session.document) == session.song
    session.redo(session.song.revision)
    assert content(session.song) == content(after)
    assert session.song.revision > after.revision
    assert Song.load(session.document) == session.song


def added_in_first_pass(session):
    first = next(each for each in session.song.analysis.sections if each.bars >= 6)
    act(session, "add", kind="one-shot", note="a swell", bar=first.first_bar + 3, beat=2)
    return next(cue.id for cue in session.song.cues if cue.status == "added")


def test_every_action_is_tried_above_or_below():
    assert set(ACTIONS) - set(EVERYTHING) == {"remove", "forget", "answer"}


def test_undo_goes_back_to_the_start_and_redo_to_the_end(session):
    start = session.song
    act(session, "title", title="One")
    act(session, "accept-section", section=section_with_suggestions(session.song).id)
    act(session, "shift", beats=1)
    act(session, "level", cue=lit(session.song).id, level=20)
    end = session.song
    for _ in range(4):
        session.undo(session.song.revision)
    assert content(session.song) == content(start)
    assert session.undo_text() is None
    with pytest.raises(EditError, match="no change to take back"):
        session.undo(session.song.revision)
    for _ in range(4):
        session.redo(session.song.revision)
    assert content(session.song) == content(end)


def section_with_suggestions(song):
    name = next((cue.place.section, cue.place.pass_) for cue in song.cues if cue.place.section)
    return next(each for each in song.analysis.sections if (each.label, each.pass_) == name)


def test_what_was_done_before_the_page_was_opened_can_be_taken_back_too(session, document):
    before = session.song
    act(session, "shift", beats=1)
    act(session, "note", cue=session.song.cues[0].id, note="later")
    again = Session(document)
    assert "note" in again.undo_text()
    again.undo(again.song.revision)
    again.undo(again.song.revision)
    assert [bar.start for bar in again.song.analysis.bars] == [bar.start for bar in before.analysis.bars]


def test_an_undo_brings_back_what_was_to_the_digit_also_from_the_command_line(document, run):
    session = Session(document, kept_folder(document))
    before = content(session.song)
    act(session, "half")
    act(session, "level", cue=lit(session.song).id, level=31)
    session.undo(session.song.revision)
    session.undo(session.song.revision)
    assert content(session.song) == before
    run("edit", document, "redo", "2")
    assert Song.load(document).corrections
    run("edit", document, "undo", "2")
    assert content(Song.load(document)) == before


def test_where_no_state_was_kept_the_edits_are_taken_back_one_by_one(document):
    session = Session(document)
    before = session.song
    act(session, "note", cue=before.cues[0].id, note="later")
    act(session, "accept-section", section=section_with_suggestions(before).id)
    session.undo(session.song.revision)
    assert {cue.status for cue in session.song.cues} == {"suggested"}
    session.undo(session.song.revision)
    assert content(session.song) == content(before)
    session.redo(session.song.revision)
    assert session.song.cues[0].note == "later"


def test_a_kept_state_of_another_draft_is_not_brought_back(session, document):
    act(session, "note", cue=session.song.cues[0].id, note="later")
    other = Song.load(document)
    other.replaced(cautions=("Mind the step.",), revision=other.revision + 1).save(document)
    session.take_file()
    session.undo(session.song.revision)
    assert session.song.cautions == ("Mind the step.",)
    assert session.song.cues[0].note == ""


def test_bars_shifted_there_and_back_are_numbered_as_before(session):
    before = {bar.number: bar.start for bar in session.song.analysis.bars if bar.number >= 1}
    act(session, "shift", beats=1)
    act(session, "shift", beats=-1)
    after = {bar.number: bar.start for bar in session.song.analysis.bars}
    assert {number: after[number] for number in before} == pytest.approx(before, abs=0.05)


def test_accepting_all_of_a_section_is_one_step_and_leaves_the_rest(session):
    before = session.song
    chosen = section_with_suggestions(before)
    act(session, "accept-section", section=chosen.id)
    for cue in session.song.cues:
        inside = (cue.place.section, cue.place.pass_) == (chosen.label, chosen.pass_)
        assert cue.status == ("accepted" if inside else "suggested")
    session.undo(session.song.revision)
    assert content(session.song) == content(before)


def test_a_cue_moves_over_bar_lines_both_ways(session):
    cue = lit(session.song)
    start = cue.place
    act(session, "move", cue=cue.id, beats=-1, bars=0)
    moved = next(each for each in session.song.cues if each.id == cue.id)
    assert (moved.place.bar, moved.place.beat) == (start.bar - 1, 4.0)
    act(session, "move", cue=cue.id, beats=1, bars=1)
    moved = next(each for each in session.song.cues if each.id == cue.id)
    assert (moved.place.bar, moved.place.beat) == (start.bar + 1, 1.0)


def test_a_cue_cannot_leave_the_song(session):
    with pytest.raises(EditError, match="no bar there"):
        act(session, "move", cue=lit(session.song).id, beats=0, bars=-64)


@pytest.mark.parametrize("category", ["rest", "subtle", "lift", "intense"])
@pytest.mark.parametrize("which", [0, 1, 3], ids=["first", "lit", "a later pass"])
def test_a_section_gets_the_category_that_is_asked_for_and_keeps_it(session, which, category):
    chosen = session.song.analysis.sections[which]
    if planned(session.song, chosen.id).category != category:
        act(session, "category", section=chosen.id, category=category, all=False)
    assert planned(session.song, chosen.id).category == category
    # It is a decision: it outlives the next hearing.
    act(session, "shift", beats=0)
    assert planned(session.song, chosen.id).category == category


def test_a_category_is_given_to_every_pass_at_once(session):
    first = session.song.analysis.sections[1]
    passes = [each for each in session.song.analysis.sections if each.label[0] == first.label[0]]
    act(session, "category", section=first.id, category="subtle", all=True)
    assert len(passes) > 1
    assert {planned(session.song, each.id).category for each in passes} == {"subtle"}


def test_an_edit_that_hands_cannot_play_is_done_and_remarked(session):
    entrance = lit(session.song)
    recall = next(cue for cue in session.song.cues if cue.kind == "recall" and cue.side == entrance.side)
    out = act(session, "move", cue=recall.id, bar=entrance.place.bar, beat=3)
    assert any("does not go together" in remark for remark in out.remarks)
    assert next(cue for cue in session.song.cues if cue.id == recall.id).place.bar == entrance.place.bar


def test_only_added_cues_can_be_removed(session):
    with pytest.raises(EditError, match="Reject it instead"):
        act(session, "remove", cue=session.song.cues[0].id)
    act(session, "add", kind="call", note="house light to half", who="house", seconds=2.0)
    added = next(cue for cue in session.song.cues if cue.status == "added")
    assert (added.kind, added.who) == ("call", "house")
    act(session, "remove", cue=added.id)
    assert all(cue.status != "added" for cue in session.song.cues)


def test_a_locked_cue_is_not_changed(session):
    cue = lit(session.song)
    act(session, "lock", cue=cue.id, lock=True)
    with pytest.raises(EditError, match="locked"):
        act(session, "level", cue=cue.id, level=10)


def test_everything_stated_can_be_forgotten(session):
    bars = [bar.start for bar in session.song.analysis.bars]
    act(session, "shift", beats=1)
    act(session, "signature", value="2/4")
    act(session, "forget")
    assert session.song.corrections == ()
    assert [bar.start for bar in session.song.analysis.bars] == bars
    with pytest.raises(EditError, match="Nothing was stated"):
        act(session, "forget")


WRONG = {
    "no such cue": ("level", {"cue": "nothing", "level": 3}),
    "no such section": ("category", {"section": "s99", "category": "lift"}),
    "no such category": ("category", {"section": "s1", "category": "enormous"}),
    "a level above all": ("level", {"cue": "x", "level": 101}),
    "not a number": ("tempo", {"bpm": "fast"}),
    "not finite": ("tempo", {"bpm": float("nan")}),
    "yes as a number": ("shift", {"beats": True}),
    "nothing given": ("status", {}),
    "a list in place of a text": ("title", {"title": ["a"]}),
    "a text without end": ("title", {"title": "x" * 100_000}),
    "taps without end": ("tapped", {"times": [1.0] * 6000}),
    "too few taps": ("tapped", {"times": [1.0, 1.5]}),
    "taps without a pulse": ("tapped", {"times": [1.0, 1.1, 3.0, 3.1, 9.0]}),
    "no form": ("form", {"text": "(("}),
    "a bar far away": ("boundary-add", {"bar": 4000}),
    "a time before the start": ("bar-one", {"seconds": -3}),
    "an answer to nothing": ("answer", {"question": "tempo/1", "answer": 0}),
    "a shift out of reason": ("shift", {"beats": 400}),
}


@pytest.mark.parametrize(("what", "values"), WRONG.values(), ids=WRONG)
def test_what_makes_no_sense_is_refused_in_a_sentence_and_changes_nothing(session, document, what, values):
    before = document.read_bytes()
    with pytest.raises(CuesuggestError) as told:
        act(session, what, **values)
    assert str(told.value).rstrip().endswith((".", "?"))
    assert document.read_bytes() == before


def test_text_of_any_kind_is_kept_as_text(session):
    hostile = '<script>alert(1)</script> ="\u202eאבג 🎸\nÜber\t' + "x" * 150
    act(session, "title", title=hostile)
    assert session.song.title.startswith("<script>alert(1)</script>")
    assert "\n" not in session.song.title
    act(session, "name", section=session.song.analysis.sections[0].id, name="Refrän 🎸", all=False)
    assert session.song.analysis.sections[0].name == "Refrän 🎸"


# Questions.


def ask(session, id_, *answers, cues=("a",)):
    question = Question(
        id_, "Is it so?", 1.0, cues, tuple(Answer(f"answer {k}", each) for k, each in enumerate(answers))
    )
    session._song = session.song.replaced(questions=(question,))


def test_a_question_about_bar_one_is_answered_by_a_shift(session):
    ask(session, "bar-one", ShiftBars(0), ShiftBars(1))
    first = next(bar.start for bar in session.song.analysis.bars if bar.number == 1)
    beats = session.song.analysis.beats
    out = act(session, "answer", question="bar-one", answer=1)
    assert out.said == "Is it so? answer 1"
    now = next(bar.start for bar in session.song.analysis.bars if bar.number == 1)
    assert now == pytest.approx(beats[beats.index(first) + 1], abs=0.03)


@pytest.mark.parametrize("step", [0, 1, -1])
def test_a_question_about_a_start_is_answered_by_a_bar(session, step):
    chosen = session.song.analysis.sections[1]
    bar = chosen.first_bar + step
    ask(session, f"start/{chosen.id}", SectionStarts(chosen.mark, bar))
    act(session, "answer", question=f"start/{chosen.id}", answer=0)
    assert session.song.analysis.sections[1].first_bar == bar
    assert not any(each.id.startswith("start/") for each in open_questions(session.song))


@pytest.mark.parametrize(("speed", "factor"), [("as-heard", 1.0), ("half", 0.5), ("double", 2.0)])
def test_a_question_about_the_pulse_is_answered_by_a_tempo(session, speed, factor):
    tempo = session.song.analysis.tempo_bpm
    ask(session, "tempo/56", BeatTimes(speed))
    act(session, "answer", question="tempo/56", answer=0)
    assert session.song.analysis.tempo_bpm == pytest.approx(tempo * factor, rel=0.02)
    assert not any(each.id.startswith("tempo/") for each in open_questions(session.song))


def test_a_question_about_a_cue_is_answered_by_a_decision(session):
    one, two = session.song.cues[:2]
    ask(
        session,
        "stop/3",
        JudgeCues("accepted", (one.id, two.id)),
        JudgeCues("rejected", (one.id,)),
        cues=(one.id, two.id),
    )
    assert open_questions(session.song)
    act(session, "answer", question="stop/3", answer=0)
    assert [cue.status for cue in session.song.cues[:2]] == ["accepted", "accepted"]
    assert not open_questions(session.song)


def test_every_answer_that_the_rules_give_is_understood(session):
    from cuesuggest.analysis.types import Alternative

    song, tempo = session.song, session.song.analysis.tempo_bpm
    shaky = replace(
        song.analysis,
        alternatives=(Alternative("half", tempo / 2, 0.1), Alternative("shift 2", tempo, 0.1)),
        sections=tuple(replace(each, confidence=0.1) for each in song.analysis.sections),
        events=tuple(replace(each, confidence=0.6) for each in song.analysis.events),
    )  # fmt: skip
    asked, _ = redrafted(song.replaced(analysis=shaky))
    kinds = {question.id.partition("/")[0] for question in asked.questions}
    assert len(kinds) >= 3, kinds
    for question in asked.questions:
        assert question.answers, question
        for answer in range(len(question.answers)):
            assert answered(asked, question.id, answer).edits


# Somebody else.


def test_an_action_for_an_older_state_is_not_done(session):
    seen = session.song.revision
    act(session, "title", title="First window")
    with pytest.raises(BehindError, match="another window"):
        session.act(seen, lambda song: ACTIONS["title"](song, Asked({"title": "Second window"})))
    assert session.song.title == "First window"


def elsewhere(document, title):
    song = Song.load(document)
    change(song, SetTitle(title), by="command line").save(document)


def test_a_file_changed_by_another_program_is_noticed_and_never_written_over(session, document):
    elsewhere(document, "From the shell")
    assert session.disk() == "changed"
    with pytest.raises(BehindError, match="another program"):
        act(session, "title", title="From the page")
    assert Song.load(document).title == "From the shell"


def test_what_the_file_holds_can_be_taken(session, document):
    elsewhere(document, "From the shell")
    session.take_file()
    assert session.song.title == "From the shell"
    assert session.disk() == "same"
    act(session, "title", title="From the page")
    assert Song.load(document).title == "From the page"


def test_what_is_shown_can_be_kept_and_the_other_is_put_aside(session, document, tmp_path):
    act(session, "title", title="From the page")
    elsewhere(document, "From the shell")
    session.keep_shown()
    assert Song.load(document).title == "From the page"
    aside = [json.loads(path.read_text())["title"] for path in (tmp_path / "kept").iterdir()]
    assert "From the shell" in aside


def test_a_file_that_was_only_touched_is_no_conflict(session, document):
    os.utime(document, ns=(1, 1))
    assert session.disk() == "same"
    act(session, "title", title="Still fine")


def test_a_file_that_has_gone_is_noticed_and_written_again(session, document):
    document.unlink()
    assert session.disk() == "gone"
    with pytest.raises(CuesuggestError):
        act(session, "title", title="Lost?")
    session.keep_shown()
    assert Song.load(document) == session.song


def test_a_file_that_became_something_else_is_not_written_over(session, document):
    document.write_text("shopping list")
    assert session.disk() == "changed"
    with pytest.raises(DocumentError, match="no song document"):
        session.keep_shown()
    assert document.read_text() == "shopping list"


def test_the_last_states_are_kept_and_no_more(session, tmp_path):
    for number in range(45):
        act(session, "title", title=f"Title {number}")
    kept = list((tmp_path / "kept").iterdir())
    assert len(kept) == 40
    titles = {json.loads(path.read_text())["title"] for path in kept}
    assert "Title 43" in titles
    assert "Title 0" not in titles


def test_states_that_cannot_be_kept_do_not_stop_the_work(document):
    session = Session(document, document / "not a folder")
    act(session, "title", title="Goes on")
    assert Song.load(document).title == "Goes on"


# What a machine may play.


@pytest.fixture
def lamps(session):
    """The document as one whose first side is a lamp, and whose one-shots are a strobe's."""
    song = session.song
    sides = [
        {**side, "source": "lamp", "by_itself": True} if side["name"] == "A" else side
        for side in song.rig.values["sides"]
    ]
    shot = {**song.rig.values["one_shot"], "source": "strobe", "by_itself": False}
    values = {**song.rig.values, "sides": sides, "one_shot": shot}
    looks = tuple(replace(look, source="lamp") for look in song.looks)
    song.replaced(rig=replace(song.rig, values=values), looks=looks, revision=song.revision + 1).save(session.document)
    return Session(session.document)


def test_a_lamps_cue_is_let_go_on_the_page_and_a_lasers_is_not(lamps):
    of_lamp = next(cue for cue in lamps.song.cues if cue.side == "A")
    of_laser = next(cue for cue in lamps.song.cues if cue.side == "B")
    act(lamps, "set", cue=of_lamp.id, by_itself=True)
    assert not next(cue for cue in lamps.song.cues if cue.id == of_lamp.id).operator_confirms
    assert "may play by itself" in lamps.undo_text()
    with pytest.raises(EditError, match="moves a laser"):
        act(lamps, "set", cue=of_laser.id, by_itself=True)
    act(lamps, "set", cue=of_lamp.id, by_itself=False)
    assert next(cue for cue in lamps.song.cues if cue.id == of_lamp.id).operator_confirms


def test_a_cue_that_comes_to_something_else_waits_again(lamps):
    of_lamp = next(cue for cue in lamps.song.cues if cue.side == "A" and cue.kind in ("fade-in", "crossfade", "cut-in"))
    act(lamps, "set", cue=of_lamp.id, by_itself=True)
    act(lamps, "set", cue=of_lamp.id, kind="one-shot")
    assert next(cue for cue in lamps.song.cues if cue.id == of_lamp.id).operator_confirms
