"""What a machine may play by itself: which parts of a rig a cue moves, and whether all of them may."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from cuesuggest.score.light import is_held
from cuesuggest.score.records import Cue

__all__ = ["parts_moved", "waits_by_rig"]


def parts_moved(cue: Cue, sides: Iterable[str]) -> tuple[str | None, ...]:
    """Return the parts of a rig that a cue moves: names of sides, and None for the button for one-shots.

    What names no side, and a dark that is held, is about all of them: as the button is let go everything comes back.

    Parameters
    ----------
    cue : Cue
    sides : iterable of str
        Names of the rig's sides.

    Returns
    -------
    tuple of (str or None)
        Empty for a call, which people hear.
    """
    if cue.kind == "call":
        return ()
    if cue.kind == "one-shot":
        return (None,) if cue.side is None else (None, cue.side)
    if cue.side is None or is_held(cue):
        return (*sides, None)
    return (cue.side,)


def waits_by_rig(cue: Cue, sides: Mapping[str, bool], one_shot: bool | None) -> bool:
    """Whether a cue waits for a person's go, as its rig has it.

    Parameters
    ----------
    cue : Cue
    sides : mapping
        Whether each side may be played by a machine, by name; a side that is not named may not.
    one_shot : bool or None
        Whether the button for one-shots may; None where the rig has none.

    Returns
    -------
    bool
        True for what other people do, and for a call.
    """
    parts = parts_moved(cue, sides)
    if cue.who != "operator" or not parts:
        return True
    # All of a rig is what the rig has: no button for one-shots keeps nothing back.
    alone = one_shot if one_shot is not None or cue.kind == "one-shot" else True
    return not all(alone if part is None else sides.get(part, False) for part in parts)
