"""Several songs on the page: each with its own state, opened when it is asked for, and never mixed with another."""

import io
import json
import re
import shutil
import zipfile
from dataclasses import replace
from pathlib import Path

import pytest

from cuesuggest.cli.inputs import documents
from cuesuggest.errors import CuesuggestError
from cuesuggest.review import evening as evening_module
from cuesuggest.review.evening import Evening, NoSuchSongError
from cuesuggest.score.deeds import Answer, Question, ShiftBars
from cuesuggest.song import Settings, SetTitle, Song, change
from tests.reviewing import barriers, hosting, serving, until

TITLES = {"a_lantern": "Lantern", "b_harbour": "Harbour", "c_ferry": "Ferry"}
TABLET = {"viewport": {"width": 820, "height": 1180}, "has_touch": True, "is_mobile": True}


def put(drafted_take, folder, stem, title):
    """A song of its own in a folder: the small band's, under another name."""
    folder.mkdir(parents=True, exist_ok=True)
    shutil.copyfile(drafted_take.with_name("evening.wav"), folder / f"{stem}.wav")
    song = Song.load(drafted_take)
    path = folder / f"{stem}.cues.json"
    song.replaced(title=title, recording=replace(song.recording, path=f"{stem}.wav")).save(path)
    return path


@pytest.fixture
def folder(drafted_take, tmp_path):
    for stem, title in TITLES.items():
        put(drafted_take, tmp_path / "tonight", stem, title)
    return tmp_path / "tonight"


@pytest.fixture
def server(folder):
    with hosting(*documents([folder])) as running:
        yield running


def held(page):
    """Hold back the first action that the page sends; gives a list in which it comes."""
    slow = []

    def hold(route):
        if slow:
            route.continue_()
        else:
            slow.append(route)

    page.page.route("**/act?*", hold)
    return slow


def statuses(path):
    return [cue.status for cue in Song.load(path).cues]


def shows(page, title):
    """Wait until a song is shown, wholly."""
    page.page.wait_for_function(
        "title => document.title.startsWith(title) && document.querySelector('#chart').ariaBusy === 'false'", arg=title
    )
    assert title.partition(",")[0] in page.text("#chart svg")


# What is meant by a folder.


def test_a_folder_is_its_documents_in_order_of_name_and_the_recordings_without_one(folder):
    shutil.copyfile(folder / "a_lantern.wav", folder / "b_bare.wav")
    (folder / ".c_ferry.cues.json").write_text("left by a system")
    (folder / "notes.txt").write_text("x")
    assert [path.name for path in documents([folder])] == [
        "a_lantern.cues.json", "b_bare.cues.json", "b_harbour.cues.json", "c_ferry.cues.json",
    ]  # fmt: skip


def test_a_recording_whose_document_has_another_name_is_no_second_song(folder):
    (folder / "a_lantern.cues.json").rename(folder / "z_last.cues.json")
    assert [path.name for path in documents([folder])] == [
        "b_harbour.cues.json", "c_ferry.cues.json", "z_last.cues.json",
    ]  # fmt: skip


def test_songs_named_are_taken_in_the_order_named_each_once(folder):
    c, a = folder / "c_ferry.cues.json", folder / "a_lantern.wav"
    assert [path.name for path in documents([c, a, c, a])] == ["c_ferry.cues.json", "a_lantern.cues.json"]


@pytest.mark.parametrize("name", ["missing.cues.json", "missing.wav", "empty"])
def test_what_is_not_there_is_told_before_anything_is_served(folder, name, run):
    (folder / "empty").mkdir()
    with pytest.raises(CuesuggestError, match=r"missing|empty"):
        documents([folder / "a_lantern.cues.json", folder / name])
    code, out, err = run("review", folder / "a_lantern.cues.json", folder / name, "--no-open")
    assert (code, out, "Traceback" in err) == (2, "", False)


