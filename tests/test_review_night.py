"""The sound check on the page: said first, done in all songs or none, taken back; by the functions of the command."""

import json
import shutil
import threading
import time

import pytest
from playwright.sync_api import expect

from cuesuggest.errors import DocumentError
from cuesuggest.night import whole_night
from cuesuggest.night.kept_changes import changes_file, kept_changes
from cuesuggest.night.sound_check import Wanted
from cuesuggest.night.the_set import documents_of, open_night
from cuesuggest.night.whole_night import change_night, undo_night
from cuesuggest.song import SetCue, Song, change_all
from tests.nights import drafted_song, shortened_to
from tests.reviewing import barriers, hosting, until
from tests.songs import make_analysis

PHONE = {"viewport": {"width": 390, "height": 844}, "has_touch": True, "is_mobile": True}
SPARE = """
name = "spare"
hands = 1
practised = "operator"
reaction_seconds = 0.3
haze = true
cameras = false
[[sides]]
name = "C"
source = "lamp"
jumps = false
settle_seconds = 2.0
"""
STROBE = {"without": ["strobe"], "drop": []}


@pytest.fixture
def night(friday):
    """The first three songs of the night; the second has a one-shot."""
    shortened_to(friday, 3)
    return friday


@pytest.fixture
def server(night):
    with hosting(*documents_of(night), night=night) as running:
        yield running


def ask(server, do, **values):
    status, _, body = server.ask("POST", "/night", {"do": do, **values})
    return status, json.loads(body)


def looked(server, **values):
    status, told = ask(server, "look", **values)
    assert status == 200, told
    return told


def changed(server, **values):
    """Change all songs, as whoever has read what that would do."""
    return ask(server, "change", **values, seen=looked(server, **values)["seen"])


def files(night):
    return {path.name: path.read_bytes() for path in sorted(night.parent.glob("*.json"))}


def document(night, title):
    return night.parent / f"{title.lower().replace(' ', '-')}.cues.json"


def decide(path, *edits):
    """Decide something, as another program does."""
    change_all(Song.load(path), edits, by="command line").save(path)


def content(night):
    memory = {"revision", "history", "undone"}
    songs = [Song.load(path) for path in sorted(night.parent.glob("*.cues.json"))]
    return [{name: value for name, value in song.__dict__.items() if name not in memory} for song in songs]


def shots(night):
    song = Song.load(document(night, "Tin Roof"))
    return [cue for cue in song.cues if cue.kind == "one-shot" and cue.status != "rejected"]


def ids(server):
    return {row["title"]: row["song"] for row in server.songs()}


# What the server does.


@pytest.mark.parametrize(
    ("values", "wanted", "more"),
    [
        ({"without": ["strobe"], "drop": [], "ceiling": 50}, Wanted(without=("strobe",), ceiling=50), {}),
        ({"without": ["side-b"], "drop": ["3"]}, Wanted(without=("side-b",)), {"drop": ("3",)}),
        (
            {"without": [], "drop": [], "no_haze": True, "volunteer": True, "restrain": True},
            Wanted(no_haze=True, volunteer=True),
            {"restrain": True},
        ),
    ],
)
def test_what_would_change_is_said_as_the_command_says_it_and_then_done_as_the_command_does_it(
    night, server, tmp_path, values, wanted, more
):
    before = files(night)
    twin = shutil.copytree(night.parent, tmp_path / "twin") / night.name
    told = looked(server, **values)
    assert files(night) == before
    status, answer = ask(server, "change", **values, seen=told["seen"])
    by_command = change_night(open_night(twin), wanted, **more)
    assert (status, answer["said"]) == (200, kept_changes(twin)[-1].said)
    assert [each.title for each in by_command] == [each["title"] for each in told["told"]]
    for tell in (told, answer):
        assert [(each["number"], tuple(each["lines"]), each["changed"]) for each in tell["told"]] == [
            (each.number, each.lines, each.changed) for each in by_command
        ]
    assert content(night) == content(twin)
    status, answer = ask(server, "undo")
    assert (status, answer["said"]) == (200, kept_changes(twin)[-1].said)
    undo_night(twin)
    assert content(night) == content(twin)
    assert kept_changes(night) == []


