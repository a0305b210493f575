"""The sound that the page plays: the samples that were analysed, as WAV, any part of it, with a click if asked."""

import gc
import io
import json
import struct

import numpy as np
import pytest
import soundfile

from cuesuggest.review.page_sound import Click, Sound
from cuesuggest.review.server import _range, _share
from cuesuggest.sound.recording import Window, open_recording
from tests.reviewing import copied, hosting
from tests.sounds import encode

RATE = 44100
HITS = (0.5, 1.25, 2.0, 3.1)


def hits(seconds=4.0, rate=RATE, channels=2):
    """Silence with short noises at known times."""
    sound = np.zeros((round(seconds * rate), channels), np.float32)
    noise = np.random.default_rng(3).standard_normal(round(0.02 * rate)) * np.exp(-np.arange(round(0.02 * rate)) / 200)
    for time in HITS:
        at = round(time * rate)
        sound[at : at + len(noise)] += 0.3 * noise[:, None]
    return sound


def wav(path, **kind):
    rate = kind.get("rate", RATE)
    soundfile.write(path, hits(**kind), rate)
    return path


@pytest.fixture
def sounds():
    opened = []

    def open_(path, window=None, duration=4.0):
        window = window or Window()
        opened.append(Sound(open_recording(path), window, duration))
        return opened[-1]

    yield open_
    for each in opened:
        each.close()


def decoded(data):
    samples, rate = soundfile.read(io.BytesIO(data), dtype="float32", always_2d=True)
    return samples, rate


def onsets(samples, rate):
    """When it gets loud after quiet, in seconds."""
    loud = np.abs(samples).max(axis=1) > 0.04
    starts = np.flatnonzero(loud & ~np.concatenate([[False], loud[:-1]]))
    return [float(start / rate) for k, start in enumerate(starts) if k == 0 or start - starts[k - 1] > 0.2 * rate]


def test_a_recording_is_served_as_the_samples_it_holds(tmp_path, sounds):
    sound = sounds(wav(tmp_path / "a.wav"))
    samples, rate = decoded(sound.read(0, sound.size))
    assert rate == RATE
    assert np.abs(samples - hits()).max() < 2 / 32768


def test_a_sound_that_nobody_has_any_more_gives_its_file_back(tmp_path):
    sound = Sound(open_recording(wav(tmp_path / "a.wav")), Window(), 4.0)
    sound._thread.join()
    file = sound._file
    del sound
    gc.collect()
    assert file.closed


# name of the file -> codec
FORMATS = {"alac.m4a": "alac", "a.aiff": "pcm_s16be", "a.mp3": "libmp3lame", "aac.m4a": "aac", "a.flac": "flac"}


@pytest.mark.parametrize("name", FORMATS)
def test_beats_stay_where_the_sound_is_in_every_format(tmp_path, sounds, name):
    encode(tmp_path / name, hits(), RATE, FORMATS[name])
    sound = sounds(tmp_path / name)
    samples, rate = decoded(sound.read(0, sound.size, Click(HITS, frozenset(HITS[:1]))))
    found = onsets(samples, rate)
    assert len(found) == len(HITS)
    assert np.abs(np.array(found) - HITS).max() < 0.02


@pytest.mark.parametrize(("rate", "channels", "served"), [(96000, 2, 48000), (8000, 1, 8000), (48000, 6, 48000)])
def test_any_rate_and_any_number_of_channels_can_be_played(tmp_path, sounds, rate, channels, served):
    sound = sounds(wav(tmp_path / "a.wav", rate=rate, channels=channels))
    samples, found = decoded(sound.read(0, sound.size))
    assert found == served
    assert samples.shape == (4 * served, 2 if channels == 2 else 1)
    assert np.abs(np.array(onsets(samples, found)) - HITS).max() < 0.005


def test_a_song_in_a_long_file_is_served_alone(tmp_path, sounds):
    sound = sounds(wav(tmp_path / "a.wav"), Window(1.0, 3.0), 2.0)
    samples, rate = decoded(sound.read(0, sound.size, Click((1.0, 2.5), frozenset())))
    assert len(samples) == 2 * rate
    assert onsets(samples, rate) == pytest.approx([0.0, 0.25, 1.0, 1.5], abs=0.002)


def test_any_part_is_the_same_as_that_part_of_the_whole(tmp_path, sounds):
    sound = sounds(wav(tmp_path / "a.wav"))
    click = Click((0.5, 0.501, 1.7, 3.999), frozenset((0.5,)))
    whole = sound.read(0, sound.size, click)
    rng = np.random.default_rng(1)
    for start, stop in [
        (0, 1),
        (0, 43),
        (40, 50),
        (44, 45),
        (sound.size - 3, sound.size),
        *rng.integers(0, sound.size, (60, 2)),
    ]:
        low, high = sorted((int(start), int(stop)))
        assert sound.read(low, high, click) == whole[low:high]


