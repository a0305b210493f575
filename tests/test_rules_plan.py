from dataclasses import replace
from itertools import product

import pytest

from cuesuggest.analysis.types import Event
from cuesuggest.rules import draft, load_profile, load_rig
from cuesuggest.rules.plan.categories import _between, _fits, choose_categories, plan
from cuesuggest.rules.plan.material import budgets, gather
from cuesuggest.score.grid import Grid
from cuesuggest.score.records import CATEGORIES
from tests.songs import make_analysis

BAND, RIG = load_profile("band"), load_rig(None)


def planned(*args, **kwargs):
    analysis = make_analysis(*args, **kwargs)
    return {
        f"{section.label}{section.pass_}": each
        for section, each in zip(
            analysis.sections, plan(gather(Grid(analysis), analysis.events, BAND), BAND), strict=True
        )
    }


def categories(*args, **kwargs):
    return {name: each.category for name, each in planned(*args, **kwargs).items()}


def said(each):
    return "; ".join(each.reasons)


def test_verse_subtle_chorus_lift_and_the_last_chorus_intense():
    found = categories("A8 B8 A8 B8 A8 B8", drive={"A": 0.38, "B": 0.85, "A1": 0.3})
    # Of more than forty bars some stay dark: here the first verse, so that the light has an entrance.
    assert list(found.values()) == ["rest", "lift", "subtle", "lift", "subtle", "intense"]


def test_who_got_the_intense_budget_is_said_where_it_is_missed():
    found = planned("A8 B8 A8 B8 C8 B8", drive={"A": 0.38, "B": 0.85, "C": 0.5})
    assert "kept low: the intense budget of 20 % of the bars is spent on B3" in said(found["B2"])
    assert "the last big section" in said(found["B3"])


def test_a_section_longer_than_the_budget_says_so():
    found = planned("A8 B16 A8", drive={"A": 0.3, "B": 0.9})
    assert "its 16 bars are more than the intense budget of 20 % of the bars" in said(found["B1"])


def test_a_slow_quiet_song_has_no_intense_at_all():
    assert "intense" not in categories("A8 B8 A8 B8 B8", bpm=60, drive={"A": 0.25, "B": 0.6}).values()


def test_a_clearly_quieter_pass_gets_less_light():
    found = planned("A8 B8 A8 B8 A8 B8 A8", drive={"A": 0.3, "B": 0.8, "B2": 0.55})
    assert (CATEGORIES.index(found["B2"].category), found["B2"].level) < (
        CATEGORIES.index(found["B1"].category),
        found["B1"].level,
    )
    assert "clearly quieter than B1, so it gets less light" in said(found["B2"])


def test_intro_and_outro_lean_lower():
    # 0.32 is nearer to a subtle look than to rest; at the edges it is not enough.
    found = planned("I8 A8 B8 A8 B8 O8", drive={"I": 0.32, "A": 0.32, "B": 0.7, "O": 0.32})
    assert found["I1"].category == found["O1"].category == "rest"
    assert found["A1"].category == "subtle"
    assert "the intro leans lower" in said(found["I1"])


def test_talk_is_rest_however_loud():
    analysis = make_analysis("A8 T8 A8", drive={"A": 0.5, "T": 0.9})
    talk = analysis.sections[1]
    events = (Event("talk", talk.start, talk.end, None, None, 0.9),)
    _, quiet, _ = plan(gather(Grid(analysis), events, BAND), BAND)
    assert quiet.category == "rest"
    assert quiet.reasons == ("nobody plays the song here, so the effect light rests",)


def test_a_leading_voice_keeps_the_light_lower():
    # Half-way between subtle and lift, the voice decides.
    drive = {"A": 0.56, "B": 0.56}
    assert categories("A8", drive=drive, voice={"A": 0.0}) == {"A1": "lift"}
    assert categories("A8", drive=drive, voice={"A": 1.0}) == {"A1": "subtle"}


def test_the_loudest_pass_is_named_as_such():
    found = planned("A8 B8 A8 B8 A8 C8 B8", drive={"A": 0.3, "B": 0.6, "B2": 0.7, "C": 0.9})
    assert "loudest of the three B sections (drive 0.70)" in said(found["B2"])
    assert "drive 0.90, the highest in the song" in said(found["C1"])


