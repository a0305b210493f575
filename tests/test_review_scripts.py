"""The page's pure scripts, imported by the browser itself and asked for answers; and the light that they are sent."""

from dataclasses import replace
from importlib.resources import files

import pytest

from cuesuggest.review.session import Session
from cuesuggest.review.shown_light import shown_light
from cuesuggest.review.view import page_of
from cuesuggest.score.records import Series
from cuesuggest.song import Settings
from tests.reviewing import declared, hosting, unlike
from tests.songs import HOME, LIFT, make_cue, make_song, place_at

# Two bars of 4/4 at 120, one of 3/4, from 1 s on; sections of 2 and 1 bars.
MUSIC = {
    "bars": [[0, 1, 3, 4, "4/4"], [1, 3, 5, 4, "4/4"], [2, 5, 6.5, 3, "3/4"]],
    "beats": [1, 1.5, 2, 2.5, 3, 3.5, 4, 4.5, 5, 5.5, 6],
    "sections": [
        {"label": "A", "pass": 1, "first": 0, "last": 1, "start": 1, "end": 5},
        {"label": "B", "pass": 1, "first": 2, "last": 2, "start": 5, "end": 6.5},
    ],
}


@pytest.mark.parametrize(
    ("seconds", "place"),
    [
        (0.5, [None, None, None]),
        (1, [0, 1, 1]),
        (2.7, [0, 4, 1]),
        (3, [1, 1, 2]),
        (6.2, [2, 3, 1]),
        (8, [None, None, None]),
    ],
)
def test_a_time_is_counted_as_a_musician_counts_it(scripts, seconds, place):
    body = "const p = it.placeAt(given[0], given[1]); return [p.bar, p.beat, p.inSection]"
    assert scripts("places.js", body, [MUSIC, seconds]) == place


@pytest.mark.parametrize(
    ("seconds", "step", "to"),
    [(3, 1, 5), (3, -1, 1), (4, -1, 3), (3.2, -1, 1), (0, 1, 1), (1, -1, 1), (6, 5, 5), (8, -1, 5)],
)
def test_arrows_lead_from_bar_to_bar(scripts, seconds, step, to):
    assert scripts("places.js", "return it.barStep(given[0].bars, given[1], given[2])", [MUSIC, seconds, step]) == to


@pytest.mark.parametrize(("seconds", "step", "to"), [(1, 1, 5), (5, -1, 1), (6.2, -1, 5), (0, 1, 1), (5, 1, 5)])
def test_and_from_section_to_section(scripts, seconds, step, to):
    body = "return it.sectionStep(given[0].sections, given[1], given[2])"
    assert scripts("places.js", body, [MUSIC, seconds, step]) == to


@pytest.mark.parametrize("step", ["barStep", "lineStep", "sectionStep"])
def test_where_there_is_nothing_to_go_by_no_step_is_made_up(scripts, step):
    assert scripts("places.js", f"return it.{step}([], 12, 1)") is None


def test_a_place_chosen_while_the_sound_loads_is_not_lost(scripts):
    """Between the sound's first data and its event is a moment in which a key may be pressed."""
    body = """
        const sound = Object.assign(new EventTarget(), { src: "", currentTime: 0, paused: true, load() {} });
        const player = new it.Player(sound);
        player.open("/sound.wav?key=k", 1.5, 1);
        sound.readyState = 1; // the event comes a moment later
        player.seek(given);
        const asked = player.seconds;
        sound.dispatchEvent(new Event("loadedmetadata"));
        return [asked, player.seconds, sound.currentTime];
    """
    assert scripts("player.js", body, 9) == [9, 9, 7.5]


@pytest.mark.parametrize(("seconds", "text"), [(0, "0:00.0"), (59.96, "1:00.0"), (754.32, "12:34.3"), (-1, "0:00.0")])
def test_a_clock_counts_minutes_and_tenths(scripts, seconds, text):
    assert scripts("places.js", "return it.clock(given)", seconds) == text


