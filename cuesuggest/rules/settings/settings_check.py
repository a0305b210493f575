"""Plain tables into records of settings: what is unknown, missing, of the wrong kind, out of range, at odds.

Not pydantic's work: what is said of a wrong value comes from the key's own metadata, which a table of categories hands
down to its keys, so that its errors would all be taken apart and told anew, with no fewer lines.
"""

from __future__ import annotations

import difflib
from collections.abc import Hashable, Iterator, Mapping
from dataclasses import fields, is_dataclass
from functools import cache
from types import MappingProxyType
from typing import Any, Literal, TypeVar, get_args, get_origin, get_type_hints

from cuesuggest.rules.settings.house import Profile, Rig
from cuesuggest.rules.settings.set_list import SetList

__all__ = [
    "At",
    "SettingError",
    "allowed",
    "build_profile",
    "build_rig",
    "build_set_list",
    "dotted",
    "filled",
    "is_table",
    "kinds",
    "missing",
    "overlaid",
    "refuse_unknown",
]

At = tuple[str | int, ...]
"""Where a value is: the keys from the outside in, and for a list the index in it."""

T = TypeVar("T")


class SettingError(Exception):
    """A wrong key or value.

    Parameters
    ----------
    at : At
        The key.
    problem : str
        What is wrong with it and what is allowed; goes on after the key's name.
    other : (At, str), optional
        Where two keys are at odds: the second one, and the same problem told of it.
    """

    def __init__(self, at: At, problem: str, other: tuple[At, str] | None = None) -> None:
        super().__init__(f"{dotted(at)} {problem}")
        self.told = ((at, problem),) if other is None else ((at, problem), other)


def dotted(at: At) -> str:
    """Write a place as it is said: lists count from 1."""
    return ".".join(str(key + 1) if isinstance(key, int) else key for key in at)


def build_profile(table: Mapping[str, Any]) -> Profile:
    """Build a house style from a whole table.

    Raises
    ------
    SettingError
        If a value is of the wrong kind, out of range, or at odds with another.
    """
    profile = _record(Profile, table, ())
    for lower, higher in (("rest", "subtle"), ("subtle", "lift"), ("lift", "intense")):
        low, high = getattr(profile.drive, lower), getattr(profile.drive, higher)
        if low >= high:
            raise SettingError(
                ("drive", lower),
                f"is {low:g}; it should be below drive.{higher}, which is {high:g}",
                (("drive", higher), f"is {high:g}; it should be above drive.{lower}, which is {low:g}"),
            )
    intense, lit = profile.budget.intense_share, profile.budget.lit_share
    if intense > lit:
        raise SettingError(
            ("budget", "intense_share"),
            f"is {intense:g}; it should be a number from 0 to {lit:g}, the budget.lit_share",
            (("budget", "lit_share"), f"is {lit:g}; it should be a number from {intense:g}, the intense_share, to 1"),
        )
    for category in ("subtle", "lift", "intense"):
        low, high = getattr(profile.looks.cycle_seconds, category)
        if high < 2 * low:
            # Cycles double from one to the next, so a narrower range could hold none at some tempo.
            problem = f"is [{low:g}, {high:g}]; the second must be at least twice the first"
            raise SettingError(("looks", "cycle_seconds", category), problem)
        base, top = getattr(profile.looks.base_level, category), getattr(profile.looks.ceiling, category)
        if base > top:
            raise SettingError(
                ("looks", "base_level", category),
                f"is {base:g}; it should not be above looks.ceiling.{category}, which is {top:g}",
                (
                    ("looks", "ceiling", category),
                    f"is {top:g}; it should not be below looks.base_level.{category}, which is {base:g}",
                ),
            )
    return profile


def build_rig(table: Mapping[str, Any]) -> Rig:
    """Build a rig from a table; keys that may be left out may be missing.

    Raises
    ------
    SettingError
        If a value is of the wrong kind, out of range, or at odds with another.
    """
    rig = _record(Rig, table, ())
    names = [side.name for side in rig.sides]
    for index, each in enumerate(names):
        if each in names[:index]:
            problem = f"is {each!r}, and so is another side's; give every side its own"
            raise SettingError(("sides", index, "name"), problem)
    for at, part in (
        *((("sides", index), side) for index, side in enumerate(rig.sides)),
        (("one_shot",), rig.one_shot),
    ):
        if part is not None and part.source == "laser" and part.by_itself:
            raise SettingError((*at, "by_itself"), "is true; a laser always waits for a person, so it should be false")
    shot = rig.one_shot
    if shot is not None and shot.peak_after > shot.run_seconds:
        problem = f"is {shot.peak_after:g}; it should be a number from 0 to {shot.run_seconds:g} (seconds),"
        raise SettingError(("one_shot", "peak_after"), f"{problem} for after that it is dark again")
    if rig.local.flashes_per_second > 3 and not rig.local.source:
        problem = f"is {rig.local.flashes_per_second:g}; more than 3 needs local.source, the rule that allows it"
        raise SettingError(("local", "flashes_per_second"), problem)
    return rig


