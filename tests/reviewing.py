"""The review page in tests: a small reviewed song, its server, and requests as any program could send them."""

from __future__ import annotations

import contextlib
import http.client
import json
import os
import re
import shutil
import signal
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from functools import cached_property
from itertools import chain
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

WIDE = {"width": 1440, "height": 900}
"""A usual window, px."""


@dataclass
class Server:
    """A running `cuesuggest review`."""

    port: int
    new_address: Callable[[], str]
    process: subprocess.Popen | None = None
    windows: list[Any] = field(default_factory=list)
    """Of the browser; they are closed before the server, which would wait for them."""

    @property
    def address(self) -> str:
        """Another one each time, since each opens the page once."""
        return self.new_address()

    @property
    def host(self) -> str:
        return f"127.0.0.1:{self.port}"

    @cached_property
    def key(self) -> str:
        status, answer = self.enter(self.address.partition("#")[2])
        assert status == 200, answer
        return answer["key"]

    def enter(self, token: object, **headers: str | None) -> tuple[int, dict]:
        """Exchange a token for the key of this run."""
        status, _, body = self.ask("POST", "/enter", {"token": token}, **{"X_Cuesuggest_Key": None, **headers})
        return status, json.loads(body)

    def kill(self) -> None:
        """As a power cut would end it."""
        self.process.send_signal(signal.SIGKILL)
        self.process.wait(10)

    def ask(self, method: str, path: str, body: object = None, **headers: str | None) -> tuple[int, dict, bytes]:
        """Send a request as the page would; headers given replace its own, None leaves one out."""
        sent: dict[str, str | None] = {"Host": self.host}
        if "X_Cuesuggest_Key" not in headers:
            sent["X-Cuesuggest-Key"] = self.key
        if method == "POST":
            sent |= {"Origin": f"http://{self.host}", "Content-Type": "application/json"}
        sent |= {name.replace("_", "-"): value for name, value in headers.items()}
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=30)
        with contextlib.closing(connection):
            connection.putrequest(method, path, skip_host=True, skip_accept_encoding=True)
            data = body if isinstance(body, bytes) else b"" if body is None else json.dumps(body).encode()
            if method == "POST":
                connection.putheader("Content-Length", str(len(data)))
            for name, value in sent.items():
                if value is not None:
                    connection.putheader(name, value)
            connection.endheaders(data or None)
            answer = connection.getresponse()
            return answer.status, {k.lower(): v for k, v in answer.getheaders()}, answer.read()

    def song(self, song: str = "") -> dict:
        status, _, body = self.ask("GET", f"/song?song={song}")
        assert status == 200, body
        return json.loads(body)

    def songs(self) -> list[dict]:
        """What the list of songs tells, seen from the first that can be opened."""
        return self.listed()["songs"]

    def listed(self) -> dict:
        """The list of songs, and the advice below it."""
        status, _, body = self.ask("GET", "/first")
        assert status == 200, body
        status, _, body = self.ask("GET", f"/songs?song={json.loads(body)['song']}")
        assert status == 200, body
        return json.loads(body)

    def act(self, what: str, revision: int | None = None, song: str = "", **values: object) -> tuple[int, dict]:
        at = self.song(song)["revision"] if revision is None else revision
        status, _, body = self.ask("POST", f"/act?song={song}", {"do": what, "revision": at, **values})
        return status, json.loads(body)


@contextlib.contextmanager
def serving(document: Path, *options: str, browser: str | None = None) -> Iterator[Server]:
    """Run the command; its output is shown if it does not come up. Without a browser, it opens none."""
    folder = document.parent
    environment = {**os.environ, "XDG_STATE_HOME": str(folder / "state"), "PYTHONUNBUFFERED": "1"}
    environment["BROWSER"] = browser or ""
    shown = [] if browser else ["--no-open"]
    command = [sys.executable, "-m", "cuesuggest", "review", str(document), *shown, *options]
    process = subprocess.Popen(
        command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, env=environment, cwd=folder
    )
    windows: list[Any] = []
    try:
        first = process.stdout.readline().strip()
        assert first.startswith("http://127.0.0.1:"), (first, process.communicate(timeout=20))
        printed = chain([first], map(str.strip, process.stdout))
        yield Server(urlsplit(first).port, lambda: next(printed), process, windows)
    finally:
        for window in windows:
            window.close()
        process.send_signal(signal.SIGINT)
        try:
            process.communicate(timeout=10)
        except subprocess.TimeoutExpired:
            process.kill()
            process.communicate()
            raise


