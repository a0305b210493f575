"""The bar pointer against every path there is, on problems small enough to list them."""

import itertools

import numpy as np
import pytest

from cuesuggest.analysis.rhythm import decoder
from cuesuggest.analysis.rhythm.decoder import METERS, decode, tempo_bins
from cuesuggest.analysis.rhythm.evidence import Evidence
from cuesuggest.analysis.spectrum import FRAME_RATE


def pulses(places, frames, strength=4.0, rest=-3.0):
    beat = np.full(frames, rest)
    beat[places] = strength
    return beat


def evidence(beat, downbeats=(), music=2.0):
    frames = len(beat)
    down = np.full(frames, -1.5)
    down[list(downbeats)] = 3.0
    return Evidence(beat=beat, downbeat=down, music=np.full(frames, music), onset=np.zeros(frames))


def score_of_path(search, frames, states, tempi):
    """Score of one given path, added up by hand from the same terms; minus infinity if it is not allowed."""
    score = search.rest[search.pad - 1] + search.enter[states[0]] + search.observed[frames[0], states[0]]
    for k in range(1, len(frames)):
        origins, costs = decoder._slots_before(states[k])
        if states[k - 1] not in origins:
            return -np.inf
        jitter = frames[k] - frames[k - 1] - search.intervals[tempi[k]]
        change = abs(tempi[k] - tempi[k - 1])
        if abs(jitter) > 1 or change > decoder._REACH:
            return -np.inf
        score += search.observed[frames[k], states[k]] + search.interval_terms[frames[k], tempi[k], states[k - 1]]
        score -= costs[list(origins).index(states[k - 1])] + decoder._JITTER_COST * abs(jitter)
        score -= change**decoder._DRIFT_POWER
    return score


def test_the_decoded_path_is_the_best_of_all_paths():
    rng = np.random.default_rng(3)
    tempi = tempo_bins(200.0)[-2:]
    problem = evidence(rng.normal(0, 2, 46), music=0.0)
    problem = Evidence(problem.beat, rng.normal(0, 2, 46), np.full(46, 40.0), problem.onset)
    search = decoder._Search(problem, tempi)
    search.run()
    found = search.trace()
    states = range(len(decoder._SLOT_OF))
    best = -np.inf
    ends = range(46 - int(search.intervals.max()), 46)
    for count in (1, 2, 3, 4):
        for frames in itertools.combinations(range(46), count):
            steps = np.diff(frames)
            if frames[-1] not in ends or any(not 11 <= s <= 17 for s in steps) or frames[0] > 1:
                continue
            for path in itertools.product(states, repeat=count):
                if any(path[k] not in decoder._slots_before(path[k + 1])[0] for k in range(count - 1)):
                    continue
                for played in itertools.product(range(len(tempi)), repeat=count):
                    best = max(best, score_of_path(search, frames, path, played))
    early = found.frames[0] <= 1
    assert early, "the problem is made so that music begins at once"
    assert found.score == pytest.approx(best, abs=1e-3)


@pytest.mark.parametrize("bpm", [60.0, 97.3, 122.7, 161.0])
def test_a_regular_pulse_is_followed_at_tempi_that_are_no_whole_frames(bpm):
    places = np.rint(20 + np.arange(48) * 60 * FRAME_RATE / bpm).astype(int)
    found = decode(evidence(pulses(places, places[-1] + 30), places[::4]), tempo_bins(bpm))
    assert found.frames.tolist() == places.tolist()
    assert (found.slots == np.arange(48) % 4).all()


def test_three_beats_to_the_bar_are_told_by_their_downbeats():
    places = 20 + 25 * np.arange(36)
    found = decode(evidence(pulses(places, places[-1] + 30), places[::3]), tempo_bins(120.0))
    assert {METERS[m].signature for m in found.meters} == {"3/4"}
    assert (found.slots == np.arange(36) % 3).all()


def test_one_bar_of_two_beats_does_not_shift_the_bars_after_it():
    places = 20 + 25 * np.arange(66)
    downbeats = np.concatenate([np.arange(0, 36, 4), np.arange(34, 66, 4)])
    downbeats = downbeats[(downbeats <= 32) | (downbeats >= 34)]
    found = decode(evidence(pulses(places, places[-1] + 30), places[downbeats]), tempo_bins(120.0))
    assert np.flatnonzero(found.slots == 0).tolist() == sorted(downbeats.tolist())


def test_a_drift_of_ten_percent_is_followed():
    intervals = np.linspace(27, 24, 60)
    places = np.rint(20 + np.concatenate([[0], np.cumsum(intervals)])).astype(int)
    found = decode(evidence(pulses(places, places[-1] + 30), places[::4]), tempo_bins(118.0))
    assert np.abs(found.frames - places).max() <= 1


def test_talk_between_two_stretches_of_music_gets_no_beats():
    first, second = 20 + 25 * np.arange(32), 1400 + 25 * np.arange(32)
    both = np.concatenate([first, second])
    heard = evidence(pulses(both, 2250), both[::4])
    heard.music[first[-1] + 30 : 1390] = -4.0
    found = decode(heard, tempo_bins(120.0))
    assert not ((found.frames > first[-1] + 30) & (found.frames < 1390)).any()
    assert found.runs.tolist() == [0] * 32 + [1] * 32


def test_evidence_against_music_gives_no_beats():
    assert not len(decode(evidence(np.full(1000, -2.0), music=-4.0), tempo_bins(120.0)).frames)


def test_a_tempo_band_stays_inside_its_limits():
    tempi = tempo_bins(200.0)
    assert tempi.max() <= decoder.FASTEST
    assert (np.diff(tempi) > 0).all()
