"""The page's pure scripts, imported by the browser itself and asked for answers."""

from http.server import SimpleHTTPRequestHandler, ThreadingHTTPServer
from importlib.resources import files
from threading import Thread

import pytest


@pytest.fixture(scope="module")
def scripts(chromium):
    """Run a body of script with a module's exports as `it`."""

    class Quiet(SimpleHTTPRequestHandler):
        def __init__(self, *given):
            super().__init__(*given, directory=str(files("cuesuggest.review") / "static"))

        def log_message(self, *_):
            pass

    server = ThreadingHTTPServer(("127.0.0.1", 0), Quiet)
    Thread(target=server.serve_forever, daemon=True).start()
    page = chromium.new_page()
    page.goto(f"http://127.0.0.1:{server.server_port}/icon.svg")

    def run(module, body, argument=None):
        code = f"async (given) => {{ const it = await import('/{module}'); {body} }}"
        return page.evaluate(code, argument)

    yield run
    page.close()
    server.shutdown()
    server.server_close()


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


def test_a_place_chosen_while_the_sound_loads_is_not_lost(scripts):
    """Between the sound's first data and its event is a moment in which a key may be pressed."""
    body = """
        const sound = Object.assign(new EventTarget(), { src: "", currentTime: 0, paused: true, load() {} });
        const player = new it.Player(sound);
        player.open(1.5, 1);
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


def test_every_key_means_one_thing_in_each_mode(scripts):
    table = scripts("keys.js", "return it.COMMANDS.flatMap((c) => c.keys.map((k) => [c.when ?? '', k]))")
    assert len({tuple(row) for row in table}) == len(table)


def cue(kind, seconds, **more):
    given = {
        "kind": kind, "seconds": seconds, "status": "suggested", "who": "operator", "anchor": "starts-on", "side": "A",
        "level": 50, "up_seconds": None, "down_seconds": None, "series": None, "trigger": "hand",
    }  # fmt: skip
    return {**given, **more}


def level(scripts, cues, times, fast=False):
    body = """
      const followed = it.sides(given[0]); const flashes = it.shots(given[0], given[3]);
      return given[1].map((time) => it.brightness(followed, flashes, time, given[2]));
    """
    return scripts("light.js", body, [cues, times, fast, MUSIC["bars"]])


def test_light_grows_stays_and_goes_as_the_cues_say(scripts):
    cues = [cue("fade-in", 2, up_seconds=2), cue("fade-out", 10, down_seconds=4)]
    assert level(scripts, cues, [1, 2, 3, 4, 9, 12, 14, 20]) == pytest.approx(
        [0, 0, 0.25, 0.5, 0.5, 0.25, 0, 0], abs=1e-3
    )


def test_what_lands_is_there_at_its_place(scripts):
    assert level(scripts, [cue("fade-in", 4, up_seconds=2, anchor="lands-on")], [2, 3, 4]) == pytest.approx(
        [0, 0.25, 0.5], abs=1e-3
    )


def test_a_crossfade_takes_the_other_side_out(scripts):
    cues = [cue("cut-in", 1, level=80), cue("crossfade", 5, side="B", level=40, up_seconds=2, down_seconds=1)]
    assert level(scripts, cues, [4, 7.5]) == pytest.approx([0.8, 0.4], abs=1e-3)


def test_a_held_button_darkens_and_gives_back(scripts):
    cues = [cue("cut-in", 1), cue("cut-out", 3, trigger="held", side=None, down_seconds=1)]
    assert level(scripts, cues, [2.9, 3.5, 4.1]) == pytest.approx([0.5, 0, 0.5], abs=1e-3)


def test_rejected_cues_and_lines_for_others_give_no_light(scripts):
    cues = [cue("cut-in", 1, status="rejected"), cue("cut-in", 1, who="house")]
    assert level(scripts, cues, [2]) == [0]


def test_one_shots_that_come_too_fast_are_left_dark_unless_asked_for(scripts):
    quick = [cue("one-shot", 2 + k / 4, level=100) for k in range(4)]
    calm = [cue("one-shot", 2 + k / 3, level=100) for k in range(4)]
    assert level(scripts, quick, [2.0, 2.5]) == [0, 0]
    assert level(scripts, quick, [2.0, 2.5], fast=True) == [1, 1]
    assert level(scripts, calm, [2.0, 2 + 1 / 3]) == pytest.approx([1, 1])


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
