"""Every kind of file that a musician sends: the same music at the same times in each."""

import numpy as np
import pytest
import soundfile
import soxr

import cuesuggest
from cuesuggest.sound.recording import Window, open_recording
from tests.sounds import RATE, encode, play

LENGTH = 12.0  # seconds, cut from the band's


@pytest.fixture(scope="module")
def band(tmp_path_factory):
    """Twelve seconds of the band at 48 kHz, stereo with some width, and its beats as heard from a WAV of floats."""
    path = tmp_path_factory.mktemp("band") / "band.wav"
    play(path, "A4 B6", bpm=124.0, lead=0.6)
    mono = soxr.resample(soundfile.read(path, dtype="float32")[0][: int(LENGTH * RATE)], RATE, 48000)
    sound = np.stack([mono, 0.9 * mono + 0.1 * np.roll(mono, 30)], axis=1)
    soundfile.write(path, sound, 48000, subtype="FLOAT")
    return sound, np.array(cuesuggest.analyze(path).beats)


def written(path, sound, channels, rate, how):
    """Write the band with so many channels at a rate, as `how` says: subtype for soundfile, or codec for PyAV."""
    sound = np.tile(sound, 4)[:, :channels] if channels > 1 else sound.mean(axis=1, keepdims=True)
    sound = sound if rate == 48000 else soxr.resample(sound, 48000, rate)
    if isinstance(how, str):
        kind = {"opus": "OGG", "rf64": "RF64", "w64": "W64"}.get(path.suffix[1:])
        soundfile.write(path, sound, rate, subtype=how, format=kind)
    else:
        encode(path, sound, rate, **how)


def decoded(path):
    recording = open_recording(path)
    return np.concatenate(list(recording.blocks())), recording.sample_rate


