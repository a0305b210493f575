"""A song's bars in phrases: a new line at every section, as many bars as a musician would write on it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import groupby

from cuesuggest.analysis.types import Bar, Event, Section, SongAnalysis
from cuesuggest.score.grid import Grid
from cuesuggest.score.records import Place

__all__ = ["ChartPhrase", "Stretch", "phrases"]

_GAP = 0.5  # seconds; a shorter hole between bars is only a late downbeat


@dataclass(frozen=True, slots=True)
class Stretch:
    """A bar, or a stretch of the recording without bars."""

    bar: Bar | None
    start: float
    end: float
    heard: tuple[str, ...] = ()
    """What is heard where there are no bars, such as "talk"."""

    @property
    def place(self) -> Place:
        """Where it begins."""
        return Place(self.start, None if self.bar is None else self.bar.number)


@dataclass(frozen=True, slots=True)
class ChartPhrase:
    """What stands on one line."""

    section: Section | None
    first: bool
    """Whether it opens its section."""
    stretches: tuple[Stretch, ...]

    @property
    def room(self) -> int:
        """In bars."""
        return len(self.stretches)


def phrases(analysis: SongAnalysis, length: int, needed: Sequence[float] = (), start: float = 0.0) -> list[ChartPhrase]:
    """Divide a song into lines.

    Parameters
    ----------
    analysis : SongAnalysis
    length : int
        Bars that normally stand on a line. One more does where it would be left over alone.
    needed : sequence of float
        Seconds of cues; a stretch without bars is written where something is to be done in it, or heard.
    start : float
        Seconds at which the song starts in its recording.

    Returns
    -------
    list of ChartPhrase
    """
    found: list[ChartPhrase] = []
    grid = Grid(analysis)
    # A pause inside a section stays on the section's line.
    for section, group in groupby(
        _stretches(analysis, needed, start), key=lambda each: grid.section_of_place(each.place)
    ):
        rest = list(group)
        first = True
        while rest:
            take = length + 1 if len(rest) == length + 1 else length
            found.append(ChartPhrase(section, first and section is not None, tuple(rest[:take])))
            rest, first = rest[take:], False
    if len(found) > 1 and found[-1].stretches[0].bar is None and len(found[-2].stretches) <= length:
        # What rings out stands behind the last bar.
        last = found.pop()
        found[-1] = replace(found[-1], stretches=(*found[-1].stretches, *last.stretches))
    return found


def _stretches(analysis: SongAnalysis, needed: Sequence[float], start: float) -> list[Stretch]:
    found: list[Stretch] = []
    at = max(min([start, *needed]), 0.0)
    for bar in analysis.bars:
        found += _free(at, bar.start, analysis.events, needed)
        found.append(Stretch(bar, bar.start, bar.end))
        at = bar.end
    last = max([analysis.duration, *(event.end for event in analysis.events), *(time + _GAP for time in needed)])
    return found + _free(at, last, analysis.events, needed)


def _free(start: float, end: float, events: tuple[Event, ...], needed: Sequence[float]) -> list[Stretch]:
    if end - start < _GAP:
        return []
    inside = [event for event in events if _is_heard(event, start, end)]
    if not inside and not any(start <= time < end for time in needed):
        return []
    return [Stretch(None, start, end, tuple(dict.fromkeys(event.kind for event in inside)))]


def _is_heard(event: Event, start: float, end: float) -> bool:
    """Whether an event belongs to a stretch without bars; a ring-out begins in the last bar and outlasts it."""
    begins = event.kind == "ring-out" or (event.bar is None and event.start >= start - _GAP)
    return begins and event.start < end and event.end > start + _GAP
