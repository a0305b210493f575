"""What the plan makes of a song: peaks, drops, budgets with a soft edge, the middle of the scale, and why."""

from dataclasses import replace
from itertools import pairwise, product

import pytest
from hypothesis import given

from cuesuggest.analysis.types import Event
from cuesuggest.rules import draft, known_names, load_profile, load_rig
from cuesuggest.rules.plan.categories import (
    _AND_AGAIN,
    Shape,
    _between,
    _fits,
    choose_shapes,
    intense_budget,
    lit_budget,
)
from cuesuggest.rules.plan.material import INTENSE, gather
from cuesuggest.rules.plan.planning import plan
from cuesuggest.score.grid import Grid
from cuesuggest.score.records import CATEGORIES
from tests.songs import make_analysis, retimed
from tests.test_rules_properties import quick, songs

BAND, GENTLE, CLUB, RIG = load_profile("band"), load_profile("gentle"), load_profile("club"), load_rig(None)
STYLES = [load_profile(name) for name in known_names("profiles")]


def drafted(*args, style=BAND, rig=RIG, **kwargs):
    """Plan of a draft, by mark."""
    analysis = make_analysis(*args, **kwargs)
    found = draft(analysis, style, rig)
    return {section.mark: each for section, each in zip(analysis.sections, found.plan, strict=True)}


def planned(*args, style=BAND, **kwargs):
    """The first part of each section as planned, before hands and sides have their say."""
    analysis = make_analysis(*args, **kwargs)
    grid = Grid(analysis)
    parts, made = plan(gather(grid, analysis.events, style), grid, style)
    return {part.section.mark: each for part, each in zip(parts, made, strict=True) if part.ordinal == 1}


def shapes(*args, style=BAND, **kwargs):
    """What each section is made of: (bar from 1, category)."""
    analysis = make_analysis(*args, **kwargs)
    chosen = choose_shapes(gather(Grid(analysis), analysis.events, style), style)
    return {
        section.mark: [(start + 1, CATEGORIES[category]) for start, category in shape.parts]
        for section, shape in zip(analysis.sections, chosen, strict=True)
    }


def categories(*args, **kwargs):
    return {name: each.category for name, each in planned(*args, **kwargs).items()}


def rank(each):
    return CATEGORIES.index(each.category)


def said(each):
    return " ".join(each.reasons)


# Categories by drive


def test_verse_subtle_chorus_lift_and_the_last_chorus_intense():
    found = categories("A8 B8 A8 B8 A8 B8", drive={"A": 0.38, "B": 0.85, "A1": 0.3})
    assert list(found.values()) == ["rest", "lift", "subtle", "lift", "subtle", "intense"]


def test_a_slow_quiet_song_has_no_intense_at_all():
    for style in STYLES:
        assert "intense" not in categories("A8 B8 A8 B8 B8", bpm=60, drive={"A": 0.25, "B": 0.6}, style=style).values()


def test_a_clearly_quieter_pass_gets_less_light():
    found = planned("A8 B8 A8 B8 A8 B8 A8", drive={"A": 0.3, "B": 0.8, "B2": 0.55})
    assert (rank(found["B2"]), found["B2"].level) < (rank(found["B1"]), found["B1"].level)


def test_a_section_that_is_kept_below_an_earlier_one_says_that_it_is_quieter():
    found = planned("A8 A8 B8 A8 B8 A8", drive={"A": 0.35, "B": 0.9, "B2": 0.5})
    assert "clearly quieter than B1, so it gets less light" in said(found["B2"])


def test_intro_and_outro_are_kept_lower():
    found = planned("I8 A8 B8 A8 B8 O8", drive={"I": 0.3, "A": 0.3, "B": 0.7, "O": 0.3})
    assert found["I1"].category == found["O1"].category == "rest"
    assert found["A1"].category == "subtle"
    assert "the intro" in said(found["I1"])
    assert "the outro" in said(found["O1"])


def test_a_song_may_end_at_its_biggest():
    found = planned("A8 B8 A8 B8 C8", drive={"A": 0.4, "B": 0.7, "C": 0.87})
    assert found["C1"].category == "intense"
    assert "outro" not in said(found["C1"])


