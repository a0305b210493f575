"""What is left to do in a song is counted in one place, and the list of songs and the night tell the same."""

from dataclasses import replace

from cuesuggest.night.song_facts import facts_of
from cuesuggest.review.evening import Evening
from cuesuggest.score.deeds import Answer, Question, ShiftBars
from cuesuggest.song.left_to_do import LeftToDo, left_to_do
from tests.nights import drafted_song
from tests.songs import make_analysis


def test_what_is_left_is_told_in_words_and_nothing_in_none():
    assert LeftToDo(2, 12).words == "2 questions, 12 cues to check"
    assert LeftToDo(1, 0).words == "1 question"
    assert LeftToDo(0, 1).words == "1 cue to check"
    assert LeftToDo(0, 0).words == ""


def test_the_list_of_songs_and_the_night_tell_the_same(tmp_path):
    song = drafted_song("Tin Roof", make_analysis("A16 B16", bpm=128))
    first, *rest = song.cues
    answers = (Answer("yes", ShiftBars(1)), Answer("no", ShiftBars(-1)))
    asked = Question("bar-one", "Is this the one?", 0.0, (first.id,), answers)
    song = song.replaced(cues=(replace(first, status="accepted"), *rest), questions=(asked,))
    document = tmp_path / "tin-roof.cues.json"
    song.save(document)
    evening = Evening([document], kept=lambda path: None)
    (row,) = evening.listed("")["songs"]
    assert left_to_do(song) == LeftToDo(row["questions"], row["to_check"]) == LeftToDo(1, len(rest))
    assert facts_of(song).to_do == f"1 question, {len(rest)} cues to check"
    assert row["state"] == "open"
