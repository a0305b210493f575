"""Whole songs in every format that has time, read by others' readers: bars and cues are there, and where they are.

A format joins with one line in `READERS`, with a function that reads its cues, its bars and what it says in others'
words than ours.
"""

from __future__ import annotations

import csv
import io
import json
import math
import re
import zipfile
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field, replace
from functools import cache
from importlib.metadata import files
from itertools import pairwise
from pathlib import Path
from typing import Any, Literal

import enzyme
import jams
import mido
import music21
import numpy as np
import openpyxl
import pytest
import soundfile
import symusic
import wavinfo
import webvtt
from hypothesis import given, settings
from hypothesis import strategies as st
from lxml import etree
from music21 import converter, expressions

from cuesuggest.export import FORMATS, Options, write
from cuesuggest.export.common.timing import RATES, Timing
from cuesuggest.score.records import Place, Series
from cuesuggest.sound.samples import exact_sound
from tests.exported import in_sevens, one, random_song, seeds
from tests.songs import make_cue, make_song, place_at, retimed
from tests.test_export_timecode import decoded

# jams calls jsonschema in an old way.
pytestmark = pytest.mark.filterwarnings("ignore:Passing a schema to Validator:DeprecationWarning")

RATE = 8000  # of the recording
FADE = 2.5  # s, of the one that lands


@dataclass(frozen=True)
class Case:
    """A song, how it is written, and where its cues are in the recording, reckoned by hand."""

    song: Any
    cues: dict[str, list[float]]
    """Number to the seconds of the recording at which the hand begins, each time."""
    timing: Timing = field(default_factory=Timing)
    from_window: bool = False
    left_out: tuple[str, ...] = ()
    at_start: tuple[str, ...] = ()
    """Set up before second 0 of the show, and told there."""


@dataclass
class Read:
    """What somebody else's reader finds in a file."""

    cues: Iterable[tuple[str, float]] | None = None
    """Number and seconds; None where the format has no cues."""
    bars: dict[int, float] | list[float] | None = None
    """Seconds by number, or in order; None where the format has no bars."""
    words: str = ""
    """All that it says about itself."""


def with_cues(analysis, window=None, **cues_of):
    """A song with a cue of each kind that is timed in its own way, and where they are."""
    song = make_song(analysis=analysis)
    bar = {each.number: each for each in analysis.bars}
    last = analysis.sections[-1].last_bar
    early = round(bar[1].start - 1.5, 4)
    first = Place(early) if early >= 0 else place_at(analysis, 1)

    def beat(number, count):
        """Seconds of a beat: as tracked."""
        return [time for time in analysis.beats if time >= bar[number].start - 1e-6][count - 1]

    def at(number, count):
        return replace(place_at(analysis, number), beat=float(count), seconds=beat(number, count))

    cues = [
        make_cue(1, "recall", first, look="home", side="A"),
        make_cue(2, "fade-in", at(1, 1), look="home", side="A", level=50, up_seconds=3.0),
        make_cue(3, "recall", at(4, 2), look="lift", side="B"),
        make_cue(4, "fade-in", at(9, 1), look="lift", side="B", level=80, up_seconds=FADE, anchor="lands-on"),
        make_cue(5, "one-shot", at(3, 3), look="lift", series=Series(4, 3, 15, (7,))),
        make_cue(6, "call", at(14, 2)),
        make_cue(7.5, "fade-out", at(last, 1), side="A", down_seconds=3.0),
    ]
    times = {
        "1": [first.seconds],
        "2": [bar[1].start],
        "3": [beat(4, 2)],
        "4": [bar[9].start - FADE],
        "5": [beat(number, 3) for number in (3, 11, 15)],
        "6": [beat(14, 2)],
        "7.5": [bar[last].start],
    }
    recording = replace(song.recording, sample_rate=RATE, channels=1, duration=analysis.duration)
    if window:
        recording = replace(recording, window=replace(recording.window, start=window[0], end=window[1]))
    return song.replaced(cues=cues, recording=recording, questions=()), times


def drifting():
    """Bars that sway by a few percent around a tempo that rises."""
    analysis = make_song("A8 B8 A8", bpm=113.7, start=3.2101).analysis
    return retimed(analysis, tempos={n: round(113.7 + n / 3 + 4 * np.sin(n), 3) for n in range(1, 25)})


