"""The process in which inputs are met, one after another; it may die of any, and is then started anew.

    python -m tests.benchmarks.faults.worker MODULE:CLASS FOLDER SCRATCH SEED

Numbers of inputs come on standard input, a line each; a line of JSON goes out for each. What took too much processor
time ends the process with SIGXCPU, what stood still with SIGALRM; `trace.txt` in the scratch folder then says where.
"""

from __future__ import annotations

import contextlib
import faulthandler
import gc
import json
import os
import re
import resource
import shutil
import signal
import sys
import time
import traceback
import warnings
from importlib import import_module
from pathlib import Path
from random import Random
from typing import Any

from tests.benchmarks.faults.kind import FaultError, Kind

__all__ = ["kind_of", "place_in", "random_for"]

MOST_MEMORY = 1_500_000_000  # bytes above what the program takes before the first input
STANDSTILL = 6  # times the processor time that an input may take is how long it may stand still, on a busy machine
_WARNED = re.compile(r"^.*(Traceback \(most recent|\w+Warning: ).*$", re.MULTILINE)


def kind_of(spec: str) -> Kind:
    """Return the kind that a specification MODULE:CLASS names."""
    module, _, name = spec.partition(":")
    return getattr(import_module(module), name)()  # type: ignore[no-any-return]


def random_for(kind: Kind, seed: int, number: int) -> Random:
    """Return the source of all that is random about an input."""
    return Random(f"{kind.name} {seed} {number}")


def place_in(trace: str) -> str:
    """Return the innermost place of our package in a trace: module and function, without a line that moves.

    Where one error led to another it is that of the first.
    """
    trace = trace.partition("\nThe above exception was")[0].partition("\nDuring handling of the above")[0]
    found = re.findall(r'File "[^"]*/(cuesuggest/(?!tests/|\.)[^"]+)", line \d+,? in (\S+)', trace)
    # Python's own traces have the innermost last, those of faulthandler first.
    path, function = ("", "") if not found else found[0] if "most recent call first" in trace else found[-1]
    return f"{path}:{function}" if path else "?"


class _Told:
    """What is written to standard error: by Python, and by libraries past it."""

    def __init__(self, scratch: Path) -> None:
        self._python = (scratch / "told.txt").open("w+", encoding="utf-8", errors="backslashreplace")
        self._native = (scratch / "native.txt").open("w+b", buffering=0)
        os.dup2(self._native.fileno(), 2)
        sys.stderr = self._python

    def since(self) -> str | None:
        """Return what must not be told, of what came since the last call."""
        self._python.flush()
        self._python.seek(0)
        told = self._python.read()
        self._native.seek(0)
        native = self._native.read().decode("utf-8", "replace")
        for file in (self._python, self._native):
            file.seek(0)
            file.truncate()
        if _WARNED.search(told):
            return told
        return f"A library wrote: {native}" if native.strip() else None


def _met(kind: Kind, folder: Path, own: Path, told: _Told, chance: Random) -> dict[str, Any]:
    import click

    from cuesuggest.errors import CuesuggestError

    given = kind.draw(folder, chance)
    resource.setrlimit(resource.RLIMIT_CPU, (int(time.process_time()) + 1 + kind.seconds, resource.RLIM_INFINITY))
    signal.alarm(kind.seconds * STANDSTILL)
    answer: dict[str, Any] = {}
    try:
        answer["accepted"] = kind.meet(given, folder, own, chance)
    except (CuesuggestError, click.ClickException):
        answer["accepted"] = False
    except BaseException as error:
        trace = "".join(traceback.format_exception(error))
        trace = trace if len(trace) < 20_000 else f"{trace[:10_000]}\n…\n{trace[-10_000:]}"
        what = str(error).partition(":")[0] if isinstance(error, FaultError) else type(error).__name__
        answer = {"failure": f"{type(error).__name__}: {error}"[:500], "trace": trace, "what": what}
        answer["restart"] = isinstance(error, MemoryError)
    finally:
        signal.alarm(0)
        resource.setrlimit(resource.RLIMIT_CPU, (resource.RLIM_INFINITY, resource.RLIM_INFINITY))
    bad = told.since()
    if bad and "failure" in answer:
        if str(answer["what"]).startswith("status"):  # the server's own trace says where
            answer["trace"] = f"{bad[-20_000:]}\n{answer['trace']}"
    elif bad:
        what = "a trace" if "Traceback" in bad else "a library's line" if bad.startswith("A lib") else "a warning"
        answer = {"failure": bad.strip()[-500:], "trace": bad[-20_000:], "what": f"{what} on the screen"}
    return answer


def main() -> None:
    """Meet inputs until there are no more numbers."""
    spec, folder, scratch, seed = sys.argv[1], Path(sys.argv[2]), Path(sys.argv[3]), int(sys.argv[4])
    answers = os.fdopen(os.dup(1), "w", encoding="utf-8")
    os.dup2(os.open(os.devnull, os.O_WRONLY), 1)
    sys.stdout = open(os.devnull, "w", encoding="utf-8")  # noqa: SIM115
    told = _Told(scratch)
    trace = (scratch / "trace.txt").open("w", encoding="utf-8")
    faulthandler.enable(trace)
    for stop in (signal.SIGXCPU, signal.SIGALRM):
        faulthandler.register(stop, trace, chain=True)
    warnings.simplefilter("always", RuntimeWarning)
    warnings.simplefilter("always", UserWarning)
    kind = kind_of(spec)
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    own = scratch / "own"
    with kind.opened(folder, scratch):
        import cuesuggest.cli  # noqa: F401, counts to what the program takes anyway

        size = int(re.findall(r"VmSize:\s*(\d+)", Path("/proc/self/status").read_text())[0]) * 1024
        resource.setrlimit(resource.RLIMIT_AS, (size + MOST_MEMORY, resource.RLIM_INFINITY))
        for line in sys.stdin:
            shutil.rmtree(own, ignore_errors=True)
            own.mkdir()
            answer = _met(kind, folder, own, told, random_for(kind, seed, int(line)))
            gc.collect(0)
            answers.write(json.dumps(answer) + "\n")
            answers.flush()
    with contextlib.suppress(OSError):
        shutil.rmtree(own)


if __name__ == "__main__":
    main()
