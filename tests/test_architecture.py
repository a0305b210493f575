"""Which part may know which: read from the imports, so that the picture in docs/architecture.md stays true."""

import ast
from pathlib import Path

import pytest

PACKAGE = Path(__file__).parent.parent / "cuesuggest"
RECORDS = {"cuesuggest.analysis.types", "cuesuggest.score.records", "cuesuggest.errors"}

IN_PASSING = {"__pycache__", "py.typed"}
# part -> what of the package it may import, beside itself
MAY_KNOW = {
    "errors": set(),
    "atomic": set(),
    "recording": {"cuesuggest.errors"},
    "cues": {"cuesuggest.analysis.types"},
    "analysis": {"cuesuggest.errors", "cuesuggest.sound.recording"},
    "rules": RECORDS,
    "form_text": RECORDS | {"cuesuggest.analysis.form"},
    "song": RECORDS | {"cuesuggest.song.atomic", "cuesuggest.score.form_text"},
    "chart": RECORDS | {"cuesuggest.song"},
    "export": RECORDS | {"cuesuggest.export.chart", "cuesuggest.song"},
    "report": RECORDS | {"cuesuggest.song"},
    "sound": {"cuesuggest.errors", "cuesuggest.sound.recording"},
    "rerun": RECORDS | {"cuesuggest.score.form_text", "cuesuggest.rules", "cuesuggest.song"},
    "redraft": RECORDS | {"cuesuggest.draft.again", "cuesuggest.rules", "cuesuggest.song"},
    "cache": {
        "cuesuggest.analysis.rhythm.network",
        "cuesuggest.analysis.spectrum",
        "cuesuggest.song.atomic",
        "cuesuggest.sound.recording",
    },
    "boundaries": RECORDS | {"cuesuggest.analysis.form", "cuesuggest.song", "cuesuggest.decide.statements"},
    "statements": RECORDS | {"cuesuggest.analysis.form", "cuesuggest.score.form_text", "cuesuggest.song"},
    "decisions": RECORDS
    | {"cuesuggest.rules", "cuesuggest.song", "cuesuggest.draft.again", "cuesuggest.decide.statements"},
}
AUDIO = {"soundfile", "av", "soxr", "scipy", "librosa", "mir_eval"}


def files_of(part):
    single = PACKAGE / f"{part}.py"
    return [single] if single.exists() else sorted((PACKAGE / part).rglob("*.py"))


def imports(path):
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            yield from (name.name for name in node.names)
        elif isinstance(node, ast.ImportFrom) and node.module:
            yield node.module


def test_every_part_of_the_package_has_its_place_here_or_stands_above():
    above = {"cli", "review", "workflow", "training", "pool", "__init__", "__main__"}
    there = {path.stem if path.is_file() else path.name for path in PACKAGE.iterdir() if path.name not in IN_PASSING}
    assert there == set(MAY_KNOW) | above


@pytest.mark.parametrize("part", MAY_KNOW)
def test_a_part_knows_only_what_it_may(part):
    own = f"cuesuggest.{part}"
    for path in files_of(part):
        for name in imports(path):
            if name.startswith("cuesuggest") and name != own and not name.startswith(own + "."):
                assert any(name == known or name.startswith(known + ".") for known in MAY_KNOW[part]), (path, name)


@pytest.mark.parametrize(
    "part", ["rules", "song", "chart", "export", "cues", "report", "rerun", "decisions", "statements"]
)
def test_no_audio_code_after_the_analysis(part):
    for path in files_of(part):
        assert not {name.split(".")[0] for name in imports(path)} & AUDIO, path


def test_training_is_imported_by_nothing_else():
    for path in PACKAGE.rglob("*.py"):
        if "training" not in path.parts:
            assert not any(name.startswith("cuesuggest.analysis.training") for name in imports(path)), path


def test_the_page_is_known_to_the_command_line_alone():
    for path in PACKAGE.rglob("*.py"):
        if not {"cli", "review"} & set(path.parts):
            assert not any(name.startswith("cuesuggest.review") for name in imports(path)), path


def test_pydantic_stays_at_the_files_edge():
    for path in PACKAGE.rglob("*.py"):
        if path.parent.name != "song":
            assert not any(name.split(".")[0] == "pydantic" for name in imports(path)), path
