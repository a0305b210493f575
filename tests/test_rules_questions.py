"""What the tool asks: few questions, the weightiest first, each with a place to listen and a command."""

import shlex
from dataclasses import replace

import pytest
from click.testing import CliRunner
from hypothesis import given, settings

from cuesuggest.analysis.types import Alternative, Event
from cuesuggest.cli import cli
from cuesuggest.decide.answers import command
from cuesuggest.decide.meant import find_cues
from cuesuggest.rules import draft, load_profile, load_rig
from cuesuggest.song import SetCue, Song, change
from cuesuggest.song.open_questions import open_questions
from tests.songs import make_analysis, make_song
from tests.test_rules_properties import RIGS, rigs, songs

BAND, RIG = load_profile("band"), load_rig(None)
DRIVE = {"A": 0.35, "B": 0.8}
LONG, LONG_DRIVE = "A8 B8 A8 B8 C8 B8", {"A": 0.35, "B": 0.85, "C": 0.5}


def asked(analysis, profile=BAND):
    return draft(analysis, profile, RIG).questions


def of(analysis, kind):
    (only,) = [question for question in asked(analysis) if question.id.split("/")[0] == kind]
    return only


def commands(question):
    return [command(answer.deed) for answer in question.answers]


def with_alternatives(*alternatives, **kwargs):
    return replace(make_analysis("A8 B8 A8", drive=DRIVE, **kwargs), alternatives=alternatives)


def moved_start(analysis, index, seconds):
    sections = list(analysis.sections)
    sections[index] = replace(sections[index], alternative=seconds)
    return replace(analysis, sections=tuple(sections))


def test_a_sure_song_is_not_asked_about():
    assert asked(make_analysis("A8 B8 A8", drive=DRIVE)) == ()


def test_the_pulse_is_asked_about_where_half_of_it_reads_nearly_as_well():
    question = of(with_alternatives(Alternative("half", 74.0, 0.9), bpm=148), "tempo")
    assert question.text == "Is the pulse felt at 148 or at 74 beats a minute?"
    assert commands(question) == ["correct DOC --as-heard", "correct DOC --half"]
    assert [answer.text for answer in question.answers] == ["148, as it is", "74"]


def test_a_pulse_of_another_ratio_is_stated_as_a_tempo():
    question = of(with_alternatives(Alternative("3:2", 144.0, 0.2), bpm=96), "tempo")
    assert commands(question)[1] == "correct DOC --tempo 144"


def test_bar_one_is_asked_about_with_the_likeliest_shift_first():
    question = of(with_alternatives(Alternative("shift 2", 96.0, 0.4), Alternative("shift 3", 96.0, 0.9)), "bar-one")
    assert question.text == "Is this bar 1, with its 1 at 0:02.0?"
    assert commands(question) == [f"correct DOC --shift-bar {beats}" for beats in (0, 2, -1, 1)]


def test_an_unlikely_reading_is_not_asked_about():
    assert asked(with_alternatives(Alternative("half", 48.0, 5.0), Alternative("shift 2", 96.0, 4.0))) == ()


def doubted(*alternatives, reading=0.3, events=(), **kwargs):
    analysis = make_analysis("A8 B8 A8", drive=DRIVE, events=events, **kwargs)
    return replace(analysis, alternatives=alternatives, confidence=replace(analysis.confidence, reading=reading))


def test_the_meter_is_asked_about_where_another_count_reads_nearly_as_well():
    question = of(with_alternatives(Alternative("3/4", 96.0, 0.3), Alternative("2/4", 96.0, 0.8)), "meter")
    assert question.text == "Is it counted in 4/4 or in 3/4?"
    assert commands(question) == [f"correct DOC --meter {count}" for count in ("4/4", "3/4", "2/4")]
    assert [answer.reading for answer in question.answers] == ["", "3/4", "2/4"]


def test_half_a_beat_off_is_offered_in_words_and_as_a_shift():
    question = of(with_alternatives(Alternative("shift 0.5", 96.0, 0.2)), "bar-one")
    assert question.answers[1].text == "half a beat later"
    assert command(question.answers[1].deed) == "correct DOC --shift-bar 0.5"
    assert question.answers[1].reading == "shift 0.5"


