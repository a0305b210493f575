"""Which of two networks is believed, and how sure a reading is as a whole."""

from dataclasses import replace

import numpy as np
import pytest

from cuesuggest.analysis.listen import analyze_spectrum
from cuesuggest.analysis.rhythm import choice, doubt, find_rhythm, music
from cuesuggest.analysis.rhythm.choice import believed, preferred
from cuesuggest.analysis.rhythm.doubt import MOST_ODDS, READING_FEATURES, covered, reading_odds
from cuesuggest.analysis.rhythm.evidence import observe
from cuesuggest.analysis.rhythm.network import HEADS, NETWORKS, heads_of
from cuesuggest.analysis.spectrum import hear
from cuesuggest.sound.recording import open_recording


@pytest.fixture(scope="module")
def heard(take):
    return hear(open_recording(take.path))


@pytest.mark.parametrize(
    ("shares", "which"),
    [
        ((0.95, 1.0), 0),  # hardly anything is left untold
        ((0.8, 0.95), 1),
        ((0.8, 0.85), 0),  # no more than the first: talk, and the first hears finer
        ((0.0, 0.9), 1),
        ((0.0, 0.0), 0),  # neither hears music
    ],
)
def test_the_second_network_is_believed_only_where_it_tells_clearly_more_of_what_sounds(shares, which):
    assert preferred(shares) == which


def deaf(monkeypatch, asked):
    """The first network hears no music in anything."""

    def heads(spectrum, network=NETWORKS[0]):
        asked.append(network)
        logits = heads_of(spectrum, network)
        if network == NETWORKS[0]:
            logits[:] = -6.0
        return logits

    monkeypatch.setattr(choice, "heads_of", heads)


def test_where_the_first_network_is_sure_nothing_is_spent_on_the_second(heard, monkeypatch):
    asked = []
    monkeypatch.setattr(
        choice, "heads_of", lambda spectrum, network: asked.append(network) or heads_of(spectrum, network)
    )
    logits, rhythm = believed(heard)
    assert asked == [NETWORKS[0]]
    assert rhythm.evidence.network == NETWORKS[0]
    assert logits.shape == (len(HEADS), len(heard.bands))


def test_what_the_first_network_denies_the_second_may_hear(heard, take, monkeypatch):
    asked = []
    deaf(monkeypatch, asked)
    logits, rhythm = believed(heard)
    assert asked == list(NETWORKS)
    assert rhythm.evidence.network == NETWORKS[1]
    near = np.abs(rhythm.times[:, None] - take.beats).min(axis=1)
    assert (near < 0.07).mean() > 0.95
    analysis = analyze_spectrum(heard, logits, network=NETWORKS[1], rhythm=rhythm)
    assert analysis.beats == analyze_spectrum(heard, logits, network=NETWORKS[1]).beats


def test_every_network_has_weights_of_its_own_for_every_feature():
    assert set(music.music_weights()) == set(NETWORKS)
    for table in music.music_weights().values():
        assert set(table["pulse"]) == set(music.PULSE_FEATURES)
        assert set(table["song"]) == set(music.SONG_FEATURES)
    assert set(doubt.doubt_weights()) == set(READING_FEATURES)


def test_no_reading_is_surer_than_the_most(heard):
    assert -MOST_ODDS <= find_rhythm(heard, observe(heard)).reading <= MOST_ODDS
    helps = np.sign([doubt.doubt_weights()[name] for name in READING_FEATURES])
    assert reading_odds(1e6 * helps) == MOST_ODDS
    assert reading_odds(-1e6 * helps) == -MOST_ODDS


@pytest.mark.parametrize("name", ["level", "shift", "count", "clearest", "covered", "explained"])
def test_a_reading_that_another_comes_near_or_that_explains_little_is_less_sure(name):
    assert doubt.doubt_weights()[name] > 0


def test_a_reading_of_half_the_song_covers_half(heard):
    rhythm = find_rhythm(heard, observe(heard))
    grid, half = rhythm.grid, len(rhythm.times) // 2
    part = replace(grid, **{name: getattr(grid, name)[:half] for name in ("frames", "slots", "meters", "runs")})
    assert covered(grid, heard) > 0.95
    assert 0.4 < covered(part, heard) < 0.6
