"""What cues do to the light: when the hand starts, when a fade ends, which side is lit with what."""

from __future__ import annotations

from dataclasses import replace

import pytest

from cuesuggest.export import Options, export
from cuesuggest.export.chart.drawn_light import drawn_light
from cuesuggest.export.common.told import told
from cuesuggest.export.desk.automatic import moves
from cuesuggest.rules import check_playable, load_rig
from cuesuggest.rules.person.hands import holds
from cuesuggest.score.grid import Grid
from cuesuggest.score.light import (
    fade_seconds,
    follow,
    hand_starts,
    held_until,
    lit_stretches,
    presses,
    swapped_after,
)
from cuesuggest.score.records import Place, Series
from tests.exported import AUTO
from tests.songs import HOME, LIFT, make_analysis, make_cue, make_song, place_at, retimed

RIG = load_rig(None)
ANALYSIS = make_analysis("A16 B16", bpm=120, start=2.0)
GRID = Grid(ANALYSIS)
LOOKS = (HOME, LIFT)


def at(bar, beat=1.0, **changes):
    return replace(place_at(ANALYSIS, bar, beat), **changes)


def up_on_a():
    """A is lit from bar 1 on, from a look that was set before the song."""
    return [
        make_cue(1, "recall", Place(0.0), look="home", side="A"),
        make_cue(2, "fade-in", at(1), look="home", side="A", level=50, up_seconds=1.0),
    ]


def crossfade(**changes):
    """Over to B at bar 9, which is 18.0 s: up 4 s, down 2 s."""
    given = {"look": "lift", "side": "B", "level": 80, "up_seconds": 4.0, "down_seconds": 2.0, **changes}
    return [make_cue(3, "recall", at(5), look="lift", side="B"), make_cue(4, "crossfade", at(9), **given)]


def test_with_two_hands_the_old_side_leaves_once_the_new_one_is_half_up():
    *_, step = follow([*up_on_a(), *crossfade()], grid=GRID, hands=2)
    assert [(move.side, move.start, move.end, move.to) for move in step.moves] == [
        ("B", 18.0, 22.0, 80.0),
        ("A", 20.0, 22.0, 0.0),
    ]


def test_with_one_hand_it_leaves_once_the_new_one_is_up():
    *_, step = follow([*up_on_a(), *crossfade()], grid=GRID, hands=1)
    assert [(move.side, move.start, move.end) for move in step.moves] == [("B", 18.0, 22.0), ("A", 22.0, 24.0)]
    assert swapped_after(4.0, 2.0, 1) == 6.0


def test_a_crossfade_without_a_way_down_takes_the_old_side_out_as_slowly_as_it_comes_in():
    *_, step = follow([*up_on_a(), *crossfade(down_seconds=None)], grid=GRID, hands=2)
    assert [(move.side, move.start, move.end) for move in step.moves] == [("B", 18.0, 22.0), ("A", 20.0, 24.0)]


def test_chart_desk_and_hands_say_the_same_of_a_crossfade():
    cues = [*up_on_a(), *crossfade(), make_cue(5, "fade-out", at(30), side="B", down_seconds=2.0)]
    drawn = drawn_light(cues, {look.id: look for look in LOOKS}, GRID, ANALYSIS.duration, 2)
    leaves = [(fade.start, fade.end) for fade in drawn.fades if fade.cue.number == 4 and fade.to_open == 0.0]
    assert leaves == [(20.0, 22.0)]
    quiet = [replace(cue, operator_confirms=False) for cue in cues]
    song = make_song(analysis=ANALYSIS, looks=LOOKS, cues=quiet, plan=(), questions=())
    levels = moves(song, Options(**AUTO)).levels
    assert [(move.start, move.end) for move in levels if move.side == "A" and move.to == 0.0] == [(20.0, 22.0)]
    assert [(hold.start, hold.end) for hold in holds(cues[3], RIG)] == [(18.0, 22.0), (20.0, 22.0)]
    for seconds, problems in ((21.9, ["the fade before it on side A has not ended"]), (22.0, [])):
        again = make_cue(9, "recall", at(10, seconds=seconds), look="home", side="A")
        found = check_playable([*cues, again], RIG, (), GRID)
        assert [line.partition(": ")[2].rstrip(".") for line in found] == problems


def test_a_fade_that_is_given_in_beats_alone_starts_by_its_beats_everywhere():
    cue = make_cue(2, "fade-in", at(9), look="home", side="A", anchor="lands-on", up_beats=8.0)
    assert fade_seconds(cue, GRID) == (4.0, 0.0)
    assert hand_starts(cue, GRID) == 14.0
    song = make_song(analysis=ANALYSIS, looks=LOOKS, cues=[cue], plan=(), questions=())
    drawn = drawn_light([cue], {}, GRID, ANALYSIS.duration, 2)
    assert drawn.starts[cue.id] == 14.0
    assert [each.at for each in told(song, Options())] == [14.0]
    assert b"bar 7" in export(song, "list.html")[".list.html"]


