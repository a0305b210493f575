"""Show control, byte by byte against the standard's tables, and as it stands in a MIDI file."""

from __future__ import annotations

import io
from dataclasses import replace

import mido
import pytest

from cuesuggest.export.common.desk_map import DeskMap, map_from_text
from cuesuggest.export.common.timing import RATES
from cuesuggest.export.desk.show_control import control_message, cue_data, time_data
from tests.exported import HOSTILE, hostile_song, one
from tests.songs import make_cue, make_song, place_at

AUTO = {"allow_auto": True}
ALL = DeskMap()
ON_DEVICE_0 = DeskMap(device=0)
LASERS_ON_1 = DeskMap(device=1, command_format=5)
EVERY_KIND = DeskMap(command_format=127)

# RP-002 (1991): cue 235.6 of list 36.6 on path 59 is the standard's own example.
MESSAGES = {
    "GO next": (ALL, "GO", b"", "7F 7F 02 01 01"),
    "GO cue 1": (ALL, "GO", cue_data("1"), "7F 7F 02 01 01 31"),
    "GO 12.5 list 1 on device 0": (ON_DEVICE_0, "GO", cue_data("12.5", "1"), "7F 00 02 01 01 31 32 2E 35 00 31"),
    "GO cue 3 list 2, lasers": (LASERS_ON_1, "GO", cue_data("3", "2"), "7F 01 02 05 01 33 00 32"),
    "all three": (
        ALL,
        "GO",
        cue_data("235.6", "36.6", "59"),
        "7F 7F 02 01 01 32 33 35 2E 36 00 33 36 2E 36 00 35 39",
    ),
    "TIMED_GO 7 list 1 in 3.5 s at 25": (
        ALL,
        "TIMED_GO",
        time_data(3.5, RATES["25"]) + cue_data("7", "1"),
        "7F 7F 02 01 04 20 00 03 0C 32 37 00 31",
    ),
    "ALL_OFF": (EVERY_KIND, "ALL_OFF", b"", "7F 7F 02 7F 08"),
}


@pytest.mark.parametrize(("desk", "command", "data", "hexadecimal"), MESSAGES.values(), ids=MESSAGES)
def test_messages_are_the_bytes_of_the_standard(desk, command, data, hexadecimal):
    assert control_message(desk, command, data) == bytes.fromhex(hexadecimal)


def sent(song, **options):
    data = one(song, "msc", "mid", **options)
    seconds, found = 0.0, []
    for message in mido.MidiFile(file=io.BytesIO(data)):
        seconds += message.time
        if message.type == "sysex":
            found.append((round(seconds, 3), bytes(message.data).hex(" ").upper()))
    return found


def test_every_cue_is_go_and_its_number_in_time():
    assert sent(make_song("A8 B8 A8"), **AUTO) == [
        (2.0, "7F 7F 02 01 01 31"),
        (17.0, "7F 7F 02 01 01 32"),
        (22.0, "7F 7F 02 01 01 33"),
        (59.5, "7F 7F 02 01 01 34"),
    ]


def test_in_the_file_the_length_counts_the_end_and_not_the_start():
    song = make_song("A8")
    song = song.replaced(cues=[song.cues[0]])
    data = one(song, "msc", "mid", map=DeskMap(cue_list="1"), **AUTO)
    assert bytes.fromhex("F0 09 7F 7F 02 01 01 31 00 31 F7") in data


def test_cues_that_wait_for_a_person_send_nothing():
    assert sent(make_song("A8 B8 A8")) == []
    data = one(make_song("A8 B8 A8"), "msc", "mid")
    # A cue point and a marker each.
    assert data.count(b"By hand ") == 8


def test_the_file_says_that_it_is_experimental():
    assert b"Experimental: no independent program" in one(make_song(), "msc", "mid")


def test_a_held_dark_is_all_off_and_restore():
    song = make_song("A8 B8 A8", events=[("stop", 12, 3.0, 1.0)])
    held = make_cue(3.5, "cut-out", place_at(song.analysis, 12, 3.0), side="B", level=0, trigger="held")
    assert sent(song.replaced(cues=[held]), **AUTO) == [(30.75, "7F 7F 02 01 08"), (31.375, "7F 7F 02 01 09")]


def test_a_call_to_somebody_else_is_said_and_not_sent():
    song = make_song("A8")
    call = make_cue(1, "call", place_at(song.analysis, 3), who="house light")
    assert sent(song.replaced(cues=[call]), **AUTO) == []


def test_looks_with_a_number_of_their_own_are_loaded_brought_in_and_let_go():
    song = make_song("A8 B8 A8")
    out = replace(song.cues[3], side="B", look="lift")
    map_ = map_from_text('[looks.lift]\ncue = "101"')
    assert [
        data.split(maxsplit=4)[4] for _, data in sent(song.replaced(cues=[*song.cues[1:3], out]), map=map_, **AUTO)
    ] == [
        "05 31 30 31",  # LOAD as it is set up
        "01 31 30 31",  # GO
        "0B 31 30 31",  # GO_OFF
    ]


# What a map makes of cue 1: SET of control 10 to 500 sends the low seven bits first.
MAPPED = {
    'command = "STOP"': "7F 7F 02 01 02 31",
    'command = "resume"\ncue = "7"': "7F 7F 02 01 03 37",
    'command = "FIRE"\nmacro = 5': "7F 7F 02 01 07 05",
    'command = "SET"\ncontrol = 10\nvalue = 500': "7F 7F 02 01 06 0A 00 74 03",
    'command = "RESET"': "7F 7F 02 01 0A",
    'command = "TIMED_GO"': "7F 7F 02 01 04 20 00 05 00 00 31",
}


@pytest.mark.parametrize(("keys", "hexadecimal"), MAPPED.items())
def test_a_map_can_make_a_cue_something_else(keys, hexadecimal):
    song = make_song("A8")
    song = song.replaced(cues=[replace(song.cues[0], up_seconds=5.0)])
    map_ = map_from_text(f'[cues."fade-in/1"]\n{keys}')
    assert [data for _, data in sent(song, map=map_, **AUTO)] == [hexadecimal]


def test_timed_sends_the_time_of_every_fade():
    song = make_song("A8")
    song = song.replaced(cues=[replace(song.cues[0], up_seconds=3.5)])
    map_ = map_from_text('[msc]\ntimed = true\ncue_list = "1"')
    assert [data for _, data in sent(song, map=map_, **AUTO)] == ["7F 7F 02 01 04 20 00 03 0C 32 31 00 31"]


@pytest.mark.parametrize("text", HOSTILE.values(), ids=HOSTILE)
def test_any_text_leaves_the_messages_short_and_clean(text):
    for _, data in sent(hostile_song(text), **AUTO):
        raw = bytes.fromhex(data)
        assert len(raw) + 2 <= 128
        assert max(raw) <= 0x7F
