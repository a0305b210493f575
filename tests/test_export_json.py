"""The list for programs and the annotations for researchers, each against its schema."""

from __future__ import annotations

import io
import json
from dataclasses import replace
from pathlib import Path

import jams
import pytest
from hypothesis import given, settings
from jsonschema import Draft202012Validator

from cuesuggest.export.common.timing import RATES, Timing
from cuesuggest.export.data.json_list import schema_text
from tests.exported import HOSTILE, hostile_song, one, random_song, seeds
from tests.songs import make_song

# jams calls jsonschema in an old way.
pytestmark = pytest.mark.filterwarnings("ignore:Passing a schema to Validator:DeprecationWarning")

SCHEMA = Path(__file__).parent.parent / "docs" / "cue-list.schema.json"
VALIDATOR = Draft202012Validator(json.loads(schema_text()))


def listed(song, **options):
    data = json.loads(one(song, "json", "json", **options))
    VALIDATOR.validate(data)
    return data


def annotated(song, **options):
    text = one(song, "jams", "jams", **options).decode()
    found = jams.load(io.StringIO(text))
    assert found.validate()
    return found


def test_the_schema_in_docs_is_the_one_in_the_code():
    assert SCHEMA.read_text(encoding="utf-8") == schema_text()
    Draft202012Validator.check_schema(json.loads(schema_text()))


def test_the_list_says_what_a_program_needs():
    data = listed(make_song("A8 B8 A8"), date="2031-05-04", timing=Timing(1.5, RATES["30"]))
    third = data["cues"][2]
    assert (third["number"], third["kind"], third["look"], third["side"], third["level"]) == (
        3,
        "cut-in",
        "lift",
        "B",
        80,
    )
    assert (third["seconds"], third["timecode"]) == (23.5, "01:00:23:15")
    assert (third["section"], third["pass"], third["bar_in_section"], third["bar"]) == ("B", 1, 1, 9)
    assert third["automatic"] is False
    assert (data["date"], data["offset"], data["title"]) == ("2031-05-04", 1.5, "Paper Boats")


def test_rejected_cues_are_left_out():
    song = make_song("A8 B8 A8")
    gone = replace(song.cues[1], status="rejected")
    data = listed(song.replaced(cues=[song.cues[0], gone, *song.cues[2:]]))
    assert [cue["number"] for cue in data["cues"]] == [1, 3, 4]


def test_the_schema_refuses_what_is_no_list():
    data = listed(make_song())
    for change in ({"version": 2}, {"extra": 1}, {"cues": [{}]}, {"take": "short"}):
        assert not VALIDATOR.is_valid({**data, **change})


def test_jams_reads_beats_segments_tempo_and_cues():
    found = annotated(make_song("A8 B8 A8"))
    (beats,) = found.search(namespace="beat")
    (segments,) = found.search(namespace="segment_open")
    (pace,) = found.search(namespace="tempo")
    (tags,) = found.search(namespace="tag_open")
    assert [each.value for each in beats.data][:5] == [1, 2, 3, 4, 1]
    assert [(each.time, each.value) for each in segments.data] == [(2.0, "A"), (22.0, "B"), (42.0, "A")]
    assert pace.data[0].value == 96
    assert [each.time for each in tags.data] == [2.0, 17.0, 22.0, 59.5]
    assert found.file_metadata.duration == make_song("A8 B8 A8").recording.duration


@pytest.mark.parametrize("offset", [5.0, -15.0, -100.0])
def test_jams_speaks_of_the_recording_whatever_the_offset(offset):
    assert one(make_song(), "jams", "jams") == one(make_song(), "jams", "jams", timing=Timing(offset))


def test_without_music_there_is_a_file_all_the_same():
    assert not annotated(make_song("")).search(namespace="tempo")
    assert listed(make_song(""))["cues"] == []


@given(seeds)
@settings(max_examples=15, deadline=None)
def test_any_song_fits_both_schemas(seed):
    song = random_song(seed)
    annotated(song)
    assert len(listed(song)["cues"]) == sum(cue.status != "rejected" for cue in song.cues)


@pytest.mark.parametrize("text", HOSTILE.values(), ids=HOSTILE)
def test_any_text_is_text(text):
    data = listed(hostile_song(text))
    kept = text.encode("utf-8", "replace").decode()
    assert (data["title"], data["cues"][0]["note"]) == (kept, kept)
    annotated(hostile_song(text))
