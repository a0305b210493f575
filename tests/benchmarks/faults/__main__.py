"""Attack the program: broken inputs by the thousand, kills at random moments, machines that fail.

    python -m tests.benchmarks.faults [--kinds documents,page,…] [--count 100000] [--kills 200] [--seed 1] [--jobs 2]
                                      [--minutes M] [--out FOLDER] [--only NUMBER]

Each kind of input has its share of the count. The same seed and number give the same input, which `--only` shows
again by itself. Inputs are met in child processes with limits of memory and processor time. A failure is an error
that the program did not foresee, a crash, a hang, more than 1.5 GB, a trace or a library's own lines on the screen, a
status of 500 from the page, or something refused that has changed on the disk. `kills` end real command lines with
SIGKILL and look what is on the disk; `conditions` are full disks, failing ones, and the like. What failed is in the
folder OUT: the input, and a text that says how to see it again.
"""

from __future__ import annotations

import argparse
import importlib.metadata
import os
import platform
import sys
import tempfile
import time
from datetime import date
from pathlib import Path

from tests.benchmarks.faults.conditions import CONDITIONS, conditions
from tests.benchmarks.faults.kills import kills
from tests.benchmarks.faults.kind import make_song, tidy_environment
from tests.benchmarks.faults.running import Outcome, met
from tests.benchmarks.faults.worker import kind_of

# Kind -> its class, and its share of the inputs; those that hear the song anew are slow.
KINDS = {
    "documents": ("files:Documents", 0.26),
    "recordings": ("files:Recordings", 0.22),
    "read": ("files:Exports", 0.14),
    "settings": ("words:Settings", 0.1),
    "maps": ("words:Maps", 0.08),
    "forms": ("words:Forms", 0.1),
    "page": ("page:Pages", 0.06),
    "options": ("words:Options", 0.03),
    "corrections": ("words:Corrections", 0.01),
}
OTHERS = ("kills", "conditions")


def prepared(folder: Path, kinds: list[str]) -> None:
    """Make the song and what inputs of these kinds are drawn from."""
    os.environ.update(tidy_environment(folder))
    make_song(folder)
    for name in kinds:
        if name in KINDS:
            kind_of(spec(name)).make(folder)


def spec(name: str) -> str:
    """Return MODULE:CLASS of a kind."""
    return f"tests.benchmarks.faults.{KINDS[name][0]}"


def table(outcomes: list[Outcome]) -> str:
    """Return what became of all inputs, as a table and a list of classes of failures."""
    rows = [(each.name, each.inputs, each.refused, each.accepted, sum(each.failures.values())) for each in outcomes]
    rows.append(("all", *(sum(int(row[k]) for row in rows) for k in range(1, 5))))  # type: ignore[misc]
    head = ("kind", "inputs", "refused", "accepted", "failures")
    lines = ["| " + " | ".join(map(str, row)) + " |" for row in (head, ("---",) * 5, *rows)]
    for each in outcomes:
        for class_, count in each.failures.most_common():
            lines += ["", f"{each.name}: {count} × {class_}", f"    {each.first[class_]}"]
    return "\n".join(lines)


def versions() -> str:
    """Return the date, the machine's system and the versions of what reads files here."""
    names = ("cuesuggest", "numpy", "scipy", "av", "soundfile", "pydantic", "starlette", "uvicorn")
    told = ", ".join(f"{name} {importlib.metadata.version(name)}" for name in names)
    return f"{date.today().isoformat()}, Python {platform.python_version()}, {platform.system()}: {told}"


def main() -> int:
    """Attack, print the table, and return whether something failed."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").partition("\n")[0])
    known = [*KINDS, *OTHERS]
    parser.add_argument("--kinds", default=",".join(known), type=lambda text: text.split(","))
    parser.add_argument("--count", default=100_000, type=int, help="Inputs of all kinds together.")
    parser.add_argument("--kills", default=200, type=int)
    parser.add_argument("--seed", default=1, type=int)
    parser.add_argument("--jobs", default=os.cpu_count() or 1, type=int)
    parser.add_argument("--minutes", type=float, help="Stop after so long; each kind has its part of the time left.")
    parser.add_argument("--out", default=Path(tempfile.gettempdir()) / "cuesuggest-faults", type=Path)
    parser.add_argument("--only", type=int, metavar="NUMBER", help="One input of a kind, one kill, one condition.")
    given = parser.parse_args()
    if unknown := set(given.kinds) - set(known):
        parser.error(f"There is no kind {', '.join(sorted(unknown))}; there are {', '.join(known)}.")
    given.out = given.out.absolute()
    print(f"{versions()}; seed {given.seed}", flush=True)
    end = time.monotonic() + given.minutes * 60 if given.minutes else float("inf")
    outcomes = []
    with tempfile.TemporaryDirectory(prefix="cuesuggest-faults-") as name:
        prepared(Path(name), given.kinds)
        for k, kind in enumerate(given.kinds):
            until = time.monotonic() + (end - time.monotonic()) / (len(given.kinds) - k)
            outcomes.append(_attacked(kind, Path(name), given, until))
            last = outcomes[-1]
            print(f"{kind}: {last.inputs} done, {sum(last.failures.values())} failed", file=sys.stderr, flush=True)
    told = table(outcomes)
    print(told)
    given.out.mkdir(parents=True, exist_ok=True)
    (given.out / "table.md").write_text(f"{versions()}\n\n{told}\n", encoding="utf-8")
    return int(any(each.failures for each in outcomes))


def _attacked(kind: str, folder: Path, given: argparse.Namespace, until: float) -> Outcome:
    only = None if given.only is None else [given.only]
    if kind == "kills":
        return kills(folder, given.out, only or range(given.kills), seed=given.seed, jobs=given.jobs, until=until)
    if kind == "conditions":
        return conditions(folder, given.out, only and [list(CONDITIONS)[only[0]]])
    numbers = only or range(round(given.count * KINDS[kind][1]))
    return met(spec(kind), folder, given.out, numbers, seed=given.seed, jobs=given.jobs, until=until)


if __name__ == "__main__":
    sys.exit(main())
