"""JSON laid out for a person who opens the file: indented, but what fits on a line stays on one."""

from __future__ import annotations

import json
from typing import Any

__all__ = ["json_text"]

WIDTH = 100  # Characters to a line.
_LINE = json.JSONEncoder(ensure_ascii=False, allow_nan=False).encode


def json_text(value: Any) -> str:
    """Write plain data as JSON; the same data always give the same text.

    Lists of numbers stay on one line, however long: a beat per line would bury the cues. Whole numbers are
    written without a fraction (12, not 12.0), as a browser writes them.

    Raises
    ------
    ValueError
        If a number is not finite.
    """
    return _block(_whole(value), "") + "\n"


def _whole(value: Any) -> Any:
    if isinstance(value, dict):
        return {key: _whole(each) for key, each in value.items()}
    if isinstance(value, list):
        return [_whole(each) for each in value]
    # Above 2**53 a float names no single whole number.
    if isinstance(value, float) and value.is_integer() and abs(value) <= 2**53:
        return int(value)
    return value


def _block(value: Any, indent: str) -> str:
    room = WIDTH - len(indent)
    if not isinstance(value, dict | list) or _is_numbers(value):
        return _LINE(value)
    # What is too long for a line at a glance is not written as one first: it would be, once for every level.
    if _least(value) <= room and len(line := _LINE(value)) <= room:
        return line
    deeper = f"{indent}  "
    if isinstance(value, dict):
        rows = [f"{_LINE(key)}: {_block(each, deeper)}" for key, each in value.items()]
        left, right = "{", "}"
    else:
        rows = [_block(each, deeper) for each in value]
        left, right = "[", "]"
    return f"{left}\n{deeper}" + f",\n{deeper}".join(rows) + f"\n{indent}{right}"


def _least(value: dict[str, Any] | list[Any]) -> int:
    """Return how many characters a line has at least, had every member only one."""
    names = sum(len(key) + 4 for key in value) if isinstance(value, dict) else 0
    return names + 3 * len(value)


def _is_numbers(value: Any) -> bool:
    return isinstance(value, list) and all(isinstance(each, int | float) for each in value)