def test_open_songs_show_the_change_keep_what_was_decided_and_are_worked_on_at_once(night, server):
    song = ids(server)["Tin Roof"]
    cue = server.song(song)["cues"][2]["id"]
    assert server.act("note", song=song, cue=cue, note="gently")[0] == 200
    assert server.act("lock", song=song, cue=cue, lock=True)[0] == 200
    before = server.song(song)
    assert any(each["kind"] == "one-shot" for each in before["cues"])
    assert changed(server, **STROBE)[0] == 200
    after = server.song(song)
    assert not any(each["kind"] == "one-shot" for each in after["cues"])
    kept = next(each for each in after["cues"] if each["id"] == cue)
    assert (kept["note"], kept["lock"]) == ("gently", True)
    assert after["changed"]["words"]
    assert after["undo"] == "without strobe"
    # Nobody is told of another program, and the next decision is taken.
    assert json.loads(server.ask("GET", f"/disk?song={song}")[2]) == {"revision": after["revision"], "disk": "same"}
    assert server.act("title", song=song, revision=before["revision"], title="Old")[0] == 409
    assert server.act("title", song=song, title="Tin Roof II")[0] == 200
    # Where something was decided since, nothing is taken back, and the song is named.
    now = files(night)
    status, answer = ask(server, "undo")
    assert (status, "other things were decided in Tin Roof II" in answer["error"]) == (422, True)
    assert files(night) == now
    assert server.act("undo", song=song)[0] == 200
    assert ask(server, "undo")[0] == 200
    there = {each["id"]: each for each in server.song(song)["cues"]}
    assert any(each["kind"] == "one-shot" for each in there.values())
    assert there[cue]["note"] == "gently"


def test_what_was_changed_on_the_disk_since_it_was_told_is_not_changed_unseen(night, server):
    told = looked(server, **STROBE)
    path = document(night, "Slow Ferry")  # is not open
    decide(path, SetCue(Song.load(path).cues[0].id, {"note": "wait"}))
    before = files(night)
    status, answer = ask(server, "change", **STROBE, seen=told["seen"])
    assert (status, "Something else was changed since you were told" in answer["error"]) == (422, True)
    # Nor is anything else than what was chosen then, nor without having been told.
    for values, seen in (({**STROBE, "ceiling": 50}, looked(server, **STROBE)["seen"]), (STROBE, ""), (STROBE, None)):
        assert ask(server, "change", **values, seen=seen)[0] == 422
    assert files(night) == before
    assert changed(server, **STROBE)[0] == 200
    assert Song.load(path).cues[0].note == "wait"


def test_an_open_song_that_another_program_changed_is_named_and_no_song_is_changed(night, server):
    song = ids(server)["Tin Roof"]
    told = server.song(song) and looked(server, **STROBE)
    path = document(night, "Tin Roof")
    decide(path, SetCue(Song.load(path).cues[0].id, {"note": "wait"}))
    before = files(night)
    for do in ("look", "change", "undo"):
        status, answer = ask(server, do, **STROBE, seen=told["seen"])
        assert (status, "tin-roof.cues.json was changed by another program" in answer["error"]) == (422, True)
    assert files(night) == before
    assert server.act("take-file", song=song)[0] == 200
    assert changed(server, **STROBE)[0] == 200
    assert Song.load(path).cues[0].note == "wait"


def test_if_one_song_cannot_be_saved_none_is_changed_on_disk_or_on_the_page(night, server, monkeypatch):
    songs = ids(server).values()
    shown = [server.song(song) for song in songs]
    before = content(night)
    save = Song.save

    def failing(self, path, **more):
        if path.name.startswith("slow-ferry"):
            raise DocumentError("The disk is full.")
        return save(self, path, **more)

    monkeypatch.setattr(Song, "save", failing)
    values = {"without": ["strobe"], "drop": [], "ceiling": 30}
    status, answer = changed(server, **values)
    assert (status, "The disk is full." in answer["error"]) == (422, True)
    monkeypatch.undo()
    assert content(night) == before
    assert kept_changes(night) == []
    for song, was in zip(songs, shown, strict=True):
        now = server.song(song)
        assert [now["cues"], now["looks"], now["undo"]] == [was["cues"], was["looks"], was["undo"]]
        assert json.loads(server.ask("GET", f"/disk?song={song}")[2])["disk"] == "same"
    assert changed(server, **values)[0] == 200


