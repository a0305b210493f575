"""Which of two networks is believed, and how sure a reading is as a whole."""

from dataclasses import replace

import numpy as np
import pytest

from cuesuggest.analysis.listen import analyze_spectrum
from cuesuggest.analysis.rhythm import choice, doubt, find_rhythm
from cuesuggest.analysis.rhythm.choice import believed, preferred
from cuesuggest.analysis.rhythm.doubt import MOST_ODDS, READING_FEATURES, covered, reading_odds
from cuesuggest.analysis.rhythm.evidence import observe
from cuesuggest.analysis.rhythm.network import HEADS, NETWORKS, heads_of
from cuesuggest.analysis.spectrum import hear
from cuesuggest.recording import open_recording


@pytest.fixture(scope="module")
def heard(take):
    return hear(open_recording(take.path))


@pytest.mark.parametrize(
    ("odds", "which"),
    [
        ((4.0, 5.0), 0),  # the first is sure: the second is not even asked
        ((1.0, 2.5), 1),
        ((2.5, 1.0), 0),
        ((0.0, -1.0), 0),  # no beats, and a reading that is likely wrong
        ((0.0, 0.0), 0),  # neither hears music
        ((-1.0, 0.0), 1),
    ],
)
def test_the_first_reading_is_believed_if_it_is_sure_else_the_surer_one(odds, which):
    assert preferred(odds) == which


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
    assert set(doubt.weights()) == set(NETWORKS)
    assert all(set(table) == set(READING_FEATURES) for table in doubt.weights().values())


def test_no_reading_is_surer_than_the_most(heard):
    rhythm = find_rhythm(heard, observe(heard))
    assert -MOST_ODDS <= rhythm.reading <= MOST_ODDS
    far = np.where(np.array(READING_FEATURES) == "one", 1.0, 1e6 * np.sign([doubt.weights()[NETWORKS[0]][name] for name in READING_FEATURES]))  # fmt: skip
    assert reading_odds(NETWORKS[0], far) == MOST_ODDS


@pytest.mark.parametrize("name", ["level", "shift", "clearest", "explained"])
def test_a_reading_that_another_comes_near_or_that_explains_little_is_less_sure(heard, name):
    features = find_rhythm(heard, observe(heard)).features
    worse = features.copy()
    worse[READING_FEATURES.index(name)] -= 2.0 if name != "explained" else 0.5
    for network in NETWORKS:
        table = np.array([doubt.weights()[network][each] for each in READING_FEATURES])
        assert table @ worse <= table @ features


def test_a_reading_of_half_the_song_covers_half(heard):
    rhythm = find_rhythm(heard, observe(heard))
    grid, half = rhythm.grid, len(rhythm.times) // 2
    part = replace(grid, **{name: getattr(grid, name)[:half] for name in ("frames", "slots", "meters", "runs")})
    assert covered(grid, rhythm.evidence) > 0.95
    assert 0.4 < covered(part, rhythm.evidence) < 0.6