# Four bars of 4/4 at 120 from 1 s on, then nothing.
FOUR = {
    "bars": [[n, 2 * n - 1, 2 * n + 1, 4, "4/4"] for n in range(1, 5)],
    "beats": [1 + 0.5 * n for n in range(16)],
}


@pytest.mark.parametrize(
    ("now", "then", "said"),
    [
        (1, 7, "in 3 bars"),
        (2.9, 7, "in 3 bars"),
        (3, 7, "in 2 bars"),
        (4.9, 7, "in 2 bars"),
        (5, 7, "in 4 beats"),
        (6.6, 7, "in 1 beat"),
        (5, 8.5, "in 1 bar"),
        (7, 8.5, "in 3 beats"),
        (5.01, 5.2, "now"),
        (0.2, 7, "in 7 s"),
        (12, 14, "in 2 s"),
    ],
)
def test_until_the_next_cue_bars_are_counted_and_beats_in_the_last_one(scripts, now, then, said):
    assert scripts("coming.js", "return it.until(...given)", [FOUR, now, then]) == said


def test_what_comes_next_is_the_first_cue_that_is_not_left_out_and_has_not_begun(scripts):
    cues = [
        {"id": "gone", "seconds": 3, "status": "rejected"},
        {"id": "here", "seconds": 5, "status": "suggested"},
        {"id": "then", "seconds": 6, "status": "accepted"},
    ]
    body = "return given[1].map((now) => it.nextCue(given[0], now)?.id ?? null)"
    assert scripts("coming.js", body, [cues, [0, 4.9, 5, 6]]) == ["here", "here", "then", None]


def test_every_command_of_the_table_does_something(scripts):
    body = "const { questionActs } = await import('/questions.js'); return it.commands({ questions: questionActs({}) })"
    does = set(scripts("commands.js", f"return Object.keys(await (async () => {{ {body} }})())"))
    does |= set(scripts("evening.js", "return Object.keys(it.songActs({ store: new EventTarget() }))"))
    named = set(scripts("keys.js", "return it.COMMANDS.map((each) => each.id)"))
    pressing = set(scripts("pressing.js", "return Object.keys(new it.Pressing({}).commands)"))
    # main.js does these itself.
    assert named - does - pressing == {"patch", "scheme", "help", "export", "bars-a-line", "through"}


def test_loops_are_set_bar_by_bar_in_either_order(scripts):
    body = """
        const sound = Object.assign(new EventTarget(), { src: "", currentTime: 0, paused: true, load() {} });
        const player = new it.Player(sound);
        const bars = [5, 7, 9].map((start, k) => ({ start, end: start + 2, name: `bar ${k + 3}` }));
        return given.map(([first, last]) => {
          player.loopHere(bars[first]);
          const open = [player.from?.name, player.loop];
          player.loopHere(bars[last]);
          const { start, end, name } = player.loop;
          player.loopHere(bars[last]);
          return [open, [start, end, name], player.from, player.loop];
        });
    """
    found = scripts("player.js", body, [[0, 2], [2, 0], [1, 1]])
    assert [each[0] for each in found] == [["bar 3", None], ["bar 5", None], ["bar 4", None]]
    assert [each[1] for each in found] == [[5, 11, "bar 3 to bar 5"], [5, 11, "bar 3 to bar 5"], [7, 9, "bar 4"]]
    assert all(each[2:] == [None, None] for each in found)


def test_every_key_means_one_thing_in_each_mode(scripts):
    table = scripts("keys.js", "return it.COMMANDS.flatMap((c) => c.keys.map((k) => [c.when ?? '', k]))")
    assert len({tuple(row) for row in table}) == len(table)


# Presses: when they were meant by the sound's clock, and what belongs together.


