"""How everything goes dark at once on a rig."""

from __future__ import annotations

from cuesuggest.song.model import Song

__all__ = ["all_out"]


def all_out(song: Song) -> str:
    """Say which hand puts everything out at once: the kill, else the master, else the sides."""
    rig = song.rig.values
    for key, how in (("kill", "{}, held"), ("master", "{} down")):
        name = rig.get(key)
        if isinstance(name, str) and name.strip():
            return how.format(name.strip())
    sides = rig.get("sides")
    listed = sides if isinstance(sides, list) else []
    names = [str(side.get("name", "") if isinstance(side, dict) else side) for side in listed]
    return f"side{'' if len(names) == 1 else 's'} {' and '.join(names)} down" if names else "all faders down"