def lag(path, sound):
    """Milliseconds by which a file's sound comes later than the band, by cross-correlation."""
    found, rate = decoded(path)
    found = soxr.resample(found.mean(axis=1), rate, 24000)
    meant = soxr.resample(sound.mean(axis=1), 48000, 24000)
    size = 1 << 19
    alike = np.fft.irfft(np.fft.rfft(found, size) * np.conj(np.fft.rfft(meant, size)), size)
    assert alike.max() > 0.9 * np.linalg.norm(found) * np.linalg.norm(meant)
    place = int(alike.argmax())
    return (place - size if place > size // 2 else place) / 24


# Name of the file -> channels, rate, and how it is written.
FILES = {
    "phone.m4a": (1, 44100, {"codec": "aac"}),
    "mix.m4a": (2, 48000, {"codec": "aac"}),
    "lossless.m4a": (2, 44100, {"codec": "alac"}),
    "song.mp3": (2, 44100, "MPEG_LAYER_III"),
    "encoded by another.mp3": (2, 44100, {"codec": "libmp3lame"}),
    "narrow.mp3": (1, 16000, {"codec": "libmp3lame"}),
    "song.ogg": (2, 44100, "VORBIS"),
    "message.opus": (1, 48000, "OPUS"),
    "encoded by another.ogg": (2, 48000, {"codec": "libopus"}),
    "page.webm": (2, 48000, {"codec": "libopus"}),
    "song.mka": (2, 44100, {"codec": "aac"}),
    "song.flac": (2, 44100, "PCM_24"),
    "song.aiff": (2, 44100, "PCM_16"),
    "song.caf": (2, 44100, "ALAC_16"),
    "film.mp4": (2, 48000, {"codec": "aac", "picture": LENGTH}),
    "film.mov": (2, 48000, {"codec": "aac", "picture": LENGTH}),
    "camera.mov": (2, 48000, {"codec": "pcm_s16le", "picture": LENGTH}),
    "film.mkv": (2, 44100, {"codec": "libmp3lame", "picture": LENGTH}),
    "telephone.wav": (1, 8000, "ULAW"),
    "studio.wav": (2, 192000, "PCM_24"),
    "eight.wav": (8, 48000, "PCM_16"),
    "all around.m4a": (8, 48000, {"codec": "aac"}),
}


@pytest.mark.parametrize("name", FILES)
def test_the_same_music_gives_the_same_beats_in_every_kind_of_file(tmp_path, band, name):
    sound, beats = band
    written(tmp_path / name, sound, *FILES[name])
    assert lag(tmp_path / name, sound) == pytest.approx(0, abs=1)
    found = np.array(cuesuggest.analyze(tmp_path / name).beats)
    assert len(found) == len(beats)
    assert found == pytest.approx(beats, abs=0.005)


# Subtype -> what one step of it may lose of full scale.
STEPS = {
    "PCM_U8": 2**-7,
    "PCM_16": 2**-15,
    "PCM_24": 2**-23,
    "PCM_32": 2**-24,
    "FLOAT": 0,
    "DOUBLE": 0,
    "ALAW": 2**-5,
    "ULAW": 2**-5,
}


@pytest.mark.parametrize("suffix", ["wav", "rf64", "w64", "aiff", "au", "caf"])
@pytest.mark.parametrize("subtype", STEPS)
def test_samples_of_every_depth_are_read_on_the_same_scale(tmp_path, suffix, subtype):
    if suffix in ("au", "caf", "aiff") and subtype == "PCM_U8":
        subtype = "PCM_S8"
    samples = np.random.default_rng(1).uniform(-0.99, 0.99, (4000, 3)).astype(np.float32)
    path = tmp_path / f"a.{suffix}"
    soundfile.write(path, samples, 44100, subtype=subtype, format={"rf64": "RF64"}.get(suffix))
    found, rate = decoded(path)
    assert (rate, found.dtype) == (44100, np.float32)
    assert np.abs(found - samples).max() <= STEPS.get(subtype, 2**-7)


@pytest.mark.parametrize("subtype", ["PCM_16", "PCM_24", "FLOAT"])
def test_the_extensible_kind_of_wav_is_read(tmp_path, subtype):
    samples = np.random.default_rng(1).uniform(-0.9, 0.9, (4000, 6)).astype(np.float32)
    soundfile.write(tmp_path / "a.wav", samples, 96000, format="WAVEX", subtype=subtype)
    found, rate = decoded(tmp_path / "a.wav")
    assert rate == 96000
    assert np.abs(found - samples).max() < 2**-15


@pytest.mark.parametrize(
    ("codec", "step"),
    [("pcm_u8", 2**-7), ("pcm_s16le", 2**-15), ("pcm_s24be", 2**-23), ("pcm_s32le", 2**-24), ("pcm_f64le", 0)],
)
@pytest.mark.parametrize("channels", [1, 8])
def test_samples_of_every_depth_in_a_film_are_read_on_the_same_scale(tmp_path, codec, step, channels):
    samples = np.random.default_rng(1).uniform(-0.99, 0.99, (4096, channels)).astype(np.float32)
    encode(tmp_path / "a.mov", samples, 48000, codec)
    recording = open_recording(tmp_path / "a.mov")
    assert (recording.decoder, recording.channels) == ("av", channels)
    assert np.abs(decoded(tmp_path / "a.mov")[0] - samples).max() <= step


@pytest.mark.parametrize("name", ["a.wav", "a.mka", "a.nut"])
@pytest.mark.parametrize("channels", [1, 8])
def test_whole_numbers_of_64_bits_are_read_on_the_same_scale(tmp_path, name, channels):
    samples = np.random.default_rng(1).uniform(-0.99, 0.99, (4096, channels)).astype(np.float32)
    encode(tmp_path / name, samples, 48000, "pcm_s64le")
    assert np.abs(decoded(tmp_path / name)[0] - samples).max() <= 2**-23


@pytest.mark.parametrize("name", ["song.mp3", "encoded by another.mp3"])
def test_an_mp3_begins_and_ends_on_the_same_sample_for_both_decoders(tmp_path, band, name):
    written(tmp_path / name, band[0], *FILES[name])
    ours, theirs = decoded(tmp_path / name)[0], soundfile.read(tmp_path / name, dtype="float32")[0]
    assert ours.shape == theirs.shape
    assert np.abs(ours - theirs).max() < 1e-4


@pytest.mark.parametrize("name", ["a.wav", "a.mp3", "a.ogg", "a.opus", "a.flac", "a.m4a", "a.mov"])
def test_a_window_begins_on_the_very_sample_in_every_kind_of_file(tmp_path, band, name):
    how = {"m4a": {"codec": "aac"}, "mov": {"codec": "pcm_s16le"}, "opus": "OPUS"}.get(name.split(".")[1])
    how = how or soundfile.default_subtype({"wav": "WAV", "mp3": "MP3", "ogg": "OGG", "flac": "FLAC"}[name[2:]])
    written(tmp_path / name, band[0], 2, 48000, how)
    recording = open_recording(tmp_path / name)
    whole = np.concatenate(list(recording.blocks()))
    part = np.concatenate(list(recording.blocks(Window(4.1, 9.7))))
    assert len(part) == round(5.6 * 48000)
    meant = whole[round(4.1 * 48000) :][: len(part)]
    # After a jump a lossy decoder needs a moment to be the same again.
    assert np.abs(part - meant)[4800:].max() < 1e-3


@pytest.mark.parametrize(("name", "codec"), [("late.mov", "pcm_s16le"), ("late.mp4", "aac"), ("late.mkv", "aac")])
def test_where_the_sound_of_a_film_begins_late_times_are_those_of_the_sound(tmp_path, band, name, codec):
    sound, beats = band
    encode(tmp_path / name, sound, 48000, codec, picture=LENGTH, late=0.5)
    found = np.array(cuesuggest.analyze(tmp_path / name).beats)
    # Written in this way an mp4 does not mark the 1024 samples of its encoder: 21 ms, not half a second.
    assert lag(tmp_path / name, sound) == pytest.approx(21.3 if name == "late.mp4" else 0, abs=1)
    assert found == pytest.approx(beats, abs=0.03)


def test_a_bare_aac_stream_is_heard_as_it_is_decoded(tmp_path, band):
    encode(tmp_path / "a.aac", band[0], 48000, "aac")
    assert lag(tmp_path / "a.aac", band[0]) == pytest.approx(1024 / 48, abs=1)


def test_a_picture_of_the_cover_is_no_hindrance(tmp_path, band):
    written(tmp_path / "bare.mp3", band[0], 2, 44100, "MPEG_LAYER_III")
    cover = b"\0image/jpeg\0\3\0" + bytes(range(256)) * 200
    size = len(cover)
    frame = b"APIC" + size.to_bytes(4, "big") + b"\0\0" + cover
    whole = len(frame)
    syncsafe = bytes(whole >> shift & 127 for shift in (21, 14, 7, 0))
    (tmp_path / "tagged.mp3").write_bytes(b"ID3\3\0\0" + syncsafe + frame + (tmp_path / "bare.mp3").read_bytes())
    assert np.abs(decoded(tmp_path / "tagged.mp3")[0] - decoded(tmp_path / "bare.mp3")[0]).max() < 1e-4


def test_a_track_that_cannot_be_decoded_is_passed_over_for_one_that_can(tmp_path, band):
    encode(tmp_path / "two.mov", band[0], 48000, "pcm_s16le", tracks=2)
    data = (tmp_path / "two.mov").read_bytes()
    (tmp_path / "two.mov").write_bytes(data.replace(b"sowt", b"xxxx", 1))
    recording = open_recording(tmp_path / "two.mov")
    assert recording.track == 1
    assert lag(tmp_path / "two.mov", band[0]) == pytest.approx(0, abs=1)
