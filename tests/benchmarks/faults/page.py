"""The review page: broken messages and requests to its server, on a real socket of this machine."""

from __future__ import annotations

import base64
import json
import re
import shutil
import socket
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from random import Random
from typing import Any

from tests.benchmarks.faults import wild
from tests.benchmarks.faults.kind import FaultError, Input, Kind, document

__all__ = ["Pages"]

_RAW = 0.25  # share of inputs that are bytes instead of messages
_PATIENCE = 5.0  # s for an answer to a request that is whole
_REFUSED = range(400, 500)
_TEXTS = ("note", "hand", "who", "side", "look", "name", "words", "title", "text", "value", "until")
_NUMBERS = (
    "level", "bar", "beat", "beats", "bars", "seconds", "bpm", "from_bar", "up_beats", "down_beats", "answer",
)  # fmt: skip
_CHOICES = {
    "status": ("accepted", "rejected", "suggested"),
    "category": ("rest", "subtle", "lift", "intense"),
    "trigger": ("hand", "held", "follow-on", "chase"),
    "anchor": ("starts-on", "lands-on"),
    "kind": ("cut-in", "fade-out", "one-shot", "recall", "call"),
    "value": ("4/4", "3/4", "7/8", "12/8"),
    "text": ("verse 4, chorus 4, verse 4, chorus 4", "A 8, B 8"),
}


class Pages(Kind):
    """Messages to the page, and bytes to its socket: none may end in a status of 500 or a trace."""

    name = "page"
    seconds = 20

    @contextmanager
    def opened(self, folder: Path, scratch: Path) -> Iterator[object]:
        """Host the page in this process, for all inputs."""
        from cuesuggest.review.actions import ACTIONS
        from tests.reviewing import hosting

        (scratch / "page").mkdir()
        self._document = document(folder, scratch / "page")
        self._actions = sorted(ACTIONS)
        with hosting(self._document) as self._server:
            yield

    def draw(self, folder: Path, chance: Random) -> Input:
        """Draw up to four messages, or bytes like those of a request."""
        song = json.loads((folder / "song.cues.json").read_bytes())
        if chance.random() < _RAW:
            return Input("request.bin", _request(chance))
        from cuesuggest.review.actions import ACTIONS

        messages = [_message(chance, song, sorted(ACTIONS)) for _ in range(chance.randint(1, 4))]
        return Input("messages.json", json.dumps(messages).encode())

    def meet(self, given: Input, folder: Path, scratch: Path, chance: Random) -> bool:
        """Send it to the page, which shows the song as it was at first."""
        shutil.copyfile(folder / "song.cues.json", self._document)
        shutil.rmtree(self._document.parent / "kept", ignore_errors=True)
        self._server.ask("POST", "/act", {"do": "take-file"})
        if given.name.endswith(".bin"):
            accepted = _raw(self._server, given.data)
        else:
            answers = [self._sent(*message) for message in json.loads(given.data)]
            accepted = all(answers)
        status, _, body = self._server.ask("GET", "/song")
        if status != 200:
            raise FaultError(f"after it the song is shown with status {status}: {body[:300]!r}")
        return accepted

    def _sent(self, method: str, path: str, body: str | None) -> bool:
        before = self._document.read_bytes()
        data = None if body is None else base64.b64decode(body)
        if data is not None and b'"revision": "now"' in data:
            now = str(json.loads(before)["revision"]).encode()
            data = data.replace(b'"revision": "now"', b'"revision": ' + now)
        status, _, answer = self._server.ask(method, path, data)
        if status >= 500:
            raise FaultError(f"status {status} for {method} {path.partition('?')[0]}: {path}, {answer[:300]!r}")
        if status in _REFUSED and self._document.read_bytes() != before:
            raise FaultError(f"refused with {status}, and yet the document has changed: {answer[:300]!r}")
        return status not in _REFUSED


