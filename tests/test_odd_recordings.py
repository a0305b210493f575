"""Bad and odd recordings: each gives the right beats, a document that says there is no music, or a clear sentence."""

import os
import shutil
import struct
import subprocess
import sys
import tracemalloc
from functools import partial
from pathlib import Path

import numpy as np
import pytest
import soundfile
import soxr

import cuesuggest
from cuesuggest.analysis.spectrum import CHROMA_RATE, FRAME_RATE, Spectrum
from cuesuggest.analysis.structure import SongBars, find_structure
from cuesuggest.errors import RecordingError
from cuesuggest.song import Song
from cuesuggest.sound import recording
from cuesuggest.sound.recording import open_recording
from tests import outside
from tests.sounds import RATE, applause, encode, play


@pytest.fixture(scope="module")
def band(tmp_path_factory):
    """Some fifteen seconds of the band, and its beats as heard from them."""
    path = tmp_path_factory.mktemp("band") / "band.wav"
    play(path, "A2 B4", bpm=118.0)
    return soundfile.read(path, dtype="float32")[0], np.array(cuesuggest.analyze(path).beats)


def with_gaps(sound):
    sound = sound.copy()
    sound[::997] = np.nan
    sound[5000] = np.inf
    sound[7000] = -1e38
    return sound


# What was done to the band -> the sound, the subtype it is written in, and by how many seconds beats may move.
CHANGED = {
    "samples that are no numbers": (with_gaps, "FLOAT", 0.005),
    "clipped": (lambda sound: np.clip(sound * 16, -1, 1), "PCM_16", 0.015),
    "in opposite phase": (lambda sound: np.stack([sound, -sound], axis=1), "FLOAT", 0.001),
    "nearly in opposite phase": (lambda sound: np.stack([sound, -0.97 * sound], axis=1), "FLOAT", 0.001),
    "in opposite phase on an offset": (lambda sound: np.stack([sound + 0.2, 0.2 - sound], axis=1), "FLOAT", 0.005),
    "on an offset": (lambda sound: 0.6 * sound + 0.3, "PCM_16", 0.005),
    "soft on a large offset": (lambda sound: 0.05 * sound + 0.4, "PCM_24", 0.005),
    "40 dB down": (lambda sound: sound / 100, "PCM_16", 0.005),
    "60 dB down": (lambda sound: sound / 1000, "PCM_24", 0.005),
    "floats on the scale of whole numbers": (lambda sound: sound * 32768, "FLOAT", 0.001),
}


@pytest.mark.parametrize("name", CHANGED)
def test_the_same_beats_are_heard(tmp_path, band, name):
    change, subtype, within = CHANGED[name]
    sound, beats = band
    soundfile.write(tmp_path / "a.wav", change(sound), RATE, subtype=subtype)
    found = cuesuggest.analyze(tmp_path / "a.wav")
    assert len(found.beats) == len(beats)
    assert np.abs(np.array(found.beats) - beats).max() <= within


def test_one_of_64_channels_is_heard_as_it_is_alone(tmp_path, band):
    sound = band[0][: 8 * RATE]
    soundfile.write(tmp_path / "one.wav", sound, RATE)
    soundfile.write(tmp_path / "many.wav", sound[:, None] * (np.arange(64) == 40), RATE)
    one, many = (cuesuggest.analyze(tmp_path / name) for name in ("one.wav", "many.wav"))
    assert len(one.beats) > 8
    assert many.beats == one.beats


def test_bars_40_db_down_drive_as_they_do_at_full_level(tmp_path, band):
    drives = []
    for gain in (1.0, 0.01):
        soundfile.write(tmp_path / "a.wav", band[0] * gain, RATE, subtype="FLOAT")
        found = cuesuggest.analyze(tmp_path / "a.wav")
        assert all(bar.loudness_lufs >= -70 for bar in found.bars)
        drives.append([bar.drive for bar in found.bars])
    assert drives[0] == pytest.approx(drives[1], abs=0.01)


TALK = (
    "Good evening everybody, and welcome. Tonight we have three songs for you and then a short break, after which the "
    "choir will come back on stage. Now then, where was I? Ah yes. The next one was written on a train, late at night."
)


def speech(seconds):
    """A synthetic voice; .ci/run installs its program."""
    words = [outside.program("espeak-ng", "espeak-ng"), "-v", "en", "-s", "150", "--stdout", TALK]
    done = subprocess.run(words, capture_output=True, check=True)
    # The header of a stream tells no length.
    return np.frombuffer(done.stdout[44:], "<i2")[: int(seconds * RATE)] / 32768


