"""The licences of the packages that the program needs, as the installed packages state them: for docs/licences.md."""

from __future__ import annotations

import re
from importlib import metadata

from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

MARKS = ("<!-- licences -->\n", "<!-- end of licences -->\n")
_LONGEST = 60  # characters; more is the text of a licence, not its name


def table() -> str:
    """Every package that is needed to run, directly or by another, with version, licence, and who asks for it."""
    lines = ["| package | version | licence | asked for by |", "| --- | --- | --- | --- |"]
    for name, askers in sorted(_needed().items()):
        lines.append(f"| {name} | {metadata.version(name)} | {licence_of(name)} | {', '.join(sorted(askers))} |")
    return "\n".join(lines) + "\n"


def licence_of(name: str) -> str:
    """The licence that an installed package states: as an expression, in words, or by its classifiers."""
    stated = metadata.metadata(name)
    words = (stated.get("License") or "").strip()
    classes = [each.rpartition(" :: ")[2] for each in stated.get_all("Classifier") or [] if each.startswith("License")]
    return stated.get("License-Expression") or (words if 0 < len(words) <= _LONGEST else "") or ", ".join(classes)


def _needed() -> dict[str, set[str]]:
    """Each package, and those that ask for it."""
    found: dict[str, set[str]] = {}
    waiting = ["cuesuggest"]
    while waiting:
        asker = waiting.pop()
        for line in metadata.requires(asker) or []:
            asked = Requirement(re.sub(r"\s+", " ", line))
            if asked.marker is None or asked.marker.evaluate({"extra": ""}):
                name = canonicalize_name(asked.name)
                if name not in found:
                    found[name] = set()
                    waiting.append(name)
                found[name].add(asker)
    return found
