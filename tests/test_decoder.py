"""The bar pointer against every path there is, on problems small enough to list them."""

import itertools
from dataclasses import replace

import numpy as np
import pytest

from cuesuggest.analysis.rhythm import decoder
from cuesuggest.analysis.rhythm.bar_states import steps_to
from cuesuggest.analysis.rhythm.beat_terms import observations
from cuesuggest.analysis.rhythm.decoder import Limits, decode, decode_bands
from cuesuggest.analysis.rhythm.evidence import Evidence
from cuesuggest.analysis.rhythm.meters import COMMON, METERS, stated_meter, swung
from cuesuggest.analysis.rhythm.tempo_bins import FASTEST, REACH, tempo_bins
from cuesuggest.analysis.spectrum import FRAME_RATE


def pulses(places, frames, strength=4.0, rest=-3.0):
    beat = np.full(frames, rest)
    beat[places] = strength
    return beat


def evidence(beat, downbeats=(), music=2.0):
    frames = len(beat)
    sounding = np.full(frames, music)
    sounding[np.flatnonzero(beat > 0).max(initial=-1) + 3 :] = -4.0  # after the last beat nothing sounds
    down = np.full(frames, -1.5)
    down[list(downbeats)] = 3.0
    return Evidence(beat=beat, downbeat=down, music=sounding, onset=np.zeros(frames))


def score_of_path(search, frames, states, tempi):
    """Score of one given path, added up by hand from the same terms; minus infinity if it is not allowed."""
    score = search.waiting[max(search.pad + frames[0] - decoder._LEAD - 1, 0), 0] + search.enter[states[0]]
    score += search.observed[states[0], frames[0]]
    for k in range(1, len(frames)):
        steps = {origin: (kind, cost) for origin, kind, cost in steps_to(search.meters)[states[k]]}
        if states[k - 1] not in steps:
            return -np.inf
        kind, cost = steps[states[k - 1]]
        length = search.states.kinds[kind][1]
        jitter = frames[k] - frames[k - 1] - search.intervals[length][tempi[k]]
        change = abs(tempi[k] - tempi[k - 1])
        if abs(jitter) > 1 or change > REACH:
            return -np.inf
        score += search.observed[states[k], frames[k]] + search.terms[kind][frames[k], tempi[k]]
        score -= cost + decoder._JITTER_COST * abs(jitter) + change**decoder._DRIFT_POWER
    return score


@pytest.mark.parametrize("seed", [3, 4])
@pytest.mark.parametrize("signatures", [("4/4", "6/8"), ("3/4", "7/8")])
def test_the_decoded_path_is_the_best_of_all_paths(seed, signatures):
    rng = np.random.default_rng(seed)
    frames = 34
    meters = tuple(meter for meter in METERS if meter.signature in signatures)
    tempi = tempo_bins(200.0)[[-8, -2]]
    problem = Evidence(
        beat=rng.normal(2, 2, frames),
        downbeat=rng.normal(0, 2, frames),
        music=np.full(frames, 400.0),  # so that music goes on to the end
        onset=rng.normal(0, 1, frames),
    )
    search = decoder._Search(problem, [tempi], meters, None)
    search.run()
    found = search.trace(0)
    longest = max(int(each[:2].max()) for each in search.intervals.values())
    intervals = {int(each[tempo]) for each in search.intervals.values() for tempo in (0, 1)}
    steps = sorted({interval + jitter for interval in intervals for jitter in (-1, 0, 1)})
    comes_before = [{origin for origin, _, _ in steps} for steps in steps_to(meters)]
    chains = [(first,) for first in range(frames)]
    for _ in range(2):
        chains += [(*chain, chain[-1] + step) for chain in chains for step in steps if chain[-1] + step < frames]
    best, best_frames = -np.inf, None
    for chain in set(chains):
        if chain[-1] < frames - longest:
            continue
        for path in itertools.product(range(len(search.states.slot)), repeat=len(chain)):
            if any(before not in comes_before[after] for before, after in itertools.pairwise(path)):
                continue
            for played in itertools.product((0, 1), repeat=len(chain)):
                score = score_of_path(search, chain, path, played)
                if score > best:
                    best, best_frames = score, chain
    assert found.score == pytest.approx(best, abs=1e-3)
    assert tuple(found.frames) == best_frames


def test_several_bands_at_once_give_what_each_gives_by_itself():
    rng = np.random.default_rng(5)
    heard = Evidence(*(rng.normal(size=(4, 900)) * [[2], [2], [1], [1]]))
    bands = [tempo_bins(bpm) for bpm in (80.0, 120.0, 180.0)]
    for alone, together in zip([decode(heard, band) for band in bands], decode_bands(heard, bands), strict=True):
        assert together.score == pytest.approx(alone.score, abs=1e-2)
        assert together.frames.tolist() == alone.frames.tolist()


def test_on_evidence_that_says_nothing_no_meter_gains_by_its_downbeats():
    """The mean of what a beat brings, over its slots, weighted by the odds that the ratio stands for, is the same."""
    down = np.zeros(1)
    brought = observations(Evidence(np.ones(1), down, down, down), COMMON)
    for opens, other in brought:
        assert opens == pytest.approx(other)
        assert other == pytest.approx(brought[0][1])