def test_a_reading_in_doubt_is_asked_about_first_however_far_the_other_ones_are():
    analysis = doubted(Alternative("half", 48.0, 4.5), Alternative("shift 2", 96.0, 3.0), events=[("stop", 12, 3.0, 4)])
    assert asked(analysis)[0].id.startswith("tempo"), "4.5 nats over the song are less than 3 nats a bar"
    sure = replace(analysis, confidence=replace(analysis.confidence, reading=0.97))
    assert [question.id.partition("/")[0] for question in asked(sure)] == []


def test_while_the_reading_is_in_doubt_no_look_is_intense_and_the_plan_says_why():
    analysis = make_analysis("A8 B8 A8 B8 C8 B8 A8 B8", drive=LONG_DRIVE)
    unsure = replace(analysis, confidence=replace(analysis.confidence, reading=0.3))
    sure, doubtful = draft(analysis, BAND, RIG), draft(unsure, BAND, RIG)
    assert "intense" in {section.category for section in sure.plan}
    assert "intense" not in {section.category for section in doubtful.plan}
    assert any("too unsure" in reason for section in doubtful.plan for reason in section.reasons)


def broken_off(confidence):
    return Event(kind="false-start", start=0.4, end=1.6, bar=None, beat=None, confidence=confidence)


@pytest.mark.parametrize(("confidence", "other"), [(0.7, "0.40"), (0.3, "2.00")])
def test_an_unsure_false_start_is_asked_about_with_the_other_place_of_bar_one(confidence, other):
    question = of(doubted(reading=0.97, events=[broken_off(confidence)]), "false-start")
    assert commands(question) == ["correct DOC --bar-one-at 2.00", f"correct DOC --bar-one-at {other}"]


def test_a_sure_false_start_is_not_asked_about():
    assert asked(doubted(reading=0.97, events=[broken_off(0.98)])) == ()


def test_music_without_bars_is_asked_about():
    end = make_analysis("A8 B8 A8", drive=DRIVE).music_end
    event = Event(kind="uncounted", start=end + 1, end=end + 20, bar=None, beat=None, confidence=0.9)
    question = of(doubted(reading=0.97, events=[event]), "uncounted")
    assert question.text.startswith("Does the band play on from ")
    assert commands(question)[0] == "correct DOC --as-heard"


def test_a_start_with_another_likely_bar_is_asked_about_and_heard_from_before_both():
    analysis = make_analysis("A8 B8 A8", bpm=120, drive=DRIVE)
    question = of(moved_start(analysis, 1, 20.0), "start")
    assert question.text == "Does B1 start at bar 9 or 10?"
    assert question.listen_at == pytest.approx(18.0 - 4.0)
    assert commands(question) == ["correct DOC --starts B1 9", "correct DOC --starts B1 10"]


def test_a_section_is_called_as_the_user_calls_it():
    analysis = moved_start(make_analysis("A8 B8 A8", bpm=120, drive=DRIVE), 1, 16.0)
    named = replace(
        analysis, sections=tuple(replace(s, name="Chorus") if s.id == "s2" else s for s in analysis.sections)
    )
    assert of(named, "start").text == "Does Chorus (B1) start at bar 8 or 9?"


def test_a_stop_that_is_unsure_is_accepted_or_rejected_with_the_cues_that_hang_on_it():
    analysis = make_analysis("A8 B8 A8", drive=DRIVE, confidence=0.9, events=[("stop", 12, 3.0, 4)])
    assert asked(analysis) == ()
    events = tuple(replace(event, confidence=0.6) if event.kind == "stop" else event for event in analysis.events)
    found = draft(replace(analysis, events=events), BAND, RIG)
    (question,) = found.questions
    assert question.text == "Does the band stop in B1, bar 4 of 8, the 3, for 2.5 s?"
    hanging = tuple(cue.id for cue in found.cues if cue.rule == "stop" or cue.role == "stop")
    assert question.cues == hanging != ()
    assert commands(question) == [f"edit DOC {what} {' '.join(question.cues)}" for what in ("accept", "reject")]


