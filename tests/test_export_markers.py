"""Marked copies of a recording: the bytes of the chunks, wavinfo and soundfile as readers, samples bit by bit."""

from __future__ import annotations

import io
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import soundfile
import wavinfo

from cuesuggest.errors import CuesuggestError
from cuesuggest.export import Options, export
from cuesuggest.export.common.timing import RATES, Timing
from cuesuggest.export.desk.markers import SoundMark, mark_chunks
from cuesuggest.sound.samples import exact_sound
from tests.exported import HOSTILE, hostile_song
from tests.songs import make_song

ROOT = Path(__file__).parent.parent


def test_cue_points_are_the_bytes_of_the_standard():
    points, lists = mark_chunks([SoundMark(24000, "LX 1", "go"), SoundMark(36000, "Verse", "", 4800)])
    assert points == bytes.fromhex(
        "63756520 34000000 02000000"
        "01000000 C05D0000 64617461 00000000 00000000 C05D0000"
        "02000000 A08C0000 64617461 00000000 00000000 A08C0000"
    )
    # In one list, each with its own padding: label and note of cue 1, label and region of cue 2.
    assert lists == bytes.fromhex(
        "4C495354 54000000 6164746C"
        "6C61626C 09000000 01000000 4C58203100 00"
        "6E6F7465 07000000 01000000 676F00 00"
        "6C61626C 0A000000 02000000 566572736500"
        "6C747874 14000000 02000000 C0120000 72676E20 0000 0000 0000 0000"
    )


def recording(path, subtype="PCM_16", rate=8000, channels=2, seconds=70.0):
    random = np.random.default_rng(5)
    samples = random.integers(-(2**31), 2**31, (int(rate * seconds), channels), np.int32)
    if path.suffix == ".ogg":
        samples = (samples / 2**33).astype(np.float32)
    soundfile.write(path, samples, rate, subtype=subtype)
    return path


def marked(song, path, **options):
    options = Options(sound=exact_sound(path), **options)
    return export(song, "markers", options)[".markers.wav"]


KINDS = {
    "16 bits": ("a.wav", "PCM_16", "int16"),
    "24 bits": ("a.wav", "PCM_24", "int32"),
    "32 bits": ("a.wav", "PCM_32", "int32"),
    "floats": ("a.wav", "FLOAT", "float32"),
    "FLAC": ("a.flac", "PCM_24", "int32"),
    "AIFF": ("a.aiff", "PCM_16", "int16"),
    "8 bits": ("a.wav", "PCM_U8", "int16"),
    "Ogg": ("a.ogg", "VORBIS", "float32"),
}


@pytest.mark.parametrize(("name", "subtype", "kind"), KINDS.values(), ids=KINDS)
def test_the_samples_are_the_recordings_bit_by_bit(tmp_path, name, subtype, kind):
    path = recording(tmp_path / name, subtype, seconds=65.0)
    copy = marked(make_song("A8 B8 A8"), path)
    heard, rate = soundfile.read(io.BytesIO(copy), dtype=kind)
    original, original_rate = soundfile.read(path, dtype=kind)
    assert rate == original_rate
    assert np.array_equal(heard, original)


def test_of_a_coded_recording_it_is_what_its_decoder_gives():
    sound = exact_sound(ROOT / "samples" / "salt_on_the_sill.m4a")
    copy = export(make_song("A8"), "markers", Options(sound=sound))[".markers.wav"]
    heard, rate = soundfile.read(io.BytesIO(copy), dtype="float32", always_2d=True)
    assert rate == sound.recording.sample_rate
    assert np.array_equal(heard, np.concatenate(list(sound.recording.blocks())))


def test_an_outside_reader_finds_every_cue_and_section_where_it_is(tmp_path):
    song = make_song("A8 B8 A8")
    copy = tmp_path / "copy.wav"
    copy.write_bytes(marked(song, recording(tmp_path / "a.wav"), date="2031-05-04"))
    read = wavinfo.WavInfoReader(str(copy))
    cues = {cue.name: cue.position for cue in read.cues.cues}
    labels = {label.name: label.text for label in read.cues.labels}
    ranges = {each.name: each.length for each in read.cues.ranges}
    at = {labels[number]: frame / 8000 for number, frame in cues.items()}
    assert at == {
        "A1": 2.0,
        "B1": 22.0,
        "A2": 42.0,
        "By hand 1 fade-in: A up to 50 in 8 beats": 2.0,
        "By hand 2 recall: set B Wide fans": 17.0,
        "By hand 3 cut-in: B in at 80": 22.0,
        "By hand 4 fade-out: A down in 3.0 s": 59.5,
    }
    assert sorted(ranges.values()) == [160000, 160000, 160000]
    assert {note.text for note in read.cues.notes} >= {"a reason for the cut-in", "0:22.0"}
    assert read.info.title == "Paper Boats"
    assert read.bext.originator == "cuesuggest"
    assert read.bext.originator_date == "2031-05-04"
    assert read.bext.originator_ref == "5e" * 6


