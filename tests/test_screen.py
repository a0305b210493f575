"""What is printed: titles, notes and names of files are shown, and never obeyed by the terminal."""

import ast
import json
import os
import subprocess
import sys
import unicodedata
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cuesuggest.cli import progress as progress_module
from cuesuggest.cli.screen import shown

CLI = Path(__file__).parent.parent / "cuesuggest" / "cli"
TURNING = {chr(code) for code in (*range(0x202A, 0x202F), *range(0x2066, 0x206A))}
# Clears the screen, sets the window's title, rings, hides by turning, goes back over the line, and 8-bit controls.
NASTY = "a\x1b[2J\x1b]0;mine\x07\u202eb\u2066\rc\x08\x7f\x9b31m\x85d"


def obeyed(text):
    """What in a text a terminal would obey."""
    return {char for char in text if char in TURNING or (unicodedata.category(char) == "Cc" and char not in "\n\t")}


@given(st.text(st.characters(exclude_categories=())))
def test_no_text_is_obeyed_and_all_of_it_can_be_encoded(text):
    harmless = shown(text)
    assert not obeyed(harmless)
    harmless.encode()
    assert shown(harmless) == harmless
    kept = "".join(char for char in text if not obeyed(char) and unicodedata.category(char) != "Cs")
    assert shown(kept) == kept


def test_what_is_written_out_can_be_told():
    assert shown("\x1b[31m\u202e") == r"\x1b[31m\u202e"
    assert shown(os.fsdecode(b"caf\xe9.wav")) == r"caf\xe9.wav"
    assert shown("\ud800") == r"\ud800"


PAST = {"click.echo", "click.secho", "click.echo_via_pager", "sys.stdout.write", "sys.stderr.write"}


def printing(path):
    """Calls in a module that print past the one way out."""
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Name) and node.id == "print":
            yield node.lineno
        elif isinstance(node, ast.Call):
            words = ast.unparse(node.func)
            if words in PAST or (words.endswith(".show") and "error" in words):
                yield node.lineno


@pytest.mark.parametrize("path", sorted(set(CLI.glob("*.py")) - {CLI / "screen.py"}), ids=lambda path: path.stem)
def test_nothing_is_printed_past_the_one_way_out(path):
    assert list(printing(path)) == []


def spoiled(value, key=""):
    """The same document with every free text in it made nasty."""
    if isinstance(value, dict):
        return {name: spoiled(each, name) for name, each in value.items()}
    if isinstance(value, list):
        return [spoiled(each, key) for each in value]
    free = {"title", "note", "reason", "text", "name", "who", "first_words", "vamp", "colour", "shape", "by", "hand"}
    return value + NASTY if isinstance(value, str) and key in free and value is not None else value


@pytest.fixture
def nasty(document, run):
    run("edit", document, "note", "1", "mind the step")
    run("edit", document, "name", "A1", "Verse one")
    data = json.loads(document.read_text(encoding="utf-8"))
    document.write_text(json.dumps(spoiled(data)), encoding="utf-8")
    return document


COMMANDS = [
    ("list",),
    ("edit", "accept", "1-3"),
    ("edit", "note", "2", NASTY),
    ("edit", "name", "B1", "Refrain" + NASTY.replace("\r", "")),
    ("edit", "name", NASTY, "no such section"),
    ("edit", "history"),
    ("edit", "undo"),
    ("correct",),
    ("correct", "--section-starts", NASTY, "3"),
    ("correct", "--form", NASTY),
    ("correct", "--meter", NASTY),
    ("correct", "--tempo", NASTY),
    ("export", "--to", NASTY),
    ("export", "--to", "csv", "--landmark", NASTY),
    ("export", "--to", "csv", "--fps", NASTY),
    ("export", "--to", "csv", "--map", NASTY),
    ("export", "--to", "csv", "-o", "list" + NASTY),
    ("map", "-o", "map" + NASTY),
    ("review", "--port", NASTY),
]


@pytest.mark.parametrize("words", COMMANDS, ids=lambda words: " ".join(words[:3]).encode("unicode_escape").decode())
def test_no_command_lets_a_text_of_the_document_or_of_the_user_through(run, nasty, monkeypatch, words):
    monkeypatch.chdir(nasty.parent)
    command, *rest = words
    code, out, err = run(command, nasty, *rest)
    assert code in (0, 1, 2)
    assert out + err
    assert not obeyed(out + err)
    assert "Traceback" not in err
    assert "unforeseen" not in err


@pytest.mark.parametrize("command", ["analyze", "suggest", "list", "read", "review", "nonesuch" + NASTY])
def test_no_name_of_a_file_is_obeyed(run, tmp_path, monkeypatch, command):
    monkeypatch.chdir(tmp_path)
    Path(NASTY).write_text("no sound")
    for words in ((command, NASTY), (command, "missing" + NASTY), (command, "x", "--" + NASTY)):
        code, out, err = run(*words)
        assert code in (1, 2)
        assert r"\x1b" in out + err or words[1] == "x"
        assert not obeyed(out + err)


def test_the_trace_that_debug_shows_is_not_obeyed_either(tmp_path):
    words = [sys.executable, "-m", "cuesuggest", "--debug", "list", "missing" + NASTY]
    done = subprocess.run(words, capture_output=True, check=False, cwd=tmp_path)
    said = done.stderr.decode()
    assert done.returncode == 1
    assert "Traceback" in said
    assert not obeyed(said)


@pytest.mark.parametrize("encoding", ["ascii", "latin-1"])
def test_a_file_name_that_is_no_text_is_told_on_every_screen(nasty, encoding):
    name = os.fsencode(nasty.parent / "caf") + b"\xe9 \xff\x1b.cues.json"
    os.rename(nasty, name)
    here = {**os.environ, "PYTHONIOENCODING": encoding, "LC_ALL": "C", "PYTHONUTF8": "0"}
    for words, code in ((["export", name, "--to", "csv"], 0), (["list", b"missing" + name], 2)):
        told = [sys.executable, "-m", "cuesuggest", *words]
        done = subprocess.run(told, capture_output=True, check=False, env=here)
        assert done.returncode == code
        said = done.stdout + done.stderr
        assert rb"caf\xe9 \xff\x1b" in said
        assert not [each for each in (b"\x1b", b"Traceback", b"unforeseen") if each in said]


def test_data_that_is_piped_is_not_changed(run, nasty, tmp_path):
    target = tmp_path / "list.csv"
    assert run("export", nasty, "--to", "csv", "-o", target)[0] == 0
    code, out, _ = run("export", nasty, "--to", "csv", "-o", "-")
    assert code == 0
    assert out == target.read_bytes().decode()


def test_a_name_is_neither_markup_nor_obeyed_in_the_progress(monkeypatch, capfd):
    monkeypatch.setattr(progress_module, "_on_terminal", lambda quiet: True)
    monkeypatch.setenv("FORCE_COLOR", "1")
    monkeypatch.setenv("COLUMNS", "200")
    name = "[/red]" + NASTY
    with progress_module.progress(name, quiet=False) as step:
        step("listening", 3.0)
    with progress_module.bars(1, quiet=False) as bars:
        bars.started(0, name)
        bars.print(name)
        bars.ended(0, failed=False)
    out, err = capfd.readouterr()
    for told in (out, err):
        assert "[/red]a\\x1b[2J\\x1b]0;mine\\x07" in told
        assert "\x1b]0" not in told
        assert not obeyed(told) & {*TURNING, "\x07", "\x9b", "\x85"}
