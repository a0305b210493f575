"""The chart: where lines break, where words stand, and that all who draw it draw the same."""

from __future__ import annotations

import io
import json
import re
from dataclasses import replace
from itertools import combinations, pairwise
from xml.etree import ElementTree

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image

from cuesuggest.analysis.types import Event
from cuesuggest.export import Options, export
from cuesuggest.export.chart import BARS_PER_LINE, SIGNS, as_json, lay_out, text_width
from cuesuggest.export.chart.short_words import fitted, plain
from cuesuggest.score.records import Place, Series
from tests.busy import HOSTILE, busy_song
from tests.reading import pages_of, sizes_of, text_of, written
from tests.songs import make_analysis, make_cue, make_song, place_at


def bars_of(chart):
    return [[bar.number for bar in line.bars] for line in chart.lines]


def said(chart, role):
    return [words.text for line in chart.lines for words in line.words if words.role == role]


# (form, bars that normally stand on a line, bars on each line)
BREAKS = [
    ("A8 B8", 8, [8, 8]),
    ("A4 B8", 8, [4, 8]),
    ("A16", 8, [8, 8]),
    ("A9 B8", 8, [9, 8]),
    ("A17", 8, [8, 9]),
    ("A12", 8, [8, 4]),
    ("A10", 8, [8, 2]),
    ("A8 B5", 4, [4, 4, 5]),
    ("A16 B8", 16, [8, 8, 8]),
]


@pytest.mark.parametrize(("form", "per_line", "lengths"), BREAKS)
def test_a_line_is_a_phrase_and_only_an_odd_bar_makes_it_longer(form, per_line, lengths):
    chart = lay_out(make_song(form, ring_out=0.0, cues=()), per_line)
    assert [len(line.bars) for line in chart.lines] == lengths


def test_sixteen_bars_a_line_are_two_phrases_side_by_side():
    chart = lay_out(make_song("A8 B8 A16", ring_out=0.0, cues=()), 16, 1400)
    assert [(line.x > 0, line.y) for line in chart.lines] == [
        (False, chart.lines[0].y),
        (True, chart.lines[0].y),
        (False, chart.lines[2].y),
        (True, chart.lines[2].y),
    ]
    assert chart.lines[2].y > chart.lines[0].y


def test_a_song_of_120_bars_fits_a_screen_of_1440_by_900_beside_the_pages_own_controls():
    form = "A8 B8 C8 B8 C8 D8 C8 E4 B8 C16 D8 C16 E12"
    song = make_song(form, bpm=100)
    assert sum(bar.number >= 1 for bar in song.analysis.bars) == 120
    cues = [make_cue(n, "one-shot", place_at(song.analysis, 4 * n), look="lift") for n in range(1, 29)]
    chart = lay_out(song.replaced(cues=cues), 16, 1400)
    assert chart.height <= 820
    assert chart.pages == 1


@pytest.mark.parametrize("per_line", BARS_PER_LINE)
@pytest.mark.parametrize("form", ["A8 B8 A'8 B9", "A3", "A1 B1 C1", "A24 B17"])
def test_every_bar_stands_once_and_time_never_runs_back(per_line, form):
    song = make_song(form, count_in=2, start=9.0)
    chart = lay_out(song, per_line)
    numbers = [number for line in bars_of(chart) for number in line if number is not None]
    assert numbers == [bar.number for bar in song.analysis.bars]
    edges = [edge for line in chart.lines for bar in line.bars for edge in (bar.start, bar.end)]
    assert edges == sorted(edges)
    for line in chart.lines:
        for left, right in pairwise(line.bars):
            assert left.x + left.width == pytest.approx(right.x, abs=0.02)
        assert line.bars[-1].x + line.bars[-1].width <= line.width + 0.05


@pytest.mark.parametrize("count", [7, 3, 12, 0])
def test_another_number_of_bars_is_refused(count):
    with pytest.raises(ValueError, match="choose one of"):
        lay_out(make_song(), count)


def test_the_margin_has_letter_pass_name_and_first_words_and_later_lines_the_letter_in_brackets():
    song = make_song("A16 B8")
    first = replace(song.analysis.sections[0], name="Verse", first_words="All the tin roofs are singing tonight")
    song = song.replaced(analysis=replace(song.analysis, sections=(first, *song.analysis.sections[1:])))
    chart = lay_out(song, 8)
    assert said(chart, "label") == ["A1", "B1"]
    assert said(chart, "again") == ["(A1)"]
    assert said(chart, "name")[:1] == ["Verse"]
    assert len(said(chart, "first-words")) == 2
    assert said(chart, "first-words")[0].startswith("“All the tin")