def test_a_folder_in_which_nothing_is_drafted_tells_the_command(drafted_take, tmp_path, run):
    bare = tmp_path / "of tonight"
    bare.mkdir()
    for name in ("one.wav", "two.wav"):
        shutil.copyfile(drafted_take.with_name("evening.wav"), bare / name)
    code, out, err = run("review", bare, "--no-open")
    assert (code, out) == (2, "")
    assert f"cuesuggest suggest '{bare}'" in err


def test_the_command_opens_a_folder(folder):
    with serving(folder) as server:
        assert [row["title"] for row in server.songs()] == list(TITLES.values())


# The states of songs.


def test_the_list_tells_of_each_song_what_is_to_do(server, folder):
    first, second, _ = rows = server.songs()
    song = Song.load(folder / "a_lantern.cues.json")
    assert [row["number"] for row in rows] == [1, 2, 3]
    assert (first["cues"], first["to_check"], first["state"]) == (len(song.cues), len(song.cues), "open")
    assert first["tempo"] == song.analysis.tempo_bpm
    assert first["seconds"] == pytest.approx(song.recording.window.end - song.recording.window.start)
    cue = song.cues[0].id
    assert server.act("status", song=second["song"], cues=[cue], status="accepted")[0] == 200
    assert [row["to_check"] for row in server.songs()] == [len(song.cues), len(song.cues) - 1, len(song.cues)]


def test_a_song_is_done_once_nothing_is_open_and_no_cue_undecided(server):
    song = server.songs()[2]["song"]
    cues = [cue["id"] for cue in server.song(song)["cues"]]
    assert server.act("status", song=song, cues=cues, status="accepted")[0] == 200
    assert server.song(song)["questions"] == []
    assert [row["state"] for row in server.songs()] == ["open", "open", "done"]


def test_a_broken_document_is_listed_with_what_is_wrong_and_stops_nothing(folder, drafted_take):
    (folder / "a_broken.cues.json").write_text('{"format": "shopping list"}')
    shutil.copyfile(folder / "a_lantern.wav", folder / "b_bare.wav")
    with hosting(*documents([folder])) as server:
        listed = server.listed()
        rows = {row["title"]: row for row in listed["songs"]}
        assert rows["a_broken"]["state"] == "wrong"
        assert "a_broken.cues.json" in rows["a_broken"]["wrong"]
        assert rows["b_bare"]["state"] == "not drafted"
        assert [each["command"] for each in listed["advice"]] == [f"cuesuggest suggest {folder}"]
        # Next and before lead past what cannot be opened; asked for by its id it is told.
        place = server.song(rows["Lantern"]["song"])["evening"]
        assert (place["number"], place["of"], place["before"]) == (2, 5, None)
        assert place["after"] == rows["Harbour"]["song"]
        status, _, body = server.ask("GET", f"/song?song={rows['a_broken']['song']}")
        assert (status, "a_broken.cues.json" in json.loads(body)["error"]) == (422, True)
        # A song that is drafted meanwhile is there from then on.
        put(drafted_take, folder, "b_bare", "Bare")
        assert {row["title"]: row["state"] for row in server.songs()}["Bare"] == "open"
        assert server.song(rows["b_bare"]["song"])["title"] == "Bare"


def test_it_is_said_where_style_or_rig_are_not_those_of_the_song_that_is_shown(folder):
    path = folder / "b_harbour.cues.json"
    song = Song.load(path)
    song.replaced(profile=Settings(name="club", values=song.profile.values), revision=song.revision + 1).save(path)
    with hosting(*documents([folder])) as server:
        listed = server.listed()
    assert [row["differs"] for row in listed["songs"]] == ["", "house style club", ""]
    (advice,) = listed["advice"]
    assert "around what is decided" in advice["said"]
    assert re.fullmatch(
        rf"cuesuggest suggest --again --profile band --rig \S+ {folder}/\*\.cues\.json", advice["command"]
    )


