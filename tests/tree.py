"""The tree of the package with a line for each folder and module, from the first lines of their docstrings."""

from __future__ import annotations

import ast
from pathlib import Path

PACKAGE = Path(__file__).parent.parent / "cuesuggest"
WIDTH = 118
_INDENT = "  "
_COLUMN = 26


def tree() -> str:
    """Rooms in the order of the way from recording to paper; inside, floors first."""
    rooms = [
        "errors",
        "bounded",
        "gate_out",
        "sound",
        "analysis",
        "score",
        "rules",
        "song",
        "decide",
        "draft",
        "export",
        "night",
        "play",
        "review",
        "cli",
    ]
    there = sorted({path.stem for path in PACKAGE.iterdir() if _counts(path)}, key=rooms.index)
    return "".join(line for room in there for line in _lines(room, 0))


def _counts(path: Path) -> bool:
    if path.is_dir():
        return (path / "__init__.py").exists()
    return path.suffix == ".py" and path.stem not in ("__init__", "__main__")


def _lines(name: str, depth: int, folder: Path = PACKAGE):
    path = folder / name
    if not path.is_dir():
        yield _line(name, depth, path.with_suffix(".py"))
        return
    yield _line(f"{name}/", depth, path / "__init__.py")
    inside = sorted((not each.is_dir(), each.stem) for each in path.iterdir() if _counts(each))
    for _, each in inside:
        yield from _lines(each, depth + 1, path)


def _line(name: str, depth: int, file: Path) -> str:
    said = (ast.get_docstring(ast.parse(file.read_text(encoding="utf-8"))) or "").split("\n")[0].rstrip(".")
    head = f"{_INDENT * depth}{name}".ljust(_COLUMN)
    room = WIDTH - len(head)
    if len(said) > room:
        said = said[: said.rfind(" ", 0, room - 2)].rstrip(",;:") + " …"
    return f"{head}{said}\n"
