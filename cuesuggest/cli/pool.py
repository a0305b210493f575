"""Many tasks on a few processes: one that fails or dies takes no other along, and a stop leaves nothing half done.

The processes are our own and not an executor's, because an executor cannot tell which task was running in a process
that died, and leaves the others to finish when it is told to stop.
"""

from __future__ import annotations

import contextlib
import os
import signal
import sys
import time
import traceback
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from multiprocessing import get_context, resource_tracker
from multiprocessing.connection import Connection, wait
from multiprocessing.context import SpawnProcess
from types import FrameType
from typing import Any, Literal, Protocol, TypeVar

from cuesuggest.errors import CuesuggestError

__all__ = ["Failure", "StopSignals", "Tell", "Watch", "run_all", "stop_signals"]

Task = TypeVar("Task")

_LOOK_UP = 0.2  # seconds between looks for a signal while nothing comes in
_GRACE = 10.0  # seconds to leave in; only one that writes takes its time, and a slow disk needs a few
_SIGNALS = [getattr(signal, name) for name in ("SIGINT", "SIGTERM", "SIGHUP") if hasattr(signal, name)]
# One thread each: several workers with several threads each only get in each other's way.
_THREADS = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "VECLIB_MAXIMUM_THREADS")


@dataclass(frozen=True, slots=True)
class Failure:
    """Why there is no result: an error the program foresees, one it does not, or the end of the worker's process."""

    kind: Literal["foreseen", "unforeseen", "died"]
    words: str
    """The error's sentence; its type and text; or how the process ended."""
    trace: str = ""


class Tell(Protocol):
    """How a task says how far it is."""

    def __call__(self, note: Any, *, writing: bool = False) -> None:
        """Say something, anything that pickles; `writing`: from here on a stop has to wait for the task's end."""


class Watch(Protocol):
    """Who is told what becomes of the tasks, by their place in the list; always in the process that started them."""

    def started(self, index: int) -> None:
        """A task begins."""

    def told(self, index: int, note: Any) -> None:
        """A running task said something."""

    def ended(self, index: int, result: Any) -> None:
        """A task has ended, with its result or a `Failure`."""


class StopSignals:
    """The signals that end a program, noted; they break into what runs only where that is asked for."""

    def __init__(self) -> None:
        self.noted = False
        self.breaks_in = False

    def note(self, number: int, frame: FrameType | None) -> None:
        """Handle a signal. Only the first breaks in: a second would interrupt the tidying up."""
        first, self.noted = not self.noted, True
        if first and self.breaks_in:
            raise KeyboardInterrupt

    @contextlib.contextmanager
    def break_in(self) -> Iterator[None]:
        """Let the first signal raise KeyboardInterrupt in here, until `breaks_in` is taken back."""
        self.breaks_in = True
        try:
            yield
        finally:
            self.breaks_in = False


@contextlib.contextmanager
def stop_signals() -> Iterator[StopSignals]:
    """Note Ctrl-C, a request to end, and the closing of the terminal while this is entered; main thread only."""
    stop = StopSignals()
    # Who ignores a signal from the start, as nohup does, goes on ignoring it.
    before = {number: signal.getsignal(number) for number in _SIGNALS}
    heeded = [number for number in _SIGNALS if before[number] not in (signal.SIG_IGN, None)]
    for number in heeded:
        signal.signal(number, stop.note)
    try:
        yield stop
    finally:
        for number in heeded:
            signal.signal(number, before[number])


def run_all(work: Callable[[Task, Tell], Any], tasks: Sequence[Task], *, jobs: int, watch: Watch) -> None:
    """Do every task, several at a time, until a signal stops it; main thread only.

    What had not ended by then is never told as ended.

    Parameters
    ----------
    work : callable
        Does one task. With `jobs` above 1 it must be importable by name, and tasks, results and notes go through
        pickle. A stop breaks it off by KeyboardInterrupt or SystemExit, unless it has said that it is writing what
        counts as its result.
    tasks : sequence
    jobs : int
        How many at a time. 1 runs in this process, more in processes of their own.
    watch : Watch
    """
    with stop_signals() as stop:
        if jobs == 1:
            _run_here(work, tasks, watch, stop)
        else:
            _Pool(work, tasks, jobs, watch, stop).run()


def _run_here(work: Callable[[Task, Tell], Any], tasks: Sequence[Task], watch: Watch, stop: StopSignals) -> None:
    for index, task in enumerate(tasks):
        if stop.noted:
            return

        def tell(note: Any, *, writing: bool = False, index: int = index) -> None:
            watch.told(index, note)
            if stop.noted and stop.breaks_in:  # The interrupt may have come in a callback, which loses exceptions.
                raise KeyboardInterrupt
            stop.breaks_in &= not writing

        watch.started(index)
        try:
            with stop.break_in():
                result = _outcome(work, task, tell)
        except KeyboardInterrupt:
            return
        watch.ended(index, result)


def _outcome(work: Callable[[Task, Tell], Any], task: Task, tell: Tell) -> Any:
    try:
        return work(task, tell)
    except CuesuggestError as error:
        return Failure("foreseen", str(error), traceback.format_exc())
    except Exception as error:
        return Failure("unforeseen", f"{type(error).__name__}: {error}", traceback.format_exc())


@dataclass(slots=True)
class _Worker:
    process: SpawnProcess
    connection: Connection[Any, Any]
    index: int
    """Of the task it works on."""


