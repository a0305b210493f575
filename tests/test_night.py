"""A night of six songs: numbers, shared looks, the biggest look, what lies between, and what goes out."""

import re
from dataclasses import replace
from itertools import product

import pytest

from cuesuggest.errors import CuesuggestError, ProfileError
from cuesuggest.night.arranged import in_night, step_for
from cuesuggest.night.between import crossing
from cuesuggest.night.restraint import has_biggest
from cuesuggest.night.shared_looks import laid_on_buttons, shared
from cuesuggest.night.song_facts import facts_of, size_of
from cuesuggest.night.the_set import open_night
from cuesuggest.rules import check_playable, load_rig, rig_from_values
from cuesuggest.rules.settings.set_list import AFTER, BetweenLook
from cuesuggest.rules.settings.settings_file import load_set_list
from cuesuggest.score.grid import Grid
from cuesuggest.score.light import SideState, hand_starts
from cuesuggest.score.records import Cue, Place
from tests.nights import drafted_song, night_of_six
from tests.songs import make_analysis

KINDS = ("walk_in", *AFTER)


@pytest.fixture(scope="module")
def six(tmp_path_factory):
    return open_night(night_of_six(tmp_path_factory.mktemp("friday")))


@pytest.fixture(scope="module")
def facts(six):
    return [facts_of(song) for song in six.songs]


@pytest.fixture(scope="module")
def lasers(tmp_path_factory):
    return open_night(night_of_six(tmp_path_factory.mktemp("lasers"), load_rig("example")))


def test_cues_are_numbered_over_the_night(six):
    plan = six.plan()
    assert [song.cues[0] for song in plan.songs] == ["101", "201", "301", "401", "501", "601"]
    assert [int(song.cues[1]) % 100 for song in plan.songs] == [len(song.cues) for song in six.songs]


def test_a_song_of_more_than_99_cues_gives_every_song_thousands():
    assert (step_for([12, 99.5]), step_for([100]), step_for([])) == (100, 1000, 100)
    assert in_night(3, 12.5, 100) == 312.5
    assert in_night(3, 104, 1000) == 3104


def test_a_set_list_is_read_and_what_is_wrong_in_it_is_told_with_its_line(tmp_path):
    file = tmp_path / "night.toml"
    file.write_text('[[songs]]\ndocument = "a.cues.json"\nafter = "aplause"\n')
    with pytest.raises(ProfileError, match=r"line 3: songs.1.after is 'aplause'; it should be one of applause, talk"):
        load_set_list(file)
    file.write_text('[[songs]]\ndokument = "a.cues.json"\n')
    with pytest.raises(ProfileError, match=r"line 2: songs.1.dokument is not a known key; did you mean document\?"):
        load_set_list(file)
    file.write_text("[talk]\nlevel = 90\n\n[[songs]]\n")
    with pytest.raises(ProfileError, match=r"talk\.look"):
        load_set_list(file)
    file.write_text('title = "Nobody plays"\n')
    with pytest.raises(CuesuggestError, match="songs"):
        open_night(file)


def test_looks_that_are_built_alike_are_one_in_the_list_of_looks_to_build(six):
    plan = six.plan()
    own = {look.id for song in six.songs for look in song.looks if look.id != "one-shot"}
    assert sorted(each.look.id for each in plan.looks) == sorted(own)
    assert next(each for each in plan.looks if each.look.home).songs == (1, 2, 3, 4, 5, 6)


def test_where_no_speed_can_be_set_songs_share_a_look_if_its_round_is_near_theirs(facts):
    fixed = [replace(each, rig=replace(each.rig, speed=replace(each.rig.speed, unit="none"))) for each in facts]
    found = shared(fixed)
    assert len(found.looks) > len(shared(facts).looks)
    by_id = {look.id: look for look in found.looks}
    for song, names in zip(fixed, found.renamed, strict=True):
        for look in song.looks:
            mine = by_id[names[look.id]]
            within = 1 + song.profile.looks.speed_within.of(look.category)
            assert mine.cycle_seconds == pytest.approx(look.cycle_seconds, rel=within - 1 + 0.01)
    assert len({look.name for look in found.looks}) == len(found.looks)


def fewest_changes(wanted, buttons):
    """By trying everything: the fewest changes of looks on buttons, from any start."""
    states = {frozenset(): 0}
    for index, song in enumerate(wanted):
        after = {}
        for held, cost in states.items():
            for leaving in product((False, True), repeat=len(held)):
                kept = frozenset(look for look, gone in zip(sorted(held), leaving, strict=True) if not gone)
                now = kept | set(song)
                if len(now) <= buttons:
                    # What comes where there was room from the beginning is no change.
                    changes = len(held) - len(kept)
                    after[now] = min(after.get(now, 10**6), cost + changes)
        states = after
        assert states, index
    return min(states.values())


