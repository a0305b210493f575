"""The checker finds every fault that is planted into a list that can be played."""

from collections import Counter
from dataclasses import replace

import numpy as np
import pytest

from cuesuggest.rules import check_playable, draft, load_profile, load_rig
from cuesuggest.score.grid import Grid
from cuesuggest.score.light import hand_starts, presses
from cuesuggest.score.records import Place, Series
from tests.songs import make_analysis, make_cue, place_at
from tests.test_rules_properties import song

CLUB, RIG = load_profile("club"), load_rig(None)
LASER_SHOT = replace(RIG, one_shot=replace(RIG.one_shot, source="laser"))
ENTERS = ("fade-in", "cut-in", "crossfade")


class Draft:
    """A list that can be played, and ways to spoil it; each returns the list, or None where it does not apply."""

    def __init__(self, analysis, rig=RIG):
        found = draft(analysis, CLUB, rig)
        self.rig, self.cues, self.looks, self.grid = rig, list(found.cues), list(found.looks), Grid(analysis)
        self.entries = [cue for cue in self.cues if cue.kind in ENTERS and cue.id.startswith("enter/")]
        self.shots = [cue for cue in self.cues if cue.kind == "one-shot"]

    def problems(self, cues=None, looks=None):
        given = (self.cues if cues is None else cues, self.rig, self.looks if looks is None else looks, self.grid)
        return check_playable(*given)

    def swapped(self, cue, **changes):
        return [replace(each, **changes) if each is cue else each for each in self.cues]

    def lit(self, random):
        """A look, and a moment at which it is up and nothing else happens on its side."""
        entry = self.entries[random.integers(len(self.entries))]
        up = hand_starts(entry) + (entry.up_seconds or 0.0)
        later = [
            max(hand_starts(cue), up)
            for cue in self.cues
            if cue is not entry and hand_starts(cue) >= up - 1e-3 and cue.kind != "one-shot"
        ]
        return entry, Place(round((up + min(later)) / 2, 4), bar=1)


def look_changed_while_lit(d, random):
    entry, at = d.lit(random)
    return [*d.cues, replace(entry, id="new", kind="recall", look="home", place=at, up_seconds=None, down_seconds=None)]


def other_look_than_recalled(d, random):
    entry = d.entries[random.integers(len(d.entries))]
    return d.swapped(entry, look="home")


def look_never_recalled(d, random):
    first = next(cue for cue in d.cues if cue.kind == "recall")
    return [cue for cue in d.cues if cue is not first]


def recall_too_late(d, random):
    pairs = [
        (cue, entry)
        for cue in d.cues
        for entry in d.entries
        if cue.kind == "recall" and cue.place.bar is not None and entry.id.split("/")[1] == cue.id.split("/")[1]
    ]
    if not pairs:
        return None
    recall, entry = pairs[random.integers(len(pairs))]
    return d.swapped(recall, place=replace(recall.place, seconds=hand_starts(entry) - 0.1))


def fade_into_the_next(d, random):
    for entry in d.entries:
        after = [cue for cue in d.cues if cue.side == entry.side and hand_starts(cue) > hand_starts(entry)]
        if after and entry.anchor == "starts-on" and entry.kind != "cut-in":
            return d.swapped(entry, up_seconds=min(map(hand_starts, after)) - hand_starts(entry) + 0.5)
    return None


def recall_while_fading_out(d, random):
    out = d.cues[-1]
    at = replace(out.place, seconds=out.place.seconds + out.down_seconds / 2)
    return [*d.cues, replace(out, id="new", kind="recall", place=at, level=None)] if out.down_seconds else None


def no_way_out(d, random):
    outs = [cue for cue in d.cues if cue.kind in ("fade-out", "cut-out") and cue.trigger != "held"]
    return [cue for cue in d.cues if cue is not outs[-1]]


def two_sides_lit(d, random):
    over = [cue for cue in d.entries if cue.down_seconds is not None]
    return d.swapped(over[0], kind="fade-in", down_seconds=None, down_beats=None) if over else None


def twice_in(d, random):
    entry, at = d.lit(random)
    return [*d.cues, replace(entry, id="new", place=at, kind="fade-in", down_seconds=None)]


def twice_out(d, random):
    out = next(cue for cue in d.cues if cue.kind in ("fade-out", "cut-out") and cue.trigger != "held")
    late = replace(out.place, seconds=out.place.seconds + (out.down_seconds or 0.0) + 0.05)
    return [*d.cues, replace(out, id="new", place=late)]


def follows_on(d, random):
    cue = d.cues[random.integers(len(d.cues))]
    return d.swapped(cue, trigger=str(random.choice(["follow-on", "chase"])))


def nobody_says_go(d, random):
    return d.swapped(d.cues[random.integers(len(d.cues))], operator_confirms=False)


