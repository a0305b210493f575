"""Listening on the page, and working it without a keyboard: by mouse alone, and by touch alone."""

import pytest

from cuesuggest.song import Song
from tests.reviewing import WIDE, barriers, copied, hosting

FINGER = 44  # px, the least side of what is touched (WCAG 2.5.5)
TABLET = {"viewport": {"width": 820, "height": 1180}, "has_touch": True, "is_mobile": True}
PHONE = {"viewport": {"width": 390, "height": 844}, "has_touch": True, "is_mobile": True}


@pytest.fixture(scope="module")
def lasting(drafted_take, tmp_path_factory):
    """A server for tests that change nothing in the song."""
    document = copied(drafted_take, drafted_take.with_name("evening.wav"), tmp_path_factory.mktemp("lasting"))
    with hosting(document) as running:
        yield running, document


@pytest.fixture
def listening(lasting, opened):
    server, document = lasting
    shown = opened(server)
    shown.press("Escape")
    yield shown, Song.load(document)
    shown.page.close()
    assert shown.problems == []


def bar_of(song, number):
    return next(bar for bar in song.analysis.bars if bar.number == number)


def test_from_here_to_here_goes_round_until_it_is_ended(listening):
    page, song = listening
    first, last = bar_of(song, 3), bar_of(song, 4)
    page.seek(first.start + 0.1)
    page.press("f")
    assert "round from bar 3 to …" in page.text("#state")
    assert page.text("#strip [data-do=loop-here]").endswith("loop to here")
    assert page.page.locator("#chart circle.round").count() == 2  # the sign where it begins
    page.press("ArrowRight", "f")
    assert "round bar 3 to bar 4" in page.text("#state")
    assert page.page.locator("#chart circle.round").count() == 4
    page.press("Space")
    page.page.wait_for_function("end => sound.currentTime > end - 0.5", arg=last.end)
    page.page.wait_for_function("start => sound.currentTime < start + 1", arg=first.start)
    assert page.seconds() > first.start - 0.05
    page.press("Space", "f")
    assert "round" not in page.text("#state")
    assert page.page.locator("#chart .round").count() == 0


def test_what_goes_round_is_drawn_where_it_is(listening):
    page, song = listening
    section = song.analysis.sections[1]
    page.seek(section.start + 0.1)
    page.press("l")
    found = page.page.evaluate(
        """() => {
          const thick = [...document.querySelectorAll('#chart .round.thick')].map((e) => e.getBoundingClientRect());
          const number = (n) => [...document.querySelectorAll('#chart text.number')].find((e) => e.textContent === n);
          return [thick.map((box) => [box.left, box.top]), number('FIRST').getBoundingClientRect().left];
        }""".replace("FIRST", str(section.first_bar))
    )
    (begin, end), number = found
    assert abs(begin[0] - number) < 6
    assert end > begin


def test_the_song_can_be_softer_and_stays_so_on_this_machine(document, opened):
    with hosting(document) as server:
        page = opened(server)
        assert page.page.evaluate("() => sound.volume") == 1
        page.press("Escape", "v", "ArrowLeft", "ArrowLeft")
        page.slip("The song at 50 %")
        assert page.page.evaluate("() => sound.volume") == 0.5
        page.press("w")
        page.slip("8 bars a line")
        page.press("Escape", "ArrowRight")  # keys are the chart's again
        assert page.seconds() > 0
        assert page.problems == []
    with hosting(document) as server:  # at another address, where the browser remembers nothing
        page = opened(server)
        page.press("Escape", "v")
        page.slip("The song at 50 %")
        page.slip("8 bars a line")
        assert page.page.evaluate("() => sound.volume") == 0.5
        assert page.problems == []


@pytest.mark.parametrize("kept", ["", "{", "[]", '{"bars": 8}', '{"bars": 8, "song": 900, "click": 5}', "[" * 9000])
def test_choices_that_cannot_be_read_count_as_none(document, kept):
    file = document.parent / "kept" / "page.json"
    file.parent.mkdir()
    file.write_text(kept)
    with hosting(document) as server:
        assert server.song()["chosen"] == {"bars": 16, "song": 100, "click": 50, "controls": {}, "late": None}
        assert server.ask("POST", "/chosen", {"bars": 4, "song": 20, "click": 70})[0] == 200
        assert server.ask("POST", "/chosen", {"bars": 4, "song": 101, "click": 70})[0] == 422
        assert server.song()["chosen"] == {"bars": 4, "song": 20, "click": 70, "controls": {}, "late": None}


