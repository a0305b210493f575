"""A voice: told where it is clear, open where it is not, never denied to a whole song."""

import numpy as np
import pytest

from cuesuggest.analysis.events.voice import voice_bars, voice_turns
from tests.drawn import draw


def voices(logits):
    scene, _ = draw("F" * len(logits), voice=np.asarray(logits, float))
    return voice_bars(scene)


def test_bars_with_a_voice_and_without_are_told_apart():
    told = voices([-5.0] * 8 + [5.0] * 12 + [-5.0] * 8)
    assert max(told[:7]) < 0.1
    assert min(told[9:19]) > 0.9
    assert max(told[21:]) < 0.1


def test_where_no_bar_is_clearly_sung_nothing_is_told():
    assert voices([-5.0] * 32) == (None,) * 32
    assert voices([-5.0] * 28 + [5.0] * 4) == (None,) * 32


def test_doubtful_bars_stay_open():
    told = voices([5.0] * 12 + [0.3] * 6)
    assert told[14:] == (None,) * 4
    assert None not in told[:10]


def test_a_rising_logit_never_means_less_voice():
    scale = np.linspace(-5, 5, 24)
    told = [v for v in voices([*[5.0] * 12, *scale[::-1]]) if v is not None]
    assert told == sorted(told, reverse=True)


@pytest.mark.parametrize(
    ("told", "turns"),
    [
        ((0.02,) * 4 + (0.98,) * 4, [(4, True)]),
        ((0.98,) * 4 + (0.02,) * 4, [(4, False)]),
        ((0.02,) * 4 + (None,) + (0.98,) * 4, []),
        ((0.02,) * 3 + (0.98,) * 8, []),
        ((0.02, 0.98) * 8, []),
        ((None,) * 12, []),
    ],
    ids=["enters", "leaves", "creeps in", "from the start", "calls", "unknown"],
)
def test_only_a_clear_entry_or_exit_is_worth_a_sentence(told, turns):
    assert voice_turns(told) == turns


@pytest.mark.parametrize(
    ("silent", "sung", "told"),
    [((0.1,) * 4, (0.9,) * 4, 1), ((0.11,) * 4, (0.9,) * 4, 0), ((0.1,) * 4, (0.89,) * 4, 0)],
)
def test_an_entry_is_clear_from_a_tenth_to_nine_tenths(silent, sung, told):
    assert len(voice_turns(silent + sung)) == told
    assert len(voice_turns(sung + silent)) == told


def test_a_voice_that_enters_in_the_last_four_bars_is_told_too():
    assert voice_turns((0.02,) * 12 + (0.98,) * 4) == [(12, True)]
    assert voice_turns((0.02,) * 12 + (0.98,) * 3) == []