def tone(seconds, hertz):
    return np.sin(2 * np.pi * hertz * np.arange(int(seconds * RATE)) / RATE)


def clicks(seconds, every=4):
    """A metronome at 120, one click in `every` higher and louder."""
    sound = np.zeros(int(seconds * RATE))
    for k, at in enumerate(np.arange(0.5, seconds - 0.1, 0.5)):
        opens = k % every == 0
        click = tone(0.03, 2000 if opens else 1500) * np.exp(-np.arange(int(0.03 * RATE)) / RATE * 180)
        sound[int(at * RATE) :][: len(click)] += click * (0.8 if opens else 0.5)
    return sound


NO_MUSIC = {
    "speech": lambda: speech(12),
    "white noise": lambda: np.random.default_rng(8).standard_normal(12 * RATE) * 0.1,
    "applause": lambda: applause(12),
    "thin applause": lambda: applause(12, claps=25.0, seed=3),
    "one held chord": lambda: sum(0.1 * tone(12, hertz) for hertz in (220.0, 277.2, 329.6, 440.0)),
    "a metronome": lambda: clicks(12),
    "silence": lambda: np.zeros(12 * RATE),
    "the noise of a converter": lambda: np.random.default_rng(8).integers(-1, 2, 12 * RATE) / 32768,
    "nothing but what is no number": lambda: np.full(12 * RATE, np.nan),
}


@pytest.mark.parametrize("name", NO_MUSIC)
def test_without_music_the_document_says_so_and_proposes_nothing(run, tmp_path, name):
    """A metronome alone is no music either: it leads to no light."""
    sound = NO_MUSIC[name]()
    soundfile.write(tmp_path / "a.wav", sound, RATE, subtype="FLOAT" if np.isnan(sound).any() else "PCM_16")
    code, out, _ = run("suggest", tmp_path / "a.wav")
    song = Song.load(tmp_path / "a.cues.json")
    assert code == 0
    said = f"No music was found from 0.0 s to {len(sound) / RATE:.1f} s."
    assert said in song.analysis.remarks
    assert said in out
    assert (song.analysis.music_start, song.analysis.bars, song.cues) == (None, (), ())


def test_the_sentence_names_the_part_that_was_heard(run, tmp_path):
    soundfile.write(tmp_path / "a.wav", np.zeros(20 * RATE), RATE)
    _, out, _ = run("suggest", tmp_path / "a.wav", "--from", "0:05", "--to", "12.5")
    assert "No music was found from 5.0 s to 12.5 s." in out


# --- Headers that are wrong


def wav_of_length(path, data, size):
    """The same WAV with another length in its header."""
    place = data.index(b"data") + 4
    path.write_bytes(data[:4] + struct.pack("<I", size) + data[8:place] + struct.pack("<I", size) + data[place + 4 :])


@pytest.mark.parametrize("size", [0, 0xFFFFFFFF, 2 * 3600 * 100 * 3000])
def test_a_wav_whose_header_tells_a_wrong_length_is_heard_to_its_end(tmp_path, band, size):
    sound, beats = band
    soundfile.write(tmp_path / "right.wav", sound, RATE)
    wav_of_length(tmp_path / "wrong.wav", (tmp_path / "right.wav").read_bytes(), size)
    found = cuesuggest.analyze(tmp_path / "wrong.wav")
    assert found.duration == pytest.approx(len(sound) / RATE, abs=0.01)
    assert np.array(found.beats) == pytest.approx(beats, abs=0.001)


def test_a_flac_that_claims_100_hours_is_as_long_as_what_it_holds(tmp_path, band):
    sound, beats = band
    soundfile.write(tmp_path / "a.flac", sound, RATE)
    data = bytearray((tmp_path / "a.flac").read_bytes())
    claimed = 100 * 3600 * RATE
    data[21] = data[21] & 0xF0 | claimed >> 32  # the last 36 bits before the digest are the number of samples
    data[22:26] = struct.pack(">I", claimed & 0xFFFFFFFF)
    (tmp_path / "a.flac").write_bytes(data)
    assert open_recording(tmp_path / "a.flac").announced == pytest.approx(360000)
    found = cuesuggest.analyze(tmp_path / "a.flac")
    assert found.duration == pytest.approx(len(sound) / RATE, abs=0.01)
    assert np.array(found.beats) == pytest.approx(beats, abs=0.001)