@pytest.mark.parametrize(("start", "music_start"), [(0.6, 0.0), (2.0, 2.0), (2.0, 5.0)])
def test_what_lies_outside_the_sections_is_called_by_where_it_lies(start, music_start):
    """Also where sound begins at once, and where the music is said to begin late."""
    heard = make_analysis("A8 B8", start=start, ring_out=0.0)
    over = heard.bars[-1].end
    talk = Event("talk", over, over + 9.0, None, None, 0.9)
    heard = replace(heard, music_start=music_start, duration=over + 10.0, events=(talk,))
    first, second = heard.sections

    def names(*sections):
        cue = make_cue(1, "recall", Place(0.0), look="home", side="A")
        return said(lay_out(make_song(analysis=replace(heard, sections=sections), cues=[cue]), 16, 1400), "name")

    assert names(first, second) == ["before"]  # what follows the last bar stands on its line
    assert names(first, replace(second, first_bar=10, start=heard.bars[9].start)) == ["before", "between"]
    assert names(first, replace(second, last_bar=15, end=heard.bars[14].end)) == ["before", "after"]


def drive_heights(song):
    """How high the line of the drive stands in the middle of each bar: 0 at the staff, 1 at its upper edge."""
    found = {}
    for line in lay_out(song, 8, 800.0).lines:
        height = line.staff_base - line.staff_top
        for bar in line.bars:
            middle = next((y for x, y in line.drive if abs(x - bar.x - bar.width / 2) < 0.02), None)
            found[bar.number] = None if middle is None else (line.staff_base - middle) / height
    return found


def test_the_line_over_the_bars_shows_drive_on_the_songs_own_range_though_the_recording_is_levelled():
    song = make_song("A8 B8 C8", drive={"A": 0.5, "B": 0.6, "C": 0.85}, ring_out=0.0, cues=())
    levelled = tuple(replace(bar, loudness_lufs=-8.0, envelope=(0.95,) * 4) for bar in song.analysis.bars)
    high = drive_heights(song.replaced(analysis=replace(song.analysis, bars=levelled)))
    assert high[4] < 0.2
    assert 0.3 < high[12] < 0.5
    assert high[20] > 0.8


def test_a_stop_does_not_spread_the_drives_scale_and_an_even_song_stays_even():
    song = make_song("A8 B8 C8", drive={"A": 0.5, "B": 0.6, "C": 0.85}, ring_out=0.0, cues=())
    stop = tuple(replace(bar, drive=0.0 if bar.number == 8 else bar.drive) for bar in song.analysis.bars)
    usual, stopped = drive_heights(song), drive_heights(song.replaced(analysis=replace(song.analysis, bars=stop)))
    assert {**stopped, 8: None} == {**usual, 8: None}
    assert stopped[8] == min(usual.values())
    even = drive_heights(make_song("A8 B8", drive={"A": 0.7, "B": 0.72}, ring_out=0.0, cues=()))
    assert max(even.values()) - min(even.values()) < 0.1


def test_where_there_are_no_bars_the_line_of_the_drive_lies_on_the_staff():
    (line,) = lay_out(make_song("A4", cues=()), 8).lines  # what rings out stands behind its last bar
    free = line.bars[-1]
    assert free.number is None
    assert {y for x, y in line.drive if x > free.x} == {line.staff_base}
    assert {y for x, y in line.drive if x < free.x} != {line.staff_base}


def test_uncertain_bars_are_dashed():
    song = make_song("A8 B8")
    bars = tuple(replace(bar, confidence=0.1 if 3 <= bar.number <= 4 else 0.9) for bar in song.analysis.bars)
    chart = lay_out(song.replaced(analysis=replace(song.analysis, bars=bars)), 8)
    assert [bar.number for line in chart.lines for bar in line.bars if bar.dashed and bar.number] == [3, 4]


def light(song):
    """Hairpins, sustained lines and rests as (line, from bar, to bar), counted from 0 in the line."""
    chart = lay_out(song, 8, 96 + 8 * 60)  # 60 units a bar

    def in_bars(line, x):
        return round((x - line.staff_x) / 60, 2)

    pins = [(n, in_bars(line, p.x), in_bars(line, p.to_x)) for n, line in enumerate(chart.lines) for p in line.hairpins]
    stays = [
        (n, in_bars(line, s.x), in_bars(line, s.to_x), s.weight)
        for n, line in enumerate(chart.lines)
        for s in line.sustains
    ]
    rests = [
        (n, in_bars(line, m.x) - 0.5) for n, line in enumerate(chart.lines) for m in line.marks if m.kind == "rest"
    ]
    return chart, pins, stays, rests