def test_song_and_click_are_louder_and_softer_by_themselves(listening):
    page, song = listening
    page.seek(bar_of(song, 4).start)
    page.press("v", "ArrowUp", "k")
    page.slip("The click at 70 %, on")
    page.page.wait_for_function("() => sound.src.includes('level=70') && sound.readyState > 2")
    page.press("ArrowLeft")
    page.page.wait_for_function("() => sound.src.includes('loud=70') && sound.readyState > 2")
    assert page.page.evaluate("() => sound.volume") == 1  # mixed in already
    page.at(bar_of(song, 4).start, within=0.05)
    page.press("ArrowRight", "ArrowDown", "k")
    page.page.wait_for_function("() => !sound.src.includes('click') && sound.readyState > 2")


def test_bars_are_wider_and_larger_when_asked_for(listening):
    page, _ = listening
    measure = """() => {
      const numbers = [...document.querySelectorAll('#chart text.number')];
      const box = (n) => numbers.find((each) => each.textContent === n).getBoundingClientRect();
      return [box('2').left - box('1').left, box('1').height];
    }"""
    first = before = page.page.evaluate(measure)
    for said in ("8 bars a line", "4 bars a line"):
        page.press("v")
        page.page.click("#slip [data-do=bars-a-line]")
        page.slip(said)
        page.page.wait_for_selector("#chart[aria-busy=false]")
        after = page.page.evaluate(measure)
        assert after[0] > 1.3 * before[0]
        assert after[1] >= before[1]
        assert page.page.evaluate("() => document.documentElement.scrollWidth") <= WIDE["width"]
        page.press("Escape")
        before = after
    page.press("v", "w")
    page.slip("16 bars a line")
    page.page.wait_for_selector("#chart[aria-busy=false]")
    assert page.page.evaluate(measure) == first


def test_the_next_cue_is_counted_down_in_bars_and_then_in_beats(listening):
    page, song = listening
    cue = next(each for each in song.cues if each.place.bar and each.place.bar > 6 and each.anchor == "starts-on")
    coming = f"cue {cue.number:g}, "
    start = bar_of(song, cue.place.bar - 3).start
    page.seek(start + 0.05)
    others = [each for each in song.cues if start < each.place.seconds < cue.place.seconds]
    assert not others
    page.page.wait_for_function("part => document.querySelector('#coming').innerText.includes(part)", arg=coming)
    assert page.text("#coming").startswith("in 3 bars: ")
    page.press("ArrowRight", "ArrowRight")
    page.page.wait_for_function("() => document.querySelector('#coming').innerText.startsWith('in 4 beats: ')")
    page.press("Space")
    page.page.wait_for_function("() => document.querySelector('#coming').innerText.startsWith('in 1 beat: ')")
    page.press("Space")


def test_the_counted_bar_is_larger_than_the_beat(listening):
    page, song = listening
    page.seek(bar_of(song, 2).start + 0.05)
    sizes = page.page.evaluate(
        "() => ['.counted', '.beat'].map((each) => parseFloat(getComputedStyle(document.querySelector(each)).fontSize))"
    )
    assert sizes[0] > 1.3 * sizes[1]
    assert page.text(".counted") == "2"


def test_tapping_starts_the_song_and_takes_no_tap_while_it_is_paused(listening):
    page, _ = listening
    page.press("m", "a")
    page.page.wait_for_function("() => !sound.paused")
    page.press("t", "t")
    page.slip("2 taps")
    page.press("Space")
    page.slip("The song is paused and takes no taps.")
    page.press("t")
    page.told("that tap was not taken")
    page.slip("2 taps")
    page.press("Space")
    page.slip("Tap T on every beat")
    page.press("t")
    page.slip("3 taps")
    page.press("Escape", "Space")


def test_a_key_that_is_held_down_is_one_tap(listening):
    page, _ = listening
    page.press("m", "a")
    page.page.wait_for_function("() => !sound.paused")
    page.page.keyboard.down("t")
    page.page.keyboard.down("t")  # held down, it comes again
    page.page.keyboard.up("t")
    page.slip("1 tap")
    page.press("t")
    page.slip("2 taps")
    page.press("Escape", "Space")


