"""Changes for a whole night at sound check: said song by song, with every decision kept, taken back in one step."""

import json
import os
import shlex
import shutil
import signal
import time
from dataclasses import replace
from pathlib import Path

import pytest

from cuesuggest.draft.clashes import conflicts
from cuesuggest.errors import CuesuggestError
from cuesuggest.night import whole_night
from cuesuggest.night.kept_changes import changes_file, kept_changes
from cuesuggest.night.sound_check import Wanted
from cuesuggest.night.the_set import open_night
from cuesuggest.night.whole_night import change_night, undo_night
from cuesuggest.rules import load_rig
from cuesuggest.score.records import ENTRANCES
from cuesuggest.song import SetCue, SetPlan, Song, change_all, undo
from tests.nights import SONGS, shortened_to
from tests.songs import place_at

MEMORY = {"revision", "history", "undone"}


def songs_of(file):
    return [Song.load(each.document) for each in open_night(file).places]


def content(song):
    return {name: value for name, value in song.__dict__.items() if name not in MEMORY}


def document(file, title):
    return file.parent / f"{title.lower().replace(' ', '-')}.cues.json"


def decide(file, title, *edits):
    """Decide something in a song, as the page does."""
    path = document(file, title)
    song = Song.load(path)
    change_all(song, edits, by="page").save(path)


def unbroken(out):
    """What was printed, as if the screen were as wide as it takes."""
    return " ".join(out.split())


def shots(song):
    return [cue for cue in song.cues if cue.kind == "one-shot" and cue.status != "rejected"]


def on_side(song, side):
    return [cue for cue in song.cues if cue.side == side and cue.status != "rejected"]


def lines_of(told, title):
    return next(each.lines for each in told if each.title == title)


def test_without_strobe_nothing_strobes_and_all_else_stays_as_it_was_decided(friday):
    before = Song.load(document(friday, "Tin Roof"))
    shot = shots(before)[0]
    entrance = next(cue for cue in before.cues if cue.kind in ENTRANCES)
    decide(
        friday,
        "Tin Roof",
        SetCue(shot.id, {"status": "accepted"}),
        SetCue(entrance.id, {"level": 42, "note": "gently"}),
        SetCue(before.cues[-1].id, {"lock": True}),
    )
    told = change_night(open_night(friday), Wanted(without=("strobe",)))
    after = Song.load(document(friday, "Tin Roof"))
    assert [shots(song) for song in songs_of(friday)] == [[]] * 6
    assert after.rig.values["one_shot"] is None
    assert next(cue for cue in after.cues if cue.id == shot.id).status == "rejected"
    kept = next(cue for cue in after.cues if cue.id == entrance.id)
    assert (kept.level, kept.note, kept.status) == (42, "gently", "edited")
    assert next(cue for cue in after.cues if cue.id == before.cues[-1].id).lock
    number = 200 + shot.number
    assert f"Cue {number:g} in B3, bar 1 of 16, accepted by you, is left out: there is no such one-shot now." in (
        lines_of(told, "Tin Roof")
    )
    # In a song in which nothing was decided it is told by its number over the night.
    assert "Taken out: the one-shot at B3, bar 1 of 16 (cue 410)." in lines_of(told, "Salt Road")


def test_a_ceiling_holds_for_plan_and_decisions_but_not_for_what_is_locked_which_is_told(friday):
    before = Song.load(document(friday, "Lantern Street"))
    bright = [cue for cue in before.cues if (cue.level or 0) > 50][-2:]
    decide(
        friday,
        "Lantern Street",
        SetCue(bright[0].id, {"level": 78}),
        SetCue(bright[1].id, {"level": 79, "lock": True}),
    )
    told = change_night(open_night(friday), Wanted(ceiling=50))
    for song in songs_of(friday):
        assert all(cue.level <= 50 or cue.lock for cue in song.cues if cue.level is not None)
        assert all(look.level_ceiling <= 50 for look in song.looks)
    after = {cue.id: cue for cue in Song.load(document(friday, "Lantern Street")).cues}
    assert after[bright[0].id].level == 50
    assert after[bright[1].id].level == 79
    assert after[bright[1].id].note == "No more than 50 %."
    said = " ".join(lines_of(told, "Lantern Street"))
    assert "goes to 50 %, not 78 %" in said
    assert "One-shots run as they are programmed: see that they keep to 50 %." in said
    assert "stays at 79 %: hold it at 50 % by hand, or unlock it" in said


