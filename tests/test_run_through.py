"""The run-through: what is to be done and when, how each press was, and the page that goes through the song with it."""

from itertools import pairwise

import pytest

from cuesuggest.score.grid import Grid
from cuesuggest.score.light import hand_presses
from cuesuggest.score.records import Series
from tests.reviewing import WIDE, barriers, hosting, until
from tests.songs import LIFT, make_cue, make_song, place_at

# The rules: pure scripts.

# Eight bars of 4/4 at 120 from 1 s on.
# Keys are pressed by a clock that runs on while the machine does something else: late is then the machine.
pytestmark = pytest.mark.flaky(reruns=2)

MUSIC = {
    "bars": [[n, 2 * n - 1, 2 * n + 1, 4, "4/4"] for n in range(1, 9)],
    "beats": [1 + 0.5 * n for n in range(33)],
    "sections": [],
    "start": 0,
    "end": 18,
    "tempo": 120,
    "signature": "4/4",
}


def cue(number, kind, *presses, side="A", let_go=None, **more):
    made = {"id": f"c{number}", "number": number, "kind": kind, "trigger": "hand", "side": side, "who": "operator"}
    made |= {"status": "suggested", "seconds": presses[0], "presses": list(presses), "let_go": let_go}
    return {**made, "hand": f"does {number}", "action": f"short {number}", "where": f"place {number}", **more}


# Judges what is told in steps: ["press", control, side, at], ["go", cue, at], ["passed", at], ["jump", to].
JUDGED = """
    const [music, cues, steps, rate] = given;
    const judge = new it.Judge(music, it.actsOf({ cues, music }).acts);
    const told = (each) => each && [each.act.number, each.mark, each.by === null ? null : Math.round(each.by * 1000)];
    const said = steps.map(([what, ...of]) => {
      if (what === "press") return told(judge.press({ control: of[0], side: of[1] }, of[2], rate));
      if (what === "go") return told(judge.letGo(of[0], of[1], rate));
      if (what === "passed") return judge.passed(of[0], rate).map(told);
      return judge.jump(of[0]) ?? judge.ahead.map((act) => act.number);
    });
    return { said, strays: judge.strays, rows: it.rowsOf(judge.attempts), words: judge.attempts.map(it.saidOf) };
"""


@pytest.fixture
def judged(scripts):
    return lambda cues, *steps, rate=1: scripts("through.js", JUDGED, [MUSIC, cues, steps, rate])


def test_what_an_operator_does_is_expected_in_the_order_of_the_hand_and_nothing_else(scripts):
    cues = [
        cue(1, "recall", 0),
        cue(2, "one-shot", 5, 9),
        cue(3, "cut-in", 3),
        cue(4, "cut-out", 7, let_go=8),
        cue(5, "cut-in", 4, status="rejected"),
        cue(6, "cut-in", 4, who="house light"),
        cue(7, "call", 4),
        cue(8, "recall", 4, trigger="follow-on"),
        cue(9, "recall", 6),
    ]
    body = """
        const { before, acts } = it.actsOf({ cues: given[1], music: given[0] });
        return [before.map((each) => each.number), acts.map((act) => [act.number, act.at, act.control, act.how])];
    """
    before, acts = scripts("through.js", body, [MUSIC, cues])
    assert before == [1]  # set before the song
    assert acts == [
        [3, 3, "fader", "at once"],
        [2, 5, "one-shot", "at once"],
        [9, 6, "fader", "set"],
        [4, 7, "dark", "at once"],
        [4, 8, "let-go", "at once"],
        [2, 9, "one-shot", "at once"],
    ]


@pytest.mark.parametrize(
    ("kind", "beside", "mark"),
    [
        ("cut-in", 0.09, "good"), ("cut-in", -0.09, "good"), ("cut-in", 0.12, "late"), ("cut-in", -0.4, "early"),
        ("fade-in", 0.24, "good"), ("fade-in", -0.24, "good"), ("fade-in", 0.27, "late"), ("fade-in", -0.9, "early"),
        ("recall", 1.9, "good"), ("recall", -1.9, "good"),
    ],
)  # fmt: skip
def test_a_press_is_good_within_a_tenth_of_a_second_and_for_a_fade_within_half_a_beat(judged, kind, beside, mark):
    found = judged([cue(1, kind, 9)], ["press", "fader", "A", 9 + beside])
    assert found["said"] == [[1, mark, round(1000 * beside)]]