def test_the_downbeat_is_higher_and_nothing_else_changes(tmp_path, sounds):
    sound = sounds(wav(tmp_path / "a.wav"))
    plain, _ = decoded(sound.read(0, sound.size))
    clicked, rate = decoded(sound.read(0, sound.size, Click((0.1, 0.2), frozenset((0.2,)))))
    added = (clicked - plain)[:, 0]
    pitch = [
        np.argmax(np.abs(np.fft.rfft(added[round(t * rate) : round((t + 0.03) * rate)], 8192))) * rate / 8192
        for t in (0.1, 0.2)
    ]
    assert pitch[0] == pytest.approx(1000, rel=0.05)
    assert pitch[1] == pytest.approx(2000, rel=0.05)
    assert np.abs(added[: round(0.099 * rate)]).max() == 0
    assert np.abs(added[round(0.24 * rate) :]).max() == 0


def test_where_less_can_be_decoded_than_was_heard_there_is_silence(tmp_path, sounds):
    sound = sounds(wav(tmp_path / "a.wav"), duration=6.0)
    samples, rate = decoded(sound.read(0, sound.size))
    assert len(samples) == 6 * rate
    assert not samples[4 * rate :].any()


def test_the_header_says_how_long_it_is_before_anything_is_decoded(tmp_path, sounds):
    sound = sounds(wav(tmp_path / "a.wav"))
    head = sound.read(0, 44)
    assert struct.unpack("<4sI4s", head[:12]) == (b"RIFF", sound.size - 8, b"WAVE")
    assert struct.unpack("<4sI", head[36:44]) == (b"data", 4 * RATE * 4)


# header -> (start, stop, partial) of 1000 bytes; None: there is no such part. RFC 9110, 14.1.2.
RANGES = {
    None: (0, 1000, False),
    "bytes=0-": (0, 1000, True),
    "bytes=0-499": (0, 500, True),
    "bytes=500-": (500, 1000, True),
    "bytes=-100": (900, 1000, True),
    "bytes=-5000": (0, 1000, True),
    "bytes=999-5000": (999, 1000, True),
    "bytes=1000-": None,
    "bytes=5-4": None,
    "bytes=-0": None,
    "bytes=-": (0, 1000, False),
    "bytes=0-1,5-6": (0, 1000, False),
    "frames=0-1": (0, 1000, False),
    "bytes=" + "9" * 40 + "-": (0, 1000, False),
}


@pytest.mark.parametrize(("header", "wanted"), RANGES.items(), ids=map(str, RANGES))
def test_a_range_is_read_as_the_standard_has_it(header, wanted):
    assert _range(header, 1000) == wanted


def test_the_page_gets_parts_of_the_sound(drafted_take, tmp_path):
    document = copied(drafted_take, drafted_take.with_name("evening.wav"), tmp_path / "served")
    with hosting(document) as server:
        status, headers, whole = server.ask("GET", "/sound.wav")
        assert (status, headers["content-type"]) == (200, "audio/wav")
        assert int(headers["content-length"]) == len(whole)
        status, headers, part = server.ask("GET", "/sound.wav", Range="bytes=1000-1999")
        assert status == 206
        assert headers["content-range"] == f"bytes 1000-1999/{len(whole)}"
        assert part == whole[1000:2000]
        status, headers, _ = server.ask("GET", "/sound.wav", Range=f"bytes={len(whole)}-")
        assert (status, headers["content-range"]) == (416, f"bytes */{len(whole)}")
        analysis = json.loads(document.read_text())["analysis"]
        _, _, clicked = server.ask("GET", "/sound.wav?click=1")
        samples, rate = decoded(clicked)
        plain, _ = decoded(whole)
        found = onsets(samples - plain, rate)
        assert len(found) == len(analysis["beats"])
        assert np.abs(np.array(found) - analysis["beats"]).max() < 0.001


def test_song_and_click_are_each_as_loud_as_asked_for(tmp_path, sounds):
    path = wav(tmp_path / "a.wav")
    sound = sounds(path)

    def loudest(**loud):
        samples, _ = decoded(sound.read(0, sound.size, Click((1.0,), frozenset(), **loud)))
        click = np.abs(samples[round(0.99 * RATE) : round(1.05 * RATE)]).max()
        song = np.abs(samples[round(0.49 * RATE) : round(0.55 * RATE)]).max()
        return song, click

    song, click = loudest()
    assert click == pytest.approx(0.5, abs=0.01)
    assert loudest(level=1.0, song=0.0) == pytest.approx((0, 1), abs=0.01)
    assert loudest(level=0.2, song=0.5) == pytest.approx((song / 2, 0.2), abs=0.01)


@pytest.mark.parametrize(
    ("given", "level"),
    [("20", 0.2), ("0", 0), ("100", 1), ("101", 0.5), ("-1", 0.5), ("1e1", 0.5), ("²", 0.5), ("", 0.5)],
)
def test_how_loud_the_click_is_stands_in_the_address_in_percent(given, level):
    assert _share(given, 0.5) == level


def test_without_its_recording_a_document_is_shown_and_says_so(drafted_take, tmp_path):
    document = copied(drafted_take, drafted_take.with_name("evening.wav"), tmp_path / "alone")
    document.with_name("evening.wav").unlink()
    with hosting(document) as server:
        song = server.song()
        assert song["sound"] is None
        assert "not found" in song["no_sound"]
        assert server.ask("GET", "/sound.wav")[0] == 404
        status, answer = server.act("shift", beats=1)
        assert status == 422
        assert "evening.wav" in answer["error"]
        assert server.act("title", title="Still writes")[0] == 200