def test_light_grows_stays_and_fades_where_the_cues_say():
    song = make_song("A8", bpm=60, ring_out=0.0)
    song = song.replaced(
        cues=[
            make_cue(
                1, "fade-in", place_at(song.analysis, 3), look="lift", side="A", level=60, up_beats=4.0, up_seconds=4.0
            ),
            make_cue(2, "fade-out", place_at(song.analysis, 6), look="lift", side="A", down_seconds=8.0, level=0),
        ]
    )
    chart, pins, stays, rests = light(song)
    assert pins == [(0, 2.0, 3.0), (0, 5.0, 7.0)]
    assert [(p.from_open, p.to_open) for p in chart.lines[0].hairpins] == [(0.0, 1.0), (1.0, 0.0)]
    # The line begins behind the f.
    assert stays == [(0, pytest.approx(3.17, abs=0.03), 5.0, 2)]
    assert rests == [(0, 0.0), (0, 1.0), (0, 7.0)]
    assert said(chart, "dynamic") == ["f"]


def test_a_fade_that_lands_on_its_place_begins_before_it():
    song = make_song("A8", bpm=60, ring_out=0.0)
    place = place_at(song.analysis, 5)
    cue = make_cue(1, "fade-in", place, look="home", side="A", anchor="lands-on", up_seconds=8.0, level=60)
    chart, pins, _, _ = light(song.replaced(cues=[cue]))
    assert pins == [(0, 2.0, 4.0)]
    (words,) = [words for words in chart.lines[0].words if words.cue]
    assert words.x == chart.lines[0].bars[2].x


def test_words_stand_on_the_line_where_the_hand_begins():
    song = make_song("A8 B8", bpm=60, ring_out=0.0)
    cue = make_cue(1, "ramp", place_at(song.analysis, 9), side="A", anchor="lands-on", up_seconds=8.0, level=60)
    chart, *_ = light(song.replaced(cues=[cue]))
    assert [[words.cue for words in line.words if words.cue] for line in chart.lines] == [["ramp/1"], []]


def test_the_category_stands_where_a_look_comes_in_and_in_brackets_where_a_line_begins_inside_it():
    song = make_song("A16 B16", bpm=60, ring_out=0.0)
    song = song.replaced(
        cues=[
            make_cue(1, "fade-in", place_at(song.analysis, 3), look="home", side="A", level=60, up_seconds=4.0),
            make_cue(2, "crossfade", place_at(song.analysis, 17), look="lift", side="B", level=60, up_seconds=4.0),
            make_cue(3, "cut-out", place_at(song.analysis, 24), side="B"),
        ]
    )
    chart, *_ = light(song)
    marks = [[words.text for words in line.words if words.role == "dynamic"] for line in chart.lines]
    assert marks == [["p"], ["(p)"], ["f"], []]


def test_a_hairpin_over_the_end_of_a_line_goes_on_as_far_open():
    song = make_song("A8 B8", bpm=60, ring_out=0.0)
    cue = make_cue(1, "fade-in", place_at(song.analysis, 8), look="home", side="A", up_seconds=8.0, level=60)
    chart, pins, _, _ = light(song.replaced(cues=[cue]))
    assert pins == [(0, 7.0, 8.0), (1, 0.0, 1.0)]
    opens = [(p.from_open, p.to_open) for line in chart.lines for p in line.hairpins]
    assert opens == [(0.0, 0.5), (0.5, 1.0)]


def test_a_held_dark_leaves_its_side_lit_and_a_rejected_cue_leaves_no_trace():
    song = make_song("A8", bpm=60, ring_out=0.0)
    held = make_cue(2, "cut-out", place_at(song.analysis, 4), side="A", trigger="held")
    song = song.replaced(
        cues=[
            make_cue(1, "cut-in", place_at(song.analysis, 1), look="lift", side="A", level=60),
            held,
            make_cue(3, "cut-out", place_at(song.analysis, 6), side="A", status="rejected"),
        ]
    )
    chart, _, stays, _ = light(song)
    # The line opens where a sign stands.
    assert stays == [(0, 0.1, 2.9, 2), (0, 3.1, 8.0, 2)]
    assert [mark.kind for mark in chart.lines[0].marks] == ["cut-in", "held"]
    assert len(said(chart, "action")) == 2


def categories_of(song):
    """Categories as (bar, text): the bar in whose first half they stand, or in front of which."""
    chart, *_ = light(song)
    found = []
    for line in chart.lines:
        for words in line.words:
            if words.role == "dynamic":
                found.append((min(line.bars, key=lambda bar: abs(bar.x - words.x)).number, words.text))
    return found


