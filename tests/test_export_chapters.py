"""Copies of a recording with chapters, as enzyme reads Matroska (RFC 9559): the packets byte by byte, every title."""

from __future__ import annotations

import hashlib
import shutil

import enzyme
import numpy as np
import pytest
import soundfile

from cuesuggest.errors import CuesuggestError
from cuesuggest.export import Options, export
from cuesuggest.export.common.told import told, wording
from cuesuggest.sound.recording import open_container, open_recording
from cuesuggest.sound.samples import exact_sound
from tests.exported import HOSTILE, hostile_song
from tests.hard_songs import HARD, noise_for
from tests.songs import make_song

# Name, and how soundfile writes it; AAC is a sample of ours.
KINDS = {
    "a.wav": {"subtype": "PCM_24"},
    "floats.wav": {"subtype": "FLOAT"},
    "a.aiff": {"subtype": "PCM_16"},
    "a.flac": {"subtype": "PCM_24"},
    "a.ogg": {},
    "a.opus": {"format": "OGG", "subtype": "OPUS"},
    "a.mp3": {"format": "MP3"},
    "a.m4a": None,
}


def recorded(path, sample_path):
    """Bursts of noise, so that where they begin can be heard in any coding."""
    how = KINDS[path.name]
    if how is None:
        return shutil.copy(sample_path.with_name("salt_on_the_sill.m4a"), path)
    rate, random = 48000, np.random.default_rng(3)
    sound = np.zeros((3 * rate, 2))
    for second in (1, 2):
        sound[second * rate : second * rate + rate // 4] = random.uniform(-0.5, 0.5, (rate // 4, 2))
    soundfile.write(path, sound, rate, **how)
    return path


def copied(song, path, tmp_path, **options):
    copy = tmp_path / "copy.mka"
    copy.write_bytes(export(song, "chapters", Options(sound=exact_sound(path), **options))[".chapters.mka"])
    return copy


def chapters(copy):
    with copy.open("rb") as file:
        read = enzyme.MKV(file)
    return [(each.start.total_seconds(), each.string) for each in read.chapters], read


def packets(path):
    with open_container(path) as container:
        found = [bytes(each) for each in container.demux(container.streams.audio[0]) if each.dts is not None]
    return len(found), hashlib.sha256(b"".join(found)).hexdigest()


@pytest.mark.parametrize("name", KINDS)
def test_the_sound_is_the_recordings_packet_by_packet(tmp_path, sample_path, name):
    path = recorded(tmp_path / name, sample_path)
    assert packets(copied(make_song("A8"), path, tmp_path)) == packets(path)


@pytest.mark.parametrize("name", [name for name, how in KINDS.items() if how is not None])
def test_a_chapter_is_where_a_player_has_its_sound(tmp_path, sample_path, name):
    """Players count from the first packet, which some coders fill with silence of their own."""
    path = recorded(tmp_path / name, sample_path)
    song = make_song("A1", start=1.0)
    copy = copied(song, path, tmp_path)
    starts = [at for at, title in chapters(copy)[0] if title.startswith("A1")]
    with open_container(copy) as container:
        frames = [(float(each.pts * each.time_base), each) for each in container.decode(audio=0)]
    begins = frames[0][0]
    heard = np.concatenate(list(open_recording(copy).blocks()))[:, 0]
    burst = np.argmax(np.abs(heard) > 0.1) / 48000 + begins
    assert starts == [pytest.approx(burst, abs=0.004 if name in ("a.ogg", "a.opus", "a.mp3") else 0.0005)]


@pytest.mark.parametrize(("song", "timing"), HARD.values(), ids=HARD)
def test_every_section_and_cue_is_a_chapter_at_its_own_time_whatever_the_offset(tmp_path, song, timing):
    path = noise_for(song, tmp_path / "a.wav")
    found, _ = chapters(copied(song, path, tmp_path, timing=timing))
    expected = [(each.at, wording(each)) for each in told(song, Options())]
    expected += [(each.start, each.mark) for each in song.analysis.sections]
    titles = [(at, part) for at, title in found for part in title.split("; ") if part != "Start"]
    assert sorted(part for _, part in titles) == sorted(part for _, part in expected)
    for (at, _), (should, _) in zip(titles, sorted(expected, key=lambda each: each[0]), strict=True):
        assert at == pytest.approx(should, abs=0.001)
    assert found[0][0] == 0.0
    assert [at for at, _ in found] == sorted({at for at, _ in found})


def test_the_file_says_what_it_is(tmp_path):
    song = make_song("A8")
    _, read = chapters(copied(song, noise_for(song, tmp_path / "a.wav"), tmp_path, date="2031-05-04"))
    assert read.info.title == "Paper Boats"
    assert (len(read.audio_tracks), len(read.video_tracks)) == (1, 0)
    said = {each.name: each.string for tag in read.tags for each in tag.simpletags}
    assert "keep people out of the beams" in said["COMMENT"]
    assert "2031-05-04" in said["ENCODED_BY"]


@pytest.mark.parametrize("text", HOSTILE.values(), ids=HOSTILE)
def test_any_text_is_a_title(tmp_path, text):
    song = hostile_song(text)
    found, _ = chapters(copied(song, noise_for(song, tmp_path / "a.wav", channels=1), tmp_path))
    assert len(found) >= 5


@pytest.mark.parametrize(
    ("name", "subtype", "kind"), [("a.wav", "ULAW", "int16"), ("a.w64", "ALAW", "int16"), ("a.nist", "PCM_16", "int16")]
)
def test_sound_that_no_such_file_holds_is_there_as_numbers(tmp_path, name, subtype, kind):
    song = make_song("A8")
    path = noise_for(song, tmp_path / name, subtype=subtype, channels=1)
    copy = copied(song, path, tmp_path)
    with open_container(copy) as container:
        heard = np.concatenate([each.to_ndarray()[0] for each in container.decode(audio=0)])
    assert np.array_equal(heard, soundfile.read(path, dtype=kind)[0])
    found, _ = chapters(copy)
    assert [at for at, title in found if title.startswith("A1")] == [2.0]


def test_a_recording_that_has_gone_is_said(tmp_path):
    song = make_song("A8")
    path = noise_for(song, tmp_path / "a.wav")
    sound = exact_sound(path)
    path.unlink()
    with pytest.raises(CuesuggestError, match="Is it still there"):
        export(song, "chapters", Options(sound=sound))


def test_of_a_recording_that_breaks_off_what_is_there_is_copied(tmp_path):
    song = make_song("A8")
    path = noise_for(song, tmp_path / "a.flac", subtype="PCM_16")
    path.write_bytes(path.read_bytes()[: path.stat().st_size // 2])
    found, _ = chapters(copied(song, path, tmp_path))
    assert len(found) >= 3


def test_the_same_song_gives_the_same_bytes(tmp_path):
    song = make_song("A8")
    sound = exact_sound(noise_for(song, tmp_path / "a.wav"))
    first, second = (export(song, "chapters", Options(sound=sound))[".chapters.mka"] for _ in range(2))
    assert first == second
