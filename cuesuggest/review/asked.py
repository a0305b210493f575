"""What the page asks for, read with care: every value of the type and size that is meant, or a sentence why not."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, TypeVar

from cuesuggest.errors import EditError

__all__ = ["Asked"]

_LONGEST_TEXT = 2000  # characters; a note, a name, a line for somebody
_MOST_VALUES = 5000  # cues at once, taps
_Choice = TypeVar("_Choice", bound=str)


class Asked:
    """The values that come with an action of the page."""

    def __init__(self, values: object) -> None:
        if not isinstance(values, Mapping):
            raise EditError("The page sent something that is no action. Open the page again.")
        self._values: Mapping[str, Any] = values

    def has(self, name: str) -> bool:
        """Whether a value was sent at all."""
        return self._values.get(name) is not None

    def text(self, name: str, longest: int = _LONGEST_TEXT) -> str:
        """Return a text; line breaks and runs of space are one space."""
        value = self._values.get(name)
        if not isinstance(value, str):
            raise self._wrong(name, "a text")
        if len(value) > longest:
            raise EditError(f"{name} has {len(value)} characters; at most {longest} are kept. Shorten it.")
        return " ".join("".join(char if char.isprintable() else " " for char in value).split())

    def lines(self, name: str, longest: int = 20_000) -> str:
        """Return a text with its line breaks."""
        value = self._values.get(name)
        if not isinstance(value, str):
            raise self._wrong(name, "a text")
        if len(value) > longest:
            raise EditError(f"{name} has {len(value)} characters; at most {longest} are read. Shorten it.")
        return value

    def number(self, name: str, low: float = -1e6, high: float = 1e6) -> float:
        """Return a number between two limits."""
        value = self._values.get(name)
        if isinstance(value, bool) or not isinstance(value, int | float) or value != value:
            raise self._wrong(name, "a number")
        # Compared as it came: a whole number may have more digits than any float holds.
        if not low <= value <= high:
            shown = f"{value:g}" if abs(value) < 1e15 else "out of all bounds"
            raise EditError(f"{name} is {shown}; it must be {low:g} to {high:g}.")
        return float(value)

    def whole(self, name: str, low: int = -(10**6), high: int = 10**6) -> int:
        """Return a whole number between two limits."""
        value = self.number(name, low, high)
        if value != int(value):
            raise self._wrong(name, "a whole number")
        return int(value)

    def yes(self, name: str) -> bool:
        """Return yes or no; no if nothing was sent."""
        value = self._values.get(name, False)
        if not isinstance(value, bool):
            raise self._wrong(name, "yes or no")
        return value

    def choice(self, name: str, choices: Sequence[_Choice]) -> _Choice:
        """Return one of some words."""
        value = self._values.get(name)
        for each in choices:
            if value == each:
                return each
        raise EditError(f"{name} must be one of {', '.join(choices)}.")

    def texts(self, name: str) -> tuple[str, ...]:
        """Return a list of texts, such as ids."""
        value = self._values.get(name)
        if not isinstance(value, list) or len(value) > _MOST_VALUES or not all(isinstance(each, str) for each in value):
            raise self._wrong(name, "a list of texts")
        return tuple(value)

    def numbers(self, name: str) -> tuple[float, ...]:
        """Return a list of numbers, such as times."""
        value = self._values.get(name)
        if not isinstance(value, list) or len(value) > _MOST_VALUES:
            raise self._wrong(name, "a list of numbers")
        return tuple(Asked({name: each}).number(name) for each in value)

    def pairs(self, name: str, most: int, longest: int) -> dict[str, str]:
        """Return texts by name, at most so many, none longer than so many characters."""
        value = self._values.get(name)
        if not isinstance(value, Mapping) or len(value) > most:
            raise self._wrong(name, "a few texts by name")
        given = {each: Asked({each: text}).text(each, longest) for each, text in value.items() if len(each) <= longest}
        if len(given) < len(value):
            raise self._wrong(name, "a few texts by short names")
        return given

    def records(self, name: str, most: int = _MOST_VALUES) -> tuple[Asked, ...]:
        """Return a list of records, each to be read with the same care."""
        value = self._values.get(name)
        if not isinstance(value, list) or len(value) > most or not all(isinstance(each, Mapping) for each in value):
            raise self._wrong(name, f"a list of at most {most} records")
        return tuple(Asked(each) for each in value)

    def _wrong(self, name: str, kind: str) -> EditError:
        return EditError(f"What the page sent as {name} is not {kind}. Open the page again.")