def test_songs_are_opened_when_they_are_asked_for_and_read_once_for_the_list(folder, monkeypatch):
    opened, read = [], []
    take, load = evening_module.OpenSong, Song.load
    monkeypatch.setattr(evening_module, "OpenSong", lambda *given: opened.append(given[0].name) or take(*given))
    monkeypatch.setattr(Song, "load", lambda path: read.append(Path(path).name) or load(path))
    evening = Evening(documents([folder]), lambda _: None)
    assert (opened, read) == ([], [])
    first = evening.first("")
    assert (opened, read) == ([], ["a_lantern.cues.json"])
    for _ in range(3):
        evening.listed(first)
    assert (opened, sorted(read)) == ([], [f"{stem}.cues.json" for stem in TITLES])
    assert evening.song(first) is evening.song(first)
    assert opened == ["a_lantern.cues.json"]


def test_of_many_songs_only_the_last_few_keep_their_sound(drafted_take, tmp_path):
    paths = [put(drafted_take, tmp_path, f"s{k}", f"Song {k}") for k in range(6)]
    evening = Evening(paths, lambda _: None)
    sounds = []
    for each in evening.ids:
        song = evening.song(each)
        evening.to_be_heard(song)
        sounds.append(song.sound()[0])
    assert [sound._closed for sound in sounds] == [True, True, False, False, False, False]
    again, wrong = evening.song(evening.ids[0]).sound()
    assert (wrong, again.read(0, 4)) == ("", b"RIFF")
    evening.close()


# The door.

HOSTILE = ["", "0", "1", "-1", "nan", "..%2f..%2fetc", "a_lantern", "%00", "%ff", "x" * 5000, "\u00e9", "%F0%9F%98%80"]


@pytest.mark.parametrize("named", HOSTILE, ids=lambda each: each[:12].encode().hex())
def test_a_song_that_is_none_of_these_is_refused_everywhere(server, folder, named):
    before = [path.read_bytes() for path in sorted(folder.glob("*.cues.json"))]
    sound = server.song(server.songs()[0]["song"])["sound"]["address"].partition("key=")[2]
    named = named if named.isascii() else "%C3%A9"
    for path in ("/song?song=", "/disk?song=", "/songs?song=", f"/sound.wav?key={sound}&song="):
        status, _, body = server.ask("GET", path + named)
        assert (status, b"no such song" in body) == (404, True)
    for path in ("/act?song=", "/export?song="):
        status, _, body = server.ask(
            "POST", path + named, {"do": "undo", "revision": 0, "files": [".mid"], "into": "folder"}
        )
        assert (status in (404, 422), json.loads(body)["error"].endswith(".")) == (True, True)
    assert [path.read_bytes() for path in sorted(folder.glob("*.cues.json"))] == before
    assert len(list(folder.iterdir())) == 6 + (folder / "kept").exists()


def test_two_songs_named_at_once_are_refused_and_no_song_means_no_song(server):
    one, two, _ = (row["song"] for row in server.songs())
    assert server.ask("GET", f"/song?song={one}&song={two}")[0] == 404
    assert server.ask("POST", f"/act?song={one}&song={two}", {"do": "undo", "revision": 0})[0] == 404
    assert server.ask("GET", "/song")[0] == 404
    assert server.ask("POST", "/act", {"do": "undo", "revision": 0, "song": one})[0] == 404


def test_a_window_begins_with_the_song_it_showed_and_else_with_the_first(server):
    ids = [row["song"] for row in server.songs()]

    def first(kept):
        return json.loads(server.ask("GET", f"/first?kept={kept}")[2])["song"]

    assert first(ids[2]) == ids[2]
    assert [first(kept) for kept in ("", "of_another_run", "%ff")] == [ids[0]] * 3


def test_the_ids_of_songs_come_from_where_their_documents_lie(folder):
    three, two = Evening(documents([folder])), Evening(documents([folder])[1:])
    assert three.ids[1:] == two.ids
    with pytest.raises(NoSuchSongError):
        two.song(three.ids[0])


# Never mixed.