def test_a_dead_side_is_played_around_and_its_sections_keep_the_light_that_was_decided(friday):
    before = Song.load(document(friday, "Salt Road"))
    entrance = next(cue for cue in before.cues if cue.kind in ENTRANCES and cue.side == "B")
    decide(friday, "Salt Road", SetCue(entrance.id, {"status": "accepted", "lock": True}))
    told = change_night(open_night(friday), Wanted(without=("side-b",)))
    for song in songs_of(friday):
        assert on_side(song, "B") == []
        assert conflicts(song) == ()
    after = Song.load(document(friday, "Salt Road"))
    category = next(look.category for look in before.looks if look.id == entrance.look)
    section = next(
        each for each in after.analysis.sections if each.mark == f"{entrance.place.section}{entrance.place.pass_}"
    )
    planned = next(each for each in after.plan if each.section == section.id)
    assert (planned.decided, planned.category) == (category, category)
    assert "locked by you, was on side B: its light is drafted anew" in " ".join(lines_of(told, "Salt Road"))


@pytest.mark.parametrize(
    "wanted",
    [
        Wanted(without=("strobe", "side-b"), ceiling=60),
        Wanted(no_haze=True),
        Wanted(volunteer=True),
        Wanted(rig=load_rig("one-laser")),
    ],
    ids=lambda wanted: wanted.words,
)
def test_it_is_undone_in_one_step_to_the_digit(friday, wanted):
    song = Song.load(document(friday, "Two Rivers"))
    decide(friday, "Two Rivers", SetCue(song.cues[1].id, {"status": "accepted"}), SetPlan(song.plan[1].section, None))
    before = [content(song) for song in songs_of(friday)]
    change_night(open_night(friday), wanted)
    changed = [content(song) for song in songs_of(friday)]
    assert all(now != was for now, was in zip(changed, before, strict=True))
    assert all(song.rig.values == songs_of(friday)[0].rig.values for song in songs_of(friday))
    said, _ = undo_night(friday)
    assert [content(song) for song in songs_of(friday)] == before
    assert said == wanted.words
    assert kept_changes(friday) == []


def test_where_no_earlier_state_is_kept_it_is_undone_all_the_same(friday, monkeypatch):
    monkeypatch.setattr(whole_night, "kept_folder", lambda _: None)
    before = songs_of(friday)
    change_night(open_night(friday), Wanted(without=("strobe",), ceiling=50))
    undo_night(friday)
    for was, now in zip(before, songs_of(friday), strict=True):
        assert (now.rig, now.profile, now.looks, now.plan) == (was.rig, was.profile, was.looks, was.plan)
        assert [replace(cue, number=0.0) for cue in now.cues] == [replace(cue, number=0.0) for cue in was.cues]


def test_the_page_takes_it_back_song_by_song_as_any_other_action(friday):
    path = document(friday, "Tin Roof")
    before = Song.load(path)
    change_night(open_night(friday), Wanted(ceiling=50))
    after = Song.load(path)
    assert after.history[-1].said == "nothing above 50 %"
    bare = undo(after)
    assert (bare.profile, bare.rig) == (before.profile, before.rig)


def test_the_history_of_a_song_says_it_and_one_that_was_printed_since_is_undone_all_the_same(friday, run):
    before = songs_of(friday)
    change_night(open_night(friday), Wanted(without=("strobe",), ceiling=50))
    assert (
        "sound check: drafted in the house style band, for the rig two-lamps-strobe"
        in (run("edit", document(friday, "Tin Roof"), "history")[1])
    )
    assert run("night", friday, "--to", "page.pdf")[0] == 0
    undo_night(friday)
    for was, now in zip(before, songs_of(friday), strict=True):
        assert (now.rig, now.profile, now.plan) == (was.rig, was.profile, was.plan)
        assert [replace(cue, number=0.0) for cue in now.cues] == [replace(cue, number=0.0) for cue in was.cues]


