"""What was written is read back as cues, with the losses that docs/formats.md tells, and damage is said in words."""

from __future__ import annotations

import contextlib
import re
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cuesuggest.errors import CuesuggestError
from cuesuggest.export import Options, export
from cuesuggest.export.common.riff import chunk, sound_format, wav
from cuesuggest.export.common.told import told
from cuesuggest.export.read_back.reading import read_back
from cuesuggest.score.grid import Grid
from cuesuggest.score.light import hand_place
from cuesuggest.sound.samples import exact_sound
from tests.exported import AUTO, one, random_song, seeds
from tests.songs import make_song
from tests.test_export_markers import recording

# format: (file, how far a time may be off in seconds).
BACK = {
    "midi": ("mid", 1e-3),
    "msc": ("mid", 1e-3),
    "text-show": ("txt", 1e-4),
    "csv": ("csv", 1e-4),
    "csv-semicolon": ("csv", 1e-4),
}


@pytest.mark.parametrize("name", BACK)
@given(seed=seeds)
@settings(max_examples=15, deadline=None)
def test_numbers_times_and_who_waits_come_back(name, seed):
    song = random_song(seed)
    ending, tolerance = BACK[name]
    found = read_back(one(song, name, ending))
    want = told(song, Options())
    if name in ("text-show", "csv", "csv-semicolon"):
        want = [each for each in want if not each.again]
    key = [(each.cue.number, not each.automatic) for each in want]
    assert sorted((cue.number, cue.by_hand) for cue in found.cues) == sorted(key)
    # A table says the place at which the hand begins, and what is near a beat is on it.
    grid = Grid(song.analysis)
    times = sorted(hand_place(each.cue, grid).seconds if name.startswith("csv") else each.at for each in want)
    assert sorted(cue.seconds for cue in found.cues) == pytest.approx(times, abs=tolerance)


def test_words_come_back():
    song = make_song("A8 B8 A8")
    for name, (ending, _) in BACK.items():
        cues = read_back(one(song, name, ending)).cues
        # A table has room for the whole sentence.
        words = "Side B: fader to 80 % in one move" if name.startswith("csv") else "B in at 80"
        assert [cue.words for cue in cues][2].startswith(f"cut-in: {words}")


def test_a_marked_recording_gives_its_cues_and_where_it_lies(tmp_path):
    sound = exact_sound(recording(tmp_path / "a.wav"))
    found = read_back(export(make_song("A8 B8 A8"), "markers", Options(sound=sound))[".markers.wav"])
    assert [(cue.number, cue.seconds, cue.by_hand) for cue in found.cues] == [
        (1, 2.0, True), (2, 17.0, True), (3, 22.0, True), (4, 59.5, True),
    ]  # fmt: skip
    assert found.remarks == ("3 regions.", "Its first sample lies 3600 s after midnight.")


def test_timecode_is_told_from_first_to_last():
    linear, midi = export(make_song("A8"), "timecode").values()
    assert read_back(linear).remarks == ("Linear timecode from 01:00:00:00 to 01:00:24:23 at 25 frames a second.",)
    assert read_back(midi).remarks == ("MIDI time code from 01:00:00:00 to 01:00:25:00.",)


def test_show_control_is_counted():
    data = one(make_song("A8 B8 A8"), "msc", "mid", **AUTO)
    assert read_back(data).remarks == ("4 messages of show control.",)


def test_the_guard_against_formulas_is_taken_away_again():
    song = make_song("A8")
    found = read_back(one(song.replaced(cues=[replace(song.cues[0], kind="call", note="=1+1")]), "csv", "csv"))
    assert found.cues[0].words == "call: =1+1"


@pytest.mark.parametrize("data", [b"", b"\0", b"hello", b"MThd", b"RIFF\0\0\0\0WAVE", b"number,\r\n1\r\n", b"\xff\xfe"])
def test_what_is_no_such_file_is_said_in_words(data):
    with pytest.raises(CuesuggestError, match=r"^mine: "):
        read_back(data, "mine")


@pytest.mark.parametrize("odd", ["nan", "inf", "-inf", "1e300"])
def test_a_table_whose_times_are_none_is_refused(odd):
    rows = one(make_song("A8"), "csv", "csv").decode().replace(",2.0000,", f",{odd},", 1).encode()
    assert odd.encode() in rows
    with pytest.raises(CuesuggestError, match="is no number of a cue and no time"):
        read_back(rows)


def test_a_time_of_hundreds_of_digits_in_a_show_is_no_time():
    show = one(make_song("A8"), "text-show", "txt").decode()
    there = re.search(r"! at (\S+) s", show)
    assert there
    found = read_back(show.replace(there[0], f"! at {'9' * 400} s", 1).encode())
    assert found.cues[0].seconds is None


def test_noise_is_told_to_be_no_timecode_without_looking_at_every_sample():
    noise = np.random.default_rng(1).integers(-20_000, 20_000, 48_000 * 20).astype("<i2").tobytes()
    data = wav([chunk("fmt ", sound_format(48_000, 1, 16, False))], [noise], [])
    with pytest.raises(CuesuggestError, match="its sound is no timecode"):
        read_back(data)


def test_a_list_of_many_megabytes_is_not_read():
    with pytest.raises(CuesuggestError, match="longer than a list of cues ever is"):
        read_back(b"number," * 1_300_000)


WHOLE = {
    "midi": one(make_song("A4"), "midi", "mid", **AUTO),
    "text-show": one(make_song("A4"), "text-show", "txt"),
    "timecode": one(make_song("A1"), "timecode", "wav")[:60_000],
    "csv": one(make_song("A4"), "csv", "csv"),
}


@pytest.mark.parametrize("name", WHOLE)
@given(data=st.data())
@settings(max_examples=60, deadline=None)
def test_a_damaged_file_is_read_or_refused_in_words(name, data):
    whole = bytearray(WHOLE[name])
    for _ in range(data.draw(st.integers(1, 6))):
        whole[data.draw(st.integers(0, min(len(whole), 3000) - 1))] = data.draw(st.integers(0, 255))
    cut = data.draw(st.integers(0, len(whole)))
    for damaged in (bytes(whole), bytes(whole[:cut])):
        with contextlib.suppress(CuesuggestError):
            assert read_back(damaged).form in (name, "midi", "msc")


def test_a_marked_file_without_its_padding_is_refused(tmp_path):
    sound = exact_sound(recording(tmp_path / "a.wav", seconds=1.0))
    data = export(make_song("A8 B8 A8"), "markers", Options(sound=sound))[".markers.wav"]
    at = data.index(b"labl")
    size = int.from_bytes(data[at + 4 : at + 8], "little")
    assert size % 2 == 1
    list_at = data.rindex(b"LIST", 0, at)
    list_size = int.from_bytes(data[list_at + 4 : list_at + 8], "little")
    broken = (
        data[: list_at + 4]
        + (list_size - 1).to_bytes(4, "little")
        + data[list_at + 8 : at + 8 + size]
        + data[at + 9 + size :]
    )
    with pytest.raises(CuesuggestError, match="damaged"):
        read_back(broken)
