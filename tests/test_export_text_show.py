"""The text interchange of 1992: conservative to write, tolerant to read."""

from __future__ import annotations

import itertools
import re
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cuesuggest.export.common.desk_map import map_from_text
from cuesuggest.export.common.timing import Timing
from cuesuggest.export.read_back.read_show import read_show
from tests.exported import HOSTILE, hostile_song, one, random_song, seeds
from tests.songs import make_cue, make_song, place_at

AUTO = {"allow_auto": True}

# Written for these tests; valid under every reading of the standard that we know of.
EXAMPLE = """Ident 3:0
! plan made from a rehearsal recording; times in seconds
Cue 1
Text Intro low wash
Up 4
Down 4
Chan 1@30 2@30 3@H80
Cue 2
Text Verse 1
Up 1.9
Down 1.9
Followon 7.5
Chan 1@60 2@55
Cue 2.5
Text Lift
Up 0
Down 0
Chan 1@100 2@100
Enddata
Cue 99
"""


def shown(song, **options):
    return one(song, "text-show", "txt", **options).decode("ascii")


def test_the_reader_understands_the_example():
    cues, warnings = read_show(EXAMPLE)
    assert warnings == []
    assert [(cue.number, cue.text, cue.up, cue.follow_on) for cue in cues] == [
        (1, "Intro low wash", 4, None), (2, "Verse 1", 1.9, 7.5), (2.5, "Lift", 0, None),
    ]  # fmt: skip
    assert cues[0].channels == pytest.approx({1: 0.3, 2: 0.3, 3: 128 / 255})


VARIANTS = [
    *(("@", mark) for mark in ("/", "=", " ", "<", ">", ",", " @ ", "\t")),
    ("\n", "\r\n"),
    ("\n", "\n\n"),
    ("Cue", "CUE"),
    ("Chan", "chan"),
    ("Up ", "Up    "),
    ("! plan", "! Cue 9 plan"),
    ("Enddata\nCue 99\n", ""),
    ("Ident 3:0\n", ""),
    ("Cue 1\n", "Cue 1 ! a comment\n"),
    ("Cue 1\n", "$Maker thing\nCue 1\n$$more 1 2\n"),
    ("Cue 1\n", "Set something 12\nPatch 1 1 1@100\nCue 1\n"),
]


@pytest.mark.parametrize(("from_", "to"), VARIANTS)
def test_other_ways_to_write_it_read_the_same(from_, to):
    assert EXAMPLE.replace(from_, to) != EXAMPLE
    assert read_show(EXAMPLE.replace(from_, to)) == read_show(EXAMPLE)


WARNINGS = {
    "Cue\nText x": "Line 1: a cue without a number",
    "Text x\nCue 1": "Line 1: Text belongs to no cue",
    "Cue 1\nUp soon": "Line 2: up without a time",
    "Cue 1\nChan 1@120": "Line 2: 1@120",
    "Cue 1\nChan 1@50 2": "Line 2: the last channel",
    "Cue 1\nWobble 3": "Line 2: 'Wobble' is not known",
}


@pytest.mark.parametrize(("text", "says"), WARNINGS.items())
def test_what_is_not_understood_is_told_with_its_line(text, says):
    assert any(warning.startswith(says) for warning in read_show(text)[1])


@given(st.text(max_size=200) | st.text("cuetxhanup 19.@!\n", max_size=200))
def test_the_reader_takes_any_text(text):
    cues, _ = read_show(text)
    assert all(0 <= level <= 1 for cue in cues for level in cue.channels.values())


def test_a_song_is_these_lines():
    song = make_song("A8 B8 A8")
    lines = shown(song, date="2031-05-04", **AUTO).split("\r\n")
    assert lines[0] == "Ident 3:0"
    assert lines[-2:] == ["Enddata", ""]
    assert [line for line in lines if not line.startswith("!")] == [
        "Ident 3:0",
        "Cue 1", "Text 1 fade-in: A up to 50 in 8 beats", "Up 0", "Down 0", "Chan 1@50",
        "Cue 2", "Text 2 recall: set B Wide fans", "Up 0", "Down 0", "Chan 1@50",
        "Cue 3", "Text 3 cut-in: B in at 80", "Up 0", "Down 0", "Chan 1@50 2@80",
        "Cue 4", "Text 4 fade-out: A down in 3.0 s", "Up 0", "Down 3", "Chan 1@0 2@80",
        "Enddata", "",
    ]  # fmt: skip
    comments = "\n".join(line for line in lines if line.startswith("!"))
    for said in ("Paper Boats", "take 5e5e5e5e5e5e", "2031-05-04", "Experimental", "at 22 s, B1, bar 1 of 8"):
        assert said in comments