@pytest.mark.parametrize(
    "wanted",
    [
        ["abc", "abd", "abe", "abc", "cde"],
        ["ab", "cd", "ab", "ef", "ab"],
        ["abc", "bcd", "cde", "def", "abc"],
        ["a", "b", "c", "d", "a", "b"],
    ],
)
def test_buttons_change_as_seldom_as_can_be_between_songs(wanted):
    found = laid_on_buttons([list(song) for song in wanted], 3)
    for song, lying in zip(wanted, found, strict=True):
        assert len(lying.on) <= 3
        assert set(song) <= set(lying.on.values())
    assert sum(len(each.changed) for each in found) == fewest_changes(wanted, 3)


@pytest.mark.parametrize("buttons", [2, 3, 4, 6])
def test_no_song_has_more_looks_than_there_are_buttons_and_what_found_none_is_told(tmp_path, buttons):
    plan = open_night(night_of_six(tmp_path, buttons=buttons)).plan()
    for song in plan.songs:
        assert len(song.buttons) <= buttons
        played = {look for _, look in song.renamed}
        without = played - {look for _, look in song.buttons}
        assert len([words for words in song.changes if "no button" in words]) == len(without)
        assert len(without) == max(0, len(played) - buttons)


@pytest.mark.parametrize("buttons", [1, 2, 3, 4])
@pytest.mark.parametrize("rig", ["two-lamps-strobe", "one-laser", "example"])
@pytest.mark.parametrize("speed", ["as it is", "none"])
def test_what_is_set_up_lies_on_a_button_at_that_moment_or_is_told_to_have_none(tmp_path, rig, buttons, speed):
    on = load_rig(rig)
    on = on if speed == "as it is" else replace(on, speed=replace(on.speed, unit=speed))
    opened = open_night(night_of_six(tmp_path, on, buttons=buttons))
    assert hand_on_buttons(opened, "pad" if buttons % 2 else "applause") == []


def test_a_look_that_the_song_needs_again_has_no_button_there_and_that_is_told(six):
    opened = replace(six, set_list=replace(six.set_list, buttons=2), songs=(set_again(six.songs[0]), *six.songs[1:]))
    assert hand_on_buttons(opened, "segue") == []
    told = [words for words in opened.plan().songs[0].changes if "Slow wave" in words]
    assert told == [
        "There is no button for Slow wave but before the song: where it is set up again, it cannot be played."
    ]


def test_a_look_stays_on_its_button_from_the_song_before_until_it_is_set_up(tmp_path):
    plan = open_night(night_of_six(tmp_path, buttons=3)).plan()
    assert plan.songs[2].changes == ("Before it, button 2 gets Slow wave in place of Parallel beams.",)
    steps = (
        "Slow wave set up on side A while it is dark (cue 401, done with this).",
        "Then button 2 gets Parallel beams.",
    )
    assert plan.between[3].steps[-2:] == steps
    assert not any("Before it, button 2" in words for words in plan.songs[3].changes)


def test_a_look_to_build_says_on_which_buttons_it_lies_and_which_it_has_only_before_a_song(six):
    plan = replace(six, set_list=replace(six.set_list, buttons=3)).plan()
    words = {each.look.name: plan.buttons_words(each) for each in plan.looks}
    assert words["Slow wave"] == "button 2, before a song 3"
    assert words["Home"] == "button 1"
    slow = next(each for each in plan.looks if each.look.name == "Slow wave")
    assert plan.buttons_words(replace(slow, buttons=(), lent=(3,))) == "button 3, only before a song"
    assert plan.buttons_words(replace(slow, buttons=(2, 4), lent=())) == "buttons 2, then 4"
    assert plan.buttons_words(replace(slow, buttons=(), lent=(3, 2))) == "buttons 2 or 3, only before a song"
    assert plan.buttons_words(replace(slow, buttons=(), lent=())) == "no button"


def test_in_a_segue_a_button_changes_already_in_the_song_before(tmp_path):
    opened = open_night(night_of_six(tmp_path, buttons=3))
    found = all_after(opened, "segue").plan().between
    early = "Before the song is over, once its last look is set up: button 3 gets Slow wave in place of "
    assert found[1].steps[0].startswith(early)
    assert found[1].steps[1] == "Whatever is up: out over 2 s."
    assert not found[0].steps[0].startswith(early)


