"""Machines that fail: full disks, errors of disks, folders that cannot be written, no home, clocks, several writers."""

from __future__ import annotations

import contextlib
import errno
import os
import resource
import shutil
import subprocess
from collections.abc import Callable, Iterator
from pathlib import Path

from tests.benchmarks.faults.child import leavings, ran, state
from tests.benchmarks.faults.kind import FaultError, document, tidy_environment
from tests.benchmarks.faults.running import Outcome
from tests.benchmarks.faults.writers import WRITERS

__all__ = ["CONDITIONS", "conditions"]

Condition = Callable[[Path, Path], str | None]
_NOBODY = 65_534


def conditions(folder: Path, out: Path, names: list[str] | None = None) -> Outcome:
    """Run the program under each condition; accepted are those that it stood.

    Parameters
    ----------
    folder : Path
        Holds the song.
    out : Path
        Where it is written what failed.
    names : list of str, optional
        Of `CONDITIONS`; all if left out.
    """
    outcome = Outcome("conditions")
    for name in names or CONDITIONS:
        own = folder / f"condition-{name.replace(' ', '-')}"
        own.mkdir()
        try:
            skipped = CONDITIONS[name](folder, own)
        except FaultError as error:
            out.mkdir(parents=True, exist_ok=True)
            again = f"python -m tests.benchmarks.faults --kinds conditions --only {list(CONDITIONS).index(name)}"
            path = out / f"condition-{name.replace(' ', '-')}.txt"
            path.write_text(f"{again}\n\n{error}", encoding="utf-8", errors="backslashreplace")
            outcome.fail(f"{name}: {str(error)[:400]}", again)
        else:
            if skipped:
                print(f"conditions: {name} was left out: {skipped}")
            else:
                outcome.note({"accepted": True})
        shutil.rmtree(own, ignore_errors=True)
    return outcome


def _writing(path: Path) -> list[tuple[str, ...]]:
    """Commands that write beside a document or over it."""
    return [
        ("edit", str(path), "title", "Another"),
        ("correct", str(path), "--tempo", "113"),
        ("export", str(path), "--to", "csv,list,chart.png"),
        ("map", str(path)),
        ("suggest", str(path), "--profile", "club"),
        ("analyze", str(path.with_name("song.wav")), "--json", str(path.with_name("heard.json"))),
    ]


def _all_refused(own: Path, path: Path, **how: object) -> None:
    """Let each command that writes fail with a sentence, and change nothing."""
    before = path.read_bytes()
    files = sorted(os.listdir(path.parent))
    for words in _writing(path):
        code, told = ran(own, *words, **how)
        if code == 0:
            raise FaultError(f"{words[0]} says that it is done: {told}")
        if path.read_bytes() != before:
            raise FaultError(f"{words[0]} has changed the document although it says that it could not: {told}")
        if sorted(os.listdir(path.parent)) != files:
            raise FaultError(f"{words[0]} leaves something: {set(os.listdir(path.parent)) - set(files)}")


def _mounted(place: Path, options: str) -> bool:
    place.mkdir()
    try:
        done = subprocess.run(
            ["mount", "-t", "tmpfs", "-o", options, "tmpfs", str(place)], capture_output=True, check=False
        )
    except OSError:
        return False
    return done.returncode == 0


@contextlib.contextmanager
def _let_go(place: Path) -> Iterator[None]:
    try:
        yield
    finally:
        subprocess.run(["umount", str(place)], check=False)


def _copied(folder: Path, place: Path) -> Path:
    shutil.copyfile(folder / "song.wav", place / "song.wav")
    return Path(shutil.copyfile(folder / "song.cues.json", place / "song.cues.json"))


def _full_disk(folder: Path, own: Path) -> str | None:
    if not _mounted(own / "disk", "size=4m"):
        return "a small disk to fill cannot be mounted here; being root would help."
    with _let_go(own / "disk"):
        path = _copied(folder, own / "disk")
        with contextlib.suppress(OSError), (own / "disk" / "filler").open("wb", buffering=0) as file:
            while file.write(b"x" * 4096):
                pass
        _all_refused(own, path)
    return None


def _full_cache(folder: Path, own: Path) -> str | None:
    """A cache and a folder of states without room are no reason to fail."""
    if not _mounted(own / "disk", "size=64k"):
        return "a small disk to fill cannot be mounted here; being root would help."
    with _let_go(own / "disk"):
        (own / "disk" / "filler").write_bytes(b"x" * 60_000)
        path = document(folder, own)
        there = {"CUESUGGEST_CACHE": str(own / "disk"), "XDG_STATE_HOME": str(own / "disk")}
        _all_done(own, path, {**tidy_environment(own), **there})
        if left := leavings(own / "disk"):
            raise FaultError(f"left on the full disk: {left}")
    return None


