"""The form of a song as a musician writes it down: parts in order, each with a name and perhaps a length."""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["Part", "letter", "letter_index"]


@dataclass(frozen=True, slots=True)
class Part:
    """One part of a form, as it comes round once: "chorus 8 x2" are two parts."""

    name: str
    bars: int | None = None
    """How many bars it is said to last; None if nothing is said."""
    first_words: str = ""
    """The words it starts with, for `Section.first_words`; empty if nothing is said."""

    @property
    def material(self) -> str:
        """What parts of the same material share: the name, whatever its capital letters."""
        return self.name.casefold()


def letter(index: int) -> str:
    """A … Z, then AA, AB …"""
    name = chr(ord("A") + index % 26)
    return name if index < 26 else letter(index // 26 - 1) + name


def letter_index(name: str) -> int | None:
    """Return which letter a name is, as `letter` counts them; None where it is another name."""
    if not (1 <= len(name) <= 2 and name.isascii() and name.isalpha()):
        return None
    low, *high = (ord(each) - ord("A") for each in reversed(name.upper()))
    return low + (26 * (high[0] + 1) if high else 0)