def _listening(port: int) -> socket.socket:
    """Listen on a port, which a server that has just ended may hold for a moment longer."""
    from cuesuggest.review import server

    found = []

    def taken() -> bool:
        with contextlib.suppress(OSError):
            found.append(server.listen(port))
        return bool(found)

    until(taken)
    return found[0]


@contextlib.contextmanager
def hosting(*documents: Path, port: int = 0, night: Path | None = None) -> Iterator[Server]:
    """Serve documents from this process: the same server, without the wait for a new one."""
    from cuesuggest.review import server
    from cuesuggest.review.evening import Evening

    kept = documents[0].parent / "kept"
    evening = Evening(documents, lambda document: kept / document.name if len(documents) > 1 else kept, night)
    evening.choices = kept / "page.json"
    listening = _listening(port)
    keys = server.Keys(listening.getsockname()[1])
    running = server.server_for(evening, keys)
    threading.Thread(target=running.run, args=([listening],)).start()
    server_ = Server(keys.port, keys.address)
    try:
        yield server_
    finally:
        for window in server_.windows:
            window.close()
        # It ends and closes its socket a moment later; once nothing is on its way, nobody has to wait for that.
        until(lambda: not running.server_state.tasks)
        running.should_exit = True
        evening.close()


def copied(document: Path, recording: Path, folder: Path) -> Path:
    """Put a document and its recording into a folder of their own."""
    folder.mkdir(parents=True, exist_ok=True)
    shutil.copyfile(recording, folder / recording.name)
    return Path(shutil.copyfile(document, folder / document.name))


def with_form(document: Path, form: str, bpm: float = 120) -> Path:
    """Have a document say that its recording is of another form and tempo, drafted anew: no listening is waited for."""
    from cuesuggest.rules import draft, profile_from_values, rig_from_values
    from cuesuggest.song import Song
    from tests.songs import make_analysis

    song = Song.load(document)
    analysis = make_analysis(form, bpm=bpm, start=1.0)
    drafted = draft(analysis, profile_from_values(song.profile.values), rig_from_values(song.rig.values))
    recording = json.loads(document.read_text())["recording"]
    recording["duration"] = analysis.duration
    recording["window"] = {"start": 0.0, "end": analysis.duration}
    song = Song.model_validate(
        {
            **song.__dict__, "analysis": analysis, "recording": recording, "looks": drafted.looks,
            "plan": drafted.plan, "cues": drafted.cues, "questions": (), "revision": song.revision + 1,
        }
    )  # fmt: skip
    song.save(document, expected_revision=0)
    return document


def declared(path: Path) -> dict[str, dict[str, str]]:
    """What a file of type declarations says: by interface the type of each name."""
    text = re.sub(r"/\*\*.*?\*/", "", path.read_text(encoding="utf-8"), flags=re.DOTALL)
    found = re.findall(r"^export interface (\w+) \{$(.*?)^\}$", text, re.DOTALL | re.MULTILINE)
    return {name: dict(re.findall(r"^  (\w+): (.+);$", body, re.MULTILINE)) for name, body in found}


def unlike(value: Any, kind: str, interfaces: dict[str, dict[str, str]], where: str = "") -> list[str]:
    """Where a value from JSON is not of the type that is declared; tuples and unions are not looked into."""
    plain = {"string": str, "number": (int, float), "boolean": bool, "string[]": list, "number[]": list}
    if kind.endswith(" | null"):
        return [] if value is None else unlike(value, kind.removesuffix(" | null"), interfaces, where)
    if kind in plain:
        fits = isinstance(value, plain[kind]) and not (kind == "number" and isinstance(value, bool))
        return [] if fits else [f"{where} is no {kind}"]
    if kind.removesuffix("[]") not in interfaces:
        return []
    if kind.endswith("[]"):
        return [each for item in value for each in unlike(item, kind.removesuffix("[]"), interfaces, where)]
    return [
        each
        for name, inner in interfaces[kind].items()
        for each in (
            unlike(value[name], inner, interfaces, f"{where}.{name}") if name in value else [f"no {where}.{name}"]
        )
    ]