def test_a_song_that_is_dropped_keeps_its_document_and_the_others_their_numbers(friday):
    files = {path: path.read_bytes() for path in friday.parent.glob("*.cues.json")}
    change_night(open_night(friday), Wanted(), drop=("song 4", "two rivers"))
    assert {path: path.read_bytes() for path in files} == files
    plan = open_night(friday).plan()
    assert [(song.number, song.cues[0]) for song in plan.songs] == [(1, "101"), (2, "201"), (3, "301"), (6, "601")]
    assert plan.changed == ("without song 4 (Salt Road) and song 5 (Two Rivers)",)
    undo_night(friday)
    assert len(open_night(friday).plan().songs) == 6


def test_changes_on_top_of_each_other_are_undone_one_by_one(friday):
    first = [content(song) for song in songs_of(friday)]
    change_night(open_night(friday), Wanted(without=("strobe",)))
    second = [content(song) for song in songs_of(friday)]
    change_night(open_night(friday), Wanted(ceiling=45), drop=("1",))
    assert [each.said for each in kept_changes(friday)] == [
        "without strobe",
        "nothing above 45 %, without song 1 (Paper Boats)",
    ]
    undo_night(friday)
    assert [content(song) for song in songs_of(friday)] == second
    undo_night(friday)
    assert [content(song) for song in songs_of(friday)] == first
    with pytest.raises(CuesuggestError, match="Nothing was changed at sound check"):
        undo_night(friday)


def test_nothing_is_taken_back_where_something_was_decided_since(friday):
    change_night(open_night(friday), Wanted(without=("strobe",)))
    song = Song.load(document(friday, "Paper Boats"))
    decide(friday, "Paper Boats", SetCue(song.cues[0].id, {"note": "wait for me"}))
    before = [content(song) for song in songs_of(friday)]
    with pytest.raises(CuesuggestError, match="other things were decided in Paper Boats, so nothing was taken back"):
        undo_night(friday)
    assert [content(song) for song in songs_of(friday)] == before


def test_the_biggest_look_makes_way_where_others_are_to_have_it(friday):
    giving = [song.title for song in open_night(friday).plan().songs if song.gives_way]
    assert giving == ["Salt Road"]
    told = change_night(open_night(friday), Wanted(), restrain=True)
    assert [song.gives_way for song in open_night(friday).plan().songs] == [False] * 6
    assert lines_of(told, "Salt Road")[0].startswith("B3 gets lift: the night's biggest look is kept for other songs.")
    assert lines_of(told, "Tin Roof") == ("Nothing to change.",)
    assert conflicts(Song.load(document(friday, "Salt Road"))) == ()


def after_saves(monkeypatch, count, end):
    """Let the program come to an end when so many songs of the night are saved."""
    save, saved = Song.save, []

    def last(self, path, expected_revision=None):
        if len(saved) == count:
            saved.append(path)
            end()
        save(self, path, expected_revision)
        saved.append(path)

    monkeypatch.setattr(Song, "save", last)


def full():
    raise CuesuggestError("The disk is full.")


def stopped():
    raise KeyboardInterrupt


@pytest.mark.parametrize("end", [full, stopped])
def test_if_one_song_cannot_be_saved_or_somebody_stops_it_none_is_changed(friday, monkeypatch, end):
    shortened_to(friday, 3)
    before = [content(song) for song in songs_of(friday)]
    with monkeypatch.context() as patched:
        after_saves(patched, 2, end)
        with pytest.raises((CuesuggestError, KeyboardInterrupt)):
            change_night(open_night(friday), Wanted(ceiling=50))
    assert [content(song) for song in songs_of(friday)] == before
    assert kept_changes(friday) == []


