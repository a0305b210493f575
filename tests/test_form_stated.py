"""A stated form in a document: a fact, an edit with an inverse, and names that come and go with it."""

from dataclasses import replace

import pytest

from cuesuggest.analysis.form import Part
from cuesuggest.decide import statements
from cuesuggest.draft.again.carried_sections import carried
from cuesuggest.draft.again.same_sound import Match
from cuesuggest.draft.listening import known_of
from cuesuggest.draft.settling import earlier_hearing
from cuesuggest.errors import DocumentError
from cuesuggest.score.form_text import read_form
from cuesuggest.song import (
    FormCorrection,
    SetCorrections,
    SetSection,
    Song,
    TempoCorrection,
    apply,
    change,
    inverse,
    undo,
)
from tests.songs import make_song

SONG = make_song("A8 B8 A8")
FORM = FormCorrection("verse 8, chorus 8, verse 8")


def stated(song, text):
    return change(song, statements.form(song, read_form(text).parts), by="test")


def facts(song, kind):
    return [fact for fact in song.corrections if isinstance(fact, kind)]


def test_a_form_is_stated_in_one_way_of_writing_it():
    for text in ("verse 8, chorus 8, verse 8", "verse 8 chorus 8 verse 8", "# sheet\nverse: 8 bars\nchorus 8\nverse 8"):
        assert stated(SONG, text).corrections == (FORM,)


def test_a_form_said_twice_is_said_once_and_a_new_one_takes_its_place():
    once = stated(SONG, FORM.text)
    assert stated(once, FORM.text).corrections == once.corrections
    assert stated(once, "intro, outro").corrections == (FormCorrection("intro, outro"),)


def test_a_form_is_taken_back():
    edit = statements.form(SONG, read_form(FORM.text).parts)
    assert apply(apply(SONG, edit), inverse(SONG, edit)) == SONG
    assert undo(stated(SONG, FORM.text)).corrections == ()


@pytest.mark.parametrize(
    "state",
    [
        lambda song: statements.tempo(song, 75),
        lambda song: statements.tempo_times(song, "half"),
        lambda song: statements.signature(song, "3/4", 9),
        lambda song: statements.bars_shifted(song, 1),
        lambda song: statements.bar_one_at(song, 7.6),
        lambda song: statements.tapped(song, [2.01, 4.52]),
    ],
)
def test_form_and_bars_are_stated_side_by_side_in_either_order(state):
    first = apply(stated(SONG, FORM.text), state(stated(SONG, FORM.text)))
    then = stated(apply(SONG, state(SONG)), FORM.text)
    assert first.corrections == then.corrections
    assert len(facts(first, FormCorrection)) == 1
    assert len(first.corrections) > 1


def test_a_form_is_said_and_survives_the_file(tmp_path):
    song = stated(SONG, 'verse 8 "when the morning", „Réfrain 2“ 8')
    assert statements.described(song.corrections) == ['form: verse 8 "when the morning", "Réfrain 2" 8']
    song.save(tmp_path / "song.cues.json")
    assert Song.load(tmp_path / "song.cues.json") == song


def test_a_form_moves_no_bars_so_cues_hold_on_to_theirs():
    assert statements.form(SONG, [Part("verse")]).keeps == "bars"


def test_what_is_known_of_the_form_says_nothing_of_bars():
    known = known_of((FORM,))
    assert [(part.name, part.bars) for part in known.form] == [("verse", 8), ("chorus", 8), ("verse", 8)]
    assert not known
    assert known_of((FORM, TempoCorrection(75, 0.0, 60.0)))


# corrections, what the message names
BROKEN = [
    ((FormCorrection("verse 0"),), r"corrections\[0\]\.text: The form, column 7: 0 is no number of bars"),
    ((TempoCorrection(75, 0.0, 60.0), FormCorrection("")), r"corrections\[1\]\.text: The form: there are no parts"),
    ((FORM, FORM), r"corrections\[1\]: corrections\[0\] states the form already"),
]


