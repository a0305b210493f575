"""Open Sound Control: the bytes of the specification's examples, and python-osc as the reader."""

from __future__ import annotations

import re

import pytest
from hypothesis import given, settings
from pythonosc.osc_message import OscMessage

from cuesuggest.export import FORMATS, Options
from cuesuggest.export.common.desk_map import map_from_text
from cuesuggest.export.common.timing import Timing
from cuesuggest.export.common.told import told
from cuesuggest.export.desk.osc import message, timed_messages
from tests.exported import AUTO, HOSTILE, hostile_song, one, random_song, seeds
from tests.songs import make_cue, make_song, place_at


def test_messages_are_the_bytes_of_the_specification():
    assert message("/oscillator/4/frequency", [440.0]) == bytes.fromhex(
        "2F6F7363696C6C61746F722F342F6672657175656E6379002C66000043DC0000"
    )
    foo = message("/foo", [1000, -1, "hello", 1.234, 5.678])
    assert len(foo) == 40
    assert foo.startswith(bytes.fromhex("2F666F6F000000002C69697366660000000003E8"))
    assert foo.endswith(bytes.fromhex("3F9DF3B640B5B22D"))


def sent(song, **options):
    """(seconds, address, arguments) as python-osc reads the messages."""
    found = []
    for each in timed_messages(song, Options(**options)):
        data = message(each.address, each.arguments)
        assert len(data) % 4 == 0
        read = OscMessage(data)
        found.append((each.at, read.address, read.params))
    return found


def test_no_file_can_be_sent_and_fire_everything_at_once():
    # A bundle (OSC 1.0) whose times lie in the past is done at once by whoever gets it: there is none in any file.
    assert list(FORMATS["osc"].files) == [".osc.txt"]
    text = one(make_song("A8 B8 A8"), "osc", "txt", **AUTO)
    assert b"\0" not in text
    assert not text.startswith((b"#bundle", b"/"))


def test_without_a_map_every_cue_has_an_address_of_its_own():
    found = sent(make_song("A8 B8 A8"), **AUTO)
    assert [(seconds, address) for seconds, address, _ in found] == [
        (2.0, "/cuesuggest/paper-boats/fade-in-1"),
        (17.0, "/cuesuggest/paper-boats/recall-2"),
        (22.0, "/cuesuggest/paper-boats/cut-in-3"),
        (59.5, "/cuesuggest/paper-boats/fade-out-4"),
    ]
    assert found[2][2] == ["3", "cut-in", "B", pytest.approx(0.8), 0.0, "B in at 80"]
    assert found[3][2][3:5] == [-1.0, 3.0]  # no level, three seconds


def test_a_map_sends_looks_and_levels_to_its_own_addresses():
    given_ = map_from_text('[looks.lift]\naddress = "/fans/on"\n[sides.B]\naddress = "/b/level"')
    found = sent(make_song("A8 B8 A8"), map=given_, **AUTO)
    assert [each for each in found if not each[1].startswith("/cuesuggest")] == [
        (17.0, "/fans/on", [1]),
        (22.0, "/b/level", [pytest.approx(0.8), 0.0]),
        (65.0, "/fans/on", [0]),
    ]
    assert [address for _, address, _ in found if address.startswith("/cuesuggest")] == [
        "/cuesuggest/paper-boats/fade-in-1",
        "/cuesuggest/paper-boats/fade-out-4",
    ]


def test_cues_that_wait_for_a_person_are_reminders_even_if_they_are_mapped():
    given_ = map_from_text('[looks.lift]\naddress = "/fans/on"\n[sides.B]\naddress = "/b/level"')
    found = sent(make_song("A8 B8 A8"), map=given_)
    assert {address for _, address, _ in found} == {"/cuesuggest/paper-boats/reminder"}
    assert next(arguments for _, _, arguments in found) == ["1", "By hand 1 fade-in: A up to 50 in 8 beats"]


def test_the_list_says_first_what_it_is():
    head = [line for line in one(make_song(), "osc", "txt", date="2031-05-04").decode().splitlines() if line[0] == "#"]
    assert head[0] == "# Paper Boats"
    assert any("2031-05-04" in line for line in head)
    assert "# Times are seconds from second 0 of the show." in head
    assert any("wait for a person" in line for line in head)


def test_a_held_dark_is_on_and_off():
    song = make_song("A8 B8 A8", events=[("stop", 12, 3.0, 1.0)])
    held = make_cue(3.5, "cut-out", place_at(song.analysis, 12, 3.0), side="B", level=0, trigger="held")
    assert sent(song.replaced(cues=[held]), **AUTO) == [
        (30.75, "/cuesuggest/paper-boats/dark", [1]),
        (31.375, "/cuesuggest/paper-boats/dark", [0]),
    ]


def test_the_list_has_every_message_with_its_second():
    text = one(make_song("A8 B8 A8"), "osc", "txt", **AUTO).decode("ascii")
    lines = [line.split()[:2] for line in text.splitlines() if not line.startswith("#")]
    found = sent(make_song("A8 B8 A8"), **AUTO)
    assert [(float(seconds), address) for seconds, address in lines] == [(at, address) for at, address, _ in found]


def test_cues_that_would_share_an_address_get_two():
    song = make_song("A8")
    cues = [
        make_cue(n, "speed", place_at(song.analysis, n), side="A", id=name)
        for n, name in enumerate(["a/b", "a-b", "A B"], 1)
    ]
    assert len({address for _, address, _ in sent(song.replaced(cues=cues), **AUTO)}) == 3


@given(seeds)
@settings(max_examples=40, deadline=None)
def test_any_song_is_sent_in_time_order(seed):
    song = random_song(seed)
    timing = Timing(2.5)
    found = sent(song, timing=timing)
    times = [seconds for seconds, _, _ in found]
    assert times == sorted(times)
    reminders = [(at, arguments[0]) for at, address, arguments in found if address.endswith("/reminder")]
    expected = [(each.at, f"{each.cue.number:g}") for each in told(song, Options(timing=timing)) if not each.automatic]
    assert sorted(reminders) == sorted(expected)
    assert all(re.fullmatch(r"(/[a-z0-9-]+)+", address) for _, address, _ in found)


@pytest.mark.parametrize("text", HOSTILE.values(), ids=HOSTILE)
def test_any_text_is_a_string_and_never_an_address(text):
    for _, address, arguments in sent(hostile_song(text), **AUTO):
        assert re.fullmatch(r"(/[a-z0-9-]+)+", address)
        assert all(part.isascii() and part.isprintable() for part in arguments if isinstance(part, str))
