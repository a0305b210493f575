"""Which room may know which: read from the imports, so that docs/architecture.md stays true."""

import ast
import re
from collections import Counter
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
PACKAGE = ROOT / "cuesuggest"
MAP = (ROOT / "docs" / "architecture.md").read_text(encoding="utf-8")
RECORDS = {"analysis.types", "errors"}

# room -> what of the package it may import, beside itself
ROOMS = {
    "errors": set(),
    "bounded": {"errors"},
    "gate_out": {"errors", "song.atomic"},
    "sound": {"errors"},
    "analysis": {"errors", "sound"},
    "score": RECORDS | {"analysis.form"},
    "rules": RECORDS | {"bounded", "score"},
    "song": RECORDS | {"bounded", "score"},
    "export": RECORDS | {"bounded", "score", "song"},
    "play": {"errors", "export", "song"},
    "decide": RECORDS | {"analysis.form", "score", "song"},
    "draft": {"analysis", "errors", "rules", "score", "song", "sound"},
    "night": {"bounded", "decide", "draft", "errors", "export", "gate_out", "rules", "score", "song"},
    "review": RECORDS | {"decide", "draft", "export", "gate_out", "night", "rules", "score", "song", "sound"},
    "cli": RECORDS
    | {
        "analysis.form",
        "analysis.listen",
        "bounded",
        "decide",
        "draft",
        "export",
        "gate_out",
        "night",
        "play",
        "review",
        "rules",
        "score",
        "song",
        "sound",
    },
}
# floor of a room -> which other floors it may import; a module at the room's entrance is a floor of its own
FLOORS = {
    "analysis": {
        "rhythm": {"form", "frames", "spectrum"},
        "finding": {"frames", "spectrum", "types"},
        "bars": {"finding", "frames", "rhythm", "spectrum", "types"},
        "energy": {"frames", "loudness", "spectrum", "types"},
        "structure": {"form", "frames", "rhythm", "spectrum", "types"},
        "events": {"energy", "finding", "frames", "spectrum", "types"},
        "songs": {"bars", "finding", "frames", "rhythm", "spectrum", "types"},
    },
    "rules": {
        "settings": set(),
        "plan": {"brief", "settings", "stays"},
        "person": {"brief", "settings"},
        "cues": {"brief", "person", "plan", "settings", "stays"},
    },
    "export": {
        "common": set(),
        "chart": set(),
        "paper": {"chart", "common"},
        "desk": {"common"},
        "data": {"common"},
        "read_back": {"common"},
    },
    "draft": {"again": set(), "taste": set()},
}
AUDIO = {"soundfile", "av", "soxr", "scipy", "librosa", "mir_eval"}
MOST_LINES = 450
IN_PASSING = {"__pycache__", "py", "__init__", "__main__"}


def files_of(room):
    single = PACKAGE / f"{room}.py"
    return [single] if single.exists() else sorted((PACKAGE / room).rglob("*.py"))


def imports(path):
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            yield from (name.name for name in node.names)
        elif isinstance(node, ast.ImportFrom) and node.module:
            yield node.module
            yield from (f"{node.module}.{name.name}" for name in node.names if node.module == "cuesuggest")


def known(path, room):
    """What of the package a file imports from outside its room."""
    own = ("cuesuggest", "cuesuggest.__version__", f"cuesuggest.{room}")
    names = (name for name in imports(path) if name.startswith("cuesuggest"))
    return {
        name.removeprefix("cuesuggest.") for name in names if name not in own and not name.startswith(f"{own[-1]}.")
    }


def covers(allowed, name):
    return any(name == each or name.startswith(f"{each}.") for each in allowed)


def test_the_package_has_these_rooms_and_nothing_else_at_its_door():
    there = {path.stem if path.is_file() else path.name for path in PACKAGE.iterdir()} - IN_PASSING
    assert there == set(ROOMS)


@pytest.mark.parametrize("room", ROOMS)
def test_a_room_knows_only_what_it_may(room):
    for path in files_of(room):
        assert not [name for name in known(path, room) if not covers(ROOMS[room], name)], path


@pytest.mark.parametrize("room", ROOMS)
def test_no_room_is_allowed_what_it_does_not_need(room):
    used = {name for path in files_of(room) for name in known(path, room)}
    assert {each for each in ROOMS[room] if any(covers({each}, name) for name in used)} == ROOMS[room]


@pytest.mark.parametrize(("room", "floor"), [(room, floor) for room, floors in FLOORS.items() for floor in floors])
def test_a_floor_knows_only_those_below_it(room, floor):
    for path in files_of(f"{room}/{floor}"):
        inside = (name.split(".")[2] for name in imports(path) if name.startswith(f"cuesuggest.{room}."))
        assert set(inside) - {floor} <= FLOORS[room][floor], path


@pytest.mark.parametrize("room", sorted(set(ROOMS) - {"errors", "sound", "analysis", "review", "cli"}))
def test_no_audio_code_after_the_analysis(room):
    for path in files_of(room):
        assert not {name.split(".")[0] for name in imports(path)} & AUDIO, path


def test_training_is_imported_by_nothing_else():
    for path in PACKAGE.rglob("*.py"):
        if "training" not in path.parts:
            assert not any(name.startswith("cuesuggest.analysis.training") for name in imports(path)), path


def test_pydantic_stays_at_the_files_edge():
    for path in PACKAGE.rglob("*.py"):
        if path.parent.name != "song":
            assert not any(name.split(".")[0] == "pydantic" for name in imports(path)), path


def modules():
    return [path for path in PACKAGE.rglob("*.py") if path.stem not in IN_PASSING]


def test_no_two_modules_have_one_name():
    folders = [path.parent.name for path in PACKAGE.rglob("__init__.py") if path.parent != PACKAGE]
    names = Counter([*(path.stem for path in modules()), *folders])
    assert [name for name, count in names.items() if count > 1] == []


def test_no_two_classes_have_one_name():
    classes = Counter(
        node.name
        for path in PACKAGE.rglob("*.py")
        for node in ast.parse(path.read_text(encoding="utf-8")).body
        if isinstance(node, ast.ClassDef)
    )
    assert [name for name, count in classes.items() if count > 1] == []


def test_no_module_is_too_long_to_be_read_at_once():
    long = {path.name: len(path.read_text(encoding="utf-8").splitlines()) for path in PACKAGE.rglob("*.py")}
    assert {name: lines for name, lines in long.items() if lines >= MOST_LINES} == {}


def test_the_map_names_every_room_floor_and_module_and_no_other():
    tree = MAP.partition("<!-- tree -->")[2].partition("<!-- end of tree -->")[0]
    named = re.findall(r"^ *([a-z_]+)(/?)(?: .*)?$", tree, re.MULTILINE)
    folders = [path.parent.name for path in PACKAGE.rglob("__init__.py") if path.parent != PACKAGE]
    assert sorted(name for name, slash in named if slash) == sorted(folders)
    assert sorted(name for name, slash in named if not slash) == sorted(path.stem for path in modules())


def test_what_was_heard_becomes_a_take_in_one_place():
    made = [path.name for path in files_of("draft") if "HeardTake(" in path.read_text(encoding="utf-8")]
    assert made == ["listening.py"]
