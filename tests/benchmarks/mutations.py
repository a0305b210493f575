"""Change single lines of the program at random, and count how many of the changes the tests notice.

    python -m tests.benchmarks.mutations [--parts analysis,chart,song] [--count 100] [--seed 1] [--jobs 2]

Every change is made in a copy of the package, never in the working tree: a comparison takes in its edge or is turned
round, a sum becomes a difference, the least the most, a number moves by one or by a tenth, and so on. Lines are drawn
first and then a change in each, so that a line full of numbers is drawn no more often than another. Docstrings, type
hints, imports, error texts, decorators and digits of rounding are left alone.

Which tests can notice a change is read from the imports: the files that import the module come first, then those that
reach it through others, the nearest first. Files that need a browser are left out. A test that fails is run once more
on the unchanged program, and counts only if it passes there. A change with which one test takes minutes is caught too;
one that no test has noticed in the processor time that it is given is undecided.
"""

from __future__ import annotations

import argparse
import ast
import os
import random
import re
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections import Counter, deque
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from functools import cache, partial
from pathlib import Path
from queue import SimpleQueue

ROOT = Path(__file__).parent.parent.parent
PARTS = {
    "analysis": ("cuesuggest/analysis",),
    "chart": ("cuesuggest/export/chart",),
    "song": ("cuesuggest/song", "cuesuggest/score"),
}
LEFT_OUT = ("training",)  # folders that take no part in a run of the program
COPIED = ("cuesuggest", "tests", "samples", "docs", "pyproject.toml", "README.md")
PATIENCE = 300.0  # s that one test may take before it counts as hanging, on a busy machine
HANGS, UNDECIDED = "a test that hangs", "out of time"
BROWSER = "playwright"

_COMPARED = {
    ast.Lt: ("<", ("<=", ">")), ast.LtE: ("<=", ("<", ">=")), ast.Gt: (">", (">=", "<")), ast.GtE: (">=", (">", "<=")),
    ast.Eq: ("==", ("!=",)), ast.NotEq: ("!=", ("==",)), ast.Is: ("is", ("is not",)), ast.IsNot: ("is not", ("is",)),
    ast.In: ("in", ("not in",)), ast.NotIn: ("not in", ("in",)),
}  # fmt: skip
_COUNTED = {ast.Add: ("+", "-"), ast.Sub: ("-", "+"), ast.Mult: ("*", "/"), ast.Div: ("/", "*")}
_NAMES = {
    one: other
    for pair in ("min max", "minimum maximum", "argmin argmax", "any all", "floor ceil")
    for one, other in (pair.split(), pair.split()[::-1])
}
_ROUNDING = {"round", "approx"}
_NO_MATTER = {"strict", "encoding", "default_factory"}  # keywords without which a program does the same


@dataclass(frozen=True, slots=True)
class Change:
    """One change of a source text, in one line."""

    line: int
    """From 1."""
    start: int
    """Bytes of the line, as `ast` counts them."""
    end: int
    text: str

    def applied(self, source: str) -> str:
        """The whole text with the change made."""
        lines = source.encode().split(b"\n")
        line = lines[self.line - 1]
        lines[self.line - 1] = line[: self.start] + self.text.encode() + line[self.end :]
        return b"\n".join(lines).decode()


def changes(source: str) -> list[Change]:
    """Every change that may be drawn in a source text."""
    found = _Changes(source)
    found.visit(ast.parse(source))
    return found.changes


