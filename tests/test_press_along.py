"""Pressing along with the song: on the page in a real browser, by keys and by fingers, and at its server."""

import json
from importlib.resources import files
from statistics import NormalDist, mean

import numpy as np
import pytest

from cuesuggest.review.pressing import CLICKS
from cuesuggest.score.grid import Grid
from cuesuggest.score.light import presses
from cuesuggest.song import Song
from tests.reviewing import barriers, copied, declared, hosting, unlike, with_form

# Keys are pressed by a clock that runs on while the machine does something else: late is then the machine.
pytestmark = pytest.mark.flaky(reruns=2)

CHOICES = {"bars": 16, "song": 100, "click": 50}
KINDS = {"0": "rest", "1": "subtle", "2": "lift", "3": "intense"}


@pytest.fixture
def document(document):
    """A song of short sections, since a pass takes as long as they sound."""
    return with_form(document, "A4 B4 A4 B4", bpm=150)


@pytest.fixture
def listening(opened):
    """The page of somebody whose lateness is known, its questions passed over; complaints are looked at afterwards."""
    pages = []

    def open_(server, *, late=0, **options):
        if late is not None:
            assert server.ask("POST", "/chosen", {**CHOICES, "late": late})[0] == 200
        page = opened(server, **options)
        pages.append(page)
        if "Question" in page.text("#slip"):
            page.press("Escape")
        page.page.wait_for_function("() => sound.readyState > 2")
        return page

    yield open_
    for page in pages:
        assert page.problems == []


def saved(document):
    return Song.load(document)


# What a person does, at the sound's own pace: each key so many ms after its moment is heard.
PERSON = """async ([selector, plan]) => {
  const rest = (ms) => new Promise((done) => setTimeout(done, ms));
  const sound = window.played ?? document.querySelector(selector);
  while (sound.paused || sound.currentTime < 0.05) await rest(5);
  // When the sound began, by this window's clock: the middle of several readings, since a busy machine may let it wait.
  const readings = [];
  const began = () => {
    readings.push(performance.now() - 1000 * sound.currentTime);
    return readings.slice(-41).sort((a, b) => a - b)[Math.min(readings.length, 41) >> 1];
  };
  const were = [];
  for (const [seconds, late, key] of plan) {
    while (performance.now() < began() + 1000 * seconds + late) await rest(2);
    were.push(performance.now() - began() - 1000 * seconds);
    const pressed = new KeyboardEvent('keydown', { key, bubbles: true, cancelable: true });
    document.querySelector('#chart').dispatchEvent(pressed);
  }
  return were; // how late, as it came out
}"""


def uneven(random, count, late=120.0, by=40.0):
    """So many presses of somebody: late by that much on the whole, each by another time, spread as a hand's are."""
    spread = [NormalDist().inv_cdf((k + 0.5) / count) for k in range(count)]
    return late + by * random.permutation(spread)


def other(category):
    return "1" if category == "intense" else "3"


