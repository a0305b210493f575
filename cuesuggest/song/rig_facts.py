"""What a song's rig says to those who know no rigs: its sides, its hands, its one-shot, how everything goes dark."""

from __future__ import annotations

from typing import TYPE_CHECKING

from cuesuggest.score.light import HANDS

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
    "speed_control",
]

_RUN_SECONDS = 1.0  # Of a one-shot, where the rig does not say.
_GAP_SECONDS = 1.0  # Between two actions, where the style does not say.


def _rig_sides(song: Song) -> list[str]:
    sides = song.rig.values.get("sides")
    listed = sides if isinstance(sides, list) else []
    return [str(side.get("name", "") if isinstance(side, dict) else side) for side in listed]


def all_out(song: Song) -> str:
    """Say which hand puts everything out at once: the kill, else the master, else the sides."""
    rig = song.rig.values
    for key, how in (("kill", "{}, held"), ("master", "{} down")):
        if name := _text(rig.get(key)):
            return how.format(name)
    names = _rig_sides(song)
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
    shot = song.rig.values.get("one_shot")
    return _text(shot.get("name")) if isinstance(shot, dict) else ""


def one_shot_seconds(song: Song) -> float:
    """Return how long a one-shot runs."""
    shot = song.rig.values.get("one_shot")
    given = shot.get("run_seconds") if isinstance(shot, dict) else None
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
    order = _rig_sides(song)
    return sorted(used, key=lambda side: order.index(side) if side in order else len(order))
