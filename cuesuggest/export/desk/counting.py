"""When clicks and counts come: on the beats of the song, and three beats into every cue.

Beats are those of the analysis, felt as they are. Where nobody plays, as before the song and in a pause, beats are
counted back from the bar that follows, at its tempo, as a musician counts in.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from cuesuggest.export.common.options import Options
from cuesuggest.export.common.show_bars import Measure, measures
from cuesuggest.export.common.told import Told, told

if TYPE_CHECKING:
    from cuesuggest.song import Song

__all__ = ["Counted", "beats_of_bars", "counts", "cut_short"]

_COUNT = 3  # beats: "3, 2, 1"
_AHEAD = _COUNT + 1  # beats from the figure, which tells what comes, to the cue
_FURTHER = 4  # beats that the figure may come sooner where other cues are in its way
_WITHOUT_BEATS = 1.0  # s between two counts in a recording without music


@dataclass(frozen=True, slots=True)
class Counted:
    """A tone of a count."""

    at: float
    """Seconds of the show."""
    what: Literal["figure", "pips", "go"]
    told: Told
    left: int = 0
    """Beats to go."""


def beats_of_bars(song: Song, options: Options) -> list[tuple[float, bool]]:
    """Second of the show of each felt beat of the song, and whether it is a bar's first."""
    bars = _played(song, options)
    return [(time, index == 0) for bar in bars for index, time in enumerate(bar.times[:-1])]


def counts(song: Song, options: Options) -> list[Counted]:
    """Lay out the count into every cue.

    On the fourth beat before a cue its figure sounds, or sooner where another cue is there; then the beats that are
    left are counted, and as the hand begins comes the go. Of a series only the first has a figure.

    Parameters
    ----------
    song : Song
    options : Options

    Returns
    -------
    list of Counted
        In order of time. A beat on which several cues would be counted counts the nearest.
    """
    all_ = told(song, options)
    beats = _CountGrid(_played(song, options), max((each.at for each in all_), default=0.0))
    places = [beats.place(each.at) for each in all_]
    found = [Counted(each.at, "go", each) for each in all_]
    taken = {_slot(place) for place in places}
    for left in range(1, _COUNT + 1):
        for place, each in zip(places, all_, strict=True):
            slot = _slot(place - left)
            if slot not in taken and (at := beats.second(place - left)) >= 0:
                taken.add(slot)
                found.append(Counted(at, "pips", each, left))
    found += _figures(all_, places, beats, taken)
    return sorted(found, key=lambda each: each.at)


def cut_short(song: Song, options: Options) -> tuple[str, ...]:
    """Say which cues come too early for a whole count."""
    told_of = {each.told.cue.number for each in counts(song, options) if each.what == "figure"}
    short = sorted({each.cue.number for each in told(song, options)} - told_of)
    if not short:
        return ()
    numbers = ", ".join(f"{number:g}" for number in short)
    return (f"Too early for a whole count: {numbers}. Give --offset 8 for room before the song.",)


def _figures(all_: Sequence[Told], places: Sequence[float], beats: _CountGrid, taken: set[int]) -> Iterator[Counted]:
    """The last cue first, so that figures that give way to each other keep the order of their cues."""
    latest = float("inf")
    for place, each in reversed(list(zip(places, all_, strict=True))):
        if each.again:
            continue
        usual = place - _AHEAD
        tried = (min(usual, latest) - sooner for sooner in range(_FURTHER + 1))
        free = (spot for spot in tried if _slot(spot) not in taken and beats.second(spot) >= 0)
        spot = next(free, usual)
        if (at := beats.second(spot)) >= 0:
            taken.add(_slot(spot))
            latest = spot - 1
            yield Counted(at, "figure", each)


def _slot(place: float) -> int:
    """The half beat that a place is heard on."""
    return round(2 * place)


def _played(song: Song, options: Options) -> list[Measure]:
    return [bar for bar in measures(song, options.timing) if bar.bar is not None]


class _CountGrid:
    """Beats without holes, from some before second 0 on; a place counts them from 0."""

    def __init__(self, bars: Sequence[Measure], until: float) -> None:
        self._times: list[float] = []
        end, step = None, _WITHOUT_BEATS
        for bar in bars:
            step = (bar.end - bar.start) / (len(bar.times) - 1)
            # A pause is no whole number of beats: the rest of one stays at its start.
            self._fill_back(bar.start, step, -2 * _AHEAD * step if end is None else end + step / 2)
            self._times += bar.times[:-1]
            end = bar.end
        if end is None:
            self._fill_back(0.0, step, -2 * _AHEAD * step)
        start = end or 0.0
        self._times += [start + step * index for index in range(int(max(until - start, 0.0) / step) + 2)]

    def _fill_back(self, start: float, step: float, until: float) -> None:
        count = max(int((start - until) / step), 0)
        self._times += [start - step * index for index in range(count, 0, -1)]

    def place(self, seconds: float) -> float:
        """Beats to a second of the show."""
        index = min(max(bisect_right(self._times, seconds) - 1, 0), len(self._times) - 2)
        left, right = self._times[index : index + 2]
        return index + (seconds - left) / (right - left)

    def second(self, place: float) -> float:
        """Second of the show at a place."""
        index = min(max(int(place), 0), len(self._times) - 2)
        left, right = self._times[index : index + 2]
        return left + (place - index) * (right - left)
