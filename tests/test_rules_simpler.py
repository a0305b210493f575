"""What does not fit makes the plan simpler, not darker: one look kept through, its level ridden."""

from dataclasses import replace

import numpy as np
import pytest

from cuesuggest.rules import check_playable, draft, load_profile, load_rig
from cuesuggest.rules.plan.material import gather
from cuesuggest.rules.plan.planning import plan
from cuesuggest.score.grid import Grid
from cuesuggest.score.records import CATEGORIES
from tests.songs import make_analysis
from tests.test_rules_properties import song

BAND, RIG = load_profile("band"), load_rig(None)
ONE_SIDE = replace(RIG, sides=RIG.sides[:1])
VOLUNTEER = replace(ONE_SIDE, practised="volunteer")
RANK = CATEGORIES.index


def drafted(analysis, rig=ONE_SIDE):
    found = draft(analysis, BAND, rig)
    assert check_playable(found.cues, rig, found.looks, Grid(analysis)) == []
    return found


def test_a_verse_too_short_to_change_in_keeps_the_lift_at_its_own_level():
    # At 200 beats a minute four bars are under five seconds: no time to go out, change and come back.
    found = drafted(make_analysis("B8 A4 B8", bpm=200, drive={"A": 0.45, "B": 0.7}), VOLUNTEER)
    assert [each.look for each in found.plan] == ["lift-1"] * 3
    assert found.plan[1].level < found.plan[0].level
    assert [cue.kind for cue in found.cues] == ["recall", "fade-in", "ramp", "ramp", "fade-out"]
    assert any("keeps the look of B1" in reason for reason in found.plan[1].reasons)


def test_why_a_look_is_kept_through_several_sections_is_said_once_and_the_others_point_there():
    # One bar of stop is no time to set up the big look of D1 on the only side.
    drive = {"A": 0.4, "B": 0.75, "C": 0.65, "D": 0.9, "O": 0.0}
    found = drafted(make_analysis("A8 B8 C8 B8 O1 D8", bpm=108, drive=drive))
    assert [each.look for each in found.plan[:4]] == ["subtle-1"] * 4
    said = [reason for each in found.plan[1:4] for reason in each.reasons if "keeps the look" in reason]
    assert said == [
        "It keeps the look of A1, because it gives way to D1 (there is no time to set it up in the dark).",
        "It keeps the look of A1, as B1 does.",
        "It keeps the look of A1, as B1 does.",
    ]


def test_a_quiet_stretch_never_takes_an_intense_look():
    found = drafted(make_analysis("D4 A4 D4 A40", bpm=200, drive={"A": 0.45, "D": 0.95}))
    assert found.plan[1].category != "intense"


def test_after_one_dark_bar_the_side_comes_back_with_what_it_holds():
    found = drafted(make_analysis("B16 O1 B16", bpm=174, drive={"B": 0.7, "O": 0.0}))
    assert [each.category for each in found.plan] == ["lift", "rest", "lift"]
    assert [cue.kind for cue in found.cues].count("recall") == 1


def test_a_long_stretch_does_not_go_dark_for_a_short_one():
    found = drafted(make_analysis("B16 O1 D2", bpm=200, drive={"B": 0.6, "O": 0.0, "D": 0.95}))
    assert found.plan[0].category != "rest"


def planned_as_wished(analysis):
    """For each section its biggest category, before hands and sides have their say."""
    grid = Grid(analysis)
    parts, made = plan(gather(grid, analysis.events, BAND), grid, BAND)
    biggest = {}
    for part, each in zip(parts, made, strict=True):
        if part.section.id not in biggest or RANK(each.category) > RANK(biggest[part.section.id].category):
            biggest[part.section.id] = each
    return [biggest[section.id] for section in analysis.sections]


@pytest.mark.parametrize(
    ("rig", "share", "runs"),
    [(ONE_SIDE, 0.96, 4), (VOLUNTEER, 0.93, 8), (RIG, 0.97, 4)],
    ids=["one side", "one side, volunteer", "two sides"],
)
def test_over_many_songs_nearly_all_that_was_planned_is_lit(rig, share, runs):
    planned = lit = dark_runs = 0
    for seed in range(80):
        random = np.random.default_rng(seed)
        bpm = float(random.choice([40.0, 70.0, 96.0, 120.0, 174.0, 200.0]))
        analysis = song(seed, 4, int(random.integers(2, 11)), 5, float(random.choice([0.9, 0.4])), bpm, 2.0)
        wanted = planned_as_wished(analysis)
        in_a_row = 0
        for section, wish, given in zip(analysis.sections, wanted, drafted(analysis, rig).plan, strict=True):
            # Never more than was planned, but a lift that rides a subtle level.
            assert RANK(given.category) <= max(RANK(wish.category), RANK("lift") if wish.category == "subtle" else 0)
            planned += section.bars * (wish.category != "rest")
            lit += section.bars * (given.category != "rest")
            in_a_row = in_a_row + 1 if given.category == "rest" != wish.category else 0
            dark_runs += in_a_row == 2
    assert lit / planned >= share
    assert dark_runs <= runs