def test_a_look_between_songs_is_one_that_has_a_button_and_it_can_be_played(six):
    facts = [facts_of(song) for song in six.songs]
    song, grid = six.songs[1], Grid(six.songs[1].analysis)
    subtle = [look.id for look in facts[1].looks if look.category == "subtle" and not look.home]
    assert crossing("pad", six.set_list, facts[0], facts[1], "").look.id in subtle
    way = crossing("pad", six.set_list, facts[0], facts[1], "", without=subtle)
    assert way.look.home
    for states in every_state(song):
        assert problems(way, states, song, grid, whole=False) == [], states


def all_after(opened, kind):
    return replace(opened, places=tuple(replace(place, after=kind) for place in opened.places))


def set_again(song):
    """A song whose first look is set up a second time, once the others have been."""
    first = next(cue for cue in song.cues if cue.kind == "recall")
    last = [cue for cue in song.cues if cue.kind == "recall"][-1]
    return song.replaced(cues=(*song.cues, replace(first, id="again", number=90.0, place=last.place)))


def hand_on_buttons(opened, after):
    """Do all that a plan says with buttons, in its order; returns what was set up and lay on none."""
    plan = all_after(opened, after).plan()
    names = {each.look.id: each.look.name for each in plan.looks}
    name = "|".join(sorted(map(re.escape, names.values()), key=len, reverse=True))
    step = re.compile(
        rf"[Bb]utton (?P<at>\d+) gets (?P<new>{name})( in place of (?P<old>{name}))?|(?P<up>{name}) set up on side"
    )
    on = {button: names[look] for button, look in plan.songs[0].buttons}
    missing = []
    for index, part in enumerate(plan.between):
        said = plan.songs[index].changes if index < len(plan.songs) else ()
        before = [words for words in said if words.startswith("Before it")]
        for found in step.finditer(" ".join([*before, *part.steps])):
            if found["up"]:
                missing += [] if found["up"] in on.values() else [f"{part.title}: {found['up']}"]
                continue
            assert found["old"] in (None, on[int(found["at"])])
            on[int(found["at"])] = found["new"]
        if index == len(plan.songs):
            return missing
        assert on == {button: names[look] for button, look in plan.songs[index].buttons}
        ids, begins = dict(plan.songs[index].renamed), facts_of(opened.songs[index]).set_by
        for cue in opened.songs[index].cues:
            if cue.kind == "recall" and cue.number != begins and names[ids[cue.look]] not in on.values():
                told = [words for words in said if words.startswith(f"There is no button for {names[ids[cue.look]]}")]
                missing += [] if "cannot be played" in " ".join(told) else [f"cue {cue.number}"]
    return missing


def test_the_set_list_may_say_how_many_buttons_there_are(six):
    fewer = replace(six, set_list=replace(six.set_list, buttons=3))
    assert (six.plan().buttons, fewer.plan().buttons) == (12, 3)


def test_the_biggest_look_is_kept_for_where_it_counts_and_said_song_by_song(six, facts):
    having, keeping = has_biggest(facts, 0)
    top = max(size_of(each.biggest[0].look) for each in facts)
    assert having == {k for k, each in enumerate(facts) if size_of(each.biggest[0].look) == top}
    assert len(keeping) == 2 < len(having)
    assert max(having) in keeping
    plan = six.plan()
    assert [song.number for song in plan.songs if song.gives_way] == [k + 1 for k in sorted(having - keeping)]
    for song in plan.songs:
        assert ("keep it for" in song.restraint) == song.gives_way
    assert has_biggest(facts, 6)[1] == having


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("night", ["six", "lasers"])
def test_every_transition_can_be_played_from_any_state_at_the_end_of_the_song_before(request, night, kind):
    opened = request.getfixturevalue(night)
    facts = [facts_of(song) for song in opened.songs]
    for index, song in enumerate(opened.songs):
        before, grid = facts[index - 1] if index else None, Grid(song.analysis)
        way = crossing(kind, opened.set_list, before, facts[index], "")
        for states in every_state(song):
            assert problems(way, states, song, grid, whole=False) == [], states
        lit = {side["name"]: SideState(facts[index].looks[-1].id, True, 60) for side in song.rig.values["sides"]}
        assert problems(way, lit, song, grid, whole=True) == []


@pytest.mark.parametrize("look", ["home", "subtle"])
@pytest.mark.parametrize("night", ["six", "lasers"])
def test_it_can_be_played_with_a_look_of_ones_own_too(request, night, look):
    opened = request.getfixturevalue(night)
    facts = [facts_of(song) for song in opened.songs]
    song, grid = opened.songs[1], Grid(opened.songs[1].analysis)
    for kind in KINDS[:-1]:
        set_list = replace(opened.set_list, **{kind: BetweenLook(look, 30, 5.0)})
        way = crossing(kind, set_list, facts[0], facts[1], "")
        assert way.look is not None
        for states in every_state(song):
            assert problems(way, states, song, grid, whole=False) == [], states


