"""The cue list as CSV, against RFC 4180 spelled out in bytes, and the guard against formulas."""

from __future__ import annotations

import csv
import io
import re
import subprocess
import sys
from dataclasses import replace
from decimal import ROUND_HALF_UP, Decimal
from pathlib import Path

import pandas
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from timecode import Timecode

from cuesuggest.errors import CuesuggestError
from cuesuggest.export import FORMATS, Options
from cuesuggest.export import export as export_all
from cuesuggest.export.common.timing import RATES, Timing
from cuesuggest.export.data.csv_table import COLUMNS
from cuesuggest.score.records import Place, Series
from cuesuggest.song import SetCue, SetSection, apply
from tests.busy import busy_song
from tests.exported import random_song, seeds
from tests.songs import make_cue, make_song, place_at

ROOT = Path(__file__).parent.parent


def export(song, name="csv", options=None):
    return export_all(song, name, options)[".cues.csv"]


def one_cue(**fields):
    """A song with one cue on the downbeat of B, and that cue's fields."""
    song = make_song("A8 B8")
    cue = make_cue(1, "cut-in", place_at(song.analysis, 9), look="lift", side="B", level=80)
    return song.replaced(cues=[replace(cue, **fields)])


def rows(song, options=None):
    text = export(song, "csv", options).decode("utf-8")
    return list(csv.DictReader(io.StringIO(text, newline=""), strict=True))


def noted(text):
    """The bytes of the note's field, which stands before the id, the last."""
    raw = export(one_cue(note=text, id="X"), "csv")
    return raw.partition(b"\r\n")[2].partition(b",suggested,no,")[2].removesuffix(b",X\r\n")


def test_the_table_of_a_song_reads_as_the_operator_plays_it():
    song = apply(make_song("A8 B8 A8"), SetSection("s2", {"name": "Chorus", "first_words": "All the tin"}))
    names = ("number", "section", "pass", "bar in section", "of bars", "bar", "time", "kind", "look")
    assert [tuple(row[name] for name in names) for row in rows(song)] == [
        ("1", "A", "1", "1", "8", "1", "0:02.0", "fade-in", "Slow drift"),
        ("2", "A", "1", "7", "8", "7", "0:17.0", "recall", "Wide fans"),
        ("3", "B", "1", "1", "8", "9", "0:22.0", "cut-in", "Wide fans"),
        ("4", "A", "2", "8", "8", "24", "0:59.5", "fade-out", ""),
    ]
    third = rows(song)[2]
    assert (third["section name"], third["first words"]) == ("Chorus", "All the tin")
    assert (third["category"], third["side"], third["level %"], third["standby"]) == ("lift", "B", "80", "1")


def test_the_whole_file_of_one_cue_is_these_bytes():
    song = one_cue(
        number=12.5,
        series=Series(2, 9, 15, (13,)),
        up_seconds=0.3,
        reasons=('The band says "go".', "It is loud."),
        note="x",
    )
    assert export(song, "csv") == (
        b"number,section,pass,section name,first words,bar in section,of bars,bar,beat,lands at,time,seconds,"
        b"timecode,fps,bars since the last cue,seconds since the last cue,standby,kind,trigger,anchor,look,category,"
        b"side,level %,up (beats),up (s),down (beats),down (s),every (bars),first bar,last bar,not in bars,who,"
        b"hand,why,cautions,operator confirms,confidence,status,locked,note,id\r\n"
        b"12.5000,B,1,,,1,8,9,1.0000,,0:22.0,22.0000,01:00:22:00,25,,,,cut-in,hand,starts-on,"
        b"Wide fans,lift,B,80,,0.3000,,,2,9,15,13,"
        b'operator,"Side B: fader to 80 % in one move on the 1, its motion restarted with it",'
        b'"The band says ""go"". It is loud.",,yes,0.8000,suggested,no,x,cut-in/1\r\n'
    )


# RFC 4180, section 2, rules 5 to 7: (text, its field).
FIELDS = {
    "plain": ("go", b"go"),
    "spaces are data": (" go ", b" go "),
    "comma": ("go, now", b'"go, now"'),
    "quotes are doubled": ('He said "go", now', b'"He said ""go"", now"'),
    "line break": ("two\r\nlines", b'"two\r\nlines"'),
    "line feed alone": ("two\nlines", b'"two\nlines"'),
    "not ASCII": ("Łódź", "Łódź".encode()),
}