def test_what_is_done_to_one_song_reaches_no_other_and_undo_is_each_songs_own(server, folder):
    one, two, three = (row["song"] for row in server.songs())
    paths = sorted(folder.glob("*.cues.json"))
    untouched = paths[2].read_bytes()
    cue = server.song(one)["cues"][0]["id"]
    server.act("status", song=one, cues=[cue], status="accepted")
    server.act("status", song=two, cues=[cue], status="rejected")
    assert [statuses(path)[0] for path in paths] == ["accepted", "rejected", "suggested"]
    assert server.act("undo", song=three)[0] == 422
    assert server.act("undo", song=one)[0] == 200
    assert [statuses(path)[0] for path in paths] == ["suggested", "rejected", "suggested"]
    assert paths[2].read_bytes() == untouched


def test_a_file_changed_by_another_program_stops_its_own_song_alone(server, folder):
    one, two, _ = (row["song"] for row in server.songs())
    server.song(one)
    path = folder / "a_lantern.cues.json"
    change(Song.load(path), SetTitle("From the shell"), by="command line").save(path)
    assert json.loads(server.ask("GET", f"/disk?song={one}")[2])["disk"] == "changed"
    assert server.act("title", song=one, title="Mine")[0] == 409
    assert server.act("title", song=two, title="Mine")[0] == 200
    assert server.act("take-file", song=one)[1]["title"] == "From the shell"


# On the page, by keys alone.


def test_keys_lead_from_song_to_song_and_each_is_found_as_it_was_left(page, folder):
    shows(page, "Lantern, song 1 of 3")
    page.press("Escape", "Home", "ArrowDown", "ArrowDown", "Enter")
    page.told("accepted")
    place = page.seconds()
    assert place > 0
    page.press("Shift+N")
    shows(page, "Harbour, song 2 of 3")
    page.told("Song 2 of 3: Harbour.")
    assert page.seconds() == 0
    page.press("Home", "ArrowDown", "x")
    page.told("rejected")
    page.press("Shift+N")
    shows(page, "Ferry, song 3 of 3")
    page.press("Shift+N")
    page.told("no song after")
    page.press("Shift+P", "Shift+P")  # the second waits until the first has come
    shows(page, "Lantern, song 1 of 3")
    page.at(place)
    page.slip("accepted")
    assert [statuses(path).count("suggested") - len(statuses(path)) for path in sorted(folder.glob("*.cues.json"))] == [
        -1, -1, 0,
    ]  # fmt: skip
    page.press("u")
    page.told("Taken back")
    assert "accepted" not in statuses(folder / "a_lantern.cues.json")
    assert "rejected" in statuses(folder / "b_harbour.cues.json")
    page.press("Shift+N")
    shows(page, "Harbour")
    page.reload()
    shows(page, "Harbour, song 2 of 3")


def test_a_key_that_waited_for_a_song_is_done_at_the_place_where_that_song_was_left(page, folder):
    here, there = (Song.load(folder / "a_lantern.cues.json").analysis.bars[k] for k in (6, 2))

    def added(name):
        return [cue.place.bar for cue in Song.load(folder / name).cues if cue.status == "added"]

    page.press("Escape")
    page.seek(here.start)
    page.press("Shift+N")
    shows(page, "Harbour")
    page.press("Escape")
    page.seek(there.start)
    for key, name, bar in (("Shift+P", "a_lantern.cues.json", here), ("Shift+N", "b_harbour.cues.json", there)):
        page.press(key, "j")  # J waits until the song has come
        until(lambda name=name: added(name))
        assert added(name) == [bar.number]
    shows(page, "Harbour")


def test_a_form_that_was_left_half_filled_waits_in_its_own_song_alone(page):
    def typed():
        page.press("m", "f")
        return page.page.input_value("#ask textarea"), "As you left it" in page.text("#ask")

    page.press("Escape")
    typed()
    page.page.fill("#ask textarea", "intro 8")
    page.press("Escape", "Shift+N")
    shows(page, "Harbour")
    text, left = typed()
    assert (text == "intro 8", left) == (False, False)
    page.press("Escape", "Shift+P")
    shows(page, "Lantern")
    assert typed() == ("intro 8", True)


