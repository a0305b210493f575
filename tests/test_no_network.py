"""Nothing needs a network, nothing asks for one: every command runs in a process that notes each attempt."""

import contextlib
import json
import os
import socket
import subprocess
import sys

import av
import pytest

from cuesuggest.cli import cli
from cuesuggest.song import Song
from tests.reviewing import serving

# Python reads this file first in every process, in those that the program starts too. Attempts are noted and refused;
# noted, as whoever makes one may also keep quiet about its failure. Sockets between processes of one machine that
# have a path for an address are no network.
WATCH = """
import os, sys

ASKED = {"connect", "bind", "sendto", "sendmsg", "getaddrinfo", "gethostbyname", "gethostbyaddr", "getnameinfo"}

def note(event, args):
    room, _, what = event.partition(".")
    if event == "urllib.Request" or (room == "socket" and what in ASKED):
        if what in ("connect", "bind") and isinstance(args[1], (str, bytes)):
            return
        address = args[1] if what in ("connect", "bind", "sendto", "sendmsg") else args[:1]
        host = address[0] if isinstance(address, tuple) else address
        with open(os.environ["NOTED"], "a", encoding="utf-8") as file:
            print(what, host, file=file)
        if (what, host) != ("bind", "127.0.0.1"):
            raise PermissionError(f"{event} is not allowed here")

sys.addaudithook(note)
"""


@pytest.fixture
def noted(tmp_path, monkeypatch):
    """Have every child process watched; gives what they have tried."""
    folder = tmp_path / "watch"
    folder.mkdir()
    (folder / "sitecustomize.py").write_text(WATCH)
    notes = tmp_path / "noted.txt"
    before = os.environ.get("PYTHONPATH")
    monkeypatch.setenv("PYTHONPATH", os.pathsep.join(filter(None, (str(folder), before))))
    monkeypatch.setenv("NOTED", str(notes))
    return lambda: notes.read_text().splitlines() if notes.exists() else []


def child(*words):
    """Run Python, with what it said."""
    return subprocess.run([sys.executable, *map(str, words)], capture_output=True, text=True)


@pytest.mark.parametrize(
    ("attempt", "what"),
    [
        ("import socket; socket.create_connection(('192.0.2.1', 9), 1)", "getaddrinfo 192.0.2.1"),
        ("import socket; socket.socket().connect(('192.0.2.1', 9))", "connect 192.0.2.1"),
        ("import socket; socket.socket(type=socket.SOCK_DGRAM).sendto(b'', ('192.0.2.1', 9))", "sendto 192.0.2.1"),
        ("import socket; socket.socket().bind(('0.0.0.0', 0))", "bind 0.0.0.0"),
        ("import socket; socket.gethostbyname('example.invalid')", "gethostbyname example.invalid"),
        ("import urllib.request; urllib.request.urlopen('http://192.0.2.1/')", "Request http://192.0.2.1/"),
    ],
)
def test_an_attempt_is_noted_and_refused_and_one_in_a_further_process_too(noted, attempt, what):
    assert "PermissionError" in child("-c", attempt).stderr
    assert noted() == [what]
    further = f"import subprocess, sys; subprocess.run([sys.executable, '-c', {attempt!r}], check=True)"
    assert "PermissionError" in child("-c", further).stderr
    assert noted() == [what, what]


# One process for all of them: most of the time goes into starting.
ALL = """
import json, sys
from cuesuggest.cli import main
for words in json.loads(sys.argv[1]):
    sys.argv = ["cuesuggest", *words]
    try:
        main()
    except SystemExit as ended:
        assert not ended.code, words
"""