@pytest.mark.parametrize("end", [full, stopped])
def test_if_one_song_cannot_be_taken_back_none_is(friday, monkeypatch, end):
    shortened_to(friday, 3)
    change_night(open_night(friday), Wanted(ceiling=50))
    changed = [content(song) for song in songs_of(friday)]
    with monkeypatch.context() as patched:
        after_saves(patched, 2, end)
        with pytest.raises((CuesuggestError, KeyboardInterrupt)):
            undo_night(friday)
    assert [content(song) for song in songs_of(friday)] == changed
    assert [each.said for each in kept_changes(friday)] == ["nothing above 50 %"]


def test_if_what_was_changed_cannot_be_noted_no_song_is_changed(friday, monkeypatch):
    before = [content(song) for song in songs_of(friday)]
    monkeypatch.setattr(whole_night, "write_all", lambda *_: full())
    with pytest.raises(CuesuggestError, match="disk is full"):
        change_night(open_night(friday), Wanted(ceiling=50))
    assert [content(song) for song in songs_of(friday)] == before
    assert not changes_file(friday).exists()


@pytest.mark.skipif(not hasattr(os, "fork"), reason="a program is killed in the middle of its work")
def test_killed_halfway_it_is_told_which_songs_lack_the_change_and_all_is_taken_back(friday, monkeypatch, run):
    shortened_to(friday, 4)
    before = [content(song) for song in songs_of(friday)]
    child = os.fork()
    if child == 0:
        after_saves(monkeypatch, 2, lambda: os.kill(os.getpid(), signal.SIGKILL))
        try:
            change_night(open_night(friday), Wanted(ceiling=50))
        finally:
            os._exit(0)
    assert os.WTERMSIG(os.waitpid(child, 0)[1]) == signal.SIGKILL
    after = [content(song) for song in songs_of(friday)]
    assert [now != was for now, was in zip(after, before, strict=True)] == [True] * 2 + [False] * 2
    code, out, err = run("night", friday)
    assert (code, err) == (0, "")
    assert (
        "Changed at sound check: nothing above 50 %, but not in Slow Ferry, Salt Road: it was taken back there, "
        "the song came later, or the command was stopped. To have it in all songs, take it back with --undo and give "
        "it again."
    ) in unbroken(out)
    code, out, err = run("night", friday, "--undo")
    assert (code, err) == (0, "")
    assert out.count("It is as it was before.") == 2
    assert [content(song) for song in songs_of(friday)] == before
    assert kept_changes(friday) == []


def test_a_change_that_the_page_took_back_in_one_song_is_told_of_the_night(friday):
    shortened_to(friday, 2)
    change_night(open_night(friday), Wanted(ceiling=50))
    assert open_night(friday).plan().changed == ("nothing above 50 %",)
    path = document(friday, "Tin Roof")
    undo(Song.load(path)).save(path)
    (told,) = open_night(friday).plan().changed
    assert told.startswith("nothing above 50 %, but not in Tin Roof: it was taken back there")


def test_a_song_that_came_into_the_night_later_is_told_not_to_have_the_change(friday):
    whole = friday.read_text()
    shortened_to(friday, 2)
    change_night(open_night(friday), Wanted(ceiling=50))
    # Here the second time there is nothing to change, which is no lack.
    change_night(open_night(friday), Wanted(ceiling=50), drop=("2",))
    assert open_night(friday).plan().changed == ("nothing above 50 %", "nothing above 50 %, without song 2 (Tin Roof)")
    friday.write_text("[[songs]]".join(whole.split("[[songs]]")[:4]))
    first, second = open_night(friday).plan().changed
    assert first.startswith("nothing above 50 %, but not in Slow Ferry: it was taken back there, the song came later")
    assert ", but not in Slow Ferry: " in second


