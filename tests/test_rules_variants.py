"""One plan for each kind of section: when the band plays otherwise, it names the right action at each moment.

What is right stands beside each night, written from what a designer would do, not from what the program says.
"""

from dataclasses import replace

import pytest

from cuesuggest.cli.report import song_text
from cuesuggest.rules import draft, load_profile, load_rig
from cuesuggest.song import SetCue, change
from cuesuggest.song.variants import kinds, next_way_in, ways_in
from tests.songs import make_analysis, make_song

BAND, RIG = load_profile("band"), load_rig(None)


def planned(form, **kwargs):
    found = draft(make_analysis(form, **kwargs), BAND, RIG)
    return make_song(form, looks=found.looks, plan=found.plan, cues=found.cues, questions=(), cautions=(), **kwargs)


def night(song, played):
    """What the plan says, letter by letter, when the band plays these: the look, or dark.

    A part that comes again at once is the same pass once more; one that comes again later is its next pass.
    """
    plans = {kind.letter: kind for kind in kinds(song)}
    names = {look.id: look.name for look in song.looks}
    passes, before, said = {}, None, []
    for letter in played:
        if letter != before:
            passes[letter] = passes.get(letter, 0) + 1
        said.append(names.get(plans[letter].at(passes[letter]).look, "dark"))
        before = letter
    return said


# Verse, chorus, verse, chorus, bridge, chorus: the last chorus is the biggest.
CHORUS = planned("A8 B8 A8 B8 C8 B8", drive={"A": 0.38, "A1": 0.2, "B": 0.85, "C": 0.5})
# Verse, chorus, bridge, chorus.
BRIDGE = planned("A8 B8 C8 B8", drive={"A": 0.4, "B": 0.66, "C": 0.4, "B2": 0.7}, bpm=84)
# Four parts that rise, a song that may end anywhere.
EARLY = planned("A12 B16 C16 D16", bpm=120, drive={"A": 0.1, "B": 0.66, "C": 0.42, "D": 0.7})


def test_a_chorus_played_twice_in_a_row_is_its_own_row_once_more_and_the_biggest_is_kept():
    as_written = night(CHORUS, "ABABCB")
    assert as_written == ["dark", "Parallel beams", "Slow wave", "Parallel beams", "Slow wave", "Opening fan"]
    doubled = night(CHORUS, "ABABBCB")
    assert doubled == [
        "dark",
        "Parallel beams",
        "Slow wave",
        "Parallel beams",
        "Parallel beams",
        "Slow wave",
        "Opening fan",
    ]


def test_a_chorus_more_after_the_end_is_played_like_the_last():
    assert night(CHORUS, "ABABCBAB")[-1] == "Opening fan"


def test_a_skipped_bridge_costs_nothing():
    whole, skipped = night(BRIDGE, "ABCB"), night(BRIDGE, "AB" + "B")
    assert whole == [*skipped[:2], "Slow wave", "Wide parallel beams"]
    # The bridge is gone: the second chorus comes at once, and the hand stays where it is.
    assert skipped == ["Slow wave", "Parallel beams", "Parallel beams"]
    later = night(BRIDGE, "ABAB")
    assert later == ["Slow wave", "Parallel beams", "Slow wave", "Wide parallel beams"]


# What is to go down with the cut-off when the band ends after A, B, C, D: nothing, then whatever is lit there.
@pytest.mark.parametrize(
    ("end", "side", "look"),
    [(1, None, "dark"), (2, "A", "Parallel beams"), (3, "B", "Slow wave"), (4, "A", "Wide parallel beams")],
)
def test_an_early_end_takes_down_what_is_lit_there(end, side, look):
    assert night(EARLY, "ABCD"[:end])[-1] == look
    assert kinds(EARLY)[end - 1].at(1).side == side


def test_who_is_lost_finds_home_and_the_next_way_in():
    entered = [f"{section.label}{section.pass_}" for section in ways_in(CHORUS)]
    assert entered == ["B1", "A2", "B2", "C1", "B3"]
    bridge = CHORUS.analysis.sections[4]
    after = next_way_in(CHORUS, bridge.start + 1.0)
    assert after == CHORUS.analysis.sections[5]
    assert next_way_in(CHORUS, CHORUS.analysis.duration) is None
    assert [look.home for look in CHORUS.looks].count(True) == 1
    assert "Lost: home look; back in as one of these opens: B1, A2, B2, C1, B3." in song_text(CHORUS)


def test_a_kind_is_told_in_a_line_with_what_differs_by_pass():
    assert [str(kind) for kind in kinds(CHORUS)] == [
        "A: first: dark; last: Slow wave, 35 %",
        "B: first and second: Parallel beams, full (65 %); last: Opening fan, full (80 %), with the one-shot",
        "C: every time: Slow wave, full (50 %)",
    ]


def test_the_plan_follows_the_cues_after_an_edit():
    enter = next(cue for cue in CHORUS.cues if cue.id.startswith("enter/s2"))
    dimmer = change(CHORUS, SetCue(enter.id, {"level": 35}), by="test")
    (b,) = [kind for kind in kinds(dimmer) if kind.letter == "B"]
    assert [(variant.when, variant.level) for variant in b.variants] == [("first", 35), ("second", 65), ("last", 80)]
    assert b.variants[0].text == "Parallel beams, half (35 %)"
    assert b.variants[1].text == "the same, full (65 %)"
    gone = change(CHORUS, SetCue(enter.id, {"status": "rejected"}), by="test")
    (b,) = [kind for kind in kinds(gone) if kind.letter == "B"]
    assert b.at(1).text == "dark"


def test_changed_material_is_of_its_kind_and_a_vamp_is_told_with_it():
    song = planned("A8 B8 A'8 B8", drive={"A": 0.35, "B": 0.8})
    assert [kind.letter for kind in kinds(song)] == ["A", "B"]
    sections = tuple(replace(s, vamp="four nods") if s.id == "s4" else s for s in song.analysis.sections)
    marked = song.replaced(analysis=replace(song.analysis, sections=sections))
    assert str(kinds(marked)[1]).endswith("; round until four nods")


def test_a_pass_beyond_the_recording_is_like_the_last_and_one_before_the_first_like_the_first():
    (_, b, _) = kinds(CHORUS)
    assert b.at(9) == b.variants[-1]
    assert b.at(0) == b.variants[0]
    assert make_song("").analysis.sections == ()
    assert kinds(make_song("", looks=(), plan=())) == ()
