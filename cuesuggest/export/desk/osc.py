"""A timed list of Open Sound Control messages, as text to read.

OSC 1.0 (26 March 2002). There is no file of messages to send: a packet that holds a whole list would have it all done
at once by whoever takes its times, counted from second 0 of the show, for times long gone. What is sent in time goes
from `cuesuggest.play`. Addresses come from the map; without one they are /cuesuggest/SONG/CUE-ID.
"""

from __future__ import annotations

import struct
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from cuesuggest.export.common.desk_map import completed
from cuesuggest.export.common.escape import ascii_line, number_text, osc_part
from cuesuggest.export.common.options import Options, about
from cuesuggest.export.common.timing import before_start
from cuesuggest.export.common.told import Told, remarks_on_hands, told, wording
from cuesuggest.export.desk.automatic import moves

if TYPE_CHECKING:
    from cuesuggest.song import Song

__all__ = ["Argument", "OscSent", "message", "song_address", "timed_messages", "write"]

Argument = str | int | float
_LINE = 200


@dataclass(frozen=True, slots=True)
class OscSent:
    """One message at a moment of the show."""

    at: float
    address: str
    arguments: tuple[Argument, ...]
    what: Literal["look", "one-shot", "level", "dark", "cue", "reminder"]
    """What it is about: a look or one-shot that comes or goes, the level of a side, a cue without an address."""


def write(song: Song, options: Options) -> bytes:
    """Write what `timed_messages` gives as lines of text: seconds, address, arguments.

    Parameters
    ----------
    song : Song
    options : Options

    Returns
    -------
    bytes
        ASCII; lines that start with # are comments. Cues that wait for a person go to the address .../reminder, as
        words.
    """
    lines = [f"# {ascii_line(line)}" for line in _about_lines(song, options)]
    lines += [
        f"{each.at:10.4f}  {each.address}" + "".join(f" {_readable(value)}" for value in each.arguments)
        for each in timed_messages(song, options)
    ]
    return ("\n".join(lines) + "\n").encode("ascii")


def message(address: str, arguments: Sequence[Argument]) -> bytes:
    """Write an OSC message; texts are strings, whole numbers int32, others float32."""
    kinds = "".join("s" if isinstance(each, str) else "i" if isinstance(each, int) else "f" for each in arguments)
    return _string(address) + _string(f",{kinds}") + b"".join(map(_argument, arguments))


def _about_lines(song: Song, options: Options) -> Iterator[str]:
    yield from about(song, options).lines()
    yield "Times are seconds from second 0 of the show."
    yield from remarks_on_hands(song, options)
    yield from before_start(song, options.timing)


def timed_messages(song: Song, options: Options) -> list[OscSent]:
    """Return every message of a song's list.

    Parameters
    ----------
    song : Song
    options : Options

    Returns
    -------
    list of OscSent
        In order of time.
    """
    desk = completed(song, options.map)
    prefix = song_address(song)
    cue_ids = {each.cue.id for each in told(song, options)}
    parts = _unique_parts(sorted(cue_ids))
    mapped: set[str] = set()
    found: list[OscSent] = []
    all_ = moves(song, options)
    for look in all_.looks:
        address = desk.looks[look.look].address if look.look in desk.looks else None
        if address:
            what: Literal["look", "one-shot"] = "one-shot" if look.side is None else "look"
            found += [OscSent(at, address, (on,), what) for at, on in ((look.at, 1), (look.until, 0))]
            mapped.add(look.cue.id)
    for move in all_.levels:
        address = desk.sides[move.side].address
        if address:
            found.append(OscSent(move.start, address, (move.to / 100, move.seconds), "level"))
            mapped.add(move.cue.id)
    for dark in all_.darks:
        mapped.add(dark.cue.id)
        found += [OscSent(at, f"{prefix}/dark", (on,), "dark") for at, on in ((dark.at, 1), (dark.until, 0))]
    for each in told(song, options):
        if not each.automatic:
            found.append(OscSent(each.at, f"{prefix}/reminder", (*_reminder_arguments(each),), "reminder"))
        elif each.cue.id not in mapped:
            found.append(OscSent(each.at, f"{prefix}/{parts[each.cue.id]}", _value_arguments(each), "cue"))
    return sorted(found, key=lambda each: each.at)


def _reminder_arguments(each: Told) -> tuple[Argument, ...]:
    return number_text(each.cue.number), ascii_line(wording(each), _LINE)


def _value_arguments(each: Told) -> tuple[Argument, ...]:
    """What a cue without an address of its own carries: number, kind, side, level 0 to 1, seconds, words."""
    cue = each.cue
    seconds = cue.up_seconds if cue.up_seconds is not None else cue.down_seconds
    level = -1.0 if cue.level is None else cue.level / 100
    words = ascii_line(each.action, _LINE)
    return number_text(cue.number), cue.kind, ascii_line(cue.side or ""), level, float(seconds or 0.0), words


def _unique_parts(ids: list[str]) -> dict[str, str]:
    """Address parts for cue ids; ids that look the same as addresses are numbered."""
    found: dict[str, str] = {}
    for each in ids:
        part = osc_part(each)
        while part in found.values() or part in {"reminder", "dark", "stop"}:
            part += "-x"
        found[each] = part
    return found


def song_address(song: Song) -> str:
    """Return what the addresses of a song begin with."""
    return f"/cuesuggest/{osc_part(song.title)}"


def _string(text: str) -> bytes:
    raw = text.encode("ascii") + b"\0"
    return raw + b"\0" * (-len(raw) % 4)


def _argument(value: Argument) -> bytes:
    if isinstance(value, str):
        return _string(value)
    return struct.pack(">i" if isinstance(value, int) else ">f", value)


def _readable(value: Argument) -> str:
    if isinstance(value, str):
        return '"' + value.replace("\\", "\\\\").replace('"', '\\"') + '"'
    return str(value) if isinstance(value, int) else number_text(value)