def build_set_list(table: Mapping[str, Any]) -> SetList:
    """Build the set list of a night from a table; keys that may be left out may be missing.

    Raises
    ------
    SettingError
        If a value is of the wrong kind or out of range.
    """
    return _record(SetList, table, ())


def refuse_unknown(kind: type, table: Mapping[str, Any], also: tuple[str, ...] = ()) -> None:
    """Find keys that nobody knows, and say which one may be meant.

    Parameters
    ----------
    kind : type
        The record that the table should make.
    table : mapping
        What is in the file.
    also : tuple of str
        Keys that a file may have at its top besides those of the record.

    Raises
    ------
    SettingError
        At the first such key.
    """
    _refuse_unknown(kind, table, (), also, _homes(kind, also))


@cache
def _homes(kind: type, also: tuple[str, ...]) -> Mapping[str, str]:
    """Say of each key that is found in one table only where that is."""
    homes: dict[str, list[str]] = {}
    for other, name in ((Rig, "rig"), (Profile, "house style"), (SetList, "night")):
        for at in _all_keys(other, ()):
            table_name = f"[{dotted(at[:-1])}]" if other is kind else f"a {name}, which is another file"
            homes.setdefault(str(at[-1]), []).append(table_name)
    # A key that many tables have tells nothing about which is meant.
    known = {key: f"belongs in {tables[0]}" for key, tables in homes.items() if len(set(tables)) == 1}
    return known | dict.fromkeys(
        (*kinds(kind), *also), "stands at the top of a file, above the first table in brackets"
    )


def missing(kind: type, table: Mapping[str, Any]) -> list[tuple[At, str]]:
    """List the keys that are not in a table and have to be, each with what it may be."""
    return list(_missing(kind, table, ()))


def overlaid(base: Any, own: Any) -> Any:
    """Put own values over those of a base, table by table; a list replaces a list."""
    if isinstance(base, Mapping) and isinstance(own, Mapping):
        return {**base, **{key: overlaid(base.get(key), value) for key, value in own.items()}}
    return own


def filled(kind: Any, values: Any, base: Any) -> Any:
    """Keep those values that a record has a key for, and take what is not there from a base.

    What the items of a list lack comes from the first item of the base's list.
    """
    record, item = is_table(kind), _item_record(kind)
    if record is not None and isinstance(values, Mapping) and isinstance(base, Mapping):
        hints = kinds(record)
        return {key: filled(hints[key], values[key], base.get(key)) if key in values else base[key] for key in hints}
    if item is not None and isinstance(values, list) and isinstance(base, list):
        return [filled(item, value, base[0]) for value in values]
    return values


def kinds(record: type) -> Mapping[str, Any]:
    """Return the type of every key of a record."""
    return _kinds(record)


@cache
def _kinds(record: Hashable) -> Mapping[str, Any]:
    # Reading the annotations takes longer than all that is done with them.
    return MappingProxyType(get_type_hints(record))


def is_table(kind: Any) -> type | None:
    """Return the record that a table in a file makes, also where the table may be left out; else None."""
    options = [arg for arg in get_args(kind) if arg is not type(None)] if type(None) in get_args(kind) else [kind]
    return options[0] if isinstance(options[0], type) and is_dataclass(options[0]) else None


def _item_record(kind: Any) -> type | None:
    """Return the record that each table of a list of tables makes; else None."""
    return is_table(get_args(kind)[0]) if get_origin(kind) is tuple else None


def _all_keys(kind: type, at: At) -> Iterator[At]:
    for key, each in kinds(kind).items():
        yield (*at, key)
        inner = is_table(each) or _item_record(each)
        if inner is not None:
            yield from _all_keys(inner, (*at, key))


def _refuse_unknown(
    kind: type, table: Mapping[str, Any], at: At, also: tuple[str, ...], homes: Mapping[str, str]
) -> None:
    known = kinds(kind)
    for key, value in table.items():
        if key not in known:
            raise SettingError((*at, key), f"is not a known key; {_hint_for(key, (*also, *known), homes)}")
        record, item = is_table(known[key]), _item_record(known[key])
        if record is not None and isinstance(value, dict):
            _refuse_unknown(record, value, (*at, key), (), homes)
        if item is not None and isinstance(value, list):
            for index, each in enumerate(value):
                if isinstance(each, dict):
                    _refuse_unknown(item, each, (*at, key, index), (), homes)


