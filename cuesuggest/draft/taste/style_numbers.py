"""Single numbers of a house style by their dotted keys: read, bounded, and changed."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import fields
from typing import Any

from cuesuggest.errors import ProfileError
from cuesuggest.rules import Profile, profile_from_values
from cuesuggest.rules.settings.settings_check import is_table, kinds

__all__ = ["bounded_number", "number_of", "place_of", "same_numbers", "styled", "unit_of"]


def number_of(style: Profile, key: str) -> float:
    """Return the number of a style under a key such as "fades.out_beats.lift"."""
    value: Any = style
    for name in key.split("."):
        value = getattr(value, name)
    return float(value)


def unit_of(key: str) -> str:
    """Return the unit of a number, as house styles tell it."""
    return str(_limits(key)["unit"])


def bounded_number(key: str, value: float) -> float:
    """Return the allowed number that is nearest to a value; a whole one where only those are allowed."""
    limits, kind = _limits(key), _kind(key)
    bound = min(max(value, float(limits["low"])), float(limits["high"]))
    return float(round(bound)) if kind is int else round(bound, 4)


def styled(base: Profile, numbers: Mapping[str, float]) -> Profile | None:
    """Return a style with some numbers changed; None where they do not go together with the others."""
    values = base.values()
    for key, value in numbers.items():
        *tables, last = key.split(".")
        table = values
        for name in tables:
            table = table[name]
        table[last] = int(value) if _kind(key) is int else value
    try:
        return profile_from_values(values)
    except ProfileError:
        return None


def same_numbers(one: Profile, other: Profile) -> bool:
    """Whether two styles draft alike, whatever they are called."""
    told = {"name", "about"}
    first, second = one.values(), other.values()
    return all(first[key] == second[key] for key in first if key not in told)


def place_of(key: str) -> tuple[int, ...]:
    """Return where a number stands in a complete style, which is the order for reading."""
    return tuple([field.name for field in fields(record)].index(name) for record, name in _way(key))


def _kind(key: str) -> Any:
    record, name = list(_way(key))[-1]
    return kinds(record)[name]


def _limits(key: str) -> Mapping[str, Any]:
    """Return what is said of a number, or of the table that has it for every category."""
    told = [next(each.metadata for each in fields(record) if each.name == name) for record, name in _way(key)]
    return next(each for each in reversed(told) if each)


def _way(key: str) -> Iterator[tuple[Any, str]]:
    """Yield each record on the way to a number, from the whole style on, with the name that leads on in it."""
    record: Any = Profile
    for name in key.split("."):
        yield record, name
        record = is_table(kinds(record)[name])