def noise(seed, places=None, frames=3000):
    """Evidence as it is where there is nothing to tell: ratios of one kind of frames only; or beats, but no bars."""
    rng = np.random.default_rng(seed)
    beat = rng.normal(-1.1, 1.5, frames)
    if places is not None:
        beat[:] = -3
        beat[places] = 3
    return Evidence(beat, rng.normal(-1.1, 1.5, frames), np.full(frames, 3.0), rng.normal(0, 1, frames))


@pytest.mark.parametrize("places", [None, np.arange(10, 2990, 25)], ids=["noise", "beats without bars"])
def test_no_meter_wins_on_noise(places):
    """With the shares of songs taken out, a minute of noise tells no meter from another by half a nat a second."""
    plain = [replace(meter, prior=-1e-6, bar_cost=0.0) for meter in METERS if len(set(meter.lengths)) == 1]
    scores = np.array(
        [[decode(noise(seed, places), tempo_bins(120.0), (meter,)).score for meter in plain] for seed in range(6)]
    )
    assert np.ptp(scores.mean(axis=0)) < 0.5 * 60
    found = [decode(noise(seed, places), tempo_bins(120.0), METERS) for seed in range(6)]
    told = [grid.table[m].signature for grid in found for m in grid.meters]
    assert not {"5/4", "7/8"} & set(told)
    assert told.count("4/4") > 0.5 * len(told)


@pytest.mark.parametrize("bpm", [60.0, 97.3, 122.7, 161.0])
def test_a_regular_pulse_is_followed_at_tempi_that_are_no_whole_frames(bpm):
    places = np.rint(20 + np.arange(48) * 60 * FRAME_RATE / bpm).astype(int)
    found = decode(evidence(pulses(places, places[-1] + 30), places[::4]), tempo_bins(bpm))
    assert found.frames.tolist() == places.tolist()
    assert (found.slots == np.arange(48) % 4).all()


def test_three_beats_to_the_bar_are_told_by_their_downbeats():
    places = 20 + 25 * np.arange(36)
    found = decode(evidence(pulses(places, places[-1] + 30), places[::3]), tempo_bins(120.0))
    assert {found.table[m].signature for m in found.meters} == {"3/4"}
    assert (found.slots == np.arange(36) % 3).all()


@pytest.mark.parametrize("odd", [2, 3, 5, 6])
def test_one_bar_of_another_length_does_not_shift_the_bars_after_it(odd):
    places = 20 + 25 * np.arange(32 + odd + 32)
    downbeats = np.array([*range(0, 36, 4), *range(32 + odd, 64 + odd, 4)])
    downbeats = np.unique(downbeats[(downbeats <= 32) | (downbeats >= 32 + odd)])
    found = decode(evidence(pulses(places, places[-1] + 30), places[downbeats]), tempo_bins(120.0))
    opens = set(np.flatnonzero(found.slots == 0).tolist())
    assert set(downbeats.tolist()) <= opens
    assert opens - set(downbeats.tolist()) <= {34, 36}, "six beats may be four and two"
    assert found.slots[found.frames == places[33 + odd]].tolist() == [1]


def test_a_drift_of_ten_percent_is_followed():
    intervals = np.linspace(27, 24, 60)
    places = np.rint(20 + np.concatenate([[0], np.cumsum(intervals)])).astype(int)
    found = decode(evidence(pulses(places, places[-1] + 30), places[::4]), tempo_bins(118.0))
    assert np.abs(found.frames - places).max() <= 1


def test_talk_between_two_stretches_of_music_gets_no_beats():
    first, second = 20 + 25 * np.arange(32), 1400 + 25 * np.arange(32)
    both = np.concatenate([first, second])
    heard = evidence(pulses(both, 2250), both[::4])
    heard.music[first[-1] + 3 : 1397] = -4.0
    found = decode(heard, tempo_bins(120.0))
    assert not ((found.frames > first[-1] + 30) & (found.frames < 1390)).any()
    assert found.runs.tolist() == [0] * 32 + [1] * 32


def test_evidence_against_music_gives_no_beats():
    assert not len(decode(evidence(np.full(1000, -2.0), music=-4.0), tempo_bins(120.0)).frames)


def test_a_tempo_band_stays_inside_its_limits():
    tempi = tempo_bins(200.0)
    assert tempi.max() <= FASTEST
    assert (np.diff(tempi) > 0).all()


@pytest.mark.parametrize(("signature", "beats"), [("5/4", 5), ("7/8", 3)])
def test_rare_meters_are_told_when_all_bars_say_so(signature, beats):
    meter = next(each for each in METERS if each.signature == signature)
    lengths = np.tile(meter.lengths, 16)
    places = np.rint(20 + 25 * np.concatenate([[0], np.cumsum(lengths)[:-1]])).astype(int)
    found = decode(evidence(pulses(places, places[-1] + 30), places[::beats]), tempo_bins(120.0), METERS)
    assert {found.table[m].signature for m in found.meters} == {signature}
    assert found.frames.tolist() == places.tolist()