def test_an_unsure_end_is_asked_about_with_the_other_moments_it_could_be():
    analysis = make_analysis("A8 B8 A8", drive=DRIVE, ring_out=0.0)
    late = replace(analysis, music_end=analysis.music_end + 6.0, duration=analysis.duration + 8.0)
    unsure = tuple(replace(bar, confidence=0.6) for bar in late.bars)
    question = of(replace(late, bars=unsure), "ending")
    assert "does the song end there, or at 1:08.0?" in question.text
    assert commands(question)[1] == "edit DOC move ending/s3/out/1 --at 68.00"


def test_the_more_cues_hang_on_it_the_earlier_it_is_asked():
    analysis = with_alternatives(Alternative("shift 2", 96.0, 0.4))
    found = asked(moved_start(analysis, 1, 24.5))
    assert [question.id.split("/")[0] for question in found] == ["bar-one", "start"]
    assert len(found[0].cues) > len(found[1].cues)


def test_where_a_big_look_comes_in_the_start_has_to_be_surer():
    analysis = make_analysis(LONG, drive=LONG_DRIVE)
    sections = [replace(section, confidence=0.7) for section in analysis.sections]
    bars = asked(replace(analysis, sections=tuple(sections)))
    # Only B3 is intense; its bars are sure, its start is not.
    assert [question.id for question in bars] == ["start/s6"]


@settings(max_examples=100, deadline=None, derandomize=True)
@given(songs, rigs)
def test_questions_are_few_ranked_and_each_has_a_place_and_a_command(analysis, rig):
    found = draft(analysis, BAND, rig)
    assert len(found.questions) <= 5
    counts = [len(question.cues) for question in found.questions]
    assert counts == sorted(counts, reverse=True)
    ids = {cue.id for cue in found.cues}
    for question in found.questions:
        assert question.cues
        assert ids.issuperset(question.cues)
        assert 0 <= question.listen_at <= analysis.duration
        assert len(question.answers) >= 2
        assert len({command(answer.deed) for answer in question.answers}) == len(question.answers)
        for answer in question.answers:
            assert answer.text
            assert runs(command(answer.deed))


def runs(command):
    """Whether the command line knows the command and its options: a file that is not there is the only trouble."""
    words = ["missing.cues.json" if word == "DOC" else word for word in shlex.split(command)]
    result = CliRunner().invoke(cli, words)
    return "missing.cues.json" in str(result.exception) and "No such option" not in result.output


def test_a_command_with_an_unknown_option_would_be_noticed():
    assert runs("correct DOC --half")
    assert not runs("correct DOC --third")


def test_a_decision_on_its_cues_closes_a_question_about_a_stop():
    analysis = make_analysis("A8 B8 A8", drive=DRIVE, events=[("stop", 12, 3.0, 4)])
    events = tuple(replace(event, confidence=0.6) if event.kind == "stop" else event for event in analysis.events)
    found = draft(replace(analysis, events=events), BAND, RIG)
    song = make_song("A8 B8 A8", looks=found.looks, plan=found.plan, cues=found.cues, questions=found.questions)
    assert open_questions(song) == song.questions
    for cue in find_cues(song, song.questions[0].cues):
        song = change(song, SetCue(cue.id, {"status": "accepted"}), by="test")
    assert open_questions(song) == ()


def test_answers_are_kept_in_the_document_and_older_documents_have_none():
    song = make_song("A8 B8 A8")
    assert song.questions[0].answers == ()
    question = of(with_alternatives(Alternative("half", 48.0, 0.9)), "tempo")
    kept = song.replaced(questions=(replace(question, cues=()),))
    assert Song.from_json(kept.to_json()).questions[0].answers == question.answers
    assert b'"answers"' in kept.to_json()


def test_the_example_rig_is_among_those_that_are_drawn():
    assert RIG in RIGS
