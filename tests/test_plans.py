"""Drafts against plans made by hand: as near to a reading of the song as another reading is."""

from dataclasses import astuple

import numpy as np
import pytest

from cuesuggest.rules import draft, load_profile, load_rig
from cuesuggest.score.records import CATEGORIES
from tests.plans import READINGS, Plan, by_hand, drafted, entrances_alike, heard, kappa, names, table
from tests.songs import make_analysis

# Whose taste is whose: the quiet style is held against the restrained reading, the band's against the generous one.
STYLES = {"restrained": "gentle", "generous": "band"}
SIMPLE = ("all rest", "every boundary", "by loudness")


@pytest.fixture(scope="module")
def agreed():
    return table()


@pytest.mark.parametrize("reading", READINGS)
def test_a_draft_is_as_near_to_a_plan_as_the_other_plan_is(agreed, reading):
    made, other = (astuple(agreed[kind][reading]) for kind in (STYLES[reading], "the other plan"))
    assert np.all(np.array(made) >= 0.9 * np.array(other))


@pytest.mark.parametrize("reading", READINGS)
def test_the_bands_style_suits_both_readings(agreed, reading):
    assert agreed["band"][reading].kappa >= 0.9 * agreed["the other plan"][reading].kappa


@pytest.mark.parametrize("reading", READINGS)
@pytest.mark.parametrize("how", SIMPLE)
def test_a_draft_is_clearly_above_one_without_craft(agreed, reading, how):
    made, plain = agreed[STYLES[reading]][reading], agreed[how][reading]
    assert made.kappa > plain.kappa
    assert np.mean(astuple(made)) >= np.mean(astuple(plain)) + 0.1


def test_every_song_has_two_plans_that_cover_it():
    assert len(names()) == 12
    for name in names():
        plans = [by_hand(name, reading) for reading in READINGS]
        assert len({len(plan.categories) for plan in plans}) == 1


@pytest.mark.parametrize("profile", ["gentle", "band", "club"])
def test_a_song_is_never_intense_for_more_than_a_phrase_beyond_its_budget_but_for_a_drop(profile):
    style = load_profile(profile)
    for name in names():
        analysis = heard(name)
        bars = drafted(name, analysis, draft(analysis, style, load_rig(None))).categories
        budget = style.budget.intense_share * len(bars)
        drops = sum(event.kind == "drop" for event in analysis.events)
        assert bars.count(3) <= budget + max(12, budget / 2) + 8 * drops


def test_gentle_gives_nothing_intense_to_a_ballad():
    style = load_profile("gentle")
    for high in np.arange(0.3, style.drive.intense_floor, 0.05):
        song = make_analysis("A8 B8 A8 B8 C8 B16", drive={"A": high / 2, "B": float(high), "C": high / 3}, bpm=66)
        assert {each.category for each in draft(song, style, load_rig(None)).plan} <= set(CATEGORIES[:3])


def test_kappa_is_one_for_the_same_and_nought_by_chance():
    one = Plan((0, 1, 2, 3), (1.0,), 4)
    assert kappa(one, one) == 1
    assert kappa(one, Plan((2, 2, 2, 2), (), 0)) == pytest.approx(0)
    # Cohen 1968, worked by hand: 6 of 8 bars alike, the others off by one and by two.
    a, b = Plan((0, 0, 1, 1, 2, 2, 3, 3), (), 0), Plan((0, 0, 1, 1, 2, 3, 3, 1), (), 0)
    assert kappa(a, b) == pytest.approx(1 - (3 / 8) / (10 / 8))
    assert entrances_alike(Plan((1,), (1.0, 5.0), 0), Plan((1,), (1.1, 9.0), 0), 0.2) == 0.5
