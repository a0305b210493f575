"""The command `review`: one line with the address, a recording suggested first, and an end without traces."""

import json
import socket
import subprocess
import sys

import pytest

from cuesuggest.song import Song
from tests.reviewing import copied, serving


@pytest.fixture
def server(document):
    with serving(document) as running:
        yield running


def test_the_address_is_the_first_line_and_opens_the_page(server):
    assert server.ask("GET", "/song")[0] == 200


def test_a_recording_is_suggested_first(drafted_take, tmp_path):
    document = copied(drafted_take, drafted_take.with_name("evening.wav"), tmp_path / "fresh")
    document.unlink()
    with serving(document.with_name("evening.wav")) as server:
        assert len(server.song()["cues"]) == len(Song.load(document).cues) > 3


def test_the_document_of_a_recording_is_opened_if_there_is_one(document):
    song = Song.load(document)
    with serving(document.with_name("evening.wav")) as server:
        assert server.song()["revision"] == song.revision
    assert Song.load(document) == song


def test_an_own_port_is_taken_and_a_taken_one_told(document, run):
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]
        code, out, err = run("review", document, "--no-open", "--port", port)
    assert code == 2
    assert out == ""
    assert f"Port {port}" in err
    assert "Traceback" not in err
    with serving(document, "--port", str(port)) as server:
        assert server.port == port


def test_what_is_no_document_is_told_before_anything_is_served(tmp_path, run):
    path = tmp_path / "x.cues.json"
    path.write_text(json.dumps({"format": "shopping list"}))
    for target in (path, tmp_path / "missing.cues.json", tmp_path / "missing.wav"):
        code, out, err = run("review", target, "--no-open")
        assert (code, out) == (2, "")
        assert "Traceback" not in err


def test_help_does_not_load_the_server():
    code = (
        "import sys; from cuesuggest.cli import cli\n"
        "try: cli.main(['review', '--help'], standalone_mode=False)\n"
        "finally: print([name for name in ('starlette', 'uvicorn', 'numpy', 'pydantic') if name in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert "--no-open" in done.stdout
    assert done.stdout.strip().endswith("[]")