@pytest.mark.parametrize(
    ("kind", "anchor", "beats", "bar", "stands"),
    [
        ("fade-in", "starts-on", 12.0, 3, 6),
        ("crossfade", "starts-on", 8.0, 3, 5),
        ("fade-in", "lands-on", 12.0, 5, 5),
        ("fade-in", "starts-on", 24.0, 5, 11),  # on the next line
        ("fade-in", "starts-on", 16.0, 5, 9),  # there as the next line begins
        ("fade-in", "starts-on", 2.0, 3, 3),  # short: one sign, with the category in front of it
    ],
)
def test_the_category_stands_at_the_end_of_a_long_rise_from_dark(kind, anchor, beats, bar, stands):
    song = make_song("A8 B8", bpm=60, ring_out=0.0)
    at = place_at(song.analysis, bar)
    rise = make_cue(1, kind, at, look="lift", side="A", level=60, up_beats=beats, up_seconds=beats)
    found = categories_of(song.replaced(cues=[replace(rise, anchor=anchor)]))
    # Where light still rises from dark as a line begins, nothing goes on.
    assert found[:1] == [(stands, "f")]


def test_a_rise_that_something_else_cuts_short_has_its_category_where_it_begins():
    song = make_song("A8", bpm=60, ring_out=0.0)
    song = song.replaced(
        cues=[
            make_cue(1, "fade-in", place_at(song.analysis, 2), look="home", side="A", level=60, up_seconds=16.0),
            make_cue(2, "cut-in", place_at(song.analysis, 4), look="lift", side="B", level=60, down_seconds=1.0),
        ]
    )
    assert categories_of(song) == [(2, "p"), (4, "f")]


def test_light_that_begins_with_a_line_does_not_go_on_from_the_line_before():
    song = make_song("A8 B8", bpm=60, ring_out=0.0)
    song = song.replaced(
        cues=[
            make_cue(1, "cut-in", place_at(song.analysis, 1), look="home", side="A", level=60),
            make_cue(2, "fade-out", place_at(song.analysis, 8), side="A", down_seconds=4.0, level=0),
            make_cue(3, "fade-in", place_at(song.analysis, 9), look="lift", side="B", level=60, up_seconds=8.0),
        ]
    )
    assert categories_of(song) == [(1, "p"), (11, "f")]


def test_a_sign_that_stands_on_a_fade_parts_it():
    song = make_song("A8", bpm=60, ring_out=0.0)
    song = song.replaced(
        cues=[
            make_cue(1, "fade-in", place_at(song.analysis, 1), look="home", side="A", level=60, up_seconds=16.0),
            make_cue(2, "recall", place_at(song.analysis, 3), look="lift", side="B"),
        ]
    )
    chart, pins, *_ = light(song)
    assert pins == [(0, 0.0, 1.9), (0, 2.1, 4.0)]
    opens = [(p.from_open, p.to_open) for p in chart.lines[0].hairpins]
    assert opens == [(0.0, pytest.approx(0.475)), (pytest.approx(0.525), 1.0)]


def read_down(song, width=420.0):
    """Numbers of the cues from the upper row of words to the lower."""
    (line,) = lay_out(song, 4, width).lines[:1]
    words = [each for each in line.words if each.cue]
    return [each.text.split()[0] for each in sorted(words, key=lambda each: (each.y, each.x))]


@pytest.mark.parametrize("beats", [(1.0, 1.0), (1.0, 3.0), (2.0, 2.03), (2.03, 2.0), (1.0, 4.5)])
def test_actions_in_one_bar_stand_in_the_order_in_which_they_are_read(beats):
    """Those that the hand cannot tell apart by their numbers."""
    song = make_song("A8", ring_out=0.0)
    one, other = (place_at(song.analysis, 2, beat) for beat in beats)
    cues = [make_cue(1, "cut-in", one, look="lift", side="A", level=60), make_cue(2, "one-shot", other)]
    assert read_down(song.replaced(cues=cues)) == ["1", "2"]


def test_a_cue_that_lands_where_another_starts_is_read_in_the_bar_in_which_the_hand_begins_it():
    song = make_song("A8", ring_out=0.0)
    third = place_at(song.analysis, 3)
    early = make_cue(1, "cut-in", place_at(song.analysis, 2), look="home", side="A", level=40)
    landing = make_cue(2, "ramp", third, side="A", level=60, anchor="lands-on", up_beats=2.0, up_seconds=1.25)
    starting = make_cue(3, "cut-in", third, look="lift", side="B", level=60)
    order = read_down(song.replaced(cues=[starting, landing, early]))
    assert order.index("1") < order.index("2")


