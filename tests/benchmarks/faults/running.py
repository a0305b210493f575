"""Inputs handed to worker processes, and what became of each."""

from __future__ import annotations

import json
import shutil
import signal
import subprocess
import sys
import time
from collections import Counter
from collections.abc import Iterable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from pathlib import Path
from threading import Lock

from tests.benchmarks.faults.kind import tidy_environment
from tests.benchmarks.faults.worker import kind_of, place_in, random_for

__all__ = ["Outcome", "met"]

_MOST_KEPT = 20  # failures of one class whose inputs are written
_LIFE = 1000  # inputs that one process meets


@dataclass
class Outcome:
    """What became of the inputs of one kind."""

    name: str
    inputs: int = 0
    refused: int = 0
    accepted: int = 0
    failures: Counter[str] = field(default_factory=Counter)
    """By class: what went wrong, and in which function."""
    first: dict[str, str] = field(default_factory=dict)
    """Class of failures -> how to see the first of it again."""

    def note(self, answer: dict[str, object]) -> None:
        """Count an answer that is no failure."""
        self.inputs += 1
        self.accepted += bool(answer["accepted"])
        self.refused += not answer["accepted"]

    def fail(self, class_: str, again: str) -> int:
        """Count a failure; returns how many of its class there are now."""
        self.inputs += 1
        self.failures[class_] += 1
        self.first.setdefault(class_, again)
        return self.failures[class_]


class _Worker:
    """A process that meets inputs of one kind."""

    def __init__(self, spec: str, folder: Path, scratch: Path, seed: int) -> None:
        self._words = [sys.executable, "-m", f"{__package__}.worker", spec, str(folder), str(scratch), str(seed)]
        self._folder, self._scratch = folder, scratch
        self._process: subprocess.Popen[str] | None = None
        self._met = 0

    def _start(self) -> subprocess.Popen[str]:
        shutil.rmtree(self._scratch, ignore_errors=True)
        shutil.copytree(self._folder / "kept", self._scratch / "kept")
        self._met = 0
        environment = tidy_environment(self._scratch)
        return subprocess.Popen(
            self._words, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True, env=environment, cwd=self._scratch
        )

    def meet(self, number: int) -> dict[str, object]:
        """Let it meet an input; a process that died of it is a failure like others."""
        if self._process is None:
            self._process = self._start()
        assert self._process.stdin
        assert self._process.stdout
        try:
            self._process.stdin.write(f"{number}\n")
            self._process.stdin.flush()
            line = self._process.stdout.readline()
        except OSError:
            line = ""
        self._met += 1
        if line:
            answer: dict[str, object] = json.loads(line)
            if answer.get("restart") or self._met >= _LIFE:
                self.stop()
            return answer
        code = self._process.wait()
        self.stop()
        path = self._scratch / "trace.txt"
        trace = path.read_text(encoding="utf-8", errors="replace") if path.exists() else ""
        what = {-signal.SIGXCPU: "hang (processor time)", -signal.SIGALRM: "standstill"}.get(code, f"died with {code}")
        return {"failure": what, "what": what, "trace": trace or _last_words(self._scratch)}

    def stop(self) -> None:
        """End the process."""
        if self._process is not None:
            self._process.kill()
            self._process.communicate()
            self._process = None


def _last_words(scratch: Path) -> str:
    return "\n".join(
        path.read_text(encoding="utf-8", errors="replace") for path in scratch.glob("*.txt") if path.stat().st_size
    )


def met(
    spec: str,
    folder: Path,
    out: Path,
    numbers: Iterable[int],
    *,
    seed: int,
    jobs: int = 1,
    until: float = float("inf"),
) -> Outcome:
    """Let the program meet inputs of one kind.

    Parameters
    ----------
    spec : str
        MODULE:CLASS of the kind.
    folder : Path
        What `Kind.make` made.
    out : Path
        Where inputs that fail are written.
    numbers : iterable of int
        Which inputs.
    seed : int
    jobs : int
        Processes.
    until : float
        `time.monotonic` at which no further input is begun.
    """
    kind = kind_of(spec)
    outcome, lock, left = Outcome(kind.name), Lock(), iter(numbers)
    out.mkdir(parents=True, exist_ok=True)

    def work(job: int) -> None:
        worker = _Worker(spec, folder, folder / f"worker-{kind.name}-{job}", seed)
        try:
            while time.monotonic() < until:
                with lock:
                    number = next(left, None)
                if number is None:
                    return
                answer = worker.meet(number)
                with lock:
                    _noted(answer, number)
        finally:
            worker.stop()

    def _noted(answer: dict[str, object], number: int) -> None:
        if "failure" not in answer:
            outcome.note(answer)
            return
        class_ = f"{answer['what']} in {place_in(str(answer['trace']))}"
        again = f"python -m tests.benchmarks.faults --kinds {kind.name} --seed {seed} --only {number}"
        if outcome.fail(class_, again) <= _MOST_KEPT:
            given = kind.draw(folder, random_for(kind, seed, number))
            (out / f"{kind.name}-{number}-{given.name}").write_bytes(given.data)
            said = f"{class_}\n{again}\n\n{answer['failure']}\n\n{answer['trace']}"
            (out / f"{kind.name}-{number}.txt").write_text(said, encoding="utf-8", errors="backslashreplace")

    with ThreadPoolExecutor(jobs) as pool:
        for done in [pool.submit(work, job) for job in range(jobs)]:
            done.result()
    return outcome