def test_a_tap_counts_as_the_finger_comes_down_and_once(lasting, opened):
    page = opened(lasting[0], **TABLET)
    page.press("Escape", "m", "a")
    page.page.wait_for_function("() => !sound.paused")
    page.page.tap("#slip [data-do=tap-beat]")
    page.slip("1 tap")
    page.page.tap("#slip [data-do=tap-beat]")
    page.slip("2 taps")
    page.page.tap("#strip [data-do=leave]")
    page.page.close()


# Without a keyboard.


def beside(song, number):
    """Where a bar is pressed: beside its number."""
    return f'#chart text.number:text-is("{number}")', {"position": {"x": 4, "y": 4}}


@pytest.mark.parametrize("way", ["mouse", "touch", "a phone"])
def test_an_evening_goes_by_mouse_alone_and_by_touch_alone(server, opened, document, way):
    options = {"mouse": {}, "touch": TABLET, "a phone": PHONE}[way]
    page = opened(server, **options)
    page.page.evaluate("() => { globalThis.keys = 0; addEventListener('keydown', () => { keys += 1 }, true) }")

    def press(selector, **more):
        (page.page.click if way == "mouse" else page.page.tap)(selector, **more)

    before = Song.load(document)
    if "Question" in page.text("#slip"):
        press("#strip [data-do=leave]")
    press("#strip [data-do=play]")
    page.page.wait_for_function("() => sound.currentTime > 0.3 && !sound.paused")
    assert page.text("#strip [data-do=play]").endswith("pause")
    press("#strip [data-do=play]")
    page.page.wait_for_function("() => sound.paused")
    # Decide.
    press("#strip [data-do=cue-on]")
    press("#slip [data-do=accept]")
    page.told("accepted")
    press("#strip [data-do=cue-on]")
    press("#slip [data-do=reject]")
    page.told("rejected")
    # Add, at a bar that is pressed.
    selector, at = beside(before, 3)
    press(selector, **at)
    page.at(bar_of(before, 3).start)
    press("#strip [data-do=add]")
    press("#ask .first")
    page.told("added")
    assert any(cue.status == "added" and cue.place.bar == 3 for cue in Song.load(document).cues)
    # Put the bars right, by the list of all acts.
    press("#strip [data-do=help]")
    press("#help [data-do=shift-later]")
    page.told("later")
    assert bar_of(Song.load(document), 3).start > bar_of(before, 3).start + 0.2
    # Loop, and undo.
    press("#strip [data-do=loop-here]")
    press("#strip [data-do=bar-on]")
    press("#strip [data-do=loop-here]")
    assert page.page.locator("#chart .round").count() > 0
    for _ in range(4):
        page.page.wait_for_selector("#strip [data-do=undo]:enabled")
        press("#strip [data-do=undo]")
    page.page.wait_for_selector("#strip [data-do=undo]:disabled")
    assert Song.load(document).cues == before.cues
    # Decide in the running order.
    press("#strip [data-do=help]")
    press("#help [data-do=list]")
    press(f'#list tr[data-cue="{before.cues[1].id}"]')
    press("#list [data-do=accept]")
    page.page.wait_for_selector("#list tr.chosen.accepted")
    press("#list [data-do=list]")
    # Export.
    press("#strip [data-do=export]")
    press("#export label:has([value='.list.pdf'])")
    with page.page.expect_download() as coming:
        press("#export .first")
    assert coming.value.suggested_filename == "evening.zip"
    page.told("Exported")
    assert page.page.evaluate("() => keys") == 0
    assert page.problems == []


def test_every_command_is_a_button_of_the_list_of_all_acts(listening):
    page, _ = listening
    page.page.click("#strip [data-do=help]")
    named = page.page.evaluate("() => import('/static/keys.js').then((it) => it.COMMANDS.map((each) => each.id))")
    there = page.page.evaluate("() => [...document.querySelectorAll('#help button')].map((each) => each.dataset.do)")
    assert set(named) - set(there) == {"songs", "song-before", "song-after", "sound-check"}  # one song, and no night
    page.page.click("#help [data-do=here-on]")  # of a menu, which then is open
    page.slip("beats and bars: from bar")
    page.page.click("#strip [data-do=leave]")


SPACES = {
    "the chart": ["Escape"],
    "a cue": ["Escape", "ArrowDown", "ArrowDown"],
    "a section's light": ["Escape", "Shift+ArrowRight", "s"],
    "the music": ["Escape", "Shift+ArrowRight", "m"],
    "what is heard": ["Escape", "v"],
    "tapping": ["Escape", "m", "a", "Space"],
    "all acts": ["?"],
    "the running order": ["Escape", "ArrowDown", "r"],
    "a form": ["Escape", "ArrowDown", "ArrowDown", "e"],
    "the export": ["Shift+e"],
}


