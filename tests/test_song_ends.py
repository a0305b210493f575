"""The ends of a song in its recording can be moved; what was decided holds its time, and undo takes it back."""

import pytest

from cuesuggest.decide.song_ends import edge_at, edge_moved
from cuesuggest.decide.telling import action_text
from cuesuggest.draft.settling import settled, work_of
from cuesuggest.draft.states import KeptStates
from cuesuggest.draft.undo import taken_back
from cuesuggest.errors import EditError
from cuesuggest.song import BarOneCorrection, SetCorrections, SetCue, Song, apply, change, inverse
from tests.songs import make_song

SONG = make_song("A8 B8 A8")


def window(edit):
    return edit.recording.window.start, edit.recording.window.end


def test_inwards_an_edge_lies_on_a_bar_line_with_the_attack_whole():
    bars = [bar for bar in SONG.analysis.bars if bar.number >= 1]
    start, end = window(edge_moved(SONG, "start", 2))
    assert bars[2].start - 0.2 <= start < bars[2].start
    assert end == SONG.recording.window.end
    start, end = window(edge_moved(SONG, "end", -1))
    assert (start, end) == (SONG.recording.window.start, pytest.approx(bars[-1].start, abs=0.05))


def test_outwards_an_edge_moves_by_a_bar_as_far_as_the_recording_reaches():
    inner = apply(SONG, edge_at(SONG, "start", 20.0))
    bar = SONG.analysis.bars[0].end - SONG.analysis.bars[0].start
    assert window(edge_moved(inner, "start", -1))[0] == pytest.approx(20 - bar, abs=0.06)
    assert window(edge_moved(inner, "start", -40))[0] == 0.0
    with pytest.raises(EditError, match=r"ends at .* already"):
        edge_moved(SONG, "end", 1)


def test_a_song_of_which_nothing_would_be_left_is_refused():
    with pytest.raises(EditError, match="No bar of the song would be left"):
        edge_moved(SONG, "start", 1000)
    with pytest.raises(EditError, match=r"Only 1\.0 s"):
        edge_at(SONG, "start", SONG.recording.window.end - 1)


def test_the_inverse_names_the_part_that_was_the_song():
    edit = edge_at(SONG, "start", 12.34)
    assert edit.recording.window.start == 12.3
    assert apply(apply(SONG, edit), inverse(SONG, edit)) == SONG


def test_the_edit_is_told_by_the_times_in_the_file():
    song = change(SONG, edge_at(SONG, "start", 12.3), by="test")
    assert action_text(song, song.history).startswith("the song is 0:12.3 to ")
    assert work_of(SONG, song) == "hearing anew"


@pytest.fixture(scope="module")
def moved(drafted_take):
    """The small band's song, a cue of it moved by hand, and its start then moved eight bars on."""
    song = Song.load(drafted_take)
    decided = next(cue for cue in song.cues if cue.place.bar and cue.place.bar > 12 and cue.look)
    before = change(song, SetCue(decided.id, {"level": 33}), by="test")
    after = change(before, edge_moved(before, "start", 8), by="test")
    heard, _ = settled(before, after, drafted_take)
    return before, heard, decided.id


def test_a_song_is_heard_anew_where_it_starts_now(moved):
    before, heard, _ = moved
    eighth = next(bar for bar in before.analysis.bars if bar.number == 9)
    assert heard.recording.window.start == pytest.approx(eighth.start - 0.1, abs=0.06)
    # The bars are counted from the new start, and fall where they fell.
    first = next(bar for bar in heard.analysis.bars if bar.number == 1)
    assert min(abs(first.start - bar.start) for bar in before.analysis.bars) < 0.03
    assert len(heard.analysis.bars) < len(before.analysis.bars)
    assert heard.recording.duration == before.recording.duration


def test_what_was_decided_holds_its_time(moved):
    before, heard, id_ = moved
    was, now = (next(cue for cue in song.cues if cue.id == id_) for song in (before, heard))
    assert (now.level, now.status) == (33, "edited")
    assert now.place.seconds == pytest.approx(was.place.seconds, abs=0.04)
    assert now.place.bar != was.place.bar


def test_undo_brings_the_whole_song_back(moved, drafted_take):
    before, heard, _ = moved
    back, _ = taken_back(heard, drafted_take, KeptStates(None))
    assert (back.recording, back.analysis.bars, back.cues) == (before.recording, before.analysis.bars, before.cues)


def test_a_fact_stated_outside_the_song_is_kept_and_says_nothing(drafted_take):
    song = Song.load(drafted_take)
    stated = change(song, SetCorrections((BarOneCorrection(song.analysis.bars[1].start),)), by="test")
    stated, _ = settled(song, stated, drafted_take)
    after, _ = settled(stated, change(stated, edge_moved(stated, "start", 6), by="test"), drafted_take)
    assert after.corrections == stated.corrections
    assert after.analysis.bars[0].start > after.recording.window.start
    assert min(bar.number for bar in after.analysis.bars) in (0, 1)
