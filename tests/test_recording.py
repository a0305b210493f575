"""Recordings: what can be read, in which blocks, and what is said when it cannot."""

import hashlib

import numpy as np
import pytest
import soundfile

from cuesuggest.errors import RecordingError
from cuesuggest.sound.recording import Window, open_recording
from tests.sounds import encode


def noise(seconds, rate, channels, seed=0):
    return (np.random.default_rng(seed).standard_normal((int(seconds * rate), channels)) * 0.1).astype(np.float32)


def read(recording, window=None):
    return np.concatenate(list(recording.blocks(window)))


@pytest.mark.parametrize("rate", [8000, 44100, 96000])
@pytest.mark.parametrize("channels", [1, 2, 6])
def test_samples_come_back_as_they_were_written(tmp_path, rate, channels):
    samples = noise(2, rate, channels)
    soundfile.write(tmp_path / "a.wav", samples, rate, subtype="FLOAT")
    recording = open_recording(tmp_path / "a.wav")
    assert (recording.sample_rate, recording.channels, recording.decoder) == (rate, channels, "soundfile")
    assert np.array_equal(read(recording), samples)


def test_an_m4a_is_read_by_av_and_begins_where_its_music_begins(tmp_path):
    rate = 44100
    samples = np.zeros((rate * 3, 1), np.float32)
    samples[rate : rate + 400] = noise(1, rate, 1)[:400] * 5
    encode(tmp_path / "memo.m4a", samples, rate, "aac")
    recording = open_recording(tmp_path / "memo.m4a")
    assert recording.decoder == "av"
    assert recording.announced == pytest.approx(3.0, abs=0.1)
    heard = read(recording)
    # The encoder puts 1024 samples of its own in front, which the container marks to be skipped.
    assert np.flatnonzero(np.abs(heard[:, 0]) > 0.1)[0] == pytest.approx(rate, abs=150)


def test_identity_is_the_digest_of_the_files_bytes(tmp_path):
    soundfile.write(tmp_path / "a.flac", noise(1, 8000, 1), 8000)
    expected = hashlib.sha256((tmp_path / "a.flac").read_bytes()).hexdigest()
    assert open_recording(tmp_path / "a.flac").sha256 == expected


@pytest.mark.parametrize("name", ["a.wav", "a.m4a"])
def test_a_window_hands_out_only_its_part(tmp_path, name):
    samples = noise(20, 8000, 1)
    if name.endswith("wav"):
        soundfile.write(tmp_path / name, samples, 8000, subtype="FLOAT")
    else:
        encode(tmp_path / name, samples, 8000, "aac")
    recording = open_recording(tmp_path / name)
    whole, part = read(recording), read(recording, Window(7.5, 13.25))
    assert len(part) == 46000
    assert np.array_equal(part, whole[60000:106000])


def test_samples_that_are_no_numbers_become_silence(tmp_path):
    samples = noise(1, 8000, 1)
    samples[100:200] = np.nan
    samples[300] = np.inf
    soundfile.write(tmp_path / "a.wav", samples, 8000, subtype="FLOAT")
    heard = read(open_recording(tmp_path / "a.wav"))
    assert np.isfinite(heard).all()
    assert not heard[100:200].any()


def test_a_truncated_file_gives_what_it_holds(tmp_path):
    samples = noise(10, 8000, 1)
    soundfile.write(tmp_path / "whole.wav", samples, 8000)
    data = (tmp_path / "whole.wav").read_bytes()
    (tmp_path / "cut.wav").write_bytes(data[: len(data) // 2])
    assert len(read(open_recording(tmp_path / "cut.wav"))) == pytest.approx(40000, abs=50)


def bad_files(folder):
    (folder / "text.wav").write_text("this is no sound")
    (folder / "empty.wav").write_bytes(b"")
    (folder / "folder.wav").mkdir()
    (folder / "header.wav").write_bytes(b"RIFF\x24\x00\x00\x00WAVEfmt ")


@pytest.mark.parametrize(
    ("name", "says"),
    [
        ("missing.wav", "was not found"),
        ("folder.wav", "is a folder"),
        ("empty.wav", "is empty"),
        ("text.wav", "is not audio"),
        ("header.wav", "is not audio"),
    ],
)
def test_what_cannot_be_read_is_said_with_its_name(tmp_path, name, says):
    bad_files(tmp_path)
    with pytest.raises(RecordingError, match=says) as caught:
        open_recording(tmp_path / name)
    assert name in str(caught.value)


@pytest.mark.parametrize(("start", "end"), [(-1.0, None), (5.0, 5.0), (5.0, 2.0), (float("nan"), None)])
def test_an_impossible_window_is_refused(start, end):
    with pytest.raises(RecordingError, match="--from"):
        Window(start, end)