def test_an_m4a_that_claims_20_hours_is_as_long_as_what_it_holds(tmp_path, band):
    sound, beats = band
    encode(tmp_path / "a.m4a", sound[:, None], RATE, "aac")
    data = bytearray((tmp_path / "a.m4a").read_bytes())
    for box in (b"mvhd", b"mdhd"):
        place = data.index(box) + 16
        scale = struct.unpack(">I", data[place : place + 4])[0]
        data[place + 4 : place + 8] = struct.pack(">I", 20 * 3600 * scale)
    (tmp_path / "a.m4a").write_bytes(data)
    found = cuesuggest.analyze(tmp_path / "a.m4a")
    assert found.duration == pytest.approx(len(sound) / RATE, abs=0.1)
    assert np.array(found.beats) == pytest.approx(beats, abs=0.01)


def test_an_m4a_called_wav_is_read_as_what_it_is(tmp_path, band):
    encode(tmp_path / "a.m4a", band[0][:, None], RATE, "aac")
    shutil.copy(tmp_path / "a.m4a", tmp_path / "a.wav")
    assert cuesuggest.analyze(tmp_path / "a.wav") == cuesuggest.analyze(tmp_path / "a.m4a")


def test_one_flipped_bit_in_a_flac_loses_a_moment_and_not_the_rest(tmp_path, band):
    sound, _ = band
    soundfile.write(tmp_path / "a.flac", sound, RATE)
    data = bytearray((tmp_path / "a.flac").read_bytes())
    data[len(data) // 2] ^= 16
    (tmp_path / "a.flac").write_bytes(data)
    heard = np.concatenate(list(open_recording(tmp_path / "a.flac").blocks()))[:, 0]
    assert len(heard) == len(sound)
    assert (np.abs(heard - sound) < 1e-4).mean() > 0.95


def test_a_damaged_packet_of_an_m4a_is_silence_of_its_length(tmp_path, band):
    sound, beats = band
    encode(tmp_path / "a.m4a", sound[:, None], RATE, "aac")
    data = bytearray((tmp_path / "a.m4a").read_bytes())
    whole = sum(map(len, open_recording(tmp_path / "a.m4a").blocks()))
    middle = len(data) // 2
    data[middle : middle + 600] = bytes(600)
    (tmp_path / "a.m4a").write_bytes(data)
    assert sum(map(len, open_recording(tmp_path / "a.m4a").blocks())) == pytest.approx(whole, abs=2048)
    assert np.array(cuesuggest.analyze(tmp_path / "a.m4a").beats)[-8:] == pytest.approx(beats[-8:], abs=0.05)


# Name of the file -> codec. Some are read by soundfile, some by PyAV.
TAGGED = {
    "a.m4a": "aac",
    "a.mov": "aac",
    "a.mka": "aac",
    "a.avi": "pcm_s16le",
    "a.mp3": "libmp3lame",
    "a.wav": "pcm_s16le",
    "a.aiff": "pcm_s16be",
    "a.flac": "flac",
}


@pytest.mark.parametrize("name", TAGGED)
@pytest.mark.parametrize("written", [b"Caf\xe9 M\xfcller", b"\xff\xfe\x80\xc3\x28\xed\xa0\x80 \x00\x1b"])
def test_what_stands_in_the_tags_does_not_matter_to_the_sound(tmp_path, band, name, written):
    sound = soxr.resample(band[0][: 2 * RATE], RATE, 48000)[:, None]
    plain = tmp_path / f"plain.{name[2:]}"
    encode(plain, sound, 48000, TAGGED[name], title="Cafe Muller")
    data = plain.read_bytes()
    assert data.count(b"Cafe Muller") == 1
    (tmp_path / name).write_bytes(data.replace(b"Cafe Muller", written.ljust(11, b"\xe9")))
    heard, meant = (np.concatenate(list(open_recording(path).blocks())) for path in (tmp_path / name, plain))
    assert len(heard) >= 2 * 48000
    assert np.array_equal(heard, meant)


def chunk(name, body, size=None):
    return name + struct.pack("<I", len(body) if size is None else size) + body + bytes(len(body) % 2)


@pytest.mark.parametrize("bits", [16, 24, 32, 64])
@pytest.mark.parametrize(("riff", "data"), [(0, 0), (0xFFFFFFFF, 0xFFFFFFFF), (36, 0), (None, None)])
@pytest.mark.parametrize("lost", [0, 3001])
def test_what_a_recorder_without_power_left_behind_is_heard_as_far_as_it_goes(tmp_path, bits, riff, data, lost):
    samples = np.random.default_rng(1).uniform(-0.9, 0.9, (RATE, 2))
    steps = (samples * 2.0 ** (bits - 1)).astype("<i8").view(np.uint8).reshape(-1, 8)[:, : bits // 8].tobytes()
    body = steps[: len(steps) - lost]
    layout = chunk(b"fmt ", struct.pack("<HHIIHH", 1, 2, RATE, RATE * bits // 4, bits // 4, bits))
    note = chunk(b"LIST", b"INFO" + chunk(b"INAM", b"\xdcbung\0"))
    front = b"WAVE" + layout + note
    whole = len(front) + 8 + len(steps) if riff is None else riff
    header = b"RIFF" + struct.pack("<I", whole) + front
    (tmp_path / "a.wav").write_bytes(header + chunk(b"data", body, len(steps) if data is None else data))
    heard = np.concatenate(list(open_recording(tmp_path / "a.wav").blocks()))
    assert len(heard) == pytest.approx(len(body) * 4 // bits, abs=1)
    assert np.abs(heard[:-1] - samples[: len(heard) - 1]).max() <= 2.0 ** (1 - min(bits, 24))


# --- More sound than a song can be


@pytest.fixture
def bomb(tmp_path):
    """A small file of five hours of silence."""
    with soundfile.SoundFile(tmp_path / "bomb.flac", "w", 4000, 1, "PCM_16") as file:
        for _ in range(300):
            file.write(np.zeros(60 * 4000, np.int16))
    assert (tmp_path / "bomb.flac").stat().st_size < 400_000
    return tmp_path / "bomb.flac"


def test_five_hours_are_refused_at_once_and_in_little_memory(bomb):
    # A process between, so that its only child is the one measured; ours hands its own peak on to its children.
    script = (
        "import resource, subprocess, sys\n"
        "code = subprocess.run([sys.executable, '-m', 'cuesuggest', 'suggest', sys.argv[1]]).returncode\n"
        "print(code, resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss)"
    )
    words = [sys.executable, "-c", script, str(bomb)]
    done = subprocess.run(words, capture_output=True, text=True, check=True, timeout=60)
    code, kilobytes = map(int, done.stdout.split())
    assert code == 2
    assert "holds more than 4 hours" in done.stderr
    assert "--from and --to" in done.stderr
    assert kilobytes < 200_000


def test_a_part_of_five_hours_is_heard(bomb):
    found = cuesuggest.analyze(bomb, start=4 * 3600.0, end=4 * 3600.0 + 20)
    assert found.remarks == ("No music was found from 14400.0 s to 14420.0 s.",)


def test_what_does_not_tell_its_length_is_refused_when_it_is_too_long(tmp_path, band, monkeypatch):
    monkeypatch.setattr(recording, "LONGEST_HOURS", 10 / 3600)
    encode(tmp_path / "a.mkv", band[0][:, None], RATE, "aac", options={"live": "1"})
    assert open_recording(tmp_path / "a.mkv").announced is None
    with pytest.raises(RecordingError, match="--from and --to"):
        cuesuggest.analyze(tmp_path / "a.mkv")
    assert cuesuggest.analyze(tmp_path / "a.mkv", start=2.0, end=11.0).duration == 11.0


def test_bars_are_compared_without_a_table_of_all_pairs():
    """Two hours have thousands of bars; short ones stand for them here."""
    count, length = 1600, 0.1
    pattern = np.random.default_rng(1).random((int(8 * length * FRAME_RATE), 64), np.float32)
    frames = int(count * length * FRAME_RATE)
    spectrum = Spectrum(
        start=0.0,
        end=count * length,
        bands=np.tile(pattern, (count // 8, 1)),
        level=np.full(frames, 0.01, np.float32),
        chroma=np.tile(pattern[: int(8 * length * CHROMA_RATE), :12], (count // 8, 1)),
        power=np.full(int(count * length * 10), 0.01),
        power_step=0.1,
    )
    starts = np.arange(count) * length
    tracemalloc.start()
    bars = SongBars(np.arange(count) + 1, starts, starts + length, np.zeros(count), np.ones(count), length / 4)
    sections = find_structure(spectrum, np.zeros((7, frames), np.float32), bars).sections
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert sections[-1].last_bar == count
    assert peak < count**2 * 8


# --- What is no recording at all


def fifo(path):
    os.mkfifo(path)


def endless(path):
    path.symlink_to("/dev/zero")


def silent_film(path):
    import av

    with av.open(str(path), "w") as container:
        film = container.add_stream("mpeg4", rate=25, width=64, height=48)
        frame = av.VideoFrame(64, 48, "yuv420p")
        for k in range(25):
            frame.pts = k
            container.mux(film.encode(frame))
        container.mux(film.encode(None))


def playlist(path):
    encode(path.with_name("other.m4a"), np.zeros((RATE * 2, 1)), RATE, "aac")
    path.write_text("ffconcat version 1.0\nfile other.m4a\n")


def header(path, offset, value):
    soundfile.write(path, np.zeros(4000), 8000)
    data = bytearray(path.read_bytes())
    data[offset : offset + len(value)] = value
    path.write_bytes(data)


REFUSED = {
    "fifo.wav": (fifo, "pipe or a device"),
    "endless.wav": (endless, "pipe or a device"),
    "empty.m4a": (Path.touch, "is empty"),
    "nothing.wav": (lambda path: soundfile.write(path, np.zeros(0), 8000), "0.00 s of sound"),
    "one.wav": (lambda path: soundfile.write(path, np.zeros(1), 8000), "0.00 s of sound"),
    "moment.m4a": (lambda path: encode(path, np.zeros((RATE // 2, 1)), RATE, "aac"), "s of sound in the chosen part"),
    "text.mp3": (lambda path: path.write_text("This is no sound.\n" * 500), "is not audio"),
    "playlist.mp3": (playlist, "is not audio"),
    "silent.mp4": (silent_film, "has no sound in it"),
    "slow.wav": (partial(header, offset=24, value=struct.pack("<I", 1)), "header is damaged"),
    "no channels.wav": (partial(header, offset=22, value=bytes(2)), "is not audio"),
    "no bits.wav": (partial(header, offset=34, value=bytes(2)), "is not audio"),
}


@pytest.mark.parametrize("name", REFUSED)
def test_what_is_no_recording_is_said_in_a_sentence_and_nothing_is_written(run, tmp_path, name):
    make, says = REFUSED[name]
    make(tmp_path / name)
    before = sorted(tmp_path.iterdir())
    code, out, err = run("suggest", tmp_path / name)
    assert (code, out) == (2, "")
    assert says in err
    assert name in err
    assert "unforeseen" not in err
    assert sorted(tmp_path.iterdir()) == before


def test_a_file_that_may_not_be_read_is_named(tmp_path):
    path = tmp_path / "secret.wav"
    soundfile.write(path, np.zeros(RATE * 2), RATE)
    path.chmod(0)
    tmp_path.chmod(0o755)
    user = os.geteuid()
    try:
        if user == 0:  # who may read everything
            os.seteuid(65534)
        with pytest.raises(RecordingError, match=r"cannot be opened: permission denied"):
            open_recording(path)
    finally:
        os.seteuid(user)


@pytest.mark.parametrize(("name", "says"), [("a\0b.wav", "not the name of a file"), ("a" * 400, "cannot be opened")])
def test_a_name_that_no_file_can_have_is_said_so(name, says):
    with pytest.raises(RecordingError, match=says):
        open_recording(name)


@pytest.mark.parametrize("name", ["a.wav", "a.m4a"])
def test_a_file_that_goes_away_while_it_is_heard_is_said_so(tmp_path, band, name):
    if name == "a.wav":
        soundfile.write(tmp_path / name, band[0], RATE)
    else:
        encode(tmp_path / name, band[0][:, None], RATE, "aac")
    found = open_recording(tmp_path / name)
    (tmp_path / name).unlink()
    with pytest.raises(RecordingError, match="cannot be read any more"):
        list(found.blocks())


HEARD = """
import sys
from pathlib import Path
import numpy as np
from cuesuggest.errors import RecordingError
from cuesuggest.sound.recording import open_recording
from cuesuggest.sound.samples import exact_sound
for path in sorted(Path(sys.argv[1]).glob("*.*")):
    try:
        sum(map(len, open_recording(path).blocks()))
        sum(map(len, exact_sound(path).blocks()))
    except RecordingError:
        print(path.name)
"""


def test_no_decoder_prints_its_own_lines_about_a_damaged_mp3(tmp_path, band):
    """The tag, the frames, a file that only calls itself one, and one inside a WAV: at all of them libmpg123 does."""
    for name in ("a.mp3", "a.wav"):
        encode(tmp_path / name, band[0][: 4 * RATE, None], RATE, "libmp3lame", title="a song")
    damaged = tmp_path / "damaged"
    damaged.mkdir()
    (damaged / "text.mp3").write_text("This is no sound.\n" * 500)
    rng = np.random.default_rng(3)
    mp3, wav = ((tmp_path / name).read_bytes() for name in ("a.mp3", "a.wav"))
    bare = mp3[mp3.index(b"\xff\xf3") :]
    for k in range(6):
        for name, whole in {"a.mp3": mp3, "b.song": mp3, "c.song": bare, "d.wav": wav}.items():
            data = bytearray(whole)
            for place in rng.integers(60 if name == "d.wav" else 3, 400 if name == "a.mp3" else len(data), 40):
                data[place] ^= 1 << int(rng.integers(8))
            (damaged / f"{k}-{name}").write_bytes(data)
    words = [sys.executable, "-c", HEARD, str(damaged)]
    done = subprocess.run(words, capture_output=True, text=True, check=False, timeout=60)
    assert (done.returncode, done.stderr) == (0, "")
    refused = done.stdout.split()
    assert "text.mp3" in refused
    assert len(refused) <= 4


# --- Damaged at random


FUZZED = {
    "a.wav": "PCM_16",
    "a.flac": "PCM_16",
    "a.mp3": "MPEG_LAYER_III",
    "a.ogg": "VORBIS",
    "a.opus": "OPUS",
    "a.m4a": "aac",
    "a.mp4": "aac",
    "a.webm": "libopus",
}
LISTEN = """
import faulthandler, sys
from pathlib import Path
import numpy as np
from cuesuggest import analyze
from cuesuggest.errors import RecordingError
from cuesuggest.sound.recording import open_recording
faulthandler.enable()
for k, path in enumerate(sorted(Path(sys.argv[1]).glob("*.*"))):
    print(path.name, flush=True)
    try:
        for block in open_recording(path).blocks():
            assert np.isfinite(block).all()
        if k % 8 == 0:
            analyze(path)
    except RecordingError as error:
        print("  ", error)
print("heard all")
"""


def test_no_damage_crashes_hangs_or_escapes_as_another_error(tmp_path, band):
    """In a child process, for a crash of a decoder cannot be caught."""
    sound = soxr.resample(band[0][: 4 * RATE], RATE, 48000)
    rng = np.random.default_rng(11)
    damaged = tmp_path / "damaged"
    damaged.mkdir()
    for name, how in FUZZED.items():
        if how.isupper():
            soundfile.write(tmp_path / name, sound, 48000, subtype=how, format="OGG" if name == "a.opus" else None)
        else:
            encode(tmp_path / name, sound[:, None], 48000, how, picture=4.0 if name == "a.mp4" else None)
        whole = (tmp_path / name).read_bytes()
        for k in range(9):
            data = bytearray(whole)
            if k % 3 == 0:  # torn off
                data = data[: int(rng.integers(1, len(data)))]
            # Bits flipped anywhere, or among the first bytes, where the header is.
            reach = len(data) if k % 3 < 2 else min(len(data), 300)
            for place in rng.integers(0, reach, int(rng.integers(1, 20)) if k % 3 else 0):
                data[place] ^= 1 << int(rng.integers(8))
            (damaged / f"{k:02}-{name}").write_bytes(data)
    done = subprocess.run(
        [sys.executable, "-c", LISTEN, str(damaged)], capture_output=True, text=True, check=False, timeout=120
    )
    assert done.returncode == 0, done.stdout[-300:] + done.stderr[-3000:]
    assert done.stdout.endswith("heard all\n")
    assert "Traceback" not in done.stderr


def test_where_damage_carries_soundfile_past_its_own_end_what_came_before_is_heard(tmp_path, monkeypatch):
    path = tmp_path / "song.ogg"
    soundfile.write(path, np.zeros((22050, 1), np.float32), 22050)

    def past_the_end(*_, **__):
        raise ValueError("negative dimensions are not allowed")

    monkeypatch.setattr(soundfile.SoundFile, "read", past_the_end)
    assert sum(map(len, open_recording(path).blocks())) == pytest.approx(22050, abs=2048)  # a frame of Vorbis
