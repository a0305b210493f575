"""What docs/ has from the program itself: two schemas, the tables of formats and house styles, the tree of modules.

`python -m tests.renew` brings all of them up to date; a test in tests/test_docs.py fails while one is not. It also
writes the licences of the packages that are installed; of these, tests/test_supply.py asks no certain versions.
"""

from __future__ import annotations

from pathlib import Path

from cuesuggest.export.data import json_list
from cuesuggest.rules.settings.settings_file import shipped_profiles
from cuesuggest.rules.settings.settings_text import settings_table
from cuesuggest.song import schema
from tests import licences
from tests.test_export_formats import table
from tests.tree import tree

DOCS = Path(__file__).parent.parent / "docs"
FORMATS = ("<!-- table: from the registry -->\n", "<!-- end of table -->\n")
TREE = ("<!-- tree -->\n```\n", "```\n<!-- end of tree -->\n")
VALUES = ("<!-- values -->\n", "<!-- end of values -->\n")


def renewed() -> dict[Path, str]:
    """Each file with the text that it should have."""
    return {
        DOCS / "architecture.md": between(DOCS / "architecture.md", TREE, tree()),
        DOCS / "song.schema.json": schema.schema_text(),
        DOCS / "cue-list.schema.json": json_list.schema_text(),
        DOCS / "formats.md": between(DOCS / "formats.md", FORMATS, table()),
        DOCS / "house-styles.md": between(DOCS / "house-styles.md", VALUES, settings_table(shipped_profiles())),
    }


def between(page: Path, marks: tuple[str, str], inside: str) -> str:
    """The page with another text between its two marks."""
    head, rest = page.read_text(encoding="utf-8").split(marks[0])
    return head + marks[0] + inside + marks[1] + rest.split(marks[1])[1]


def installed() -> dict[Path, str]:
    """Each file that depends on which versions are installed, with the text that it has with these."""
    return {DOCS / "licences.md": between(DOCS / "licences.md", licences.MARKS, licences.table())}


if __name__ == "__main__":
    for path, text in {**renewed(), **installed()}.items():
        path.write_text(text, encoding="utf-8", newline="\n")
