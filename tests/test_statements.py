"""What the user says about the music becomes absolute facts."""

from dataclasses import replace

import pytest

from cuesuggest.analysis.form import letter
from cuesuggest.analysis.rhythm.meters import stated_meter
from cuesuggest.analysis.types import felt_beats
from cuesuggest.decide import statements
from cuesuggest.decide.boundaries import beats_tapped, form_as_found
from cuesuggest.errors import EditError
from cuesuggest.score.form_text import read_form
from cuesuggest.song import (
    BarOneCorrection,
    DownbeatCorrection,
    SetCorrections,
    TempoCorrection,
    TimeSignatureCorrection,
    apply,
    inverse,
)
from tests.songs import make_song

SONG = make_song("A8 B8 A8")  # 96 BPM, 4/4, bar 1 at 2.0 s: a beat lasts 0.625 s, a bar 2.5 s
END = SONG.recording.window.end


def facts(edit):
    return edit.corrections


def test_a_tempo_holds_for_the_whole_song_or_from_a_bar_on():
    assert facts(statements.tempo(SONG, 75)) == (TempoCorrection(75, 0.0, END),)
    assert facts(statements.tempo(SONG, 75, from_bar=9)) == (TempoCorrection(75, 22.0, END),)


def test_half_and_double_are_stored_as_tempi():
    assert facts(statements.tempo_times(SONG, "half")) == (TempoCorrection(48, 0.0, END),)
    assert facts(statements.tempo_times(SONG, "double")) == (TempoCorrection(192, 0.0, END),)


def test_half_of_a_song_in_two_tempi_is_stated_for_each():
    faster = tuple(
        bar if bar.number < 9 else bar.__class__(**{**_fields(bar), "start": s, "end": s + 2.0})
        for bar in SONG.analysis.bars
        for s in [22.0 + 2.0 * (bar.number - 9)]
    )
    song = SONG.replaced(analysis=SONG.analysis.__class__(**{**_fields(SONG.analysis), "bars": faster}))
    halved = (TempoCorrection(48, 0.0, 22.0), TempoCorrection(60, 22.0, END))
    assert facts(statements.tempo_times(song, "half")) == halved


def _fields(record):
    return {name: getattr(record, name) for name in record.__dataclass_fields__}


def test_a_later_tempo_wins_where_it_holds():
    once = apply(SONG, statements.tempo(SONG, 90))
    assert facts(statements.tempo(once, 70, from_bar=9)) == (
        TempoCorrection(90, 0.0, 22.0),
        TempoCorrection(70, 22.0, END),
    )


def test_a_shift_states_every_bar_line_and_keeps_the_numbers():
    edit = statements.bars_shifted(SONG, 1)
    lines = [fact.time for fact in facts(edit) if isinstance(fact, DownbeatCorrection)]
    assert lines == [bar.start + 0.625 for bar in SONG.analysis.bars]
    assert BarOneCorrection(2.625) in facts(edit)
    assert edit.keeps == "bars"


def test_a_shift_by_half_a_beat_states_bar_lines_between_the_beats():
    lines = [fact.time for fact in facts(statements.bars_shifted(SONG, 0.5)) if isinstance(fact, DownbeatCorrection)]
    assert lines == pytest.approx([bar.start + 0.3125 for bar in SONG.analysis.bars])


def test_a_shift_from_a_bar_on_leaves_the_bars_before_alone():
    edit = statements.bars_shifted(SONG, -1, from_bar=9)
    lines = [fact.time for fact in facts(edit) if isinstance(fact, DownbeatCorrection)]
    assert lines[2:] == [bar.start - 0.625 for bar in SONG.analysis.bars if bar.number >= 9]
    assert lines[:2] == [bar.start for bar in SONG.analysis.bars if bar.number in (7, 8)]


def test_bar_one_at_a_bar_line_only_renumbers():
    assert facts(statements.bar_one_at(SONG, 7.03)) == (BarOneCorrection(7.0),)


def test_bar_one_on_another_beat_moves_the_bar_lines_there():
    edit = statements.bar_one_at(SONG, 7.6)
    assert BarOneCorrection(7.625) in facts(edit)
    lines = [fact.time for fact in facts(edit) if isinstance(fact, DownbeatCorrection)]
    assert lines[0] == 7.625
    assert len(lines) == 22


def test_bar_one_far_from_any_beat_is_taken_at_its_word():
    assert facts(statements.bar_one_at(SONG, 0.5)) == (BarOneCorrection(0.5), DownbeatCorrection(0.5))


def test_a_time_signature_and_tapped_bar_lines_are_stored_as_they_are():
    assert facts(statements.signature(SONG, "6/8", from_bar=17)) == (TimeSignatureCorrection("6/8", 42.0),)
    assert facts(statements.tapped(SONG, [2.01, 4.52])) == (DownbeatCorrection(2.01), DownbeatCorrection(4.52))