def test_no_command_asks_for_a_network(noted, document, gone_through, tmp_path):
    recording, desk, heard = document.with_name("evening.wav"), tmp_path / "desk", tmp_path / "heard.json"
    commands = (
        ("suggest", recording, "-o", tmp_path / "fresh.cues.json"),
        ("suggest", recording, "-o", tmp_path / "kit.cues.json", "--kit"),
        ("analyze", recording, "--json", heard),
        ("list", document),
        ("edit", document, "note", 1, "slowly"),
        ("edit", document, "undo"),
        ("correct", document, "--double"),
        ("compare", document, recording, "-o", tmp_path / "both.svg"),
        ("retime", document, recording, "-o", tmp_path / "again.cues.json"),
        ("split", recording, "-o", tmp_path / "songs"),
        ("export", document, "--to", "all", "-o", desk),
        ("night", "--new", document.parent),
        ("night", document.parent / "night.toml"),
        ("night", document.parent / "night.toml", "--ceiling", 60),
        ("night", document.parent / "night.toml", "--undo"),
        ("map", document, "-o", tmp_path / "evening.map.toml"),
        ("read", desk / "evening.mid"),
        ("formats",),
        ("profiles",),
        ("rigs",),
        ("learn", gone_through, "-o", tmp_path / "mine.toml", "--yes"),
        ("doctor",),
    )
    done = child("-c", ALL, json.dumps([list(map(str, words)) for words in commands]))
    assert done.returncode == 0, done.stdout[-2000:] + done.stderr
    assert noted() == []
    assert json.loads(heard.read_bytes())["bars"]
    assert {words[0] for words in commands} | {"review", "play"} == set(cli.commands)


def test_without_an_address_what_is_played_goes_to_this_machine_alone(noted, document):
    before_the_last = Song.load(document).cues[-1].place.seconds - 0.3
    words = ("play", document, "--to", "osc", "--start-now", "--from", before_the_last)
    told = child("-m", "cuesuggest", *words).stderr
    assert set(noted()) == {"sendto 127.0.0.1"}
    # Here even that was refused, which stops nothing and is told.
    assert "Not all could be sent to 127.0.0.1" in told


def test_the_page_listens_on_this_machine_alone_and_calls_nobody(noted, document):
    with serving(document) as server:
        revision = server.song()["revision"]
        assert server.ask("GET", "/")[0] == 200
        assert server.song()["revision"] == revision
    assert noted() == ["bind 127.0.0.1"]


# What a decoder does lies below Python: there a server waits for somebody to call.


@pytest.fixture
def waiting():
    """The port of a server, and whether anybody has called it."""
    with contextlib.closing(socket.create_server(("127.0.0.1", 0))) as server:
        server.settimeout(0.2)

        def called():
            with contextlib.suppress(TimeoutError):
                server.accept()[0].close()
                return True
            return False

        yield server.getsockname()[1], called


PLAYLISTS = {
    "song.m3u8": "#EXTM3U\n#EXT-X-TARGETDURATION:9\n#EXTINF:9,\n{there}/a.ts\n#EXT-X-ENDLIST\n",
    "song.ffconcat": "ffconcat version 1.0\nfile '{there}/a.mp3'\n",
    "song.mpd": '<?xml version="1.0"?><MPD xmlns="urn:mpeg:dash:schema:mpd:2011" type="static" '
    'mediaPresentationDuration="PT9S"><Period><BaseURL>{there}/</BaseURL><AdaptationSet mimeType="audio/mp4">'
    '<Representation id="1" bandwidth="9"><BaseURL>a.mp4</BaseURL><SegmentBase/></Representation></AdaptationSet>'
    "</Period></MPD>",
    "song.sdp": "v=0\no=- 0 0 IN IP4 127.0.0.1\ns=a\nc=IN IP4 127.0.0.1\nt=0 0\nm=audio {port} RTP/AVP 14\n",
}


@pytest.mark.parametrize("name", PLAYLISTS)
def test_a_playlist_that_names_a_server_is_refused_and_the_server_not_called(run, waiting, tmp_path, name):
    port, called = waiting
    (tmp_path / name).write_text(PLAYLISTS[name].format(there=f"http://127.0.0.1:{port}", port=port))
    code, _, err = run("analyze", tmp_path / name)
    assert code == 2
    assert "is not audio that can be decoded" in err
    assert not called()


def test_the_waiting_server_would_notice_a_decoder_that_calls(waiting, tmp_path):
    port, called = waiting
    path = tmp_path / "song.m3u8"
    path.write_text(PLAYLISTS["song.m3u8"].format(there=f"http://127.0.0.1:{port}"))
    options = {"protocol_whitelist": "file,http,tcp", "allowed_extensions": "ALL", "rw_timeout": "300000"}
    with contextlib.suppress(av.FFmpegError):
        av.open(str(path), options=options).close()
    assert called()


def test_neither_a_name_with_a_protocol_reaches_a_server(run, waiting):
    port, called = waiting
    code, _, err = run("analyze", f"http://127.0.0.1:{port}/a.mp3")
    assert code == 2
    assert "was not found" in err
    assert not called()