def test_at_half_the_speed_a_hand_is_as_exact_as_at_full_speed(judged):
    late = judged([cue(1, "cut-in", 9)], ["press", "fader", "A", 9.08], rate=0.5)
    later = judged([cue(1, "cut-in", 9)], ["press", "fader", "A", 9.04], rate=0.5)
    assert (late["said"], later["said"]) == ([[1, "late", 160]], [[1, "good", 80]])


def test_a_press_goes_to_the_nearest_act_that_it_fits(judged):
    cues = [cue(1, "cut-in", 8.8, side="A"), cue(2, "one-shot", 9, side=None), cue(3, "cut-in", 9.2, side="B")]
    presses = [["press", "fader", "B", 8.9], ["press", "any", None, 9.02], ["press", "any", None, 9.02]]
    assert judged(cues, *presses)["said"] == [[3, "early", -300], [2, "good", 20], [1, "late", 220]]


def test_what_was_not_pressed_is_missed_once_it_cannot_be_meant_any_more(judged):
    found = judged([cue(1, "cut-in", 5), cue(2, "fade-in", 9)], ["passed", 5.4], ["passed", 5.6], ["passed", 9.9])
    assert found["said"] == [[], [[1, "missed", None]], []]


def test_the_other_fader_is_told_as_wrong_and_the_act_can_still_be_done(judged):
    found = judged([cue(1, "cut-in", 5)], ["press", "fader", "B", 5], ["press", "fader", "A", 5.3])
    assert found["said"] == [[1, "wrong", 0], [1, "late", 300]]
    assert found["words"] == ["Cue 1: wrong, that was side B; it is side A", "Cue 1: 300 ms late"]
    assert found["rows"][0]["wrong"] == ["side B"]
    assert found["rows"][0]["times"] == {"good": 0, "early": 0, "late": 1, "missed": 0, "wrong": 1}


def test_a_press_with_nothing_due_is_counted_and_spoils_nothing(judged):
    found = judged([cue(1, "cut-in", 9)], ["press", "fader", "A", 5], ["press", "fader", "A", 9])
    assert (found["said"], found["strays"]) == ([None, [1, "good", 0]], 1)


def test_what_is_about_all_of_the_light_takes_any_fader_and_both_at_once_are_one_press(judged):
    presses = [["press", "fader", "B", 5], ["press", "fader", "A", 5.1]]
    found = judged([cue(1, "cut-out", 5, side=None)], *presses)
    assert (found["said"], found["strays"], len(found["words"])) == ([[1, "good", 0], [1, "good", 0]], 0, 1)


def test_a_held_dark_is_pressed_and_let_go_each_at_its_moment(judged):
    cues = [cue(1, "cut-out", 5, side=None, let_go=7)]
    found = judged(cues, ["press", "dark", None, 5.05], ["go", "c1", 5.2])
    assert found["said"] == [[1, "good", 50], [1, "early", -1800]]
    assert found["words"][1] == "Cue 1, letting go: 1.8 s early"
    # Who did not press has nothing to let go.
    missed = judged(cues, ["passed", 6], ["passed", 8])
    assert missed["said"] == [[[1, "missed", None]], []]


def test_after_a_jump_what_lies_before_is_not_missed_and_what_lies_behind_is_to_be_done_again(judged):
    cues = [cue(1, "cut-in", 3), cue(2, "cut-in", 5), cue(3, "cut-in", 9)]
    found = judged(cues, ["press", "fader", "A", 3], ["jump", 7], ["passed", 8], ["jump", 2])
    assert found["said"] == [[1, "good", 0], [3], [], [1, 2, 3]]


def test_a_one_shot_that_comes_again_is_expected_each_time_and_told_as_one_cue(judged):
    found = judged(
        [cue(1, "one-shot", 3, 5, 7)],
        ["press", "one-shot", None, 3.05],
        ["press", "one-shot", None, 5.15],
        ["passed", 8],
    )
    (row,) = found["rows"]
    assert row["times"] == {"good": 1, "early": 0, "late": 1, "missed": 1, "wrong": 0}
    assert row["mean"] == pytest.approx(0.1)
    assert row["practise"]


def test_a_cue_needs_no_more_practice_once_three_in_a_row_were_good(judged):
    def tried(*beside):
        steps = [step for each in beside for step in (["jump", 4], ["press", "fader", "A", 5 + each])]
        return judged([cue(1, "cut-in", 5)], *steps)["rows"][0]["practise"]

    assert tried(0.2, 0, 0)
    assert not tried(0.2, 0, 0, 0)
    assert not tried(0)


