"""The tablet page in chromium: opened from disk, offline, played by touch."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from importlib.resources import files

import pytest
from playwright.sync_api import expect

from cuesuggest.export import Options, export
from tests.busy import HOSTILE, busy_song
from tests.reviewing import declared, unlike
from tests.songs import LIFT, make_cue, make_song, place_at
from tests.test_deviation import DOUBLED, SKIPPED

TABLET = {"width": 1024, "height": 768}
QUICKEST = 300  # ms between touches that both count


@pytest.fixture(scope="module")
def context(chromium):
    context = chromium.new_context(viewport=TABLET, has_touch=True, offline=True)
    context.set_default_timeout(10_000)
    yield context
    context.close()


@pytest.fixture
def tablet(context, tmp_path):
    """Return what opens a song on a tablet without network; whatever the page complains of fails the test."""
    complaints: list[str] = []
    pages = []

    def opened(song, **options):
        file = tmp_path / "song.run.html"
        file.write_bytes(export(song, "run", Options(**options))[".run.html"])
        page = context.new_page()
        pages.append(page)
        page.on("console", lambda message: complaints.append(message.text))
        page.on("pageerror", lambda error: complaints.append(str(error)))
        page.on("request", lambda request: request.url.startswith("file:") or complaints.append(request.url))
        page.clock.install(time=0)
        page.goto(file.as_uri())
        page.clock.pause_at(1000)
        return page

    yield opened
    for page in pages:
        page.close()
    assert complaints == []


def go(page):
    page.clock.run_for(QUICKEST)
    page.tap("#go")


def part(page, label):
    page.locator("#parts button", has_text=re.compile(rf"^{label}\d")).tap()


def test_touch_leads_through_the_song_and_back(tablet):
    page = tablet(make_song("A8 B8 A8"))
    expect(page.locator("#what")).to_have_text("A up to 50 in 8")
    expect(page.locator("#where")).to_have_text("next: 1 A1 bar 1")
    go(page)
    expect(page.locator("#what")).to_have_text("set B Wide fans")
    expect(page.locator("#light")).to_have_text("side A Slow drift 50 %")
    go(page)
    go(page)
    go(page)
    expect(page.locator("#what")).to_have_text("the end")
    go(page)
    page.tap("#back")
    expect(page.locator("#what")).to_have_text("A down in 3 s")


def test_a_second_touch_at_once_is_a_slip(tablet):
    page = tablet(make_song("A8 B8 A8"))
    go(page)
    page.tap("#go")
    expect(page.locator("#where")).to_have_text("next: 2 A1 bar 7")


def test_the_count_runs_to_the_next_cue_in_bars_and_beats(tablet):
    page = tablet(make_song("A8 B8 A8", bpm=120))
    go(page)  # bar 1; the next cue is six bars on
    expect(page.locator("#count")).to_have_text("6 bars")
    page.clock.run_for(3000)  # one bar and two beats
    expect(page.locator("#count")).to_have_text("4 bars 2")
    page.clock.run_for(7100)
    expect(page.locator("#count")).to_have_text("4")
    page.clock.run_for(2500)
    expect(page.locator("#count")).to_have_text("now")


def test_tapping_the_beat_sets_the_pace_of_the_count(tablet):
    page = tablet(make_song("A8 B8 A8", bpm=120))
    go(page)
    for _ in range(5):
        page.clock.run_for(1000)
        page.tap("#tap")
    expect(page.locator("#tempo")).to_have_text("60 a minute")
    before = page.locator("#count").inner_text()
    page.clock.run_for(4000)  # at 60 a minute four beats, one bar
    bars = int(before.split()[0]) - int(page.locator("#count").inner_text().split()[0])
    assert bars == 1


def test_home_and_all_out_are_one_touch_away_and_keep_the_place(tablet):
    page = tablet(make_song("A8 B8 A8"))
    go(page)
    page.tap("#home")
    expect(page.locator("#safety")).to_contain_text("HOME")
    expect(page.locator("#safety")).to_contain_text("Slow drift, lamp, up to 80 %")
    page.tap("#resume")
    expect(page.locator("#safety")).to_be_hidden()
    page.tap("#out")
    expect(page.locator("#safety")).to_contain_text("ALL OUT")
    expect(page.locator("#safety")).to_contain_text("A and B down")
    page.tap("#resume")
    expect(page.locator("#where")).to_have_text("next: 2 A1 bar 7")


# (song, parts that are touched as the band begins them, light and first action of the last of them)
NIGHTS = {
    "the chorus is doubled": (
        DOUBLED,
        ["A1", "B1", "A2", "B2", "B2"],
        "side B Wide fans 70 %",
        "over to B at 70 in 2",
    ),
    "and the bridge after it": (DOUBLED, ["B2", "B2", "C1"], "dark", "set A Full sky"),
    "the bridge is skipped": (SKIPPED, ["A1", "B1", "D1"], "side A Full sky 80 %", "A in at 80"),
    "back to the start": (SKIPPED, ["A1", "B1", "A1"], "side A Slow drift 40 %", "A up to 40 in 8"),
}


@pytest.mark.parametrize("song", [DOUBLED, SKIPPED], ids=["doubled", "skipped"])
def test_when_the_band_plays_otherwise_its_part_is_one_touch_away(tablet, song):
    page = tablet(song)
    for played, parts, light, action in NIGHTS.values():
        if played is song:
            for label in parts:
                part(page, label)
            expect(page.locator("#light")).to_have_text(light)
            expect(page.locator("#what")).to_have_text(action)
            expect(page.locator('#parts [aria-current="true"]')).to_have_text(re.compile(f"^{parts[-1]}"))


def test_the_others_lines_are_told_apart_on_a_persons_own_page(tablet):
    song = make_song("A8 B8 A8")
    call = make_cue(1.5, "call", place_at(song.analysis, 3), who="house light", hand="house to half")
    page = tablet(song.replaced(cues=[*song.cues, call]), who="house light")
    expect(page.locator("#go")).to_have_class("other")
    go(page)
    expect(page.locator("#what")).to_have_text("house to half")
    expect(page.locator("#go")).not_to_have_class("other")


def test_the_volunteers_page_has_no_lasers(tablet):
    song = make_song("A8 B8 A8")
    song = song.replaced(looks=(song.looks[0], replace(LIFT, source="laser")))
    page = tablet(song, plain=True)
    go(page)
    expect(page.locator("#what")).to_have_text("A down in 3 s")
    assert "Wide fans" not in page.locator("main").inner_text()


def test_hostile_words_are_shown_as_text(tablet):
    text = " ".join(
        HOSTILE[kind] for kind in ("markup", "quotes", "hebrew", "line breaks", "controls", "one long word")
    )
    page = tablet(busy_song(4, 2, text=text))
    shown = " ".join(page.locator("#what").inner_text().split())
    kept = " ".join("".join(" " if ord(char) < 32 or ord(char) == 127 else char for char in text).split())
    assert kept in shown
    assert page.evaluate("document.querySelectorAll('main script, main b').length") == 0
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")


def test_everything_to_touch_is_on_the_screen_and_as_big_as_a_thumb(tablet):
    page = tablet(busy_song(30, 4))
    for wide, high in ((1280, 800), (1024, 768), (768, 1024), (600, 960)):
        page.set_viewport_size({"width": wide, "height": high})
        for name in ("#go", "#back", "#tap", "#home", "#out"):
            box = page.locator(name).bounding_box()
            assert min(box["width"], box["height"]) >= 48
            assert box["x"] >= 0
            assert box["x"] + box["width"] <= wide
            assert box["y"] + box["height"] <= high


def test_what_the_script_is_told_of_is_written():
    interfaces = declared(files("cuesuggest.export") / "paper" / "run_page" / "content.d.ts")
    text = export(make_song("A8 B8 A8"), "run", Options())[".run.html"].decode()
    written = json.loads(re.search(r'<script type="application/json" id="song">(.*?)</script>', text)[1])
    assert unlike(written, "Song", interfaces) == []
    assert written["cues"]
    assert written["sections"]


def test_keys_do_the_same(tablet):
    page = tablet(make_song("A8 B8 A8"))
    page.clock.run_for(QUICKEST)
    page.keyboard.press("ArrowRight")
    expect(page.locator("#where")).to_have_text("next: 2 A1 bar 7")
    page.keyboard.press("ArrowLeft")
    expect(page.locator("#where")).to_have_text("next: 1 A1 bar 1")
