"""On the page the songs of a long recording stand with their places in it, and a key moves where one starts or ends."""

import shutil

import pytest

from cuesuggest.cli.inputs import documents
from cuesuggest.song import Song
from tests.reviewing import hosting


@pytest.fixture
def folder(split_rehearsal, rehearsal, tmp_path):
    """The songs of the rehearsal, and the recording where they look for it."""
    _, songs = split_rehearsal
    place = tmp_path / "songs" / "thursday"
    shutil.copytree(songs, place)
    first = Song.load(next(iter(sorted(place.iterdir()))))
    recording = place / first.recording.path
    recording.parent.mkdir(parents=True, exist_ok=True)
    shutil.copyfile(rehearsal.path, recording)
    return place


@pytest.fixture
def server(folder):
    with hosting(*documents([folder])) as running:
        yield running


def window(folder, number=1):
    song = Song.load(folder / f"thursday-0{number}.cues.json")
    return song.recording.window.start, song.recording.window.end


def menu(page):
    """Leave the question that the page opens with, and open the menu of the song's ends."""
    if "Question" in page.text("#slip"):
        page.press("Escape")
    page.press("m", "e")
    page.slip("starts a bar earlier")


def test_the_list_of_songs_says_where_each_is_in_the_recording(page, folder):
    page.press("Shift+s")
    page.page.wait_for_selector("dialog tbody tr")
    rows = page.page.locator("dialog tbody tr").all_inner_texts()
    assert len(rows) == 3
    assert "thursday, song 1, attempt 2" in rows[2]
    head = page.page.locator("dialog thead th").all_inner_texts()
    assert head[1:3] == ["From", "To"]
    start, end = window(folder, 3)
    cells = page.page.locator("dialog tbody tr").nth(2).locator("td").all_inner_texts()
    assert cells[2:4] == [f"{int(at) // 60}:{int(at) % 60:02d}" for at in (start, end)]


def test_songs_that_are_all_of_their_recordings_are_listed_without_places(document, folder):
    with hosting(document) as server:
        assert [row["part"] for row in server.songs()] == [None]
    with hosting(folder / "thursday-01.cues.json") as server:
        assert server.songs()[0]["part"] == list(window(folder))


def test_the_menu_says_what_part_of_the_recording_the_song_is(page, folder):
    menu(page)
    start, _ = window(folder)
    page.slip(f"The song is 0:{start:04.1f} to 1:")
    page.slip("of thursday.wav, which lasts 4:")


def test_a_key_moves_the_start_by_a_bar_and_undo_moves_it_back(page, folder):
    before, bars = window(folder), Song.load(folder / "thursday-01.cues.json").analysis.bars
    menu(page)
    page.press("]")
    page.told("the song starts")
    start, end = window(folder)
    second = next(bar for bar in bars if bar.number == 2)
    assert start == pytest.approx(second.start - 0.1, abs=0.06)
    assert end == before[1]
    # The menu stays, and tells the new place.
    page.slip(f"The song is 0:{start:04.1f}")
    page.press("u")
    page.told("taken back")
    assert window(folder) == before


def test_outwards_the_song_grows_by_a_bar(page, folder):
    before = window(folder)
    menu(page)
    page.press("[")
    page.told("the song starts")
    page.press(".")
    page.told("the song ends")
    after = window(folder)
    assert before[0] - after[0] == pytest.approx(240 / 112, abs=0.15)
    assert after[1] - before[1] == pytest.approx(240 / 112, abs=0.15)


def test_the_song_ends_at_the_place_that_is_heard_and_goes_on_sounding_from_there(page, folder):
    start, _ = window(folder)
    page.seek(40.0)
    menu(page)
    page.press("e")
    page.told("the song ends")
    assert window(folder) == (start, pytest.approx(start + 40.0, abs=0.1))
    page.slip(f"“Here” is 1:{start + 40 - 60:04.1f}")
    # The sound is that of the new part: as long as it, and at the same place of the recording.
    page.page.wait_for_function("() => document.querySelector('#sound').readyState > 0")
    length = page.page.evaluate("document.querySelector('#sound').duration")
    assert length == pytest.approx(window(folder)[1] - start, abs=0.1)


def test_after_the_start_has_moved_the_sound_begins_there(page, folder):
    start, _ = window(folder)
    page.seek(30.0)
    menu(page)
    page.press("]")
    page.told("the song starts")
    moved = window(folder)[0] - start
    page.at(30.0 - moved, within=0.15)
    length = page.page.evaluate("document.querySelector('#sound').duration")
    assert length == pytest.approx(window(folder)[1] - window(folder)[0], abs=0.1)


def test_an_edge_that_leaves_nothing_is_refused_in_words(page, folder):
    before = window(folder)
    page.seek(1.0)
    menu(page)
    page.press("e")
    page.told("of the song would be left")
    assert window(folder) == before


def test_the_list_of_all_acts_says_by_which_keys_an_end_is_moved(server, opened):
    page = opened(server)
    page.press("?")
    page.page.wait_for_selector("#help[open]")
    assert page.text("#help [data-do=ends-here]").startswith("M, E, then")
    assert "undefined" not in page.text("#help")
    assert page.problems == []
