"""Captions, as webvtt-py reads them."""

from __future__ import annotations

import io
from dataclasses import replace
from itertools import pairwise

import pytest
import webvtt
from hypothesis import given, settings

from cuesuggest.export import Options
from cuesuggest.export.common.timing import Timing
from cuesuggest.export.common.told import told
from cuesuggest.export.desk.captions import captions
from tests.exported import HOSTILE, hostile_song, one, random_song, seeds
from tests.songs import make_cue, make_song, place_at


def read(song, **options):
    text = one(song, "captions", "vtt", **options).decode("utf-8")
    return [(each.start_in_seconds, each.end_in_seconds, each.raw_text) for each in _parsed(text)]


def _parsed(text):
    return webvtt.from_buffer(io.StringIO(text)).captions


def test_a_cue_is_announced_and_then_shown():
    found = read(make_song("A8 B8 A8"))
    assert [text for _, _, text in found][4:6] == [
        "Ready 3 (B1, bar 1 of 8): B in at 80",
        "Now 3 (B1, bar 1 of 8): B in at 80",
    ]
    raw = one(make_song("A8 B8 A8"), "captions", "vtt").decode()
    assert "00:00:19.500 --> 00:00:22.000\nReady 3" in raw
    assert "00:00:22.000 --> 00:00:24.500\nNow 3" in raw


def test_a_fade_that_lands_is_shown_as_the_hand_starts_and_says_where_it_lands():
    song = make_song("A8 B8 A8")
    rise = replace(song.cues[2], kind="fade-in", anchor="lands-on", up_seconds=5.0)
    raw = one(song.replaced(cues=[rise]), "captions", "vtt").decode()
    assert "00:00:17.000 --> 00:00:19.500\nNow 3 (A1, bar 7 of 8, lands at B1, bar 1 of 8)" in raw


def test_the_head_is_a_note_with_title_take_and_caution():
    raw = one(make_song(), "captions", "vtt", date="2031-05-04").decode()
    assert raw.startswith("WEBVTT\n\nNOTE\nPaper Boats\ntake 5e5e5e5e5e5e\n2031-05-04")
    assert "keep people out of the beams" in raw.split("\n\n")[1]


def test_an_offset_fits_them_to_a_video_that_started_earlier():
    raw = one(make_song("A8 B8 A8"), "captions", "vtt", timing=Timing(3600.0)).decode()
    assert "01:00:22.000 --> 01:00:24.500\nNow 3" in raw


def test_cues_before_the_start_are_left_out_and_it_says_so():
    raw = one(make_song("A8 B8 A8"), "captions", "vtt", timing=Timing(-10.0)).decode()
    assert "1 cue before second 0 of the show left out: 1." in raw
    assert "Now 1" not in raw


def test_what_comes_together_stands_together():
    song = make_song("A8 B8")
    cues = [make_cue(n, "call", place_at(song.analysis, 9), id=f"c{n}") for n in range(1, 7)]
    *_, (start, end, text) = read(song.replaced(cues=cues[:3]))
    assert text.count("\n") == 2
    *_, (_, _, many) = read(song.replaced(cues=cues))
    assert many.splitlines()[2] == "and 3, 4, 5, 6"
    assert end - start == pytest.approx(2.5, abs=1)


@given(seeds)
@settings(max_examples=60, deadline=None)
def test_captions_never_overlap_and_every_cue_is_shown_as_it_comes(seed):
    song = random_song(seed)
    found = captions(song, Options())
    assert all(before.end <= after.start for before, after in pairwise(found))
    assert all(each.end > each.start for each in found)
    for each in told(song, Options()):
        there = [caption for caption in found if caption.start - 1e-6 <= each.at <= caption.end + 0.4]
        assert any(f"{each.cue.number:g}" in line for caption in there for line in caption.lines)


@pytest.mark.parametrize("text", HOSTILE.values(), ids=HOSTILE)
def test_any_text_stays_one_caption(text):
    song = hostile_song(text)
    raw = one(song, "captions", "vtt").decode("utf-8")
    blocks = raw.split("\n\n")
    assert len(_parsed(raw)) == len(blocks) - 2 == len(captions(song, Options()))
    assert raw.count("-->") == len(_parsed(raw))
    assert "<" not in raw
