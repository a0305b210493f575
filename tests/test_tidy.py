"""What is looked at after decoding: beats left unexplained, bars of two that are halves."""

from dataclasses import replace

import numpy as np
import pytest

from cuesuggest.analysis.rhythm.beat_grid import BeatGrid
from cuesuggest.analysis.rhythm.evidence import Evidence
from cuesuggest.analysis.rhythm.meters import METERS
from cuesuggest.analysis.rhythm.network import NETWORKS
from cuesuggest.analysis.rhythm.tidy import (
    NOBODY,
    bridged,
    explained,
    from_first_attack,
    halved,
    long_enough,
    plausible,
    until_last_attack,
)
from cuesuggest.analysis.spectrum import Spectrum

EVERY = 25  # frames
BEATS = EVERY * np.arange(80)


def grid(frames, signature="6/8"):
    meter = next(k for k, meter in enumerate(METERS) if meter.signature == signature)
    slots = np.arange(len(frames)) % METERS[meter].beats
    same = np.zeros(len(frames), int)
    return BeatGrid(np.asarray(frames), slots, same + meter, same, 0.0, METERS)


def evidence(opens=None):
    beat = np.full(BEATS[-1] + EVERY, -4.0)
    beat[BEATS] = 4.0
    zeros = np.zeros(len(beat))
    if opens is not None:
        curve = np.full(len(beat), -20.0)
        curve[BEATS] = opens
        opens = curve
    return Evidence(beat, zeros, zeros, zeros, opens)


@pytest.mark.parametrize(("told", "share"), [(BEATS, 1.0), (BEATS + 3, 1.0), (BEATS[::2], 0.5), (BEATS[:20], 0.25)])
def test_clear_beats_that_are_not_told_are_counted(told, share):
    assert explained(grid(told), evidence()) == pytest.approx(share)


def test_without_a_clear_beat_nothing_is_left_unexplained():
    weak = evidence()
    assert explained(grid(BEATS), Evidence(weak.beat - 3, *(weak.music,) * 3)) == 1.0


def test_bars_of_two_of_which_every_second_is_denied_are_halves():
    assert halved(grid(BEATS), evidence(np.tile([4.0, -8.0, -9.0, -8.0], 20)))


@pytest.mark.parametrize(
    ("opens", "signature"),
    [
        (np.tile([4.0, -8.0, 2.0, -8.0], 20), "6/8"),  # a phrase of two bars has a heavier first
        (np.tile([4.0, -8.0, -9.0, -8.0], 20), "4/4"),  # there are no bars of two
        (None, "6/8"),  # there is no network
    ],
)
def test_other_bars_stay_as_they_are(opens, signature):
    assert not halved(grid(BEATS, signature), evidence(opens))


def test_a_soft_intro_whose_beats_are_clear_is_not_left_out_for_the_loud_band_after_it():
    bands = np.zeros((BEATS[-1] + EVERY, 64), np.float32)
    for k, beat in enumerate(BEATS):
        bands[beat : beat + 8] = 0.02 if k < 16 else 4.0
    level = np.ones(len(bands), np.float32)
    heard = Spectrum(0.0, len(bands) / 50, bands, level, np.zeros((1, 12)), np.zeros(1), 0.1)
    nothing = np.zeros(len(bands), bool)
    clear = evidence()
    assert len(from_first_attack(grid(BEATS), heard, clear, nothing).frames) == len(BEATS)
    unclear = replace(clear, beat=np.where(np.arange(len(bands)) < BEATS[16] - 5, -4.0, clear.beat))
    assert from_first_attack(grid(BEATS), heard, unclear, nothing).frames[0] == BEATS[16]


def standing_out(strength, music):
    """Beats that stand out by so many nats each, and how sure the network is of music."""
    frames = EVERY * np.arange(len(strength))
    beat = np.full(frames[-1] + EVERY, -4.0)
    beat[frames] = strength
    zeros = np.zeros(len(beat))
    return grid(frames, "4/4"), Evidence(beat, zeros, zeros + min(music, 4), zeros, heard=zeros + music)


@pytest.mark.parametrize("network", NETWORKS)
@pytest.mark.parametrize(
    ("strength", "heard", "music"),
    [
        ([3.5] * 60, 9.0, True),
        ([2.0] * 200, 2.0, False),  # a held chord can be counted along to
        ([1.0] * 100 + [4.0] * 60 + [1.0] * 120, 8.0, True),  # the band is in the middle only
        ([1.0] * 100 + [4.0] * 8 + [1.0] * 120, 2.0, False),  # a few bangs are no band
        ([4.0] * 30, 10.0, True),  # fifteen seconds of one
        ([4.0] * 11, -6.0, False),  # a stick that is tapped
        ([0.5] * 300, -8.0, False),
    ],
)
def test_a_song_is_told_from_noise_by_its_clearest_stretch_and_by_how_sure_music_is(strength, heard, music, network):
    told, evidence = standing_out(strength, heard)
    assert len(plausible(told, replace(evidence, network=network)).frames) == (len(strength) if music else 0)


