"""Several songs in one go: a line for each when it is done, a summary, then what went wrong."""

from __future__ import annotations

import os
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import click

from cuesuggest.cli.progress import Bars, bars, share_done
from cuesuggest.cli.screen import echo
from cuesuggest.cli.shared import note_written
from cuesuggest.score.records import counted

if TYPE_CHECKING:
    from cuesuggest.analysis.listen import Step
    from cuesuggest.cli.pool import Failure, Tell
    from cuesuggest.draft.drafting import Drafted
    from cuesuggest.draft.order import Order

__all__ = ["LAST_STEP", "Request", "draft", "draft_several", "usable_jobs"]

LAST_STEP = "cues"  # After it the document is written, and a stop has to wait.
_NAMED = 10  # songs named when a run is stopped; the rest are counted


@dataclass(frozen=True, slots=True)
class Request:
    """A song to draft: its recording, or a document to run again, where the document goes, and how."""

    recording: Path
    document: Path
    order: Order
    carry_over: bool = False
    again: bool = False
    """Also if the document that is there would come out the same."""


@dataclass(frozen=True, slots=True)
class _Drafted:
    """What is told of a song; the song itself stays in the process that drafted it."""

    bars: int | None
    """None: no music was found."""
    cues: int
    questions: int
    lines: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class _Current:
    """The document was there and would come out the same."""


def draft(request: Request, step: Step | None) -> Drafted:
    """Draft one song and save it."""
    from cuesuggest.draft.drafting import draft_file

    return draft_file(
        request.recording, request.order, document=request.document, carry_over=request.carry_over, step=step
    )


def usable_jobs(asked: int, songs: int) -> int:
    """How many processes to use: no more than there are songs, nor than cores, where more only take turns."""
    cores = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1
    return max(1, min(asked, songs, cores))


def draft_several(requests: Sequence[Request], *, jobs: int, quiet: bool, debug: bool) -> int:
    """Draft songs whose documents differ, and say what became of each.

    Parameters
    ----------
    requests : sequence of Request
    jobs : int
        Processes.
    quiet : bool
        Print nothing but what went wrong.
    debug : bool
        With the trace of what went wrong.

    Returns
    -------
    int
        Exit code: 0 all is done, 1 something is not, 2 nothing was done.
    """
    from cuesuggest.cli.pool import run_all

    with bars(len(requests), quiet=quiet) as shown:
        news = _News(requests, shown, quiet)
        run_all(_draft, requests, jobs=jobs, watch=news)
    missing = news.missing()
    written, current, failed = news.count()
    counts = {"written": written, "already done": current, "failed": failed}
    done = ", ".join(f"{count} {what}" for what, count in counts.items() if count) or "none done"
    done = f"{counted(len(requests), 'song')}: {done}"
    if not missing and not quiet:
        echo(done)
    for sentence, trace in news.failures():
        echo(f"cuesuggest: {sentence}", err=True)
        if debug:
            echo(trace, err=True, nl=False)
    if not missing:
        return 0 if not failed else 1 if written or current else 2
    more = f" and {len(missing) - _NAMED} more" if len(missing) > _NAMED else ""
    echo(f"Stopped. {done}; not done: {', '.join(missing[:_NAMED])}{more}.", err=True)
    echo("The same command goes on from there.", err=True)
    return 1 if written else 2


def _draft(request: Request, tell: Tell) -> _Drafted | _Current:
    """Do one song of several; in a worker's process if that is asked for."""
    from cuesuggest.draft.drafting import is_current
    from cuesuggest.sound.recording import open_recording

    if not request.again and is_current(request.recording, request.order, document=request.document):
        return _Current()
    start, end = request.order.start or 0.0, request.order.end
    if end is None and request.recording.suffix.lower() != ".json":
        end = open_recording(request.recording).announced

    def step(doing: str, seconds: float | None) -> None:
        heard = (seconds - start) / (end - start) if seconds is not None and end and end > start else None
        tell((doing, seconds, share_done(doing, heard)), writing=doing == LAST_STEP)

    drafted = draft(request, step)
    song = drafted.song
    return _Drafted(
        None if song.analysis.music_start is None else sum(bar.number >= 1 for bar in song.analysis.bars),
        sum(cue.status != "rejected" for cue in song.cues),
        len(song.questions),
        drafted.rerun.lines if drafted.rerun else (),
    )


class _News:
    """Prints what became of each song and keeps it for the summary."""

    def __init__(self, requests: Sequence[Request], shown: Bars, quiet: bool) -> None:
        self._requests, self._bars, self._quiet = requests, shown, quiet
        self._results: dict[int, _Drafted | _Current | Failure] = {}
        counts = Counter(request.recording.name for request in requests)
        self._names = [
            click.format_filename(r.recording.name if counts[r.recording.name] == 1 else r.recording) for r in requests
        ]

    def started(self, index: int) -> None:
        self._bars.started(index, self._names[index])

    def told(self, index: int, note: tuple[str, float | None, float | None]) -> None:
        self._bars.told(index, *note)

    def ended(self, index: int, result: _Drafted | _Current | Failure) -> None:
        self._results[index] = result
        if isinstance(result, _Drafted):
            note_written(self._requests[index].document)
        if isinstance(result, _Drafted | _Current):
            self._bars.ended(index, failed=False)
            if not self._quiet:
                self._tell(index, result)
        else:
            self._bars.ended(index, failed=True)

    def _tell(self, index: int, result: _Drafted | _Current) -> None:
        request, name = self._requests[index], self._names[index]
        beside = request.document.parent == request.recording.parent
        document = click.format_filename(request.document.name if beside else request.document)
        if isinstance(result, _Current):
            self._bars.print(f"{name}: already done ({document})")
            return
        bars = "no music found" if result.bars is None else counted(result.bars, "bar")
        self._bars.print(
            f"{name}: {bars}, {counted(result.cues, 'cue')}, {counted(result.questions, 'question')} -> {document}"
        )
        for line in result.lines:
            self._bars.print(f"  {line}")

    def missing(self) -> list[str]:
        """Names of the songs that have not ended."""
        return [name for k, name in enumerate(self._names) if k not in self._results]

    def count(self) -> tuple[int, int, int]:
        """How many were written, were done already, failed."""
        results = self._results.values()
        written = sum(isinstance(result, _Drafted) for result in results)
        current = sum(isinstance(result, _Current) for result in results)
        return written, current, len(results) - written - current

    def failures(self) -> list[tuple[str, str]]:
        """A sentence and a trace for each song that failed, in the order of the songs."""
        return [
            (_sentence(self._requests[k].recording, result), result.trace)
            for k, result in sorted(self._results.items())
            if not isinstance(result, _Drafted | _Current)
        ]


def _sentence(recording: Path, failure: Failure) -> str:
    if failure.kind == "foreseen":
        return failure.words
    if failure.kind == "died":
        return (
            f"{recording}: the process that worked on it ended unexpectedly ({failure.words}). Run it "
            "alone; if that ends the same way, export the recording as WAV or FLAC and use that file."
        )
    return (
        f"{recording}: something unforeseen went wrong ({failure.words}). Run it alone with --debug and report what "
        "that shows."
    )