def _message(chance: Random, song: dict[str, Any], actions: list[str]) -> tuple[str, str, str | None]:
    """Draw method, path and body (in base64) of a request."""
    how = chance.random()
    if how < 0.08:
        width = chance.choice((wild.number(chance), 0, 99_999, 0.001))
        query = f"/song?bars={wild.number(chance)}&width={width}"
        paths = ("/disk", "/sound.wav?click=1", "/static/../x", "/static/%00", "/song?bars=00000&width=1", query)
        return "GET", re.sub(r"[^!-~]", "", chance.choice(paths)), None
    if how < 0.12:
        wanted = {
            "files": [chance.choice((".cues.csv", ".mid", ".page.pdf", "x", "\0", ".ltc.wav"))],
            "paper": chance.choice(("a4", "letter", "a0")),
            "who": wild.text(chance)[:100],
            "plain": chance.random() < 0.5,
            "into": chance.choice(("downloads", "folder")),
            "folder": chance.choice(("", "out", "..", "/", "\0", "out/../..", wild.text(chance)[:300])),
            "replace": chance.random() < 0.5,
        }
        if chance.random() < 0.5:
            return "POST", "/export", _packed(wild.json_(chance, wanted, most=1))
        return "POST", "/export", _packed(json.dumps(wanted).encode())
    if how < 0.14:
        return "POST", "/enter", _packed(wild.json_(chance, {"token": wild.text(chance)[:2000]}, most=1))
    said: dict[str, Any] = {"do": chance.choice((*actions, *actions, "undo", "redo", "keep-shown")), "revision": "now"}
    said |= {name: wild.text(chance)[:30_000] for name in chance.sample(_TEXTS, 6)}
    said |= {
        name: chance.choice((chance.randint(0, 20), chance.randint(-2, 4), wild.number(chance)))
        for name in _NUMBERS
        if chance.random() < 0.6
    }
    said |= {name: chance.choice(choices) for name, choices in _CHOICES.items() if chance.random() < 0.8}
    said["cue"] = chance.choice([cue["id"] for cue in song["cues"]])
    said["cues"] = [chance.choice(song["cues"])["id"] for _ in range(chance.choice((1, 3, 300)))]
    said["section"] = chance.choice([section["id"] for section in song["analysis"]["sections"]])
    said["question"] = chance.choice([*(each["id"] for each in song["questions"]), "x"])
    said["times"] = [
        round(chance.uniform(0, 1) + k * chance.choice((0.5, 0.5, -1)), 3) for k in range(chance.choice((1, 3, 40)))
    ]
    said |= {"all": chance.random() < 0.5, "lock": chance.random() < 0.5}
    data = json.dumps(said).encode()
    if how < 0.5:
        data = wild.json_(chance, said, most=2)
    elif how < 0.55:
        data = wild.bytes_(chance, data)
    return "POST", "/act", _packed(data)


def _packed(data: bytes) -> str:
    return base64.b64encode(data).decode()


def _request(chance: Random) -> bytes:
    """Draw bytes like those of a request; HOST and KEY are put in when it is sent."""
    body = chance.choice(
        (b'{"do": "undo", "revision": 1}', b"[" * 100_000, b"", b'{"revision": ' + b"9" * 400 + b"}", b"\xff")
    )
    length = chance.choice((len(body), len(body), len(body), 0, 10**9, -1, len(body) + 5))
    lines = [
        chance.choice((
            b"POST /act HTTP/1.1", b"POST /act HTTP/1.1", b"GET /song HTTP/1.1", b"GET / HTTP/1.0",
            b"PUT /act HTTP/1.1", b"POST //act HTTP/9.9",
        )),
        b"Host: HOST", b"Origin: http://HOST", b"X-Cuesuggest-Key: KEY", b"Content-Type: application/json",
        b"Content-Length: %d" % length,
    ]  # fmt: skip
    if chance.random() < 0.3:
        lines.append(chance.choice((
            b"Transfer-Encoding: chunked", b"Range: bytes=99999999999999999999-", b"Upgrade: websocket",
            b"Expect: 100-continue", b"Cookie: " + b"a=b; " * 3000, b"X: " + b"y" * 70_000,
            b"Content-Length: 3", b"Host: x",
        )))  # fmt: skip
    whole = b"\r\n".join(lines) + b"\r\n\r\n" + body
    return wild.bytes_(chance, whole, 2) if chance.random() < 0.5 else whole


def _raw(server: Any, data: bytes) -> bool:
    """Send bytes and no more; whether a request among them was granted."""
    data = data.replace(b"HOST", server.host.encode()).replace(b"KEY", server.key.encode())
    answer = b""
    with socket.create_connection(("127.0.0.1", server.port), timeout=_PATIENCE) as connection:
        try:
            connection.sendall(data)
            connection.shutdown(socket.SHUT_WR)
            while part := connection.recv(65_536):
                answer += part
        except TimeoutError:
            raise FaultError(f"no end of the answer within {_PATIENCE:g} s; until then came {answer[:300]!r}") from None
        except OSError:  # it may hang up on what is no request
            pass
    status = re.match(rb"HTTP/1\.[01] (\d{3})", answer)
    if status and int(status[1]) >= 500:
        raise FaultError(f"status {int(status[1])}: {answer[:300]!r}")
    return bool(status) and int(status[1]) < 400
