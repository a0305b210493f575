"""The map file: which looks, one-shots and sides are which notes, controllers, cue numbers, channels or addresses.

No default is that of a particular desk: what the user's file does not say is counted from 1.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from difflib import get_close_matches
from pathlib import Path
from typing import TYPE_CHECKING, Any

from cuesuggest.bounded import parse_toml, read_text
from cuesuggest.errors import CuesuggestError
from cuesuggest.export.common.escape import one_line, shortened, toml_string

if TYPE_CHECKING:
    from cuesuggest.song import Song

__all__ = [
    "COMMANDS",
    "CueMap",
    "DeskMap",
    "LookMap",
    "SideMap",
    "completed",
    "load_map",
    "map_from_text",
    "map_text",
]

# MIDI Show Control 1.0 (RP-002, 25 July 1991), the commands for light and what each carries.
COMMANDS: Mapping[str, tuple[int, str]] = {
    "GO": (0x01, "cue"),
    "STOP": (0x02, "cue"),
    "RESUME": (0x03, "cue"),
    "TIMED_GO": (0x04, "timed cue"),
    "LOAD": (0x05, "cue"),
    "SET": (0x06, "control"),
    "FIRE": (0x07, "macro"),
    "ALL_OFF": (0x08, "nothing"),
    "RESTORE": (0x09, "nothing"),
    "RESET": (0x0A, "nothing"),
    "GO_OFF": (0x0B, "cue"),
}
_CUE_NUMBER = re.compile(r"\d+(\.\d+)*")
# OSC 1.0, "OSC Address Spaces": printable ASCII but for these.
_ADDRESS = re.compile(r"(/[^\x00-\x20#*,/?\[\]{}\x7f-\U0010ffff]+)+")


@dataclass(frozen=True, slots=True)
class LookMap:
    """What a look or one-shot is on the desk."""

    note: int | None = None
    cue: str | None = None
    """Of the desk: the number that brings the look in."""
    address: str | None = None


@dataclass(frozen=True, slots=True)
class SideMap:
    """What a side is on the desk."""

    midi_channel: int | None = None
    """From 1, as people count them."""
    controller: int | None = None
    """Carries the side's level."""
    channels: tuple[int, ...] = ()
    """Of the desk, which carry its level in the text interchange."""
    address: str | None = None


@dataclass(frozen=True, slots=True)
class CueMap:
    """What one cue is in show control, where it is not GO with its number."""

    command: str = "GO"
    cue: str | None = None
    macro: int | None = None
    control: int | None = None
    value: int | None = None


@dataclass(frozen=True, slots=True)
class DeskMap:
    """A map file as read; what it left out has the default."""

    one_shot_channel: int | None = None
    """MIDI channel of looks that play on no side."""
    device: int = 127
    """Of show control: 127 is all devices."""
    command_format: int = 1
    """Of show control: 1 is lighting in general."""
    cue_list: str = ""
    timed: bool = False
    """TIMED_GO, with the time of the fade, instead of GO."""
    add_to_numbers: int = 0
    """Cues of the text interchange are moved by so much, clear of those that the show has."""
    looks: Mapping[str, LookMap] = field(default_factory=dict)
    """By id."""
    sides: Mapping[str, SideMap] = field(default_factory=dict)
    """By name."""
    cues: Mapping[str, CueMap] = field(default_factory=dict)
    """By id."""


def load_map(path: Path) -> DeskMap:
    """Read a map file.

    Raises
    ------
    CuesuggestError
        If it cannot be read or holds something that does not belong there.
    """
    return map_from_text(read_text(path), str(path))


def map_from_text(text: str, where: str = "The map") -> DeskMap:
    """Read the text of a map file.

    Parameters
    ----------
    text : str
        TOML 1.0.
    where : str
        What messages call it.

    Raises
    ------
    CuesuggestError
        As `load_map` does.
    """
    tables = parse_toml(text, where)
    given = {name: _table(f"{where}: {name}", tables.get(name, {}), _KEYS[name]) for name in _TOP if name in tables}
    _no_others(where, tables, [*_TOP, *_NAMED])
    many = {name: _tables(f"{where}: {name}", tables.get(name, {}), _KEYS[name]) for name in _NAMED}
    midi, msc, show = (given.get(name, {}) for name in _TOP)
    return DeskMap(
        **midi,
        **msc,
        **show,
        looks={key: LookMap(**each) for key, each in many["looks"].items()},
        sides={key: SideMap(**each) for key, each in many["sides"].items()},
        cues={key: _cue_map(f"{where}: cues.{key}", each) for key, each in many["cues"].items()},
    )


