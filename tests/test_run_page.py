"""The tablet page in chromium: opened from disk, offline, played by touch."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from importlib.resources import files

import pytest
from playwright.sync_api import expect

from cuesuggest.export import FORMATS, Options, export, write_several
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
    """Return what opens songs on a tablet without network; whatever the page complains of fails the test."""
    complaints: list[str] = []
    pages = []

    def opened(*songs, before="", **options):
        file = tmp_path / "song.run.html"
        file.write_bytes(write_several([(song, Options(**options)) for song in songs], FORMATS["run"]))
        page = context.new_page()
        pages.append(page)
        page.add_init_script(before)
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
    expect(page.locator("#what")).to_have_text("A up to 50 in 8 beats")
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
    expect(page.locator("#what")).to_have_text("A down in 3.0 s")


def test_a_second_touch_at_once_is_a_slip(tablet):
    page = tablet(make_song("A8 B8 A8"))
    go(page)
    page.tap("#go")
    expect(page.locator("#where")).to_have_text("next: 2 A1 bar 7")


def test_the_count_runs_to_the_next_cue_in_bars_and_beats(tablet):
    page = tablet(make_song("A8 B8 A8", bpm=120))
    go(page)  # bar 1; the next cue is six bars on
    expect(page.locator("#count")).to_have_text("in 6 bars")
    page.clock.run_for(3000)  # one bar and two beats
    expect(page.locator("#count")).to_have_text("in 4 bars and 2 beats")
    page.clock.run_for(7100)
    expect(page.locator("#count")).to_have_text("in 4 beats")
    page.clock.run_for(1500)
    expect(page.locator("#count")).to_have_text("in 1 beat")
    page.clock.run_for(1000)
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
    bars = int(before.split()[1]) - int(page.locator("#count").inner_text().split()[1])
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
        "over to B at 70 in 2 beats",
    ),
    "and the bridge after it": (DOUBLED, ["B2", "B2", "C1"], "dark", "set A Full sky"),
    "the bridge is skipped": (SKIPPED, ["A1", "B1", "D1"], "side A Full sky 80 %", "A in at 80"),
    "back to the start": (SKIPPED, ["A1", "B1", "A1"], "side A Slow drift 40 %", "A up to 40 in 8 beats"),
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
    call = make_cue(1.5, "call", place_at(song.analysis, 3), who="house light", note="house to half")
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
    expect(page.locator("#what")).to_have_text("A down in 3.0 s")
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
    for wide, high in ((1280, 800), (1024, 768), (820, 1180), (768, 1024), (600, 960), (390, 844)):
        page.set_viewport_size({"width": wide, "height": high})
        for name in ("#go", "#back", "#tap", "#dim", "#home", "#out"):
            box = page.locator(name).bounding_box()
            assert min(box["width"], box["height"]) >= 48
            assert box["x"] >= 0
            assert box["x"] + box["width"] <= wide
            assert box["y"] + box["height"] <= high


def test_what_the_script_is_told_of_is_written():
    interfaces = declared(files("cuesuggest.export") / "paper" / "run_page" / "content.d.ts")
    text = export(make_song("A8 B8 A8"), "run", Options())[".run.html"].decode()
    written = json.loads(re.search(r'<script type="application/json" id="night">(.*?)</script>', text)[1])
    assert unlike(written, "Night", interfaces) == []
    (song,) = written["songs"]
    assert song["cues"]
    assert song["sections"]


def test_keys_do_the_same(tablet):
    page = tablet(make_song("A8 B8 A8"))
    page.clock.run_for(QUICKEST)
    page.keyboard.press("ArrowRight")
    expect(page.locator("#where")).to_have_text("next: 2 A1 bar 7")
    page.keyboard.press("ArrowLeft")
    expect(page.locator("#where")).to_have_text("next: 1 A1 bar 1")


# The field.

FILLS = """() => ["what", "count"].map((id) => document.getElementById(id)).map((place) => {
  const words = document.createRange();
  words.selectNodeContents(place);
  const text = words.getBoundingClientRect();
  const cut = place.scrollWidth > place.clientWidth || place.scrollHeight > place.clientHeight;
  return [cut, text.width / place.clientWidth, text.height / place.clientHeight];
})"""


@pytest.mark.parametrize(("wide", "high"), [(1280, 800), (820, 1180), (390, 844)])
def test_the_action_and_the_count_fill_the_field_and_nothing_is_cut(tablet, wide, high):
    page = tablet(make_song("A8 B8 A8", bpm=120))
    page.set_viewport_size({"width": wide, "height": high})
    for _ in range(3):
        go(page)
        page.clock.run_for(700)
        for cut, across, down in page.evaluate(FILLS):
            assert not cut
            assert max(across, down) > 0.7
            assert across * down > 0.25
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")


def test_the_size_of_the_count_stays_while_it_runs_down_in_bars_and_grows_for_the_last_one(tablet):
    page = tablet(make_song("A8 B8 A8", bpm=120))
    go(page)
    sizes = {}
    for _ in range(26):
        words = page.locator("#count").inner_text()
        sizes.setdefault("bar" in words, set()).add(page.evaluate("getComputedStyle(count).fontSize"))
        page.clock.run_for(500)
    assert len(sizes[True]) == len(sizes[False]) == 1
    (bars,), (beats,) = sizes[True], sizes[False]
    assert float(beats[:-2]) > float(bars[:-2])


def test_the_field_says_what_a_touch_there_does(tablet):
    song = make_song("A8 B8 A8")
    call = make_cue(1.5, "call", place_at(song.analysis, 3), who="house light", note="house to half")
    page = tablet(song.replaced(cues=[*song.cues, call]), who="operator")
    told = page.locator("#touch")
    expect(told).to_have_text("Touch here as you do it; 1.5 is next.")
    go(page)
    expect(told).to_have_text("Somebody else does it: touch here as it happens; 2 is next.")
    for _ in range(3):
        go(page)
    expect(told).to_have_text("Touch here as you do it; it is the last of the song.")
    go(page)
    expect(told).to_have_text("")


def test_the_strip_of_parts_follows_the_count(tablet):
    page = tablet(make_song("A4 B4 C4 D4 E4 F4 G4 H4 I4", bpm=120))
    page.set_viewport_size({"width": 390, "height": 844})
    part(page, "A1")
    for seconds, label in ((7.5, "A1"), (1, "B1"), (8, "C1"), (8 * 4, "G1")):
        page.clock.run_for(1000 * seconds)
        current = page.locator('#parts [aria-current="true"]')
        expect(current).to_have_text(re.compile(f"^{label}4"))
        expect(current).to_be_in_viewport(ratio=1)
        expect(page.locator("#part")).to_have_text(f"{label}, 4 bars")


def test_a_part_that_goes_round_is_left_only_by_a_touch(tablet):
    song = make_song("A4 B4 A4", bpm=120)
    first, *others = song.analysis.sections
    song = song.replaced(analysis=replace(song.analysis, sections=(replace(first, vamp="a nod"), *others)))
    page = tablet(song)
    part(page, "A1")
    page.clock.run_for(30_000)
    expect(page.locator('#parts [aria-current="true"]')).to_have_text(re.compile("^A1"))
    part(page, "B1")
    page.clock.run_for(9_000)
    expect(page.locator('#parts [aria-current="true"]')).to_have_text(re.compile("^A2"))


def test_a_varied_part_is_explained_beside_the_field(tablet):
    page = tablet(make_song("A8 B8 B'8"))
    part(page, "B'2")
    expect(page.locator("#part")).to_have_text("B'2, a varied B, 8 bars")


# The screen.

LOCKS = """
  window.asked = [];
  Object.defineProperty(navigator, "wakeLock", { value: { request: async (kind) => {
    window.asked.push(kind);
    window.lock = new EventTarget();
    return window.lock;
  } } });
  Object.defineProperty(document, "visibilityState", { get: () => window.seen ?? "visible" });