def test_the_list_of_songs_is_worked_by_keys_alone(page, folder):
    page.press("Shift+S")
    page.page.wait_for_selector("#songs tbody tr")
    said = page.text("#songs")
    assert "0 of 3 songs are done." in said
    count = len(Song.load(folder / "a_lantern.cues.json").cues)
    assert said.count(f"{count} cues to check") == 3
    assert page.page.evaluate("document.activeElement.textContent") == "Lantern"
    page.press("ArrowDown", "x", "ArrowDown", "Enter")  # X is of no song while the list is open
    shows(page, "Ferry")
    assert page.page.locator("dialog[open]").count() == 0
    assert statuses(folder / "b_harbour.cues.json").count("rejected") == 0
    page.press("Shift+S")
    page.page.wait_for_selector("#songs tr.chosen >> text=Ferry")
    page.press("Escape")
    assert page.page.locator("dialog[open]").count() == 0
    page.press("?")
    there = page.page.evaluate("() => [...document.querySelectorAll('#help button')].map((each) => each.dataset.do)")
    assert {"songs", "song-before", "song-after"} <= set(there)


def test_an_answer_that_comes_late_changes_only_the_song_that_it_is_about(page, folder):
    slow = held(page)
    page.press("Escape", "Home", "ArrowDown", "Enter")
    page.page.wait_for_function("() => document.querySelector('#status').textContent.includes('accepted')")
    page.press("Shift+N")
    shows(page, "Harbour")
    page.press("Escape", "Home", "ArrowDown", "x")
    page.told("rejected")
    chart = page.text("#chart svg")
    with page.page.expect_response("**/act?*"):
        slow[0].continue_()
    assert "accepted" in statuses(folder / "a_lantern.cues.json")
    page.page.wait_for_timeout(200)
    assert page.text("#chart svg") == chart
    assert "Harbour" in page.page.title()
    assert "rejected" in page.text("#told")
    assert "accepted" not in statuses(folder / "b_harbour.cues.json")
    page.press("Enter")  # goes on with the revision of this song
    page.told("accepted")
    page.press("Shift+P")
    shows(page, "Lantern")
    page.slip("accepted")
    assert statuses(folder / "a_lantern.cues.json").count("accepted") == 1


def test_a_decision_that_is_refused_late_is_told_by_the_name_of_its_song(page):
    slow = held(page)
    page.press("Escape", "Home", "ArrowDown", "Enter", "Shift+N")
    shows(page, "Harbour")
    slow[0].fulfill(status=422, json={"error": "This could not be saved.", "unsaved": True})
    page.page.wait_for_selector("#unsaved:not([hidden])")
    assert "Lantern: This could not be saved." in page.text("#unsaved")
    page.press("Shift+P")
    shows(page, "Lantern")
    page.slip("suggested")


def test_while_a_song_is_heard_anew_the_next_waits_and_comes_then(page, folder):
    before = Song.load(folder / "a_lantern.cues.json").analysis.bars
    slow = held(page)
    page.press("Escape", "m", "ArrowRight", "Shift+N")
    page.page.wait_for_function("() => document.querySelector('#work').textContent.includes('1 key waits')")
    assert "Lantern" in page.page.title()
    slow[0].continue_()
    shows(page, "Harbour")
    assert Song.load(folder / "a_lantern.cues.json").analysis.bars != before
    assert Song.load(folder / "b_harbour.cues.json").analysis.bars == before
    assert "Music at" not in page.text("#slip")  # the menu was opened for the song before


def test_a_question_passed_over_in_one_song_is_asked_in_the_next(folder, opened):
    for path in folder.glob("*.cues.json"):
        song = Song.load(path)
        assert song.cues
        asked = Question(
            "bar-one", "Is this the 1?", 2.0, (song.cues[0].id,), (Answer("No, a beat later", ShiftBars(1)),)
        )
        song.replaced(questions=(asked,), revision=song.revision + 1).save(path)
    with hosting(*documents([folder])) as server:
        page = opened(server)
        page.slip("Is this the 1?")
        page.press("Escape")
        page.told("passed over")
        page.press("Shift+N")
        shows(page, "Harbour")
        page.slip("Is this the 1?")
        page.press("Shift+P")
        shows(page, "Lantern")
        page.told("passed over")
        assert page.problems == []


