"""What the user states about tempo and bars is obeyed, whatever was heard."""

from dataclasses import replace

import numpy as np
import pytest
import soundfile
from hypothesis import given, settings
from hypothesis import strategies as st

from cuesuggest.analysis.listen import analyze_spectrum
from cuesuggest.analysis.rhythm import Known, find_rhythm
from cuesuggest.analysis.rhythm.evidence import observe
from cuesuggest.analysis.rhythm.meters import SignatureError
from cuesuggest.analysis.rhythm.network import heads_of
from cuesuggest.analysis.rhythm.stated_rhythm import Stated
from cuesuggest.analysis.spectrum import hear
from cuesuggest.sound.recording import open_recording
from tests.sounds import RATE, beats_at, drum_loop, play

BEAT = 60 / 112.0
BEATS = beats_at(np.full(127, 112.0))
BARS = BEATS[::4]
MEANT = 0.0701  # s; 70 ms and what rounding adds


seen = {}
"""What the network makes of a recording does not change with what is stated: each is observed once."""


def analyzed(spectrum, known=None):
    if id(spectrum) not in seen:
        seen[id(spectrum)] = (spectrum, heads_of(spectrum))
    return analyze_spectrum(*seen[id(spectrum)], known=known)


@pytest.fixture(scope="module")
def drums(tmp_path_factory):
    """Thirty-two bars of drums at 112 BPM, with twelve seconds of silence after them."""
    return hear(open_recording(drum_loop(tmp_path_factory.mktemp("drums") / "a.wav", BEATS, tail=12.0).path))


@pytest.fixture(scope="module")
def heard(drums):
    return analyzed(drums)


@pytest.fixture(scope="module")
def silence(tmp_path_factory):
    path = tmp_path_factory.mktemp("silence") / "a.wav"
    soundfile.write(path, np.random.default_rng(1).standard_normal(20 * RATE) * 1e-5, RATE)
    return hear(open_recording(path))


def lines(analysis):
    return np.array([bar.start for bar in analysis.bars])


def distance(times, wanted):
    """Of each wanted time to the nearest one, in seconds."""
    return np.abs(np.asarray(times)[None] - np.asarray(wanted, float)[:, None]).min(axis=1)


def test_without_statements_nothing_changes(drums, heard):
    assert analyzed(drums, known=Known()) == heard
    assert distance(lines(heard), BARS).max() < 0.01


KNOWN = {
    "a downbeat": Known(downbeats=(float(BEATS[37]),)),
    "downbeats": Known(downbeats=tuple(BEATS[2:120:4].tolist())),
    "a tempo": Known(tempi=((56.0, 0.0, 82.0),)),
    "a tempo for a part": Known(tempi=((56.0, 20.0, 40.0),)),
    "a signature": Known(signatures=(("3/4", 0.0),)),
    "signatures": Known(signatures=(("4/4", 0.0), ("3/4", float(BEATS[36])), ("5/4", float(BEATS[60])))),
    "bar 1": Known(bar_one=float(BEATS[16])),
    "all kinds": Known(
        downbeats=(float(BEATS[37]),),
        tempi=((112.0, 0.0, 82.0),),
        signatures=(("4/4", 0.0),),
        bar_one=float(BEATS[17]),
    ),
}


@pytest.mark.parametrize("name", KNOWN)
def test_the_same_statements_give_the_same_analysis_however_often_they_are_made(drums, name):
    known = KNOWN[name]
    twice = replace(known, downbeats=known.downbeats * 2, tempi=known.tempi * 2, signatures=known.signatures * 2)
    assert analyzed(drums, known=twice) == analyzed(drums, known=known)


def test_stating_what_is_heard_changes_no_beat(drums, heard):
    known = Known(
        downbeats=heard.downbeats,
        tempi=((heard.tempo_bpm, 0.0, heard.duration),),
        signatures=((heard.time_signature, 0.0),),
        bar_one=heard.bars[0].start,
    )
    again = analyzed(drums, known=known)
    assert np.array(again.beats) == pytest.approx(np.array(heard.beats), abs=0.003)
    assert [bar.number for bar in again.bars] == [bar.number for bar in heard.bars]