def test_a_person_120_ms_late_and_uneven_by_40_is_measured_and_lands_on_bars_and_beats(server, listening, document):
    """The song and the click play at their own pace; keys are pressed by a clock of the browser, not by a hand."""
    random = np.random.default_rng(7)
    song = saved(document)
    grid = Grid(song.analysis)
    page = listening(server, late=None)
    page.page.evaluate(
        """() => {
          const play = HTMLMediaElement.prototype.play;
          HTMLMediaElement.prototype.play = function () {
            if (this.id !== 'sound') window.played = this;
            return play.call(this);
          };
        }"""
    )
    page.press("Shift+K")  # nothing is known of this person: the click comes first
    page.slip("Tap on every click")
    moments = CLICKS[4:]
    taps = [[click, late, "t"] for click, late in zip(moments, uneven(random, len(moments)), strict=True)]
    with page.page.expect_request("**/chosen") as kept:
        were = page.page.evaluate(PERSON, ["", taps])
    late = kept.value.post_data_json["late"]
    page.told(f"You press {late} ms late; that is taken off")
    print(f"late by 120 ms as planned, {mean(were):.0f} as it came out; measured: {late} ms")
    assert abs(late - mean(were)) <= 15
    page.page.evaluate("() => { window.played = null }")

    section = song.analysis.sections[1]
    drafted = {each.section: each.category for each in song.plan}
    first = section.first_bar
    key = other(drafted[section.id])
    then = "0" if key != "0" else "2"
    plan = [
        [grid.place(first).seconds, key],
        [grid.place(first + 3).seconds, then],
        [grid.place(first + 4).seconds, key],
    ]
    beats = [(bar, beat) for bar in range(first + 1, first + 7) for beat in (2.0, 3.0, 4.0)]
    plan += [[grid.place(*at).seconds, "j"] for at in beats]
    plan = [[at, late, each] for (at, each), late in zip(sorted(plan), uneven(random, len(plan)), strict=True)]
    page.seek(grid.place(first - 1).seconds)
    page.press("Space")
    page.page.evaluate(PERSON, ["#sound", plan])
    with page.page.expect_response("**/pressed?*") as answered:
        page.page.wait_for_timeout(300)
        page.press("Enter")
    found = answered.value.json()
    starts = {round(bar.start, 3): bar.number for bar in song.analysis.bars}
    turns = [(starts[round(part["start"], 3)], part["category"]) for part in found["parts"]]
    assert [(first, KINDS[key]), (first + 3, KINDS[then]), (first + 4, KINDS[key])] == turns
    meant = {round(grid.place(*at).seconds, 3) for at in beats}
    right = meant & {round(hit["seconds"], 3) for hit in found["hits"]}
    print(f"{len(right)} of {len(meant)} hits on their beats")
    assert len(right) >= 0.9 * len(meant)
    page.slip(f"{section.mark}: you pressed {KINDS[key]}, the draft has {drafted[section.id]}.")
    assert f"{KINDS[key]}, not {drafted[section.id]}" in page.text("#chart svg")


def pressed(page, *presses):
    """Press keys for times of the song, the song playing; whatever lies between is heard four times as fast."""
    page.page.evaluate(
        """async (presses) => {
          const rest = () => new Promise((done) => setTimeout(done, 1));
          sound.currentTime = Math.max(0, presses[0][0] - 1.5);
          sound.playbackRate = 4;
          for (const [seconds, key, selector] of presses) {
            while (sound.currentTime < seconds) await rest();
            if (!key) continue;
            const made = new KeyboardEvent('keydown', { key, bubbles: true, cancelable: true });
            document.querySelector('#chart').dispatchEvent(made);
          }
          sound.playbackRate = 1;
        }""",
        presses,
    )


@pytest.fixture
def two(document):
    """The second and third section, each with a key for another light than it has, and a time in its fourth bar."""
    song = saved(document)
    plan = {each.section: each.category for each in song.plan}
    bars = {bar.number: bar for bar in song.analysis.bars}
    return [(each, other(plan[each.id]), bars[each.first_bar + 3].start) for each in song.analysis.sections[1:3]]


def pass_through(page, two):
    (first, key, _), (second, then, inside) = two
    pressed(
        page, [first.start + 0.05, key], [second.start + 0.05, then], [inside + 0.05, "n"], [second.end - 1.0, None]
    )


def decided(document):
    return {each.section: each.decided for each in saved(document).plan if each.decided}


def test_what_was_pressed_is_taken_over_by_keys_in_one_act_and_taken_back_in_one(server, listening, document, two):
    page = listening(server)
    before = saved(document)
    page.press("Shift+K")
    page.slip("You press on the beat")
    pass_through(page, two)
    page.press("Enter")
    page.slip("2 sections differ, 1 note to write")
    assert saved(document).revision == before.revision  # looked at, nothing changed
    page.press("Shift+Enter")
    page.told("taken over as pressed")
    assert decided(document) == {each.id: KINDS[key] for each, key, _ in two}
    (note,) = [cue for cue in saved(document).cues if cue.status == "added"]
    assert (note.kind, note.place.seconds) == ("call", pytest.approx(two[1][2]))
    page.press("u")
    page.told("taken back")
    after = saved(document)
    assert (after.plan, [cue.id for cue in after.cues]) == (before.plan, [cue.id for cue in before.cues])


