"""Bars, beats and seconds of one song: every place of a cue comes from here."""

from __future__ import annotations

import math
from bisect import bisect_right
from itertools import pairwise
from typing import Literal

from cuesuggest.analysis.types import Bar, Section, SongAnalysis, beat_shares
from cuesuggest.score.records import ON_THE_BEAT, Place

__all__ = ["Grid", "count_word", "tempo_words"]

# Seconds. Bars whose ends and starts differ by less follow each other without a pause.
_TOUCHING = 0.05


class Grid:
    """The song's bars and beats, to turn a bar and beat into a place and back."""

    def __init__(self, analysis: SongAnalysis) -> None:
        self.bars = sorted(analysis.bars, key=lambda bar: bar.number)
        self._index = {bar.number: index for index, bar in enumerate(self.bars)}
        self._starts = [bar.start for bar in self.bars]
        self._beats = [_beat_times(bar, analysis.beats) for bar in self.bars]
        self.sections = tuple(
            section
            for section in sorted(analysis.sections, key=lambda section: section.first_bar)
            if section.bars > 0 and section.first_bar in self._index and section.last_bar in self._index
        )
        """The sections whose bars are known."""
        self._section_of = {
            number: section for section in self.sections for number in range(section.first_bar, section.last_bar + 1)
        }

    def bar(self, number: int) -> Bar | None:
        """Return the bar of that number, or None where there is none."""
        index = self._index.get(number)
        return None if index is None else self.bars[index]

    def bars_of(self, section: Section) -> list[Bar]:
        """Return the known bars of a section, in order."""
        return self.bars[self._index[section.first_bar] : self._index[section.last_bar] + 1]

    def drive_of(self, section: Section) -> float:
        """Return the mean drive of a section's bars."""
        bars = self.bars_of(section)
        return round(sum(bar.drive for bar in bars) / len(bars), 6)

    def section_of(self, number: int | None) -> Section | None:
        """Return the section that a bar belongs to."""
        return None if number is None else self._section_of.get(number)

    def section_at(self, seconds: float) -> Section | None:
        """Return the section that sounds at a time."""
        return next((each for each in self.sections if each.start <= seconds < each.end), None)

    def section_of_place(self, place: Place) -> Section | None:
        """Return the section of a place: by its bar, in a pause by its time."""
        return self.section_at(place.seconds) if place.bar is None else self.section_of(place.bar)

    def bars_between(self, earlier: Place, later: Place) -> float | None:
        """Return how many bars, and parts of a bar, lie between two places; None where one has no bar."""
        since, until = self._in_bars(earlier), self._in_bars(later)
        return None if since is None or until is None else until - since

    def place(self, number: int, beat: float = 1.0) -> Place:
        """Return the place of a beat (1.0 the downbeat) in a bar that exists."""
        index = self._index[number]
        section = self._section_of.get(number)
        seconds = round(_between(self._beats[index], beat - 1.0), 4)
        if section is None:
            return Place(seconds, number, beat)
        return Place(seconds, number, beat, section.label, section.pass_, number - section.first_bar + 1, section.bars)

    def after(self, number: int) -> Place:
        """Return the place where a bar ends: the next downbeat, or seconds alone before a pause."""
        index = self._index[number]
        if self._follows(index):
            return self.place(self.bars[index + 1].number)
        return Place(round(self.bars[index].end, 4))

    def locate(self, seconds: float, lean: Literal["near", "early", "late"] = "near") -> Place:
        """Return the place of a time, to a hundredth of a beat.

        Parameters
        ----------
        seconds : float
            From the start of the recording.
        lean : {"near", "early", "late"}
            Rounds to the nearest hundredth; down, as light may lead the sound a little but never trail it; or up,
            so that nothing goes dark before its time.
        """
        index = bisect_right(self._starts, seconds + 1e-4) - 1
        if index < 0 or seconds >= self.bars[index].end - 1e-4:
            return Place(round(seconds, 4))
        times = self._beats[index]
        at = max(min(bisect_right(times, seconds + 1e-4) - 1, len(times) - 2), 0)
        exact = at + (seconds - times[at]) / (times[at + 1] - times[at])
        # 1e-3 of a beat is rounding, not lateness.
        hundredths = {
            "near": round(exact * 100),
            "early": math.floor(exact * 100 + 0.1),
            "late": math.ceil(exact * 100 - 0.1),
        }[lean]
        beat = 1.0 + max(hundredths, 0) / 100
        if beat >= len(times):  # rounded past the bar's last beat
            return self.after(self.bars[index].number)
        return self.place(self.bars[index].number, beat)

    def count(self, place: Place) -> str:
        """Name the beat of a place as one counts it in its bar: "the 1", "just before the next 1"."""
        bar = None if place.bar is None else self.bar(place.bar)
        return count_word(place.beat, None if bar is None else bar.beats)

    def on_count(self, place: Place) -> str:
        """Say on which count, or just beside which, something is done at a place."""
        count = self.count(place)
        return count if count.startswith("just") else f"on {count}"

    def beat_seconds(self, seconds: float) -> float:
        """Return the length of a beat at a time, from the bar that sounds then or the nearest one."""
        index = min(max(bisect_right(self._starts, seconds + 1e-4) - 1, 0), len(self.bars) - 1)
        bar = self.bars[index]
        return (bar.end - bar.start) / max(bar.beats, 1)

    def bar_seconds(self, seconds: float) -> float:
        """Return the length of a bar at a time."""
        index = min(max(bisect_right(self._starts, seconds + 1e-4) - 1, 0), len(self.bars) - 1)
        return self.bars[index].end - self.bars[index].start

    def span(self, place: Place, beats: float) -> float:
        """Return the seconds that `beats` take from a place on; backwards if negative.

        Walks through the bars as they are; past the last bar, and in pauses, the nearest beat goes on.
        """
        if place.bar is None or place.beat is None:
            return round(abs(beats) * self.beat_seconds(place.seconds), 4)
        index, at = self._index[place.bar], place.beat - 1.0 + beats
        while at >= len(self._beats[index]) - 1 and self._follows(index):
            at -= len(self._beats[index]) - 1
            index += 1
        while at < 0 and index > 0 and self._follows(index - 1):
            index -= 1
            at += len(self._beats[index]) - 1
        return round(abs(_between(self._beats[index], at) - place.seconds), 4)

    def beats_in_bars(self, number: int, bars: int) -> int:
        """Return how many beats `bars` bars have from a bar on (backwards if negative)."""
        step = 1 if bars > 0 else -1
        first = number if bars > 0 else number - 1
        numbers = range(first, first + bars, step)
        return sum(bar.beats for each in numbers if (bar := self.bar(each)) is not None)

    def _in_bars(self, place: Place) -> float | None:
        bar = None if place.bar is None else self.bar(place.bar)
        return None if bar is None or place.beat is None else bar.number + (place.beat - 1) / bar.beats

    def _follows(self, index: int) -> bool:
        """Whether the next bar starts where this one ends."""
        return (
            index + 1 < len(self.bars)
            and abs(self.bars[index + 1].start - self.bars[index].end) < _TOUCHING
            and self.bars[index + 1].number == self.bars[index].number + 1
        )


