"""Where the answers to a question point, and what is heard of each before it is given."""

import pytest

from cuesuggest.review.pointing import pointed_at
from cuesuggest.review.readings import clicked
from cuesuggest.score.deeds import (
    Answer,
    BarOneAt,
    BeatTimes,
    CountedIn,
    JudgeCues,
    MoveCue,
    Question,
    SectionStarts,
    ShiftBars,
)
from tests.songs import make_cue, make_song, place_at

# 4/4 at 60, bar 1 at 2 s: the downbeat of bar n is at 4n - 2 s.
SONG = make_song("A8 B8 A8", bpm=60, events=[("stop", 4, 2, 3)])


def pointed(deed, *, listen=10.0, reading=None, song=SONG):
    (found,) = pointed_at(song, Question("q", "Is it so?", listen, (), (Answer("yes", deed, reading),)))
    return found


@pytest.mark.parametrize(
    ("deed", "at"),
    [
        (SectionStarts("B1", 9), 34.0),
        (SectionStarts("B1", 10), 38.0),
        (BarOneAt(6.0), 6.0),
        (ShiftBars(0), 10.0),
        (ShiftBars(2), 12.0),
        (ShiftBars(0.5), 10.5),
        (ShiftBars(-1), 9.0),
        (MoveCue("x", 21.5), 21.5),
        (BeatTimes("half"), None),
        (CountedIn("3/4"), None),
    ],
)
def test_an_answer_points_to_the_place_that_it_means(deed, at):
    assert pointed(deed).at == at


def test_bars_around_it_are_played_and_never_outside_the_song():
    found = pointed(SectionStarts("B1", 10))
    assert (found.hear_from, found.hear_to) == (34.0, 46.0)
    first = pointed(BarOneAt(2.0), listen=0.0)
    assert (first.hear_from, first.hear_to) == (2.0, 10.0)
    window = SONG.recording.window
    last = pointed(MoveCue("x", window.end))
    assert last.hear_to <= window.end


def test_where_a_section_would_start_the_click_comes_in_with_it():
    click = clicked(SONG.analysis, pointed(SectionStarts("B1", 10)).reading)
    assert click.beats[:2] == (38.0, 39.0)
    assert 38.0 in click.downbeats


def test_an_end_is_one_click_and_a_shift_the_click_that_it_would_be():
    assert clicked(SONG.analysis, pointed(MoveCue("x", 21.5)).reading).beats == (21.5,)
    assert pointed(ShiftBars(2), reading="shift 2").reading == "shift 2"


def test_a_stop_is_heard_as_a_click_that_stops_and_what_plays_on_as_one_that_goes_on():
    out = make_cue(1, "cut-out", place_at(SONG.analysis, 4, 2), side="A")
    back = make_cue(2, "cut-in", place_at(SONG.analysis, 5), side="A", level=70)
    song = SONG.replaced(cues=(out, back))
    ids = (out.id, back.id)
    stops = clicked(song.analysis, pointed(JudgeCues("accepted", ids), song=song).reading)
    assert not [beat for beat in stops.beats if 15.0 <= beat < 18.0]
    assert {14.0, 18.0} <= set(stops.beats)
    on = pointed(JudgeCues("rejected", ids), song=song)
    assert (on.at, clicked(song.analysis, on.reading).beats) == (15.0, song.analysis.beats)


def test_a_button_that_is_held_stops_the_click_until_the_band_is_back():
    held = make_cue(1, "cut-out", place_at(SONG.analysis, 4, 2), side="A", trigger="held")
    song = SONG.replaced(cues=(held,))
    click = clicked(song.analysis, pointed(JudgeCues("accepted", (held.id,)), song=song).reading)
    assert not [beat for beat in click.beats if 15.0 <= beat < 18.0]


def test_cues_that_have_gone_point_nowhere():
    assert pointed(JudgeCues("accepted", ("gone/1",))).at is None


@pytest.mark.parametrize("reading", ["from", "from x", "not nonsense", "on", "from 1e9"])
def test_a_reading_that_is_none_is_what_the_document_says(reading):
    beats = clicked(SONG.analysis, reading).beats
    assert beats == SONG.analysis.beats or len(beats) <= len(SONG.analysis.beats) + 1