def test_or_section_by_section_and_what_is_left_stays_as_drafted(server, listening, document, two):
    page = listening(server)
    page.press("Shift+K")
    pass_through(page, two)
    page.press("Enter")
    page.slip(f"{two[0][0].mark}: you pressed")
    page.page.wait_for_timeout(100)
    page.press("x")
    page.slip(f"{two[1][0].mark}: you pressed")
    page.press("Enter")
    page.told("taken over as pressed")
    page.page.wait_for_function("() => !document.querySelector('#differ')")
    assert decided(document) == {two[1][0].id: KINDS[two[1][1]]}
    assert page.page.locator("#chart .pressed").count() == 0


def test_fingers_press_as_they_come_down_and_take_over(server, listening, document, two):
    page = listening(server, viewport={"width": 390, "height": 844}, has_touch=True, is_mobile=True)
    section, key, _ = two[0]

    def tap(what):
        page.page.locator(f"#desk [data-do='{what}']").tap()

    page.page.tap("#strip [data-do=help]")
    page.page.tap("#help [data-do=press-along]")
    page.slip("0 presses")
    tap("press-late")
    page.slip("tap (0)")
    page.page.wait_for_timeout(300)
    tap("late-tap")
    page.slip("tap (1)")
    tap("leave")
    page.page.tap("#strip [data-do=play]")
    page.page.evaluate("start => { sound.currentTime = start - 0.5; sound.playbackRate = 0.5 }", section.start)
    page.page.wait_for_function("start => sound.currentTime > start", arg=section.start)
    tap(f"press-{KINDS[key]}")
    tap("press-note")
    page.slip("2 presses")
    tap("press-back")
    page.slip("1 press")
    sizes = page.page.evaluate(
        "() => [...document.querySelectorAll('#slip button')].map((e) => e.getBoundingClientRect())"
    )
    assert all(size["width"] >= 44 and size["height"] >= 44 for size in sizes)
    page.page.evaluate("() => { sound.playbackRate = 4 }")
    page.page.wait_for_function("end => sound.currentTime > end - 2", arg=section.end)
    tap("press-done")
    page.slip(f"{section.mark}: you pressed {KINDS[key]}")
    tap("pressed-take")
    page.told("taken over as pressed")
    assert decided(document) == {section.id: KINDS[key]}


def test_a_press_counts_from_when_the_finger_comes_down_and_once(server, listening):
    page = listening(server)
    page.press("Shift+K")
    page.page.wait_for_function("() => sound.currentTime > 0.3")
    box = page.page.locator("[data-do=press-hit]").bounding_box()
    page.page.mouse.move(box["x"] + 20, box["y"] + 20)
    page.page.mouse.down()
    page.slip("1 press")
    page.page.mouse.up()
    page.page.keyboard.down("j")
    page.page.keyboard.down("j")  # held down, it comes again
    page.page.keyboard.up("j")
    page.slip("2 presses")
    page.press("Space")
    page.slip("takes none")
    page.press("3")
    page.told("paused")
    page.slip("2 presses")
    page.page.locator("[data-do=press-hit]").focus()
    page.press("Tab")
    assert page.page.evaluate("() => document.activeElement.dataset.do") == "press-note"


def test_an_act_of_pressing_along_from_the_list_of_all_acts_begins_it_and_within_it_is_done(server, listening):
    page = listening(server)
    for said in ("0 presses", "1 press"):
        page.press("?")
        page.page.click("#help [data-do=press-hit]")
        page.slip(said)
        page.page.wait_for_function("() => !sound.paused")
    page.press("?")
    with page.page.expect_request("**/pressed?*") as sent:
        page.page.click("#help [data-do=press-done]")
    assert [each["kind"] for run in sent.value.post_data_json["runs"] for each in run["presses"]] == ["hit"]


def test_who_leaves_the_click_stays_away_from_it_also_when_its_answer_comes_late(server, listening):
    page = listening(server, late=None)
    asked = []
    page.page.route("**/late", lambda route: asked.append(route))
    page.press("Shift+K", "Enter", "Escape")
    page.slip("not measured yet; nothing is taken off")
    page.press("Escape")
    asked[0].fulfill(json={"late": 300})
    page.page.wait_for_timeout(100)
    assert "presses" not in page.text("#slip")
    assert server.song()["chosen"]["late"] is None