def test_a_dropped_song_stays_dropped_in_another_order(friday):
    change_night(open_night(friday), Wanted(), drop=("paper boats",))
    head, *songs = friday.read_text().split("[[songs]]")
    friday.write_text("[[songs]]".join([head, *reversed(songs)]))
    assert [(song.number, song.title) for song in open_night(friday).plan().songs] == list(
        enumerate(list(reversed(SONGS))[:-1], 1)
    )
    undo_night(friday)
    assert len(open_night(friday).plan().songs) == 6


def test_a_night_of_which_nothing_is_left_can_still_be_taken_back(friday):
    change_night(open_night(friday), Wanted(), drop=("paper boats",))
    head, first, *_ = friday.read_text().split("[[songs]]")
    friday.write_text("[[songs]]".join([head, first]))
    with pytest.raises(CuesuggestError, match="has no songs to play"):
        open_night(friday)
    undo_night(friday)
    assert [song.title for song in open_night(friday).plan().songs] == ["Paper Boats"]


def test_a_document_that_is_gone_by_then_keeps_nobody_from_taking_the_change_back(friday):
    shortened_to(friday, 3)
    before = [content(song) for song in songs_of(friday)]
    change_night(open_night(friday), Wanted(ceiling=50))
    gone = document(friday, "Tin Roof")
    gone.rename(gone.with_suffix(".away"))
    _, told = undo_night(friday)
    assert lines_of(told, gone.name) == ("Its document is not there any more.",)
    after = [content(Song.load(document(friday, title))) for title in ("Paper Boats", "Slow Ferry")]
    assert after == [before[0], before[2]]


def test_a_document_that_is_named_in_two_ways_is_changed_once(friday):
    shortened_to(friday, 2)
    before = [content(song) for song in songs_of(friday)]
    text = friday.read_text()
    friday.write_text(f'{text}\n[[songs]]\ndocument = "../{friday.parent.name}/tin-roof.cues.json"\n')
    told = change_night(open_night(friday), Wanted(ceiling=50))
    assert [each.number for each in told if each.title == "Tin Roof"] == [2, 3]
    undo_night(friday)
    assert [content(song) for song in songs_of(friday)] == [*before, before[1]]


def test_where_there_is_nothing_to_change_no_older_change_is_offered_to_be_taken_back(friday, run):
    shortened_to(friday, 2)
    run("night", friday, "--ceiling", "50")
    code, out, _ = run("night", friday, "--ceiling", "70")
    assert code == 0
    assert out.count("Nothing to change.") == 2
    assert out.endswith("Nothing was changed.\n")
    assert [each.said for each in kept_changes(friday)] == ["nothing above 50 %"]


def test_the_command_that_takes_it_back_can_be_copied_from_a_folder_with_a_space_in_it(friday, run):
    file = Path(shutil.copytree(friday.parent, friday.parent.with_name("two words"))) / friday.name
    _, out, _ = run("night", file, "--drop", "1")
    command = out.splitlines()[-1].partition("with: ")[2]
    assert shlex.split(command) == ["cuesuggest", "night", str(file), "--undo"]


def test_a_long_title_is_told_within_the_width_of_the_screen(friday, run, monkeypatch):
    shortened_to(friday, 2)
    monkeypatch.setenv("COLUMNS", "80")
    path = document(friday, "Tin Roof")
    song = Song.load(path)
    song.replaced(title="Tin " * 49 + "Roof", revision=song.revision + 1).save(path)
    for options in ((), ("--without", "strobe"), ("--undo",)):
        _, out, _ = run("night", friday, *options)
        lines = [line for line in out.splitlines() if str(friday) not in line]
        assert max(map(len, lines)) <= 80
        assert "Tin Tin Roof" in unbroken(out)


def test_what_is_no_set_list_is_told_for_what_it_is(friday, run):
    _, _, err = run("night", friday.parent)
    assert "is a folder. Name the night in it (NIGHT.toml), or write one: cuesuggest night --new" in err
    path = document(friday, "Tin Roof")
    _, _, err = run("night", path)
    assert "is the document of one song. A night names the documents of several in a file of its own" in err
    code, _, err = run("night", friday, "-o", friday.parent / "desk")
    assert (code, "are for what --to writes: add a format, such as --to page." in err) == (2, True)
    path.unlink()
    _, _, err = run("night", friday)
    assert f"{friday}, song 2: {path} was not found." in err


