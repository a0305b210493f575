"""House styles and rigs as text: the list of them, every value of one, the table in docs/house-styles.md.

Units, ranges and reasons come from the metadata of the records, so they are written down once.
"""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, fields, is_dataclass
from typing import Any, get_args

from cuesuggest.rules.settings.house import Profile, Rig
from cuesuggest.rules.settings.settings_check import is_table, kinds

__all__ = ["list_text", "settings_table", "settings_text"]

# Columns. A longer value has lines of its own, and its explanation is below it.
_LONGEST_VALUE = 20


def list_text(records: Sequence[Profile | Rig], width: int) -> str:
    """Write the names, each with what it is for."""
    column = max(len(record.name) for record in records) + 4
    return "".join(_wrapped(f"  {record.name}", column, record.about, width) for record in records)


def settings_text(record: Profile | Rig, width: int) -> str:
    """Write every value of a house style or rig, with its unit, what it may be, and why it is there.

    Parameters
    ----------
    record : Profile or Rig
        What to write.
    width : int
        Columns; long explanations are wrapped.
    """
    rows = list(_rows(record, 0))
    values = [len(row.value) for row in rows if len(row.value) <= _LONGEST_VALUE]
    keys = max(2 * row.depth + len(row.key) for row in rows) + 2
    text = ""
    for row in rows:
        if row.head:
            text += "\n" + _wrapped(row.key, len(row.key) + 2, row.why, width)
            continue
        column, start = keys + max(values) + 2, f"{'  ' * row.depth}{row.key}".ljust(keys)
        if len(row.value) <= _LONGEST_VALUE:
            text += _wrapped(start + row.value, column, row.why, width)
        else:
            text += _wrapped(start, keys, row.value, width) + _wrapped("", column, row.why, width)
    return text


def settings_table(profiles: Sequence[Profile]) -> str:
    """Write the values of several styles side by side as a Markdown table, with unit, range and reason."""
    lines = [
        f"| key | {' | '.join(f'`{profile.name}`' for profile in profiles)} | unit, range | why |",
        f"| --- |{' --- |' * len(profiles)} --- | --- |",
    ]
    plain = [profile.values() for profile in profiles]
    for key, kind in kinds(Profile).items():
        limits = next(item.metadata for item in fields(Profile) if item.name == key)
        if limits and is_table(kind):
            lines.append(_table_row((key,), kind, limits, plain))
        elif not limits:
            inner = kinds(kind)
            lines += [_table_row((key, item.name), inner[item.name], item.metadata, plain) for item in fields(kind)]
    return "\n".join(lines) + "\n"


@dataclass(frozen=True, slots=True)
class _Row:
    """One line: a key with its value and what it is about, or the head of a table."""

    key: str
    value: str
    why: str
    depth: int
    head: bool = False


def _rows(record: Any, depth: int, *, told: bool = True) -> Iterator[_Row]:
    """Go through a record: its own values first, then its tables. Only where `told` is it explained."""
    hints, tables = kinds(type(record)), []
    for item in fields(record):
        value = getattr(record, item.name)
        if is_dataclass(value) or (isinstance(value, tuple) and is_dataclass(value[0])):
            tables.append((item, value))
        else:
            about = f"{_range(hints[item.name], item.metadata)}: {item.metadata['why']}" if told else ""
            yield _Row(item.name, _toml(value), about, depth)
    for item, value in tables:
        if isinstance(value, tuple):
            for index, each in enumerate(value):
                about = f"{index + 1} of {len(value)}" + (f": {item.metadata['why']}" if index == 0 else "")
                yield _Row(f"[[{item.name}]]", "", about, depth, head=True)
                yield from _rows(each, depth + 1, told=index == 0)
        elif item.metadata and "unit" in item.metadata:
            # One kind of number for every category: said once, above them.
            about = f"{_range(float, item.metadata)}: {item.metadata['why']}"
            yield _Row(f"[{item.name}]" if depth == 0 else item.name, "", about, depth, head=depth == 0)
            yield from _rows(value, depth + 1, told=False)
        else:
            about = (type(value).__doc__ or "").split("\n")[0]
            yield _Row(f"[{item.name}]", "", about, depth, head=True)
            yield from _rows(value, depth + 1)


def _table_row(at: tuple[str, ...], kind: Any, limits: Mapping[str, Any], plain: list[Any]) -> str:
    """Write the row of a key; three numbers in it where there is one for each category."""
    parts = tuple(kinds(kind)) if is_table(kind) else ()
    shown = []
    for values in plain:
        for key in at:
            values = values[key]
        shown.append(" / ".join(_toml(values[part]) for part in parts) if parts else _toml(values))
    return f"| `{'.'.join(at)}` | {' | '.join(shown)} | {_range(kind, limits)} | {limits['why']} |"


def _range(kind: Any, limits: Mapping[str, Any]) -> str:
    """Say unit and range, or what else a value may be."""
    if limits.get("choices"):
        text = "one of " + ", ".join(limits["choices"])
    elif "unit" in limits:
        whole = ", whole" if kind is int or int in get_args(kind) else ""
        text = f"{limits['unit']}{whole}, {limits['low']:g} to {limits['high']:g}"
    else:
        text = {str: "text", bool: "true or false"}.get(kind, "a table")
    return f"{text}, may be left out" if "otherwise" in limits else text


def _toml(value: Any) -> str:
    """Write a value as its file has it."""
    if value is None:
        return "none"
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return f'"{value}"'
    if isinstance(value, tuple | list):
        return f"[{', '.join(_toml(each) for each in value)}]"
    return f"{value:g}"


def _wrapped(start: str, column: int, text: str, width: int) -> str:
    """Write the start of a line and, from a column on, a text that goes on below itself."""
    if not text:
        return f"{start}\n"
    width = max(width, column + 20)
    first, more = start.ljust(column), " " * column
    return textwrap.fill(text, width, initial_indent=first, subsequent_indent=more, break_on_hyphens=False) + "\n"