def _beat_times(bar: Bar, beats: tuple[float, ...]) -> list[float]:
    """Return the bar's beats and its end: as tracked where the count is right, else as its meter is felt."""
    count = max(bar.beats, 1)
    low, high = bisect_right(beats, bar.start - 1e-3), bisect_right(beats, bar.end - 1e-3)
    times = list(beats[low:high])
    if len(times) != count or any(b - a < 1e-3 for a, b in pairwise(times)):
        shares = beat_shares(bar.time_signature, count)[:-1]
        times = [bar.start + float(share) * (bar.end - bar.start) for share in shares]
    times[0] = bar.start
    return [*times, bar.end]


def _between(times: list[float], at: float) -> float:
    """Read times at a fractional index, going on with the first or last distance outside."""
    index = min(max(math.floor(at), 0), len(times) - 2)
    return times[index] + (at - index) * (times[index + 1] - times[index])


def tempo_words(analysis: SongAnalysis, digits: int = 0) -> str:
    """Say how fast a song goes, and what is counted where that is no plain note: "72 beats (dotted quarters) a minute".

    Parameters
    ----------
    analysis : SongAnalysis
        Of a song with a tempo.
    digits : int
        After the point.
    """
    upper, _, lower = (analysis.time_signature or "").partition("/")
    felt = analysis.meter or 0
    compound = lower == "8" and upper.isdigit() and int(upper) == 3 * felt
    return f"{analysis.tempo_bpm:.{digits}f} beats{' (dotted quarters)' if compound else ''} a minute"


def count_word(beat: float | None, beats: int | None = None) -> str:
    """Name a beat as one counts it: "the 1", "the 'and' of 3", "just after the 2".

    `beats` are those of its bar: after the last of them comes the next 1.
    """
    if beat is None:
        return "the moment"
    whole = int(beat + 1e-6)
    rest = beat - whole
    after = "next 1" if whole == beats else f"{whole + 1}"
    if rest < ON_THE_BEAT:
        return f"the {whole}"
    if rest > 1 - ON_THE_BEAT:
        return f"the {after}"
    if abs(rest - 0.5) < ON_THE_BEAT:
        return f"the 'and' of {whole}"
    return f"just after the {whole}" if rest < 0.5 else f"just before the {after}"