def completed(song: Song, given: DeskMap) -> DeskMap:
    """Give every look and side of a song what the map left open, counting from 1 past what is taken.

    Parameters
    ----------
    song : Song
    given : DeskMap

    Returns
    -------
    DeskMap
        With a note for each look; a MIDI channel, a controller and a channel for each side.

    Raises
    ------
    CuesuggestError
        If there are more looks than notes, or more sides than MIDI channels.
    """
    # Options name this module, and looking into the registry loads no documents.
    from cuesuggest.song.rig_facts import side_names

    looks = [look.id for look in song.looks]
    sides = side_names(song)
    notes = _counted(looks, {key: each.note for key, each in given.looks.items()}, 127, "looks", "notes")
    midi = _counted(sides, {key: each.midi_channel for key, each in given.sides.items()}, 16, "sides", "MIDI channels")
    levels = _counted(sides, {key: each.controller for key, each in given.sides.items()}, 119, "sides", "controllers")
    taken = {channel for each in given.sides.values() for channel in each.channels}
    free = (number for number in range(1, 10**6) if number not in taken)
    channels = {side: given.sides.get(side, SideMap()).channels or (next(free),) for side in sides}
    return DeskMap(
        one_shot_channel=given.one_shot_channel or min(len(sides) + 1, 16),
        device=given.device,
        command_format=given.command_format,
        cue_list=given.cue_list,
        timed=given.timed,
        add_to_numbers=given.add_to_numbers,
        looks={
            key: LookMap(notes[key], *((each.cue, each.address) if (each := given.looks.get(key)) else (None, None)))
            for key in looks
        },
        sides={
            key: SideMap(midi[key], levels[key], channels[key], given.sides.get(key, SideMap()).address)
            for key in sides
        },
        cues=given.cues,
    )


def map_text(song: Song) -> str:
    """Write a map to start from: every look and side with its default, every other key commented out.

    Parameters
    ----------
    song : Song

    Returns
    -------
    str
        TOML with comments; `map_from_text` reads it.
    """
    whole = completed(song, DeskMap())
    # Most of it is comments in columns: a builder of TOML would take a call for each line.
    lines = [
        f"# Map for {_remark(song.title) or 'a song'}: what its looks, one-shots and sides are on your desk.",
        "# Numbers here simply count from 1. Put in your own; a line that you delete counts from 1 again.",
        "# Use it with: cuesuggest export DOC --to midi --map THIS_FILE",
        "",
        "[midi]",
        f"one_shot_channel = {whole.one_shot_channel}  # 1 to 16, for one-shots, which play on no side",
        "",
        "[msc]  # MIDI Show Control",
        "device = 127         # 0 to 111 is one device, 112 to 126 a group, 127 all",
        "command_format = 1   # 1 is lighting, 5 lasers, as your desk expects it",
        'cue_list = ""        # number of the cue list, such as "1"; empty where there is one only',
        "timed = false        # true sends the time of each fade with it (TIMED_GO)",
        "",
        "[text_show]",
        "add_to_numbers = 0   # 100 makes cue 3 cue 103, clear of the cues that the show has",
    ]
    for look in song.looks:
        lines += [
            "",
            f"[looks.{toml_string(look.id)}]  # {_remark(look.name)} ({look.category}, {look.source})",
            f"note = {whole.looks[look.id].note}             # 0 to 127, held as long as the look is on",
            '# cue = "1"          # the cue of your desk that brings it in, for show control',
            '# address = "/my/light"  # OSC: sent with 1 as the look comes, with 0 as it goes',
        ]
    for side, each in whole.sides.items():
        lines += [
            "",
            f"[sides.{toml_string(side)}]",
            f"midi_channel = {each.midi_channel}     # 1 to 16",
            f"controller = {each.controller}       # 0 to 119, carries the level",
            f"channels = {list(each.channels)}       # of the desk, for text-show",
            '# address = "/my/light"  # OSC: sent with the level, 0 to 1, and the seconds it takes',
        ]
    lines += [
        "",
        "# Show control sends GO and the cue's number. Where a cue needs something else, name it by its id:",
        f"# [cues.{toml_string(song.cues[0].id if song.cues else 'ID')}]",
        f'# command = "GO"     # or {", ".join(name for name in COMMANDS if name != "GO")}',
        '# cue = "1"          # macro = 5 for FIRE; control = 10 and value = 500 for SET',
    ]
    return "\n".join(lines) + "\n"


def _remark(text: str) -> str:
    return shortened(one_line(text), 80)


def _shown(value: Any) -> str:
    return shortened(repr(value), 60)


_Check = Callable[[str, Any], Any]


def _whole(low: int, high: int) -> _Check:
    def check(where: str, value: Any) -> int:
        if not isinstance(value, int) or isinstance(value, bool) or not low <= value <= high:
            raise CuesuggestError(f"{where} must be a whole number from {low} to {high}, not {_shown(value)}.")
        return value

    return check


