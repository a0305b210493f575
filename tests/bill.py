"""Whether a bill of materials (CycloneDX JSON, ECMA-424) has all that pyproject.toml asks for.

`python -m tests.bill FILE` ends with an error and says what is missing; CI runs it on the bill that it writes.
"""

from __future__ import annotations

import json
import sys
import tomllib
from pathlib import Path
from typing import Any

from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

PYPROJECT = Path(__file__).parent.parent / "pyproject.toml"


def missing(bill: dict[str, Any]) -> list[str]:
    """What a bill lacks, a sentence for each: a package, its version, its place under the program."""
    asked = [Requirement(each) for each in tomllib.loads(PYPROJECT.read_text())["project"]["dependencies"]]
    parts = {canonicalize_name(each["name"]): each for each in bill.get("components", [])}
    root = bill["metadata"]["component"]["bom-ref"]
    under = {below for each in bill["dependencies"] if each["ref"] == root for below in each.get("dependsOn", [])}
    found = []
    for each in asked:
        part = parts.get(canonicalize_name(each.name))
        if part is None:
            found.append(f"{each.name} is not in the bill")
            continue
        if not each.specifier.contains(part["version"], prereleases=True):
            found.append(f"{each.name} {part['version']} is not {each.specifier}")
        if part["bom-ref"] not in under:
            found.append(f"{each.name} is not told as what the program needs")
    return found


if __name__ == "__main__":
    lacks = missing(json.loads(Path(sys.argv[1]).read_text(encoding="utf-8")))
    sys.exit("\n".join(lacks) if lacks else 0)