@pytest.mark.parametrize(("beats", "frames", "kept"), [(5, 150, 5), (5, 1500, 0), (3, 80, 0), (9, 1500, 9)])
def test_a_few_beats_are_a_song_only_where_they_fill_the_recording(beats, frames, kept):
    told = grid(EVERY * np.arange(beats), "4/4")
    assert len(long_enough(told, np.zeros(frames, bool)).frames) == kept


def in_two_runs(silence, meter="4/4"):
    """Sixteen beats, so many beats' time, and sixteen beats that are counted anew from 0."""
    first = EVERY * np.arange(16)
    frames = np.concatenate([first, first + first[-1] + round(EVERY * silence)])
    told = grid(frames, meter)
    slots = np.tile(np.arange(16) % 4, 2)
    return replace(told, slots=slots, runs=np.repeat([0, 1], 16))


def sounding(told, music):
    frames = np.zeros(told.frames[-1] + EVERY)
    return Evidence(frames, frames, frames + music, frames)


@pytest.mark.parametrize(
    ("silence", "music", "carried"),
    [
        (5, -2.0, 4),
        (9, -2.0, 8),
        (9.2, -2.0, 8),
        (10, -2.0, None),
        (10, 2.0, 9),
        (33, 2.0, 32),
        (34, 2.0, None),
        (5.5, 2.0, None),
        (5, NOBODY, None),
    ],
    ids=["a stop", "two bars", "a little late", "longer", "longer, but it sounds", "eight bars that sound",
         "longer still", "off the pulse", "nobody plays"],
)  # fmt: skip
def test_beats_are_carried_over_a_gap_after_which_the_same_pulse_goes_on(silence, music, carried):
    told = in_two_runs(silence)
    found = bridged(told, sounding(told, music))
    if carried is None:
        assert found.frames.tolist() == told.frames.tolist()
        assert found.runs.tolist() == told.runs.tolist()
    else:
        assert len(found.frames) == 32 + carried
        assert set(np.diff(found.frames)) <= {EVERY, EVERY + 1}
        assert found.runs.tolist() == [0] * len(found.frames)
        assert found.slots[: 16 + carried].tolist() == (np.arange(16 + carried) % 4).tolist()


def test_beats_are_not_carried_over_into_another_meter_nor_from_too_few_beats():
    told = in_two_runs(5)
    other = next(k for k, meter in enumerate(METERS) if meter.signature == "3/4")
    meters = np.where(told.runs == 1, other, told.meters)
    assert bridged(replace(told, meters=meters), sounding(told, 2.0)).runs.max() == 1
    few = replace(told, **{name: getattr(told, name)[12:] for name in ("frames", "slots", "meters", "runs")})
    assert bridged(few, sounding(told, 2.0)).runs.max() == 1


def struck(places, frames):
    """A recording in which something starts at some frames."""
    bands = np.zeros((frames, 64), np.float32)
    for place in places:
        bands[place : place + 6] = 4.0
    return Spectrum(0.0, frames / 50, bands, np.ones(frames, np.float32), np.zeros((1, 12)), np.zeros(1), 0.1)


def test_beats_end_with_the_last_attack_unless_music_is_stated():
    frames = BEATS[-1] + EVERY
    heard, nothing = struck(BEATS[:60], frames), np.zeros(frames, bool)
    assert until_last_attack(grid(BEATS), heard, nothing).frames.tolist() == BEATS[:60].tolist()
    for late, kept in ((7, True), (10, False)):  # about a third of a beat
        told = grid([*BEATS[:60], BEATS[59] + late, *BEATS[61:]])
        found = until_last_attack(told, heard, nothing).frames.tolist()
        assert found == told.frames[: 61 if kept else 60].tolist()
    stated = np.arange(frames) >= BEATS[70]
    kept = until_last_attack(grid(BEATS), heard, stated).frames.tolist()
    assert kept == [*BEATS[:60].tolist(), *BEATS[70:].tolist()]


def test_a_short_stretch_is_kept_beside_another_only_where_music_is_stated():
    told = replace(grid(EVERY * np.arange(27), "4/4"), runs=np.repeat([0, 1], [7, 20]))
    nothing = np.zeros(2000, bool)
    assert len(long_enough(told, nothing).frames) == 20
    assert long_enough(told, nothing).runs.tolist() == [0] * 20
    stated = nothing.copy()
    stated[0] = True
    assert len(long_enough(told, stated).frames) == 27
