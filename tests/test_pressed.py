"""What is pressed while the song plays: on the right bars and beats, beside the draft, and taken over when asked."""

import numpy as np
import pytest

from cuesuggest.decide.pressed import Press, PressedRun, latency_of, proposed, taken_over
from cuesuggest.draft.settling import settled
from cuesuggest.errors import EditError
from cuesuggest.rules import draft, load_profile, load_rig
from cuesuggest.score.grid import Grid
from cuesuggest.song import Settings
from tests.songs import make_analysis, make_song, retimed

RIG = load_rig(None)
FORM = "A8 B8 A8 B8 C8 B8"
CLICKS = [1.0 + 0.6 * k for k in range(34)]
DRIVE = {"A": 0.35, "B": 0.85, "C": 0.5}


def drafted(analysis=None, **kwargs):
    analysis = analysis or make_analysis(FORM, drive=DRIVE, **kwargs)
    found = draft(analysis, load_profile("band"), RIG)
    rig = Settings("example", RIG.values())
    return make_song(
        FORM, analysis=analysis, looks=found.looks, plan=found.plan, cues=found.cues, questions=(), rig=rig
    )


def at(song, bar, beat=1.0):
    return Grid(song.analysis).place(bar, beat).seconds


def run(presses, until=1000.0):
    """All of them in one run."""
    return [PressedRun(tuple(presses), until)]


def pressed_in(proposal):
    return [(each.mark, each.pressed) for each in proposal.sections if each.pressed]


def test_a_category_goes_to_the_nearest_bar_line_and_holds_until_the_next():
    song = drafted()
    presses = [Press(at(song, 9) + 0.2, "intense"), Press(at(song, 17) - 0.3, "rest")]
    found = proposed(song, run(presses, at(song, 33)))
    assert [(part.first_bar, part.last_bar, part.category) for part in found.parts] == [
        (9, 16, "intense"), (17, 24, "rest"), (25, 32, "rest"),
    ]  # fmt: skip
    assert pressed_in(found) == [("B1", "intense"), ("A2", "rest"), ("B2", "rest")]


def test_what_was_not_pressed_is_not_proposed():
    song = drafted()
    pressed = [Press(at(song, 17), "lift")]
    assert pressed_in(proposed(song, run(pressed, at(song, 23)))) == [("A2", "lift")]
    assert proposed(song, run([])).sections == ()
    few = proposed(song, run(pressed, at(song, 19)))
    assert [(each.mark, each.pressed, each.news) for each in few.sections] == [("A2", None, False)]


def test_after_a_jump_a_category_holds_no_longer_and_what_is_pressed_again_replaces_what_was():
    song = drafted()
    first = PressedRun((Press(at(song, 9), "lift"), Press(at(song, 12, 3), "hit")), at(song, 25))
    jumped = PressedRun((), at(song, 48))
    again = PressedRun((Press(at(song, 17), "rest"),), at(song, 21))
    assert pressed_in(proposed(song, [first, jumped])) == [("B1", "lift"), ("A2", "lift")]
    found = proposed(song, [first, jumped, again])
    assert [(part.first_bar, part.category) for part in found.parts] == [(9, "lift"), (17, "rest"), (21, "lift")]
    assert [hit.bar for hit in found.hits] == [12]
    hits = PressedRun((Press(at(song, 12, 1), "hit"), Press(at(song, 14), "hit")), at(song, 16))
    assert [(hit.bar, hit.beat) for hit in proposed(song, [first, hits]).hits] == [(12, 1.0), (14, 1.0)]


def test_a_section_that_changes_inside_has_the_category_of_most_of_its_bars_and_says_where_it_turns():
    song = drafted()
    presses = [Press(at(song, 9), "lift"), Press(at(song, 12), "intense")]
    (section,) = proposed(song, run(presses, at(song, 17))).sections
    assert (section.mark, section.pressed) == ("B1", "intense")
    assert [(part.first_bar, part.last_bar, part.category) for part in section.parts] == [
        (9, 11, "lift"), (12, 16, "intense"),
    ]  # fmt: skip


def test_hits_go_to_the_bands_accent_where_one_is_near_and_to_the_beat_where_none_is():
    song = drafted(events=[("hit", 12, 3.5, 0.5)])
    found = proposed(song, run([Press(at(song, 12, 3.5) + 0.1, "hit"), Press(at(song, 13, 3) - 0.2, "hit")]))
    assert [(hit.bar, hit.beat) for hit in found.hits] == [(12, 3.5), (13, 3.0)]


def test_a_hit_that_the_draft_has_is_no_news():
    song = drafted()
    shot = next(cue for cue in song.cues if cue.kind == "one-shot")
    found = proposed(song, run([Press(shot.place.seconds + 0.05, "hit")]))
    assert (len(found.hits), found.new_hits, found.sections) == (1, (), ())


def test_a_hit_pressed_twice_by_a_slip_is_one():
    song = drafted()
    presses = [Press(at(song, 12, 3), "hit"), Press(at(song, 12, 3) + 0.09, "hit")]
    assert len(proposed(song, run(presses)).hits) == 1