def test_what_cannot_be_is_refused_in_words(friday):
    with pytest.raises(CuesuggestError, match=r"no side 'side-c'\. --without takes one of these: side-A"):
        change_night(open_night(friday), Wanted(without=("side-c",)))
    with pytest.raises(CuesuggestError, match="Without lamp the rig two-lamps-strobe would have no side left"):
        change_night(open_night(friday), Wanted(without=("lamp",)))
    with pytest.raises(CuesuggestError, match="There are: 1 Paper Boats, 2 Tin Roof"):
        change_night(open_night(friday), Wanted(), drop=("Iron Hill",))
    twice = open_night(friday)
    twice = replace(twice, songs=(twice.songs[1], *twice.songs[1:]))
    with pytest.raises(CuesuggestError, match="Songs 1 and 2 are called 'tin roof': say which by its number"):
        change_night(twice, Wanted(), drop=("tin roof",))
    with pytest.raises(CuesuggestError, match="No song would be left"):
        change_night(open_night(friday), Wanted(), drop=tuple(SONGS))


@pytest.mark.parametrize("broken", ["", "[]", '{"format": "cuesuggest-night-changes", "version": 1, "changes": [3]}'])
def test_a_broken_file_of_changes_is_told_and_nothing_is_lost(friday, broken):
    changes_file(friday).write_text(broken)
    with pytest.raises(CuesuggestError, match="is not what the sound check wrote"):
        open_night(friday)


def test_an_added_cue_on_a_dead_side_is_taken_out_and_comes_back(friday):
    from cuesuggest.decide.cue_edits import added

    path = document(friday, "Slow Ferry")
    song = Song.load(path)
    decide(friday, "Slow Ferry", added(song, "recall", place_at(song.analysis, 40), look="subtle-1", side="B"))
    own = Song.load(path).cues
    told = change_night(open_night(friday), Wanted(without=("b",)))
    assert on_side(Song.load(path), "B") == []
    assert "added by you, was on side B: it is taken out" in " ".join(lines_of(told, "Slow Ferry"))
    undo_night(friday)
    assert Song.load(path).cues == own


def test_ten_songs_take_less_than_ten_seconds(drafted_night, tmp_path):
    text = (drafted_night / "friday.toml").read_text()
    for k in range(4):
        shutil.copy(drafted_night / "tin-roof.cues.json", tmp_path / f"more-{k}.cues.json")
        text += f'\n[[songs]]\ndocument = "more-{k}.cues.json"\n'
    for path in drafted_night.glob("*.cues.json"):
        shutil.copy(path, tmp_path)
    file = tmp_path / "friday.toml"
    file.write_text(text)
    # The time of this process: the machine may have others.
    began = time.process_time()
    told = change_night(open_night(file), Wanted(without=("strobe", "side-b"), ceiling=60))
    assert time.process_time() - began < 10
    assert len(told) == 10


def test_on_the_command_line_it_is_one_command_and_one_to_take_it_back(run, friday):
    before = [content(song) for song in songs_of(friday)]
    code, out, err = run("night", friday, "--without", "strobe", "--ceiling", "60", "--drop", "slow ferry")
    assert (code, err) == (0, "")
    for title in SONGS:
        assert title in out
    assert f"cuesuggest night {friday} --undo" in out
    code, out, _ = run("night", friday)
    assert "Changed at sound check: without strobe, nothing above 60 %, without song 3 (Slow Ferry)." in unbroken(out)
    code, out, _ = run("night", friday, "--undo")
    assert "Taken back: without strobe, nothing above 60 %, without song 3 (Slow Ferry)." in out
    assert [content(song) for song in songs_of(friday)] == before
    told = json.loads(changes_file(friday).read_text())
    assert told["changes"] == []
    code, _, err = run("night", friday, "--undo", "--ceiling", "60")
    assert (code, "one thing at a time" in err) == (2, True)