ROUND = """
    const [music, cues, presses] = given;
    const { acts } = it.actsOf({ cues, music });
    const judge = new it.Judge(music, acts);
    const round = new it.Round(judge, acts[1], it.around(music, acts[1], acts));
    return [[round.start, round.end], presses.map((at) => {
      judge.jump(round.start);
      if (at !== null) judge.press({ control: "any" }, at, 1);
      return [round.turned(), round.row];
    })];
"""


def test_a_loop_goes_from_the_bar_before_to_the_bar_after_until_three_rounds_in_a_row_are_good(scripts):
    cues = [cue(1, "cut-in", 3), cue(2, "cut-in", 9.5), cue(3, "cut-in", 16)]
    stretch, rounds = scripts("through.js", ROUND, [MUSIC, cues, [9.5, 9.8, None, 9.5, 9.5, 9.5]])
    assert stretch == [7, 13]
    assert rounds == [[False, 1], [False, 0], [False, 0], [False, 1], [False, 2], [True, 3]]


def test_acts_of_two_cues_within_a_second_are_told_and_those_of_one_cue_are_not(scripts):
    cues = [cue(1, "cut-in", 3), cue(2, "one-shot", 3.4, 3.8), cue(3, "cut-in", 4.8)]
    body = """
        const { acts } = it.actsOf({ cues: given[1], music: given[0] });
        return it.closeTogether(acts).map((each) => [each.first.number, each.second.number, each.apart]);
    """
    assert scripts("through.js", body, [MUSIC, cues]) == [[1, 2, pytest.approx(0.4)]]


@pytest.mark.parametrize(
    ("sides", "keys"),
    [
        (["A", "B"], {"a": "A", "b": "B"}),
        (["left", "long"], {"l": "left", "n": "long"}),  # o is taken by the loop
        (["hall", "h"], {"a": "hall", "b": "h"}),
        (["Ü", "天"], {"ü": "Ü", "天": "天"}),
    ],
)
def test_each_side_has_a_key_of_its_own_its_first_letter_if_that_is_free(scripts, sides, keys):
    assert scripts("through.js", "return Object.fromEntries(it.sideKeys(given, 'jhtroi'))", sides) == keys


TAPPED = """
    let now = 0;
    const clock = new it.TappedClock(given[0], () => now);
    const at = (seconds) => { now = seconds; return Math.round(clock.seconds * 1000) / 1000; };
    const tap = (seconds) => { now = seconds; return clock.tap(); };
"""


def test_a_tapped_clock_runs_through_the_songs_own_beats_in_the_tempo_that_was_tapped(scripts):
    body = f"""{TAPPED}
        clock.seek(3);
        const counts = [0, 1, 2, 3].map(tap); // 60 a minute, in a song at 120
        const standing = at(9);
        clock.toggle();
        return [counts, clock.tempo, standing, at(10), at(13), clock.rate];
    """
    assert scripts("tapped-clock.js", body, [MUSIC]) == [[1, 2, 3, 4], 60, 3, 3.5, 5, 0.5]


def test_a_tap_while_it_runs_is_on_the_nearest_beat_and_a_pause_begins_a_new_tempo(scripts):
    body = f"""{TAPPED}
        clock.seek(1);
        clock.toggle();
        tap(0.4); tap(1.1); // 86 a minute; 1.1 s after the start is nearest to the third beat
        const [tempo, here] = [Math.round(clock.tempo), at(1.1)];
        return [tempo, here, tap(9), Math.round(clock.tempo)];
    """
    assert scripts("tapped-clock.js", body, [MUSIC]) == [86, 2, 1, 86]


def test_without_beats_there_is_nothing_to_tap_and_the_clock_runs_in_seconds(scripts):
    music = {**MUSIC, "beats": [], "bars": [], "tempo": None}
    body = f"{TAPPED} clock.seek(4); clock.toggle(); return [clock.counted, at(2), at(60)]"
    assert scripts("tapped-clock.js", body, [music]) == [False, 6, 18]


HANDS = """
    const hands = new it.MidiHands(given[0]);
    return given[1].map(([now, ...data]) => {
      if (typeof data[0] === "string") return hands.learn(data[0], true) ?? null;
      const heard = hands.take(new Uint8Array(data), now);
      return heard && [heard.name, heard.what];
    }).concat([hands.controls]);
"""


def test_a_control_is_learned_by_moving_it_and_a_gesture_of_a_fader_is_one_press(scripts):
    fader = [0xB0, 7]
    found = scripts(
        "midi-hands.js",
        HANDS,
        [{}, [[0, "side A"], [1, *fader, 5], [1.1, *fader, 9], [3, *fader, 20], [3.1, *fader, 30], [5, *fader, 0]]],
    )
    down = ["side A", "down"]
    assert found == [None, ["side A", "learned"], None, down, None, down, {"side A": "cc 1 7"}]