def _yes_or_no(where: str, value: Any) -> bool:
    if not isinstance(value, bool):
        raise CuesuggestError(f"{where} must be true or false, not {_shown(value)}. Correct it.")
    return value


def _number(where: str, value: Any) -> str:
    text = format(value, "g") if isinstance(value, int | float) and not isinstance(value, bool) else value
    if not isinstance(text, str) or not _CUE_NUMBER.fullmatch(text) or len(text) > 20:
        raise CuesuggestError(f'{where} must be a cue number such as "12.5", not {_shown(value)}. Correct it.')
    return text


def _number_or_none(where: str, value: Any) -> str:
    return "" if value == "" else _number(where, value)


def _address(where: str, value: Any) -> str:
    if not isinstance(value, str) or not _ADDRESS.fullmatch(value):
        raise CuesuggestError(
            f'{where} must be an address such as "/light/1", without spaces and # * , ? [ ] {{ }}, not {_shown(value)}.'
        )
    return value


def _channels(where: str, value: Any) -> tuple[int, ...]:
    values = value if isinstance(value, list) else [value]
    return tuple(_whole(1, 999_999)(where, each) for each in values)


def _command(where: str, value: Any) -> str:
    name = value.upper().replace(" ", "_") if isinstance(value, str) else value
    if not isinstance(name, str) or name not in COMMANDS:
        raise CuesuggestError(f"{where} must be one of {', '.join(COMMANDS)}, not {_shown(value)}. Correct it.")
    return name


_TOP = ("midi", "msc", "text_show")
_NAMED = ("looks", "sides", "cues")
_KEYS: dict[str, dict[str, _Check]] = {
    "midi": {"one_shot_channel": _whole(1, 16)},
    "msc": {
        "device": _whole(0, 127),
        "command_format": _whole(1, 127),
        "cue_list": _number_or_none,
        "timed": _yes_or_no,
    },
    "text_show": {"add_to_numbers": _whole(0, 9000)},
    "looks": {"note": _whole(0, 127), "cue": _number, "address": _address},
    "sides": {
        "midi_channel": _whole(1, 16),
        "controller": _whole(0, 119),
        "channels": _channels,
        "address": _address,
    },
    "cues": {
        "command": _command,
        "cue": _number,
        "macro": _whole(0, 127),
        "control": _whole(0, 16383),
        "value": _whole(0, 16383),
    },
}


def _table(where: str, table: Any, keys: Mapping[str, _Check]) -> dict[str, Any]:
    if not isinstance(table, dict):
        raise CuesuggestError(f"{where} must be a table with keys of its own, not {_shown(table)}. Correct it.")
    _no_others(where, table, keys)
    return {key: keys[key](f"{where}.{key}", value) for key, value in table.items()}


def _tables(where: str, tables: Any, keys: Mapping[str, _Check]) -> dict[str, dict[str, Any]]:
    if not isinstance(tables, dict):
        raise CuesuggestError(f"{where} must be tables such as [looks.home], not {_shown(tables)}. Correct it.")
    return {name: _table(f"{where}.{name}", table, keys) for name, table in tables.items()}


def _no_others(where: str, table: Mapping[str, Any], keys: Iterable[str]) -> None:
    known = list(keys)
    for key in table:
        if key not in known:
            close = get_close_matches(key, known, 1)
            meant = f"Did you mean {close[0]}?" if close else f"Known are: {', '.join(known)}."
            raise CuesuggestError(f"{where}: {_shown(key)} means nothing here. {meant}")


def _cue_map(where: str, given: dict[str, Any]) -> CueMap:
    cue = CueMap(**given)
    needs = {"macro": ("macro",), "control": ("control", "value")}.get(COMMANDS[cue.command][1], ())
    for name in needs:
        if getattr(cue, name) is None:
            raise CuesuggestError(f"{where}: {cue.command} needs {' and '.join(needs)}. Add it.")
    return cue


def _counted(
    names: Iterable[str], given: Mapping[str, int | None], most: int, things: str, numbers: str
) -> dict[str, int]:
    """Numbers as given, the others counted from 1 past those."""
    names = list(names)
    taken = {number for number in given.values() if number is not None}
    free = (number for number in range(1, most + 1) if number not in taken)
    found: dict[str, int] = {}
    for name in names:
        number = given.get(name)
        found[name] = next(free, 0) if number is None else number
        if number is None and not found[name]:
            raise CuesuggestError(
                f"The song has {len(names)} {things}, more than there are {numbers} ({most}). "
                "Give some the same number in a map file (--map)."
            )
    return found