@pytest.mark.parametrize(
    ("signature", "about"), [("4/4", "96 beats a minute"), ("6/8", "96 beats (dotted quarters) a minute")]
)
def test_the_head_says_what_is_counted_where_it_is_no_plain_beat(signature, about):
    song = make_song("A8 B8", time_signature=signature)
    chart, *_ = light(song)
    assert any(each.text.startswith(about) for each in chart.header)


def test_a_series_is_an_accent_on_each_of_its_bars_and_words_at_the_first():
    song = make_song("A8 B8", ring_out=0.0)
    cue = make_cue(1, "one-shot", place_at(song.analysis, 9), look="lift", series=Series(2, 9, 15, (13,)))
    chart, *_ = light(song.replaced(cues=[cue]))
    assert [mark.kind for mark in chart.lines[1].marks].count("accent") == 3
    assert said(chart, "action") == ["1 Wide fans every 2 bars, 3 times"]


@given(st.text(max_size=60), st.floats(20, 400))
def test_fitted_text_fits_and_is_the_beginning(text, room):
    short = fitted(text, 11.0, room)
    assert text_width(short, 11.0) <= room or short == "…"
    assert plain(text) == short or plain(text).startswith(short.removesuffix("…"))


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 10**6), st.integers(0, 45), st.sampled_from(BARS_PER_LINE), st.sampled_from([None, *HOSTILE]))
def test_words_neither_overlap_nor_leave_their_line_nor_get_small(seed, count, per_line, kind):
    song = busy_song(count, seed, text=None if kind is None else HOSTILE[kind])
    chart = lay_out(song, per_line, {16: 1400.0, 8: 800.0, 4: 460.0}[per_line])
    standing = {cue.id for cue in song.cues}
    assert sorted(w.cue for line in chart.lines for w in line.words if w.cue) == sorted(standing)
    for line in chart.lines:
        actions = [words for words in line.words if words.role in ("action", "call")]
        spans = [(words.y, words.x, words.x + text_width(words.text, words.size)) for words in actions]
        assert all(a[0] != b[0] or a[2] <= b[1] or b[2] <= a[1] for a, b in combinations(spans, 2))
        assert all(words.size >= 11 for words in line.words)
        assert all(start >= 0 and end <= line.width + 1 for _, start, end in spans)
        assert all(words.y + 3 <= line.height for words in line.words)
        # Leaders pass the words that they are not for.
        for x, top, bottom in line.leaders:
            crossed = [s for s in spans if top < s[0] - 4 < bottom and s[1] < x < s[2]]
            assert crossed == []
        for pin in line.hairpins:
            assert line.staff_x - 0.01 <= pin.x <= pin.to_x <= line.staff_to_x + 0.01
            assert 0 <= min(pin.from_open, pin.to_open) <= max(pin.from_open, pin.to_open) <= 1
    # Lines stand beside or below each other, and staffs side by side at one height.
    for one, other in combinations(chart.lines, 2):
        beside = one.x + one.width <= other.x or other.x + other.width <= one.x
        assert beside or one.y + one.height <= other.y + 0.02
    columns = 2 if per_line == 16 else 1
    rows = [chart.lines[k : k + columns] for k in range(0, len(chart.lines), columns)]
    assert all(len({line.y + line.staff_top for line in row}) == 1 for row in rows)


KINDS = ("count-in", "build", "drop", "breakdown", "fill", "stop", "hit", "tag", "ritardando", "ring-out")


@st.composite
def eventful_songs(draw):
    """Songs in which much is heard, in bars as in pauses, with cues and without."""
    song = busy_song(draw(st.integers(0, 30)), draw(st.integers(0, 10**6)))
    count = len(song.analysis.bars)
    told = draw(st.lists(st.tuples(st.sampled_from(KINDS), st.integers(1, count)), max_size=14))
    bars = {bar.number: bar for bar in song.analysis.bars}
    events = [Event(kind, bars[bar].start, bars[bar].end, bar, 1.0, 0.9) for kind, bar in told]
    kept = tuple(sorted((*song.analysis.events, *events), key=lambda event: event.start))
    named = draw(st.sampled_from(["", "Verse", "The long way home again"]))
    sections = tuple(
        replace(each, name=named, first_words=draw(st.sampled_from(["", "All the tin roofs are singing tonight"])))
        for each in song.analysis.sections
    )
    return song.replaced(analysis=replace(song.analysis, events=kept, sections=sections))


