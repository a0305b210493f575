"""Projects for audio workstations: lxml reads the XML, zipfile the archive, soundfile the sound in it.

No schema of the format could be had where this was written. What stands in for it here is its published
documentation, from memory: which elements there are, where, and with which attributes.
"""

from __future__ import annotations

import io
import zipfile
from bisect import bisect_right

import numpy as np
import pytest
import soundfile
from lxml import etree

from cuesuggest.export import FORMATS, Options, export
from cuesuggest.export.common.show_bars import bar_words, measures
from cuesuggest.export.common.timing import Timing
from cuesuggest.export.common.told import told, wording
from cuesuggest.sound.samples import exact_sound
from tests.exported import HOSTILE, hostile_song
from tests.hard_songs import HARD, noise_for
from tests.songs import make_song

# Element: (attributes it must have, those it may have, elements inside it in their order). Written from memory.
_NAMED = {"id", "name", "color", "comment"}
STRUCTURE = {
    "Project": ({"version"}, set(), ["Application", "Transport", "Structure", "Arrangement", "Scenes"]),
    "Application": ({"name", "version"}, set(), []),
    "Transport": (set(), set(), ["Tempo", "TimeSignature"]),
    "Tempo": ({"id", "unit", "value"}, _NAMED | {"min", "max"}, []),
    "TimeSignature": ({"id", "numerator", "denominator"}, _NAMED, []),
    "Structure": (set(), set(), ["Track"]),
    "Track": ({"id", "contentType"}, _NAMED | {"loaded"}, ["Channel"]),
    "Channel": ({"id", "role"}, _NAMED | {"audioChannels", "destination", "solo"}, ["Mute", "Pan", "Volume"]),
    "Mute": ({"id", "value"}, _NAMED, []),
    "Pan": ({"id", "unit", "value"}, _NAMED | {"min", "max"}, []),
    "Volume": ({"id", "unit", "value"}, _NAMED | {"min", "max"}, []),
    "Arrangement": ({"id"}, _NAMED, ["Lanes", "Markers", "TempoAutomation", "TimeSignatureAutomation"]),
    "Lanes": ({"id"}, _NAMED | {"track", "timeUnit"}, ["Lanes", "Clips"]),
    "Clips": ({"id"}, _NAMED | {"timeUnit"}, ["Clip"]),
    "Clip": ({"time", "duration"}, {"name", "color", "comment", "contentTimeUnit", "playStart"}, ["Audio"]),
    "Audio": ({"id", "duration", "sampleRate", "channels"}, _NAMED | {"timeUnit", "algorithm"}, ["File"]),
    "File": ({"path"}, {"external"}, []),
    "Markers": ({"id"}, _NAMED | {"timeUnit"}, ["Marker"]),
    "Marker": ({"time", "name"}, {"color", "comment"}, []),
    "TempoAutomation": ({"id", "unit"}, _NAMED | {"timeUnit"}, ["Target", "RealPoint"]),
    "TimeSignatureAutomation": ({"id"}, _NAMED | {"timeUnit"}, ["Target", "TimeSignaturePoint"]),
    "Target": ({"parameter"}, set(), []),
    "RealPoint": ({"time", "value"}, {"interpolation"}, []),
    "TimeSignaturePoint": ({"time", "numerator", "denominator"}, set(), []),
    "Scenes": (set(), set(), []),
}


class Opened:
    """A project, with its time as a program that follows its tempo has it."""

    def __init__(self, song, path, timing=None, **options):
        options = Options(sound=exact_sound(path), timing=timing or Timing(), **options)
        self.archive = zipfile.ZipFile(io.BytesIO(export(song, "dawproject", options)[".dawproject"]))
        self.project = etree.fromstring(self.archive.read("project.xml"))
        self.about = etree.fromstring(self.archive.read("metadata.xml"))
        points = [(float(each.get("time")), float(each.get("value"))) for each in self.project.iter("RealPoint")]
        self.at, self.bpm, self.seconds_at = [0.0], [points[0][1]], [0.0]
        assert points[0][0] == 0.0
        for at, value in points[1:]:
            self.seconds_at.append(self.seconds(at))
            self.at.append(at)
            self.bpm.append(value)

    def seconds(self, quarter):
        index = bisect_right(self.at, quarter) - 1
        return self.seconds_at[index] + (quarter - self.at[index]) * 60 / self.bpm[index]

    def markers(self):
        return [(self.seconds(float(each.get("time"))), each) for each in self.project.iter("Marker")]


@pytest.fixture(params=HARD, ids=str)
def hard(request, tmp_path):
    song, timing = HARD[request.param]
    path = noise_for(song, tmp_path / "a.wav")
    return song, timing, path, Opened(song, path, timing)


def test_every_section_and_cue_is_a_marker_at_its_time(hard):
    song, timing, _, found = hard
    expected = [(each.at, wording(each)) for each in told(song, Options(timing=timing))]
    bars = measures(song, timing)
    expected += bar_words(song, timing, bars)
    assert len(expected) > len(song.analysis.sections)
    marked = [(at, each.get("name")) for at, each in found.markers() if not each.get("name").startswith("Stretched")]
    assert sorted(name for _, name in marked) == sorted(name for _, name in expected)
    for (at, _), (should, _) in zip(marked, sorted(expected, key=lambda each: each[0]), strict=True):
        assert at == pytest.approx(should, abs=1e-5)


