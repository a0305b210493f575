"""pydantic's findings in the words of somebody who has a document open, not of a programmer."""

from __future__ import annotations

from collections.abc import Callable
from difflib import get_close_matches
from typing import Any

from pydantic import ValidationError

__all__ = ["MisfitError", "plain_words"]

MOST = 5  # Findings told at once; who mends five sees the rest on the next try.


class MisfitError(ValueError):
    """A value of the right type that contradicts another part of the song.

    Raised inside pydantic's validation, which carries it to `plain_words`.
    """

    def __init__(self, path: str, text: str) -> None:
        super().__init__(f"{path}: {text}")


def plain_words(error: ValidationError, given: Any) -> list[str]:
    """Return a line per finding: where it is and what is wrong.

    Parameters
    ----------
    error : ValidationError
        As pydantic raised it.
    given : object
        What was checked, as parsed from JSON; tells which parts of pydantic's path are in the document.
    """
    findings = error.errors(include_url=False)
    lines = [_line(finding, given) for finding in findings[:MOST]]
    if len(findings) > MOST:
        lines.append(f"and {len(findings) - MOST} more")
    return lines


def _line(finding: Any, given: Any) -> str:
    context = finding.get("ctx", {})
    if isinstance(context.get("error"), MisfitError):
        return str(context["error"])
    if finding["type"] in _SAYS:
        text = _SAYS[finding["type"]](finding, context)
    elif finding["type"].endswith("_type"):
        text = f"must be {_KINDS.get(finding['type'], 'something else')}, not {_quoted(finding['input'])}"
    else:
        text = finding["msg"][:1].lower() + finding["msg"][1:]
    path = _path(finding["loc"], given)
    return f"{path}: {text}" if path else text


# pydantic's error types: https://docs.pydantic.dev/latest/errors/validation_errors/
_KINDS = {
    "bool_type": "true or false",
    "dataclass_type": "an object in braces",
    "dict_type": "an object in braces",
    "float_type": "a number",
    "int_type": "a whole number",
    "list_type": "a list in brackets",
    "model_type": "an object in braces",
    "model_attributes_type": "an object in braces",
    "string_type": "a text in quotes",
    "tuple_type": "a list in brackets",
}
_SAYS: dict[str, Callable[[Any, Any], str]] = {
    "missing": lambda finding, context: "is missing",
    "extra_forbidden": lambda finding, context: "is not a field that this program knows here",
    "unexpected_keyword_argument": lambda finding, context: "is not a field that this program knows here",
    "literal_error": lambda finding, context: (
        f"must be {context['expected']}, not {_quoted(finding['input'])}{_meant(finding['input'], context['expected'])}"
    ),
    "union_tag_invalid": lambda finding, context: (
        f"has no known {_bare(context['discriminator'])}: it is {context['tag']!r}, "
        f"known are {context['expected_tags']}"
    ),
    "union_tag_not_found": lambda finding, context: f"needs a {_bare(context['discriminator'])}",
    "greater_than": lambda finding, context: f"must be above {context['gt']:g}, not {_quoted(finding['input'])}",
    "greater_than_equal": lambda finding, context: (
        f"must be {context['ge']:g} or more, not {_quoted(finding['input'])}"
    ),
    "string_pattern_mismatch": lambda finding, context: f"{_quoted(finding['input'])} is not written as it should be",
    "value_error": lambda finding, context: str(context["error"]),
    "int_parsing": lambda finding, context: f"must be a whole number, not {_quoted(finding['input'])}",
    "int_from_float": lambda finding, context: f"must be a whole number, not {_quoted(finding['input'])}",
    "float_parsing": lambda finding, context: f"must be a number, not {_quoted(finding['input'])}",
}


def _path(location: tuple[int | str, ...], given: Any) -> str:
    """Write a place in the document as `cues[12].place.bar`.

    pydantic also names the members of unions it went through; the document has no such level.
    """
    path, here = "", given
    for depth, part in enumerate(location):
        if isinstance(part, int):
            path += f"[{part}]"
            here = here[part] if isinstance(here, list) and part < len(here) else None
            continue
        inside = isinstance(here, dict) and part in here
        if inside or depth == len(location) - 1:
            path += f".{part}" if path else part
            here = here[part] if inside else None
    return path


def _quoted(value: object) -> str:
    if value is None:
        return "null"
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, dict | list | tuple):
        return "an object in braces" if isinstance(value, dict) else "a list in brackets"
    text = repr(value)
    return text if len(text) <= 40 else f"{text[:37]}…"


def _bare(name: str) -> str:
    return name.strip("'")


def _meant(value: object, expected: str) -> str:
    close = get_close_matches(str(value), expected.replace("'", "").replace(" or ", ", ").split(", "), 1)
    return f" (perhaps {close[0]!r})" if close else ""