"""
REFUSED = """
  Object.defineProperty(navigator, "wakeLock", { value: { request: async () => { throw new DOMException("no"); } } });
"""
WITHOUT = """Object.defineProperty(navigator, "wakeLock", { value: undefined });"""


def test_the_screen_is_kept_awake_and_again_when_the_page_comes_back_into_sight(tablet):
    page = tablet(make_song("A8"), before=LOCKS)
    expect(page.locator("#awake")).to_have_text("The screen stays awake.")
    assert page.evaluate("asked") == ["screen"]
    page.evaluate("seen = 'hidden'; lock.dispatchEvent(new Event('release'))")
    page.evaluate("document.dispatchEvent(new Event('visibilitychange'))")
    expect(page.locator("#awake")).to_contain_text("set the tablet to leave it on")
    assert page.evaluate("asked") == ["screen"]
    page.evaluate("seen = 'visible'; document.dispatchEvent(new Event('visibilitychange'))")
    expect(page.locator("#awake")).to_have_text("The screen stays awake.")
    assert page.evaluate("asked") == ["screen", "screen"]


@pytest.mark.parametrize("before", [REFUSED, WITHOUT], ids=["refused", "unknown"])
def test_nothing_fails_where_the_screen_cannot_be_kept_awake(tablet, before):
    page = tablet(make_song("A8 B8 A8"), before=before)
    expect(page.locator("#awake")).to_contain_text("set the tablet to leave it on")
    go(page)
    expect(page.locator("#where")).to_have_text("next: 2 A1 bar 7")


def test_brightness_is_turned_down_by_touch_and_stays_so(tablet):
    page = tablet(make_song("A8"))
    shown = "getComputedStyle(document.body).filter"
    assert page.evaluate(shown) == "none"
    for name, share in (("half", 0.7), ("low", 0.5)):
        page.tap("#dim")
        expect(page.locator("#dim")).to_have_text(f"brightness: {name}")
        assert page.evaluate(shown) == f"brightness({share})"
    page.wait_for_timeout(300)  # the browser keeps it a moment later
    page.reload()
    expect(page.locator("#dim")).to_have_text("brightness: low")
    assert page.evaluate(shown) == "brightness(0.5)"
    page.tap("#dim")
    expect(page.locator("#dim")).to_have_text("brightness: full")


# An evening of songs.


def evening():
    return [
        make_song("A8 B8 A8", title="Paper Boats"),
        make_song("A8", title="Tin Roof", bpm=140),
        make_song("A4 B4", title="Last Ferry"),
    ]


def test_several_songs_follow_each_other_by_touch_in_the_order_given(tablet):
    page = tablet(*evening())
    expect(page.locator("#songs option:checked")).to_have_text("1 Paper Boats")
    assert page.title() == "Paper Boats and 2 songs more"
    for _ in range(4):
        go(page)
    expect(page.locator("#touch")).to_have_text("Touch here for the next song: Tin Roof.")
    page.tap("#go")  # a slip of the finger after the last cue does not turn the page
    expect(page.locator("#songs option:checked")).to_have_text("1 Paper Boats")
    go(page)
    expect(page.locator("#songs option:checked")).to_have_text("2 Tin Roof")
    expect(page.locator("#where")).to_have_text("next: 1 A1 bar 1")
    expect(page.locator("#tempo")).to_have_text("140 a minute")
    assert page.locator("#parts button").count() == 1
    page.tap("#go")
    expect(page.locator("#where")).to_have_text("next: 1 A1 bar 1")
    for _ in range(3):
        go(page)
    expect(page.locator("#songs option:checked")).to_have_text("3 Last Ferry")


def test_any_song_of_the_evening_can_be_chosen_from_the_list(tablet):
    page = tablet(*evening())
    page.locator("#songs").select_option("3  Last Ferry")
    assert page.locator("#parts button").count() == 2
    expect(page.locator("#where")).to_have_text("next: 1 A1 bar 1")
    page.clock.run_for(QUICKEST)
    page.keyboard.press("ArrowRight")
    expect(page.locator("#where")).to_have_text("next: 2 A1 bar 3")


def test_one_song_has_no_list_of_songs(tablet):
    page = tablet(make_song("A8"))
    expect(page.locator("#songs")).to_be_hidden()
    expect(page.locator("#title")).to_have_text("Paper Boats")


def test_a_volunteer_with_nothing_to_do_is_told_so_and_goes_on_to_the_next_song(tablet):
    song = make_song("A8 B8")
    lasers = song.replaced(looks=tuple(replace(look, source="laser") for look in song.looks))
    page = tablet(lasers, make_song("A8", title="Tin Roof"), plain=True)
    expect(page.locator("#what")).to_have_text("In this song you have nothing to do: leave every fader as it is.")
    go(page)
    expect(page.locator("#songs option:checked")).to_have_text("2 Tin Roof")