def _short_files(folder: Path, own: Path) -> str | None:
    """No file may grow beyond some bytes."""
    path = document(folder, own)
    environment = {**tidy_environment(own), "CUESUGGEST_CACHE": ""}
    _all_refused(own, path, environment=environment, preexec_fn=_at_most_2000_bytes)
    return None


def _at_most_2000_bytes() -> None:
    resource.setrlimit(resource.RLIMIT_FSIZE, (2000, 2000))


def _all_done(own: Path, path: Path, environment: dict[str, str], **how: object) -> None:
    """Let a draft, an edit, an undo and a list succeed."""
    for words in (
        ("suggest", path),
        ("edit", path, "title", "Another"),
        ("edit", path, "undo"),
        ("correct", path, "--half"),
        ("list", path),
    ):
        code, told = ran(own, *words, environment=environment, **how)
        if code:
            raise FaultError(f"{words[0]} fails: {told}")
    state(path)


def _full_output(folder: Path, own: Path) -> str | None:
    """Where standard output has no room, an edit is saved, or told as not done."""
    path = document(folder, own)
    for words in (("edit", path, "title", "Another"), ("correct", path, "--tempo", "113")):
        before = path.read_bytes()
        with Path("/dev/full").open("w") as full:
            code, told = ran(own, *words, stdout=full)
        if code and path.read_bytes() != before and "saved" not in told:
            raise FaultError(f"{words[0]} is saved and told as a failure: {told}")
    return None


def _closed_output(folder: Path, own: Path) -> str | None:
    path = document(folder, own)
    code, _ = ran(own, "edit", path, "title", "Another", preexec_fn=_close_outputs)
    title = (state(path) or {})["title"]
    if (code == 0) != (title == "Another"):
        raise FaultError(f"with its outputs closed, edit ends with {code}, and the title is {title}")
    return None


def _close_outputs() -> None:
    os.close(1)
    os.close(2)


_FAIL = """
import errno, io, os, pathlib
def fail(*_, **__):
    raise OSError(errno.{code}, os.strerror(errno.{code}))
"""
_EIO = _FAIL.format(code="EIO")
_FAILING = {
    "fsync": "os.fsync = fail",
    "replace": "os.replace = fail",
    "open to write": """
real = os.open
os.open = lambda path, flags, *more, **named: (fail if flags & os.O_CREAT else real)(path, flags, *more, **named)
""",
    "write": """
real = os.fdopen
class Bad(io.BytesIO):
    write = fail
def opened(descriptor, mode="r", *more, **named):
    file = real(descriptor, mode, *more, **named)
    return Bad() if "w" in mode and not file.close() else file
os.fdopen = opened
""",
}


def _failing_writes(folder: Path, own: Path) -> str | None:
    for place, fault in _FAILING.items():
        (own / place).mkdir()
        path = document(folder, own / place)
        prelude = _EIO + fault
        before = path.read_bytes()
        for words in _writing(path)[:3]:
            code, told = ran(own, *words, prelude=prelude)
            if code == 0 and words[0] != "export":  # whose files may be written in another way
                raise FaultError(f"{words[0]} says that it is done although {place} fails: {told}")
            if code and path.read_bytes() != before:
                raise FaultError(f"{words[0]} has changed the document although {place} fails: {told}")
        if left := leavings(own / place):
            raise FaultError(f"{place} fails, and this is left: {left}")
    return None


def _failing_reads(folder: Path, own: Path) -> str | None:
    """Whatever is read may fail: here it is a file that the system opens and then answers EIO."""
    bad = Path("/proc/self/mem")
    if not bad.exists():
        return "there is no file here that opens and cannot be read."
    path = document(folder, own)
    for name in ("bad.wav", "bad.cues.json", "bad.mid", "bad.toml", "bad.txt"):
        (own / name).symlink_to(bad)
    _each_refused(
        own,
        path,
        [
            ("analyze", own / "bad.wav"),
            ("suggest", own / "bad.wav"),
            ("list", own / "bad.cues.json"),
            ("read", own / "bad.mid"),
            ("suggest", path, "--profile", own / "bad.toml"),
            ("suggest", path, "--rig", own / "bad.toml"),
            ("export", path, "--to", "midi", "--map", own / "bad.toml"),
            ("correct", path, "--form", f"@{own / 'bad.txt'}"),
            ("correct", path, "--downbeats", own / "bad.txt"),
        ],
    )
    return None


def _endless_reads(folder: Path, own: Path) -> str | None:
    """A device that never ends is refused before it fills the memory."""
    path, endless = document(folder, own), Path("/dev/zero")
    _each_refused(
        own,
        path,
        [
            ("analyze", endless),
            ("list", endless),
            ("read", endless),
            ("suggest", path, "--profile", endless),
            ("export", path, "--to", "midi", "--map", endless),
            ("correct", path, "--form", f"@{endless}"),
            ("correct", path, "--downbeats", endless),
        ],
        preexec_fn=_little_memory,
    )
    return None


