"""How loud each part of a sound is that an export mixes, as a person says it: "song -6, click off, count -9"."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping

from cuesuggest.errors import CuesuggestError

__all__ = ["MIXED", "gain", "parse_mix"]

MIXED = ("song", "click", "count", "timecode")
_LEAST = -60.0  # dB of full scale; what is to be softer than that is to be off
_PART = re.compile(r"([a-z]+)\s*[ =:]\s*(off|[+-]?\d{1,3}(?:\.\d{1,3})?)(?:\s*db)?", re.IGNORECASE)


def parse_mix(words: str) -> dict[str, float]:
    """Read how loud the parts of a mix are.

    Parameters
    ----------
    words : str
        Parts and their levels with commas between: "song -6, click off".

    Returns
    -------
    dict of str to float
        Decibels of full scale of each part that is named; minus infinity where it is off.

    Raises
    ------
    CuesuggestError
        If it is not written so.
    """
    found: dict[str, float] = {}
    for each in words.split(","):
        part = _PART.fullmatch(each.strip())
        name = part[1].lower() if part else ""
        if part is None or name not in MIXED:
            raise CuesuggestError(
                f"{each.strip()[:40]!r} is no part of a mix. Write {', '.join(MIXED[:-1])} or {MIXED[-1]} and its "
                "level in decibels, with commas between: 'song -6, click off, count -9'."
            )
        level = -math.inf if part[2].lower() == "off" else float(part[2])
        if not (level == -math.inf or _LEAST <= level <= 0.0):
            raise CuesuggestError(
                f"The level of {name} is {level:g} dB; it goes from {_LEAST:g} to 0, the loudest that a file holds, "
                "or is off."
            )
        found[name] = level
    return found


def gain(mix: Mapping[str, float], name: str, usual: float) -> float:
    """Share of full scale at which a part is mixed; `usual` is its level in decibels where nothing is said of it."""
    return float(10 ** (mix.get(name, usual) / 20))