@pytest.mark.parametrize("shift", [1, 2, 3])
@pytest.mark.parametrize("bar", [1, 14, 30])
def test_one_stated_downbeat_turns_all_bars_that_were_heard_alike(drums, shift, bar):
    found = analyzed(drums, known=Known(downbeats=(float(BEATS[4 * bar + shift]),)))
    wanted = BEATS[4 + shift : -4 : 4]
    assert distance(lines(found), wanted).max() < 0.01
    assert {each.beats for each in found.bars[1:]} == {4}
    assert np.array(found.beats) == pytest.approx(BEATS[: len(found.beats)], abs=0.01)


def test_a_song_heard_two_beats_off_comes_back(drums):
    evidence = observe(drums)
    step = round(2 * BEAT * 50)
    misled = replace(evidence, downbeat=np.roll(evidence.downbeat, step))
    off = find_rhythm(drums, misled)
    assert distance(off.times[off.grid.slots == 0], BEATS[6:110:4]).max() < 0.02
    put_right = find_rhythm(drums, misled, Known(downbeats=(float(BARS[20]),)))
    assert distance(put_right.times[put_right.grid.slots == 0], BARS[1:]).max() < 0.02


def test_a_downbeat_between_two_beats_moves_the_beat_itself(drums):
    found = analyzed(drums, known=Known(downbeats=(float(BEATS[36] + BEAT / 2),)))
    assert distance(found.beats, BEATS[2:-2] + BEAT / 2).max() < 0.03
    assert distance(lines(found), BARS[2:-2] + BEAT / 2).max() < 0.03


def test_what_is_stated_later_does_not_turn_the_bars_before_what_was_stated_earlier(drums):
    found = analyzed(drums, known=Known(downbeats=(float(BEATS[20]), float(BEATS[70]))))
    assert distance(lines(found), BEATS[4:68:4]).max() < 0.01
    assert distance(lines(found), BEATS[70:124:4]).max() < 0.01


def test_bars_are_turned_only_as_far_as_nothing_speaks_for_the_others(tmp_path):
    """An extra half bar that was not heard: a bar line stated after it must not turn the bars before it."""
    opens = [*range(0, 40, 4), 40, *range(42, 122, 4)]
    spectrum = hear(open_recording(drum_loop(tmp_path / "a.wav", BEATS[:122], opens=opens).path))
    found = analyzed(spectrum, known=Known(downbeats=(float(BEATS[90]),)))
    assert distance(lines(found), BEATS[opens][3:9]).max() < 0.02
    assert distance(lines(found), BEATS[opens][13:-1]).max() < 0.02


@settings(max_examples=8, deadline=None)
@given(
    taps=st.lists(st.integers(2, 28), min_size=1, max_size=6, unique=True),
    shift=st.integers(0, 3),
    off=st.floats(-0.05, 0.05),
)
def test_every_tap_is_a_downbeat(drums, taps, shift, off):
    times = [float(BEATS[4 * bar + shift] + off) for bar in sorted(taps)]
    found = analyzed(drums, known=Known(downbeats=tuple(times)))
    assert distance(found.downbeats, times).max() <= MEANT
    assert distance(lines(found), times).max() <= MEANT
    assert (np.diff(found.beats) > 0.2).all()


@settings(max_examples=8, deadline=None)
@given(st.lists(st.floats(1.0, 78.0), min_size=1, max_size=4))
def test_taps_anywhere_are_obeyed_unless_they_are_closer_than_two_beats(drums, taps):
    apart = [tap for k, tap in enumerate(sorted(taps)) if k == 0 or tap - sorted(taps)[k - 1] > 2.5 * BEAT]
    found = analyzed(drums, known=Known(downbeats=tuple(apart)))
    assert distance(found.downbeats, apart).max() <= MEANT


def test_no_false_start_takes_a_stated_bar_away(drums):
    """What lies between these taps looks like one: some bars, a break, and the same music again."""
    taps = (1.0, 16.72)
    found = analyzed(drums, known=Known(downbeats=taps))
    assert distance(found.downbeats, taps).max() <= MEANT
    assert not [event for event in found.events if event.kind == "false-start"]
    assert found.bars[0].start == pytest.approx(taps[0], abs=MEANT)


def test_a_tap_beside_an_attack_means_the_attack_and_in_silence_means_itself(drums):
    taps = (float(BARS[10] + 0.045), 75.0)
    found = analyzed(drums, known=Known(downbeats=taps))
    assert distance(found.downbeats, [BARS[10]]).max() < 0.01
    assert distance(found.downbeats, [75.0]).max() < 0.025


