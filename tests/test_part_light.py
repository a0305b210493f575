"""What the live page says of the light of a part, held against the light itself, second by second."""

from __future__ import annotations

import re
from dataclasses import replace
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cuesuggest.export import Options
from cuesuggest.export.paper.live import live_page, section_light
from cuesuggest.export.paper.part_light import goes_before_next
from cuesuggest.score.grid import Grid
from cuesuggest.score.light import SideState, follow, hand_starts
from tests.busy import busy_song
from tests.exported import random_song
from tests.songs import make_cue, make_song, place_at

SIDE = re.compile(
    r"side (?P<side>\S+)(?: (?P<look>[^%]*?))??(?: (?P<going>rising to|falling to))?(?: (?P<level>\d+) ?%?)?"
)


def light(song):
    """The words for each part, by its mark."""
    return {section.mark: section_light(song, Options())[section.id] for section in song.analysis.sections}


def song_with(*cues, form="A8 B8 A8"):
    song = make_song(form, bpm=120)
    return song.replaced(
        cues=[
            make_cue(number, kind, place_at(song.analysis, bar), **fields)
            for number, (bar, kind, fields) in enumerate(cues, 1)
        ]
    )


B_UP = {"look": "lift", "side": "B", "level": 65}
A_UP = {"look": "home", "side": "A", "level": 40}


def test_a_part_in_which_light_comes_in_is_not_called_dark():
    assert light(song_with((13, "cut-in", B_UP)))["B1"] == "dark, then side B Wide fans 65 %"


def test_light_that_rises_through_a_part_into_the_next_is_said_to_rise():
    rise = {**B_UP, "anchor": "lands-on", "up_beats": 16.0, "up_seconds": 8.0}
    song = song_with((17, "fade-in", rise))
    assert light(song)["B1"] == "dark, then side B Wide fans rising to 65 %"
    assert light(song)["A2"] == "side B Wide fans 65 %"
    (act,) = live_page(song, Options()).acts
    assert (act.where, act.text) == ("bar 5", "B up to 65 in 16 beats into part A")


def test_light_that_has_been_rising_since_an_earlier_part_is_not_dark_in_between():
    rise = {**B_UP, "anchor": "lands-on", "up_beats": 48.0, "up_seconds": 24.0}
    assert light(song_with((17, "fade-in", rise)))["B1"] == "side B Wide fans rising to 65 %"


def test_a_level_that_changes_in_a_part_is_said_with_what_it_becomes():
    words = light(song_with((1, "cut-in", A_UP), (5, "ramp", {"side": "A", "level": 60, "up_beats": 4.0})))
    assert words == {
        "A1": "side A Slow drift 40, then 60 %",
        "B1": "side A Slow drift 60 %",
        "A2": "side A Slow drift 60 %",
    }


def test_a_level_that_is_on_its_way_to_the_end_of_a_part_is_said_to_go_up_or_down():
    ramp = {"side": "A", "level": 60, "up_beats": 16.0, "up_seconds": 8.0}
    words = light(song_with((1, "cut-in", A_UP), (5, "ramp", ramp)))
    assert words["A1"] == "side A Slow drift 40, up to 60 %"
    words = light(song_with((1, "cut-in", A_UP), (5, "ramp", {**ramp, "level": 20})))
    assert words["A1"] == "side A Slow drift 40, down to 20 %"


def test_light_that_takes_long_to_leave_is_said_to_go():
    out = {"side": "A", "down_seconds": 10.0}
    words = light(song_with((1, "cut-in", A_UP), (8, "fade-out", out)))
    assert words == {"A1": "side A Slow drift 40 %", "B1": "side A Slow drift going out", "A2": "dark"}


def test_what_leaves_only_for_the_next_part_is_not_of_this_one():
    words = light(song_with((1, "cut-in", A_UP), (8, "cut-out", {"side": "A"})))
    assert words["A1"] == "side A Slow drift 40 %"
    assert words["B1"] == "dark"


def test_many_changes_are_told_by_the_first_and_the_last():
    words = light(song_with((1, "cut-in", A_UP), (3, "crossfade", B_UP), (5, "crossfade", {**A_UP, "level": 70})))
    assert words["A1"] == "side A Slow drift 40, at last 70 %"
    words = light(song_with((1, "cut-in", A_UP), (3, "cut-out", {}), (5, "cut-in", B_UP)))
    assert words["A1"] == "side A Slow drift 40 % at first, side B Wide fans 65 % at last"
    words = light(song_with((3, "cut-in", B_UP), (5, "cut-out", {"side": "B"})))
    assert words["A1"] == "dark at first and at last"