def until(there: Callable[[], bool]) -> None:
    """Wait for what comes without a word on the page."""
    end = time.monotonic() + 5
    while not there():
        assert time.monotonic() < end, "it never came"
        time.sleep(0.05)


def barriers(page) -> list[tuple]:
    """What keeps somebody from using what a page shows, in light and in dark.

    Only colours differ between the two, so the rules that are not about colours are gone through once.
    """
    from axe_playwright_python.sync_playwright import Axe

    if not page.evaluate("() => 'axe' in window"):
        page.evaluate(Axe().axe_script)
    found = []
    for scheme, rules in (("light", {}), ("dark", {"runOnly": ["color-contrast", "link-in-text-block"]})):
        page.emulate_media(color_scheme=scheme)
        violations = page.evaluate(
            "options => axe.run(options).then((results) => results.violations)",
            {"resultTypes": ["violations"], **rules},
        )
        found += [(scheme, each["id"], [node["target"] for node in each["nodes"]]) for each in violations]
    return found


class Page:
    """The page in a browser, used as a person would: by keys, clicks and what can be read."""

    def __init__(self, page, address: str) -> None:
        self.page = page
        self.problems: list[str] = []
        page.on("pageerror", lambda error: self.problems.append(str(error)))
        page.on("console", lambda said: said.type == "error" and self._said(said.text))
        page.goto(address)
        self._drawn()

    def reload(self) -> None:
        self.page.reload()
        self._drawn()

    def _drawn(self) -> None:
        """Wait until the song stands there at its size."""
        self.page.wait_for_selector("#chart[aria-busy=false] svg text")

    def sized(self, width: int, height: int) -> None:
        """Give the window a size, and wait until the chart is drawn for it."""
        self.page.set_viewport_size({"width": width, "height": height})
        # The page notices within a frame, and is busy from then on.
        self.page.evaluate(
            """async ([width, height]) => {
              const frame = () => new Promise((done) => requestAnimationFrame(() => setTimeout(done)));
              while (innerWidth !== width || innerHeight !== height) await frame();
              await frame();
            }""",
            [width, height],
        )
        self._drawn()

    def _said(self, text: str) -> None:
        # A refusal is an answer; the browser notes its status as if it were none.
        if not any(f"status of {status}" in text for status in (409, 422)):
            self.problems.append(text)

    def press(self, *keys: str) -> None:
        for key in keys:
            self.page.keyboard.press(key)

    def type(self, text: str) -> None:
        self.page.keyboard.insert_text(text)

    def text(self, selector: str) -> str:
        found = self.page.locator(selector)
        return found.text_content() if selector.endswith("svg") else found.inner_text()

    def told(self, part: str) -> None:
        """Wait until the page says something."""
        self.page.wait_for_function(
            "part => document.querySelector('#told').textContent.toLowerCase().includes(part)", arg=part.lower()
        )

    def slip(self, part: str) -> None:
        """Wait until the slip shows something."""
        self.page.wait_for_function("part => document.querySelector('#slip').innerText.includes(part)", arg=part)

    def seconds(self) -> float:
        """Of the sound's own clock."""
        return self.page.evaluate("document.querySelector('#sound').currentTime")

    def at(self, seconds: float, within: float = 0.01) -> None:
        """Wait until the sound's clock is there; the sound may still be loading."""
        self.page.wait_for_function(
            "([time, within]) => Math.abs(document.querySelector('#sound').currentTime - time) <= within",
            arg=[seconds, within],
        )

    def seek(self, seconds: float, wait: bool = True) -> None:
        """Set the sound's clock, as dragging on a player would, and wait until the page has seen it."""
        self.page.wait_for_function("() => document.querySelector('#sound').readyState > 2")
        self.page.evaluate("time => { document.querySelector('#sound').currentTime = time }", seconds)
        if wait:
            self.page.wait_for_timeout(60)
