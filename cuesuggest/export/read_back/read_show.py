"""Read the text interchange of 1992 back, however it is written: any case, any delimiter, any line end.

What is not understood is skipped and told with its line, never guessed.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, field

__all__ = ["ShowCue", "read_show"]

_DELIMITERS = re.compile(r"[\s,<>=@/;]+")
_SECONDARY = {"text", "up", "down", "followon", "link", "part", "chan"}
_PRIMARY = {"cue", "group", "sub"}
_BASIC = {"ident", "manufacturer", "console", "clear", "set", "patch", "enddata"}
_NUMBER = re.compile(r"\d{1,9}(\.\d{1,9})?")
_AT = re.compile(r"!\s*at (-?\d{1,9}(?:\.\d{1,9})?) s\b")


@dataclass(slots=True)
class ShowCue:
    """A cue as it stands in the file; None where a line is missing."""

    number: float
    text: str = ""
    up: float | None = None
    down: float | None = None
    follow_on: float | None = None
    seconds: float | None = None
    """Of the show, which our own files tell in a comment."""
    channels: dict[int, float] = field(default_factory=dict)
    """Channel to level, 0 to 1."""


def read_show(text: str) -> tuple[list[ShowCue], list[str]]:
    """Read the cues of a show.

    Parameters
    ----------
    text : str
        What follows `Enddata` is not looked at.

    Returns
    -------
    cues : list of ShowCue
        In the order of the file.
    warnings : list of str
        A sentence for each line that was skipped.
    """
    cues: list[ShowCue] = []
    warnings: list[str] = []
    inside: ShowCue | None = None
    has_primary = False
    for number, line in enumerate(text.splitlines(), 1):
        if (at := _AT.match(line.strip())) and inside is not None:
            inside.seconds = float(at[1])
        body = line.partition("!")[0].strip()
        words = [word for word in _DELIMITERS.split(body) if word]
        if not words:
            continue
        keyword, arguments = words[0].lower(), words[1:]
        if keyword == "enddata":
            break
        if keyword in _PRIMARY:
            has_primary = True
            inside = None
            if keyword == "cue":
                inside = _cue(arguments)
                if inside is None:
                    warnings.append(f"Line {number}: a cue without a number was skipped.")
                else:
                    cues.append(inside)
        elif keyword in _SECONDARY:
            if not has_primary:
                warnings.append(f"Line {number}: {words[0]} belongs to no cue and was skipped.")
            elif inside is not None:
                warnings += _secondary(inside, keyword, arguments, body, number)
        elif keyword not in _BASIC and not keyword.startswith("$"):
            warnings.append(f"Line {number}: {words[0][:20]!r} is not known and was skipped.")
    return cues, warnings


def _cue(arguments: list[str]) -> ShowCue | None:
    return ShowCue(float(arguments[0])) if arguments and _NUMBER.fullmatch(arguments[0]) else None


def _secondary(cue: ShowCue, keyword: str, arguments: list[str], body: str, number: int) -> Iterator[str]:
    if keyword == "text":
        cue.text = body[len("text") :].strip()
    elif keyword == "chan":
        yield from _levels(cue, arguments, number)
    elif keyword in ("up", "down", "followon"):
        seconds = _seconds(arguments[0]) if arguments else None
        if seconds is None:
            yield f"Line {number}: {keyword} without a time in seconds was skipped."
        else:
            setattr(cue, "follow_on" if keyword == "followon" else keyword, seconds)


def _levels(cue: ShowCue, arguments: list[str], number: int) -> Iterator[str]:
    for channel, level in zip(arguments[::2], arguments[1::2], strict=False):
        value = _level(level)
        if not channel.isascii() or not channel.isdecimal() or len(channel) > 6 or value is None:
            yield f"Line {number}: {channel[:12]}@{level[:12]} is no channel and level and was skipped."
        else:
            cue.channels[int(channel)] = value
    if len(arguments) % 2:
        yield f"Line {number}: the last channel has no level and was skipped."


def _level(text: str) -> float | None:
    """Percent, or H and two hexadecimal digits: H80 is 128 of 255."""
    if re.fullmatch("[Hh][0-9A-Fa-f]{1,2}", text):
        return int(text[1:], 16) / 255
    value = float(text) if _NUMBER.fullmatch(text) else None
    return value / 100 if value is not None and value <= 100 else None


def _seconds(text: str) -> float | None:
    minutes, colon, seconds = text.rpartition(":")
    if colon and minutes.isascii() and minutes.isdecimal() and len(minutes) < 5 and _NUMBER.fullmatch(seconds):
        return 60 * int(minutes) + float(seconds)
    return float(text) if _NUMBER.fullmatch(text) else None
