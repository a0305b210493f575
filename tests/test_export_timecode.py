"""Timecode as sound, decoded by libltc and by our own reader, and as MIDI."""

from __future__ import annotations

import ctypes
import io
from dataclasses import replace

import mido
import numpy as np
import pytest
import soundfile
from hypothesis import given, settings
from hypothesis import strategies as st

from cuesuggest.export.common.timing import RATES, Timing
from cuesuggest.export.desk.timecode import full_frame, word_bits
from cuesuggest.export.read_back.read_timecode import read_linear
from tests import outside
from tests.exported import one
from tests.songs import make_song

RATE = 48_000

# (rate, label): the word packed with the lowest bit first (SMPTE ST 12-1; compared with libltc 1.3.2).
WORDS = {
    ("30", "00:00:00:00"): "00 00 00 08 00 00 00 00 FC BF",
    ("24", "00:00:00:00"): "00 00 00 08 00 00 00 00 FC BF",
    ("25", "00:00:00:00"): "00 00 00 00 00 00 00 08 FC BF",
    ("25", "01:00:00:00"): "00 00 00 00 00 00 01 00 FC BF",
    ("25", "12:34:56:12"): "02 01 06 05 04 03 02 01 FC BF",
    ("30", "10:20:30:09"): "09 00 00 0B 00 02 00 01 FC BF",
    ("25", "10:20:30:09"): "09 00 00 03 00 02 00 09 FC BF",
    ("30", "23:59:59:29"): "09 02 09 0D 09 05 03 02 FC BF",
    ("25", "23:59:59:24"): "04 02 09 05 09 05 03 02 FC BF",
    ("29.97df", "00:01:00;02"): "02 04 00 00 01 00 00 00 FC BF",
    ("30", "01:02:03:04"): "04 00 03 00 02 00 01 00 FC BF",
}


@pytest.mark.parametrize(("named", "hexadecimal"), WORDS.items())
def test_words_are_the_bits_of_the_standard(named, hexadecimal):
    rate, label = RATES[named[0]], named[1]
    bits = word_bits(rate, rate.parse(label))
    packed = bytes(sum(bits[8 * byte + bit] << bit for bit in range(8)) for byte in range(10))
    assert packed == bytes.fromhex(hexadecimal)


def test_the_bits_of_one_word_in_the_order_of_sending():
    bits = "".join(map(str, word_bits(RATES["25"], RATES["25"].parse("01:02:03:04"))))
    assert bits == "00100000000000001100000000000000010000000000000010000000000000000011111111111101"


@given(st.sampled_from(list(RATES.values())), st.integers(0, 3_000_000))
def test_every_word_has_an_even_number_of_ones(rate, frame):
    assert sum(word_bits(rate, frame)) % 2 == 0


class _Frame(ctypes.Structure):
    """libltc's LTCFrameExt."""

    _fields_ = (
        ("ltc", ctypes.c_ubyte * 10),
        ("start", ctypes.c_longlong),
        ("end", ctypes.c_longlong),
        ("reverse", ctypes.c_int),
        ("ticks", ctypes.c_float * 80),
        ("low", ctypes.c_ubyte),
        ("high", ctypes.c_ubyte),
        ("volume", ctypes.c_double),
    )


class _Time(ctypes.Structure):
    """libltc's SMPTETimecode."""

    _fields_ = (
        ("timezone", ctypes.c_char * 6),
        *((name, ctypes.c_ubyte) for name in ("years", "months", "days", "hours", "minutes", "seconds", "frame")),
    )


def decoded(samples, frame_samples):
    """(label, first sample) of every word that libltc hears."""
    library = outside.library("libltc.so.11", "libltc11")
    library.ltc_decoder_create.restype = ctypes.c_void_p
    library.ltc_decoder_write_s16.argtypes = [ctypes.c_void_p, ctypes.c_void_p, ctypes.c_size_t, ctypes.c_longlong]
    library.ltc_decoder_read.argtypes = [ctypes.c_void_p, ctypes.c_void_p]
    library.ltc_decoder_free.argtypes = [ctypes.c_void_p]
    library.ltc_frame_to_time.argtypes = [ctypes.c_void_p, ctypes.c_void_p, ctypes.c_int]
    decoder = library.ltc_decoder_create(round(frame_samples), 100_000)
    found = []
    try:
        samples = np.ascontiguousarray(samples, np.int16)
        library.ltc_decoder_write_s16(decoder, samples.ctypes.data, len(samples), 0)
        frame, time = _Frame(), _Time()
        while library.ltc_decoder_read(decoder, ctypes.byref(frame)):
            library.ltc_frame_to_time(ctypes.byref(time), ctypes.byref(frame), 0)
            mark = ";" if frame.ltc[1] & 4 else ":"
            label = f"{time.hours:02d}:{time.minutes:02d}:{time.seconds:02d}{mark}{time.frame:02d}"
            found.append((label, frame.start))
    finally:
        library.ltc_decoder_free(decoder)
    return found


def short_song(seconds):
    song = make_song("")
    recording = replace(song.recording, duration=seconds, window=replace(song.recording.window, end=seconds))
    return song.replaced(analysis=replace(song.analysis, duration=seconds), recording=recording)


def sound(seconds, timing):
    data = one(short_song(seconds), "timecode", "wav", timing=timing)
    samples, rate = soundfile.read(io.BytesIO(data), dtype="int16")
    assert rate == RATE
    return samples