@pytest.mark.parametrize(("text", "field"), FIELDS.values(), ids=FIELDS)
def test_fields_are_quoted_as_rfc_4180_has_it(text, field):
    assert noted(text) == field


def test_every_record_ends_with_cr_lf_and_has_as_many_fields_as_the_header():
    raw = export(make_song("A8 B8 A8"), "csv")
    assert raw.endswith(b"\r\n")
    assert raw.count(b"\r") == raw.count(b"\n") == raw.count(b"\r\n") == 5
    assert not raw.startswith(b"\xef\xbb\xbf")
    assert {len(record) for record in csv.reader(io.StringIO(raw.decode(), newline=""))} == {len(COLUMNS)}


# Formula injection (OWASP; CWE-1236): (text, what the cell holds).
GUARDED = {
    "=1+1": "'=1+1",
    "-Verse": "'-Verse",
    "+1": "'+1",
    "@home": "'@home",
    "\tx": "'\tx",
    "\rx": "'\rx",
    "\0x": "'\0x",
    "＝1+1": "'＝1+1",
    "a;=1": "a;'=1",
    "a\n=1": "a\n'=1",
    "Verse": "Verse",
    "1=1": "1=1",
    "it's -3 dB; a bit": "it's -3 dB; a bit",
    "": "",
}


@pytest.mark.parametrize(("text", "cell"), GUARDED.items())
def test_no_text_starts_a_formula(text, cell):
    song = apply(one_cue(note=text, side=text), SetSection("s2", {"name": text}))
    (row,) = rows(song)
    assert [row[name] for name in ("note", "side", "section name")] == [cell] * 3


@given(st.text(st.characters(exclude_categories=["Cs"]), max_size=20))
def test_any_note_reads_back_but_for_the_guard(text):
    (row,) = rows(one_cue(note=text))
    assert row["note"][:1] not in {"=", "+", "-", "@", "\t", "\r", "\0"}
    if not any(mark in text for mark in ";\t\r\n"):
        guarded = row["note"] != text
        assert (row["note"].removeprefix("'") if guarded else row["note"]) == text


@pytest.mark.parametrize(
    ("number", "cell"),
    [(12.0, "12"), (12.5, "12.5000"), (0.1 + 0.2, "0.3000"), (1234.56789, "1234.5679"), (1e6, "1000000")],
)
def test_numbers_are_bare_and_plain(number, cell):
    (row,) = rows(one_cue(number=number))
    assert row["number"] == cell


@given(seeds)
@settings(max_examples=15, deadline=None)
def test_no_number_looks_like_thousands_where_the_comma_is_the_decimal_sign(seed):
    texts = {"section name", "first words", "not in bars", "who", "hand", "why", "cautions", "note", "id"}
    for row in rows(random_song(seed)):
        assert not [cell for name, cell in row.items() if name not in texts and re.search(r"\d\.\d{3}(?!\d)", cell)]


def test_with_semicolons_another_reader_finds_commas_in_every_number_and_no_other_difference():
    song = busy_song(12, 4)
    raw = export_all(song, "csv-semicolon")[".semicolon.csv"]
    assert raw.startswith(b"\xef\xbb\xbfnumber;section;")
    read = pandas.read_csv(io.BytesIO(raw), sep=";", decimal=",", encoding="utf-8-sig")
    plain = pandas.read_csv(io.BytesIO(export_all(song, "csv")[".cues.csv"]))
    numbers = plain.select_dtypes("number").columns
    assert set(numbers) >= {"number", "beat", "seconds", "up (s)", "confidence", "bars since the last cue"}
    pandas.testing.assert_frame_equal(read[numbers], plain[numbers])
    pandas.testing.assert_series_equal(read["hand"], plain["hand"])
    assert list(read["time"]) == [each.replace(".", ",") for each in plain["time"]]


def test_what_we_write_ourselves_needs_no_guard_even_before_second_0():
    song = make_song("A8")
    (row, *_) = rows(song, Options(timing=Timing(offset=-7.0, rate=RATES["24"], start="00:00:00:00")))
    assert (row["time"], row["seconds"]) == ("-0:05.0", "-5.0000")
    assert (row["timecode"], row["fps"]) == ("23:59:55:00", "24")


