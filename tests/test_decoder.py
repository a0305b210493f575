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
    sounding = np.full(frames, music)
    sounding[np.flatnonzero(beat > 0).max(initial=-1) + 3 :] = -4.0  # after the last beat nothing sounds
    down = np.full(frames, -1.5)
    down[list(downbeats)] = 3.0
    return Evidence(beat=beat, downbeat=down, music=sounding, onset=np.zeros(frames))


def score_of_path(search, frames, states, tempi):
    """Score of one given path, added up by hand from the same terms; minus infinity if it is not allowed."""
    # 'No music' lasts at least a block before the first beat; the frames of that block are not judged.
    score = search.rest[search.pad + frames[0] - search.block - 1] + search.enter[states[0]]
    score += search.observed[frames[0], states[0]]
    terms = search.interval_terms(np.array(frames))
    for k in range(1, len(frames)):
        origins, costs = decoder._slots_before(states[k])
        if states[k - 1] not in origins:
            return -np.inf
        jitter = frames[k] - frames[k - 1] - search.intervals[tempi[k]]
        change = abs(tempi[k] - tempi[k - 1])
        if abs(jitter) > 1 or change > decoder._REACH:
            return -np.inf
        score += search.observed[frames[k], states[k]] + terms[k, tempi[k], states[k - 1]]
        score -= costs[list(origins).index(states[k - 1])] + decoder._JITTER_COST * abs(jitter)
        score -= change**decoder._DRIFT_POWER
    return score


def test_the_decoded_path_is_the_best_of_all_paths():
    rng = np.random.default_rng(3)
    frames = 34
    tempi = tempo_bins(200.0)[[-8, -2]]
    problem = Evidence(
        beat=rng.normal(2, 2, frames),
        downbeat=rng.normal(0, 2, frames),
        music=np.full(frames, 400.0),  # so that music goes on to the end
        onset=rng.normal(0, 1, frames),
    )
    search = decoder._Search(problem, tempi)
    search.run()
    found = search.trace()
    assert search.intervals.tolist() == [17, 15]
    states = range(len(decoder._SLOT_OF))
    steps = range(14, 19)
    chains = [(first,) for first in range(frames)]
    for _ in range(2):
        chains += [(*chain, chain[-1] + step) for chain in chains for step in steps if chain[-1] + step < frames]
    best, best_frames = -np.inf, None
    for chain in set(chains):
        if chain[-1] < frames - search.intervals.max():
            continue
        for path in itertools.product(states, repeat=len(chain)):
            for played in itertools.product(range(len(tempi)), repeat=len(chain)):
                score = score_of_path(search, chain, path, played)
                if score > best:
                    best, best_frames = score, chain
    assert found.score == pytest.approx(best, abs=1e-3)
    assert tuple(found.frames) == best_frames


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
    heard.music[first[-1] + 3 : 1397] = -4.0
    found = decode(heard, tempo_bins(120.0))
    assert not ((found.frames > first[-1] + 30) & (found.frames < 1390)).any()
    assert found.runs.tolist() == [0] * 32 + [1] * 32


def test_evidence_against_music_gives_no_beats():
    assert not len(decode(evidence(np.full(1000, -2.0), music=-4.0), tempo_bins(120.0)).frames)


def test_a_tempo_band_stays_inside_its_limits():
    tempi = tempo_bins(200.0)
    assert tempi.max() <= decoder.FASTEST
    assert (np.diff(tempi) > 0).all()