# Starts at which something happens: hours, the minute and the ten-minute edges of drop-frame, midnight.
STARTS = {
    "24": ["01:00:00:00", "23:59:58:00"],
    "25": ["00:00:00:00", "01:00:00:00", "09:59:58:20"],
    "29.97df": ["00:00:58;00", "00:09:58;00", "00:59:58;10", "23:59:58;00", "10:00:59;28"],
    "29.97": ["00:00:58:00", "00:09:58:00"],
    "30": ["19:59:58:15"],
}


@pytest.mark.parametrize(("name", "start"), [(name, start) for name, starts in STARTS.items() for start in starts])
def test_libltc_and_our_reader_hear_the_labels_that_were_written(name, start):
    rate = RATES[name]
    samples = sound(4.0, Timing(rate=rate, start=start))
    assert len(samples) == 4 * RATE
    heard = decoded(samples, RATE / float(rate.exact))
    ours, speed = read_linear(samples, RATE)
    first = rate.parse(start)
    written = [(rate.label(first + frame), rate.seconds(frame) * RATE) for frame in range(int(4 * rate.exact))]
    # The last word is complete only with the first turn of the next.
    assert [label for label, _ in heard] == [label for label, _ in written[: len(heard)]]
    assert len(heard) >= len(written) - 2
    assert [at for _, at in heard] == pytest.approx([at for _, at in written[: len(heard)]], abs=2)
    assert [str(each) for each in ours] == [label for label, _ in written[: len(ours)]]
    assert len(ours) >= len(written) - 1
    assert [each.sample for each in ours] == pytest.approx([at for _, at in written[: len(ours)]], abs=2)
    # 29.97 without drop and 30 differ by a thousandth.
    assert speed == rate


def test_the_labels_do_not_drift_over_ten_minutes():
    rate = RATES["29.97"]
    samples = sound(600.0, Timing(rate=rate))
    ours, _ = read_linear(samples[-3 * RATE :], RATE)
    first = ours[0]
    frame = rate.parse(str(first)) - rate.parse("01:00:00:00")
    assert 597 * RATE + first.sample == pytest.approx(rate.seconds(frame) * RATE, abs=2)


def test_the_level_is_steady_and_cautious_and_every_word_starts_alike():
    samples = sound(2.0, Timing(rate=RATES["25"]))
    peak = 20 * np.log10(np.abs(samples).max() / 32768)
    assert -18 < peak < -6
    assert {bool(samples[1920 * frame + 5] > 0) for frame in range(50)} == {bool(samples[5] > 0)}


def test_an_edge_takes_forty_microseconds_from_a_tenth_to_nine_tenths():
    samples = sound(1.0, Timing(rate=RATES["25"])).astype(float)
    level = (samples / np.abs(samples).max() + 1) / 2
    middle = int(np.flatnonzero(np.abs(np.diff(level >= 0.5)))[3])
    edge = np.sort(level[middle - 3 : middle + 5])
    tenth, nine_tenths = np.interp([0.1, 0.9], edge, np.arange(8))
    assert 30e-6 < (nine_tenths - tenth) / RATE < 50e-6


def test_with_an_offset_the_sound_is_as_long_as_the_show():
    samples = sound(2.0, Timing(offset=1.5, rate=RATES["25"]))
    assert len(samples) == 3.5 * RATE


# MIDI Time Code (RP-004): full-frame messages, F0 and F7 left out.
FULL_FRAMES = {
    ("30", "01:30:35:20"): "7F 7F 01 01 61 1E 23 14",
    ("25", "01:00:00:00"): "7F 7F 01 01 21 00 00 00",
    ("29.97df", "10:20:30;02"): "7F 7F 01 01 4A 14 1E 02",
    ("25", "23:59:59:24"): "7F 7F 01 01 37 3B 3B 18",
}


@pytest.mark.parametrize(("named", "hexadecimal"), FULL_FRAMES.items())
def test_full_frames_are_the_bytes_of_the_standard(named, hexadecimal):
    rate, label = RATES[named[0]], named[1]
    assert full_frame(rate, rate.parse(label)) == bytes.fromhex(hexadecimal)


@pytest.mark.parametrize("rate", RATES.values(), ids=RATES)
def test_midi_time_code_comes_once_a_second_at_its_own_time(rate):
    data = one(make_song("A8 B8"), "timecode", "mid", timing=Timing(rate=rate, start="00:00:55:00"))
    seconds, found = 0.0, []
    for message in mido.MidiFile(file=io.BytesIO(data)):
        seconds += message.time
        if message.type == "sysex":
            hours, minutes, whole, frames = message.data[4:]
            found.append((rate.count(hours & 31, minutes, whole, frames), seconds))
    assert len(found) >= 40
    first = found[0][0]
    assert [at for _, at in found] == pytest.approx([rate.seconds(frame - first) for frame, _ in found], abs=1e-3)


@given(st.binary(max_size=400))
@settings(max_examples=50, deadline=None)
def test_the_reader_finds_no_labels_in_noise_and_does_not_fall_over(noise):
    labels, _ = read_linear(np.frombuffer(noise[: len(noise) // 2 * 2], "<i2"), RATE)
    assert len(labels) <= 1


def test_the_reader_hears_a_quiet_upside_down_copy_from_the_middle_on():
    samples = sound(3.0, Timing(rate=RATES["25"]))
    labels, rate = read_linear(-(samples[1000:] // 50), RATE)
    assert (str(labels[0]), rate) == ("01:00:00:01", RATES["25"])
    assert labels[0].sample == pytest.approx(920, abs=2)