@pytest.mark.parametrize("bpm", [72, 96, 128, 150])
def test_presses_with_a_latency_of_120_ms_and_a_jitter_of_40_land_where_they_were_meant(bpm):
    random = np.random.default_rng(bpm)
    song = drafted(retimed(make_analysis(FORM, bpm=bpm, drive=DRIVE), tempos={20: bpm * 1.03, 33: bpm * 0.98}))
    bars = [1, 9, 15, 17, 25, 29, 33, 41]
    beats = [(bar, beat) for bar in range(2, 47) for beat in (2.0, 4.0)]
    right_bars = right_beats = 0
    for _ in range(10):
        taps = np.array(CLICKS[4:]) + 0.12 + random.normal(0, 0.04, len(CLICKS) - 4)
        late = 0.12 + random.normal(0, 0.04, len(bars) + len(beats)) - latency_of(list(taps), CLICKS)
        kinds = ["subtle", "lift", "intense", "rest"] * 2
        presses = [Press(at(song, bar) + late[k], kinds[k]) for k, bar in enumerate(bars)]
        presses += [Press(at(song, *beat) + late[len(bars) + k], "hit") for k, beat in enumerate(beats)]
        found = proposed(song, run(presses, song.analysis.duration))
        right_bars += len(set(bars) & {part.first_bar for part in found.parts})
        right_beats += len(set(beats) & {(hit.bar, hit.beat) for hit in found.hits})
    assert right_bars >= 0.95 * 10 * len(bars)
    assert right_beats >= 0.9 * 10 * len(beats)


@pytest.mark.parametrize("jitter", [0.02, 0.04])
def test_the_latency_is_found_within_15_ms(jitter):
    wrong = []
    for seed in range(400):
        random = np.random.default_rng(seed)
        true = random.uniform(-0.05, 0.28)
        taps = np.array(CLICKS[4:]) + true + random.normal(0, jitter, len(CLICKS) - 4)
        wrong.append(abs(latency_of(list(taps), CLICKS) - true))
    print(f"jitter {1000 * jitter:g} ms: within {1000 * np.quantile(wrong, 0.95):.1f} ms for 95 of 100")
    assert np.quantile(wrong, 0.95) < 0.015


def test_a_slip_and_a_click_that_was_missed_do_not_change_the_latency():
    taps = [click + 0.1 for k, click in enumerate(CLICKS) if k % 7] + [CLICKS[9] + 0.35]
    assert latency_of(taps, CLICKS) == pytest.approx(0.1, abs=0.002)


@pytest.mark.parametrize("taps", [[], [0.5, 1.0], [1.1, 1.73, 2.5, 2.8, 3.7, 4.3, 4.65, 5.4, 5.8, 6.7, 7.35, 7.6]])
def test_taps_that_do_not_keep_to_the_click_are_told_so(taps):
    with pytest.raises(EditError):
        latency_of(taps, CLICKS)


def test_what_was_pressed_is_taken_over_in_one_act_and_the_rest_stays_as_drafted(tmp_path):
    song = drafted()
    before = {each.section: each.category for each in song.plan}
    presses = [Press(at(song, 9), "intense"), Press(at(song, 17), "subtle"), Press(at(song, 12, 3), "hit")]
    found = proposed(song, run(presses, at(song, 25)))
    change = taken_over(song, found)
    after, _ = settled(song, change.made_in(song, by="test"), tmp_path / "x.cues.json")
    assert {each.section: each.decided for each in after.plan if each.decided} == {
        each.section: each.pressed for each in found.sections if each.differs
    }
    assert next(each for each in after.plan if each.section == "s2").category == "intense"
    assert {each.category for each in after.plan if each.section == "s5"} == {before["s5"]}
    assert [cue.place.bar for cue in after.cues if cue.status == "added"] == [12]


def test_one_section_is_taken_over_by_itself():
    song = drafted()
    presses = [Press(at(song, 9), "intense"), Press(at(song, 12), "hit"), Press(at(song, 17), "lift")]
    presses += [Press(at(song, 18), "note"), Press(at(song, 19), "hit")]
    found = proposed(song, run(presses, at(song, 25)))
    change = taken_over(song, found, section="s3")
    made = change.made_in(song, by="test")
    assert {each.section for each in made.plan if each.decided} == {"s3"}
    assert [(cue.kind, cue.place.bar) for cue in made.cues if cue.status == "added"] == [("call", 18), ("one-shot", 19)]
    assert "A2: lift" in change.said
    rest = taken_over(song, found, left=["s3"]).made_in(song, by="test")
    assert {each.section for each in rest.plan if each.decided} == {"s2"}
    assert [cue.place.bar for cue in rest.cues if cue.status == "added"] == [12]
    with pytest.raises(EditError, match="Nothing"):
        taken_over(song, found, section="s1")


def test_what_was_taken_over_is_no_news_any_more(tmp_path):
    song = drafted()
    pressed = run([Press(at(song, 9), "rest"), Press(at(song, 12), "hit"), Press(at(song, 14), "note")], at(song, 17))
    after, _ = settled(
        song, taken_over(song, proposed(song, pressed)).made_in(song, by="test"), tmp_path / "x.cues.json"
    )
    found = proposed(after, pressed)
    assert pressed_in(found) == [("B1", "rest")]
    assert not any(each.news for each in found.sections)
    assert (found.new_hits, found.notes) == ((), ())


def test_without_bars_there_is_nothing_to_lay_presses_on():
    with pytest.raises(EditError, match="no bars"):
        proposed(make_song(analysis=make_analysis("")), [])