def _hint_for(key: str, known: tuple[str, ...], homes: Mapping[str, str]) -> str:
    """Say what a key may have been meant to be: one of this table, or one that belongs elsewhere."""
    here = ", ".join(known)
    plain = key.lower().replace("-", "_").replace(" ", "_")
    if plain in homes and plain not in known:
        return f"{plain} {homes[plain]}"
    if near := difflib.get_close_matches(plain, known, 1):
        return f"did you mean {near[0]}? Known here: {here}"
    if near := difflib.get_close_matches(plain, homes, 1, 0.8):
        return f"did you mean {near[0]}? It {homes[near[0]]}"
    return f"known here: {here}"


def _missing(kind: type, table: Mapping[str, Any], at: At, limits: Any = None) -> Iterator[tuple[At, str]]:
    hints = kinds(kind)
    for item in fields(kind):
        each, own = hints[item.name], item.metadata or limits or {}
        record, of_list = is_table(each), _item_record(each)
        value = table.get(item.name)
        if item.name not in table:
            if "otherwise" not in own:
                yield (*at, item.name), allowed(each, own)
        elif record is not None and isinstance(value, Mapping):
            yield from _missing(record, value, (*at, item.name), own)
        elif of_list is not None and isinstance(value, list):
            for index, inner in enumerate(value):
                if isinstance(inner, Mapping):
                    yield from _missing(of_list, inner, (*at, item.name, index))


def _record(kind: type[T], table: Any, at: At, limits: Any = None) -> T:
    """Build a record from a table in which every key is known and none is missing."""
    if not isinstance(table, Mapping):
        raise SettingError(at, f"is {_as_in_file(table)}; it should be {allowed(kind, {})}")
    hints = kinds(kind)
    made: dict[str, Any] = {}
    for item in fields(kind):  # type: ignore[arg-type]
        own = item.metadata or limits or {}
        value = table[item.name] if item.name in table else own["otherwise"]
        value = value(made) if callable(value) else value
        made[item.name] = _value(hints[item.name], value, own, (*at, item.name))
    return kind(**made)


def _value(kind: Any, value: Any, limits: Any, at: At) -> Any:
    """Check one value against its kind and limits."""
    if type(None) in get_args(kind) and value is None:
        return None
    if (record := is_table(kind)) is not None:
        return _record(record, value, at, limits)
    if get_origin(kind) is tuple:
        return _tuple_of(kind, value, limits, at)
    if get_origin(kind) is Literal:
        kind = str
    right = isinstance(value, int | float if kind is float else kind) and (kind is bool or not isinstance(value, bool))
    if (
        not right
        or ("low" in limits and not limits["low"] <= value <= limits["high"])
        or (limits.get("choices") and value not in limits["choices"])
        or (kind is str and not value.strip() and "otherwise" not in limits)
    ):
        raise SettingError(at, f"is {_as_in_file(value)}; it should be {allowed(kind, limits)}")
    return float(value) if kind is float else value


def _tuple_of(kind: Any, value: Any, limits: Any, at: At) -> tuple[Any, ...]:
    item, *rest = get_args(kind)
    length = None if rest == [Ellipsis] else 1 + len(rest)
    if not isinstance(value, list | tuple) or not value or len(value) != (length or len(value)):
        raise SettingError(at, f"is {_as_in_file(value)}; it should be {allowed(kind, limits)}")
    if is_table(item):
        return tuple(_record(item, each, (*at, index)) for index, each in enumerate(value))
    return tuple(_value(item, each, limits, at) for each in value)


def allowed(kind: Any, limits: Any) -> str:
    """Say what a value may be."""
    if limits.get("choices"):
        return "one of " + ", ".join(limits["choices"])
    if _item_record(kind) is not None:
        return "one or more tables, each headed in double brackets"
    if get_origin(kind) is tuple:
        many = "two" if Ellipsis not in get_args(kind) else "a list of"
        whole = "whole numbers" if get_args(kind)[0] is int else "numbers"
        return f"{many} {whole} in brackets, each from {limits['low']:g} to {limits['high']:g} ({limits['unit']})"
    if (record := is_table(kind)) is not None:
        return f"a table with {', '.join(kinds(record))}"
    if "low" in limits:
        what = "a whole number" if kind is int else "a number"
        return f"{what} from {limits['low']:g} to {limits['high']:g} ({limits['unit']})"
    return {str: "a text in quotes", bool: "true or false"}[kind]


def _as_in_file(value: Any) -> str:
    """Write a value as its file has it, short."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, Mapping):
        return "a table"
    if isinstance(value, list | tuple):
        return f"[{', '.join(_as_in_file(each) for each in value)}]"
    text = f"{value}" if not isinstance(value, str) else repr(value)
    return text if len(text) <= 60 else f"{text[:57]}…"
