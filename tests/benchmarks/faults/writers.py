"""Several that write at once: programs with different temporary folders, tabs of the page, clients that leave."""

from __future__ import annotations

import contextlib
import io
import json
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from pathlib import Path

from tests.benchmarks.faults.child import state
from tests.benchmarks.faults.kind import FaultError, document, tidy_environment

__all__ = ["WRITERS"]

_PROGRAMS, _SAVES = 4, 15
_TABS, _POSTS = 2, 12
_PATIENCE = 60.0  # s after which a request that is not finished must have been let go

# Renames the song again and again, from whatever is on the disk; prints what was saved.
_SAVING = """
import sys
from pathlib import Path
from cuesuggest.errors import CuesuggestError
from cuesuggest.song import SetTitle, Song, change
document, name, saves = Path(sys.argv[1]), sys.argv[2], int(sys.argv[3])
for k in range(saves):
    song = change(Song.load(document), SetTitle(f"{name}-{k}"), by="test")
    try:
        song.save(document)
    except CuesuggestError:
        continue
    print(f"{name}-{k}", flush=True)
"""


def _saving(path: Path, name: str, saves: int) -> subprocess.Popen[str]:
    """Start a program that saves a document; its temporary folder is its own."""
    (path.parent / name).mkdir()
    environment = tidy_environment(path.parent / name)
    words = [sys.executable, "-c", _SAVING, str(path), name, str(saves)]
    return subprocess.Popen(words, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, env=environment)


def _ended(process: subprocess.Popen[str]) -> list[str]:
    said, told = process.communicate(timeout=300)
    if process.returncode:
        raise FaultError(f"a program that saves ended with {process.returncode}: {told[-2000:]}")
    return said.split()


def _none_lost(path: Path, acknowledged: list[str]) -> None:
    held = json.dumps(state(path))
    lost = [each for each in acknowledged if f'"{each}"' not in held]
    if lost:
        raise FaultError(f"{len(lost)} of {len(acknowledged)} saves that were acknowledged are lost: {lost[:5]}")
    if not acknowledged:
        raise FaultError("nobody could save anything")


def _programs(folder: Path, own: Path) -> None:
    path = document(folder, own)
    running = [_saving(path, f"program{k}", _SAVES) for k in range(_PROGRAMS)]
    _none_lost(path, [each for process in running for each in _ended(process)])


def _tabs(folder: Path, own: Path) -> None:
    from tests.reviewing import Server, serving

    path = document(folder, own)
    acknowledged: list[str] = []
    bad: list[str] = []

    def post(server: Server, name: str) -> None:
        for k in range(_POSTS):
            status, answer = server.act("title", title=f"{name}-{k}")
            if status == 200:
                acknowledged.append(f"{name}-{k}")
            elif status != 409:
                bad.append(f"status {status}: {answer}")

    with serving(path) as server:
        tabs = [threading.Thread(target=post, args=(server, f"tab{k}")) for k in range(_TABS)]
        for tab in tabs:
            tab.start()
        for tab in tabs:
            tab.join()
    if bad:
        raise FaultError(f"two tabs: {bad[0]}")
    _none_lost(path, acknowledged)


def _page_and_program(folder: Path, own: Path) -> None:
    """The page is told when another program has saved; what it acknowledges before and afterwards is kept."""
    from tests.reviewing import serving

    path = document(folder, own)
    acknowledged: list[str] = []
    with serving(path) as server:
        program = _saving(path, "program", _SAVES * 2)
        k = 0
        while program.poll() is None:
            k += 1
            status, answer = server.act("title", title=f"page-{k}")
            if status == 200:
                acknowledged.append(f"page-{k}")
            elif status == 409:
                server.act("take-file")
            elif status != 422 or "by somebody else" not in str(answer):
                raise FaultError(f"beside another program the page answers {status}: {answer}")
        acknowledged += _ended(program)
    _none_lost(path, acknowledged)


def _unfinished_requests(folder: Path, own: Path) -> None:
    """Clients that leave in the middle print nothing; those that stay without a word are let go."""
    from tests.reviewing import hosting

    path = document(folder, own)
    open_, told = 0, io.StringIO()
    with contextlib.redirect_stderr(told), hosting(path) as server:
        lines = (
            "POST /act HTTP/1.1",
            f"Host: {server.host}",
            f"Origin: http://{server.host}",
            f"X-Cuesuggest-Key: {server.key}",
        )
        head = "\r\n".join((*lines, "Content-Type: application/json", "Content-Length: 100"))
        begun = (head + '\r\n\r\n{"do": ').encode()
        for _ in range(5):
            with socket.create_connection(("127.0.0.1", server.port)) as leaving:
                leaving.sendall(begun)
                time.sleep(0.05)
        waiting = [socket.create_connection(("127.0.0.1", server.port)) for _ in range(20)]
        for connection in waiting:
            connection.sendall(begun[:60])
        if server.ask("GET", "/disk")[0] != 200:
            raise FaultError("requests that are not finished keep others from being answered")
        until = time.monotonic() + _PATIENCE
        for connection in waiting:
            connection.settimeout(max(0.01, until - time.monotonic()))
            with connection, contextlib.suppress(ConnectionError):
                try:
                    connection.recv(1000)
                except TimeoutError:
                    open_ += 1
    if "Traceback" in told.getvalue():
        raise FaultError(f"a client that leaves prints a trace: {told.getvalue()[-2000:]}")
    if open_:
        raise FaultError(f"{open_} of 20 requests that never came to an end are still open after {_PATIENCE:g} s")


WRITERS: dict[str, Callable[[Path, Path], None]] = {
    "programs with different temporary folders": _programs,
    "two tabs": _tabs,
    "the page and another program": _page_and_program,
    "requests that are not finished": _unfinished_requests,
}
