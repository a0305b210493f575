"""The same beats counted otherwise: bars in turns, other counts, beats half-way between."""

import numpy as np
import pytest

from cuesuggest.analysis.rhythm.beat_grid import BeatGrid
from cuesuggest.analysis.rhythm.evidence import Evidence
from cuesuggest.analysis.rhythm.meters import METERS, stated_meter
from cuesuggest.analysis.rhythm.recount import alternating, between_beats, other_counts

EVERY = 25  # frames from beat to beat


def counted(bars, told=4, strength=2.0, noise=0.0, runs=None, table=METERS, seed=1):
    """Beats of bars of so many beats each, told as bars of `told`."""
    true = np.concatenate([np.arange(n) == 0 for n in bars])
    frames = EVERY * np.arange(len(true))
    down = np.full(frames[-1] + EVERY, -2.0)
    down[frames] = np.where(true, strength, -strength) + noise * np.random.default_rng(seed).normal(size=len(true))
    beat = np.full(len(down), -3.0)
    beat[frames] = 3.0
    meter = next(k for k, each in enumerate(table) if each.signature == f"{told}/4")
    runs = np.zeros(len(true), int) if runs is None else runs
    grid = BeatGrid(frames, np.arange(len(true)) % told, np.full(len(true), meter), runs, 0.0, table)
    return grid, Evidence(beat, down, np.full(len(down), 3.0), np.zeros(len(down)))


def bars_of(grid):
    opens = np.flatnonzero(grid.slots == 0)
    return np.diff(np.append(opens, len(grid.slots))).tolist()


@pytest.mark.parametrize("turns", [(4, 3), (4, 4, 4, 2), (4, 5)])
def test_bars_that_take_turns_are_counted_as_they_are_played(turns):
    bars = turns * 10
    grid = alternating(*counted(bars, noise=0.7))
    assert bars_of(grid) == list(bars)
    assert {grid.table[k].signature for k in grid.meters} == {f"{n}/4" for n in turns}


def test_bars_of_five_are_not_told_as_three_and_two_in_turn():
    grid, evidence = counted((5,) * 30, told=5, noise=0.5)
    assert bars_of(alternating(grid, evidence)) == [5] * 30


def test_a_verse_in_turns_and_a_chorus_in_four_are_both_told():
    bars = (4, 3) * 8 + (4,) * 16 + (4, 3) * 8
    assert bars_of(alternating(*counted(bars))) == list(bars)


@pytest.mark.parametrize("bars", [(4,) * 30, (4,) * 20 + (2,) + (4,) * 10, (3,) * 30])
def test_even_bars_and_a_single_odd_one_are_left_to_the_decoder(bars):
    told = 3 if bars[0] == 3 else 4
    grid, evidence = counted(bars, told)
    assert alternating(grid, evidence) is grid


def test_downbeats_that_say_nothing_are_no_turns():
    grid, evidence = counted((4,) * 40, strength=0.0, noise=1.0)
    assert alternating(grid, evidence) is grid


def test_a_stated_time_signature_is_not_counted_again():
    table = (stated_meter("4/4"),)
    grid, evidence = counted((4, 3) * 10, table=table)
    assert alternating(grid, evidence) is grid


def test_after_a_pause_the_turns_begin_anew():
    bars = (4, 3) * 6
    runs = np.repeat([0, 1], sum(bars))
    grid = alternating(*counted(bars * 2, runs=runs))
    assert bars_of(grid) == list(bars * 2)


def test_other_counts_are_told_with_what_speaks_against_them_the_likeliest_first():
    grid, evidence = counted((4,) * 30)
    counts = other_counts(grid, evidence)
    assert counts[0][0] == "2/4", "two in a bar contradict the fewest downbeats"
    assert {signature for signature, _ in counts} == {"2/4", "3/4", "5/4"}
    margins = [margin for _, margin in counts]
    assert margins == sorted(margins)
    assert margins[0] > 0


def test_the_right_count_is_offered_first_where_the_chosen_one_is_wrong():
    grid, evidence = counted((3,) * 40, told=4)
    signature, margin = other_counts(grid, evidence)[0]
    assert signature == "3/4"
    assert margin < 0


def test_beats_half_way_between_are_weighed_against_the_chosen_ones():
    grid, evidence = counted((4,) * 30)
    assert between_beats(grid, evidence) == pytest.approx(6.0)


def test_a_few_beats_are_not_counted_again():
    grid, evidence = counted((4,) * 5)
    assert other_counts(grid, evidence) == ()
    assert between_beats(grid, evidence) is None
    assert alternating(grid, evidence) is grid