def test_keys_and_buttons_go_down_and_up_and_what_nobody_learned_is_no_press(scripts):
    controls = {"now": "note 1 60", "the held dark": "cc 1 20"}
    messages = [[1, 0x90, 60, 90], [2, 0x80, 60, 0], [3, 0x90, 60, 90], [4, 0x90, 60, 0]]
    messages += [[5, 0xB0, 20, 127], [6, 0xB0, 20, 0], [7, 0xB0, 21, 127], [8, 0xF8]]
    down, up = ["now", "down"], ["now", "up"]
    dark = [["the held dark", "down"], ["the held dark", "up"]]
    assert scripts("midi-hands.js", HANDS, [controls, messages])[:-1] == [down, up, down, up, *dark, None, None]


def test_a_control_that_is_learned_anew_is_no_longer_what_it_was(scripts):
    controls = {"side A": "cc 1 7", "side B": "cc 1 8"}
    assert scripts("midi-hands.js", HANDS, [controls, [[0, "side B"], [1, 0xB0, 7, 4]]])[-1] == {"side B": "cc 1 7"}


# What the page is told.


def test_the_hand_presses_when_a_fade_starts_and_as_early_as_a_one_shot_takes_to_its_peak():
    song = make_song("A8", bpm=60)  # the downbeat of bar n is at 4n - 2 s
    grid = Grid(song.analysis)
    landing = {"anchor": "lands-on"}
    fade = make_cue(1, "fade-in", place_at(song.analysis, 5), up_beats=8.0, **landing)
    series = Series(every_bars=2, first_bar=3, last_bar=6)
    shot = make_cue(2, "one-shot", place_at(song.analysis, 3), look=LIFT.id, series=series, **landing)
    assert hand_presses(fade, grid) == (10,)
    assert hand_presses(shot, grid, [LIFT]) == tuple(at - LIFT.peak_after for at in (10, 18))
    assert hand_presses(make_cue(3, "one-shot", place_at(song.analysis, 3), look=LIFT.id), grid, [LIFT]) == (10,)


def test_the_page_is_told_when_the_hand_presses_and_lets_go(document):
    with hosting(document) as server:
        cues = server.song()["cues"]
        assert all(each["presses"] == [each["seconds"]] for each in cues if each["kind"] != "one-shot")
        out = next(each for each in cues if each["kind"] == "cut-out")
        status, after = server.act("set", cue=out["id"], trigger="held")
        assert status == 200
        held = next(each for each in after["cues"] if each["id"] == out["id"])
    assert out["let_go"] is None
    assert held["let_go"] > held["seconds"]


def test_what_was_learned_of_a_controller_is_kept_on_this_machine_and_nonsense_is_refused(document):
    def chosen(server, controls):
        return server.ask("POST", "/chosen", {"bars": 16, "song": 100, "click": 50, "controls": controls})[0]

    with hosting(document) as server:
        assert server.song()["chosen"]["controls"] == {}
        assert chosen(server, {"side A": "cc 1 7"}) == 200
        for wrong in (
            ["cc 1 7"],
            {"side A": 7},
            {"x" * 70: "cc 1 7"},
            {"a": "x" * 70},
            {str(n): "" for n in range(20)},
        ):
            assert chosen(server, wrong) == 422
    with hosting(document) as again:
        assert again.song()["chosen"]["controls"] == {"side A": "cc 1 7"}


# The page.


@pytest.fixture
def through(document, opened):
    """The run-through, open in a window; and what the page is told of its cues, by kind."""
    with hosting(document) as server:
        page = opened(server)
        run_through(page)
        yield page, {each["kind"]: each for each in server.song()["cues"] if each["seconds"] > 1}
        assert page.problems == []


def run_through(page):
    page.press("Escape", "Shift+R")
    page.page.wait_for_selector("#through[open] .sentence")


def play_from(page, seconds):
    page.seek(seconds)
    page.press("Enter")
    page.page.wait_for_function("() => !sound.paused")


def press_at(page, key, seconds):
    """Press a key as the sound's clock gets there; gives what the clock said in that moment."""
    return page.page.evaluate(
        """([key, to]) => new Promise((done) => {
          const look = () => {
            if (sound.currentTime < to) return setTimeout(look, 2);
            const at = sound.currentTime;
            const target = document.activeElement ?? document.body;
            for (const kind of ["keydown", "keyup"]) {
              target.dispatchEvent(new KeyboardEvent(kind, { key, bubbles: true, cancelable: true }));
            }
            done(at);
          };
          look();
        })""",
        [key, seconds],
    )