def test_each_song_has_its_own_sound(page):
    page.press("Escape", "Home", "Shift+ArrowRight", "k")
    page.page.wait_for_function("() => sound.src.includes('click') && sound.readyState > 2")
    first = page.page.evaluate("sound.src")
    page.press("l", "Space")
    page.page.wait_for_function("() => !sound.paused")
    page.press("Shift+N")
    shows(page, "Harbour")
    page.page.wait_for_function("() => sound.readyState > 2")
    assert page.page.evaluate("sound.src.replace(/song=\\w+/, '')") == re.sub(r"song=\w+", "", first)
    assert page.page.evaluate("sound.src") != first
    assert "paused" in page.text("#state")
    assert "round" not in page.text("#state")


def test_a_song_whose_recording_is_missing_plays_no_other(folder, opened):
    (folder / "b_harbour.wav").unlink()
    with hosting(*documents([folder])) as server:
        page = opened(server)
        page.page.wait_for_function("() => sound.readyState > 2")
        page.press("Space", "Shift+N")
        shows(page, "Harbour")
        assert "no sound" in page.text("#state")
        assert page.page.evaluate("[sound.paused, sound.hasAttribute('src')]") == [True, False]


def test_after_a_song_without_a_sound_the_next_begins_at_its_own_start(folder, opened):
    (folder / "b_harbour.wav").unlink()
    with hosting(*documents([folder])) as server:
        page = opened(server)
        page.press("Shift+N")
        shows(page, "Harbour")
        page.press("Escape", "End")
        assert "0:00" not in page.text("#place")
        page.press("Shift+N")
        shows(page, "Ferry")
        page.page.wait_for_function("() => sound.readyState > 2")
        assert page.seconds() == 0
        page.page.wait_for_function("() => document.querySelector('#place').innerText.includes('0:00')")


def test_a_song_that_broke_meanwhile_is_told_and_the_one_shown_stays(page, folder):
    (folder / "b_harbour.cues.json").write_text("{")
    page.press("Shift+N")
    page.told("b_harbour.cues.json")
    assert "Lantern" in page.page.title()
    page.press("Escape", "Home", "ArrowDown", "Enter")
    page.told("accepted")
    page.press("Shift+N")  # what cannot be opened is passed by, now that the page knows
    shows(page, "Ferry, song 3 of 3")


def test_with_one_song_there_is_no_talk_of_several(document, opened):
    with hosting(document) as server:
        page = opened(server)
        assert page.page.locator("#strip .songs").is_hidden()
        assert "song 1" not in page.page.title()
        page.press("Shift+N")
        page.told("There is only this song.")
        page.press("Shift+E")
        assert "Which songs" not in page.text("#export")


# By touch alone.


def test_songs_are_gone_through_by_touch_alone(server, opened, folder):
    page = opened(server, **TABLET)
    tap = page.page.tap
    tap("#strip [data-do=song-after]")
    shows(page, "Harbour")
    tap("#strip [data-do=leave]") if page.page.locator("#strip [data-do=leave]").is_enabled() else None
    tap("#strip [data-do=cue-on]")
    tap("#slip [data-do=accept]")
    page.told("accepted")
    tap("#strip [data-do=songs]")
    page.page.wait_for_selector("#songs tbody tr")
    small = page.page.evaluate(
        """() => [...document.querySelectorAll('#songs button, #strip .songs button')]
             .map((each) => each.getBoundingClientRect()).filter((box) => box.width < 44 || box.height < 44).length"""
    )
    assert small == 0
    tap("#songs button:text('Ferry')")
    shows(page, "Ferry")
    tap("#strip [data-do=song-before]")
    shows(page, "Harbour")
    assert [("accepted" in statuses(path)) for path in sorted(folder.glob("*.cues.json"))] == [False, True, False]
    assert page.problems == []


