"""Songs as MIDI files, read back by mido, symusic and music21, and the bytes that the standard shows."""

from __future__ import annotations

import io
from collections import Counter
from dataclasses import replace
from itertools import pairwise

import mido
import pytest
import symusic
from hypothesis import given, settings
from music21 import midi as music21_midi

from cuesuggest.export import Options, export
from cuesuggest.export.common.desk_map import map_from_text
from cuesuggest.export.common.show_bars import measures
from cuesuggest.export.common.timing import RATES, Timing
from cuesuggest.export.common.told import told
from cuesuggest.score.records import Series
from tests.exported import HOSTILE, hostile_song, in_sevens, one, random_song, seeds
from tests.songs import make_cue, make_song, place_at, retimed

AUTO = {"allow_auto": True}


def played(data, *kinds):
    """(seconds, message) of a file, by mido's own following of the tempo."""
    seconds, found = 0.0, []
    for message in mido.MidiFile(file=io.BytesIO(data)):
        seconds += message.time
        if not kinds or message.type in kinds:
            found.append((seconds, message))
    return found


def said(data, kind):
    return [(round(seconds, 3), message.text) for seconds, message in played(data, kind)]


def test_a_song_is_bars_sections_and_cues():
    data = one(make_song("A8 B8 A8"), "midi", "mid", **AUTO)
    assert said(data, "marker") == [
        (0, "Stretched bars: before bar 1"),
        (2, "A1: bar 1 of the song, bar 2 here"),
        (2, "1 fade-in: A up to 50 in 8 beats"),
        (17, "2 recall: set B Wide fans"),
        (22, "B1: bar 9 of the song, bar 10 here"),
        (22, "3 cut-in: B in at 80"),
        (42, "A2: bar 17 of the song, bar 18 here"),
        (59.5, "4 fade-out: A down in 3.0 s"),
        (62, "Stretched bars: after the last bar"),
    ]
    assert [(seconds, text[:12]) for seconds, text in said(data, "cue_marker")] == [
        (2, "1 fade-in: A"), (17, "2 recall: se"), (22, "3 cut-in: B "), (59.5, "4 fade-out: "),
    ]  # fmt: skip


def test_events_are_the_bytes_that_the_standard_shows():
    song = make_song("A8", bpm=120, start=2.0, ring_out=0.0)
    data = one(song, "midi", "mid", date="2031-05-04", timing=Timing(rate=RATES["25"]))
    assert data.startswith(bytes.fromhex("4D546864 00000006 0001 0003 0780"))
    assert bytes.fromhex("FF5405 21 00000000") in data  # 01:00:00:00 at 25
    assert bytes.fromhex("FF5804 04021808") in data  # 4/4
    assert bytes.fromhex("FF5103 07A120") in data  # 120 beats a minute
    assert b"\xff\x06\x21A1: bar 1 of the song, bar 2 here" in data
    assert data.count(bytes.fromhex("FF2F00")) == 3


# FF 54: hour byte with the rate (24, 25, 29.97 drop, 30).
OFFSETS = {"24": "01", "25": "21", "29.97df": "41", "29.97": "61", "30": "61"}


@pytest.mark.parametrize(("rate", "hour"), OFFSETS.items())
def test_the_start_timecode_is_an_offset_at_every_rate(rate, hour):
    data = one(make_song(), "midi", "mid", timing=Timing(rate=RATES[rate], start="01:02:03:04"))
    assert bytes.fromhex(f"FF5405 {hour}02030400") in data


METERS = {"4/4": "04021808", "3/4": "03021808", "6/8": "06031808", "7/8": "07031808", "12/8": "0C031808"}


@pytest.mark.parametrize(("meter", "hexadecimal"), METERS.items())
def test_meters_are_written_as_musicians_name_them(meter, hexadecimal):
    data = one(make_song("A8 B8", time_signature=meter), "midi", "mid")
    assert bytes.fromhex(f"FF5804 {hexadecimal}") in data


def test_ten_minutes_of_uneven_tempo_drift_by_less_than_a_millisecond():
    song = long_song()
    data = one(song, "midi", "mid", **AUTO)
    want = {f"{each.cue.number:g}": each.at for each in told(song, Options(**AUTO))}
    by_mido = {message.text.split()[0]: seconds for seconds, message in played(data, "cue_marker")}
    assert by_mido == pytest.approx(want, abs=1e-3)
    notes = [note for track in symusic.Score.from_midi(data, ttype="second").tracks for note in track.notes]
    assert [note.time for note in sorted(notes, key=lambda note: note.time)] == pytest.approx(
        [seconds for seconds, message in played(data, "note_on")], abs=1e-3
    )
    assert max(want.values()) > 590