def test_talk_is_rest_however_loud():
    analysis = make_analysis("A8 T8 A8", drive={"A": 0.5, "T": 0.9})
    talk = analysis.sections[1]
    events = (Event("talk", talk.start, talk.end, None, None, 0.9),)
    grid = Grid(analysis)
    parts, made = plan(gather(grid, events, BAND), grid, BAND)
    (quiet,) = [each for part, each in zip(parts, made, strict=True) if part.section.id == talk.id]
    assert quiet.category == "rest"
    assert quiet.reasons == ("Nobody plays the song here, so the effect light rests.",)


def test_a_pause_between_two_bars_of_a_section_makes_no_talk_of_it():
    paused = retimed(make_analysis("A8 B8 A8", drive={"A": 0.4, "B": 0.8}), pauses={13: 30.0})
    found = draft(paused, BAND, RIG)
    assert found.plan[1].category != "rest"


def test_a_leading_voice_keeps_the_light_lower():
    # Half-way between subtle and lift, the voice decides.
    drive = {"A": 0.575}
    assert categories("A8", drive=drive, voice={"A": 0.0}) == {"A1": "lift"}
    assert categories("A8", drive=drive, voice={"A": 1.0}) == {"A1": "subtle"}


def test_a_song_is_judged_within_its_own_range_as_well():
    # The same chorus: in one song the loudest by far, in the other beside something louder.
    low = categories("A8 B8 A8 B8", drive={"A": 0.3, "B": 0.58})
    beside = categories("A8 B8 A8 C8", drive={"A": 0.3, "B": 0.58, "C": 0.9})
    assert low["B2"] == "lift"
    assert rank(planned("A8 B8 A8 B8", drive={"A": 0.3, "B": 0.58})["B2"]) >= CATEGORIES.index(beside["B1"])


def test_bars_that_are_not_known_make_a_section_rest():
    analysis = make_analysis("A8 B8")
    known = tuple(bar for bar in analysis.bars if bar.number <= 8)
    found = draft(replace(analysis, bars=known), BAND, RIG)
    assert [each.category != "rest" for each in found.plan] == [True, False]
    assert "Its bars are not known" in said(found.plan[1])


# The peak


@pytest.mark.parametrize("style", STYLES, ids=lambda style: style.name)
def test_the_loudest_section_above_the_floor_has_the_biggest_look_as_of_right(style):
    top = round(style.drive.intense_floor + 0.02, 2)
    found = drafted("A8 B8 A8 B8 C8 D8", drive={"A": 0.3, "B": 0.6, "C": 0.5, "D": top}, style=style)
    assert found["D1"].category == "intense"
    assert all(found["D1"].level >= each.level for each in found.values())


@pytest.mark.parametrize("bars", [15, 16, 17, 20, 24])
def test_one_bar_over_the_budget_is_no_cliff(bars):
    found = shapes(f"A16 B16 A16 C{bars}", drive={"A": 0.4, "B": 0.6, "C": 0.9})
    assert "intense" in {category for _, category in found["C1"]}


def test_a_last_chorus_longer_than_the_budget_is_intense_in_its_last_phrases():
    found = shapes("A16 B16 A16 B40", drive={"A": 0.4, "B": 0.9, "B1": 0.6})
    assert [category for _, category in found["B2"]] == ["lift", "intense"]
    start = found["B2"][1][0]
    assert start % 4 == 1, "a phrase starts every four bars"
    assert 41 - start >= 8


def test_where_a_drop_opens_it_the_first_phrases_are_intense():
    found = shapes("A16 B16 A16 B40", drive={"A": 0.4, "B": 0.9, "B1": 0.6}, events=[("drop", 49, 1, 0.0)])
    assert [category for _, category in found["B2"]] == ["intense", "lift"]


@pytest.mark.parametrize("style", [BAND, CLUB], ids=lambda style: style.name)
def test_every_drop_has_at_least_its_first_eight_bars(style):
    events = [("build", 9, 1, 32.0), ("drop", 17, 1, 0.0), ("build", 41, 1, 32.0), ("drop", 49, 1, 0.0)]
    found = shapes("A16 D16 A16 D32", drive={"A": 0.4, "D": 0.85}, events=events, style=style)
    for name, bars in (("D1", 16), ("D2", 32)):
        first = found[name][0]
        until = found[name][1][0] if len(found[name]) > 1 else bars + 1
        assert first == (1, "intense")
        assert until - 1 >= 8


