"""What the designer has decided for a section stands, and the draft is made around it."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from cuesuggest.rules import Pin, check_playable, draft
from tests.songs import make_analysis
from tests.test_rules_properties import BAND, RIG, quick, rigs, songs

CATEGORIES = ("subtle", "lift", "intense")


def categories(drafted):
    return {each.section: each.category for each in drafted.plan}


@quick
@given(songs, rigs, st.integers(0, 2**16))
def test_a_draft_around_decisions_can_be_played(analysis, rig, seed):
    random = np.random.default_rng(seed)
    pins = {}
    for section in analysis.sections:
        category = str(random.choice(CATEGORIES))
        side = str(random.choice([side.name for side in rig.sides]))
        if random.random() < 0.4:
            pins[section.id] = Pin(category, f"{category}-1", side, *map(bool, random.integers(0, 2, 2)))
        elif random.random() < 0.1:
            pins[section.id] = Pin("rest")
    assert check_playable(draft(analysis, BAND, rig, pins).cues, rig) == []


def test_a_decided_section_has_what_was_decided_though_the_song_would_not_earn_it():
    analysis = make_analysis("A8 B8 A8 B8", drive={"A": 0.3, "B": 0.5})
    second = analysis.sections[1].id
    assert categories(draft(analysis, BAND, RIG))[second] != "intense"
    pinned = draft(analysis, BAND, RIG, {second: Pin("intense", "intense-1", "B")})
    assert categories(pinned)[second] == "intense"
    entry = next(cue for cue in pinned.cues if cue.id == f"enter/{second}/intense/1")
    assert (entry.look, entry.side) == ("intense-1", "B")
    assert "It is as you decided." in next(each for each in pinned.plan if each.section == second).reasons


def test_what_was_decided_for_one_pass_leaves_the_others_alone():
    analysis = make_analysis("A8 B8 A8 B8 A8 B8", drive={"A": 0.3, "B": 0.75})
    free = categories(draft(analysis, BAND, RIG))
    ids = [section.id for section in analysis.sections]
    pinned = categories(draft(analysis, BAND, RIG, {ids[3]: Pin("subtle", "subtle-1", None)}))
    assert pinned[ids[3]] == "subtle"
    assert pinned[ids[5]] == free[ids[5]]