def long_song():
    """Ten minutes at 174.3 beats a minute that sway by a few percent, a one-shot every four bars."""
    song = make_song("A435", bpm=174.3, start=1.2345)
    bars, start = [], song.analysis.bars[0].start
    for bar in song.analysis.bars:
        end = round(start + (bar.end - bar.start) * (1 + 0.03 * ((bar.number % 7) - 3) / 3), 4)
        bars.append(replace(bar, start=start, end=end))
        start = end
    beats = tuple(
        round(bar.start + step * (bar.end - bar.start) / 4 + (0.004 if step == 2 else 0), 4)
        for bar in bars
        for step in range(4)
    )
    analysis = replace(song.analysis, bars=tuple(bars), beats=beats, duration=start + 3)
    window = replace(song.recording.window, end=start + 3)
    song = song.replaced(
        analysis=analysis,
        recording=replace(song.recording, duration=start + 3, window=window),
        cues=(),
        plan=(),
        questions=(),
    )
    cues = [
        make_cue(float(n), "one-shot", place_at(analysis, bar), id=f"x{n}", look="lift")
        for n, bar in enumerate(range(1, 436, 4), 1)
    ]
    return song.replaced(cues=cues)


def test_a_note_lasts_as_long_as_its_look_and_the_level_follows_the_hand():
    data = one(make_song("A8 B8 A8"), "midi", "mid", **AUTO)
    score = symusic.Score.from_midi(data, ttype="second")
    notes = {
        note.pitch: (round(note.time, 2), round(note.time + note.duration, 2)) for t in score.tracks for note in t.notes
    }
    # Home on side A from bar 1 until its fade-out of 3 s is over; fans on B from their recall to the end.
    assert notes == {1: (2.0, 62.5), 2: (17.0, 65.0)}
    values = {}
    for seconds, message in played(data, "control_change"):
        values.setdefault((message.channel, message.control), []).append((round(seconds, 2), message.value))
    assert values[1, 2] == [(22.0, 102)]  # 80 %, cut in
    assert values[0, 1][-1] == (pytest.approx(62.5, abs=0.03), 0)
    assert max(value for _, value in values[0, 1]) == 64  # 50 %


def test_cues_that_wait_for_a_person_are_words_alone():
    data = one(make_song("A8 B8 A8"), "midi", "mid")
    assert not played(data, "note_on", "note_off", "control_change", "program_change", "sysex")
    assert all(text.startswith("By hand ") for _, text in said(data, "cue_marker"))
    assert len(said(data, "cue_marker")) == 4
    assert any("By hand" in text for _, text in said(data, "text"))


def test_only_what_needs_no_person_plays_by_itself():
    song = make_song("A8 B8 A8")
    lamp = replace(song.cues[2], operator_confirms=False)
    data = one(song.replaced(cues=[song.cues[0], song.cues[1], lamp, song.cues[3]]), "midi", "mid")
    assert [message.note for _, message in played(data, "note_on")] == [2]
    assert [text[:9] for _, text in said(data, "cue_marker")] == ["By hand 1", "By hand 2", "3 cut-in:", "By hand 4"]


def test_a_map_says_which_notes_and_controllers():
    given_ = "[looks.home]\nnote = 60\n[sides.A]\nmidi_channel = 16\ncontroller = 7\n[midi]\none_shot_channel = 9"
    data = one(make_song("A8 B8 A8"), "midi", "mid", map=map_from_text(given_), **AUTO)
    # What the map leaves out counts from 1.
    assert {(m.channel, m.note) for _, m in played(data, "note_on")} == {(15, 60), (0, 1)}
    assert (15, 7) in {(m.channel, m.control) for _, m in played(data, "control_change")}


def test_a_series_plays_every_time_but_where_it_is_skipped():
    song = make_song("A8 B8")
    shot = make_cue(1, "one-shot", place_at(song.analysis, 9), look="lift", series=Series(2, 9, 15, (13,)))
    data = one(song.replaced(cues=[shot]), "midi", "mid", **AUTO)
    assert [round(seconds, 3) for seconds, _ in played(data, "note_on")] == [22, 27, 37]
    assert [text[:9] for _, text in said(data, "cue_marker")] == ["1 one-sho", "1 one-sho", "1 one-sho"]


