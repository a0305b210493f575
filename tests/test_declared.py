"""What is imported is declared, and what is declared is imported."""

import ast
import importlib.metadata
import re
import sys
import tomllib
from functools import cache
from pathlib import Path

ROOT = Path(__file__).parent.parent
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]


def imported(folder):
    """Top modules that the files of a folder import, wherever in a file."""
    found = set()
    for path in (ROOT / folder).rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Import):
                found |= {alias.name.partition(".")[0] for alias in node.names}
            elif isinstance(node, ast.ImportFrom) and node.module and not node.level:
                found.add(node.module.partition(".")[0])
    return found - set(sys.stdlib_module_names) - {"cuesuggest", "tests"}


@cache
def brought():
    """Module -> names of the packages that bring it."""
    found = importlib.metadata.packages_distributions()
    return {module: {package.lower().replace("_", "-") for package in packages} for module, packages in found.items()}


def modules_of(requirements):
    """Modules that the declared packages bring."""
    names = {re.match(r"[\w.-]+", each)[0].lower().replace("_", "-") for each in requirements}
    return {module for module, packages in brought().items() if names & packages}


def test_every_package_that_the_program_imports_is_declared():
    extras = PROJECT["optional-dependencies"]
    extra = {"torch"} | modules_of(extras["fonts"])  # training alone, the extra `train`; typefaces, the extra `fonts`
    assert imported("cuesuggest") - extra <= modules_of(PROJECT["dependencies"])


def test_every_declared_package_is_imported():
    used = imported("cuesuggest")
    for requirement in PROJECT["dependencies"]:
        assert modules_of([requirement]) & used, f"{requirement} is declared and imported nowhere"


def test_every_package_that_tests_import_is_declared():
    declared = modules_of(PROJECT["dependencies"] + PROJECT["optional-dependencies"]["test"])
    assert imported("tests") <= declared


def test_types_are_shipped():
    assert (ROOT / "cuesuggest" / "py.typed").exists()