def test_presses_at_half_speed_are_as_late_as_at_full_speed(server, listening):
    """A hand is late by the same time however slow the song goes, so by half as much of the song."""
    page = listening(server, late=200)
    page.press("Shift+K")
    found = page.page.evaluate(
        """async () => {
          const rest = (ms) => new Promise((done) => setTimeout(done, ms));
          sound.playbackRate = 0.5;
          sound.currentTime = 8;
          await rest(1500);
          const now = sound.currentTime;
          document.querySelector('#chart').dispatchEvent(new KeyboardEvent('keydown', { key: 'j', bubbles: true }));
          return now;
        }"""
    )
    with page.page.expect_request("**/pressed?*") as sent:
        page.press("Enter")
    (run,) = sent.value.post_data_json["runs"]
    assert run["presses"][0]["at"] == pytest.approx(found - 0.1, abs=0.02)


def test_what_was_pressed_waits_until_it_is_taken_over_or_dropped(server, listening, document, two):
    page = listening(server)
    page.press("Shift+K")
    pass_through(page, two)
    page.press("Enter")
    page.slip("2 sections differ")
    page.press("Escape")
    assert page.page.locator("#chart .pressed").count() == 0
    page.press("Shift+K", "Space")
    page.slip("3 presses")
    page.press("Enter")
    page.slip("2 sections differ")
    page.press("Delete", "d")
    page.told("dropped")
    page.press("Shift+K", "Enter")
    page.told("Nothing was pressed")
    assert decided(document) == {}


def test_each_song_has_its_own_presses(listening, drafted_take, tmp_path):
    songs = [copied(drafted_take, drafted_take.with_name("evening.wav"), tmp_path / name) for name in ("one", "two")]
    with hosting(*songs) as server:
        page = listening(server)
        page.press("Shift+K")
        page.page.wait_for_function("() => sound.currentTime > 0.3")
        page.press("3")
        page.slip("1 press")
        page.press("Escape", "Shift+N")
        page.told("Song 2 of 2")
        page.page.wait_for_function("() => sound.readyState > 2")
        page.press("Shift+K")
        page.slip("0 presses")
        page.press("Escape", "Shift+P")
        page.told("Song 1 of 2")
        page.page.wait_for_function("() => sound.readyState > 2")
        page.press("Shift+K")
        page.slip("1 press")


def test_the_end_of_the_song_ends_the_pass(server, listening, document):
    page = listening(server)
    song = saved(document)
    last = song.analysis.sections[-1]
    page.press("Shift+K")
    pressed(
        page,
        [last.start + 0.05, other({each.section: each.category for each in song.plan}[last.id])],
        [last.start + 1, None],
    )
    page.page.evaluate("() => { sound.playbackRate = 4 }")
    page.slip(f"{last.mark}: you pressed")


def test_taps_that_do_not_keep_to_the_click_are_told_so_and_it_can_be_done_again_or_left(server, listening):
    page = listening(server, late=None)
    page.press("Shift+K")
    page.slip("Tap on every click")
    page.page.wait_for_timeout(400)
    page.press("t", "3", "j", "Enter")
    page.told("Tap to at least 8 clicks")
    page.press("t")
    page.slip("tap (0)")
    page.press("Escape")
    page.slip("not measured yet; nothing is taken off")
    assert server.song()["chosen"]["late"] is None
    page.press("Space")
    page.page.wait_for_function("() => !sound.paused")


def test_everybody_can_press_along(server, listening, two):
    page = listening(server)
    for step in ("Shift+K", "l", "Escape", "pass", "Enter"):
        if step == "pass":
            page.press("Space")
            pass_through(page, two)
        else:
            page.press(step)
        page.page.wait_for_timeout(200)
        assert barriers(page.page) == [], step
    said = page.page.evaluate("() => [...document.querySelectorAll('[aria-live]')].map((e) => e.textContent)")
    assert any("you pressed" in each for each in said)


# What the server is sent, and by whom.


def ask(server, path, body):
    status, _, answer = server.ask("POST", path, body)
    return status, json.loads(answer)