def cases():
    yield "a tempo that drifts", Case(*with_cues(drifting()))
    five = make_song("A8 B8 A8", bpm=131.3, time_signature="5/4", start=6.4, count_in=1).analysis
    yield "five beats, later in the show", Case(*with_cues(five), timing=Timing(12.3456))
    yield "seven as two, two and three", Case(*with_cues(in_sevens(start=2.2).analysis))
    paused = retimed(make_song("A8 B8 A8", bpm=97).analysis, pauses={13: 7.31}, beats={6: 2, 10: 5})
    yield "a pause and odd bars", Case(*with_cues(paused))
    long = replace(make_song("A8 B8 A8", start=64.0, bpm=120).analysis, duration=160.0)
    yield (
        "a window of a long recording",
        Case(*with_cues(long, window=(61.75, 116.0)), timing=Timing(-61.75), from_window=True),
    )
    seven = in_sevens(start=8.25).analysis
    yield "bar 1 at second 0", Case(*with_cues(seven), timing=Timing(-8.25), at_start=("1",))
    paused = retimed(make_song("A8 B8 A8", bpm=97).analysis, pauses={13: 7.31})
    yield (
        "from the middle on",
        Case(*with_cues(paused), timing=Timing(-paused.bars[5].start - 0.3), left_out=("2",), at_start=("1", "3")),
    )
    yield "from sample 0", Case(*with_cues(make_song("A8 B8 A8", start=0.0, bpm=88.8).analysis))


CASES = dict(cases())


def written(case, ending, path):
    """The file, beside a recording that nobody needs to hear."""
    form = next(each for each in FORMATS.values() if ending in each.files)
    recording = path.with_name("recording.wav")
    soundfile.write(recording, np.zeros(round(case.song.recording.duration * RATE), np.int16), RATE)
    options = Options(timing=case.timing, from_window=case.from_window, sound=exact_sound(recording))
    path.write_bytes(write(case.song, form, ending, options))
    return path.read_bytes()


# Readers: from the bytes of a file, and a path at which they lie, to what is in it.

SAID = re.compile(r"(?:By hand )?(\d+(?:\.\d+)?) [a-z-]+(?: again)?: ")


def cues_among(texts):
    """Number and seconds of those texts that tell a cue."""
    return [(found[1], seconds) for seconds, text in texts if (found := SAID.match(text))]


def midi_points(data, _):
    """By mido, which follows the tempo."""
    seconds, points, words = 0.0, [], []
    for message in mido.MidiFile(file=io.BytesIO(data)):
        seconds += message.time
        points += [(seconds, message.text)] if message.type == "cue_marker" else []
        words += [message.text] if message.type == "text" else []
    return Read(cues_among(points), None, "\n".join(words))


def midi_markers(data, path):
    """By symusic, which has meters, tempo and markers, but no cue points."""
    score = symusic.Score.from_midi(data)
    marks = [(seconds_at(score, mark.time), mark.text) for mark in score.markers]
    return Read(cues_among(marks), numbered_bars(score, data), midi_points(data, path).words)


def midi_bars(data, path):
    return replace(midi_markers(data, path), cues=None)


def seconds_at(score, tick):
    changes = [(each.time, each.mspq) for each in score.tempos]
    lasted = [max(min(tick, until) - at, 0) * tempo for (at, tempo), (until, _) in pairwise([*changes, (10**12, 0)])]
    return sum(lasted) / score.ticks_per_quarter / 1e6