def test_a_fade_that_lands_is_told_where_the_hand_starts():
    song = make_song("A8 B8")
    rise = replace(song.cues[2], kind="fade-in", anchor="lands-on", up_seconds=5.0)
    for options in ({}, AUTO):
        data = one(song.replaced(cues=[rise]), "midi", "mid", **options)
        assert [seconds for seconds, _ in said(data, "cue_marker")] == [17.0]
    levels = [(seconds, message.value) for seconds, message in played(data, "control_change")]
    assert levels[0][0] == pytest.approx(17.04, abs=0.05)
    assert levels[-1] == (pytest.approx(22.0, abs=0.05), 102)


def test_a_look_that_peaks_late_starts_early():
    song = make_song("A8 B8")
    shot = make_cue(1, "one-shot", place_at(song.analysis, 9), look="lift", anchor="lands-on")
    data = one(song.replaced(cues=[shot]), "midi", "mid", **AUTO)
    assert [round(seconds, 3) for seconds, _ in played(data, "note_on")] == [21.5]


def test_a_held_dark_takes_the_level_out_and_gives_it_back():
    song = make_song("A8 B8 A8", events=[("stop", 12, 3.0, 1.0)])
    held = make_cue(
        3.5, "cut-out", place_at(song.analysis, 12, 3.0), side="B", level=0, trigger="held", down_seconds=0.0
    )
    data = one(song.replaced(cues=[*song.cues, held]), "midi", "mid", **AUTO)
    on_b = [(round(s, 3), m.value) for s, m in played(data, "control_change") if m.control == 2]
    assert on_b == [(22.0, 102), (30.75, 0), (31.375, 102)]


def test_a_crossfade_takes_the_old_side_out_once_the_new_is_half_up():
    song = make_song("A8 B8")
    over = make_cue(
        2, "crossfade", place_at(song.analysis, 9), look="lift", side="B", level=100, up_seconds=4.0, down_seconds=2.0
    )
    data = one(song.replaced(cues=[song.cues[0], over]), "midi", "mid", **AUTO)
    on_a = [(s, m.value) for s, m in played(data, "control_change") if m.control == 1 and s > 20]
    assert on_a[0][0] == pytest.approx(24.02, abs=0.03)
    assert on_a[-1] == (pytest.approx(26.0, abs=0.01), 0)


def test_without_music_there_is_a_file_of_stretched_bars():
    data = one(make_song(""), "midi", "mid")
    assert said(data, "marker") == [(0, "Stretched bars: no bars")]
    assert mido.MidiFile(file=io.BytesIO(data)).length == pytest.approx(11.0, abs=0.01)


def test_the_eighths_of_a_bar_of_uneven_beats_are_even():
    song = in_sevens(bpm=171, ring_out=0.0)
    data = one(song, "midi", "mid")
    inside = [message.tempo for seconds, message in played(data, "set_tempo") if 2 <= seconds < 30]
    assert len(inside) > 20
    assert inside == pytest.approx([60e6 / 171] * len(inside), abs=150)  # times of beats are rounded to 0.1 ms


def test_where_the_count_of_a_program_parts_from_that_of_the_song_a_marker_says_so():
    paused = retimed(make_song("A8 B8 A8").analysis, pauses={13: 7.5})
    song = make_song(analysis=paused).replaced(cues=(), questions=())
    # 2 s before bar 1 are one bar, 7.5 s are three.
    assert said(one(song, "midi", "mid"), "marker") == [
        (0, "Stretched bars: before bar 1"),
        (2, "A1: bar 1 of the song, bar 2 here"),
        (22, "B1: bar 9 of the song, bar 10 here"),
        (32, "Stretched bars: pause"),
        (39.5, "From here on: bar 13 of the song, bar 17 here"),
        (49.5, "A2: bar 17 of the song, bar 21 here"),
        (69.5, "Stretched bars: after the last bar"),
    ]


def test_where_the_counts_are_the_same_a_marker_has_one():
    marks = said(one(make_song("A8 B8", start=0.0), "midi", "mid"), "marker")
    assert [text for _, text in marks if text[2] == ":"] == ["A1: bar 1", "B1: bar 9"]


