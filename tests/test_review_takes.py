"""The review page with a list that came from another take: what is in doubt is asked about, what happened is told."""

from __future__ import annotations

import pytest

from cuesuggest.song import Doubt, Song, TakenOver
from cuesuggest.song.open_questions import open_questions
from tests.reviewing import barriers, hosting

LINES = ("Taken over from monday.ogg. This take is 4 % slower.", "Not in this take: C1 (Bridge), 8 bars.")


@pytest.fixture
def carried(document, opened):
    """A page over a list of which one cue may belong elsewhere; and that cue."""
    song = Song.load(document)
    cue = song.cues[2]
    bar = song.analysis.bars[-3]
    doubt = Doubt(cue.id, cue.place.seconds, "this take goes another way beside it", (bar.start,))
    record = TakenOver("monday.ogg", "0" * 64, {cue.id: 0.4}, (doubt,), (), song.analysis.sections[:1], LINES)
    song.replaced(taken_over=record, questions=(), revision=song.revision + 1).save(document)
    with hosting(document) as server:
        page = opened(server)
        page.slip(f"Cue {cue.number:g} (")
        page.slip("came from another take: this take goes another way beside it.")
        yield page, cue, bar
        assert page.problems == []


def test_a_cue_in_doubt_is_heard_and_said_to_be_right_with_one_key(carried, document):
    page, cue, _ = carried
    page.press("q")
    page.page.wait_for_function("() => !sound.paused")
    page.press("Space", "1")
    page.told("it is right here")
    song = Song.load(document)
    assert not open_questions(song)
    assert next(each for each in song.cues if each.id == cue.id).place == cue.place
    page.press("u")
    page.slip("came from another take")
    assert [each.id for each in open_questions(Song.load(document))] == [f"take/{cue.id}"]


def test_a_cue_in_doubt_is_moved_to_where_else_its_bars_are_played(carried, document):
    page, cue, bar = carried
    page.press("q", "2")
    page.told("it belongs to")
    song = Song.load(document)
    assert next(each for each in song.cues if each.id == cue.id).place.seconds == pytest.approx(bar.start, abs=0.01)
    assert not open_questions(song)


def test_the_running_order_tells_what_came_along_and_what_did_not(carried):
    page, _, _ = carried
    page.press("r")
    page.page.wait_for_selector("#list[open]")
    shown = page.text("#list")
    assert "From the other take" in shown
    for line in LINES:
        assert line in shown
    assert barriers(page.page) == []