def allowed(path, material):
    """The rules of the plan, written out once more for checking."""
    cap_intense, cap_lit = budgets(material, BAND)
    bars = [each.section.bars for each in material]
    if sum(n for n, c in zip(bars, path, strict=True) if c == 3) > cap_intense:
        return False
    if sum(n for n, c in zip(bars, path, strict=True) if c > 0) > cap_lit:
        return False
    for later, b in enumerate(material):
        for earlier, a in enumerate(material[:later]):
            if a.section.family != b.section.family or not (a.song and b.song):
                continue
            if abs(path[earlier] - path[later]) > 1:
                return False
            quieter = b.drive < a.drive - BAND.drive.same_within
            if (path[later] > path[earlier]) if quieter else (path[later] < path[earlier]):
                return False
    return True


@pytest.mark.parametrize(
    ("form", "drive"),
    [
        ("A8 B8 A8 B8 C4 B8", {"A": 0.35, "B": 0.8, "C": 0.1}),
        ("A8 A8 A8 A8 A8", {"A1": 0.2, "A2": 0.9, "A3": 0.4, "A4": 0.95, "A5": 0.5}),
        ("A2 B4 C8 A2 B4 C8", {"A": 0.7, "B": 0.72, "C": 0.71, "C2": 0.9}),
        ("A16 B16 A16 B16 A8", {"A": 0.6, "B": 0.65, "A3": 0.3}),
    ],
)
def test_the_plan_is_the_cheapest_of_all_that_the_rules_allow(form, drive):
    analysis = make_analysis(form, drive=drive)
    material = gather(Grid(analysis), analysis.events, BAND)
    fits = _fits(material, BAND)

    def cost(path):
        own = [fits[index][category] for index, category in enumerate(path)]
        if None in own:
            return float("inf")
        steps = range(1, len(path))
        return sum(own) + sum(_between(material, i, path[i - 1], path[i], BAND) for i in steps)

    best = min(cost(path) for path in product(range(4), repeat=len(material)) if allowed(path, material))
    chosen = choose_categories(material, BAND)
    assert allowed(chosen, material)
    assert cost(chosen) == pytest.approx(best, abs=1e-6)


def test_bars_that_are_not_known_make_a_section_rest():
    analysis = make_analysis("A8 B8")
    known = tuple(bar for bar in analysis.bars if bar.number <= 8)
    found = draft(replace(analysis, bars=known), BAND, RIG)
    assert [each.category != "rest" for each in found.plan] == [True, False]
    assert "its bars are not known" in said(found.plan[1])


# Where a build leads in, and what comes too early


def test_where_a_build_leads_in_there_is_light():
    form, drive = "I10 B16 C16 B16", {"I": 0.1, "B1": 0.24, "C": 0.75, "B2": 0.24}
    assert categories(form, drive=drive)["B1"] == "rest"
    for event in (("build", 7, 1, 16), ("drop", 11, 1, 1)):
        led = planned(form, drive=drive, events=[event])["B1"]
        assert led.category == "subtle"
        assert "a build leads in" in said(led)
    elsewhere = planned(form, drive=drive, events=[("build", 5, 1, 16)])["B1"]
    assert elsewhere.category == "rest"


def test_a_build_alone_makes_no_section_big():
    form, drive = "A8 B8 A8 B8 C8 B8", {"A": 0.3, "B": 0.74, "C": 0.5}
    before = [each.category for each in planned(form, drive=drive).values()]
    led = planned(form, drive=drive, events=[("build", 21, 1, 16)])
    assert [each.category for each in led.values()] == before


def test_the_first_fifth_of_a_song_is_intense_only_after_a_build():
    form, drive = "A4 B4 C16 D16 C16", {"A": 0.4, "B": 0.92, "C": 0.5, "D": 0.6}
    early = planned(form, drive=drive)
    assert early["B1"].category == "lift"
    assert "too early in the song" in said(early["B1"])
    assert "the last big section" not in said(early["B1"])
    assert categories(form, drive=drive, events=[("build", 1, 1, 16)])["B1"] == "intense"
    later = {"A": 0.4, "B": 0.92, "C": 0.5, "D": 0.6}
    assert categories("A4 C16 B4 D16 C16", drive=later)["B1"] == "intense"