def _little_memory() -> None:
    resource.setrlimit(resource.RLIMIT_AS, (2 * 10**9, 2 * 10**9))
    resource.setrlimit(resource.RLIMIT_CPU, (30, 30))


def _each_refused(own: Path, path: Path, commands: list[tuple[object, ...]], **how: object) -> None:
    before = path.read_bytes()
    bad = []
    for words in commands:
        try:
            code, told = ran(own, *words, **how)
        except FaultError as error:
            bad.append(str(error))
            continue
        if code == 0 or path.read_bytes() != before:
            bad.append(f"{words} is not refused: {told}")
    if bad:
        raise FaultError("\n".join(bad))


def _read_only(folder: Path, own: Path) -> str | None:
    if _mounted(own / "disk", "size=8m"):
        with _let_go(own / "disk"):
            path = _copied(folder, own / "disk")
            subprocess.run(["mount", "-o", "remount,ro", str(own / "disk")], check=True)
            _all_refused(own, path)
        return None
    if os.getuid() == 0:
        return "a read-only disk cannot be mounted here, and permissions do not bind root."
    path = _copied(folder, own / "disk")
    (own / "disk").chmod(0o555)
    try:
        _all_refused(own, path)
    finally:
        (own / "disk").chmod(0o755)
    return None


def _no_modes(folder: Path, own: Path) -> str | None:
    """Memory sticks and network folders know no permission bits: saving must do without."""
    path = document(folder, own)
    prelude = _FAIL.format(code="EPERM") + "os.chmod = os.fchmod = pathlib.Path.chmod = fail"
    _all_done(own, path, tidy_environment(own), prelude=prelude)
    return None


def _no_home(folder: Path, own: Path) -> str | None:
    path = document(folder, own)
    gone = (
        "HOME",
        "CUESUGGEST_CACHE",
        "XDG_STATE_HOME",
        "XDG_CACHE_HOME",
        "XDG_RUNTIME_DIR",
        "USER",
        "LOGNAME",
        "TMPDIR",
    )
    environment = {name: value for name, value in tidy_environment(own).items() if name not in gone}
    # With a user whom the system does not know, nobody can say where home would be.
    unknown = "import os, pwd\ndef none(*_):\n    raise KeyError('no such user')\npwd.getpwuid = none\n"
    nowhere = "os.environ['XDG_CACHE_HOME'] = os.environ['XDG_STATE_HOME'] = '/proc/nowhere'"
    for prelude in (unknown, unknown + nowhere):
        _all_done(own, path, environment, prelude=prelude)
    return None


_BACK = """
import datetime, time
real, was = time.time, datetime.datetime
time.time = lambda: real() - {seconds}
class Back(was):
    @classmethod
    def now(cls, tz=None):
        return was.now(tz) - datetime.timedelta(seconds={seconds})
    utcnow = now
datetime.datetime = Back
"""


def _clock_back(folder: Path, own: Path) -> str | None:
    path = document(folder, own)
    done = [("edit", path, "title", title) for title in ("First", "Second")]
    for words, seconds in zip(
        (*done, ("edit", path, "undo"), ("edit", path, "redo")), (0, 86_400, 3e7, 0), strict=True
    ):
        code, told = ran(own, *words, prelude=_BACK.format(seconds=seconds))
        if code:
            raise FaultError(f"{words[2]} fails with the clock {seconds} s behind: {told}")
    now = state(path) or {}
    titles = [entry["edit"]["title"] for entry in now["history"] if "title" in entry["edit"]]
    if now["title"] != "Second" or titles[-2:] != ["First", "Second"]:
        raise FaultError(f"with the clock turned back the title is {now['title']}, the titles given were {titles}")
    for words in (("list", path), ("edit", path, "history"), ("export", path, "--to", "list,csv")):
        code, told = ran(own, *words, prelude=_BACK.format(seconds=2e9))
        if code:
            raise FaultError(f"{words[0]} fails with a clock long before: {told}")
    return None


CONDITIONS: dict[str, Condition] = {
    "full disk": _full_disk,
    "full cache": _full_cache,
    "files of at most 2000 bytes": _short_files,
    "full standard output": _full_output,
    "closed standard output": _closed_output,
    f"writes answered {errno.errorcode[errno.EIO]}": _failing_writes,
    f"reads answered {errno.errorcode[errno.EIO]}": _failing_reads,
    "endless reads": _endless_reads,
    "read-only disk": _read_only,
    "no permission bits": _no_modes,
    "no home": _no_home,
    "clock turned back": _clock_back,
    **WRITERS,
}