def test_times_are_read_one_a_line_with_whatever_follows():
    text = "# tapped at the desk\n2.01\n0:04.52, bar 2\n\n1:02:03.5;x\n"
    assert statements.read_times(text, "taps.txt", _seconds) == [2.01, 4.52, 3723.5]


def _seconds(word):
    from cuesuggest.cli.times import seconds_of

    return seconds_of(word)


# what is said, what the message says
WRONG = [
    (lambda: statements.tempo(SONG, 5), "20 to 400"),
    (lambda: statements.tempo(SONG, 80, from_bar=99), "last bar is 24"),
    (lambda: statements.tempo_times(make_song("A8", bpm=30), "half"), "no tempo"),
    (lambda: statements.signature(SONG, "4"), "4/4, 3/4"),
    (lambda: statements.signature(SONG, "4/3"), "4/4, 3/4"),
    (lambda: statements.bars_shifted(SONG, 999), "smaller"),
    (lambda: statements.bars_shifted(SONG, 0.3), "neither whole nor a half"),
    (lambda: statements.bars_shifted(SONG, float("inf")), "neither whole nor a half"),
    (lambda: statements.bars_shifted(SONG, 1e308), "smaller"),
    (lambda: statements.tapped(SONG, [2.0, 2.00001]), "2.0000 s and 2.0000 s are too near for two bar lines"),
    (lambda: statements.tapped(SONG, [2.0] * 20_001), "at most 20000 are kept"),
    (lambda: statements.tapped(SONG, [float("nan")]), "outside the song"),
    (lambda: statements.bar_one_at(SONG, 999), "outside"),
    (lambda: statements.tapped(SONG, []), "no times"),
    (lambda: statements.tapped(SONG, [4.0, 2.0]), "must rise"),
    (lambda: statements.tapped(SONG, [4.0, 999.0]), "outside"),
    (lambda: statements.tempo_times(make_song(""), "half"), "--downbeats"),
    (lambda: statements.read_times("2.0\nabc", "taps.txt", _seconds), "taps.txt, line 2"),
]  # fmt: skip


@pytest.mark.parametrize(("say", "message"), WRONG)
def test_what_cannot_be_is_refused_with_a_reason(say, message):
    with pytest.raises(EditError, match=message):
        say()


def test_stating_is_an_edit_with_an_inverse():
    first = apply(SONG, statements.tempo(SONG, 75))
    second = statements.signature(first, "3/4")
    assert apply(apply(first, second), inverse(first, second)) == first
    assert apply(apply(first, second), second) == apply(first, second)


def test_what_is_stated_can_be_said():
    edit = SetCorrections((*facts(statements.bars_shifted(SONG, 1)), *facts(statements.signature(SONG, "3/4", 9))))
    assert statements.described(edit.corrections) == [
        "24 bar lines from 2.62 to 60.12 s",
        "bar 1 at 2.62 s",
        f"96 BPM from 0.00 to {END:.2f} s",
        "4/4 from 2.00 s on",
        "3/4 from 22.00 s on",
    ]


def test_more_kinds_of_section_than_letters_keep_a_name_each():
    song = make_song(" ".join(["A4"] * 28))
    sections = [replace(each, label=letter(k), pass_=1) for k, each in enumerate(song.analysis.sections)]
    song = song.replaced(analysis=replace(song.analysis, sections=tuple(sections)), cues=())
    (fact,) = form_as_found(song).corrections
    names = [part.name for part in read_form(fact.text).parts]
    assert len(set(names)) == 28
    assert names[25:] == ["Z", "AA", "AB"]


@pytest.mark.parametrize("signature", ["4/4", "3/4", "6/8", "12/8", "7/8", "5/8", "6/4", "2/2", "4/8"])
def test_beats_are_counted_as_the_analysis_feels_them(signature):
    assert felt_beats(signature) == stated_meter(signature).beats


def test_taps_where_nothing_was_heard_are_counted_in_four_and_that_is_stated():
    edit = beats_tapped(make_song(""), [0.5 + 0.5 * k for k in range(8)])
    assert TimeSignatureCorrection("4/4", 0.0) in edit.corrections
    assert [fact.time for fact in edit.corrections if fact.kind == "downbeat"] == [0.5, 2.5]


def test_taps_where_a_signature_is_stated_are_counted_in_that():
    song = make_song("").replaced(corrections=(TimeSignatureCorrection("6/8", 0.0),))
    edit = beats_tapped(song, [0.5 + 0.5 * k for k in range(4)])
    assert [fact.time for fact in edit.corrections if fact.kind == "downbeat"] == [0.5, 1.5]
    assert [fact.value for fact in edit.corrections if fact.kind == "time-signature"] == ["6/8"]


def test_a_first_bar_where_no_beat_was_heard_is_where_it_is_said_to_be():
    assert BarOneCorrection(3.3) in facts(statements.bar_one_at(make_song(""), 3.3))