# signature, beats, lengths of them
STATED = [("9/8", 3, 1.0), ("12/8", 4, 1.0), ("5/8", 2, 1.5), ("7/4", 7, 1.0), ("2/4", 2, 1.0)]


@pytest.mark.parametrize(("signature", "beats", "last"), STATED)
def test_any_time_signature_can_be_stated(signature, beats, last):
    meter = stated_meter(signature)
    assert (meter.beats, meter.lengths[-1]) == (beats, last)


def test_a_stated_downbeat_is_one_whatever_is_heard():
    places = 20 + 25 * np.arange(48)
    heard = evidence(pulses(places, places[-1] + 30), places[::4])
    opens = np.zeros(len(heard.beat))
    opens[places[1::4]] = 40.0
    begins, sounds = np.ones((len(COMMON), len(opens)), bool), np.zeros(len(opens), bool)
    found = decode(heard, tempo_bins(120.0), COMMON, Limits(begins, opens, sounds))
    assert set(places[1::4]) <= set(found.frames[found.slots == 0])


def test_a_stated_tempo_holds_between_its_times():
    places = 20 + 25 * np.arange(64)
    heard = evidence(pulses(places, places[-1] + 30), places[::4])
    half = len(heard.beat) // 2
    limits = Limits(
        np.ones((len(COMMON), len(heard.beat)), bool),
        np.zeros(len(heard.beat)),
        np.zeros(len(heard.beat), bool),
        ((120.0, 0, half), (60.0, half, len(heard.beat))),
    )
    found = decode(heard, tempo_bins(120.0), COMMON, limits)
    steps = np.diff(found.frames)
    assert set(steps[found.frames[1:] < half - 60]) == {25}
    assert set(steps[found.frames[:-1] > half + 60]) == {50}


USUAL = decoder._RESTART_COST


def counted_anew(cost, monkeypatch, silence=0):
    """Bars in four, then bars in three, with or without silence between them."""
    monkeypatch.setattr(decoder, "_RESTART_COST", cost)
    every, first, second = 25, 40, 24
    frames = every * (first + second) + silence + 60
    places = every * np.arange(first + second)
    places[first:] += silence
    heard = evidence(pulses(places, frames), downbeats=[*places[:first:4], *places[first::3]])
    heard.music[places[first - 1] + 5 : places[first] - 5] = -6.0 if silence else 2.0
    grid = decode(heard, tempo_bins(120.0), COMMON)
    return len(np.unique(grid.runs))


def test_stopping_for_a_beat_is_no_cheap_way_to_another_meter(monkeypatch):
    assert counted_anew(0.0, monkeypatch) == 2
    assert counted_anew(USUAL, monkeypatch) == 1


def test_after_a_pause_the_count_begins_anew(monkeypatch):
    assert counted_anew(USUAL, monkeypatch, silence=150) == 2


@pytest.mark.parametrize(("wide", "octaves"), [(False, 0.28), (True, 0.45)])
def test_a_band_reaches_so_many_octaves_to_each_side_in_steps_of_two_percent(wide, octaves):
    tempi = tempo_bins(100.0, wide=wide)
    assert np.log2(tempi[-1] / 100) == pytest.approx(octaves, abs=0.02)
    assert np.log2(tempi[0] / 100) == pytest.approx(-octaves, abs=0.02)
    assert tempi[1:] / tempi[:-1] == pytest.approx(np.full(len(tempi) - 1, 1.024))


def test_the_slowest_tempo_may_drift_as_far_as_any_other():
    assert tempo_bins(50.0)[0] == pytest.approx(47.0 / 1.024**3, rel=0.024)
    assert tempo_bins(50.0)[0] >= 47.0 / 1.024**3


def shuffled(first, middle, second, signature="12/8"):
    """Beats of four, with attacks of some strength a third, half and two thirds after each."""
    table = (next(meter for meter in METERS if meter.signature == signature),)
    frames = 10 + 30 * np.arange(32)
    onset = np.zeros(frames[-1] + 40)
    for share, strength in ((1 / 3, first), (1 / 2, middle), (2 / 3, second)):
        onset[frames + round(30 * share)] = strength
    (found,) = swung(table, np.zeros(32, int), frames, onset)
    return found.signature


@pytest.mark.parametrize(
    ("first", "middle", "second", "signature"),
    [(0.0, 0.0, 3.0, "4/4"), (3.0, 0.0, 3.0, "12/8"), (0.5, 0.0, 3.0, "4/4"), (2.0, 1.5, 3.0, "12/8")],
)
def test_four_beats_whose_first_thirds_are_hardly_played_are_a_shuffle_in_four(first, middle, second, signature):
    assert shuffled(first, middle, second) == signature


def test_a_shuffle_is_told_of_bars_of_four_thirds_alone():
    assert shuffled(0.0, 0.0, 3.0, "6/8") == "6/8"
    assert shuffled(0.0, 0.0, 3.0, "5/4") == "5/4"