def test_bar_1_may_be_stated_where_the_last_bars_before_it_broke_off(drums):
    taps = (64.811, 80.534)
    found = analyzed(drums, known=Known(downbeats=taps, bar_one=taps[1]))
    assert [bar.number for bar in found.bars if bar.start > 80] == [1]
    assert "fill" not in {event.kind for event in found.events}


def test_bars_are_filled_where_they_are_stated_and_nothing_was_heard(drums, heard):
    assert heard.beats[-1] < 70
    found = analyzed(drums, known=Known(downbeats=(74.0, 76.1)))
    after = [beat for beat in found.beats if beat > 73.9]
    assert len([beat for beat in after if beat < 76.0]) == 4
    assert len([beat for beat in after if beat > 76.0]) == 4


@pytest.mark.parametrize("taps", [(5.0, 7.0, 9.0), (0.0,), (19.9,), (5.0, 5.1)])
def test_even_in_a_silent_recording_stated_bars_are_there(silence, taps):
    found = analyzed(silence, known=Known(downbeats=taps))
    assert distance(found.downbeats, taps).max() <= (MEANT if len(taps) != 2 else 0.15)
    assert found.bars
    if len(taps) == 3:
        assert found.tempo_bpm == pytest.approx(120.0, rel=0.03)
        assert [bar.beats for bar in found.bars] == [4, 4, 4]


def test_statements_outside_the_recording_or_about_bars_that_are_not_there_change_nothing(silence):
    for known in (Known(downbeats=(50.0,)), Known(signatures=(("3/4", 0.0),)), Known(tempi=((90.0, 30.0, 40.0),))):
        assert analyzed(silence, known=known) == analyzed(silence)


@pytest.mark.parametrize("bpm", [56.0, 224.0, 112.0])
def test_a_stated_tempo_is_the_songs(drums, bpm):
    found = analyzed(drums, known=Known(tempi=((bpm, 0.0, 82.0),)))
    assert found.tempo_bpm == pytest.approx(bpm, abs=0.2)
    assert {bar.beats for bar in found.bars} == {4}


def test_a_tempo_stated_for_a_part_holds_there_and_only_there(drums):
    found = analyzed(drums, known=Known(tempi=((56.0, 20.0, 40.0),)))
    beats = np.array(found.beats)
    steps, middles = np.diff(beats), (beats[1:] + beats[:-1]) / 2
    assert steps[(middles > 22) & (middles < 38)] == pytest.approx(2 * BEAT, rel=0.02)
    assert steps[(middles < 18) | ((middles > 42) & (middles < 66))] == pytest.approx(BEAT, rel=0.02)
    assert not [event for event in found.events if event.kind == "pause"], "the beat goes on"


def test_a_tempo_a_little_off_is_followed_as_it_is_played(drums):
    found = analyzed(drums, known=Known(tempi=((116.0, 0.0, 82.0),)))
    assert found.tempo_bpm == pytest.approx(112.0, abs=0.1)


def test_a_tempo_stated_where_nothing_was_heard_is_played(silence):
    found = analyzed(silence, known=Known(tempi=((90.0, 2.0, 10.0),)))
    assert 9 <= len(found.beats) <= 13
    assert found.tempo_bpm == pytest.approx(90.0, rel=0.1)


# signature -> beats in a bar
SIGNATURES = {
    "2/4": 2,
    "3/4": 3,
    "4/4": 4,
    "5/4": 5,
    "6/4": 6,
    "7/4": 7,
    "6/8": 2,
    "9/8": 3,
    "12/8": 4,
    "7/8": 3,
    "5/8": 2,
}


@pytest.mark.parametrize("value", SIGNATURES)
def test_a_stated_signature_is_the_songs(drums, value):
    found = analyzed(drums, known=Known(signatures=((value, 0.0),)))
    assert (found.time_signature, found.meter) == (value, SIGNATURES[value])
    assert {bar.time_signature for bar in found.bars} == {value}


def test_signatures_hold_from_their_times_on(drums):
    known = KNOWN["signatures"]
    found = analyzed(drums, known=known)
    for bar in found.bars:
        wanted = [value for value, start in known.signatures if start <= bar.start + 0.08][-1]
        assert (bar.time_signature, bar.beats) == (wanted, int(wanted[0]))
    assert not [event for event in found.events if event.kind == "pause"], "the beat goes on"