def hurry(page, to=None):
    """Play four times as fast up to a time of the song, where there is no press to wait for."""
    page.page.evaluate("() => { sound.playbackRate = 4 }")
    if to is not None:
        page.page.wait_for_function("to => sound.currentTime >= to && (sound.playbackRate = 1)", arg=to)


def verdict(page, part):
    """Wait until it says so of a press; gives all that it said then."""
    found = page.page.wait_for_function(
        """part => {
             const said = document.querySelector('#through .verdict').textContent;
             return said.includes(part) && said;
           }""",
        arg=part,
    )
    return found.json_value()


def how(page, part):
    """Wait until it says of itself how it goes on."""
    page.page.wait_for_function("part => document.querySelector('#through .how').textContent.includes(part)", arg=part)


def test_it_says_what_comes_next_what_the_hand_does_and_how_long_until_then(through):
    page, cues = through
    fade = cues["fade-in"]
    page.seek(fade["seconds"] - 6.4)  # three bars of 112 a minute
    page.page.wait_for_function("() => document.querySelector('#through .in').textContent === 'in 3 bars'")
    assert page.text("#through .sentence") == f"Cue {fade['number']:g}. {fade['hand']}."
    page.seek(fade["seconds"] - 1.05)
    page.page.wait_for_function("() => document.querySelector('#through .in').textContent === 'in 2 beats'")
    assert page.page.get_attribute("#through .sentence", "aria-live") == "polite"
    assert page.page.get_attribute("#through .verdict", "aria-live") == "polite"


def test_it_goes_with_the_recording(through):
    page, cues = through
    due = cues["fade-in"]["seconds"]
    play_from(page, due - 1.6)
    said, animated = page.page.evaluate(
        """async (end) => {
          const seen = [];
          while (sound.currentTime < end) {
            const now = document.querySelector('#through .in').textContent;
            if (seen.at(-1) !== now) seen.push(now);
            await new Promise(requestAnimationFrame);
          }
          return [seen, document.getAnimations().length];
        }""",
        due + 0.3,
    )
    order = ["in 3 beats", "in 2 beats", "in 1 beat", "now"]
    assert [each for each in said if each in order] == order
    assert animated == 0  # words change, and nothing else moves


def test_at_a_section_stand_its_name_and_its_first_words(document, opened):
    with hosting(document) as server:
        section = server.song()["music"]["sections"][1]
        server.act("first-words", section=section["id"], words="Low water, slow light")
        page = opened(server)
        run_through(page)
        page.seek(section["start"] + 1)
        page.page.wait_for_function("() => document.querySelector('#through .first-words').textContent")
        assert page.text("#through .first-words") == "“Low water, slow light”"
        assert page.text("#through .part").startswith(f"{section['label']}{section['pass']}")
        assert page.text("#through .counting") == "bar 1 of 8, beat 2"


def test_each_press_is_marked_early_late_or_good_by_the_clock_of_the_sound(through):
    page, cues = through
    for kind, key, beside, mark in (
        ("fade-in", "a", -0.5, "early"),
        ("fade-out", "b", 0.0, "good"),
        ("cut-in", "b", 0.25, "late"),
        ("cut-out", "a", -0.3, "early"),
    ):
        due = cues[kind]["seconds"]
        play_from(page, due - 1.2)
        late = press_at(page, key, due + beside) - due
        said = verdict(page, f"Cue {cues[kind]['number']:g}")
        if mark == "good":
            assert "good" in said
        else:
            assert said.endswith(mark)
            assert float(said.split(": ")[1].split()[0]) == pytest.approx(abs(late) * 1000, abs=40)
        page.press("Enter")


def test_a_latency_that_is_kept_is_taken_off(document, opened):
    with hosting(document) as server:
        song = server.song()
        fade = next(each for each in song["cues"] if each["kind"] == "cut-in")
        page = opened(server)
        page.page.route("**/song?*", lambda route: route.fulfill(json=with_latency(route.fetch(), 400)))
        page.reload()
        run_through(page)
        play_from(page, fade["seconds"] - 1.2)
        late = press_at(page, "b", fade["seconds"] + 0.1) - fade["seconds"] - 0.4
        said = verdict(page, "early")
        assert float(said.split(": ")[1].split()[0]) == pytest.approx(-late * 1000, abs=40)
        how(page, "your 400 ms are taken off")


def with_latency(answer, ms):
    page = answer.json()
    page["chosen"]["late"] = ms
    return page