def test_cues_that_wait_for_a_person_are_text_and_change_nothing():
    song = make_song("A8 B8 A8")
    first = replace(song.cues[0], operator_confirms=False)
    cues, warnings = read_show(shown(song.replaced(cues=[first, *song.cues[1:]])))
    assert warnings == []
    assert [cue.text[:9] for cue in cues] == ["1 fade-in", "By hand 2", "By hand 3", "By hand 4"]
    assert [(cue.up, cue.down, cue.follow_on) for cue in cues[1:]] == [(None, None, None)] * 3
    # They stand in the list with what was there before them, so that going on to one leaves the light alone.
    assert [cue.channels for cue in cues] == [{1: 0.5}] * 4


def test_it_does_not_run_in_time_and_so_no_cue_is_too_early():
    song = make_song("A8 B8 A8")
    written = shown(song, timing=Timing(-20.0), **AUTO)
    assert "left out" not in written
    cues, _ = read_show(written)
    assert [(cue.number, cue.seconds) for cue in cues] == [(1, -18.0), (2, -3.0), (3, 2.0), (4, 39.5)]
    assert [cue.channels for cue in cues] == [cue.channels for cue in read_show(shown(song, **AUTO))[0]]


def test_a_follow_on_waits_as_long_as_the_recording_does_and_only_where_both_are_automatic():
    song = make_song("A8 B8 A8")
    after = replace(song.cues[1], trigger="follow-on", operator_confirms=False)
    freed = [replace(song.cues[0], operator_confirms=False), after, *song.cues[2:]]
    assert [cue.follow_on for cue in read_show(shown(song.replaced(cues=freed)))[0]] == [15.0, None, None, None]
    held = [song.cues[0], after, *song.cues[2:]]
    assert "Followon" not in shown(song.replaced(cues=held))
    assert "Followon" not in shown(song.replaced(cues=[freed[0], replace(after, operator_confirms=True)]))


def test_a_map_gives_channels_and_moves_numbers():
    given_ = map_from_text("[sides.A]\nchannels = [41, 7]\n[text_show]\nadd_to_numbers = 100")
    cues, _ = read_show(shown(make_song("A8 B8 A8"), map=given_, **AUTO))
    assert [cue.number for cue in cues] == [101, 102, 103, 104]
    assert cues[2].channels == {7: 0.5, 41: 0.5, 1: 0.8}


def test_many_channels_go_on_several_lines():
    given_ = map_from_text(f"[sides.A]\nchannels = {list(range(1, 101))}")
    text = shown(make_song("A8"), map=given_, **AUTO)
    assert all(len(line) <= 80 for line in text.split("\r\n"))
    assert len(read_show(text)[0][0].channels) == 100


def lines_are_conservative(text):
    assert text.isascii()
    assert text.endswith("\r\nEnddata\r\n")
    assert text.count("\n") == text.count("\r") == text.count("\r\n")
    for line in text.split("\r\n"):
        assert len(line) <= 80
        assert all(0x20 <= ord(char) <= 0x7E for char in line)
        assert re.match(
            r"$|Ident 3:0$|!|Cue [\d.]+$|Text |Up [\d.]+$|Down [\d.]+$|Followon [\d.]+$|Chan( \d+@\d+)+$|Enddata$", line
        )
        assert "!" not in line.removeprefix("!")


@pytest.mark.parametrize("text", HOSTILE.values(), ids=HOSTILE)
def test_any_text_stays_a_text(text):
    written = shown(hostile_song(text), **AUTO)
    lines_are_conservative(written)
    cues, warnings = read_show(written)
    assert ([cue.number for cue in cues], warnings) == ([1, 2, 3, 4], [])


@given(seeds)
@settings(max_examples=40, deadline=None)
def test_any_song_comes_back_and_clears_nothing(seed):
    song = random_song(seed)
    written = shown(song)
    lines_are_conservative(written)
    cues, warnings = read_show(written)
    standing = sorted(cue.number for cue in song.cues if cue.status != "rejected")
    assert [cue.number for cue in cues] == standing
    assert warnings == []
    assert not re.search("(?im)^(clear|patch|set|\\$)", written)
    assert sum(line.startswith("Cue") for line in written.split("\r\n")) == len(standing)


def test_levels_follow_the_order_of_time_and_numbers_rise():
    song = make_song("A8 B8")
    late_number_first = make_cue(7, "fade-in", place_at(song.analysis, 2), side="A", level=30, look="home", id="x")
    then = make_cue(3, "ramp", place_at(song.analysis, 5), side="A", level=60, look="home", id="y")
    cues, _ = read_show(shown(song.replaced(cues=[late_number_first, then]), **AUTO))
    assert [(cue.number, cue.channels) for cue in cues] == [(3, {1: 0.6}), (7, {1: 0.3})]
    assert all(left.number < right.number for left, right in itertools.pairwise(cues))
