"""Two takes laid on each other: which moment of the second each moment of the first is, and how sure that is."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from cuesuggest.analysis.takes.likeness import likely_keys, log_odds
from cuesuggest.analysis.takes.take import HeardTake, Take, counted, take_of
from cuesuggest.analysis.takes.way import Costs, Course, best_way, sureness
from cuesuggest.analysis.types import SongAnalysis

__all__ = ["Aligned", "Visit", "align", "counts_to_try", "one_song", "too_long"]

# What one listener counts as a beat another counts as two, or as a third.
_COUNTS = (1.0, 2.0, 0.5, 1.5, 2 / 3, 3.0, 1 / 3)
_TEMPO = 0.3  # log; a band plays a song no more than a third faster or slower
_KEYS = 3  # tried
_ONE_SONG = 0.05  # nats a beat
_MOST_CELLS = 10_000_000  # pairs of beats, each compared in eight ways: 600 MB
_KEY, _FAR_KEY = 0.02, 0.1  # nats a beat that another key costs, and one more than two semitones away
_LEAST_TRUST, _MOST_TRUST = 0.15, 0.9
_CAUTION = 0.25  # of the trust with which the way is found: neighbouring beats are wrong together
_BESIDE = 16  # beats that only one of the takes has at its start or end, such as those of a count-in
_AROUND = 16  # beats to each side that are looked at to tell which of two passes is meant


@dataclass(frozen=True, slots=True)
class Visit:
    """A moment of the first take, found in the second."""

    seconds: float
    sure: float
    """Probability, cautiously, that it is this place rather than another."""
    around: int
    """How many beats next to it, of `_AROUND` on each side, follow as in the first take."""


@dataclass(frozen=True, slots=True)
class Aligned:
    """The second take on the beats of the first.

    Attributes
    ----------
    first, second : ndarray
        Beats of each and the end of the last, in seconds.
    way : ndarray of int, shape (beats of second,)
        The beat of the first take that each beat of the second is; -1 where it is none.
    sure : ndarray, shape (beats of second,)
        How sure that is.
    cautious : ndarray, shape (beats of second,)
        The same where neighbouring beats are trusted less: lower, and lowest where the way may be another one.
    key : int
        Semitones by which the second take is higher, -5 to 6.
    factor : float
        How often the second take's beats were counted for each that was heard.
    score : float
        Nats a beat: takes of one song lie above 0.
    """

    first: np.ndarray
    second: np.ndarray
    way: np.ndarray
    sure: np.ndarray
    cautious: np.ndarray
    key: int
    factor: float
    score: float

    def visits(self, seconds: float) -> list[Visit]:
        """Return where a moment of the first take lies in the second: nowhere, once, or as often as it is played.

        Before the first beat that both have, and after the last, time goes on for a while as it did beside them.
        """
        beat = int(np.searchsorted(self.first, seconds + 0.15 * float(np.median(np.diff(self.first))), "right")) - 1
        near = min(max(beat, 0), len(self.first) - 2)
        both = self.way[self.way >= 0]
        if len(both):
            low, high = int(both.min()), int(both.max())
            near = low if low - _BESIDE <= near < low else high if high < near <= high + _BESIDE else near
        part = (seconds - self.first[near]) / (self.first[near + 1] - self.first[near])
        steps = np.flatnonzero(self.way == near)
        if not len(steps):  # a beat that only the first take has: beside its neighbour
            steps = np.array([s + 1 for s in np.flatnonzero(self.way == near - 1)], int)
            steps = steps[steps < len(self.way)]
        found = []
        for step in steps.tolist():
            length = self.second[step + 1] - self.second[step]
            at = float(self.second[step] + part * length)
            found.append(Visit(at, float(self.cautious[step]), self._around(step)))
        return found

    def _around(self, step: int) -> int:
        """Count the beats before and after a step that follow each other as in the first take.

        Before its first beat and after its last, any silence follows.
        """
        count, beats = 0, len(self.first) - 1
        for way in (-1, 1):
            for far in range(1, _AROUND + 1):
                other, due = step + way * far, int(self.way[step]) + way * far
                there = int(self.way[other]) if 0 <= other < len(self.way) else -1
                if (there < 0 and 0 <= due < beats) or (there >= 0 and abs(there - due) > 1):
                    break
                count += 1
        return count


def align(first: HeardTake, second: HeardTake, costs: Costs | None = None) -> Aligned | None:
    """Lay a second take on the beats of a first.

    Parameters
    ----------
    first, second : HeardTake
        The first with the bars and sections that hold.
    costs : Costs, optional

    Returns
    -------
    Aligned or None
        None where one of them has no beats.
    """
    costs = costs or Costs()
    laid = _laid(first, second, costs, _KEYS)
    if laid is None:
        return None
    times, song, odds = laid.times, laid.song, laid.odds
    usual = _usual(odds, laid.way)
    costs = replace(costs, trust=min(max(costs.trust + costs.clearer * usual, _LEAST_TRUST), _MOST_TRUST))
    way, _ = best_way(odds, song, costs)
    sure, cautious = (
        _sure(sureness(odds, song, replace(costs, trust=share * costs.trust)), way) for share in (1, _CAUTION)
    )
    key = (laid.key + 5) % 12 - 5
    return Aligned(times, laid.take.times, way, sure, cautious, key, laid.factor, laid.score)


def too_long(first: SongAnalysis, second: SongAnalysis) -> bool:
    """Whether two takes have so many beats that laying one on the other would take too much memory."""
    return len(first.beats) * len(second.beats) > _MOST_CELLS


def one_song(first: HeardTake, second: HeardTake) -> bool:
    """Whether two recordings are surely takes of one song; of those that are too long that is not known."""
    if too_long(first.analysis, second.analysis):
        return False
    laid = _laid(first, second, Costs(), keys=1)
    return laid is not None and laid.score > _ONE_SONG


@dataclass(frozen=True, slots=True)
class _Laid:
    """The best of the ways through the likely keys and counts."""

    times: np.ndarray
    song: Course
    take: Take
    factor: float
    key: int
    odds: np.ndarray
    way: np.ndarray
    score: float


def _laid(first: HeardTake, second: HeardTake, costs: Costs, keys: int) -> _Laid | None:
    """Lay a take on the beats of another, in each of the likely keys and counts; None where one has no beats."""
    times = counted(first.analysis)
    if min(len(times), len(counted(second.analysis))) < 3:
        return None
    own = take_of(first, times)
    song = Course(len(own), _nearest(times, [*first.analysis.downbeats]), _parts(times, first))
    return max(_ways(own, song, second, costs, keys), key=lambda each: each.score)


def _ways(own: Take, song: Course, second: HeardTake, costs: Costs, keys: int) -> Iterator[_Laid]:
    """One at a time: of long takes the odds alone are large."""
    for factor in counts_to_try(own, counted(second.analysis)):
        take = take_of(second, counted(second.analysis, factor))
        for key in likely_keys(own, take, keys):
            odds = log_odds(own, take, key)
            way, nats = best_way(odds, song, costs)
            yield _Laid(own.times, song, take, factor, key, odds, way, nats / len(take) - _key_cost(key))


def _usual(odds: np.ndarray, way: np.ndarray) -> float:
    """Return the log odds that most beats of a way have."""
    steps = np.flatnonzero(way >= 0)
    return float(np.median(odds[way[steps], steps])) if len(steps) else 0.0


def _key_cost(key: int) -> float:
    """Takes are mostly in the same key; a singer's bad day, or a tape, moves it a little."""
    return 0.0 if key == 0 else _KEY if key in (1, 2, 10, 11) else _FAR_KEY


def counts_to_try(own: Take, other: np.ndarray) -> list[float]:
    """Return the counts of the other take that bring its beats near to the own ones; the nearest if none does."""
    ratio = float(np.median(np.diff(other))) / own.beat
    away = {factor: abs(math.log(ratio / factor)) for factor in _COUNTS}
    return [factor for factor in _COUNTS if away[factor] < _TEMPO] or [min(away, key=lambda factor: away[factor])]


def _nearest(times: np.ndarray, places: list[float]) -> list[int]:
    """Return the beats nearest to times, each once, rising."""
    return sorted({int(np.abs(times[:-1] - place).argmin()) for place in places})


def _parts(times: np.ndarray, heard: HeardTake) -> list[int]:
    return _nearest(times, [section.start for section in heard.analysis.sections]) or [0]


def _sure(likely: np.ndarray, way: np.ndarray) -> np.ndarray:
    """How likely each step of a way is, give or take a beat; 0 where it is on none."""
    padded = np.pad(likely, ((0, 0), (1, 1)))
    steps = np.arange(len(way))
    near = padded[steps, way] + padded[steps, way + 1] + padded[steps, way + 2]
    return np.where(way < 0, 0.0, np.minimum(near, 1.0))