def test_what_is_not_pressed_is_missed_and_the_other_fader_is_wrong(through):
    page, cues = through
    fade = cues["fade-in"]
    play_from(page, fade["seconds"] - 0.6)
    press_at(page, "b", fade["seconds"])
    assert "that was side B; it is side A" in verdict(page, "wrong")
    verdict(page, "missed")
    page.press("Escape")
    assert page.text("#through .total") == "1 missed, 1 on the wrong control."
    assert "side B instead of side A" in page.text("#through tbody")
    assert f"To practise: cue {fade['number']:g}." in page.text("#through .needs")


def test_a_held_dark_is_held_and_let_go(document, opened):
    with hosting(document) as server:
        out = next(each for each in server.song()["cues"] if each["kind"] == "cut-out")
        _, after = server.act("set", cue=out["id"], trigger="held")
        held = next(each for each in after["cues"] if each["id"] == out["id"])
        page = opened(server)
        run_through(page)
        play_from(page, held["seconds"] - 0.8)
        page.page.wait_for_function("to => sound.currentTime >= to", arg=held["seconds"] - 0.05)
        page.page.keyboard.down("h")
        verdict(page, f"Cue {held['number']:g}: ")
        page.page.keyboard.up("h")
        assert "letting go" in verdict(page, "early")


def test_space_starts_it_and_then_is_the_press_that_fits_whatever_is_due(through):
    page, cues = through
    fade = cues["fade-in"]
    page.seek(fade["seconds"] - 1)
    page.press("Space")
    page.page.wait_for_function("() => !sound.paused")
    press_at(page, " ", fade["seconds"])
    verdict(page, "good")
    assert page.page.evaluate("() => !sound.paused")


def test_any_section_can_be_jumped_to_at_any_time_and_nothing_between_is_missed(through):
    page, cues = through
    play_from(page, cues["fade-in"]["seconds"] - 2)
    last = page.page.locator("#through [data-part]").last
    last.click()
    page.page.wait_for_function(
        "() => document.querySelector('#through [data-part]:last-child').ariaCurrent === 'true'"
    )
    page.page.wait_for_timeout(300)
    assert "missed" not in page.text("#through .verdict")
    page.press("Shift+ArrowLeft", "Shift+ArrowLeft", "Enter")
    here = page.seconds()
    page.press("Home")
    page.at(0)
    page.press("ArrowDown")
    assert 0 < page.seconds() < here


def test_a_cue_goes_round_until_three_rounds_in_a_row_are_good_and_then_the_song_goes_on(through):
    page, cues = through
    fade = cues["fade-in"]
    page.seek(fade["seconds"] - 2)
    page.page.wait_for_function("() => document.querySelector('[data-step=round]').innerText.includes('loop cue')")
    page.press("o")
    how(page, "until three rounds are good")
    bar = 4 * 60 / 112
    assert page.seconds() == pytest.approx(fade["seconds"] - bar, abs=0.3)
    for beside in (0.5, 0, 0, 0):
        page.page.wait_for_function("to => sound.currentTime < to", arg=fade["seconds"] - 0.2)
        hurry(page, fade["seconds"] - 0.4)
        press_at(page, "a", fade["seconds"] + beside)
        verdict(page, f"Cue {fade['number']:g}: ")
        hurry(page)
    verdict(page, "sits: three good rounds in a row")
    page.page.wait_for_function("to => sound.currentTime > to", arg=fade["seconds"] + 2 * bar)
    page.press("Escape")
    assert page.text("#through .total").startswith("3 good, 1 late")
    assert page.text("#through .needs") == "No cue that was tried needs practice."


def test_the_summary_tells_the_mean_what_is_too_close_and_leads_into_a_loop(through):
    page, cues = through
    fade = cues["fade-in"]
    for beside in (-0.4, -0.6):
        play_from(page, fade["seconds"] - 1.2)
        press_at(page, "a", fade["seconds"] + beside)
        verdict(page, "early")
        page.press("Enter")
    page.press("Escape")
    row = page.text("#through tbody tr")
    assert "2 early" in row
    mean = float(row.split(" ms early")[0].split()[-1])
    assert mean == pytest.approx(500, abs=60)
    shot, cut = cues["one-shot"], cues["cut-in"]
    close = page.text("#through .summary")
    assert f"Cue {shot['number']:g} " in close
    assert f"cue {cut['number']:g} " in close
    assert "150 ms apart" in close
    page.page.focus("#through [data-loop]")
    page.press("Enter")
    page.page.wait_for_function("() => !sound.paused")
    how(page, f"round cue {fade['number']:g}")
    page.press("Escape", "Escape")
    page.page.wait_for_selector("#through", state="hidden")
    assert page.page.evaluate("() => sound.paused")


