"""Commands and the page killed at random moments: what is on the disk is whole, and nothing acknowledged is lost."""

from __future__ import annotations

import json
import os
import shutil
import threading
import time
from collections.abc import Iterable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from random import Random
from threading import Lock
from typing import Any

from tests.benchmarks.faults.child import leavings, ran, start, state
from tests.benchmarks.faults.kind import FaultError, document
from tests.benchmarks.faults.running import Outcome

__all__ = ["kills"]

_AT_SAVE = 0.4  # share of kills that come when a file is seen to be written
_DAY = 86_400.0
_WAYS: dict[str, tuple[str, ...]] = {
    "edit": ("edit", "DOC", "title", "Another"),
    "correct": ("correct", "DOC", "--tempo", "113"),
    "export": ("export", "DOC", "--to", "csv,midi,json,list", "--force"),
    "suggest": ("suggest", "song.wav"),
    "suggest again": ("suggest", "DOC", "--profile", "club"),
}
_ENDINGS = (".cues.csv", ".mid", ".list.json")


@dataclass(frozen=True, slots=True)
class _Reference:
    """What a command does when it is not killed."""

    seconds: float
    after: dict[str, Any] | None
    files: dict[str, bytes]


def kills(
    folder: Path, out: Path, numbers: Iterable[int], *, seed: int, jobs: int = 1, until: float = float("inf")
) -> Outcome:
    """Kill commands, each way in turn, and the page.

    Refused are those whose document is as it was before, accepted those whose document is as it is afterwards.

    Parameters
    ----------
    folder : Path
        Holds the song.
    out : Path
        Where it is written what failed.
    numbers : iterable of int
    seed : int
    jobs : int
    until : float
        `time.monotonic` at which no further kill is begun.
    """
    outcome, lock = Outcome("kills"), Lock()
    ways = [*_WAYS, "review"]
    numbers = list(numbers)
    used = {ways[number % len(ways)] for number in numbers}
    references = {way: _reference(folder, way) for way in _WAYS if way in used}

    def kill(number: int) -> None:
        if time.monotonic() >= until:
            return
        way, chance = ways[number % len(ways)], Random(f"kills {seed} {number}")
        own = folder / f"kill-{number}"
        try:
            if way == "review":
                after = _killed_page(folder, own, chance)
            else:
                after = _killed(folder, own, way, references[way], chance)
        except FaultError as error:
            again = f"python -m tests.benchmarks.faults --kinds kills --seed {seed} --only {number}"
            with lock:
                outcome.fail(f"{way}: {str(error).partition(':')[0]}", again)
                out.mkdir(parents=True, exist_ok=True)
                (out / f"kills-{number}.txt").write_text(f"{way}\n{again}\n\n{error}", encoding="utf-8")
        else:
            with lock:
                outcome.note({"accepted": after})
        shutil.rmtree(own, ignore_errors=True)

    with ThreadPoolExecutor(jobs) as pool:
        for done in [pool.submit(kill, number) for number in numbers]:
            done.result()
    return outcome


def _laid_out(folder: Path, own: Path, way: str) -> Path:
    own.mkdir()
    path = document(folder, own)
    if way == "suggest":
        path.unlink()
    else:
        shutil.copytree(folder / "kept", own / "kept")
    return path


def _words(way: str, path: Path) -> list[str]:
    return [str(path) if word == "DOC" else word for word in _WAYS[way]]


def _reference(folder: Path, way: str) -> _Reference:
    own = folder / f"whole-{way}"
    path = _laid_out(folder, own, way)
    begun = time.monotonic()
    code, told = ran(own, *_words(way, path))
    if code:
        raise FaultError(f"{way} fails even when it is not killed: {told}")
    files = {ending: (own / f"song{ending}").read_bytes() for ending in _ENDINGS if (own / f"song{ending}").exists()}
    return _Reference(time.monotonic() - begun, state(path), files)


def _killed(folder: Path, own: Path, way: str, whole: _Reference, chance: Random) -> bool:
    """Kill a command; whether its work was on the disk by then."""
    path = _laid_out(folder, own, way)
    before = state(path)
    process = start(own, *_words(way, path))
    latest = time.monotonic() + whole.seconds * chance.uniform(0, 1.1)
    if chance.random() < _AT_SAVE:
        latest = time.monotonic() + 2 * whole.seconds
        pause = chance.uniform(0, 0.004)
        while process.poll() is None and time.monotonic() < latest and not leavings(own):
            time.sleep(0.0003)
        time.sleep(pause)
    else:
        while process.poll() is None and time.monotonic() < latest:
            time.sleep(0.005)
    process.kill()
    said, _ = process.communicate()
    now = state(path)
    if now not in (before, whole.after):
        raise FaultError("the document is neither as before nor as afterwards")
    done = process.returncode == 0 or (bool(said) and way != "export")
    if done and now != whole.after:
        raise FaultError(f"a save that was acknowledged is lost: {said}")
    for ending in _ENDINGS if way == "export" else ():
        target = own / f"song{ending}"
        if target.exists() and target.read_bytes() != whole.files[ending]:
            raise FaultError(f"an export is neither there nor whole: {target.name}")
        if done and not target.exists():
            raise FaultError(f"an export that was acknowledged is not there: {target.name}")
    _tidied(own, path)
    return now == whole.after


def _tidied(own: Path, path: Path) -> None:
    """Look that what a kill left goes away with the next save; it is made old, as what is new may still be written."""
    left = leavings(own)
    if len(left) > 1:
        raise FaultError(f"more than one file was left: {left}")
    if not left or not path.exists():
        return
    for each in left:
        os.utime(each, (time.time() - _DAY, time.time() - _DAY))
    code, told = ran(own, "edit", path, "title", "Afterwards")
    if code:
        raise FaultError(f"after it the document cannot be changed: {told}")
    if left := leavings(own):
        raise FaultError(f"what was left stays for ever: {left}")


def _killed_page(folder: Path, own: Path, chance: Random) -> bool:
    """Kill the page while messages come; whether the last of them was on the disk."""
    from tests.reviewing import serving

    path = _laid_out(folder, own, "review")
    acknowledged: list[str] = []
    sent: list[str] = []
    with serving(path) as server:
        revision = server.song()["revision"]

        def post() -> None:
            nonlocal revision
            for k in range(10_000):
                sent.append(f"Title {k}")
                try:
                    status, answer = server.act("title", revision, title=sent[-1])
                except (OSError, ValueError):
                    return  # it was killed
                except Exception as error:
                    if type(error).__module__ != "http.client":
                        raise
                    return
                if status == 200:
                    acknowledged.append(sent[-1])
                    revision = answer["revision"]

        posting = threading.Thread(target=post)
        posting.start()
        time.sleep(chance.uniform(0, 0.8))
        server.kill()
        posting.join()
    held = json.dumps(state(path))
    if lost := [title for title in acknowledged if f'"{title}"' not in held]:
        raise FaultError(f"a save that was acknowledged is lost: {lost}")
    title = (state(path) or {})["title"]
    if acknowledged and title not in (acknowledged[-1], sent[-1]):
        raise FaultError(f"the document is not as acknowledged last: {title} instead of {acknowledged[-1]}")
    _tidied(own, path)
    return bool(sent) and title == sent[-1]