def test_a_decision_that_comes_while_all_songs_are_changed_waits_and_is_not_done_to_another_state(
    night, server, monkeypatch
):
    song = ids(server)["Tin Roof"]
    revision, cue = server.song(song)["revision"], server.song(song)["cues"][0]["id"]
    came, real = [], whole_night.change_night

    def slow(*given, **more):
        act = threading.Thread(
            target=lambda: came.append(server.act("note", revision, song=song, cue=cue, note="late")[0])
        )
        act.start()
        time.sleep(0.3)
        assert came == []
        slow.act = act
        return real(*given, **more)

    monkeypatch.setattr(whole_night, "change_night", slow)
    assert changed(server, **STROBE)[0] == 200
    slow.act.join()
    assert came == [409]
    assert not shots(night)
    assert Song.load(document(night, "Tin Roof")).cues[0].note == ""


@pytest.mark.parametrize(
    ("values", "said"),
    [
        ({}, "without is not a list"),
        ({"without": [], "drop": []}, "Choose what is to change"),
        ({**STROBE, "ceiling": 4}, "must be 5 to 80"),
        ({**STROBE, "ceiling": 50.5}, "not a whole number"),
        ({**STROBE, "no_haze": "yes"}, "not yes or no"),
        ({**STROBE, "rig": "../../etc/passwd"}, "rig must be one of"),
        ({**STROBE, "rig": 3}, "rig must be one of"),
        ({"without": ["fog"], "drop": []}, "no side 'fog'"),
        ({"without": ["lamp"], "drop": []}, "no side left to play on"),
        ({"without": [], "drop": ["9"]}, "There is no song '9'"),
        ({"without": [], "drop": ["1", "2", "3"]}, "No song would be left to play"),
    ],
)
def test_what_cannot_be_is_refused_in_a_sentence_and_nothing_is_changed(night, server, values, said):
    before = files(night)
    status, answer = ask(server, "look", **values)
    assert (status, said in answer["error"]) == (422, True)
    assert ask(server, "change", seen="", **values)[0] == 422
    assert ask(server, "erase", **STROBE)[0] == 422
    assert (ask(server, "undo")[0], files(night)) == (422, before)


def test_what_is_offered_is_what_the_songs_rigs_have_and_rigs_by_name_or_beside_the_set_list(night, server):
    (night.parent / "spare.toml").write_text(SPARE)
    (night.parent / "mine.toml").write_text('based_on = "band"\n')
    controls = server.listed()["night"]["controls"]
    assert [value for value, _ in controls["without"]] == ["lamp", "strobe", "one-shot", "side-A", "side-B"]
    assert controls["drop"] == [["1", "1 Paper Boats"], ["2", "2 Tin Roof"], ["3", "3 Slow Ferry"]]
    assert {"example", "one-laser"} < set(controls["rigs"])
    assert [each for each in controls["rigs"] if each.endswith(".toml")] == ["spare.toml"]
    assert changed(server, without=[], drop=["1"], rig="spare.toml")[0] == 200
    assert {cue.side for cue in Song.load(document(night, "Tin Roof")).cues} <= {"C", None}
    controls = server.listed()["night"]["controls"]
    assert [value for value, _ in controls["without"]] == ["lamp", "side-C"]
    assert [value for value, _ in controls["drop"]] == ["2", "3"]
    assert controls["undo"] == "for the rig spare, without song 1 (Paper Boats)"


def test_a_song_that_was_left_out_when_the_page_was_started_is_told_once_it_is_played_again(night):
    change_night(open_night(night), Wanted(), drop=("2",))
    with hosting(*documents_of(night), night=night) as server:
        assert server.listed()["night"]["remarks"] == ["Changed at sound check: without song 2 (Tin Roof)."]
        assert ask(server, "undo")[1]["said"] == "without song 2 (Tin Roof)"
        (said,) = server.listed()["night"]["remarks"]
        assert said.startswith("Song 2 is not on this page: it came into the night after the page was started.")


def test_a_night_of_which_nothing_is_left_can_be_taken_back_and_one_that_cannot_be_read_offers_nothing(night, server):
    change_night(open_night(night), Wanted(), drop=("3",))
    first = night.read_text().split("[[songs]]")
    night.write_text("[[songs]]".join([first[0], first[3]]))
    shown = server.listed()["night"]
    assert (shown["controls"]["undo"], shown["controls"]["drop"]) == ("without song 3 (Slow Ferry)", [])
    assert ask(server, "undo")[0] == 200
    changes_file(night).write_text("{}")
    assert server.listed()["night"]["controls"] is None
    status, answer = ask(server, "look", **STROBE)
    assert (status, "is not what the sound check wrote" in answer["error"]) == (422, True)