def box(words):
    wide = text_width(words.text, words.size, bold=words.bold)
    left = words.x - wide if words.anchor == "end" else words.x
    return left, words.y - 0.72 * words.size, left + wide, words.y + 0.15 * words.size


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 10**6), st.integers(2, 45), st.sampled_from([(4, 308.0), (8, 680.0), (16, 1076.0), (4, 900.0)]))
def test_the_words_of_a_bar_stand_in_the_order_of_the_hand(seed, count, room):
    song = busy_song(count, seed)
    place = {cue.id: (cue.place.bar, cue.number) for cue in song.cues}
    for line in lay_out(song, *room).lines:
        words = sorted((each for each in line.words if each.cue), key=lambda each: place[each.cue])
        for one, other in pairwise(words):
            if place[one.cue][0] == place[other.cue][0]:
                assert (one.y, one.x) < (other.y, other.x)


# As on a window of 390, 820, 1280 and 1440 px, and on a sheet with large and with small print.
ROOMS = [(4, 308.0), (8, 680.0), (16, 1076.0), (16, 1220.0), (16, 774.0), (16, 896.0)]


@settings(max_examples=40, deadline=None)
@given(eventful_songs(), st.sampled_from(ROOMS))
def test_all_that_is_heard_is_told_over_its_bar_and_no_words_run_into_each_other(song, room):
    chart = lay_out(song, *room)
    for line in chart.lines:
        numbers = {bar.number for bar in line.bars if bar.number is not None}
        heard = [event for event in song.analysis.events if event.bar in numbers]
        told = [kind for words in line.words if words.role == "heard" for kind in words.text.split(", ")]
        for number in numbers:
            for kind in {event.kind for event in heard if event.bar == number}:
                assert kind in told
        assert len([kind for kind in told if kind in KINDS]) >= len({(event.kind, event.bar) for event in heard})
        boxes = [(words.text, box(words)) for words in line.words]
        for (one, p), (other, q) in combinations(boxes, 2):
            clear = p[2] <= q[0] or q[2] <= p[0] or p[3] <= q[1] or q[3] <= p[1]
            assert clear, (one, p, other, q)
        # A category stands free of signs and strokes.
        for words in line.words:
            if words.role == "dynamic":
                left, _, right, _ = box(words)
                signs = [mark.x for mark in line.marks if mark.kind != "rest"]
                assert all(x + 5 <= left + 0.01 or right <= x - 5 + 0.01 for x in signs)
                stays = [each for each in line.sustains if each.x < right and left < each.to_x]
                assert stays == []


def test_pages_of_a_given_height_hold_their_lines():
    chart = lay_out(busy_song(40, 2, form="A16 B16 A16 B16 C16 B16 A16 B16"), 8, 800, 500)
    assert chart.pages > 2
    assert {line.page for line in chart.lines} == set(range(1, chart.pages + 1))
    assert all(line.y + line.height <= 500 for line in chart.lines)
    assert all(item.y <= 500 for item in chart.legend)


def test_the_geometry_goes_to_the_browser_as_plain_json():
    chart = lay_out(make_song())
    data = json.loads(json.dumps(as_json(chart), allow_nan=False))
    assert (data["format"], data["version"]) == ("cuesuggest-chart", 1)
    assert set(data["signs"]) == set(SIGNS)
    assert [len(line["bars"]) for line in data["lines"]] == [len(line.bars) for line in chart.lines]


def test_a_recording_without_music_is_a_title_and_a_sentence():
    chart = lay_out(make_song(""))
    assert chart.lines == ()
    assert [words.text for words in chart.header][1].startswith("no music found")


# Explained.


def explained(chart):
    return {item.shown or item.sign for item in chart.legend}