def numbered_bars(score, data):
    """The song's bars, found as a person finds them: the file's bars are counted, and markers tell both counts."""
    end = max(sum(message.time for message in track) for track in mido.MidiFile(file=io.BytesIO(data)).tracks)
    quarter = score.ticks_per_quarter
    meters = [(each.time, 4 * each.numerator * quarter // each.denominator) for each in score.time_signatures]
    starts, tick = [], 0
    while tick < end:
        starts.append(tick)
        tick += [length for at, length in meters if at <= tick][-1]
    found = told_by_markers(starts, [(mark.time, mark.text) for mark in score.markers])
    return {number: seconds_at(score, start) for number, start in found.items()}


def told_by_markers(starts, marks):
    """Where the song's bars start, by number, from where those of the file do."""
    shift_at = {}
    for at, text in marks:
        if found := re.search(r": (?:bar (-?\d+) of the song, )?bar (\d+)(?: here)?$", text):
            assert starts[int(found[2]) - 1] == at
            shift_at[at] = int(found[2]) - int(found[1] or found[2])
    bars, shift = {}, None
    for number, start in enumerate(starts, 1):
        shift = shift_at.get(start, shift)
        if shift is not None:
            bars[number - shift] = start
    return bars


def marked_copy(_, path):
    found = wavinfo.WavInfoReader(str(path))
    labels = {each.name: each.text for each in found.cues.labels}
    return Read(cues_among((cue.position / RATE, labels[cue.name]) for cue in found.cues.cues), None, str(found.info))


def text_show(data, _):
    """By its lines; there is no library for them."""
    texts = re.findall(r"Text (.*)\r\n! at (\S+) s,", data.decode("ascii"))
    return Read(cues_among((float(seconds), text) for text, seconds in texts), None, data.decode("ascii"))


def sent_list(data, _):
    lines = re.findall(r'^ *(\S+)  \S+/reminder "(\S+)"', data.decode("ascii"), re.MULTILINE)
    return Read([(number, float(seconds)) for seconds, number in lines], None, data.decode("ascii"))


def captions(data, _):
    shown = webvtt.from_buffer(io.StringIO(data.decode("utf-8")))
    found = [(line, seconds_of(each.start)) for each in shown for line in each.lines]
    numbered = [(re.match(r"Now (\S+) ", line), seconds) for line, seconds in found]
    return Read([(line[1], seconds) for line, seconds in numbered if line], None, data.decode("utf-8"))


def seconds_of(clock):
    hours, minutes, seconds = clock.split(":")
    return 3600 * int(hours) + 60 * int(minutes) + float(seconds)


def score(data, _):
    """By music21, which follows the tempo, after the W3C's schema has found nothing wrong."""
    found = etree.fromstring(data, etree.XMLParser(load_dtd=False, no_network=True))
    assert musicxml_schema().validate(found), musicxml_schema().error_log
    part = converter.parse(data.decode("utf-8"), format="musicxml").parts[0]
    timed = [(each["offsetSeconds"], each["element"]) for each in part.flatten().secondsMap]
    rests = [seconds for seconds, each in timed if isinstance(each, music21.note.Rest)]
    bars = zip(part.getElementsByClass("Measure"), rests, strict=True)
    words = [(seconds, each.content) for seconds, each in timed if isinstance(each, expressions.TextExpression)]
    said = "\n".join(found.xpath("//miscellaneous-field/text()"))
    return Read(cues_among(words), {bar.number: at for bar, at in bars if not bar.numberSuffix}, said)


@cache
def musicxml_schema():
    """The W3C's schema of MusicXML 4.0, as a package has it; the two small ones that it looks up are here."""

    class Others(etree.Resolver):
        def resolve(self, url, _, context):
            name = url.rpartition("/")[2]
            return self.resolve_string(OTHER_SCHEMAS[name], context) if name in OTHER_SCHEMAS else None

    parser = etree.XMLParser(no_network=True)
    parser.resolvers.add(Others())
    where = next(each for each in files("musicxml") if each.name == "musicxml_4_0.xsd")
    return etree.XMLSchema(etree.parse(where.locate(), parser))


def schema_of_attributes(namespace, names):
    each = "".join(f'<xs:attribute name="{name}" type="xs:string"/>' for name in names.split())
    return f'<xs:schema xmlns:xs="http://www.w3.org/2001/XMLSchema" targetNamespace="{namespace}">{each}</xs:schema>'


OTHER_SCHEMAS = {
    "xml.xsd": schema_of_attributes("http://www.w3.org/XML/1998/namespace", "lang space"),
    "xlink.xsd": schema_of_attributes("http://www.w3.org/1999/xlink", "href type role title show actuate"),
}


def annotations(data, path):
    jam = jams.load(str(path))
    beats, tags = (jam.annotations.search(namespace=name)[0] for name in ("beat", "tag_open"))
    return Read(
        cues_among((each.time, each.value) for each in tags.data),
        [each.time for each in beats.data if each.value == 1],
        json.dumps(jam.sandbox.cuesuggest, default=str),
    )


def table(data, _):
    rows = csv.DictReader(io.StringIO(data.decode("utf-8"), newline=""))
    return Read([(f"{float(row['number']):g}", float(row["seconds"])) for row in rows])


def semicolon_table(data, _):
    """As a spreadsheet with a decimal comma does."""
    rows = csv.DictReader(io.StringIO(data.decode("utf-8-sig"), newline=""), delimiter=";")
    number = {name: lambda row, name=name: float(row[name].replace(",", ".")) for name in ("number", "seconds")}
    return Read([(f"{number['number'](row):g}", number["seconds"](row)) for row in rows])


def chapters(_, path):
    with path.open("rb") as file:
        found = enzyme.MKV(file).chapters
    return Read(cues_among((each.start.total_seconds(), part) for each in found for part in each.string.split("; ")))


def workbook(data, _):
    header, *rows = openpyxl.load_workbook(io.BytesIO(data), read_only=True).worksheets[0].iter_rows(values_only=True)
    number, seconds = header.index("number"), header.index("seconds")
    return Read([(f"{row[number]:g}", row[seconds]) for row in rows if isinstance(row[number], int | float)])


def list_for_programs(data, _):
    return Read([(f"{cue['number']:g}", cue["seconds"]) for cue in json.loads(data)["cues"]])


def timeline(data, _):
    """By the format's own library, to the frame."""
    otio = pytest.importorskip("opentimelineio", reason="it has no wheel for this Python yet")
    found = otio.adapters.read_from_string(data.decode("utf-8"), "otio_json")
    marks = [(each.marked_range.start_time.to_seconds(), each.name) for each in found.tracks.markers]
    return Read(cues_among(marks), None, "\n".join(found.metadata["cuesuggest"]["left_out"]))


def project(data, _):
    """By lxml, with the time that a program has which follows the tempo."""
    archive = zipfile.ZipFile(io.BytesIO(data))
    found = etree.fromstring(archive.read("project.xml"))
    points = [(float(each.get("time")), float(each.get("value"))) for each in found.iter("RealPoint")]

    def seconds(quarter):
        lasted = zip(points, [*points[1:], (math.inf, 0.0)], strict=True)
        return sum(max(min(quarter, until) - at, 0.0) * 60 / tempo for (at, tempo), (until, _) in lasted)

    marks = [(float(each.get("time")), each.get("name")) for each in found.iter("Marker")]
    meters = [
        [float(each.get(name)) for name in ("time", "numerator", "denominator")]
        for each in found.iter("TimeSignaturePoint")
    ]
    (clip,) = found.iter("Clip")
    starts, at = [], 0.0
    while at < float(clip.get("time")) + float(clip.get("duration")):
        starts.append(at)
        _, upper, lower = [each for each in meters if each[0] <= at][-1]
        at += 4 * upper / lower
    bars = {number: seconds(start) for number, start in told_by_markers(starts, marks).items()}
    cues = cues_among((seconds(at), text) for at, text in marks)
    return Read(cues, bars, archive.read("metadata.xml").decode("utf-8"))


@dataclass(frozen=True)
class Reader:
    """How a format is read, and by which time it goes."""

    read: Callable[[bytes, Path], Read]
    time: Literal["show", "recording", "any"] = "show"
    """The show's, from its second 0; the recording's; or the show's, also before its second 0, each cue once."""
    within: float = 0.001
    """Seconds: a millisecond, or the unit of the format where that is more."""


# Ending of the file, and who reads it.
READERS = [
    (".mid", Reader(midi_points)),
    (".mid", Reader(midi_markers)),
    (".msc.mid", Reader(midi_points)),
    (".msc.mid", Reader(midi_markers)),
    (".mtc.mid", Reader(midi_bars)),
    (".markers.wav", Reader(marked_copy, "recording")),
    (".show.txt", Reader(text_show, "any")),
    (".osc.txt", Reader(sent_list)),
    (".vtt", Reader(captions)),
    (".musicxml", Reader(score, within=60 / 113.7 / 480)),
    (".dawproject", Reader(project)),
    (".otio", Reader(timeline, within=0.5 / 25 + 1e-6)),
    (".jams", Reader(annotations, "recording")),
    (".cues.csv", Reader(table, "any")),
    (".semicolon.csv", Reader(semicolon_table, "any")),
    (".chapters.mka", Reader(chapters, "recording")),
    (".cues.xlsx", Reader(workbook, "any")),
    (".list.json", Reader(list_for_programs, "any")),
]
TIMECODE = {".ltc.wav", ".mtc.mid"}  # read further down
# Read by people: tests/test_paper.py and tests/test_chart.py.
ON_PAPER = {"page", "list", "run", "chart"}
# Heard: tests/test_export_practice.py and tests/test_export_show_audio.py.
HEARD = {"practice", "show-audio"}
OFFERED = {ending: form for form in FORMATS.values() for ending in form.files}


def test_every_format_that_has_time_is_read_here():
    read = {*TIMECODE, *(ending for ending, _ in READERS)}
    assert {form.name for ending, form in OFFERED.items() if ending in read} == FORMATS.keys() - ON_PAPER - HEARD


@pytest.mark.parametrize("case", CASES.values(), ids=CASES)
@pytest.mark.parametrize(
    ("ending", "reader"), READERS, ids=[f"{ending} {each.read.__name__}" for ending, each in READERS]
)
def test_bars_and_cues_are_where_they_are_and_none_is_missing(tmp_path, ending, reader, case):
    path = tmp_path / f"song{ending}"
    found = reader.read(written(case, ending, path), path)
    if found.cues is not None:
        want = cues_wanted(case, reader.time)
        assert {number: sorted(at) for number, at in grouped(found.cues).items()} == {
            number: pytest.approx(at, abs=reader.within) for number, at in want.items()
        }
    if found.bars is not None:
        assert_bars(found.bars, case, reader)
    for what in ("left out", "told at it"):
        at_start = case.left_out if what == "left out" else case.at_start
        named = re.search(rf"{what}: ([\d., ]+)\.", found.words)
        runs = reader.time == "show" and found.cues is not None
        assert (named[1].split(", ") if named else []) == ([*at_start] if runs else [])


def grouped(cues):
    found: dict[str, list[float]] = {}
    for number, seconds in cues:
        found.setdefault(number, []).append(seconds)
    return found


def cues_wanted(case, time):
    """Seconds of every cue by the time of the format."""
    if time == "recording":
        return case.cues
    show = {number: [at + case.timing.offset for at in each] for number, each in case.cues.items()}
    if time == "any":
        return {number: each[:1] for number, each in show.items()}
    later = {number: [at for at in each if at >= 0] for number, each in show.items() if number not in case.left_out}
    return later | {number: [0.0] for number in case.at_start}


def assert_bars(bars, case, reader):
    offset = 0.0 if reader.time == "recording" else case.timing.offset
    want = {bar.number: bar.start + offset for bar in case.song.analysis.bars if bar.start + offset >= 0}
    if isinstance(bars, list):
        assert bars == pytest.approx([*want.values()], abs=reader.within)
    else:
        # Those of a count-in have no marker before them that tells their numbers.
        numbered = {number: at for number, at in want.items() if number >= 1}
        assert {number: bars.get(number) for number in numbered} == pytest.approx(numbered, abs=reader.within)


@given(seeds, st.floats(-60, 5))
@settings(max_examples=30, deadline=None)
def test_every_cue_of_any_song_is_told_or_named_as_left_out(seed, offset):
    song, timing = random_song(seed), Timing(round(offset, 4))
    found = midi_points(one(song, "midi", "mid", timing=timing), None)
    told = {number for number, _ in found.cues}
    every = [f"{number:g}" for number in sorted(cue.number for cue in song.cues if cue.status != "rejected")]
    named = re.search(r"left out: ([\d., to]+)\.", found.words)
    left = set()
    for run in named[1].split(", ") if named else []:
        first, _, last = run.partition(" to ")
        left |= {*every[every.index(first) : every.index(last or first) + 1]}
    assert told | left == {*every}
    assert not told & left


@pytest.mark.parametrize("case", CASES.values(), ids=CASES)
def test_timecode_runs_from_second_0_to_the_end_of_what_is_played(tmp_path, case):
    samples, rate = soundfile.read(io.BytesIO(written(case, ".ltc.wav", tmp_path / "a.ltc.wav")), dtype="int16")
    counting = RATES["25"]
    heard = decoded(samples, rate / 25)
    first = counting.parse("01:00:00:00")
    assert [counting.parse(label) for label, _ in heard] == [first + frame for frame in range(len(heard))]
    assert [at for _, at in heard] == pytest.approx([frame * rate / 25 for frame in range(len(heard))], abs=2)
    window = case.song.recording.window
    lasts = window.end - window.start if case.from_window else case.song.recording.duration + case.timing.offset
    assert len(samples) / rate == pytest.approx(lasts, abs=1e-4)
    assert len(heard) / 25 == pytest.approx(lasts, abs=0.12)


@pytest.mark.parametrize("case", CASES.values(), ids=CASES)
def test_midi_time_code_is_at_its_own_time_in_every_song(tmp_path, case):
    seconds, found = 0.0, []
    written(case, ".mtc.mid", tmp_path / "a.mtc.mid")
    for message in mido.MidiFile(tmp_path / "a.mtc.mid"):
        seconds += message.time
        if message.type == "sysex":
            hours, minutes, whole, _ = message.data[4:]
            found.append(((hours & 31) * 3600 + minutes * 60 + whole - 3600, seconds))
    assert [at for _, at in found] == pytest.approx([label for label, _ in found], abs=1e-3)
    assert found[0] == (0, 0.0)
    assert found[-1][0] >= int(max(each.end for each in case.song.analysis.bars) + case.timing.offset)