def test_every_felt_beat_and_bar_is_at_its_time(hard):
    song, timing, _, found = hard
    here = 0.0
    for bar in measures(song, timing):
        for time in bar.times[:-1]:
            assert found.seconds(here + bar.quarter_at(time)) == pytest.approx(time, abs=1e-5)
        here += float(bar.quarters)


def test_the_meter_changes_where_bars_do(hard):
    song, timing, _, found = hard
    points = [
        (float(each.get("time")), int(each.get("numerator")), int(each.get("denominator")))
        for each in found.project.iter("TimeSignaturePoint")
    ]
    starts = [at for at, _, _ in points]
    here = 0.0
    for bar in measures(song, timing):
        _, upper, lower = points[bisect_right(starts, here + 1e-9) - 1]
        assert (upper, lower) == (bar.numerator, bar.denominator)
        here += float(bar.quarters)


def test_the_recording_runs_in_its_own_time_where_the_show_has_it(hard):
    song, timing, path, found = hard
    (clip,) = found.project.iter("Clip")
    begins, within = found.seconds(float(clip.get("time"))), float(clip.get("playStart"))
    assert clip.get("contentTimeUnit") == "seconds"
    ends = found.seconds(float(clip.get("time")) + float(clip.get("duration")))
    held, _ = soundfile.read(io.BytesIO(found.archive.read("audio/recording.wav")), dtype="int16")
    whole, _ = soundfile.read(path, dtype="int16")
    assert ends - begins == pytest.approx(len(held) / 8000 - within, abs=1e-4)
    # Of an evening it holds the song alone, and what is heard there is what the recording has there.
    window = song.recording.window
    assert len(held) == pytest.approx(8000 * (min(window.end, len(whole) / 8000) - window.start), abs=1)
    frame = round((begins - timing.offset) * 8000)
    assert np.array_equal(held[round(within * 8000) :][:1000], whole[frame : frame + 1000])


def test_its_elements_are_those_of_the_documented_structure(hard):
    project = hard[3].project
    ids = [each.get("id") for each in project.iter() if each.get("id")]
    assert len(ids) == len(set(ids))
    for each in project.iter():
        needed, allowed, inside = STRUCTURE[each.tag]
        assert needed <= set(each.keys()) <= needed | allowed, each.tag
        order = [inside.index(child.tag) for child in each]
        assert order == sorted(order), each.tag
    pointed = [each.get("parameter") for each in project.iter("Target")]
    pointed += [each.get("track") for each in project.iter("Lanes") if each.get("track")]
    pointed += [each.get("destination") for each in project.iter("Channel") if each.get("destination")]
    assert set(pointed) == {"tempo", "meter", "recording", "main-channel"} <= set(ids)


@pytest.mark.parametrize(("subtype", "kind"), [("PCM_16", "int16"), ("PCM_24", "int32"), ("FLOAT", "float32")])
def test_the_sound_in_it_is_the_recordings_bit_by_bit(tmp_path, subtype, kind):
    path = noise_for(make_song("A8"), tmp_path / "a.wav", rate=44100, subtype=subtype)
    found = Opened(make_song("A8"), path)
    (file,), (audio,) = found.project.iter("File"), found.project.iter("Audio")
    heard, rate = soundfile.read(io.BytesIO(found.archive.read(file.get("path"))), dtype=kind)
    assert np.array_equal(heard, soundfile.read(path, dtype=kind)[0])
    assert (audio.get("sampleRate"), audio.get("channels"), rate) == ("44100", "2", 44100)
    assert found.archive.testzip() is None


def test_the_file_says_what_it_is_and_that_nobody_else_has_read_one(tmp_path):
    song = make_song("A8")
    about = Opened(song, noise_for(song, tmp_path / "a.wav"), Timing(-3.0), date="2031-05-04").about
    said = about.findtext("Comment")
    assert (about.tag, about.findtext("Title")) == ("MetaData", "Paper Boats")
    for words in ("keep people out of the beams", "2031-05-04", "3 s earlier", "1 cue", "Experimental"):
        assert words in said
    assert FORMATS["dawproject"].experimental


def test_a_recording_that_is_over_before_second_0_is_no_clip(tmp_path):
    song = make_song("A8")
    found = Opened(song, noise_for(song, tmp_path / "a.wav"), Timing(-1000.0))
    assert list(found.project.iter("Clip")) == []


@pytest.mark.parametrize("text", HOSTILE.values(), ids=HOSTILE)
def test_any_text_is_well_formed(tmp_path, text):
    song = hostile_song(text)
    found = Opened(song, noise_for(song, tmp_path / "a.wav", channels=1))
    assert len([each for _, each in found.markers() if not each.get("name").startswith("Stretched")]) == 7


def test_the_same_song_gives_the_same_bytes(tmp_path):
    song = make_song("A8")
    options = Options(sound=exact_sound(noise_for(song, tmp_path / "a.wav")))
    first, second = (export(song, "dawproject", options)[".dawproject"] for _ in range(2))
    assert first == second
