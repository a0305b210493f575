"""Builds, drops and breakdowns: on the bar lines where they are, and nowhere else."""

import json
from importlib import resources

import numpy as np
import pytest

from cuesuggest.analysis.events.builds import breakdown_candidates, build_lines, find_breakdowns, find_builds
from cuesuggest.analysis.events.from_bars import events_from_bars
from tests.drawn import draw


def rising(bars, length, line, top=5.0):
    """Logits of a build of so many bars to a bar line."""
    logits = np.full(bars, -6.0)
    logits[line - length : line] = np.linspace(top - 1, top, length)
    return logits


def told(found, kind):
    return [(each.start, each.end) for each, _ in found if each.kind == kind]


@pytest.mark.parametrize("length", [2, 4, 8])
def test_a_build_is_told_in_its_length_with_the_drop_that_it_leads_to(length):
    scene, energy = draw("Q" * 16 + "F" * 16, build=rising(32, length, 16))
    found = find_builds(scene, energy)
    assert told(found, "build") == [(scene.starts[16 - length], scene.starts[16])]
    assert told(found, "drop") == [(scene.starts[16], scene.starts[16])]


def test_a_build_into_a_softer_section_has_no_drop():
    scene, energy = draw("F" * 16 + "Q" * 16, build=rising(32, 4, 16))
    found = find_builds(scene, energy)
    assert len(told(found, "build")) == 1
    assert told(found, "drop") == []


def test_without_a_rise_there_is_no_build():
    scene, energy = draw("Q" * 16 + "F" * 16)
    assert build_lines(scene, energy) == []
    assert find_builds(scene, energy) == []


def test_the_stronger_the_build_is_heard_the_surer_it_is():
    sure = [find_builds(*draw("Q" * 16 + "F" * 16, build=rising(32, 4, 16, top)))[0][1] for top in (2.5, 3.5, 5.0)]
    assert sure == sorted(sure)
    assert sure[0] < sure[-1]


def test_of_two_bar_lines_in_one_build_the_surer_ends_it():
    logits = rising(32, 8, 16)
    logits[12] = 1.0  # a breath in the middle
    scene, energy = draw("Q" * 16 + "F" * 16, build=logits)
    assert [end for _, end in told(find_builds(scene, energy), "build")] == [scene.starts[16]]


def test_a_song_of_two_bars_has_room_for_none():
    scene, energy = draw("QF", build=[5.0, -6.0])
    assert find_builds(scene, energy) == []
    assert find_breakdowns(scene, energy) == []


def test_a_breakdown_lasts_until_drums_and_bass_are_back():
    scene, energy = draw("F" * 16 + "P" * 8 + "F" * 16)
    assert told(find_breakdowns(scene, energy), "breakdown") == [(scene.starts[16], scene.starts[24])]


@pytest.mark.parametrize(
    "letters",
    ["F" * 40, "F" * 16 + "Q" * 8 + "F" * 16, "F" * 16 + "SS" + "F" * 16, "P" * 8 + "F" * 24, "F" * 24 + "P" * 8],
    ids=["the same all through", "softer", "two bars of rest", "a bare intro", "a bare ending"],
)
def test_no_breakdown_is_told_of(letters):
    assert find_breakdowns(*draw(letters)) == []


@pytest.mark.parametrize(("bars", "lengths"), [(2, []), (3, [3]), (4, [4])])
def test_drums_and_bass_that_are_out_for_less_than_three_bars_have_stopped(bars, lengths):
    scene, energy = draw("F" * 16 + "P" * bars + "F" * 16)
    found = breakdown_candidates(scene, energy)
    assert [round((each.end - each.start) / 2) for each in found] == lengths


@pytest.mark.parametrize(("apart", "ends"), [(7, [20]), (8, [12, 20])])
def test_of_builds_that_end_within_eight_bars_only_the_surest_is_told(apart, ends):
    logits = np.maximum(rising(40, 2, 20 - apart, top=4.5), rising(40, 4, 20))
    scene, energy = draw("Q" * 20 + "F" * 20, build=logits)
    assert [round(end / 2) for _, end in told(find_builds(scene, energy), "build")] == ends


def test_changes_come_in_order_of_time_with_their_place():
    scene, energy = draw("Q" * 16 + "F" * 16 + "P" * 8 + "F" * 8, build=rising(48, 4, 16))
    events = events_from_bars(scene, energy, [0, 16, 32, 40])
    assert [(event.kind, event.bar, event.beat) for event in events] == [
        ("build", 13, 1.0),
        ("drop", 17, 1.0),
        ("breakdown", 33, 1.0),
    ]
    assert all(0.6 <= event.confidence <= 1 for event in events)


def test_the_shipped_weights_name_the_features_of_every_candidate():
    text = resources.files("cuesuggest.analysis.finding").joinpath("events.json").read_text(encoding="utf-8")
    weights = json.loads(text)
    scene, energy = draw("Q" * 16 + "F" * 16 + "P" * 8 + "F" * 8, build=rising(48, 4, 16))
    line = build_lines(scene, energy)[0]
    candidates = [line.build, line.drop, *breakdown_candidates(scene, energy)]
    assert {each.kind for each in candidates} == {"build", "drop", "breakdown"}
    assert all({*each.features, "one"} == set(weights[each.kind]) for each in candidates)
    assert all({*features, "one"} == set(weights["build length"]) for features in line.lengths.values())
