"""The map file: written to start from, read strictly, counted on from 1 where it is silent."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cuesuggest.errors import CuesuggestError
from cuesuggest.export import export
from cuesuggest.export.common.desk_map import DeskMap, completed, load_map, map_from_text, map_text
from cuesuggest.export.common.options import Options
from tests.exported import AUTO, HOSTILE, hostile_song
from tests.songs import make_song


def test_what_is_silent_counts_from_one():
    whole = completed(make_song(), DeskMap())
    assert {key: each.note for key, each in whole.looks.items()} == {"home": 1, "lift": 2}
    assert {key: (each.midi_channel, each.controller, each.channels) for key, each in whole.sides.items()} == {
        "A": (1, 1, (1,)),
        "B": (2, 2, (2,)),
    }
    assert whole.one_shot_channel == 3


def test_counting_goes_past_what_is_taken():
    given_ = map_from_text("[looks.lift]\nnote = 1\n[sides.B]\nchannels = [1, 2]\ncontroller = 1")
    whole = completed(make_song(), given_)
    assert {key: each.note for key, each in whole.looks.items()} == {"home": 2, "lift": 1}
    assert {key: (each.controller, each.channels) for key, each in whole.sides.items()} == {
        "A": (2, (3,)),
        "B": (1, (1, 2)),
    }


def test_the_map_to_start_from_changes_nothing():
    song = make_song("A8 B8 A8")
    started = map_from_text(map_text(song))
    assert completed(song, started) == completed(song, DeskMap())
    for name in ("midi", "msc", "osc", "text-show"):
        options = AUTO
        assert export(song, name, Options(map=started, **options)) == export(song, name, Options(**options))


def test_its_commented_lines_are_right_when_the_mark_is_taken_away():
    text = map_text(make_song("A8 B8 A8"))
    freed = "\n".join(
        line.removeprefix("# ") if line.startswith(("# cue", "# address", "# [", "# command")) else line
        for line in text.splitlines()
    )
    map_ = map_from_text(freed)
    assert map_.looks["lift"].address == map_.sides["A"].address == "/my/light"
    assert (map_.looks["lift"].cue, map_.cues["fade-in/1"].command) == ("1", "GO")


@pytest.mark.parametrize("text", HOSTILE.values(), ids=HOSTILE)
def test_any_name_can_stand_in_it(text):
    song = make_song("A8 B8")
    looks = tuple(
        replace(look, id=look.id + text.encode("utf-8", "replace").decode(), name=text) for look in song.looks
    )
    cues = tuple(replace(cue, side=text, look=None) for cue in song.cues)
    song = song.replaced(looks=looks, cues=cues, plan=(), title=text)
    assert map_from_text(map_text(song)).looks.keys() == {look.id for look in looks}
    assert export(hostile_song(text), "midi")


WRONG = {
    "[midi": r"mine\.toml, line 1: not valid TOML: ",
    "[light]\na = 1": "'light' means nothing here",
    "[looks.home]\nnoet = 1": "Did you mean note",
    "[looks.home]\nnote = 128": "looks.home.note must be a whole number from 0 to 127, not 128",
    "[looks.home]\nnote = true": "whole number",
    '[looks.home]\naddress = "light"': "must be an address",
    '[looks.home]\naddress = "/light one"': "must be an address",
    '[looks.home]\ncue = "first"': "cue number",
    "[sides.A]\nmidi_channel = 0": "from 1 to 16",
    "[sides.A]\nchannels = [0]": "from 1 to",
    "[msc]\ntimed = 1": "true or false",
    '[cues.x]\ncommand = "JUMP"': "must be one of GO, STOP",
    "[cues.x]\ncommand = [1]": "must be one of GO, STOP",
    "[looks.home]\nnote = 1" + "0" * 40: "looks.home.note is a number of more than 64 bits",
    '[cues.x]\ncommand = "FIRE"': "FIRE needs macro",
    '[cues.x]\ncommand = "SET"\ncontrol = 1': "SET needs control and value",
    "looks = 3": "must be tables",
    "[looks]\nhome = 3": "must be a table",
}


@pytest.mark.parametrize(("text", "says"), WRONG.items())
def test_what_is_wrong_is_said_with_its_place(text, says):
    with pytest.raises(CuesuggestError, match=says):
        map_from_text(text, "mine.toml")


@given(st.text(max_size=80) | st.text('[]="lokside.cu1\n ', max_size=60))
def test_any_text_is_a_map_or_a_clear_error(text):
    try:
        found = map_from_text(text)
    except CuesuggestError:
        return
    assert isinstance(found, DeskMap)


def test_a_file_that_cannot_be_read_is_named(tmp_path):
    with pytest.raises(CuesuggestError, match=r"none\.toml was not found"):
        load_map(tmp_path / "none.toml")
    (tmp_path / "x.toml").write_bytes(b"\xff\xfe\x00")
    with pytest.raises(CuesuggestError, match="UTF-8"):
        load_map(tmp_path / "x.toml")


def test_more_looks_than_notes_is_said():
    song = make_song("A8")
    looks = tuple(replace(song.looks[0], id=f"l{n}") for n in range(130))
    with pytest.raises(CuesuggestError, match="130 looks, more than there are notes"):
        completed(song.replaced(looks=(*song.looks, *looks)[:130], cues=(), plan=()), DeskMap())
