"""From seconds to the time of the show: frames, labels and offsets against published values and an outside library."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st
from timecode import Timecode

from cuesuggest.errors import CuesuggestError
from cuesuggest.export import Options, export
from cuesuggest.export.common.timing import RATES, Timing, before_start, cues_in_time, landmark_offset
from cuesuggest.export.common.told import told
from cuesuggest.score.records import Series, clock
from tests.exported import in_sevens
from tests.songs import make_cue, make_song, place_at
from tests.test_export_midi import played

DROP = RATES["29.97df"]

# Drop-frame counting (SMPTE ST 12-1), around the minute, the tenth minute, the hour and midnight.
COUNTS = {
    0: "00:00:00;00",
    1799: "00:00:59;29",
    1800: "00:01:00;02",
    1801: "00:01:00;03",
    3597: "00:01:59;29",
    3598: "00:02:00;02",
    17981: "00:09:59;29",
    17982: "00:10:00;00",
    19781: "00:10:59;29",
    19782: "00:11:00;02",
    107891: "00:59:59;29",
    107892: "01:00:00;00",
    2589407: "23:59:59;29",
    2589408: "00:00:00;00",
}


@pytest.mark.parametrize(("count", "label"), COUNTS.items())
def test_drop_frame_leaves_out_two_labels_a_minute_but_not_in_the_tenth(count, label):
    assert DROP.label(count) == label
    assert DROP.parse(label) == count % DROP.per_day


@pytest.mark.parametrize(("rate", "name"), [("24", "24"), ("25", "25"), ("29.97df", "29.97"), ("30", "30")])
@given(share=st.floats(0, 1, exclude_max=True))
def test_labels_agree_with_an_outside_library_all_day(rate, name, share):
    frame = int(share * RATES[rate].per_day)
    # It counts frames from 1.
    assert RATES[rate].label(frame) == str(Timecode(name, frames=frame + 1))


@pytest.mark.parametrize("rate", RATES.values(), ids=RATES)
@given(share=st.floats(0, 1, exclude_max=True))
def test_label_and_count_undo_each_other(rate, share):
    frame = int(share * rate.per_day)
    assert rate.parse(rate.label(frame)) == frame


# (seconds, nearest frame, its label) at 29.97.
WALL_CLOCK = [
    (1, 30, "00:00:01;00"),
    (10, 300, "00:00:10;00"),
    (60, 1798, "00:00:59;28"),
    (61, 1828, "00:01:01;00"),
    (600, 17982, "00:10:00;00"),
    (3600, 107892, "01:00:00;00"),
]


@pytest.mark.parametrize(("seconds", "frame", "label"), WALL_CLOCK)
def test_seconds_go_to_the_nearest_frame(seconds, frame, label):
    assert (DROP.frames(seconds), DROP.label(frame)) == (frame, label)


def test_frames_lie_where_the_rate_puts_them():
    assert {name: rate.frames(12.345) for name, rate in RATES.items()} == {
        "24": 296, "25": 309, "29.97df": 370, "29.97": 370, "30": 370,
    }  # fmt: skip
    assert DROP.seconds(DROP.parse("01:00:00;00")) == pytest.approx(3599.9964)
    assert RATES["29.97"].seconds(RATES["29.97"].parse("01:00:00:00")) == pytest.approx(3603.6)


@pytest.mark.parametrize(
    ("rate", "label", "says"),
    [
        ("25", "01:00:00", "no timecode"),
        ("25", "eleven", "no timecode"),
        ("25", "01:00:00:25", "frame 24"),
        ("25", "24:00:00:00", "23:59:59"),
        ("29.97df", "00:01:00;00", "00:01:00;02"),
        ("29.97df", "01:59:00;01", "leaves out"),
    ],
)
def test_a_label_that_there_is_not_is_refused_in_words(rate, label, says):
    with pytest.raises(CuesuggestError, match=says):
        RATES[rate].parse(label)


def test_offset_and_start_move_the_label_by_frames_not_by_text():
    timing = Timing(offset=1.5, rate=RATES["25"], start="01:00:00:00")
    assert timing.label(0.5) == "01:00:02:00"
    assert Timing(rate=DROP, start="00:00:59;28").label(0.1) == "00:01:00;03"


LANDMARKS = {
    "B1 bar 1 = 0:43.2": 43.2 - 22.0,
    "b1, bar 2 beat 3 = 43.2": 43.2 - 22.0 - 2.5 - 1.25,
    "bar 9 = 0:22": 0.0,
    "A2 bar 8=1:00:00": 3600 - 59.5,
    "bar 1 = 1.75": -0.25,
}


def test_an_offset_is_told_to_a_tenth_of_a_millisecond():
    assert str(Timing(12345.6789)) == "times 12345.6789 s later than in the recording"
    assert str(Timing(-61.75)) == "times 61.75 s earlier than in the recording"


@pytest.mark.parametrize(("landmark", "offset"), LANDMARKS.items())
def test_one_landmark_sets_the_offset(landmark, offset):
    assert landmark_offset(make_song("A8 B8 A8"), landmark) == pytest.approx(offset)


@pytest.mark.parametrize(
    ("landmark", "says"),
    [
        ("C1 bar 1 = 3", "sections are: A1 B1 A2"),
        ("B1 bar 9 = 3", "bars 1 to 8"),
        ("bar 99 = 3", "bars 1 to 24"),
        ("bar 1 beat 5 = 3", "beats 1 to 4"),
        ("bar one = 3", "no landmark"),
        ("B1 bar 1", "no landmark"),
    ],
)
def test_a_landmark_that_there_is_not_is_refused_in_words(landmark, says):
    with pytest.raises(CuesuggestError, match=says):
        landmark_offset(make_song("A8 B8 A8"), landmark)


def test_cues_before_the_start_are_told_apart():
    inside, before = cues_in_time(make_song("A8 B8 A8"), Timing(offset=-10.0))
    assert ([cue.number for cue in inside], [cue.number for cue in before]) == ([2, 3, 4], [1])


SHOT = {"look": "lift", "side": None}
AFTER = {
    "nothing": ([], {2}),
    "it comes in": ([("cut-in", {})], {2}),
    "it comes in and goes": ([("cut-in", {}), ("fade-out", {})], set()),
    "everything goes": ([("cut-in", {}), ("cut-out", {"side": None, "look": None})], set()),
    "a dark is held": ([("cut-in", {}), ("cut-out", {"side": None, "look": None, "trigger": "held"})], {2}),
    "another side takes over": ([("cut-in", {}), ("crossfade", {"side": "A", "look": "home"})], set()),
    "another look is set up": ([("recall", {"look": "home"})], {3}),
    "a one-shot": ([("one-shot", SHOT)], {2}),
}


@pytest.mark.parametrize(("later", "told_at_start"), AFTER.values(), ids=AFTER)
def test_a_look_that_is_still_set_up_at_second_0_is_told_there(later, told_at_start):
    song = make_song("A8 B8 A8")
    fields = {"look": "lift", "side": "B"}
    cues = [make_cue(2, "recall", place_at(song.analysis, 2), **fields)]
    cues += [
        make_cue(number, kind, place_at(song.analysis, number), **(fields | other))
        for number, (kind, other) in enumerate(later, 3)
    ]
    song, timing = song.replaced(cues=cues, questions=()), Timing(offset=-30.0)
    inside, before = cues_in_time(song, timing)
    assert {cue.number for cue in inside} == told_at_start
    assert len(inside) + len(before) == len(cues)
    assert [each.at for each in told(song, Options(timing=timing))] == [0.0] * len(inside)


def test_many_cues_before_second_0_are_named_as_runs():
    song = make_song("A8 B8")
    bars = {1: 1, 2: 2, 2.5: 3, 3: 4, 5: 12, 6: 6, 7: 7, 9: 8}
    cues = [make_cue(number, "call", place_at(song.analysis, bar)) for number, bar in bars.items()]
    said = before_start(song.replaced(cues=cues, questions=()), Timing(offset=-22.1))
    assert said == ("7 cues before second 0 of the show left out: 1 to 3, 6 to 9.",)


def test_of_a_series_that_begins_before_second_0_the_later_presses_are_told_and_played():
    song = make_song("A8 B8")
    shot = make_cue(1, "one-shot", place_at(song.analysis, 9), look="lift", series=Series(2, 9, 15))
    song = song.replaced(cues=[shot], questions=())
    options = Options(timing=Timing(offset=-24.0))
    assert [each.at for each in told(song, options)] == [3.0, 8.0, 13.0]
    assert before_start(song, options.timing) == ("1 cue told from second 0 of the show on only: 1.",)
    data = export(song.replaced(cues=[replace(shot, operator_confirms=False)]), "midi", options)[".mid"]
    assert [round(seconds, 3) for seconds, _ in played(data, "note_on")] == [3.0, 8.0, 13.0]


def test_a_landmark_on_a_beat_is_where_the_beat_was_heard():
    seven = in_sevens("A8", bpm=120, start=2.0)
    # Two eighths of a quarter of a second each to a beat.
    assert landmark_offset(seven, "bar 2 beat 2 = 0") == pytest.approx(-(2 + 1.75 + 0.5))


@pytest.mark.parametrize(
    ("seconds", "text"),
    [
        (-1.0, "-0:01.0"),
        (-61.26, "-1:01.3"),
        (-0.04, "0:00.0"),
        (0.0, "0:00.0"),
        (59.96, "1:00.0"),
        (-86_400, "-1440:00.0"),
    ],
)
def test_a_moment_before_the_start_has_a_minus(seconds, text):
    assert clock(seconds) == text