def test_the_answer_is_as_the_scripts_are_told(server, document):
    shot = next(cue for cue in saved(document).cues if cue.kind == "one-shot")
    at = presses(shot, Grid(saved(document).analysis))[0]
    some = [
        {"at": 9.0, "kind": "lift"},
        {"at": at, "kind": "hit"},
        {"at": 12.1, "kind": "hit"},
        {"at": 13, "kind": "note"},
    ]
    status, found = ask(server, "/pressed", {"runs": [{"until": 60.0, "presses": some}]})
    assert status == 200
    assert {hit["new"] for hit in found["hits"]} == {True, False}
    assert found["parts"]
    assert found["sections"]
    interfaces = declared(files("cuesuggest.review") / "static" / "content.d.ts")
    assert unlike(found, "Proposal", interfaces) == []


@pytest.mark.parametrize(
    "runs",
    [
        None, "x", {}, [[]], [None], [{"until": 3}], [{"presses": []}], [{"until": "3", "presses": []}],
        [{"until": 3, "presses": [{"at": 1}]}], [{"until": 3, "presses": [{"at": 1, "kind": "strobe"}]}],
        [{"until": 3, "presses": [{"at": True, "kind": "hit"}]}],
        [{"until": 3, "presses": [{"at": -1, "kind": "hit"}]}],
        [{"until": 3, "presses": [{"at": 1e99, "kind": "hit"}]}], [{"until": 3, "presses": [[1, "hit"]]}],
        [{"until": 3, "presses": [{"at": 1, "kind": ["hit"]}]}],
        [{"until": 3, "presses": [{"at": 1, "kind": "hit"}] * 1500}] * 2,
        [{"until": 3, "presses": []}] * 501,
    ],
)  # fmt: skip
def test_what_is_no_pass_is_refused_in_a_sentence(server, runs):
    before = server.song()
    for path in ("/pressed", "/act"):
        body = {"do": "take-pressed", "revision": before["revision"], "runs": runs}
        status, answer = ask(server, path, body)
        assert status == 422
        assert answer["error"].endswith((".", "?"))
    assert server.song() == before


@pytest.mark.parametrize("number", ["NaN", "Infinity", "-Infinity", "1" * 400])
def test_numbers_that_are_none_are_refused(server, number):
    body = f'{{"runs": [{{"until": {number}, "presses": []}}]}}'.encode()
    assert server.ask("POST", "/pressed", body)[0] == 422
    assert server.ask("POST", "/late", f'{{"taps": [{number}]}}'.encode())[0] == 422


@pytest.mark.parametrize("more", [{"section": 3}, {"section": "gone"}, {"left": "s2"}, {"left": [3]}])
def test_sections_that_are_none_are_refused(server, more):
    runs = [{"until": 30, "presses": [{"at": 12.1, "kind": "hit"}]}]
    assert server.act("take-pressed", runs=runs, **more)[0] == 422


def test_nobody_without_the_key_is_answered(server):
    for path in ("/pressed", "/late"):
        assert server.ask("POST", path, {"runs": []}, X_Cuesuggest_Key=None)[0] == 403
        assert server.ask("POST", path, {"runs": []}, Origin="http://evil.example")[0] == 403
        assert server.ask("GET", path)[0] == 405


def test_how_late_somebody_is_is_kept_on_this_machine(server, document):
    assert server.song()["chosen"]["late"] is None
    assert ask(server, "/late", {"taps": [click + 0.12 for click in CLICKS]}) == (200, {"late": 120})
    ask(server, "/chosen", {**CHOICES, "late": 120})
    assert server.song()["chosen"]["late"] == 120
    assert json.loads((document.parent / "kept" / "page.json").read_text())["late"] == 120
    for wrong in (9000, "120", True, 1.5):
        assert ask(server, "/chosen", {**CHOICES, "late": wrong})[0] == 422
    assert server.song()["chosen"]["late"] == 120


def test_the_click_that_is_tapped_to_sounds_where_it_is_written(server):
    import io

    import soundfile

    address = server.song()["sound"]["address"]
    status, headers, body = server.ask("GET", f"{address}&clicks=1", X_Cuesuggest_Key=None)
    assert (status, headers["content-type"]) == (200, "audio/wav")
    samples, rate = soundfile.read(io.BytesIO(body))
    loud = np.flatnonzero(np.abs(samples) > 0.2) / rate
    starts = loud[np.diff(loud, prepend=-1) > 0.3]
    assert starts == pytest.approx(CLICKS, abs=0.001)
