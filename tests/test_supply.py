"""What the program is made of: the lock file and the page of licences agree with what pyproject.toml asks for."""

import re
import tomllib
from pathlib import Path

import pytest
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

from tests import bill, licences

ROOT = Path(__file__).parent.parent
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
NEEDED = [Requirement(each) for each in PROJECT["dependencies"]]
ASKED = [*NEEDED, *(Requirement(each) for each in PROJECT["optional-dependencies"]["test"])]
LOCK = (ROOT / ".ci" / "requirements.lock").read_text(encoding="utf-8")


def pins():
    """Each line of the lock that fixes a version, and what stands below it."""
    for block in re.split(r"\n(?=[a-z0-9])", LOCK):
        if not block.startswith("#"):
            line, *below = block.splitlines()
            yield Requirement(line.removesuffix("\\").strip()), below


@pytest.mark.parametrize("python", ["3.11", "3.12", "3.13", "3.14"])
def test_the_lock_fixes_all_that_is_asked_for_at_a_version_that_is_allowed(python):
    assert f'"Programming Language :: Python :: {python}"' in (ROOT / "pyproject.toml").read_text(encoding="utf-8")
    here = {"python_version": python, "python_full_version": f"{python}.5"}
    fixed = {
        canonicalize_name(pin.name): next(iter(pin.specifier)).version
        for pin, _ in pins()
        if pin.marker is None or pin.marker.evaluate(here)
    }
    wrong = [
        f"{each} is {fixed.get(canonicalize_name(each.name))}"
        for each in ASKED
        if each.marker is None or each.marker.evaluate(here)
        if not each.specifier.contains(fixed.get(canonicalize_name(each.name), "0"), prereleases=True)
    ]
    assert wrong == [], "renew the lock, as DEVELOPERS.md says"


def test_every_line_of_the_lock_has_its_digests_and_names_no_place():
    assert all(any("--hash=sha256:" in line for line in below) for _, below in pins())
    assert not re.search(r"://|^-|@ |file:", LOCK, re.MULTILINE)


def rows():
    """Package to the cells of its row on the page of licences."""
    table = (ROOT / "docs" / "licences.md").read_text(encoding="utf-8").partition(licences.MARKS[0])[2]
    lines = table.partition(licences.MARKS[1])[0].splitlines()[2:]
    return {cells[0]: cells[1:] for cells in ([cell.strip() for cell in line.strip("|").split("|")] for line in lines)}


def test_the_page_of_licences_has_what_pyproject_asks_for_and_what_that_asks_for():
    found = rows()
    asked = {name for name, (_, _, by) in found.items() if "cuesuggest" in by.split(", ")}
    assert asked == {canonicalize_name(each.name) for each in NEEDED}, "run: python -m tests.renew"
    for name, (version, licence, by) in found.items():
        assert version, name
        assert licence not in ("", "UNKNOWN"), name
        assert set(by.split(", ")) <= {*found, "cuesuggest"}, name


def test_the_table_of_licences_is_what_the_installed_packages_say():
    assert "| numpy |" in licences.table()
    assert re.search("PSF|Python", licences.licence_of("typing_extensions"))
    assert "LGPL" in licences.licence_of("python-bidi")
    assert "BSD" in licences.licence_of("scipy"), "a licence given as its whole text is told by its name"


def test_no_weights_or_fonts_are_shipped_of_which_the_page_of_licences_says_nothing():
    page = (ROOT / "docs" / "licences.md").read_text(encoding="utf-8")
    shipped = [path for path in (ROOT / "cuesuggest").rglob("*") if path.suffix in (".npz", ".json", ".ttf")]
    assert len(shipped) >= 10
    for path in shipped:
        assert f"`{path.name}`" in page, path.name


def test_a_bill_of_materials_is_told_what_it_lacks():
    parts = [{"name": each.name, "version": "99", "bom-ref": each.name} for each in NEEDED]
    root = {"ref": "root", "dependsOn": [each["bom-ref"] for each in parts]}
    whole = {"metadata": {"component": {"bom-ref": "root"}}, "components": parts, "dependencies": [root]}
    assert bill.missing(whole) == []
    assert bill.missing({**whole, "components": parts[1:]}) == [f"{NEEDED[0].name} is not in the bill"]
    assert bill.missing({**whole, "components": [{**parts[0], "version": "0.1"}, *parts[1:]]}) == [
        f"{NEEDED[0].name} 0.1 is not {NEEDED[0].specifier}"
    ]
    assert len(bill.missing({**whole, "dependencies": []})) == len(NEEDED)