@pytest.mark.parametrize("rate", ["24", "25", "29.97df", "30"])
def test_the_timecode_of_a_cue_is_what_another_library_counts(rate):
    song = make_song("A200 B8", bpm=97.3)
    options = Options(timing=Timing(12.3411, RATES[rate], "01:00:00:00"))
    for row in rows(song, options):
        counted = Timecode(rate.removesuffix("df"), "01:00:00;00" if rate.endswith("df") else "01:00:00:00")
        frames = Decimal(row["seconds"]) * Decimal(RATES[rate].exact.numerator) / RATES[rate].exact.denominator
        counted += int(frames.to_integral_value(ROUND_HALF_UP))
        assert (row["timecode"], row["fps"]) == (str(counted), rate)


def test_a_negative_number_is_a_number_and_not_guarded():
    song = make_song("A8", count_in=2, start=12.0)
    song = song.replaced(cues=[make_cue(1, "recall", place_at(song.analysis, -1))])
    (row,) = rows(song)
    assert (row["bar"], row["section"], row["bar in section"]) == ("-1", "", "")


def test_a_call_in_the_talk_before_the_song_has_a_time_and_no_bar():
    song = make_song("A8 B8")
    call = make_cue(9, "call", Place(1.3), who="house light", operator_confirms=False, reasons=())
    before, after = rows(song.replaced(cues=[call, *song.cues]))[:2]
    assert (before["time"], before["seconds"], before["who"]) == ("0:01.3", "1.3000", "house light")
    empty = ("section", "pass", "bar in section", "of bars", "bar", "beat", "look", "category", "level %", "why")
    assert {before[name] for name in empty} == {""}
    assert before["operator confirms"] == "no"
    # No bars to count from the talk to bar 1, but seconds.
    assert (after["bars since the last cue"], after["seconds since the last cue"]) == ("", "0.7000")


def test_bars_and_seconds_are_counted_from_the_cue_before():
    song = make_song("A8 B8 A8")
    between = make_cue(2.5, "one-shot", place_at(song.analysis, 8, 3.0))
    together = make_cue(3.5, "one-shot", place_at(song.analysis, 9))
    counted = rows(song.replaced(cues=[*song.cues, between, together]))
    assert [(row["number"], row["bars since the last cue"]) for row in counted] == [
        ("1", ""),
        ("2", "6.0000"),
        ("2.5000", "1.5000"),
        ("3", "0.5000"),
        ("3.5000", "0.0000"),
        ("4", "15.0000"),
    ]
    assert [row["seconds since the last cue"] for row in counted] == [
        "", "15.0000", "3.7500", "1.2500", "0.0000", "37.5000",
    ]  # fmt: skip


def test_rejected_cues_are_left_out_and_not_counted_from():
    song = apply(make_song("A8 B8 A8"), SetCue("recall/2", {"status": "rejected"}))
    left = rows(song)
    assert [row["number"] for row in left] == ["1", "3", "4"]
    assert left[1]["bars since the last cue"] == "8.0000"


def test_a_song_without_cues_is_a_header():
    assert export(make_song(""), "csv") == ",".join(COLUMNS).encode() + b"\r\n"


def test_an_unknown_format_is_refused_with_the_known_ones():
    with pytest.raises(CuesuggestError, match=r"no format 'xls' to export to\. Choose one of these: .*\bcsv\b"):
        export(make_song(), "xls")


@pytest.mark.parametrize("name", FORMATS)
def test_every_format_says_what_it_is_for_and_what_it_loses(name):
    found = FORMATS[name]
    assert found.name == name
    assert found.files
    assert all(ending.startswith(".") for ending in found.files)
    for text in (found.purpose, found.standard, found.loses):
        assert text.strip() == text != ""
        assert "\n" not in text


def test_the_registry_costs_nothing_to_look_into():
    heavy = "{'numpy', 'scipy', 'pydantic', 'soundfile', 'av'}"
    code = f"import sys, cuesuggest.export; print(sorted({heavy} & set(sys.modules)))"
    child = subprocess.run(
        [sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, timeout=60, check=True
    )
    assert child.stdout.strip() == "[]"
