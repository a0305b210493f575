"""Fitting the numbers of sections on songs whose sections are known."""

from itertools import pairwise

import numpy as np
import pytest

pytest.importorskip("click")

from cuesuggest.analysis.rhythm.evidence import flux
from cuesuggest.analysis.spectrum import Spectrum
from cuesuggest.analysis.structure.bar_vectors import bar_vectors
from cuesuggest.analysis.structure.boundary_signs import SIGNS, line_signs
from cuesuggest.analysis.structure.divide import LENGTHS, LONGEST, SOUNDS, best_edges, section_sounds, section_worth
from cuesuggest.analysis.structure.letters import PAIRS, pair_features, pair_odds, same_odds
from cuesuggest.analysis.structure.section_confidence import FEATURES
from cuesuggest.analysis.structure.weights import Weights, shipped
from cuesuggest.analysis.training.fit_structure import FormedSong, _less_likely, fit_division, fit_same, starts_right
from tests.test_structure import made, parts_of


def song(form, seed):
    spectrum, logits, bars = made(form, seed)
    vectors = bar_vectors(spectrum, bars, flux(spectrum.bands))
    edges = np.cumsum([0, *(length for _, length in parts_of(form))])
    return FormedSong(
        bars,
        vectors,
        line_signs(spectrum, logits, bars, vectors),
        section_sounds(vectors, 0, len(bars), min(LONGEST, len(bars))),
        tuple(int(each) for each in edges),
        tuple(name for name, _ in parts_of(form)),
        bars.starts[edges[:-1]],
        True,
    )


@pytest.fixture(scope="module")
def songs():
    return [song(form, k) for k, form in enumerate(["A8 B8 A8 B8", "A4 B8 C8 B8", "A6 B5 A6 C9"])]


def test_the_slope_of_the_loss_is_the_slope_of_the_loss(songs):
    one = songs[1]
    rng = np.random.default_rng(1)
    weights = rng.normal(size=len(SIGNS) + len(LENGTHS) + len(SOUNDS)) * 0.3
    _, slope = _less_likely(one, one.signs, weights)
    for k in range(len(weights)):
        step = np.zeros(len(weights))
        step[k] = 1e-5
        above, below = (_less_likely(one, one.signs, weights + sign * step)[0] for sign in (1, -1))
        assert slope[k] == pytest.approx((above - below) / 2e-5, rel=1e-3, abs=1e-4)


def test_fitted_weights_find_the_sections_that_they_were_fitted_on(songs):
    weights = Weights(fit_division(songs))
    for each in songs:
        edges = best_edges(section_worth(each.vectors, each.signs, weights))
        assert edges == list(each.edges)
        assert starts_right(each, edges).all()


def test_fitted_weights_tell_same_from_other_material(songs):
    weights = Weights({"same": fit_same(songs)})
    for each in songs:
        odds = same_odds(each.vectors, each.bars.loudness, list(pairwise(each.edges)), weights)
        same = np.array(each.letters)[:, None] == np.array(each.letters)
        np.fill_diagonal(odds, 1.0)
        assert ((odds > 0) == same).all()


def test_fitting_and_finding_see_the_same_pairs(songs):
    one = songs[2]
    spans = list(pairwise(one.edges))
    found = same_odds(one.vectors, one.bars.loudness, spans, shipped())
    by_name = shipped().of("same", PAIRS)
    for k, other in ((1, 0), (2, 0), (3, 1)):
        alone = pair_features(one.vectors, one.bars.loudness, spans[k], spans[other])
        odds = pair_odds(alone[:3] @ by_name[:3], alone[3], alone[4], shipped())
        assert found[k, other] >= odds - 1e-4  # it may choose the better end by its own weights
        assert found[k, other] == pytest.approx(odds, abs=1.0)


def test_the_shipped_numbers_are_all_there_and_no_others():
    names = {"signs": SIGNS, "lengths": LENGTHS, "sounds": SOUNDS, "same": PAIRS, "form": ("equal_names",)}
    names |= {"found": FEATURES, "stated": FEATURES}
    assert {part: set(values) for part, values in shipped().table.items()} == {k: set(v) for k, v in names.items()}


def test_the_network_without_an_opinion_is_what_training_takes_for_it():
    spectrum, logits, bars = made("A8 B8")
    assert isinstance(spectrum, Spectrum)
    signs = line_signs(spectrum, logits, bars, bar_vectors(spectrum, bars, flux(spectrum.bands)))
    for name, value in (("head", -1.0), ("head_peak", 0.0), ("build_ends", 0.0)):
        assert signs[1:, SIGNS.index(name)] == pytest.approx(np.full(15, value))