@pytest.mark.parametrize("options", [PHONE, TABLET], ids=["phone", "tablet"])
def test_what_is_touched_is_large_enough_and_nothing_lies_over_it(lasting, opened, options):
    page = opened(lasting[0], **options)
    for space, keys in SPACES.items():
        page.press(*keys)
        page.page.wait_for_timeout(60)
        found = page.page.evaluate(
            """() => {
              const open = document.querySelector('dialog[open]') ?? document.body;
              const all = [...open.querySelectorAll('button, select, input:not([type=checkbox]), label.check')];
              const shown = all.filter((each) => each.checkVisibility() && !each.closest('dialog:not([open])'));
              const boxes = shown.map((each) => [each.innerText || each.name, each.getBoundingClientRect()]);
              // What has rolled out of its list is not there to be touched.
              const rolled = (each, box) => {
                const list = each.closest('.scroll')?.getBoundingClientRect();
                return list && (box.bottom > list.bottom + 1 || box.top < list.top - 1);
              };
              const over = ([, p], [, q]) =>
                p.left < q.right - 1 && q.left < p.right - 1 && p.top < q.bottom - 1 && q.top < p.bottom - 1;
              const inside = (part) => boxes.filter(([, box], k) => shown[k].closest(part) && !rolled(shown[k], box));
              return {
                many: boxes.length,
                small: boxes.filter(([, box]) => box.width < 43.9 || box.height < 43.9).map(([name]) => name),
                out: boxes.filter(([, box]) => box.left < 0 || box.right > innerWidth + 0.5).map(([name]) => name),
                over: ['#strip', '#slip', 'dialog'].flatMap((part) =>
                  inside(part).flatMap((a, k) =>
                    inside(part).slice(k + 1).filter((b) => over(a, b)).map((b) => [a[0], b[0]]),
                  ),
                ),
              };
            }"""
        )
        assert found["many"] > 3, space
        assert (found["small"], found["out"], found["over"]) == ([], [], []), space
        page.page.keyboard.press("Escape")
        page.page.keyboard.press("Escape")
    page.page.close()


WINDOWS = {
    "1440": {"viewport": WIDE},
    "1280": {"viewport": {"width": 1280, "height": 800}},
    "820": {"viewport": {"width": 820, "height": 1180}},
    "390": {"viewport": {"width": 390, "height": 844}},
    "200 %": {"viewport": {"width": 720, "height": 450}, "device_scale_factor": 2},
    "tablet": TABLET,
    "phone": PHONE,
}


@pytest.mark.parametrize("options", WINDOWS.values(), ids=WINDOWS)
def test_play_back_loop_undo_add_leave_and_export_are_always_on_the_screen(lasting, opened, options):
    page = opened(lasting[0], **options)
    for space in ("the chart", "a cue", "the music", "what is heard", "tapping"):
        page.press(*SPACES[space])
        page.page.wait_for_timeout(60)
        seen = page.page.evaluate(
            """() => ['play', 'bar-back', 'loop-here', 'undo', 'add', 'leave', 'export', 'help'].filter((id) => {
              const box = document.querySelector(`#strip [data-do=${id}]`).getBoundingClientRect();
              const [x, y] = [(box.left + box.right) / 2, (box.top + box.bottom) / 2];
              const top = document.elementFromPoint(x, y);
              return box.right <= innerWidth && box.bottom <= innerHeight && top?.closest(`[data-do=${id}]`);
            }).length"""
        )
        room, wide = page.page.evaluate(
            "() => [document.querySelector('#chart').clientHeight, document.documentElement.scrollWidth]"
        )
        assert seen == 8, space
        assert room > 100, space  # of the chart, beside all that
        assert wide <= options["viewport"]["width"], space
        page.press("Escape", "Escape")
    page.page.close()


def test_on_a_phone_too_the_page_can_be_used_without_seeing(lasting, opened):
    page = opened(lasting[0], **PHONE)
    for space, keys in SPACES.items():
        page.press(*keys)
        page.page.wait_for_timeout(60)
        assert barriers(page.page) == [], space
        page.press("Escape", "Escape")
    page.page.close()
