"""A list as show control in a MIDI file: GO and its kin as system exclusive messages, in time with the song.

MIDI Show Control 1.0 (RP-002, 25 July 1991). Device and format numbers and the byte order of SET and TIMED_GO are
from memory, the rest was read in the standard. A desk that knows only the smallest set of it takes GO, STOP, RESUME.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from mido import Message

from cuesuggest.export.common.desk_map import COMMANDS, CueMap, DeskMap, completed
from cuesuggest.export.common.escape import number_text
from cuesuggest.export.common.options import EXPERIMENTAL, Options
from cuesuggest.export.common.timing import Rate, Timing
from cuesuggest.export.desk.automatic import acts, moves
from cuesuggest.export.desk.midi_file import Timed, cue_events, cue_remarks, midi_bytes
from cuesuggest.score.records import ENTRANCES, Cue

if TYPE_CHECKING:
    from cuesuggest.song import Song

__all__ = ["RATE_CODES", "control_message", "cue_data", "time_data", "write"]

# MIDI time code and show control: the two bits before the hours.
RATE_CODES = {"24": 0, "25": 1, "29.97df": 2, "29.97": 3, "30": 3}
_LEAVES = {"fade-out", "cut-out"}
_GOES = {*ENTRANCES, "one-shot"}


def write(song: Song, options: Options) -> bytes:
    """Write a song's list as show control in a MIDI file.

    Parameters
    ----------
    song : Song
    options : Options
        Without `allow_auto`, cues that wait for a person are cue points in words, and no more.

    Returns
    -------
    bytes
    """
    tracks = [("Cues", cue_events(song, options, "cue_marker")), ("Show control", _messages(song, options))]
    said = [EXPERIMENTAL, *cue_remarks(song, options)]
    return midi_bytes(song, options, tracks, cue_events(song, options, "marker"), said)


def control_message(desk: DeskMap, command: str, data: bytes = b"") -> bytes:
    """Write one message of show control, F0 and F7 left out.

    Parameters
    ----------
    desk : DeskMap
        Has the device and the command format.
    command : str
        One of `COMMANDS`.
    data : bytes
        What the command carries.

    Returns
    -------
    bytes
    """
    return bytes([0x7F, desk.device, 0x02, desk.command_format, COMMANDS[command][0]]) + data


def cue_data(number: str, cue_list: str = "", path: str = "") -> bytes:
    """Write a cue number, and its list and path where they are named; fields are parted by a zero byte."""
    fields = [number, cue_list, path]
    while len(fields) > 1 and not fields[-1]:
        fields.pop()
    return b"\0".join(field.encode("ascii") for field in fields)


def time_data(seconds: float, rate: Rate) -> bytes:
    """Write a length of time: hours with the rate, minutes, seconds, frames and hundredths of a frame."""
    hundredths = int(seconds * rate.labels * 100 + 0.5)
    frames, hundredth = divmod(hundredths, 100)
    whole, frame = divmod(frames, rate.labels)
    hours = whole // 3600 | RATE_CODES[rate.name] << 5
    return bytes([hours, whole // 60 % 60, whole % 60, frame, hundredth])


def _messages(song: Song, options: Options) -> Iterator[Timed]:
    desk = completed(song, options.map)
    for at, cue in acts(song, options):
        if cue.kind != "call" and cue.trigger != "held":
            yield at, 1, _sysex(_command(cue, desk, options.timing))
    for dark in moves(song, options).darks:
        yield dark.at, 0, _sysex(control_message(desk, "ALL_OFF"))
        yield dark.until, 2, _sysex(control_message(desk, "RESTORE"))


def _command(cue: Cue, desk: DeskMap, timing: Timing) -> bytes:
    given = desk.cues.get(cue.id) or _by_look(cue, desk) or CueMap()
    carries = COMMANDS[given.command][1]
    number = cue_data(given.cue or number_text(cue.number), desk.cue_list)
    seconds = cue.up_seconds if cue.up_seconds is not None else cue.down_seconds
    if given.command == "GO" and desk.timed and seconds is not None:
        return control_message(desk, "TIMED_GO", time_data(seconds, timing.rate) + number)
    if carries == "timed cue":
        return control_message(desk, given.command, time_data(seconds or 0.0, timing.rate) + number)
    if carries == "control":
        data = _low_first(given.control or 0) + _low_first(given.value or 0)
        return control_message(desk, given.command, data)
    if carries == "macro":
        return control_message(desk, given.command, bytes([given.macro or 0]))
    return control_message(desk, given.command, number if carries == "cue" else b"")


def _by_look(cue: Cue, desk: DeskMap) -> CueMap | None:
    """What a cue is on a desk where its look has a number of its own."""
    look = desk.looks.get(cue.look or "")
    if look is None or look.cue is None:
        return None
    if cue.kind == "recall":
        return CueMap("LOAD", look.cue)
    if cue.kind in _LEAVES:
        return CueMap("GO_OFF", look.cue)
    return CueMap("GO", look.cue) if cue.kind in _GOES else None


def _low_first(value: int) -> bytes:
    return bytes([value & 0x7F, value >> 7])


def _sysex(data: bytes) -> Message:
    return Message("sysex", data=data)
