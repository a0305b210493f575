"""Where on the chart the answers to a question point, and what is heard of each before it is given."""

from __future__ import annotations

from dataclasses import dataclass
from typing import assert_never

from cuesuggest.decide.meant import find_cues
from cuesuggest.errors import EditError
from cuesuggest.score.deeds import (
    Answer,
    BarOneAt,
    BeatTempo,
    BeatTimes,
    CountedIn,
    JudgeCues,
    KeepPlace,
    MoveCue,
    Question,
    SectionStarts,
    ShiftBars,
)
from cuesuggest.score.grid import Grid
from cuesuggest.score.light import held_until, is_held
from cuesuggest.score.records import EXITS, Cue
from cuesuggest.song import Song

__all__ = ["Pointed", "pointed_at"]

_BEFORE, _AFTER = 1, 2  # bars that are heard before a place and after it
_SECONDS = 4.0  # in place of bars where there are none
_BARS_OF_A_READING = 4  # so many tell whether a pulse or a count is right


@dataclass(frozen=True, slots=True)
class Pointed:
    """An answer's place, and what to play for it."""

    at: float | None
    """Seconds of the recording; None where the answer is about the whole song."""
    reading: str | None
    """Where the click falls, as `readings.clicked` takes it; None where a click tells nothing."""
    hear_from: float
    hear_to: float


def pointed_at(song: Song, question: Question) -> tuple[Pointed, ...]:
    """Return for each answer of a question where it points, in their order."""
    grid = Grid(song.analysis)
    return tuple(_pointed(song, grid, question, answer) for answer in question.answers)


def _pointed(song: Song, grid: Grid, question: Question, answer: Answer) -> Pointed:
    deed, listen = answer.deed, question.listen_at
    match deed:
        case BeatTimes() | BeatTempo() | CountedIn():
            return Pointed(None, answer.reading, *_around(song, grid, listen, 0, _BARS_OF_A_READING))
        case ShiftBars():
            at = _first_one(song, listen, deed.beats)
            start, end = _around(song, grid, listen, _BEFORE, _AFTER)
            return Pointed(at, answer.reading, start, end)
        case BarOneAt():
            return _place(song, grid, deed.seconds)
        case SectionStarts():
            there = grid.bar(deed.bar)
            return _place(song, grid, listen if there is None else there.start)
        case MoveCue():
            return _place(song, grid, deed.seconds, only=True)
        case KeepPlace():
            return _place(song, grid, listen, only=True)
        case JudgeCues():
            return _judged(song, grid, listen, deed)
        case _:
            assert_never(deed)


def _place(song: Song, grid: Grid, at: float, *, only: bool = False) -> Pointed:
    """Point to a moment: the click comes in with it, or falls on it alone."""
    return Pointed(at, f"{'on' if only else 'from'} {at:.4f}", *_around(song, grid, at, _BEFORE, _AFTER))


def _judged(song: Song, grid: Grid, listen: float, deed: JudgeCues) -> Pointed:
    """Point to what cues go by: a dark is heard as a click that stops, what stays out as one that goes on."""
    cues = [cue for id_ in deed.cues for cue in _there(song, id_)]
    if not cues:
        return Pointed(None, None, *_around(song, grid, listen, 0, _AFTER))
    first = min(cues, key=lambda cue: cue.place.seconds)
    if first.rule == "ending":
        return _place(song, grid, first.place.seconds, only=True)
    at = first.place.seconds
    back = _back(song, first, cues)
    reading = f"not {at:.4f} {back:.4f}" if back > at and deed.status == "accepted" else ""
    start, end = _around(song, grid, at, _BEFORE, _AFTER)
    return Pointed(at, reading, start, max(end, back + grid.beat_seconds(back) if grid.bars else back))


def _there(song: Song, id_: str) -> list[Cue]:
    try:
        return find_cues(song, (id_,))
    except EditError:
        return []


def _back(song: Song, first: Cue, cues: list[Cue]) -> float:
    """Return when the light is back after a dark; the moment itself where a cue makes none."""
    if is_held(first):
        return held_until(first, song.analysis)
    later = [cue.place.seconds for cue in cues if cue.kind not in EXITS]
    return max([first.place.seconds, *later]) if first.kind in EXITS else first.place.seconds


def _first_one(song: Song, listen: float, beats: float) -> float:
    """Return where the 1 of the bar that is asked about would be, so many beats later."""
    times = song.analysis.beats
    if not times:
        return listen
    near = min(range(len(times)), key=lambda k: abs(times[k] - listen))
    whole = int(beats // 1)
    index = min(max(near + whole, 0), len(times) - 1)
    later = times[min(index + 1, len(times) - 1)]
    return round(times[index] + (beats - whole) * (later - times[index]), 4)


def _around(song: Song, grid: Grid, at: float, before: int, after: int) -> tuple[float, float]:
    """Return from when to when something is heard: whole bars around a moment, inside the song."""
    window = song.recording.window
    bars = grid.bars
    if not bars:
        return max(at - _SECONDS, window.start), min(at + _SECONDS, window.end)
    index = max((k for k, bar in enumerate(bars) if bar.start <= at + 0.01), default=0)
    start = bars[max(index - before, 0)].start
    end = bars[min(index + after - 1, len(bars) - 1)].end
    return max(min(start, at), window.start), min(max(end, at + 1.0), window.end)
