"""Timelines for editing programs, as the format's own library reads them; ours is written without it."""

from __future__ import annotations

from dataclasses import replace

import pytest

from cuesuggest.export import Options
from cuesuggest.export.common.timing import Timing
from cuesuggest.export.common.told import told, wording
from cuesuggest.export.data.timeline import COLOURS, SECTION_COLOUR
from tests.exported import HOSTILE, hostile_song, one
from tests.hard_songs import HARD
from tests.songs import make_song

otio = pytest.importorskip("opentimelineio", reason="it has no wheel for this Python yet")


def opened(song, timing=None):
    text = one(song, "timeline", "otio", timing=timing or Timing(), date="2031-05-04").decode("utf-8")
    return otio.adapters.read_from_string(text, "otio_json")


@pytest.mark.parametrize(("song", "timing"), HARD.values(), ids=HARD)
def test_cues_are_markers_within_half_a_frame_with_words_notes_and_colours(song, timing):
    markers = [each for each in opened(song, timing).tracks.markers if each.color != SECTION_COLOUR]
    said = told(song, Options(timing=timing))
    assert len(markers) == len(said) > 2
    half = 0.5 / float(timing.rate.exact) + 1e-4
    for marker, each in zip(markers, said, strict=True):
        assert marker.marked_range.start_time.to_seconds() == pytest.approx(each.at, abs=half)
        assert (marker.name, marker.color) == (wording(each), COLOURS[each.cue.kind])
        assert each.cue.reasons[0] in marker.comment
        assert marker.metadata["cuesuggest"]["seconds"] == each.at


@pytest.mark.parametrize(("song", "timing"), HARD.values(), ids=HARD)
def test_sections_are_markers_as_long_as_they_are(song, timing):
    markers = [each for each in opened(song, timing).tracks.markers if each.color == SECTION_COLOUR]
    inside = [each for each in song.analysis.sections if timing.show(each.end) > 0]
    assert [marker.name for marker in markers] == [each.mark for each in inside]
    for marker, section in zip(markers, inside, strict=True):
        start, length = marker.marked_range.start_time.to_seconds(), marker.marked_range.duration.to_seconds()
        frame = 1 / float(timing.rate.exact)
        assert start == pytest.approx(max(timing.show(section.start), 0.0), abs=frame / 2 + 1e-4)
        assert start + length == pytest.approx(timing.show(section.end), abs=frame / 2 + 1e-4)


@pytest.mark.parametrize(("song", "timing"), HARD.values(), ids=HARD)
def test_the_recording_lies_where_the_show_has_it(song, timing):
    (track,) = opened(song, timing).tracks
    (clip,) = track.find_clips()
    begins = track.range_of_child(clip).start_time.to_seconds()
    within = clip.source_range.start_time.to_seconds()
    assert begins - within == pytest.approx(timing.offset, abs=1e-6)
    assert clip.media_reference.target_url == "takes/paper-boats.wav"
    assert within + clip.source_range.duration.to_seconds() == pytest.approx(song.recording.duration, abs=0.01)


def test_the_timeline_starts_at_the_timecode_and_says_what_it_is():
    found = opened(make_song(), Timing(start="10:00:00:00"))
    assert found.global_start_time.to_timecode() == "10:00:00:00"
    said = found.metadata["cuesuggest"]
    assert found.name == "Paper Boats"
    assert said["take"] == "5e" * 6
    assert "keep people out of the beams" in said["caution"]
    assert "2031-05-04" in said["made"]


def test_cues_before_second_0_are_left_out_and_said():
    found = opened(make_song("A8 B8 A8"), Timing(-19.5))
    assert not [each for each in found.tracks.markers if each.name.startswith("By hand 1 ")]
    assert "1 cue before second 0 of the show left out: 1." in " ".join(found.metadata["cuesuggest"]["left_out"])


def test_a_recording_that_is_over_before_second_0_is_no_clip():
    assert list(opened(make_song("A8"), Timing(-1000.0)).tracks[0]) == []


def test_names_of_files_are_addresses():
    song = make_song("A8")
    song = song.replaced(recording=replace(song.recording, path="Größe & more/my song?.wav"))
    (clip,) = opened(song).find_clips()
    assert clip.media_reference.target_url == "Gr%C3%B6%C3%9Fe%20%26%20more/my%20song%3F.wav"


def test_every_kind_of_cue_has_a_colour_that_the_format_knows():
    known = {name for name in dir(otio.schema.MarkerColor) if name.isupper()}
    assert {*COLOURS.values(), SECTION_COLOUR} <= known
    assert SECTION_COLOUR not in COLOURS.values()


@pytest.mark.parametrize("text", HOSTILE.values(), ids=HOSTILE)
def test_any_text_is_read_as_text(text):
    found = opened(hostile_song(text))
    assert len(found.tracks.markers) == 7
    assert all("\n" not in each.name for each in found.tracks.markers)
