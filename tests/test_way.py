"""The way of one take through another: parts left out, played again, put in; and how sure each step is."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cuesuggest.analysis.takes.way import Costs, Course, best_way, sureness

BARS = 4  # beats
PART = 16
SONG = Course(4 * PART, range(0, 4 * PART, BARS), range(0, 4 * PART, PART))


def odds_of(beats: list[int], *, seed: int = 0, clear: float = 2.5) -> np.ndarray:
    """Log odds as they would be measured where the second take plays these beats of the first; -1 is something else."""
    draws = np.random.default_rng(seed)
    odds = draws.normal(-clear, 1.0, (SONG.beats, len(beats)))
    for step, beat in enumerate(beats):
        if beat >= 0:
            odds[beat, step] = draws.normal(clear, 1.0)
        else:
            odds[:, step] -= clear
    return odds


def parts(*numbers: int) -> list[int]:
    return [beat for part in numbers for beat in range(part * PART, (part + 1) * PART)]


@pytest.mark.parametrize(
    "played",
    [
        pytest.param(parts(0, 1, 2, 3), id="the same form"),
        pytest.param(parts(0, 2, 3), id="a part left out"),
        pytest.param(parts(0, 1, 1, 2, 3), id="a part twice"),
        pytest.param(parts(0, 2, 1, 3), id="two parts the other way round"),
        pytest.param([*parts(0, 1), *[-1] * PART, *parts(2, 3)], id="a part that the first take does not have"),
        pytest.param([*[-1] * 8, *parts(0, 1, 2, 3)], id="a longer start"),
        pytest.param(parts(0, 1), id="broken off"),
        pytest.param([*parts(0), *parts(1)[:7], *parts(1)[8:], *parts(2, 3)], id="a beat that was not heard"),
        pytest.param([*parts(0), *parts(1)[:7], *parts(1)[6:], *parts(2, 3)], id="a beat heard twice"),
    ],
)
def test_the_way_is_what_was_played(played):
    way, _ = best_way(odds_of(played), SONG, Costs())
    # Next to a seam, a beat may go with either side.
    assert np.mean(way == np.array(played)) >= 0.97


def test_a_band_that_plays_straight_is_not_made_to_jump_by_noise():
    played = parts(0, 1, 2, 3)
    for seed in range(20):
        way, _ = best_way(odds_of(played, seed=seed, clear=0.8), SONG, Costs())
        assert np.mean(way == np.array(played)) >= 0.9, seed


def test_of_two_parts_that_sound_the_same_the_way_is_less_sure_which():
    played = parts(0, 2, 3)
    odds = odds_of(played)
    odds[PART : 2 * PART] = odds[2 * PART : 3 * PART]  # part 1 is as part 2
    likely = sureness(odds, SONG, Costs())
    plain = sureness(odds_of(played), SONG, Costs())
    middle = range(PART, 2 * PART)
    alike = [likely[step, played[step]] for step in middle]
    clear = [plain[step, played[step]] for step in middle]
    assert max(alike) < 0.9 < min(clear)


def dense(song: Course, costs: Costs) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Write the model down again, the long way: one table of all moves between all states, in nats."""
    count = song.beats
    part_of = np.searchsorted(list(song.parts), np.arange(count), "right") - 1
    starts, lines = set(song.parts), set(song.bars)
    enter = np.array([0 if b in starts or b == 0 else costs.inside if b in lines else -np.inf for b in range(count)])
    leave = np.array(
        [
            0 if b + 1 in starts or b == count - 1 else costs.inside if b + 1 in lines else 1.5 * costs.inside
            for b in range(count)
        ]
    )
    moves = np.full((2 * count + 1, 2 * count + 1), -np.inf)
    for b in range(count):
        for target in range(count):
            passed = costs.passed * abs(int(part_of[target]) - int(part_of[b]))
            jump = costs.jump + leave[b] + enter[target] + passed
            ways = [jump] if target > b else [jump + costs.back]
            ways += [0.0] if target == b + 1 else [costs.slip] if target in (b, b + 2) else []
            moves[b, target] = np.logaddexp.reduce(ways)
            after_none = [w + costs.resumes for w in ways[:1]] + ([costs.resumes] if target == b + 1 else [])
            moves[count + 1 + b, target] = np.logaddexp.reduce(after_none)
        moves[b, count + 1 + b] = costs.leaves
        moves[count + 1 + b, count + 1 + b] = 0.0
    ragged = [costs.ragged * k if k < 12 else -np.inf for k in range(count)]
    begin = enter + costs.jump / 2 + costs.passed * part_of
    begin = np.maximum(np.where(np.arange(count) == 0, 0.0, begin), ragged)
    end = np.maximum(leave + costs.jump / 2 + costs.passed * (part_of[-1] - part_of), ragged[::-1])
    moves[count, :count] = begin
    moves[count, count] = 0.0
    none = costs.trust * costs.none
    first = np.concatenate([begin, [costs.leaves / 2 + none], np.full(count, -np.inf)])
    last = np.concatenate([end, [-np.inf], end])
    return first, moves, last


@settings(max_examples=15, deadline=None)
@given(st.integers(0, 10**6), st.integers(4, 20), st.sampled_from([(0, 4), (0, 4, 8), (0, 8)]))
def test_sureness_is_that_of_the_same_model_written_the_long_way(seed, steps, starts):
    draws = np.random.default_rng(seed)
    song, costs = Course(12, range(0, 12, 2), starts), Costs()
    odds = draws.normal(0, 3, (12, steps))
    first, moves, last = dense(song, costs)
    cells = np.vstack([costs.trust * odds, np.full((13, steps), costs.trust * costs.none)])
    forward = [first + np.concatenate([cells[:12, 0], np.zeros(13)])]
    for step in range(1, steps):
        forward.append(np.logaddexp.reduce(forward[-1][:, None] + moves, axis=0) + cells[:, step])
    backward = [last]
    for step in range(steps - 1, 0, -1):
        backward.append(np.logaddexp.reduce(moves + cells[:, step] + backward[-1], axis=1))
    whole = np.array(forward) + np.array(backward[::-1])
    whole = np.exp(whole - np.logaddexp.reduce(whole, axis=1, keepdims=True))
    assert sureness(odds, song, costs) == pytest.approx(whole[:, :12], abs=1e-6)
    # And the best way is worth at least what any way that is drawn is.
    way, score = best_way(odds, song, costs)
    assert score <= np.logaddexp.reduce(forward[-1] + last) + 1e-6
    straight = np.arange(steps)
    if steps == 12:
        assert score >= costs.trust * odds[straight, straight].sum() - 1e-6
    assert way.min() >= -1
