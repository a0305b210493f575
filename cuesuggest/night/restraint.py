"""How much of its biggest look a night may have: it is kept for the songs in which it counts."""

from __future__ import annotations

import math
from collections.abc import Sequence

from cuesuggest.night.song_facts import SongFacts, size_of

__all__ = ["has_biggest", "said_of"]

# Of the songs; what every song has is no event. Our own choice.
_SHARE = 3

# Drive by which a song counts more for every song that comes later: the night should grow. Our own choice.
_LATER = 0.01


def has_biggest(songs: Sequence[SongFacts], most: int) -> tuple[frozenset[int], frozenset[int]]:
    """Return which songs have the night's biggest look, and which of them are to keep it.

    Parameters
    ----------
    songs : sequence of SongFacts
        In the order of the night.
    most : int
        How many may have it; 0 is a third of the songs.
    """
    sizes = [size_of(song.biggest[0].look) if song.biggest else 0 for song in songs]
    top = max(sizes, default=0)
    having = frozenset(index for index, size in enumerate(sizes) if size == top and top)
    count = most or max(1, math.ceil(len(songs) / _SHARE))
    strength = {index: max(use.drive for use in songs[index].biggest) + _LATER * index for index in having}
    # The last song that has it is where the night ends: it keeps it in any case.
    ranked = sorted(having, key=lambda index: (index == max(having), strength[index]), reverse=True)
    return having, frozenset(ranked[:count])


def said_of(song: SongFacts, *, has: bool, keeps: bool, others: Sequence[int]) -> str:
    """Say of a song what it has of the night's biggest look, or gives up for others, which are told by number."""
    if not song.biggest:
        # Looks that somebody made have no place in the order of sizes.
        return "" if song.begins else "No effect light comes in."
    names = {look.id: look.name for look in song.looks}
    where = ", ".join(dict.fromkeys(use.mark for use in song.biggest))
    name = names.get(song.biggest[0].look, song.biggest[0].look)
    if not has:
        return f"Its biggest look is {name}, in {where}: it leaves the night's biggest to others."
    if keeps:
        return f"{name} in {where}: here it counts."
    *first, last = map(str, others)
    told = f"songs {', '.join(first)} and {last}" if first else f"song {last}"
    decided = " You decided on it, so it stays unless you change it." if all(u.decided for u in song.biggest) else ""
    return f"{name} in {where}: keep it for {told}, and stay a look smaller here.{decided}"
