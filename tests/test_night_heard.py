"""A night of songs that were listened to: the sample, a small band, a split rehearsal, and two written ones."""

import shutil
from datetime import UTC, datetime
from itertools import product

import pytest

from cuesuggest.draft.clashes import conflicts
from cuesuggest.night.between import crossing
from cuesuggest.night.song_facts import facts_of
from cuesuggest.night.sound_check import Wanted, checked
from cuesuggest.night.the_set import new_set_list, open_night
from cuesuggest.night.whole_night import change_night, undo_night
from cuesuggest.rules import load_rig
from cuesuggest.rules.settings.set_list import AFTER
from cuesuggest.score.grid import Grid
from cuesuggest.score.light import SideState
from cuesuggest.song import SetCue, Song, change_all
from tests.nights import SONGS, drafted_song
from tests.songs import make_analysis
from tests.test_night import problems
from tests.test_sound_check import content


@pytest.fixture(scope="module")
def heard(sample_song, drafted_take, split_rehearsal, tmp_path_factory):
    """Their set list."""
    folder = tmp_path_factory.mktemp("heard")
    sample_song.replaced().save(folder / "1.cues.json")
    shutil.copy(drafted_take, folder / "2.cues.json")
    for number, path in enumerate(sorted(split_rehearsal[1].glob("*.cues.json"))[:2], 3):
        shutil.copy(path, folder / f"{number}.cues.json")
    for number, title in enumerate(list(SONGS)[:2], 5):
        form, bpm, drive = SONGS[title]
        song = drafted_song(title, make_analysis(form, bpm=bpm, drive=drive), rig=load_rig("example"))
        song.save(folder / f"{number}.cues.json")
    names = [f"{number}.cues.json" for number in range(1, 7)]
    file = folder / "night.toml"
    file.write_text(new_set_list("Heard", [(name, name) for name in names]))
    return file


@pytest.fixture
def night(heard, tmp_path):
    shutil.copytree(heard.parent, tmp_path / "night")
    return tmp_path / "night" / "night.toml"


def test_heard_songs_are_numbered_share_their_looks_and_follow_each_other_from_any_state(heard):
    opened = open_night(heard)
    plan = opened.plan()
    assert [song.cues[0] for song in plan.songs] == [f"{k}01" for k in range(1, 7)]
    assert len({each.look.name for each in plan.looks}) == len(plan.looks)
    facts = [facts_of(song) for song in opened.songs]
    for index, song in enumerate(opened.songs):
        grid = Grid(song.analysis)
        alone = set(conflicts(song))
        states = [SideState(), *(SideState(look.id, lit, 60) for look in facts[index].looks for lit in (False, True))]
        for kind in ("walk_in", *AFTER):
            way = crossing(kind, opened.set_list, facts[index - 1] if index else None, facts[index], "")
            for pair in product(states, repeat=len(way.rig.sides)):
                sides = {side.name: state for side, state in zip(way.rig.sides, pair, strict=True)}
                assert set(problems(way, sides, song, grid, whole=False)) - alone == set(), (kind, sides)


def test_in_heard_songs_the_sound_check_keeps_decisions_and_is_undone_to_the_digit(night):
    for place in open_night(night).places:
        song = Song.load(place.document)
        quiet = [cue for cue in song.cues if cue.kind in ("recall", "fade-in", "crossfade") and (cue.level or 0) <= 40]
        change_all(song, [SetCue(cue.id, {"status": "accepted"}) for cue in quiet], by="page").save(place.document)
    before = [Song.load(place.document) for place in open_night(night).places]
    change_night(open_night(night), Wanted(ceiling=55, no_haze=True))
    after = [Song.load(place.document) for place in open_night(night).places]
    for was, now in zip(before, after, strict=True):
        assert all(cue.level <= 55 for cue in now.cues if cue.level is not None)
        known = {cue.id: cue for cue in now.cues}
        for cue in (each for each in was.cues if each.status == "accepted"):
            assert (known[cue.id].status, known[cue.id].level, known[cue.id].place) == (
                "accepted",
                cue.level,
                cue.place,
            )
    undo_night(night)
    undone = [Song.load(place.document) for place in open_night(night).places]
    assert list(map(content, undone)) == list(map(content, before))


def test_the_second_look_of_a_category_gives_way_to_the_first(sample_song, tmp_path):
    document = tmp_path / "song.cues.json"
    last = [each for each in facts_of(sample_song).biggest if each.look == "intense-2"]
    assert last
    found = checked(sample_song, document, Wanted(), datetime.now(UTC), narrower=(last[0].mark,))
    assert found.lines[0].startswith(f"{last[0].mark} gets the smaller look of its kind")
    assert all(cue.look != "intense-2" for cue in found.after.cues)
    assert conflicts(found.after) == conflicts(sample_song) == ()