def test_a_section_under_way_at_second_0_goes_on():
    data = one(make_song("A8 B8"), "midi", "mid", timing=Timing(offset=-26.0))
    assert (1, "B1 goes on: bar 11 of the song, bar 2 here") in said(data, "marker")
    assert "Bars 1 to 10 before second 0 of the show left out, and all of A1." in [t for _, t in said(data, "text")]


def test_an_offset_moves_everything_and_keeps_bar_one_on_a_bar_line():
    song = make_song("A8 B8 A8")
    for offset in (-15.0, -1.9, 0.3, 7.77, 3600.0):
        timing = Timing(offset=offset)
        bars = measures(song, timing)
        data = one(song, "midi", "mid", timing=timing)
        kept = [each.at for each in told(song, Options(timing=timing))]
        assert [seconds for seconds, _ in played(data, "cue_marker")] == pytest.approx(kept, abs=1e-3)
        firsts = [bar.start for bar in bars if bar.bar is not None]
        assert firsts[0] == pytest.approx(2.0 + offset if offset > -2 else firsts[0])
        assert bars[0].start == 0
    assert len(kept) == 4


def test_cues_before_the_start_are_left_out_and_the_file_says_so():
    data = one(make_song("A8 B8 A8"), "midi", "mid", timing=Timing(offset=-10.0))
    assert [text[8:11] for _, text in said(data, "cue_marker")] == ["2 r", "3 c", "4 f"]
    assert {text for _, text in said(data, "text")} >= {
        "1 cue before second 0 of the show left out: 1.",
        "Bars 1 to 4 before second 0 of the show left out.",
    }


@given(seeds)
@settings(max_examples=40, deadline=None)
def test_bars_fill_the_time_without_holes_and_bar_one_is_whole(seed):
    song = random_song(seed)
    bars = measures(song, Timing())
    assert bars[0].start == 0
    assert all(before.end == after.start for before, after in pairwise(bars))
    assert all(left < right for bar in bars for left, right in pairwise(bar.times))
    start = {bar.bar: bar.start for bar in bars if bar.bar is not None}
    assert start == pytest.approx({bar.number: bar.start for bar in song.analysis.bars}, abs=0.006)


@given(seeds)
@settings(max_examples=40, deadline=None)
def test_any_song_plays_in_time_and_every_note_ends(seed):
    song = random_song(seed)
    data = one(song, "midi", "mid")
    want = [each.at for each in told(song, Options())]
    assert [seconds for seconds, _ in played(data, "cue_marker")] == pytest.approx(want, abs=1e-3)
    sounding = Counter()
    for _, message in played(data, "note_on", "note_off"):
        key = (message.channel, message.note)
        sounding[key] += 1 if message.type == "note_on" else -1
        assert sounding[key] in (0, 1)
    assert not +sounding
    assert all(0 <= message.value <= 127 for _, message in played(data, "control_change"))
    allowed = {each.cue.id for each in told(song, Options()) if each.automatic}
    if not allowed:
        assert not played(data, "note_on", "control_change")
    score = symusic.Score.from_midi(data)
    assert all(note.duration > 0 for track in score.tracks for note in track.notes)


def test_music21_reads_meters_tempo_and_cue_points():
    song = make_song("A8 B8 A8", time_signature="7/8")
    file = music21_midi.MidiFile()
    file.readstr(one(song, "midi", "mid", **AUTO))
    events = [event for track in file.tracks for event in track.events if not event.isDeltaTime()]
    kinds = Counter(event.type for event in events)
    assert kinds[music21_midi.MetaEvents.CUE_POINT] == 4
    assert kinds[music21_midi.MetaEvents.SET_TEMPO] >= 1
    meters = [event.data for event in events if event.type == music21_midi.MetaEvents.TIME_SIGNATURE]
    assert bytes([7, 3, 24, 8]) in meters
    assert kinds[music21_midi.ChannelVoiceMessages.NOTE_ON] == 2


@pytest.mark.parametrize("text", HOSTILE.values(), ids=HOSTILE)
def test_any_text_is_ascii_in_the_file(text):
    data = one(hostile_song(text), "midi", "mid", **AUTO)
    for track in mido.MidiFile(file=io.BytesIO(data)).tracks:
        for message in track:
            words = getattr(message, "text", getattr(message, "name", ""))
            assert words.isascii()
            assert words.isprintable()


def test_the_same_song_gives_the_same_bytes():
    assert export(make_song(), "midi", Options()) == export(make_song(), "midi", Options())