def test_at_the_end_of_the_song_the_summary_comes_by_itself(through):
    page, _ = through
    play_from(page, page.page.evaluate("() => sound.duration") - 1)
    page.page.wait_for_selector("#through .summary:not([hidden])", timeout=10_000)


def test_a_tapped_tempo_takes_over_from_the_recording_and_gives_back(through):
    page, cues = through
    fade = cues["fade-in"]
    page.seek(fade["seconds"] - 4 * 60 / 112)
    taps = tap(page, 4, 500)
    tempo = 60_000 * 3 / (taps[-1] - taps[0])
    # What the taps were when they came, a picture later.
    assert float(verdict(page, "beats a minute, of 4 taps").split()[0]) == pytest.approx(tempo, abs=1.5)
    page.page.wait_for_function("() => document.querySelector('#through .in').textContent === 'in 4 beats'")
    page.press("Space")
    page.page.wait_for_function("() => document.querySelector('#through .in').textContent === 'now'", timeout=4000)
    assert page.page.evaluate("() => sound.paused")
    page.press("a")
    verdict(page, f"Cue {fade['number']:g}: ")
    page.press("r")
    page.page.wait_for_function("() => !sound.paused")
    assert page.seconds() == pytest.approx(fade["seconds"], abs=1.5)


def tap(page, times, apart):
    """Tap so many milliseconds apart, as far as the machine keeps to it; gives when each tap was."""
    return page.page.evaluate(
        """async ([times, apart]) => {
          const taps = [];
          for (let k = 0; k < times; k += 1) {
            const start = performance.now();
            const pressed = new KeyboardEvent('keydown', { key: 't', bubbles: true, cancelable: true });
            document.activeElement.dispatchEvent(pressed);
            taps.push(start);
            while (performance.now() < start + apart) await new Promise((done) => setTimeout(done, 1));
          }
          return taps;
        }""",
        [times, apart],
    )


def test_without_a_sound_the_song_runs_in_its_own_tempo_or_a_tapped_one(document, opened):
    document.with_name("evening.wav").unlink()
    with hosting(document) as server:
        page = opened(server)
        run_through(page)
        how(page, "follows your tempo, 112 beats a minute")
        assert page.page.locator("#through [data-step=recording]").count() == 0
        page.press("Shift+ArrowRight", "Shift+ArrowRight", "Space")
        first = page.text("#through .counting")
        page.page.wait_for_function(
            "first => document.querySelector('#through .counting').textContent !== first", arg=first
        )
        page.press("a")
        verdict(page, "Cue")
        page.press("Escape")
        page.page.wait_for_selector("#through .summary:not([hidden])")


PHONE = {"viewport": {"width": 390, "height": 844}, "has_touch": True, "is_mobile": True}


def test_all_of_it_can_be_done_by_touch_alone(document, opened):
    with hosting(document) as server:
        page = opened(server, **PHONE)
        touch = page.page.tap
        fade = next(each for each in server.song()["cues"] if each["kind"] == "fade-in")
        touch("#strip [data-do=help]")
        touch("#help [data-do=through]")
        page.page.wait_for_selector("#through[open]")
        touch("#through [data-part='1']")
        touch("#through [data-step=bar-back]")
        touch("#through [data-press=now]")
        page.page.wait_for_function("to => sound.currentTime >= to", arg=fade["seconds"] - 0.4)
        touch("#through [data-press='side A']")
        verdict(page, f"Cue {fade['number']:g}: ")
        touch("#through [data-step=round]")
        how(page, "until three rounds")
        touch("#through [data-step=end]")
        touch("#through [data-loop]")
        page.page.wait_for_function("() => !sound.paused")
        touch("#through [data-step=tap]")
        touch("#through [data-step=tap]")
        verdict(page, "of 2 taps")
        touch("#through [data-step=end]")
        small = page.page.evaluate(
            """() => [...document.querySelectorAll('#through button')].filter((each) => each.offsetParent)
                 .map((each) => each.getBoundingClientRect())
                 .filter((box) => box.width < 44 || box.height < 44).length"""
        )
        assert small == 0
        touch("#through .summary [data-step=leave]")
        page.page.wait_for_selector("#through", state="hidden")


TABLET = {"viewport": {"width": 820, "height": 1180}, "has_touch": True}
LYING = {**PHONE, "viewport": {"width": 844, "height": 390}}


