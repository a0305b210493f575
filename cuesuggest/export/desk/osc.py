"""A timed list of Open Sound Control messages: one bundle in a file, and the same as text to read.

OSC 1.0 (26 March 2002). Time tags are relative: second 0 is the start of the show, not of the year 1900; whoever
plays the file adds its own now. Addresses come from the map; without one they are /cuesuggest/SONG/CUE-ID.
"""

from __future__ import annotations

import struct
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from cuesuggest.export.common.desk_map import completed
from cuesuggest.export.common.escape import ascii_line, number_text, osc_part
from cuesuggest.export.common.options import Options, about
from cuesuggest.export.common.timing import before_start
from cuesuggest.export.common.told import Told, told, wording
from cuesuggest.export.desk.automatic import moves

if TYPE_CHECKING:
    from cuesuggest.song import Song

__all__ = ["Argument", "bundle", "message", "time_tag", "write_bundle", "write_list"]

Argument = str | int | float
_LINE = 200


@dataclass(frozen=True, slots=True)
class _Sent:
    """One message at a moment of the show."""

    at: float
    address: str
    arguments: tuple[Argument, ...]


def write_bundle(song: Song, options: Options) -> bytes:
    """Write a song's list as one bundle that holds a bundle for every moment.

    Parameters
    ----------
    song : Song
    options : Options
        Without `allow_auto`, cues that wait for a person go to the address .../reminder, as words.

    Returns
    -------
    bytes
        One OSC packet; its first message, at second 0, tells what it is.
    """
    head = message(
        f"/cuesuggest/{_song_part(song)}/about", [ascii_line(line, _LINE) for line in _about_lines(song, options)]
    )
    moments: dict[float, list[bytes]] = {}
    for each in _sent_messages(song, options):
        moments.setdefault(each.at, []).append(message(each.address, each.arguments))
    return bundle(0.0, [head, *(bundle(at, found) for at, found in moments.items())])


def write_list(song: Song, options: Options) -> bytes:
    """Write the messages of `write_bundle` as lines of text: seconds, address, arguments.

    Parameters
    ----------
    song : Song
    options : Options

    Returns
    -------
    bytes
        ASCII; lines that start with # are comments.
    """
    lines = [f"# {ascii_line(line)}" for line in _about_lines(song, options)]
    lines += [
        f"{each.at:10.4f}  {each.address}" + "".join(f" {_readable(value)}" for value in each.arguments)
        for each in _sent_messages(song, options)
    ]
    return ("\n".join(lines) + "\n").encode("ascii")


def message(address: str, arguments: Sequence[Argument]) -> bytes:
    """Write an OSC message; texts are strings, whole numbers int32, others float32."""
    kinds = "".join("s" if isinstance(each, str) else "i" if isinstance(each, int) else "f" for each in arguments)
    return _string(address) + _string(f",{kinds}") + b"".join(map(_argument, arguments))


def bundle(seconds: float, elements: Sequence[bytes]) -> bytes:
    """Write an OSC bundle at a relative time."""
    return b"#bundle\0" + time_tag(seconds) + b"".join(struct.pack(">i", len(each)) + each for each in elements)


def time_tag(seconds: float) -> bytes:
    """Write a time tag: whole seconds, then the fraction in 2^-32 s.

    A fraction of 1 with no seconds would mean "immediately"; times here are rounded to 0.1 ms and never meet it.
    """
    ticks = round(seconds * 2**32)
    return struct.pack(">II", ticks >> 32, ticks & 0xFFFFFFFF)


def _about_lines(song: Song, options: Options) -> Iterator[str]:
    yield from about(song, options).lines()
    yield "Times are seconds from second 0 of the show; time tags count the same seconds."
    if not options.allow_auto:
        yield "Cues that wait for a person are reminders: words for a screen, no light moves by them."
    yield from before_start(song, options.timing)


def _sent_messages(song: Song, options: Options) -> list[_Sent]:
    desk = completed(song, options.map)
    prefix = f"/cuesuggest/{_song_part(song)}"
    cue_ids = {each.cue.id for each in told(song, options)}
    parts = _unique_parts(sorted(cue_ids))
    mapped: set[str] = set()
    found: list[_Sent] = []
    all_ = moves(song, options)
    for look in all_.looks:
        address = desk.looks[look.look].address if look.look in desk.looks else None
        if address:
            found += [_Sent(look.at, address, (1,)), _Sent(look.until, address, (0,))]
            mapped.add(look.cue.id)
    for move in all_.levels:
        address = desk.sides[move.side].address
        if address:
            found.append(_Sent(move.start, address, (move.to / 100, move.seconds)))
            mapped.add(move.cue.id)
    for dark in all_.darks:
        mapped.add(dark.cue.id)
        found += [_Sent(at, f"{prefix}/dark", (on,)) for at, on in ((dark.at, 1), (dark.until, 0))]
    for each in told(song, options):
        if not each.automatic:
            found.append(_Sent(each.at, f"{prefix}/reminder", (*_reminder_arguments(each),)))
        elif each.cue.id not in mapped:
            found.append(_Sent(each.at, f"{prefix}/{parts[each.cue.id]}", _value_arguments(each)))
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
        while part in found.values() or part in {"about", "reminder", "dark"}:
            part += "-x"
        found[each] = part
    return found


def _song_part(song: Song) -> str:
    return osc_part(song.title)


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
