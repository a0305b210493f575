"""Open Sound Control: the bytes of the specification's examples, and python-osc as the reader."""

from __future__ import annotations

import re

import pytest
from hypothesis import given, settings
from pythonosc.osc_bundle import OscBundle

from cuesuggest.export import Options
from cuesuggest.export.common.desk_map import map_from_text
from cuesuggest.export.common.timing import Timing
from cuesuggest.export.common.told import told
from cuesuggest.export.desk.osc import bundle, message, time_tag
from tests.exported import HOSTILE, hostile_song, one, random_song, seeds
from tests.songs import make_cue, make_song, place_at

AUTO = {"allow_auto": True}


def test_messages_are_the_bytes_of_the_specification():
    assert message("/oscillator/4/frequency", [440.0]) == bytes.fromhex(
        "2F6F7363696C6C61746F722F342F6672657175656E6379002C66000043DC0000"
    )
    foo = message("/foo", [1000, -1, "hello", 1.234, 5.678])
    assert len(foo) == 40
    assert foo.startswith(bytes.fromhex("2F666F6F000000002C69697366660000000003E8"))
    assert foo.endswith(bytes.fromhex("3F9DF3B640B5B22D"))


def test_a_bundle_is_a_time_tag_and_sized_elements():
    go = message("/cue/go", [7])
    assert go == bytes.fromhex("2F6375652F676F002C69000000000007")
    assert bundle(1.5, [go]) == b"#bundle\0" + bytes.fromhex("0000000180000000 00000010") + go
    assert time_tag(2208988800.0) == bytes.fromhex("83AA7E8000000000")
    assert time_tag(3908988800.5) == bytes.fromhex("E8FE6F8080000000")


def sent(song, **options):
    """(seconds, address, arguments) as python-osc reads them, the head left out."""
    data = one(song, "osc", "osc", **options)
    assert len(data) % 4 == 0
    assert OscBundle.dgram_is_bundle(data)
    outer = OscBundle(data)
    found = []
    for element in outer:
        if isinstance(element, OscBundle):
            seconds = _seconds(element)
            found += [(seconds, each.address, each.params) for each in element]
    return found


def _seconds(element):
    # python-osc tells Unix time; the tag counts from 1900.
    raw = element.dgram[8:16]
    assert element.timestamp == pytest.approx(int.from_bytes(raw, "big") / 2**32 - 2208988800, abs=1e-3)
    return round(int.from_bytes(raw, "big") / 2**32, 4)


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


def test_the_first_message_says_what_the_file_is():
    first = next(iter(OscBundle(one(make_song(), "osc", "osc", date="2031-05-04"))))
    assert first.address == "/cuesuggest/paper-boats/about"
    assert "Paper Boats" in first.params
    assert any("Times are seconds from second 0" in line for line in first.params)
    assert any("2031-05-04" in line for line in first.params)


def test_a_held_dark_is_on_and_off():
    song = make_song("A8 B8 A8", events=[("stop", 12, 3.0, 1.0)])
    held = make_cue(3.5, "cut-out", place_at(song.analysis, 12, 3.0), side="B", level=0, trigger="held")
    assert sent(song.replaced(cues=[held]), **AUTO) == [
        (30.75, "/cuesuggest/paper-boats/dark", [1]),
        (31.375, "/cuesuggest/paper-boats/dark", [0]),
    ]


def test_the_plain_list_has_the_same_messages():
    text = one(make_song("A8 B8 A8"), "osc", "txt", **AUTO).decode("ascii")
    lines = [line.split()[:2] for line in text.splitlines() if not line.startswith("#")]
    found = sent(make_song("A8 B8 A8"), **AUTO)
    assert [(float(seconds), address) for seconds, address in lines] == [(at, address) for at, address, _ in found]


def test_cues_that_would_share_an_address_get_two():
    song = make_song("A8")
    cues = [make_cue(n, "call", place_at(song.analysis, n), id=name) for n, name in enumerate(["a/b", "a-b", "A B"], 1)]
    assert len({address for _, address, _ in sent(song.replaced(cues=cues), **AUTO)}) == 3


@given(seeds)
@settings(max_examples=40, deadline=None)
def test_any_song_is_read_in_time_order(seed):
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