@pytest.mark.parametrize("width", [1440, 390])
def test_the_list_of_songs_can_be_used_by_everybody(folder, opened, width):
    (folder / "a_broken.cues.json").write_text('{"format": "shopping list"}')
    shutil.copyfile(folder / "a_lantern.wav", folder / "b_bare.wav")
    with hosting(*documents([folder])) as server:
        page = opened(server, viewport={"width": width, "height": 844})
        page.press("Shift+S")
        page.page.wait_for_selector("#songs tbody tr")
        assert barriers(page.page) == []
        # Nothing is cut off at the side.
        assert page.page.evaluate(
            """() => [...document.querySelectorAll('#songs, #songs .scroll')]
                 .filter((each) => each.scrollWidth > each.clientWidth).length"""
        ) == 0  # fmt: skip
        assert "undefined" not in page.text("#songs")


# Export for all.

GIVEN = {"paper": "a4", "who": "", "plain": False}


def test_all_songs_go_out_in_one_archive_each_under_its_number(server, folder):
    one = server.songs()[0]["song"]
    asked = {**GIVEN, "files": [".cues.csv", ".run.html"], "into": "downloads", "songs": "all"}
    status, headers, body = server.ask("POST", f"/export?song={one}", asked)
    assert (status, headers["x-file-name"]) == (200, "songs.zip")
    with zipfile.ZipFile(io.BytesIO(body)) as archive:
        assert archive.namelist() == [
            "01 a_lantern.cues.csv", "02 b_harbour.cues.csv", "03 c_ferry.cues.csv", "songs.run.html",
        ]  # fmt: skip
        tablet = archive.read("songs.run.html").decode()
    places = [tablet.index(json.dumps(title)) for title in TITLES.values()]
    assert places == sorted(places)
    assert all(Song.load(path).numbers_frozen for path in folder.glob("*.cues.json"))


def test_or_each_beside_its_document_all_or_none(server, folder, tmp_path):
    one = server.songs()[0]["song"]
    asked = {**GIVEN, "files": [".cues.csv"], "into": "folder", "folder": "out", "songs": "all"}
    (folder / "out").mkdir()
    (folder / "out" / "c_ferry.cues.csv").write_text("mine")
    status, _, body = server.ask("POST", f"/export?song={one}", asked)
    assert (status, json.loads(body)["there"]) == (409, ["c_ferry.cues.csv"])
    assert [path.name for path in (folder / "out").iterdir()] == ["c_ferry.cues.csv"]
    assert not Song.load(folder / "a_lantern.cues.json").numbers_frozen
    status, _, body = server.ask("POST", f"/export?song={one}", {**asked, "replace": True})
    assert json.loads(body) == {"written": [f"out/{stem}.cues.csv" for stem in TITLES], "left_out": []}


def test_a_song_that_cannot_go_out_is_left_out_and_told(server, folder):
    one, two, _ = (row["song"] for row in server.songs())
    server.act("add", song=two, kind="call", note="house light to half", who="Nele", bar=3, beat=1)
    (folder / "c_ferry.cues.json").write_text("{")
    asked = {**GIVEN, "who": "Nele", "files": [".list.html"], "into": "folder", "folder": "", "songs": "all"}
    answer = json.loads(server.ask("POST", f"/export?song={one}", asked)[2])
    assert answer["written"] == ["b_harbour.list.html"]
    ferry, lantern = sorted(answer["left_out"], key=lambda each: "a_lantern" in each)
    assert ferry.startswith("c_ferry: ")
    assert "no cue for 'Nele'" in lantern
    assert Song.load(folder / "b_harbour.cues.json").printed.edition == 1
    assert Song.load(folder / "a_lantern.cues.json").printed is None


def test_the_export_dialog_takes_all_songs_out_by_keys_alone(page, folder):
    page.press("Shift+E")
    page.page.select_option("#export [name=songs]", "all")
    page.page.select_option("#export [name=into]", "folder")
    page.press("Enter")
    page.told("Written beside the document: a_lantern.page.pdf, b_harbour.page.pdf, c_ferry.page.pdf.")
    assert all((folder / f"{stem}.page.pdf").read_bytes().startswith(b"%PDF") for stem in TITLES)