@pytest.mark.parametrize("options", [{}, TABLET, PHONE, LYING])
def test_what_comes_next_and_what_is_pressed_are_seen_together_and_nothing_overlaps(document, opened, options):
    with hosting(document) as server:
        page = opened(server, **options)
        page.page.evaluate("() => document.activeElement.blur()")
        run_through(page)
        page.page.wait_for_timeout(100)
        tops = page.page.evaluate(
            """() => ['.in', '.sentence', '.then', '.verdict', '.pressing', '.steps', '.parts'].map((each) => {
                 const box = document.querySelector(`#through ${each}`).getBoundingClientRect();
                 return [box.top, box.bottom, box.right]; })"""
        )
        assert all(below[0] >= above[1] - 1 for above, below in pairwise(tops))
        size = options.get("viewport", WIDE)
        assert max(right for _, _, right in tops) <= size["width"]
        assert tops[4][1] <= size["height"]  # the buttons to press along


@pytest.mark.parametrize("options", [{}, PHONE])
def test_run_through_and_summary_can_be_used_by_everybody(document, opened, options):
    with hosting(document) as server:
        page = opened(server, FAKE_MIDI, **options)
        fade = next(each for each in server.song()["cues"] if each["kind"] == "fade-in")
        run_through(page)
        page.press("i")
        page.page.wait_for_selector("#through .controller:not([hidden])")
        play_from(page, fade["seconds"] - 0.5)
        press_at(page, "b", fade["seconds"])
        verdict(page, "wrong")
        assert barriers(page.page) == []
        page.press("Escape", "Escape")
        page.page.wait_for_selector("#through .summary:not([hidden])")
        assert barriers(page.page) == []


FAKE_MIDI = """
    const input = { onmidimessage: null };
    navigator.requestMIDIAccess = async () => {
      window.asked = (window.asked ?? 0) + 1;
      return { inputs: new Map([['one', input]]), onstatechange: null };
    };
    window.midi = (...data) => input.onmidimessage?.({ data: new Uint8Array(data), timeStamp: performance.now() });
"""


def test_presses_come_from_a_midi_controller_that_is_asked_for_learned_and_remembered(document, opened):
    def send(page, *data):
        page.page.evaluate("data => midi(...data)", data)

    with hosting(document) as server:
        fade = next(each for each in server.song()["cues"] if each["kind"] == "fade-in")
        page = opened(server, FAKE_MIDI)
        run_through(page)
        assert page.page.evaluate("() => window.asked") is None
        page.press("i")
        page.page.wait_for_selector("#through .controller:not([hidden])")
        assert "Move what is to be “now”" in page.text("#through .controller")
        send(page, 0x90, 60, 100)
        send(page, 0x80, 60, 0)
        send(page, 0xB0, 7, 10)
        send(page, 0xB0, 7, 12)
        send(page, 0xB0, 8, 10)
        assert "Move what is to be the one-shot" in page.text("#through .controller")
        page.press("Escape")
        assert "Your controller is heard" in page.text("#through .controller")
        play_from(page, fade["seconds"] - 1)
        page.page.wait_for_function("to => sound.currentTime >= to", arg=fade["seconds"] - 0.1)
        send(page, 0xB0, 8, 40)
        assert "that was side B" in verdict(page, "wrong")
        send(page, 0xB0, 7, 40)
        verdict(page, f"Cue {fade['number']:g}: ")
        learned = {"now": "note 1 60", "side A": "cc 1 7", "side B": "cc 1 8"}
        until(lambda: server.song()["chosen"]["controls"] == learned)
    with hosting(document) as server:
        assert server.song()["chosen"]["controls"] == learned


@pytest.mark.parametrize(
    ("script", "said"),
    [
        ("delete Navigator.prototype.requestMIDIAccess", "This browser hears no MIDI controllers"),
        ("navigator.requestMIDIAccess = () => Promise.reject(new DOMException('no'))", "does not allow"),
    ],
)  # fmt: skip
def test_where_there_is_no_controller_the_rest_works(document, opened, script, said):
    with hosting(document) as server:
        page = opened(server, script)
        run_through(page)
        page.press("i")
        verdict(page, said)
        page.press("Enter")
        page.page.wait_for_function("() => !sound.paused")


def test_a_run_through_changes_nothing_in_the_song(through, document):
    page, cues = through
    before = document.read_bytes()
    play_from(page, cues["fade-in"]["seconds"] - 0.5)
    page.press("a", "b", "j", "h", "o", "Enter", "x", "e", "Escape", "Escape")
    assert document.read_bytes() == before