class _Pool:
    """Workers that each have one task at a time, and a pipe of their own so that it is known which one said what."""

    def __init__(
        self, work: Callable[[Any, Tell], Any], tasks: Sequence[Any], jobs: int, watch: Watch, stop: StopSignals
    ) -> None:
        self._work, self._tasks, self._jobs, self._watch, self._stop = work, tasks, jobs, watch, stop
        self._waiting = deque(range(len(tasks)))
        self._workers: list[_Worker] = []

    def run(self) -> None:
        try:
            while not self._stop.noted and (self._waiting or self._workers):
                while self._waiting and len(self._workers) < self._jobs:
                    self._hire()
                ready = wait([worker.connection for worker in self._workers], _LOOK_UP)
                for worker in [worker for worker in self._workers if worker.connection in ready]:
                    self._hear(worker)
        finally:
            self._end()
        self._hear_last_words()

    def _hire(self) -> None:
        # Spawned, not forked: a fork takes over threads' locks in whatever state they are.
        context = get_context("spawn")
        ours, theirs = context.Pipe()
        process = context.Process(target=_serve, args=(theirs, self._work), daemon=True)
        with _signals_held():
            process.start()
        theirs.close()
        worker = _Worker(process, ours, -1)
        self._workers.append(worker)
        self._give(worker)

    def _give(self, worker: _Worker) -> None:
        worker.index = self._waiting.popleft()
        self._watch.started(worker.index)
        with contextlib.suppress(OSError):  # It died: the next look at its connection tells.
            worker.connection.send((self._tasks[worker.index],))

    def _hear(self, worker: _Worker) -> None:
        try:
            ended, said = worker.connection.recv()
        except (EOFError, OSError):
            if self._stop.noted:  # The signal went to the whole group, and the worker has left on its own.
                return
            self._dismiss(worker)
            self._watch.ended(worker.index, Failure("died", _end_of(worker.process)))
            return
        if not ended:
            self._watch.told(worker.index, said)
            return
        self._watch.ended(worker.index, said)
        if self._waiting:
            self._give(worker)
        else:
            self._dismiss(worker)

    def _dismiss(self, worker: _Worker) -> None:
        worker.connection.close()  # which it hears as the end of its tasks
        worker.process.join(_GRACE)
        self._workers.remove(worker)

    def _end(self) -> None:
        for worker in self._workers:
            with contextlib.suppress(OSError):
                worker.connection.send(())  # heard at its next step
            if os.name == "posix":
                worker.process.terminate()  # heard at once; elsewhere this would be a kill
        until = time.monotonic() + _GRACE
        for worker in self._workers:
            worker.process.join(max(0.0, until - time.monotonic()))
            if worker.process.is_alive():
                worker.process.kill()
                worker.process.join()

    def _hear_last_words(self) -> None:
        """Tell of tasks that ended while the signal came."""
        for worker in self._workers:
            with contextlib.suppress(EOFError, OSError):
                while worker.connection.poll():
                    ended, said = worker.connection.recv()
                    if ended:
                        self._watch.ended(worker.index, said)
            worker.connection.close()


@contextlib.contextmanager
def _signals_held() -> Iterator[None]:
    """Hold signals back while a process starts, in it too: Ctrl-C would find it without a handler."""
    if not hasattr(signal, "pthread_sigmask"):
        yield
        return
    # Started first, because when it starts by itself it lets the signals through again.
    resource_tracker.ensure_running()
    before = signal.pthread_sigmask(signal.SIG_BLOCK, _SIGNALS)
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


def _end_of(process: SpawnProcess) -> str:
    code = process.exitcode
    if code is None or code >= 0:
        return f"exit code {code}"
    try:
        return f"signal {-code}, {signal.Signals(-code).name}"
    except ValueError:
        return f"signal {-code}"


def _serve(connection: Connection[Any, Any], work: Callable[[Any, Tell], Any]) -> None:
    """Do one task after the other in a process of one's own, until there are no more or the parent is gone."""
    for name in _THREADS:
        os.environ.setdefault(name, "1")
    ending = _Ending()

    def tell(note: Any, *, writing: bool = False) -> None:
        try:
            connection.send((False, note))
            # Nothing comes while a task runs but the word to stop, or the end of the parent.
            leave = connection.poll()
        except OSError:
            leave = True
        if leave and not ending.waits:
            raise SystemExit(1)
        ending.waits |= writing

    with contextlib.suppress(EOFError, OSError):
        while not ending.asked and (given := connection.recv()):
            connection.send((True, _outcome(work, given[0], tell)))
            ending.waits = False


class _Ending:
    """Ends a worker's process when asked to, at once or, while it writes, after that."""

    def __init__(self) -> None:
        self.asked = self.waits = False
        for number in _SIGNALS:
            # Ctrl-C and the closing of the terminal reach the whole group; the parent decides what they mean.
            signal.signal(number, self._ask if number == signal.SIGTERM else signal.SIG_IGN)
        if hasattr(signal, "pthread_sigmask"):
            signal.pthread_sigmask(signal.SIG_UNBLOCK, _SIGNALS)

    def _ask(self, number: int, frame: FrameType | None) -> None:
        self.asked = True
        signal.signal(number, signal.SIG_IGN)  # A second one would interrupt the tidying up.
        if not self.waits:
            # In a callback it gets lost with a trace on the screen; the task's next word then ends the process.
            sys.unraisablehook = lambda lost: None
            raise SystemExit(1)