@pytest.mark.parametrize(("step", "rate"), [(0.0, 1.0), (0.02, 1.0), (0.04, 1.0), (0.04, 0.5)])
def test_a_press_is_timed_between_the_steps_of_the_sounds_clock(scripts, step, rate):
    """A browser may move the clock of the sound on only every 40 ms; between presses that makes less than 10 ms."""
    body = """
        const [step, rate] = given;
        const clock = new it.SoundClock();
        const sound = (now) => (step ? Math.floor((rate * now) / 1000 / step) * step : (rate * now) / 1000);
        const wrong = [];
        for (let k = 0; k < 400; k += 1) {
          const now = 16.7 * k + (k % 7);
          clock.read(now, 30 + sound(now), rate);
          if (k > 40) wrong.push(clock.at(now - (k % 13)) - 30 - (rate * (now - (k % 13))) / 1000);
        }
        return wrong;
    """
    wrong = scripts("presses.js", body, [step, rate])
    # What all presses have in common is measured with the person, and taken off with it.
    middle = sorted(wrong)[len(wrong) // 2]
    assert max(abs(each - middle) for each in wrong) < 0.01
    assert abs(middle) <= step / 2 + 0.002


def test_the_clock_is_read_anew_after_a_jump_and_knows_one_from_a_pause(scripts):
    body = """
        const clock = new it.SoundClock();
        const reads = [[0, 5], [16, 5.016], [32, 5.032], [48, 5.2], [64, 20], [80, 20.016]];
        const on = reads.map(([now, seconds]) => clock.read(now, seconds, 1));
        return [...on, clock.at(90), clock.read(96, 20.024, 0.5)];
    """
    assert scripts("presses.js", body) == [False, True, True, True, False, True, pytest.approx(20.026), False]


def test_presses_belong_to_the_run_in_which_the_song_was_heard(scripts):
    body = """
        const pass = new it.Pass();
        pass.heard(4, false);
        pass.press(5, "lift");
        pass.heard(9, true);
        pass.heard(9.1, false); // paused, and on
        pass.press(10, "hit");
        const held = [pass.held];
        pass.heard(30, false);
        held.push(pass.held);
        pass.heard(40, true);
        pass.heard(8, false);
        pass.press(8.5, "rest");
        pass.press(-0.2, "note");
        pass.back();
        pass.heard(12.34567, true);
        held.push(pass.held);
        return [pass.runs, held, pass.presses.length];
    """
    runs, held, count = scripts("presses.js", body)
    assert runs == [
        {"until": 10, "presses": [{"at": 5, "kind": "lift"}, {"at": 10, "kind": "hit"}]},
        {"until": 12.3457, "presses": [{"at": 8.5, "kind": "rest"}]},
    ]
    assert held == ["lift", None, "rest"]
    assert count == 3


@pytest.mark.parametrize(
    ("late", "words"),
    [
        (120, "You press 120 ms late; that is taken off."),
        (-30, "You press 30 ms early; that is put on."),
        (0, "You press on the beat; nothing is taken off."),
        (None, "How late you press is not measured yet; nothing is taken off."),
    ],
)
def test_how_late_somebody_is_is_said(scripts, late, words):
    assert scripts("presses.js", "return it.lateWords(given)", late) == words


# The light: what the server makes of the cues, and what the page draws of that.


def lit(*cues, form="A16 B16", **options):
    """What the server sends for cues in a song of 4/4 at 60, bar 1 at 2 s: the downbeat of bar n is at 4n - 2 s."""
    song = make_song(form, bpm=60, **options)
    made = [make_cue(n, kind, place_at(song.analysis, *at), **more) for n, (kind, at, more) in enumerate(cues, 1)]
    return shown_light(song.replaced(cues=made))


def test_a_side_grows_stays_and_goes_as_its_cues_say():
    light = lit(
        ("fade-in", (1,), {"side": "A", "level": 50, "up_seconds": 4.0}),
        ("fade-out", (9,), {"side": "A", "down_seconds": 2.0}),
    )
    assert light["sides"] == {"A": [[2, 0], [6, 0.5], [34, 0.5], [36, 0]]}


def test_with_two_hands_the_old_side_starts_out_when_the_new_one_is_half_up():
    cues = (
        ("cut-in", (1,), {"side": "A", "level": 80}),
        ("crossfade", (5,), {"side": "B", "level": 40, "up_seconds": 4.0, "down_seconds": 2.0}),
    )
    assert lit(*cues)["sides"] == {
        "A": [[2, 0], [2, 0.8], [20, 0.8], [22, 0]],
        "B": [[18, 0], [22, 0.4]],
    }
    one_hand = lit(*cues, rig=Settings("two sides", {"hands": 1, "sides": ["A", "B"]}))
    assert one_hand["sides"]["A"][2:] == [[22, 0.8], [24, 0]]


def test_a_fade_in_with_a_way_out_takes_the_other_side_out_and_one_without_leaves_it():
    def old_side(**more):
        return lit(
            ("cut-in", (1,), {"side": "A", "level": 80}),
            ("fade-in", (5,), {"side": "B", "level": 40, "up_seconds": 4.0, **more}),
        )["sides"]["A"]

    assert old_side(down_seconds=2.0) == [[2, 0], [2, 0.8], [20, 0.8], [22, 0]]
    assert old_side() == [[2, 0], [2, 0.8]]


def test_what_lands_starts_where_its_beats_say():
    light = lit(("fade-in", (5,), {"side": "A", "level": 50, "anchor": "lands-on", "up_beats": 8.0}))
    assert light["sides"] == {"A": [[10, 0], [18, 0.5]]}


def test_a_cue_that_comes_before_a_way_out_has_begun_has_the_word():
    light = lit(
        ("cut-in", (1,), {"side": "A", "level": 80}),
        ("crossfade", (5,), {"side": "B", "level": 40, "up_seconds": 8.0, "down_seconds": 2.0}),
        ("cut-in", (5, 3), {"side": "A", "level": 60}),
    )
    assert light["sides"]["A"] == [[2, 0], [2, 0.8], [20, 0.8], [20, 0.6]]


def test_a_held_dark_lasts_until_the_band_is_back_or_to_the_next_beat():
    held = ("cut-out", (4,), {"trigger": "held"})
    assert lit(held, events=[("stop", 4, 1, 3)])["held"] == [[14, 17]]
    assert lit(held)["held"] == [[14, 15]]
    assert lit(held)["sides"] == {}


def test_a_series_flashes_on_its_own_beat_of_each_of_its_bars():
    light = lit(
        ("one-shot", (5, 3), {"level": 70, "series": Series(every_bars=2, first_bar=5, last_bar=12, skip=(11,))}),
    )
    assert light["shots"] == [[20, 0.7, False], [28, 0.7, False], [36, 0.7, False]]


def test_a_one_shot_goes_to_its_level_else_to_its_looks_ceiling_else_to_80_percent():
    light = lit(
        ("one-shot", (5,), {"level": 30, "look": "lift"}),
        ("one-shot", (6,), {"look": "lift"}),
        ("one-shot", (7,), {}),
        looks=(HOME, replace(LIFT, level_ceiling=60)),
    )
    assert [level for _, level, _ in light["shots"]] == [0.3, 0.6, 0.8]


def test_rejected_cues_and_lines_for_others_give_no_light():
    for more in ({"status": "rejected"}, {"who": "house light"}):
        light = lit(
            ("cut-in", (1,), {"side": "A", "level": 80, **more}),
            ("one-shot", (2,), more),
            ("cut-out", (3,), {"trigger": "held", **more}),
        )
        assert light == {"sides": {}, "held": [], "shots": []}


@pytest.mark.parametrize(("apart", "fast"), [(0.25, True), (0.5, False)])
def test_one_shots_above_three_a_second_are_marked(apart, fast):
    light = lit(*(("one-shot", (5, 1 + apart * k), {}) for k in range(4)))
    assert [each[2] for each in light["shots"]] == [fast] * 4


def test_the_page_is_sent_the_light_of_the_song_as_it_is(drafted_take):
    session = Session(drafted_take)
    assert page_of(session, 16, 1400.0)["light"] == shown_light(session.song)
    assert any(shown_light(session.song)["sides"].values())


def test_what_the_scripts_are_told_of_is_sent(drafted_take):
    interfaces = declared(files("cuesuggest.review") / "static" / "content.d.ts")
    with hosting(drafted_take) as server:
        sent = server.song()
    assert unlike(sent, "Page", interfaces) == []
    for name in ("cues", "questions", "exports", "looks"):
        assert sent[name], f"nothing of {name} was looked at"
    del sent["music"]["sections"][0]["why"]
    sent["cues"][0]["number"] = "1"
    assert unlike(sent, "Page", interfaces) == ["no .music.sections.why", ".cues.number is no number"]


DARK = {"sides": {}, "held": [], "shots": []}


def level(scripts, light, times, fast=False):
    body = "return given[1].map((time) => it.brightness(given[0], time, given[2]))"
    return scripts("light.js", body, [{**DARK, **light}, times, fast])


def test_levels_are_drawn_straight_from_point_to_point(scripts):
    light = {"sides": {"A": [[2, 0], [4, 0.5], [10, 0.5], [14, 0]]}}
    assert level(scripts, light, [1, 2, 3, 4, 9, 12, 14, 20]) == pytest.approx([0, 0, 0.25, 0.5, 0.5, 0.25, 0, 0])


def test_a_jump_is_there_at_its_moment(scripts):
    assert level(scripts, {"sides": {"A": [[2, 0], [2, 0.8]]}}, [1.999, 2]) == [0, 0.8]


def test_the_brightest_side_shows(scripts):
    light = {"sides": {"A": [[0, 0.8], [4, 0]], "B": [[0, 0], [4, 0.4]]}}
    assert level(scripts, light, [0, 2, 4]) == pytest.approx([0.8, 0.4, 0.4])


def test_a_held_button_darkens_all_and_gives_back(scripts):
    light = {"sides": {"A": [[1, 0.5]]}, "held": [[3, 4]], "shots": [[3, 1, False]]}
    assert level(scripts, light, [2.9, 3, 3.9, 4.1]) == [0.5, 0, 0, 0.5]


def test_one_shots_that_come_too_fast_are_left_dark_unless_asked_for(scripts):
    light = {"shots": [[2, 1, True], [2.25, 1, True], [9, 0.7, False]]}
    assert level(scripts, light, [2, 2.25, 9]) == [0, 0, 0.7]
    assert level(scripts, light, [2, 2.25, 9], fast=True) == [1, 1, 0.7]


def test_a_one_shot_dies_away(scripts):
    first, later, over = level(scripts, {"shots": [[2, 1, False]]}, [2, 2.3, 2.7])
    assert first > later > over == 0


def flashes(shown, step=0.01):
    """Most flashes in any second, counted as WCAG 2.3.1 does: pairs of changes of a tenth, up after down."""
    rises, low, high, rising = [], 0.0, 0.0, False  # the screen is dark before
    for k, value in enumerate(shown):
        if rising:
            high = max(high, value)
            if high - value >= 0.1:
                rising, low = False, value
        else:
            low = min(low, value)
            if value - low >= 0.1:
                rising, high = True, value
                rises.append(k * step)
    return max((sum(t <= other < t + 1 - 1e-6 for other in rises) for t in rises), default=0)


@pytest.mark.parametrize(
    "wave",
    [
        "Math.sin(t * 60) > 0 ? 1 : 0", "Math.sin(t * 25) * 0.5 + 0.5", "(t * 7) % 1", "Math.random()",
        "(t * 4) % 1 < 0.1 ? 0.9 : 0.3", "(t * 12) % 1 < 0.5 ? 0.15 : 0.02",
    ],
)  # fmt: skip
def test_whatever_is_asked_for_the_patch_flashes_three_times_a_second_at_most(scripts, wave):
    body = f"""
      const limit = new it.FlashLimit();
      return Array.from({{ length: 1000 }}, (_, k) => {{ const t = k / 100; return limit.next({wave}, t) }});
    """
    assert flashes(scripts("light.js", body)) <= 3


def test_up_to_three_a_second_the_patch_shows_what_is_asked_for(scripts):
    body = """
      const limit = new it.FlashLimit();
      const wanted = (t) => ((t * 2.9) % 1 < 0.5 ? 1 : 0);
      return Array.from({ length: 900 }, (_, k) => [limit.next(wanted(k / 100), k / 100), wanted(k / 100)]);
    """
    assert all(shown == wanted for shown, wanted in scripts("light.js", body))