def speed_nought(d, random):
    entry, at = d.lit(random)
    return [*d.cues, make_cue(900, "speed", at, side=entry.side, look=entry.look, cycle_seconds=0.0)]


def speed_of_another_look(d, random):
    entry, at = d.lit(random)
    return [*d.cues, make_cue(900, "speed", at, side=entry.side, look="home", cycle_seconds=4.0)]


def speed_in_the_middle_of_a_fade(d, random):
    slow = [cue for cue in d.entries if (cue.up_seconds or 0.0) > 0.1]
    if not slow:
        return None
    at = Place(hand_starts(slow[0]) + slow[0].up_seconds / 2, bar=1)
    return [*d.cues, make_cue(900, "speed", at, side=slow[0].side, look=slow[0].look, cycle_seconds=4.0)]


def one_shot_in_the_run_of_another(d, random):
    if not d.shots:
        return None
    cue = d.shots[random.integers(len(d.shots))]
    late = replace(cue.place, seconds=cue.place.seconds + d.rig.one_shot.run_seconds / 2)
    return [*d.cues, replace(cue, id="new", series=None, place=late)]


def one_shot_in_the_run_of_a_later_press(d, random):
    series = [cue for cue in d.shots if cue.series is not None]
    if not series:
        return None
    press = presses(series[0], d.grid)[-1]
    return [*d.cues, replace(series[0], id="new", series=None, place=Place(press - 0.2, bar=1))]


def no_such_side(d, random):
    return d.swapped(d.entries[0], side="Z")


def no_such_look(d, random):
    recall = next(cue for cue in d.cues if cue.kind == "recall")
    return [replace(cue, look="ghost") if cue.look == recall.look else cue for cue in d.cues]


# Every fault, and the words it is told in.
FAULTS = {
    look_changed_while_lit: "is lit; a look is changed only in the dark",
    other_look_than_recalled: "not Home",
    look_never_recalled: "holds nothing",
    recall_too_late: "is still moving into",
    fade_into_the_next: "has not ended",
    recall_while_fading_out: "has not ended",
    no_way_out: "it needs a way out",
    two_sides_lit: "another side stays lit",
    twice_in: "is lit already",
    twice_out: "is dark already",
    follows_on: "never follows on by itself",
    nobody_says_go: "needs a person's go",
    speed_nought: "this speed stops it",
    speed_of_another_look: "not Home",
    speed_in_the_middle_of_a_fade: "has not ended",
    one_shot_in_the_run_of_another: "still running",
    one_shot_in_the_run_of_a_later_press: "its press at",
    no_such_side: "there is no side Z",
    no_such_look: "there is no look ghost",
}


@pytest.fixture(scope="module")
def drafts():
    """Lists of random songs that are lit at all, and one song with a series."""
    analyses = [song(seed, 3, 7, 6, 0.9, 96.0, 2.0, uneven=True) for seed in range(60)]
    analyses.append(make_analysis("A32 D16 A32", bpm=126, drive={"A": 0.4, "D": 0.95}))
    made = [Draft(analysis, LASER_SHOT) for analysis in analyses]
    return [each for each in made if each.entries]


@pytest.mark.parametrize("plant", FAULTS, ids=lambda plant: plant.__name__)
def test_a_planted_fault_is_found_in_every_list(drafts, plant):
    random = np.random.default_rng(5)
    told = Counter()
    for each in drafts:
        assert each.problems() == []
        spoilt = plant(each, random)
        if spoilt is not None:
            told[any(FAULTS[plant] in line for line in each.problems(spoilt))] += 1
    assert told[True] >= 1
    assert told[False] == 0, told


def test_a_laser_look_without_motion_is_found_unless_still_beams_are_allowed():
    each = Draft(make_analysis("A8 B8"))
    still = [replace(look, cycle_bars=None, cycle_seconds=None) for look in each.looks]
    assert any("a laser is never still, and subtle-1 has no motion" in line for line in each.problems(looks=still))
    each.rig = replace(RIG, sides=tuple(replace(side, still_beam=True) for side in RIG.sides))
    assert each.problems(looks=still) == []


def test_a_series_is_followed_press_by_press_without_the_bars_that_are_left_out():
    analysis = make_analysis("A16", bpm=120, start=0.0)
    cue = make_cue(1, "one-shot", place_at(analysis, 1, 3.0), series=Series(4, 1, 13, (5,)))
    assert presses(cue, Grid(analysis)) == (1.0, 17.0, 25.0)
    assert presses(cue) == (1.0,)


def test_without_looks_and_bars_the_sides_are_followed_all_the_same():
    each = Draft(make_analysis("A8 B8"))
    assert check_playable(each.cues, RIG) == []
    assert check_playable(each.cues[:-1], RIG) != []