def test_on_one_side_the_next_look_is_set_once_the_look_between_has_left_it(tmp_path):
    opened = open_night(night_of_six(tmp_path, load_rig("one-laser")))
    facts = [facts_of(song) for song in opened.songs]
    song, grid = opened.songs[1], Grid(opened.songs[1].analysis)
    way = crossing("applause", opened.set_list, facts[0], facts[1], "201")
    assert [cue.kind for cue in way.cues({}, 0.0)] == ["recall", "fade-in", "fade-out", "recall"]
    for states in every_state(song):
        assert problems(way, states, song, grid, whole=True) == [], states


def every_state(song):
    """Each side dark or lit, with nothing or any look of the song on it."""
    sides = [side["name"] for side in song.rig.values["sides"]]
    looks = [look.id for look in song.looks if look.id != "one-shot"]
    each = [SideState(), *(SideState(look, lit, 60 if lit else None) for look in looks for lit in (False, True))]
    for states in product(each, repeat=len(sides)):
        yield dict(zip(sides, states, strict=True))


def problems(way, states, song, grid, *, whole):
    """What cannot be played of a transition and the song after it, as it is, from a state."""
    # Its own first recall is the last step of the way: the hand does it once.
    cues = [cue for cue in song.cues if not recalls_first(cue, way)]
    begins = min(hand_starts(cue, grid) for cue in cues)
    if not whole:
        cues = [cue for cue in cues if hand_starts(cue, grid) == begins]
    between = way.cues(states, begins - 0.01)
    start = min(cue.place.seconds for cue in between) - 60
    found = check_playable([*led_to(states, start), *between, *cues], way.rig, song.looks, grid)
    ends = () if whole else ("Side ",)  # is lit at the end, where the rest of the song is left out
    return [each for each in found if not each.startswith(("lead/", *ends))]


def recalls_first(cue, way):
    return cue.kind == "recall" and cue.place.bar is None and (cue.side, cue.look) == way.begins


def led_to(states, start):
    """Cues that lead to a state."""
    for index, (side, state) in enumerate(states.items()):
        if state.look is None:
            continue
        yield made(f"lead/recall/{index}", "recall", start, side, state.look)
        if state.lit:
            yield made(f"lead/in/{index}", "cut-in", start + 20, side, state.look, level=60)


def made(id_, kind, seconds, side, look, level=None):
    return Cue(
        id_, 0.0, kind, "hand", "starts-on", Place(seconds), ("a state",), 1.0, look=look, side=side, level=level
    )


def test_a_transition_that_forgot_what_is_lit_would_be_found(six):
    facts = [facts_of(song) for song in six.songs]
    way = crossing("talk", six.set_list, facts[0], facts[1], "")
    lit, song = {"A": SideState("subtle-1", True, 60)}, six.songs[1]
    assert problems(way, lit, song, Grid(song.analysis), whole=True) == []
    between = way.cues({}, -10.0)
    found = check_playable([*led_to(lit, -100.0), *between], rig_from_values(song.rig.values), song.looks)
    assert "side A is lit; a look is changed only in the dark" in found[0]


def test_no_laser_is_up_while_people_walk_about_unless_the_set_list_says_so_and_then_with_a_caution(lasers):
    plan = lasers.plan()
    assert plan.between[0].light == "no effect light (people walk about: no laser)"
    own = replace(lasers, set_list=replace(lasers.set_list, walk_in=BetweenLook("home", 20, 8.0)))
    found = own.plan().between[0]
    assert found.light == "Home at 20 %"
    assert "in the beams" in found.cautions[0] or "into the beams" in found.cautions[0]


def test_a_transition_names_the_cue_that_sets_the_next_song_up(six):
    assert "(cue 201)" in " ".join(six.plan().between[1].steps)
    assert "Whatever is up: out over 3 s." in six.plan().between[1].steps


def test_a_song_without_any_cue_is_played_in_the_dark_and_breaks_nothing(six):
    bare = drafted_song("Talk", make_analysis(""))
    found = replace(six, songs=(bare, *six.songs[1:])).plan()
    assert found.songs[0].cues == ("", "")
    assert found.songs[0].restraint == "No effect light comes in."


def test_songs_for_another_rig_are_told(six, lasers):
    mixed = replace(six, songs=(*six.songs[:5], lasers.songs[5]))
    assert mixed.plan().remarks[0].startswith("Lantern Street: not drafted for the rig of Paper Boats.")