def test_songs_that_are_no_night_have_no_sound_check(night, opened):
    with hosting(*documents_of(night)) as server:
        status, answer = ask(server, "look", **STROBE)
        assert (status, "no night" in answer["error"]) == (422, True)
        page = opened(server)
        page.press("Escape", "?")
        page.page.click("#help [data-do=sound-check]")
        page.told("A sound check is for a night")
        page.press("Shift+S")
        page.page.wait_for_selector("#songs tbody tr")
        assert page.page.locator("#songs [data-do=sound-check]").is_hidden()


def test_a_night_of_one_song_has_its_sound_check_too(tmp_path, opened):
    song = drafted_song("Paper Boats", make_analysis("A8 B16", bpm=96, drive={"A": 0.3, "B": 0.7}))
    song.save(tmp_path / "one.cues.json")
    night = tmp_path / "night.toml"
    night.write_text('[[songs]]\ndocument = "one.cues.json"\n')
    with hosting(*documents_of(night), night=night) as server:
        page = opened(server)
        page.press("Escape", "?")
        page.page.click("#help [data-do=sound-check]")
        page.page.fill("#songs [name=ceiling]", "30")
        page.press("Enter")
        expect(page.page.locator(".told-of-songs h3")).to_have_text("What would change")


# On the page, by keys alone.


def heading(page, text):
    expect(page.page.locator(".told-of-songs h3")).to_have_text(text)
    expect(page.page.locator(".told-of-songs h3")).to_be_focused()


def to_strobe(page):
    page.press("Tab")
    expect(page.page.locator(".chosen-for-all [value=strobe]")).to_be_focused()


def begun(page):
    page.press("Escape", "Shift+S", "c")
    expect(page.page.locator(".chosen-for-all input").first).to_be_focused()


def test_by_keys_it_is_said_done_seen_in_the_song_and_taken_back(page, night):
    before = content(night)
    page.press("Escape", "Shift+N")
    page.page.wait_for_function("() => document.title.startsWith('Tin Roof')")
    assert "one-shot" in page.text("#chart svg")
    begun(page)
    to_strobe(page)
    page.press("Space", "Enter")
    heading(page, "What would change")
    said = page.page.locator(".told-of-songs section", has_text="Tin Roof")
    expect(said).to_contain_text("Taken out: the one-shot at B3, bar 1 of 16 (cue 209).")
    expect(page.page.locator(".night-check .first")).to_contain_text("Change all songs")
    assert (barriers(page.page), content(night)) == ([], before)
    page.press("Enter")
    heading(page, "Changed: without strobe.")
    assert not shots(night)
    # There is no strobe to do without any more, and nothing is chosen.
    expect(page.page.locator(".chosen-for-all [value=strobe]")).to_have_count(0)
    expect(page.page.locator(".chosen-for-all :checked:not(option)")).to_have_count(0)
    page.press("Escape")
    songs = page.page.locator("#songs")
    expect(songs.get_by_text("Changed at sound check: without strobe.")).to_be_visible()
    page.press("Shift+S")
    page.told("Sound check: Changed: without strobe.")
    assert "one-shot" not in page.text("#chart svg")
    assert page.page.locator("#conflict").is_hidden()
    # The next key is about the song as it is now.
    page.press("ArrowDown", "Enter")
    page.told("accepted")
    page.press("u")
    page.told("Taken back")
    begun(page)
    page.page.locator(".take-back").focus()
    page.press("Enter")
    heading(page, "Taken back: without strobe.")
    until(lambda: content(night) == before)
    expect(page.page.locator(".take-back")).to_be_hidden()
    page.press("Escape", "Shift+S")
    page.page.wait_for_function("() => document.querySelector('#chart svg').textContent.includes('one-shot')")


def test_a_key_that_is_held_and_a_double_press_only_ask(page, night):
    before = files(night)
    begun(page)
    page.page.check(".chosen-for-all [value=strobe]")
    page.page.dblclick(".night-check .first")
    heading(page, "What would change")
    page.press("Escape", "c")
    expect(page.page.locator(".chosen-for-all [value=strobe]")).to_be_checked()  # what was chosen stays
    page.page.keyboard.down("Enter")
    heading(page, "What would change")
    for _ in range(5):
        page.page.keyboard.down("Enter")  # as a key that is held repeats itself
    page.page.wait_for_timeout(300)
    page.page.keyboard.up("Enter")
    heading(page, "What would change")
    assert files(night) == before