def test_a_signature_stated_in_the_middle_of_a_bar_waits_for_its_end(drums):
    found = analyzed(drums, known=Known(signatures=(("3/4", float(BEATS[38])),)))
    assert [bar.beats for bar in found.bars[:10]] == [4] * 10
    assert {bar.time_signature for bar in found.bars[10:]} == {"3/4"}


def test_what_is_no_signature_is_refused_in_words(drums):
    with pytest.raises(SignatureError, match="'4' is no time signature"):
        find_rhythm(drums, known=Known(signatures=(("4", 0.0),)))


@pytest.mark.parametrize("beat", [0, 16, 17, 64])
def test_bar_1_starts_where_it_is_stated(drums, heard, beat):
    found = analyzed(drums, known=Known(bar_one=float(BEATS[beat])))
    first = next(bar for bar in found.bars if bar.number == 1)
    assert first.start == pytest.approx(BEATS[beat], abs=0.01)
    numbers = [bar.number for bar in found.bars]
    assert numbers == list(range(numbers[0], numbers[0] + len(numbers)))
    assert numbers[0] == 1 - (beat + 3) // 4
    assert found.music_start == pytest.approx(first.start, abs=BEAT + 0.05)
    assert found.sections[0].first_bar == 1


def test_a_count_in_is_still_told_before_a_stated_bar_1(tmp_path):
    played = play(tmp_path / "a.wav", "A8 B8", bpm=112.0, count_in=True)
    spectrum = hear(open_recording(played.path))
    plain = analyzed(spectrum)
    stated = analyzed(spectrum, known=Known(bar_one=float(played.downbeats[0])))
    (told,), (before,) = ([event for event in found.events if event.kind == "count-in"] for found in (stated, plain))
    assert (told.start, told.end) == pytest.approx((before.start, before.end), abs=0.005)
    assert min(told.confidence, before.confidence) > 0.8
    assert [(bar.number, bar.start) for bar in stated.bars] == [(bar.number, bar.start) for bar in plain.bars]
    later = analyzed(spectrum, known=Known(bar_one=float(played.downbeats[2])))
    assert not [event for event in later.events if event.kind == "count-in"]
    assert next(bar.start for bar in later.bars if bar.number == 1) == pytest.approx(played.downbeats[2], abs=0.01)


def test_readings_not_chosen_are_told_with_their_margins(heard):
    kinds = {other.kind: other for other in heard.alternatives}
    assert {"half", "double", "shift 1", "shift 2", "shift 3"} <= set(kinds)
    for shift in ("shift 1", "shift 2", "shift 3"):
        assert kinds[shift].tempo_bpm == heard.tempo_bpm
        assert kinds[shift].margin > 0.5
    assert kinds["half"].tempo_bpm == pytest.approx(heard.tempo_bpm / 2)


def test_a_shift_is_the_likelier_the_less_speaks_for_the_bars(drums):
    evidence = observe(drums)
    doubtful = find_rhythm(drums, replace(evidence, downbeat=0.2 * evidence.downbeat))
    sure = find_rhythm(drums, evidence)
    assert all(a < b for a, b in zip(doubtful.shifts, sure.shifts, strict=True))


def stated(**facts):
    """Ten seconds from the start of a file, in frames of a fiftieth."""
    return Stated(Known(**facts), 0.0, 500)


def test_bar_lines_up_to_half_a_frame_outside_the_recording_are_in_it():
    assert stated(downbeats=(-0.02, -0.01, 4.0, 9.99, 10.0)).bar_lines.tolist() == [-0.5, 200.0, 499.5]


def test_a_tempo_is_the_songs_where_it_holds_for_most_of_it():
    assert stated(tempi=((120.0, 0.0, 8.0),)).tempo == 120.0
    assert stated(tempi=((120.0, 0.0, 7.9),)).tempo is None
    assert stated(tempi=((120.0, 0.0, 4.0), (90.0, 4.0, 9.0))).tempo == 90.0


def test_tempi_outside_the_recording_are_cut_off():
    inside = stated(tempi=((100.0, -3.0, -1.0), (120.0, -1.0, 2.0), (90.0, 9.0, 12.0), (80.0, 10.0, 12.0))).tempi
    assert inside == ((120.0, 0, 100), (90.0, 450, 500))