def test_only_signs_that_stand_on_the_chart_are_explained():
    song = make_song("A8", ring_out=0.0)
    bare = lay_out(song.replaced(cues=()), 8)
    assert explained(bare) == {"drive", "rest"}
    cut = make_cue(1, "cut-in", place_at(song.analysis, 1), look="lift", side="A", level=60)
    assert explained(lay_out(song.replaced(cues=[cut]), 8)) == {"drive", "sustain", "f", "cut-in"}
    held = make_cue(2, "cut-out", place_at(song.analysis, 4), side="A", trigger="held")
    fade = make_cue(3, "fade-out", place_at(song.analysis, 6), side="A", down_beats=8.0, down_seconds=5.0)
    after = explained(lay_out(song.replaced(cues=[cut, held, fade]), 8))
    assert after == {"drive", "sustain", "f", "cut-in", "held", "hairpin", "rest"}


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 10**6), st.integers(0, 40))
def test_every_sign_is_explained_once_and_none_that_is_not_there(seed, count):
    chart = lay_out(busy_song(count, seed), 8, 800.0)
    used = {mark.kind for line in chart.lines for mark in line.marks}
    used |= {words.text.strip("()") for line in chart.lines for words in line.words if words.role == "dynamic"}
    shown = [item.shown or item.sign for item in chart.legend]
    assert len(shown) == len(set(shown))
    assert {each for each in shown if each in {*SIGNS, "p", "f", "ff"}} == used
    assert ("hairpin" in shown) == any(line.hairpins for line in chart.lines)


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 10**6), st.integers(1, 40))
def test_the_key_explains_short_words_that_stand_on_the_chart(seed, count):
    chart = lay_out(busy_song(count, seed), 8, 800.0)
    actions = said(chart, "action")
    shorts = [each.short.text.removesuffix(":") for each in chart.key]
    assert len(shorts) == len(set(shorts))
    assert [short for short in shorts if not any(short in text for text in actions)] == []
    # What has a form of its own is in the key.
    for form in (" up to ", " over to ", " in at ", " down", "hold dark", " set "):
        assert any(form in text for text in actions) == any(form.strip() in short for short in shorts), form


def test_the_key_says_in_words_what_a_short_form_asks():
    song = make_song("A8 B8", ring_out=0.0)
    cues = [
        make_cue(1, "fade-in", place_at(song.analysis, 1), look="home", side="A", level=65, up_beats=4.0),
        make_cue(2, "ramp", place_at(song.analysis, 9), side="A", level=40, down_seconds=2.5),
    ]
    chart = lay_out(song.replaced(cues=cues), 8)
    assert [(each.short.text, each.meaning.text) for each in chart.key] == [
        ("1 A:", "cue 1 of the list, on side A"),
        ("up to 65 in 4 beats:", "the fader goes up to 65 % over 4 beats"),
        ("to 40 in 2.5 s:", "the light stays, its fader goes to 40 % over 2.5 s"),
    ]


def test_the_key_stands_where_a_page_has_room_and_takes_no_page_of_its_own():
    song = busy_song(20, 3, form="A8 B8 A8")
    free = lay_out(song, 16, 900.0)
    assert free.key
    roomy, tight = (lay_out(song, 16, 900.0, free.height + more) for more in (0.5, -0.5))
    assert (roomy.pages, len(roomy.key)) == (1, len(free.key))
    assert (tight.pages, tight.key) == (1, ())


# Drawn.


@pytest.mark.parametrize("kind", HOSTILE)
def test_the_picture_is_well_formed_whatever_the_words(kind):
    song = busy_song(6, 1, text=HOSTILE[kind])
    root = ElementTree.fromstring(export(song, "chart.svg")[".chart.svg"])
    assert {element.tag.rpartition("}")[2] for element in root.iter()} == {
        "svg",
        "title",
        "desc",
        "rect",
        "path",
        "text",
    }
    shown = [element.text or "" for element in root.iter("{http://www.w3.org/2000/svg}text")]
    assert any("in at" in text or "up to" in text or "over to" in text for text in shown)


def test_the_picture_has_one_ink():
    svg = export(busy_song(30, 4), "chart.svg")[".chart.svg"].decode()
    assert set(re.findall(r'(?:fill|stroke)="([^"]+)"', svg)) == {"#000", "#fff", "none"}


def test_paper_and_picture_say_the_same_words():
    song = busy_song(20, 5)
    root = ElementTree.fromstring(export(song, "chart.svg")[".chart.svg"])
    drawn = {(element.text or "").strip() for element in root.iter("{http://www.w3.org/2000/svg}text")}
    printed = text_of(export(song, "chart.pdf")[".chart.pdf"])
    actions = {text for text in drawn if re.match(r"\d+ ", text)}
    assert len(actions) >= 20
    assert [text for text in actions if text not in printed] == []


def test_the_picture_made_of_points_is_grey_and_not_empty():
    png = export(make_song("A8 B8 A8"), "chart.png")[".chart.png"]
    with Image.open(io.BytesIO(png)) as picture:
        assert picture.mode == "L"
        assert picture.width > 1500
        darkest, lightest = picture.getextrema()
        assert (darkest, lightest) == (0, 255)


def test_a_long_song_goes_over_pages_and_says_so():
    song = busy_song(60, 7, form="A16 B16 " * 10)
    pages = pages_of(export(song, "chart.pdf")[".chart.pdf"])
    assert len(pages) >= 2
    for number, page in enumerate(pages, 1):
        assert f"page {number}/{len(pages)}" in page
    assert "one-shot" in pages[-1]  # the legend


