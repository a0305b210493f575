"""Drums whose tempo does what tempi do: constant, wandering, jumping, slowing down, stopping and starting again."""

import mir_eval
import numpy as np
import pytest

from cuesuggest import analyze
from tests.sounds import beats_at, drum_loop


def wandering(beats=160, most=0.06):
    """Tempi that wander by up to 6 % around 120 BPM."""
    rng, off, tempi = np.random.default_rng(5), 0.0, []
    for step in rng.normal(0, 0.012, beats):
        off = float(np.clip(0.97 * off + step, -most, most))
        tempi.append(120 * np.exp(off))
    return np.array(tempi)


def after_a_gap(bpm, before, seconds, after):
    """Beats of two stretches; from the last beat of the first to the next are so many seconds more than a beat."""
    first = beats_at(np.full(before - 1, bpm))
    return np.concatenate([first, beats_at(np.full(after - 1, bpm), first[-1] + 60 / bpm + seconds)])


# name -> beats, beats to the bar, least F of beats and of downbeats
CASES = {
    "constant 120": (beats_at(np.full(159, 120.0)), 4, 0.99, 0.99),
    "constant 122.7": (beats_at(np.full(159, 122.7)), 4, 0.99, 0.99),
    "constant 93": (beats_at(np.full(159, 93.0)), 4, 0.99, 0.99),
    "constant 66": (beats_at(np.full(119, 66.0)), 4, 0.99, 0.99),
    "a random walk of 6 %": (beats_at(wandering()), 4, 0.98, 0.98),
    "a jump from 126 to 97": (beats_at(np.r_[np.full(80, 126.0), np.full(79, 97.0)]), 4, 0.97, 0.97),
    "a jump from 120 to 143": (beats_at(np.r_[np.full(80, 120.0), np.full(79, 143.0)]), 4, 0.98, 0.97),
    "a ramp from 100 to 115": (beats_at(np.linspace(100, 115, 159)), 4, 0.99, 0.99),
    "a pause of 2.3 s": (after_a_gap(112.0, 80, 2.3, 80), 4, 0.98, 0.97),
    "a waltz": (beats_at(np.full(158, 132.0)), 3, 0.99, 0.99),
    "a drift of 15 % to each side": (beats_at(120 * np.linspace(0.85, 1.15, 199)), 4, 0.98, 0.98),
    "a ritardando at the end": (beats_at(np.r_[np.full(140, 110.0), np.linspace(108, 80, 11)]), 4, 0.98, 0.96),
    "a false start": (after_a_gap(104.0, 12, 6.4, 120), 4, 0.98, 0.95),
}


@pytest.mark.parametrize("name", CASES)
def test_the_beat_is_followed_through(tmp_path, name):
    beats, bar, least, least_down = CASES[name]
    played = drum_loop(tmp_path / "drums.wav", beats, bar=bar)
    found = analyze(played.path)
    assert mir_eval.beat.f_measure(beats, np.array(found.beats)) >= least
    assert mir_eval.beat.f_measure(played.downbeats, np.array(found.downbeats)) >= least_down
    assert next(b.start for b in found.bars if b.number == 1) == pytest.approx(played.downbeats[0], abs=0.03)


def test_a_jump_of_tempo_shows_in_the_map_where_it_happens(tmp_path):
    beats, bar, _, _ = CASES["a jump from 120 to 143"]
    found = analyze(drum_loop(tmp_path / "drums.wav", beats, bar=bar).path)
    assert [knot.bpm for knot in found.tempo_map] == pytest.approx([120.0, 143.0], abs=0.3)
    assert found.tempo_map[1].time == pytest.approx(beats[80], abs=0.6)


def test_a_false_start_stops_the_count_and_bar_numbers_run_on(tmp_path):
    beats, bar, _, _ = CASES["a false start"]
    found = analyze(drum_loop(tmp_path / "drums.wav", beats, bar=bar).path)
    gap = next(event for event in found.events if event.kind == "pause")
    assert gap.start == pytest.approx(beats[11] + 60 / 104, abs=60 / 104 + 0.05)
    assert gap.end == pytest.approx(beats[12], abs=0.05)
    again = next(b for b in found.bars if b.start == pytest.approx(beats[12], abs=0.05))
    assert again.number in (4, 5), "one beat may be counted into what rings on"
    assert [b.number for b in found.bars] == list(range(1, again.number + 30))


# name -> lengths of a bar's beats in plain beats, BPM, hats to a beat, swung; signature and tempo told
METERS = {
    "four": ((1, 1, 1, 1), 118.0, 2, False, "4/4"),
    "three": ((1, 1, 1), 126.0, 2, False, "3/4"),
    "six eighths": ((1, 1), 64.0, 3, False, "6/8"),
    "five": ((1, 1, 1, 1, 1), 126.0, 2, False, "5/4"),
    "seven eighths": ((1, 1, 1.5), 130.0, 2, False, "7/8"),
    "a shuffle": ((1, 1, 1, 1), 124.0, 3, True, "4/4"),
    "twelve eighths": ((1, 1, 1, 1), 92.0, 3, False, "12/8"),
}


@pytest.mark.parametrize("name", METERS)
def test_the_meter_is_told(tmp_path, name):
    lengths, bpm, parts, swung, signature = METERS[name]
    steps = 60 / bpm * np.tile(lengths, 30)
    beats = 1.0 + np.concatenate([[0.0], np.cumsum(steps)[:-1]])
    played = drum_loop(tmp_path / "drums.wav", beats, bar=len(lengths), parts=parts, swung=swung)
    found = analyze(played.path)
    assert (found.time_signature, found.meter) == (signature, len(lengths))
    assert found.tempo_bpm == pytest.approx(bpm, abs=0.1)
    assert mir_eval.beat.f_measure(beats, np.array(found.beats)) >= 0.98
    assert mir_eval.beat.f_measure(played.downbeats, np.array(found.downbeats)) >= 0.98


# beats in the odd bar among bars of four
@pytest.mark.parametrize("odd", [2, 3, 5, 6])
def test_one_bar_of_another_length_does_not_shift_the_bars_after_it(tmp_path, odd):
    beats = beats_at(np.full(32 + odd + 32 - 1, 112.0))
    opens = [*range(0, 32, 4), 32, *range(32 + odd, 32 + odd + 32, 4)]
    played = drum_loop(tmp_path / "drums.wav", beats, opens=opens)
    found = np.array(analyze(played.path).downbeats)
    missed = [line for line in beats[opens] if np.abs(found - line).min() > 0.03]
    assert len(missed) <= 1, "the odd bar may be taken for its neighbour"
    assert abs(len(found) - len(opens)) <= 1