@pytest.mark.parametrize(("corrections", "message"), BROKEN)
def test_a_document_with_a_broken_form_is_refused(corrections, message):
    broken = SONG.model_copy(update={"corrections": corrections}).to_json()
    with pytest.raises(DocumentError, match=message):
        Song.from_json(broken)


# Names: the analysis gives those of the form, the user may give others before and after.


def heard(song):
    """What the analysis makes of the three sections under the form that a song states, as it comes: without a past."""
    parts = known_of(song.corrections).form or [Part("")] * 3
    sections = [
        replace(section, id=f"s{number}", name=part.name, first_words=part.first_words)
        for number, (section, part) in enumerate(zip(SONG.analysis.sections, parts, strict=True), 1)
    ]
    return replace(SONG.analysis, sections=tuple(sections))


def settle(before, after):
    """Hear a song anew after a change of what it states."""
    analysis, _ = carried(after, heard(after), Match("same"), earlier_hearing(before, after))
    return after.replaced(analysis=analysis)


def again(song):
    """Suggest a song again."""
    return song.replaced(analysis=carried(song, heard(song), Match("same"))[0])


def say(song, text):
    return settle(song, stated(song, text))


def call(song, section, name):
    return change(song, SetSection(section, {"name": name}), by="test")


def names(song):
    return [section.name for section in song.analysis.sections]


def test_a_form_names_the_sections_until_it_is_taken_back():
    song = say(SONG, FORM.text)
    assert names(song) == names(again(song)) == ["verse", "chorus", "verse"]
    assert names(settle(song, undo(song))) == ["", "", ""]


def test_a_new_form_names_them_anew():
    assert names(say(say(SONG, FORM.text), "intro, song, outro")) == ["intro", "song", "outro"]


def test_a_name_given_after_the_form_stays():
    song = call(say(SONG, FORM.text), "s2", "big one")
    assert names(again(song)) == ["verse", "big one", "verse"]
    assert names(say(song, FORM.text)) == ["verse", "big one", "verse"]
    forgotten = settle(song, change(song, SetCorrections(()), by="test"))
    assert names(forgotten) == ["", "big one", ""]


def test_a_name_that_was_taken_off_stays_off():
    song = call(say(SONG, FORM.text), "s2", "")
    assert names(again(song)) == ["verse", "", "verse"]


def test_a_name_given_before_the_form_gives_way_and_comes_back():
    song = say(call(SONG, "s1", "opening"), FORM.text)
    assert names(song) == names(again(song)) == ["verse", "chorus", "verse"]
    assert names(settle(song, undo(song))) == ["opening", "", ""]


def test_sections_that_a_form_divides_otherwise_get_id_and_name_back_with_the_undo():
    song = call(call(SONG, "s2", "big one"), "s3", "last")
    after = stated(song, "long 24")
    whole = replace(SONG.analysis.sections[0], id="s1", end=SONG.analysis.sections[-1].end, last_bar=24, name="long")
    divided, _ = carried(after, replace(SONG.analysis, sections=(whole,)), Match("same"), earlier_hearing(song, after))
    assert [section.id for section in divided.sections] == ["s4"]
    after = after.replaced(analysis=divided, plan=(), cues=())
    restored = settle(after, undo(after))
    assert [section.id for section in restored.analysis.sections] == ["s1", "s2", "s3"]
    assert names(restored) == ["", "big one", "last"]


def test_first_words_come_with_the_form_and_go_with_it():
    song = say(SONG, 'verse "when the morning", chorus, verse')
    assert [section.first_words for section in song.analysis.sections] == ["when the morning", "", ""]
    song = change(song, SetSection("s2", {"first_words": "oh"}), by="test")
    assert [section.first_words for section in again(song).analysis.sections] == ["when the morning", "oh", ""]
    song = settle(song, undo(undo(song)))
    assert [section.first_words for section in song.analysis.sections] == ["", "", ""]


def test_only_names_of_the_user_are_told_as_lost():
    song = call(say(SONG, FORM.text), "s3", "finale")
    shorter = replace(SONG.analysis, sections=SONG.analysis.sections[:1])
    _, lost = carried(song, shorter, Match("same"))
    assert lost == ("A2 was called “finale”; there is no such section any more.",)