def test_what_is_not_driven_enough_has_no_right_to_anything():
    found = shapes("A16 B16 A16 B16", drive={"A": 0.3, "B": 0.6}, events=[("drop", 17, 1, 0.0)])
    assert not any(category == "intense" for parts in found.values() for _, category in parts)


def test_who_got_the_intense_budget_is_said_where_it_is_missed():
    found = planned("A8 B8 A8 B8 C8 B8", drive={"A": 0.38, "B": 0.85, "C": 0.5})
    assert "20 % of the bars may be intense, and they are kept for B3" in said(found["B2"])
    assert "the last big section" in said(found["B3"])


# Where a build leads in, and what comes too early


def test_where_a_build_leads_in_there_is_light():
    form, drive = "I10 B16 C16 B16", {"I": 0.1, "B1": 0.24, "C": 0.75, "B2": 0.24}
    # Fast, so that so many bars may be dark.
    assert categories(form, drive=drive, bpm=200)["B1"] == "rest"
    for event in (("build", 7, 1, 16), ("drop", 11, 1, 1)):
        led = planned(form, drive=drive, events=[event], bpm=200)["B1"]
        assert led.category == "subtle"
        assert "A build leads in" in said(led)
    elsewhere = planned(form, drive=drive, events=[("build", 5, 1, 16)], bpm=200)["B1"]
    assert elsewhere.category == "rest"


def test_a_build_alone_makes_no_section_big():
    form, drive = "A8 B8 A8 B8 C8 B8", {"A": 0.3, "B": 0.71, "C": 0.5}
    led = planned(form, drive=drive, events=[("build", 21, 1, 16)])
    assert "intense" not in [each.category for each in led.values()]


def test_the_first_fifth_of_a_song_is_intense_only_after_a_build():
    form, drive = "A4 B4 C16 D16 B8", {"A": 0.4, "B": 0.88, "C": 0.5, "D": 0.6}
    early = planned(form, drive=drive)
    assert early["B1"].category == "lift"
    assert "early in the song" in said(early["B1"])
    assert shapes(form, drive=drive, events=[("build", 1, 1, 16)])["B1"] == [(1, "intense")]


def test_the_one_loudest_place_is_the_peak_wherever_it_stands():
    assert categories("A4 B8 C16 D16 C16", drive={"A": 0.4, "B": 0.92, "C": 0.5, "D": 0.6})["B1"] == "intense"


# The middle of the scale