def read(words):
    """Sides with their levels as the words have them; what is going out apart."""
    if words == "dark":
        return {}, set()
    levels, leaving = {}, set()
    for part in words.split(" + "):
        if part.endswith(" going out"):
            leaving.add(part.split(" ")[1])
        else:
            found = SIDE.fullmatch(part)
            assert found, part
            levels[found["side"]] = None if found["level"] is None else int(found["level"])
    return levels, leaving


def first_and_last(words):
    """The states that the words speak of, and whether there may be others between."""
    if words.endswith(" at first and at last"):
        state = words.removesuffix(" at first and at last")
        return state, state, True
    if words.endswith(" at last"):
        return *words.removesuffix(" at last").split(" at first, "), True
    between = ", at last " in words
    joint = re.search(", (?:at last|then|up to|down to) ", words)
    first, then, last = words.partition(joint[0]) if joint else (words, "", "")
    if then and not last.startswith(("side", "dark")):
        # Only the level of the one look changes.
        last = f"{first.rpartition(' ')[0].removesuffix(' rising to').removesuffix(' falling to')} {last}"
    return first, last if then else first, between


def drawn(kind, seed):
    if kind == "uneven":
        return random_song(seed)
    song = busy_song(1 + seed % 60, seed, form="A8 B4 A2 C1 B8 A'8 C8 B16")
    if kind == "landing":
        return song.replaced(
            cues=[
                replace(cue, anchor="lands-on") if cue.place.bar > 8 and cue.kind != "one-shot" else cue
                for cue in song.cues
            ]
        )
    return song


@pytest.mark.parametrize("kind", ["busy", "landing", "uneven"])
@settings(max_examples=60, deadline=None)
@given(seed=st.integers(0, 2**32 - 1))
def test_the_words_for_a_parts_light_contradict_nothing_that_happens_in_it(kind, seed):
    song = drawn(kind, seed)
    grid = Grid(song.analysis)
    for section in song.analysis.sections:
        words = section_light(song, Options())[section.id]
        first, last, between = first_and_last(words)
        standing = [cue for cue in song.cues if cue.status != "rejected"]
        # What leaves only because of the part after it is not of this part.
        own = [
            cue
            for cue in standing
            if not (goes_before_next(cue, section, grid) and section.start <= hand_starts(cue, grid) < section.end)
        ]
        steps = follow(own, grid=grid, looks=song.looks)
        bar = grid.bar(section.first_bar)
        opened = grid.place(bar.number, 2.0).seconds if bar.beats > 1 else bar.end
        inside = [step.at for step in steps if opened - 1e-3 <= step.at < section.end - 2e-3]
        times = [opened - 2e-3, *inside, section.end - 2e-3]
        seen = [lit_at(steps, time) for time in times]
        (told_first, leaving), (told_last, _) = read(first), read(last)
        assert told_first == seen[0], words
        assert told_last == seen[-1], words
        changes = sum(earlier != later for earlier, later in pairwise(seen))
        assert between or changes < 2 or any(later - earlier < 0.5 for earlier, later in pairwise(inside)), (
            words,
            seen,
        )
        if words == "dark":
            later = [time for time in times if time >= bar.end]
            assert all(level_at(steps, side, time) == 0 for time in later for side in sides(steps)), section
        assert all(level_at(steps, side, opened - 2e-3) > 0 for side in leaving), (words, section)


def lit_at(steps, time):
    done = [step for step in steps if step.at <= time]
    return {side: state.level for side, state in (done[-1].after if done else {}).items() if state.lit}


def sides(steps):
    """Sides on which nothing changes level before it has come in; what that would show, nobody has said."""
    odd = {
        step.cue.side
        for step in steps
        if step.cue.kind == "ramp" and not step.before.get(step.cue.side, SideState()).lit
    }
    return {move.side for step in steps for move in step.moves} - odd


def level_at(steps, side, time):
    moves = [move for step in steps for move in step.moves if move.side == side and move.start <= time]
    return moves[-1].level(time) if moves else 0.0