class _Changes(ast.NodeVisitor):
    def __init__(self, source: str) -> None:
        self.lines = source.encode().split(b"\n")
        self.changes: list[Change] = []

    def _between(self, before: ast.expr, after: ast.expr, sign: str, others: tuple[str, ...]) -> None:
        """Change the operator between two operands, if both stand in one line."""
        if before.end_lineno != after.lineno:
            return
        start, end = int(before.end_col_offset or 0), after.col_offset
        part = self.lines[after.lineno - 1][start:end].decode()
        at = re.search(rf"(?<!\w){re.escape(sign)}(?!\w)", part)
        if at:
            for other in others:
                self.changes.append(Change(after.lineno, start + at.start(), start + at.end(), other))

    def _instead(self, node: ast.expr | ast.stmt, *texts: str) -> None:
        if node.lineno == node.end_lineno:
            for text in texts:
                self.changes.append(Change(node.lineno, node.col_offset, int(node.end_col_offset or 0), text))

    def visit_Compare(self, node: ast.Compare) -> None:
        for before, operator, after in zip([node.left, *node.comparators], node.ops, node.comparators, strict=False):
            self._between(before, after, *_COMPARED[type(operator)])
        self.generic_visit(node)

    def visit_BinOp(self, node: ast.BinOp) -> None:
        if type(node.op) in _COUNTED:
            sign, other = _COUNTED[type(node.op)]
            self._between(node.left, node.right, sign, (other,))
        self.generic_visit(node)

    def visit_BoolOp(self, node: ast.BoolOp) -> None:
        sign, other = ("and", "or") if isinstance(node.op, ast.And) else ("or", "and")
        for before, after in zip(node.values, node.values[1:], strict=False):
            self._between(before, after, sign, (other,))
        self.generic_visit(node)

    def visit_UnaryOp(self, node: ast.UnaryOp) -> None:
        if isinstance(node.op, ast.Not):
            self.changes.append(Change(node.lineno, node.col_offset, node.col_offset + len("not "), ""))
        self.generic_visit(node)

    def visit_Constant(self, node: ast.Constant) -> None:
        if isinstance(node.value, bool):
            self._instead(node, str(not node.value))
        elif isinstance(node.value, int):
            by = max(1, abs(node.value) // 10) if abs(node.value) > 10 else 1
            self._instead(node, str(node.value + by), str(node.value - by) if node.value >= by else f"({-by})")
        elif isinstance(node.value, float) and abs(node.value) > 1e-5:  # smaller ones keep a division from failing
            self._instead(node, f"{node.value * 1.1:.6g}", f"{node.value * 0.9:.6g}")

    def visit_Subscript(self, node: ast.Subscript) -> None:
        index = node.slice
        if isinstance(index, ast.Constant) and index.value == 0 and not isinstance(index.value, bool):
            self._instead(index, "-1")
        elif ast.unparse(index) == "-1":
            self._instead(index, "0")
        else:
            self.visit(index)
        self.visit(node.value)

    def visit_Call(self, node: ast.Call) -> None:
        name = node.func.attr if isinstance(node.func, ast.Attribute) else getattr(node.func, "id", "")
        if name in _NAMES and node.func.lineno == node.func.end_lineno:
            end = int(node.func.end_col_offset or 0)
            self.changes.append(Change(node.func.lineno, end - len(name), end, _NAMES[name]))
        if name.endswith("Error"):
            return
        self.visit(node.func)
        for each in node.args[:1] if name in _ROUNDING else node.args:
            self.visit(each)
        for keyword in node.keywords:
            if keyword.arg not in _NO_MATTER:
                self.visit(keyword.value)

    def visit_Continue(self, node: ast.Continue) -> None:
        self._instead(node, "break")

    def visit_Break(self, node: ast.Break) -> None:
        self._instead(node, "continue")

    def visit_FunctionDef(self, node: ast.FunctionDef) -> None:
        """Go on to defaults and body: hints and decorators do nothing."""
        for each in [*node.args.defaults, *(each for each in node.args.kw_defaults if each), *node.body]:
            self.visit(each)

    def visit_ClassDef(self, node: ast.ClassDef) -> None:
        for each in node.body:
            self.visit(each)

    def visit_AnnAssign(self, node: ast.AnnAssign) -> None:
        if node.value:
            self.visit(node.value)

    def visit_Assign(self, node: ast.Assign) -> None:
        if ast.unparse(node.targets[0]) != "__all__":
            self.generic_visit(node)

    def visit_FormattedValue(self, node: ast.FormattedValue) -> None:
        """Leave texts alone: before 3.12 the places in them are not told."""

    def visit_Raise(self, node: ast.Raise) -> None:
        """Leave errors alone."""


# --- which tests can notice it


@cache
def _tree(path: Path) -> ast.Module:
    return ast.parse(path.read_text(encoding="utf-8"))


def _file_of(name: str) -> Path | None:
    base = ROOT.joinpath(*name.split("."))
    return next((path for path in (base.with_suffix(".py"), base / "__init__.py") if path.is_file()), None)


@cache
def _imported(path: Path) -> frozenset[Path]:
    """Files of this project that a file imports, anywhere in it; for tests, the fixtures' file too where they ask."""
    names: set[str] = set()
    for node in ast.walk(_tree(path)):
        if isinstance(node, ast.Import):
            names |= {each.name for each in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            names |= {node.module, *(f"{node.module}.{each.name}" for each in node.names)}
    files = {_file_of(name) for name in names if name.split(".")[0] in ("cuesuggest", "tests")}
    if path.name.startswith("test_") and _arguments(path) & _fixtures():
        files.add(ROOT / "tests" / "conftest.py")
    return frozenset(each for each in files if each)


@cache
def _arguments(path: Path) -> set[str]:
    return {each.arg for each in ast.walk(_tree(path)) if isinstance(each, ast.arg)}


@cache
def _fixtures() -> set[str]:
    return {each.name for each in _tree(ROOT / "tests" / "conftest.py").body if isinstance(each, ast.FunctionDef)}


@cache
def _distances(test: Path) -> dict[Path, int]:
    """How many imports lead from a test to each file that it reaches."""
    found, ahead = {test: 0}, deque([test])
    while ahead:
        path = ahead.popleft()
        for each in sorted(_imported(path) - found.keys()):
            found[each] = found[path] + 1
            ahead.append(each)
    return found


def _needs_browser(test: Path) -> bool:
    own = [test, *(path for path in _imported(test) if path.parent == test.parent and path.name != "conftest.py")]
    return any(BROWSER in path.read_text(encoding="utf-8") for path in own)


def files_that_reach(module: Path) -> list[Path]:
    """Test files that reach a module, the nearest first, and of those equally near the one that reaches least else."""
    tests = [path for path in sorted((ROOT / "tests").glob("test_*.py")) if not _needs_browser(path)]
    reach = [(_distances(path)[module], len(_distances(path)), path) for path in tests if module in _distances(path)]
    return [path for _, _, path in sorted(reach)]


# --- trying them


@dataclass(frozen=True, slots=True)
class Drawn:
    """A change drawn in a file, as the file was then: others may go on working on it."""

    path: str
    """As `tests`, from the root."""
    before: str
    change: Change
    tests: tuple[str, ...]
    """Those that may notice it, in the order in which they are asked."""

    @property
    def after(self) -> str:
        """The changed text."""
        return self.change.applied(self.before)

    def __str__(self) -> str:
        old, new = (text.split("\n")[self.change.line - 1].strip() for text in (self.before, self.after))
        return f"{self.path}:{self.change.line}\n    {old}\n -> {new}"


def drawn(parts: list[str], count: int, seed: int) -> list[Drawn]:
    """Draw so many changes: each in a line of its own, as long as there are lines."""
    lines: dict[tuple[Path, int], list[Change]] = {}
    for path in sorted(path for part in parts for folder in PARTS[part] for path in (ROOT / folder).rglob("*.py")):
        if not set(LEFT_OUT) & set(path.parts):
            for change in changes(path.read_text(encoding="utf-8")):
                lines.setdefault((path, change.line), []).append(change)
    chance = random.Random(seed)
    places = chance.sample(list(lines), min(count, len(lines)))
    return [
        Drawn(
            str(path.relative_to(ROOT)),
            path.read_text(encoding="utf-8"),
            chance.choice(lines[path, line]),
            tuple(str(test.relative_to(ROOT)) for test in files_that_reach(path)),
        )
        for path, line in places
    ]


@dataclass
class Copy:
    """A copy of the project in which changes are tried, one after the other."""

    folder: Path
    seconds: int
    """Of processor time for the tests of one change."""
    sound: dict[str, bool] = field(default_factory=dict)
    """Tests that failed once -> whether they pass on the unchanged program."""
    written: int = 0

    def __post_init__(self) -> None:
        for name in COPIED:
            source = ROOT / name
            if source.is_dir():
                shutil.copytree(source, self.folder / name, ignore=shutil.ignore_patterns("__pycache__"))
            else:
                shutil.copy(source, self.folder / name)

    def caught_by(self, each: Drawn) -> str | None:
        """The test that notices a change, or HANGS; None if none does, UNDECIDED if that took too long."""
        target = self.folder / each.path
        tests = [*each.tests]
        while tests:
            self._write(target, each.after)
            try:
                failed = self._first_failure(tests)
            finally:
                self._write(target, each.before)
            if failed in (None, HANGS, UNDECIDED):
                return failed
            if failed not in self.sound:
                self.sound[failed] = self._first_failure([failed]) is None
            if self.sound[failed]:
                return failed
            tests = [name for name in tests if name != failed.partition("::")[0]]
        return None

    def _write(self, path: Path, text: str) -> None:
        """Write with a time of its own: compiled files are told from newer ones by whole seconds."""
        path.write_text(text, encoding="utf-8")
        self.written += 1
        os.utime(path, (time.time() + self.written, time.time() + self.written))

    def _first_failure(self, tests: list[str]) -> str | None:
        """The first of some tests that fails, HANGS or UNDECIDED; None if all pass."""
        words = [sys.executable, "-m", "pytest", "-x", "-v", "-n", "0", "--tb=no", "-p", "no:cacheprovider"]
        limited = ["sh", "-c", f'ulimit -t {self.seconds}; exec "$@"', "sh", *words, "--hypothesis-seed=0", *tests]
        log = self.folder / "log.txt"
        path = {**os.environ, "PYTHONPATH": str(self.folder)}
        with log.open("w", encoding="utf-8") as out:
            running = subprocess.Popen(limited, cwd=self.folder, env=path, stdout=out, stderr=out)
            size, begun = 0, time.monotonic()
            since = begun
            while running.poll() is None:
                time.sleep(0.2)
                if log.stat().st_size != size:
                    size, since = log.stat().st_size, time.monotonic()
                if time.monotonic() - since > PATIENCE:
                    running.kill()
                    running.wait()
                    return HANGS
        if running.returncode == 0:
            return None
        if running.returncode in (-signal.SIGKILL, -signal.SIGXCPU):
            # Where the last test took longer than all before it together, it would not have ended.
            return HANGS if since - begun < time.monotonic() - since else UNDECIDED
        told = log.read_text(encoding="utf-8")
        failed = re.search(r"^(?:FAILED|ERROR) (tests/.*?)(?: - .*)?$", told, re.MULTILINE)
        if failed is None and running.returncode > 0:
            raise RuntimeError(f"The tests did not run:\n{told}")
        return failed[1] if failed else tests[0]  # the whole process died


def main() -> None:
    """Draw changes, try them, and print what became of each, and the share that was caught."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").partition("\n")[0])
    parser.add_argument("--parts", default=",".join(PARTS), type=lambda text: text.split(","))
    parser.add_argument("--count", default=100, type=int)
    parser.add_argument("--seed", default=1, type=int)
    parser.add_argument("--jobs", default=2, type=int)
    parser.add_argument("--seconds", default=120, type=int, help="Of processor time for the tests of one change.")
    given = parser.parse_args()
    chosen = drawn(given.parts, given.count, given.seed)
    with tempfile.TemporaryDirectory() as folder, ThreadPoolExecutor(given.jobs) as pool:
        copies: SimpleQueue[Copy] = SimpleQueue()
        for job in range(given.jobs):
            copies.put(Copy(Path(folder) / str(job), given.seconds))
        became = Counter(pool.map(partial(_tried, copies=copies), chosen))
    told = ", ".join(f"{became[each]} {each}" for each in ("caught", "survived", "undecided"))
    print(f"{told}; {became['caught'] / len(chosen):.0%} of {len(chosen)} caught")


def _tried(each: Drawn, copies: SimpleQueue[Copy]) -> str:
    copy = copies.get()
    start = time.monotonic()
    by = copy.caught_by(each)
    copies.put(copy)
    became = "survived" if by is None else "undecided" if by == UNDECIDED else "caught"
    how = f" by {by}" if became == "caught" else ""
    print(f"{each}\n    {became}{how}, {time.monotonic() - start:.0f} s", flush=True)
    return became


if __name__ == "__main__":
    main()