@pytest.mark.parametrize("style", STYLES, ids=lambda style: style.name)
@quick
@given(songs)
def test_nothing_louder_than_the_middle_of_the_song_is_planned_dark(style, analysis):
    material = gather(Grid(analysis), analysis.events, style)
    played = sorted(each.drive for each in material if each.song for _ in range(each.section.bars))
    for each, shape in zip(material, choose_shapes(material, style), strict=True):
        if each.song and (each.drive > played[len(played) // 2] or each.drive >= 0.6):
            assert shape.first > 0


def test_first_light_comes_by_the_first_chorus():
    # At 60 beats a minute eight bars are 32 seconds; three sections of them would be dark for a minute and a half.
    found = categories("I8 A8 C8 B8 A8 B8", bpm=60, drive={"I": 0.1, "A": 0.15, "C": 0.12, "B": 0.8}, style=GENTLE)
    assert list(found.values())[:2].count("rest") < 2
    first = planned("I8 A8 C8 B8 A8 B8", bpm=60, drive={"I": 0.1, "A": 0.15, "C": 0.12, "B": 0.8}, style=GENTLE)["A1"]
    assert first.category == "rest" or "first light" in said(first)


@pytest.mark.parametrize("style", STYLES, ids=lambda style: style.name)
@pytest.mark.parametrize(("verse", "chorus"), [(0.45, 0.58), (0.6, 0.72), (0.66, 0.8), (0.3, 0.42)])
def test_each_chorus_is_a_visible_step_above_what_comes_before_it(style, verse, chorus):
    found = drafted("A8 B8 A8 B8 A8 B8", bpm=100, drive={"A": verse, "B": chorus}, style=style)
    for before, after in pairwise(found.values()):
        if after.drive > before.drive and after.category != "rest":
            assert rank(after) > rank(before) or after.level - before.level >= 15 or after.look != before.look
        if after.drive < before.drive and after.category == before.category != "rest":
            assert after.level <= before.level - 15 or after.look != before.look


def ramps(*args, style=BAND, **kwargs):
    analysis = make_analysis(*args, **kwargs)
    return [cue for cue in draft(analysis, style, RIG).cues if cue.kind == "ramp"]


def test_a_long_section_moves_a_little_about_every_sixteen_bars():
    (first, *more) = ramps("A4 B48 A4", bpm=120, drive={"A": 0.1, "B": 0.6})
    assert [cue.place.bar_in_section for cue in (first, *more)] == [17, 33]
    assert all(cue.up_beats or cue.down_beats for cue in (first, *more))


def test_in_a_club_a_phrase_is_eight_bars():
    found = ramps("A4 B24 A4", bpm=124, drive={"A": 0.1, "B": 0.5}, style=CLUB)
    assert [cue.place.bar_in_section for cue in found] == [9, 17]


def test_at_a_slow_tempo_a_phrase_is_no_longer_than_the_patience_of_the_eye():
    found = ramps("A4 B32 A4", bpm=60, drive={"A": 0.1, "B": 0.6})
    assert [cue.place.bar_in_section for cue in found] == [9, 17, 25]


def test_in_a_gentle_song_a_rise_takes_eight_bars():
    found = ramps("A4 B48 A4", bpm=100, drive={"A": 0.1, "B": 0.5}, style=GENTLE)
    assert {(cue.up_beats or cue.down_beats) / 4 for cue in found} == {8.0}


# Reasons


def test_the_loudest_pass_is_named_as_such():
    found = planned("A8 B8 A8 B8 A8 C8 B8", drive={"A": 0.3, "B": 0.6, "B2": 0.7, "C": 0.9})
    assert "the loudest of the three B sections (drive 0.70 of 1)" in said(found["B2"])
    assert "the loudest section of the song (drive 0.90 of 1)" in said(found["C1"])


@quick
@given(songs)
def test_no_reason_says_of_the_music_what_is_not_so(analysis):
    grid = Grid(analysis)
    found = draft(analysis, BAND, RIG)
    drives = {section.mark: grid.drive_of(section) for section in analysis.sections}
    played = {each.section.mark for each in gather(grid, analysis.events, BAND) if each.song}
    for section, each in zip(analysis.sections, found.plan, strict=True):
        own, others = drives[section.mark], [drives[mark] for mark in played if mark != section.mark]
        for reason in each.reasons:
            assert reason[0].isupper(), reason
            assert reason.endswith("."), reason
            if "the loudest section" in reason:
                assert own > max(others)
            if "the quietest section" in reason:
                assert own < min(others)
            if "louder than most" in reason:
                assert sum(own > other for other in others) > len(others) / 2
            if "quieter than most" in reason:
                assert sum(own < other for other in others) > len(others) / 2
            if "clearly quieter than" in reason:
                assert own < drives[reason.split("clearly quieter than ")[1].split(",")[0]]
            if "as loud as" in reason and "beside it" in reason:
                beside = reason.split("as loud as ")[1].split(" beside")[0]
                assert abs(own - drives[beside]) < BAND.drive.contrast_from
            if "lifted above" in reason:
                assert own > drives[reason.split("lifted above ")[1].split(",")[0]]
            if "so that" in reason and "arrives" in reason:
                assert drives[reason.split("so that ")[1].split(" arrives")[0]] > own


@quick
@given(songs)
def test_what_follows_is_called_quiet_only_where_it_is_quieter(analysis):
    grid = Grid(analysis)
    found = draft(analysis, BAND, RIG)
    bars = {bar.number: bar for bar in analysis.bars}
    for cue in found.cues:
        assert all(reason[0].isupper() and reason.endswith(".") for reason in cue.reasons), cue.reasons
        if any("the quiet after it" in reason for reason in cue.reasons):
            section = grid.section_of(cue.place.bar)
            # A part of a section may be followed by another part of it.
            later = [bar.drive for bar in analysis.bars if bar.start > cue.place.seconds and bar.number in bars]
            assert min(later) <= grid.drive_of(section) + 1e-6


# The optimisation itself


def allowed(path, material):
    """The rules of the plan, written out once more for checking."""
    for later, b in enumerate(material):
        for earlier, a in enumerate(material[:later]):
            if a.section.family != b.section.family or not (a.song and b.song):
                continue
            one, other = path[earlier].top, path[later].top
            if abs(one - other) > 1:
                return False
            quieter = b.drive < a.drive - BAND.drive.same_within
            if (other > one) if quieter else (other < one):
                return False
    return True


@pytest.mark.parametrize(
    ("form", "drive"),
    [
        ("A8 B8 A8 B8 C4 B8", {"A": 0.35, "B": 0.8, "C": 0.1}),
        ("A8 A8 A8 A8 A8", {"A1": 0.2, "A2": 0.9, "A3": 0.4, "A4": 0.95, "A5": 0.5}),
        ("A2 B4 C8 A2 B4 C8", {"A": 0.7, "B": 0.72, "C": 0.71, "C2": 0.9}),
        ("A16 B16 A16 B16 A8", {"A": 0.6, "B": 0.65, "A3": 0.3}),
        ("A16 B24 A16 B24", {"A": 0.5, "B": 0.9}),
    ],
)
def test_the_plan_is_the_cheapest_of_all_that_the_rules_allow(form, drive):
    # Short enough that the song may be dark up to its second section.
    analysis = make_analysis(form, drive=drive, bpm=200)
    material = gather(Grid(analysis), analysis.events, BAND)
    fits = _fits(material, BAND, owed=True)
    bars = [each.section.bars for each in material]
    most = intense_budget(material, BAND)
    wall = most + max(12, most / 2)

    def cost(path):
        own = [dict(fits[index])[shape] for index, shape in enumerate(path)]
        beside = [_between(material, i, path[i - 1].last, path[i].first, BAND) for i in range(1, len(path))]
        beside += [_AND_AGAIN for a, b in pairwise(path) if a.last == b.top == INTENSE > b.first]
        intense = sum(shape.bars_of(INTENSE, count) for shape, count in zip(path, bars, strict=True))
        lit = sum(count - shape.bars_of(0, count) for shape, count in zip(path, bars, strict=True))
        if intense > wall + 1e-9:
            return float("inf")
        price = sum(
            weight * sum(bars) / 80 * (max(count - budget, 0) / (0.1 * sum(bars))) ** 2
            for weight, count, budget in (
                (BAND.weights.over_intense, intense, most),
                (BAND.weights.over_lit, lit, lit_budget(material, BAND)),
            )
        )
        return sum(own) + sum(beside) + price

    every = product(*([shape for shape, _ in row] for row in fits))
    best = min(cost(path) for path in every if allowed(path, material))
    chosen = choose_shapes(material, BAND)
    assert allowed(chosen, material)
    assert cost(chosen) == pytest.approx(best, abs=1e-6)


def test_a_shape_counts_its_bars():
    shape = Shape(((0, 2), (8, 3), (16, 2)))
    assert (shape.first, shape.last, shape.top) == (2, 2, 3)
    assert shape.spans(20) == [(0, 8, 2), (8, 16, 3), (16, 20, 2)]
    assert (shape.bars_of(3, 20), shape.bars_of(2, 20)) == (8, 12)


def test_a_style_with_another_number_of_colours_does_not_say_how_they_go_together():
    colours = replace(BAND.looks.colours, lift=1, subtle=1)
    style = replace(BAND, looks=replace(BAND.looks, colours=colours))
    looks = {look.id: look for look in draft(make_analysis("A8 B8 A8 B8 B8", drive={"B": 0.7}), style, RIG).looks}
    assert (looks["lift-1"].colours, looks["lift-1"].colour_relation) == (1, "one colour")
    assert looks["subtle-1"].colour_relation == "one colour, close to the stage's own"