def test_what_was_told_counts_only_for_what_was_chosen_then(page, night):
    before = files(night)
    begun(page)
    page.page.check(".chosen-for-all [value=strobe]")
    page.press("Enter")
    heading(page, "What would change")
    page.page.fill(".chosen-for-all [name=ceiling]", "40")
    expect(page.page.locator(".told-of-songs h3")).to_have_count(0)
    expect(page.page.locator(".night-check .first")).to_contain_text("Say what would change")
    page.press("Enter")
    heading(page, "What would change")
    expect(page.page.locator(".told-of-songs")).to_contain_text("40 %, not")
    # So it is once the sound check was left and opened again.
    page.press("Escape", "c", "Enter")
    heading(page, "What would change")
    assert files(night) == before
    page.page.fill(".chosen-for-all [name=ceiling]", "")
    page.page.uncheck(".chosen-for-all [value=strobe]")
    page.press("Enter")
    expect(page.page.locator(".night-check [role=alert]")).to_have_text("Choose what is to change.")
    page.page.check(".chosen-for-all [value=lamp]")
    page.press("Enter")
    expect(page.page.locator(".night-check [role=alert]")).to_contain_text("no side left to play on")


def test_a_song_that_changed_on_the_disk_meanwhile_is_told_and_nothing_is_done_until_it_was_told_anew(page, night):
    begun(page)
    page.page.check(".chosen-for-all [value=strobe]")
    page.press("Enter")
    heading(page, "What would change")
    path = document(night, "Tin Roof")
    decide(path, SetCue(Song.load(path).cues[0].id, {"note": "wait"}))
    before = files(night)
    page.press("Enter")
    expect(page.page.locator(".night-check [role=alert]")).to_contain_text("Something else was changed since")
    assert files(night) == before
    page.press("Enter")
    heading(page, "What would change")
    page.press("Enter")
    heading(page, "Changed: without strobe.")
    assert (shots(night), Song.load(path).cues[0].note) == ([], "wait")


def test_another_window_is_told_that_its_song_was_changed(page, server, opened, night):
    other = opened(server)
    begun(page)
    page.page.fill(".chosen-for-all [name=ceiling]", "40")
    page.press("Enter")
    heading(page, "What would change")
    page.press("Enter")
    heading(page, "Changed: nothing above 40 %.")
    other.page.wait_for_selector("#conflict:not([hidden])")
    assert "changed in another window" in other.text("#conflict")
    other.press("f")
    other.page.wait_for_selector("#conflict", state="hidden")
    assert other.problems == []


# By touch alone.


def test_by_touch_on_a_phone_it_is_said_done_and_taken_back(server, opened, night):
    before = content(night)
    page = opened(server, **PHONE)
    tap = page.page.tap
    if page.page.locator("#strip [data-do=leave]").is_enabled():
        tap("#strip [data-do=leave]")
    tap("#strip [data-do=songs]")
    tap("#songs [data-do=sound-check]")
    page.page.wait_for_selector(".chosen-for-all legend")
    assert barriers(page.page) == []
    for words in ("strobes", "There is no haze", "3 Slow Ferry"):
        tap(f".chosen-for-all label:has-text('{words}')")
    page.page.fill(".chosen-for-all [name=ceiling]", "60")
    small = """() => [...document.querySelectorAll('#songs button, #songs label, #songs select, #songs [name=ceiling]')]
        .filter((each) => each.checkVisibility()).map((each) => each.getBoundingClientRect())
        .filter((box) => box.width < 44 || box.height < 44).length"""
    sideways = """() => [...document.querySelectorAll('#songs, #songs .scroll')]
        .filter((each) => each.scrollWidth > each.clientWidth).length"""
    assert [page.page.evaluate(small), page.page.evaluate(sideways)] == [0, 0]
    tap(".night-check .first")
    heading(page, "What would change")
    assert (barriers(page.page), content(night)) == ([], before)
    tap(".night-check .first")
    heading(page, "Changed: without strobe, nothing above 60 %, no haze, without song 3 (Slow Ferry).")
    assert [page.page.evaluate(small), page.page.evaluate(sideways)] == [0, 0]
    assert not shots(night)
    assert Song.load(document(night, "Paper Boats")).rig.values["haze"] is False
    tap(".night-check .take-back")
    expect(page.page.locator(".told-of-songs h3")).to_contain_text("Taken back: without strobe")
    assert content(night) == before
    tap(".night-check [data-leave]")
    page.page.wait_for_selector("#songs tbody tr")
    assert "not played" not in page.text("#songs")
    assert page.problems == []