@pytest.mark.parametrize("paper", ["a4", "letter"])
@pytest.mark.parametrize("sections", [3, 9, 10, 11, 12, 13, 14, 15, 16, 40])
def test_nothing_on_a_printed_chart_is_smaller_than_nine_and_a_half_points(paper, sections):
    """From one sheet to several; those at the edge between them are tempted to print smaller."""
    song = busy_song(12, 7, form=("A8 B8 " * 20)[: 3 * sections])
    printed = export(song, "chart.pdf", Options(paper=paper))[".chart.pdf"]
    for page in range(len(pages_of(printed))):
        # The foot of every sheet is no part of the chart.
        small = [text for text, size in written(printed, page) if size < 9.49 and size not in (6.5, 8.0)]
        assert small == []


def test_a_picture_at_its_own_size_has_type_of_nine_and_a_half_points():
    root = ElementTree.fromstring(export(busy_song(12, 7), "chart.svg")[".chart.svg"])
    scale = float(root.get("width")) / float(root.get("viewBox").split()[2])
    sizes = [float(each.get("font-size")) for each in root.iter("{http://www.w3.org/2000/svg}text")]
    assert min(sizes) * scale >= 9.5 * 96 / 72


@pytest.mark.parametrize(("paper", "size"), [("a4", (841.89, 595.28)), ("letter", (792, 612))])
def test_the_chart_is_printed_in_landscape(paper, size):
    (page,) = sizes_of(export(make_song(), "chart.pdf", Options(paper=paper))[".chart.pdf"])
    assert page == pytest.approx(size, abs=0.1)


@pytest.mark.parametrize(("down", "dark"), [(4.0, 4.5), (8.0, 5.5)])
def test_the_side_that_a_crossfade_takes_out_fades_until_it_is_dark(down, dark):
    """With two hands the old side starts out when the new one is half up."""
    song = make_song("A8", bpm=60, ring_out=0.0)
    song = song.replaced(
        cues=[
            make_cue(1, "cut-in", place_at(song.analysis, 1), look="home", side="A", level=60),
            make_cue(
                2, "crossfade", place_at(song.analysis, 4), look="lift", side="B", level=60, up_seconds=4.0,
                down_seconds=down,
            ),
        ]
    )  # fmt: skip
    chart, pins, stays, _ = light(song)
    assert pins == [(0, 3.0, 4.0), (0, 3.5, dark)]
    assert [(p.from_open, p.to_open) for p in chart.lines[0].hairpins] == [(0.0, 1.0), (1.0, 0.0)]
    assert stays[-1] == (0, dark, 8.0, 2)


def test_a_time_signature_stands_where_it_is_new_and_nowhere_else():
    song = make_song("A8 B8", ring_out=0.0, cues=())
    bars = tuple(replace(bar, time_signature="3/4" if bar.number in (5, 6, 7) else "4/4") for bar in song.analysis.bars)
    chart = lay_out(song.replaced(analysis=replace(song.analysis, bars=bars)), 8)
    at = {bar.number: (line.y, bar.x) for line in chart.lines for bar in line.bars}
    meters = [(words.text, line.y, words.x) for line in chart.lines for words in line.words if words.role == "meter"]
    assert [text for text, _, _ in meters] == ["4/4", "3/4", "4/4"]
    for (_, y, x), number in zip(meters, (1, 5, 8), strict=True):
        assert y == at[number][0]
        assert at[number][1] < x < at[number][1] + 40


def test_a_leader_goes_down_from_the_light_to_the_words_without_a_gap():
    """Cues so close that their words stand below each other."""
    song = make_song("A8", bpm=60, ring_out=0.0)
    places = [place_at(song.analysis, bar, 4.0) for bar in (2, 3, 4, 5)]
    cues = [make_cue(k, "one-shot", place, look="lift") for k, place in enumerate(places, 1)]
    (line,) = lay_out(song.replaced(cues=cues), 8, 400.0).lines
    marks = {mark.x for mark in line.marks if mark.cue}
    assert line.leaders
    for x in {x for x, _, _ in line.leaders}:
        assert any(x == pytest.approx(mark, abs=0.02) for mark in marks)
        parts = sorted((top, bottom) for at, top, bottom in line.leaders if at == x)
        assert parts[0][0] > line.light_y
        assert all(top < bottom for top, bottom in parts)
        assert all(one[1] == pytest.approx(other[0]) for one, other in pairwise(parts))