def test_beats_are_counted_through_bars_of_another_tempo():
    slowing = retimed(ANALYSIS, tempos={8: 60})
    cue = make_cue(2, "fade-in", place_at(slowing, 9), up_beats=8.0, anchor="lands-on")
    assert hand_starts(cue, Grid(slowing)) == pytest.approx(cue.place.seconds - 4 * 1.0 - 4 * 0.5)


def test_what_has_no_fade_of_its_own_starts_at_its_place_though_it_lands_there():
    for kind in ("recall", "cut-in", "cut-out", "one-shot", "call", "speed"):
        cue = make_cue(1, kind, at(9), anchor="lands-on", up_seconds=3.0, down_seconds=2.0)
        assert hand_starts(cue, GRID) == 18.0, kind


def test_a_series_comes_on_its_own_beat_of_every_bar():
    cue = make_cue(1, "one-shot", at(9, 3.0), series=Series(4, 9, 17, ()))
    assert presses(cue, GRID) == (19.0, 27.0, 35.0)


def test_a_series_keeps_its_beat_where_the_tempo_changes():
    slower = retimed(ANALYSIS, tempos={13: 60})
    cue = make_cue(1, "one-shot", place_at(slower, 9, 3.0), series=Series(4, 9, 13, ()))
    bar = next(each for each in slower.bars if each.number == 13)
    assert presses(cue, Grid(slower)) == (19.0, bar.start + 2.0)


def test_a_bar_without_that_beat_is_left_out_of_a_series():
    short = retimed(ANALYSIS, beats={13: 2})
    cue = make_cue(1, "one-shot", place_at(short, 9, 3.0), series=Series(4, 9, 17, ()))
    assert len(presses(cue, Grid(short))) == 2


def test_a_series_without_any_of_its_bars_is_one_press():
    cue = make_cue(1, "one-shot", at(9), series=Series(4, 200, 208, ()))
    assert presses(cue, GRID) == (18.0,)


def test_a_look_is_lit_from_the_start_of_its_way_in_to_the_end_of_its_way_out():
    cues = [*up_on_a(), *crossfade(), make_cue(5, "fade-out", at(30), side="B", down_seconds=3.0)]
    found = lit_stretches(follow(cues, grid=GRID), 99.0)
    assert [(lit.side, lit.start, lit.end, lit.entered.number, lit.left and lit.left.number) for lit in found] == [
        ("A", 2.0, 22.0, 2, None),
        ("B", 18.0, 63.0, 4, 5),
    ]


def test_what_nobody_takes_out_is_lit_to_the_end():
    (lit,) = lit_stretches(follow(up_on_a(), grid=GRID), 66.0)
    assert (lit.end, lit.left) == (66.0, None)


def test_an_exit_without_a_side_takes_out_all_that_is_lit_and_nothing_else():
    cues = [*up_on_a(), make_cue(3, "recall", at(5), look="lift", side="B"), make_cue(4, "cut-out", at(7))]
    *_, step = follow(cues, grid=GRID)
    assert [(move.side, move.from_, move.to, move.seconds) for move in step.moves] == [("A", 50.0, 0.0, 0.0)]
    assert step.after["B"].look == "lift"


def test_a_ramp_leaves_from_the_level_that_a_fade_has_reached():
    cues = [up_on_a()[0], replace(up_on_a()[1], up_seconds=4.0), make_cue(3, "ramp", at(2), side="A", level=10)]
    *_, step = follow([*cues[:2], replace(cues[2], up_seconds=1.0)], grid=GRID)
    assert [(move.start, move.from_, move.to) for move in step.moves] == [(4.0, 25.0, 10.0)]
    assert (step.after["A"].level, step.after["A"].lit) == (10, True)


def test_a_look_without_a_level_goes_to_its_ceiling():
    cue = make_cue(1, "cut-in", at(1), look="lift", side="B")
    assert follow([cue], grid=GRID, looks=LOOKS)[0].moves[0].to == LIFT.level_ceiling
    assert follow([cue], grid=GRID)[0].moves[0].to == 100.0


def test_a_held_dark_lasts_until_the_band_is_back_else_to_the_next_beat():
    stopping = make_analysis("A8", bpm=120, start=2.0, events=[("stop", 4, 3.0, 1.5)])
    held = make_cue(1, "cut-out", place_at(stopping, 4, 3.0), trigger="held")
    assert held_until(held, stopping) == pytest.approx(held.place.seconds + 0.75)
    other = replace(held, place=place_at(stopping, 2, 2.0))
    assert held_until(other, stopping) == pytest.approx(other.place.seconds + 0.5)
    last = replace(held, place=Place(stopping.beats[-1]))
    assert held_until(last, stopping) == stopping.beats[-1]
    *_, step = follow([*up_on_a(), replace(held, side="A", place=at(3))], grid=GRID)
    assert step.after["A"].lit
    assert step.moves == ()
