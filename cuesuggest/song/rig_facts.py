"""What a song's rig says to those who know no rigs: its sides, its hands, its one-shot, how everything goes dark."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from cuesuggest.score.by_itself import parts_moved, waits_by_rig
from cuesuggest.score.light import HANDS
from cuesuggest.score.records import Cue, Source

if TYPE_CHECKING:
    from cuesuggest.song.model import Song

__all__ = [
    "action_gap",
    "all_out",
    "hands_of",
    "kill_button",
    "one_shot_name",
    "one_shot_seconds",
    "side_names",
    "sources_moved",
    "speed_control",
    "waits_on_rig",
]

_RUN_SECONDS = 1.0  # Of a one-shot, where the rig does not say.
_GAP_SECONDS = 1.0  # Between two actions, where the style does not say.


def _rig_sides(song: Song) -> dict[str, dict[str, Any]]:
    """Return what the rig says of its sides, by name."""
    sides = song.rig.values.get("sides")
    tables = [side if isinstance(side, dict) else {"name": side} for side in (sides if isinstance(sides, list) else [])]
    return {str(table.get("name", "")): table for table in tables}


def _rig_one_shot(song: Song) -> dict[str, Any] | None:
    shot = song.rig.values.get("one_shot")
    return shot if isinstance(shot, dict) else None


def waits_on_rig(song: Song, cue: Cue) -> bool:
    """Whether the song's rig has a cue wait for a person's go; a rig that says nothing about it has."""
    sides = {name: table.get("by_itself") is True for name, table in _rig_sides(song).items()}
    shot = _rig_one_shot(song)
    return waits_by_rig(cue, sides, shot.get("by_itself") is True if shot else None)


def sources_moved(song: Song, cue: Cue) -> frozenset[Source]:
    """Return what makes the light that a cue moves; none for a call.

    A part whose source nobody knows is taken for a laser, which is what most care is taken with.
    """
    sides, shot = _rig_sides(song), _rig_one_shot(song)
    look = next((_source(look.source) for look in song.looks if look.id == cue.look), None)
    found = set()
    for part in parts_moved(cue, sides):
        if part is not None:
            found.add(_source(sides.get(part, {}).get("source")))
        elif shot is not None:
            found.add(_source(shot.get("source")))
        elif cue.kind == "one-shot":
            found.add(look or "laser")
    if found and look is not None:
        found.add(look)
    return frozenset(found)


def _source(given: object) -> Source:
    return "lamp" if given == "lamp" else "strobe" if given == "strobe" else "laser"


def all_out(song: Song) -> str:
    """Say which hand puts everything out at once: the kill, else the master, else the sides."""
    rig = song.rig.values
    for key, how in (("kill", "{}, held"), ("master", "{} down")):
        if name := _text(rig.get(key)):
            return how.format(name)
    names = list(_rig_sides(song))
    return f"side{'' if len(names) == 1 else 's'} {' and '.join(names)} down" if names else "all faders down"


def kill_button(song: Song) -> str:
    """Return what is written on the button that holds everything dark; empty if the rig has none."""
    return _text(song.rig.values.get("kill"))


def action_gap(song: Song) -> float:
    """Return how many seconds a hand needs between two actions; more where it is not practised."""
    hands = song.profile.values.get("hands")
    given = hands if isinstance(hands, dict) else {}
    gap, slower = given.get("peak_gap_seconds"), given.get("volunteer_factor")
    seconds = float(gap) if isinstance(gap, int | float) else _GAP_SECONDS
    practised = song.rig.values.get("practised") != "volunteer"
    return seconds if practised or not isinstance(slower, int | float) else seconds * slower


def hands_of(song: Song) -> int:
    """Return how many hands play the song's rig."""
    given = song.rig.values.get("hands")
    return given if isinstance(given, int) else HANDS


def one_shot_name(song: Song) -> str:
    """Return what is written on the button for one-shots; empty if the rig has none."""
    shot = _rig_one_shot(song)
    return _text(shot.get("name")) if shot else ""


def one_shot_seconds(song: Song) -> float:
    """Return how long a one-shot runs."""
    shot = _rig_one_shot(song)
    given = shot.get("run_seconds") if shot else None
    return float(given) if isinstance(given, int | float) and given > 0 else _RUN_SECONDS


def speed_control(song: Song) -> tuple[str, str]:
    """Return how the speed of the motion is set ("bpm", "tap", "watch", "none"), and what is written on the control."""
    speed = song.rig.values.get("speed")
    values = speed if isinstance(speed, dict) else {}
    unit = _text(values.get("unit")) or "none"
    return unit, _text(values.get("name")) or {"tap": "tap button", "watch": "speed fader"}.get(unit, "speed")


def _text(value: object) -> str:
    return value.strip() if isinstance(value, str) else ""


def side_names(song: Song) -> list[str]:
    """Sides that a song's cues play on: in the rig's order, then those it does not name as they come."""
    used = list(dict.fromkeys(cue.side for cue in song.cues if cue.side is not None and cue.status != "rejected"))
    order = list(_rig_sides(song))
    return sorted(used, key=lambda side: order.index(side) if side in order else len(order))