# (rate of timecode, start, offset) -> sample of a day at 48 kHz. The first is in the standard's own arithmetic.
REFERENCES = {
    ("25", "01:00:00:00", 0.0): 172_800_000,
    ("25", "00:00:00:00", 0.0): 0,
    ("25", "01:00:00:00", -1.5): 172_800_000 - 72_000,
    ("29.97", "01:00:00:00", 0.0): round(3603.6 * 48000),
    ("29.97df", "01:00:00:00", 0.0): round(3599.9964 * 48000),
    ("25", "00:00:00:00", -1.0): (86_400 - 1) * 48_000,
}


@pytest.mark.parametrize(("timecode", "sample"), REFERENCES.items())
def test_the_time_reference_is_samples_since_midnight(tmp_path, timecode, sample):
    rate, start, offset = timecode
    path = recording(tmp_path / "a.wav", rate=48000, channels=1, seconds=1.0)
    timing = Timing(offset, RATES[rate], start)
    data = marked(make_song("A8"), path, timing=timing)
    copy = tmp_path / "copy.wav"
    copy.write_bytes(data)
    assert wavinfo.WavInfoReader(str(copy)).bext.time_reference == sample
    if sample == 172_800_000:
        extension = data.index(b"bext") + 8
        assert data[extension + 338 : extension + 346] == bytes.fromhex("00B84C0A00000000")


@pytest.mark.parametrize("offset", [3.3, -15.0, -100.0])
def test_marks_stay_at_the_recordings_times_whatever_the_offset(tmp_path, offset):
    song = make_song()
    landing = replace(song.cues[2], kind="fade-in", anchor="lands-on", up_seconds=5.0)
    song = song.replaced(cues=[*song.cues[:2], landing, song.cues[3]])
    path = recording(tmp_path / "a.wav")
    plain, moved = marked(song, path), marked(song, path, timing=Timing(offset))
    assert plain[plain.index(b"cue ") :] != b""
    assert plain[plain.index(b"cue ") :] == moved[moved.index(b"cue ") :]


def test_every_chunk_ends_where_the_next_begins(tmp_path):
    data = marked(hostile_song("odd"), recording(tmp_path / "a.wav", channels=1, subtype="PCM_24", seconds=0.125))
    assert int.from_bytes(data[4:8], "little") == len(data) - 8
    names, at = [], 12
    while at < len(data):
        names.append(data[at : at + 4])
        size = int.from_bytes(data[at + 4 : at + 8], "little")
        at += 8 + size + size % 2
    assert at == len(data)
    assert names == [b"bext", b"fmt ", b"data", b"cue ", b"LIST", b"LIST"]


def test_without_the_recording_it_says_what_is_missing():
    with pytest.raises(CuesuggestError, match="recording is needed"):
        export(make_song(), "markers", Options())


def test_a_cue_behind_the_last_sample_is_on_it(tmp_path):
    path = recording(tmp_path / "a.wav", seconds=10.0)
    copy = tmp_path / "copy.wav"
    copy.write_bytes(marked(make_song("A8 B8 A8"), path))
    assert max(cue.position for cue in wavinfo.WavInfoReader(str(copy)).cues.cues) == 79_999


@pytest.mark.parametrize("text", HOSTILE.values(), ids=HOSTILE)
def test_any_text_is_plain_ascii_that_ends(tmp_path, text):
    copy = tmp_path / "copy.wav"
    copy.write_bytes(marked(hostile_song(text), recording(tmp_path / "a.wav", seconds=1.0)))
    read = wavinfo.WavInfoReader(str(copy))
    texts = [each.text for each in (*read.cues.labels, *read.cues.notes)]
    assert len(read.cues.cues) == 7
    assert all(each.isascii() and each.isprintable() for each in texts)


def test_a_song_with_a_silent_side_track_keeps_both(tmp_path):
    path = recording(tmp_path / "a.wav", channels=6, seconds=1.0)
    heard, _ = soundfile.read(io.BytesIO(marked(make_song("A8"), path)), dtype="int16")
    assert heard.shape == (8000, 6)


def test_cues_that_may_play_by_themselves_are_not_called_by_hand(tmp_path):
    song = make_song("A8")
    song = song.replaced(cues=[replace(song.cues[0], operator_confirms=False)])
    assert b"1 fade-in: A up to 50 in 8 beats" in marked(song, recording(tmp_path / "a.wav", seconds=1.0))
    assert b"By hand" not in marked(song, recording(tmp_path / "a.wav", seconds=1.0))
