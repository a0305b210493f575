"""Many tasks on a few processes: all told in their place, none lost with another, nothing left by a stop.

Workers import this module, so it imports little.
"""

import os
import signal
import subprocess
import sys
import time

import pytest

from cuesuggest.cli.pool import Failure, run_all
from cuesuggest.errors import CuesuggestError

posix = pytest.mark.skipif(os.name != "posix", reason="signals as POSIX has them")


class Diary:
    """Keeps what was told, in order."""

    def __init__(self):
        self.notes, self.results, self.begun = [], {}, []

    def started(self, index):
        self.begun.append(index)

    def told(self, index, note):
        self.notes.append((index, note))

    def ended(self, index, result):
        assert index not in self.results
        self.results[index] = result


def squared(task, tell):
    tell(f"squaring {task}")
    return task * task


def picky(task, tell):
    if task == "bad":
        raise CuesuggestError("There is something wrong with it.")
    if task == "odd":
        raise KeyError(task)
    return task


def deadly(task, tell):
    """Good tasks wait until the deadly ones have struck, so that they run while another worker dies."""
    if task == "leaves":
        os._exit(3)
    if task == "killed":
        os.kill(os.getpid(), signal.SIGKILL)
    time.sleep(0.3)
    return task


def threads(task, tell):
    return os.environ["OMP_NUM_THREADS"], os.environ["OPENBLAS_NUM_THREADS"]


def thinks(task, tell):
    """Go on for good."""
    while True:
        tell("thinking")
        time.sleep(0.01)


def writes(task, tell):
    """Make a file by way of another, slowly."""
    tell("about to write", writing=True)
    tell("writing")
    draft = task.with_suffix(".tmp")
    draft.touch()
    time.sleep(0.3)
    draft.rename(task)
    return "written"


def struck(task, tell):
    tell("writing", writing=True)
    os.kill(os.getpid(), signal.SIGINT)
    return "written"


@pytest.mark.parametrize("jobs", [1, 2, 3])
def test_every_task_is_done_and_told_in_its_place(jobs):
    diary = Diary()
    run_all(squared, [3, 1, 4, 1, 5], jobs=jobs, watch=diary)
    assert diary.results == {0: 9, 1: 1, 2: 16, 3: 1, 4: 25}
    assert sorted(diary.notes) == [(k, f"squaring {task}") for k, task in enumerate([3, 1, 4, 1, 5])]
    assert diary.begun == [0, 1, 2, 3, 4]


@pytest.mark.parametrize("jobs", [1, 2])
def test_a_task_that_fails_is_told_with_its_words_and_its_trace(jobs):
    diary = Diary()
    run_all(picky, ["good", "bad", "odd", "fine"], jobs=jobs, watch=diary)
    assert (diary.results[0], diary.results[3]) == ("good", "fine")
    assert (diary.results[1].kind, diary.results[1].words) == ("foreseen", "There is something wrong with it.")
    assert (diary.results[2].kind, diary.results[2].words) == ("unforeseen", "KeyError: 'odd'")
    assert "in picky" in diary.results[2].trace


@posix
def test_a_worker_that_dies_takes_its_own_task_along_and_no_other():
    diary = Diary()
    run_all(deadly, ["fine", "leaves", "good", "killed", "well"], jobs=2, watch=diary)
    assert [diary.results[k] for k in (0, 2, 4)] == ["fine", "good", "well"]
    assert diary.results[1] == Failure("died", "exit code 3")
    assert diary.results[3] == Failure("died", "signal 9, SIGKILL")


def test_a_worker_has_one_thread_unless_the_environment_says_otherwise(monkeypatch):
    monkeypatch.delenv("OMP_NUM_THREADS", raising=False)
    monkeypatch.setenv("OPENBLAS_NUM_THREADS", "2")
    diary = Diary()
    run_all(threads, [None], jobs=2, watch=diary)
    assert diary.results == {0: ("1", "2")}
    assert "OMP_NUM_THREADS" not in os.environ


class Impatient(Diary):
    """Stops everything as soon as one does what it is about to do, and more than once."""

    def told(self, index, note):
        if note.startswith("about to"):
            return
        os.kill(os.getpid(), signal.SIGTERM)
        os.kill(os.getpid(), signal.SIGINT)


@posix
@pytest.mark.parametrize("jobs", [1, 2])
def test_a_signal_breaks_off_what_runs_and_begins_nothing_more(jobs):
    handlers = [signal.getsignal(number) for number in (signal.SIGINT, signal.SIGTERM)]
    diary = Impatient()
    run_all(thinks, range(4), jobs=jobs, watch=diary)
    assert diary.results == {}
    assert len(diary.begun) == jobs
    assert [signal.getsignal(number) for number in (signal.SIGINT, signal.SIGTERM)] == handlers


@posix
def test_a_signal_waits_for_what_is_being_written(tmp_path):
    diary = Impatient()
    run_all(writes, [tmp_path / "a", tmp_path / "b", tmp_path / "c"], jobs=2, watch=diary)
    written = [path.name for path in sorted(tmp_path.iterdir())]
    assert diary.results == {"ab".index(name): "written" for name in written}
    assert written in (["a"], ["b"], ["a", "b"])


@posix
def test_a_signal_waits_in_this_process_too():
    diary = Diary()
    run_all(struck, [1, 2], jobs=1, watch=diary)
    assert diary.results == {0: "written"}


@pytest.fixture
def thinkers():
    """A process whose two workers think, in a group of its own; it prints what came of it when it is stopped."""
    script = (
        "from tests.test_pool import Diary, run_all, thinks\n"
        "class Loud(Diary):\n"
        "    def told(self, index, note): print(index, flush=True)\n"
        "diary = Loud()\n"
        "run_all(thinks, [1, 2, 3], jobs=2, watch=diary)\n"
        "print(diary.begun, diary.results)"
    )
    words = [sys.executable, "-c", script]
    with subprocess.Popen(words, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, process_group=0) as process:
        told = set()
        while len(told) < 2:
            told.add(process.stdout.readline())
        assert told == {"0\n", "1\n"}
        yield process


@posix
@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
def test_a_signal_to_the_whole_group_is_a_stop_and_no_failure_of_a_worker(thinkers, number):
    os.killpg(thinkers.pid, number)
    out, err = thinkers.communicate(timeout=20)
    assert out.splitlines()[-1] == "[0, 1] {}"
    assert (thinkers.returncode, err) == (0, "")


@posix
def test_workers_leave_when_their_parent_is_gone(thinkers):
    thinkers.kill()
    # Its output ends when all who could write to it are gone, workers too.
    thinkers.communicate(timeout=20)
