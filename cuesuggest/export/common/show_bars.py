"""A song as bars from second 0 of the show to its end, for files in which time is counted in bars.

Bar 1 must sit on a bar line there. What lies outside the song's bars, as talk, count-in, pauses and the ring-out, is
filled with whole bars that are stretched over it and marked.
"""

from __future__ import annotations

import bisect
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise
from typing import TYPE_CHECKING

from cuesuggest.analysis.types import Bar, beat_shares
from cuesuggest.export.common.timing import Timing

if TYPE_CHECKING:
    from cuesuggest.song import Song

__all__ = ["Measure", "bar_words", "bars_before_start", "measures", "section_places", "show_end", "song_end"]

# Seconds. Bars that are so near to each other touch; stored times are rounded to 0.1 ms.
_TOUCH = 0.005
# Of a felt beat; what is longer is no tempo but a hole. A Standard MIDI File ends at 16.7 s a quarter note.
_LONGEST_BEAT = 6.0
# Seconds. What lies outside the song longer than the first is filled with bars as long as the second, which are not
# divided: a show that runs for a day before the song is no reason for a hundred thousand bars. A quarter note is then
# still shorter than the 16.7 s.
_LONG_WAIT, _LONG_BAR = 3600.0, 60.0
_FALLBACK = (4, 4, 2.0)  # Where there is no music: 4/4 at 120, the tempo that a MIDI file has unless told otherwise.


@dataclass(frozen=True, slots=True)
class Measure:
    """A bar as it is written: one of the song, or one stretched over what lies between its bars."""

    bar: int | None
    """Number in the song; None for a stretched one."""
    why: str
    """What a stretched one lies over: "before bar 1", "pause" or "after the last bar"."""
    numerator: int
    denominator: int
    times: tuple[float, ...]
    """Seconds of the show at each felt beat, and last the end."""

    @property
    def start(self) -> float:
        """Seconds of the show."""
        return self.times[0]

    @property
    def end(self) -> float:
        """Seconds of the show."""
        return self.times[-1]

    @property
    def quarters(self) -> Fraction:
        """Length in quarter notes."""
        return Fraction(4 * self.numerator, self.denominator)

    @property
    def beat_quarters(self) -> tuple[Fraction, ...]:
        """Quarter notes from the start of the measure to each felt beat, and last to its end."""
        shares = beat_shares(f"{self.numerator}/{self.denominator}", len(self.times) - 1)
        return tuple(self.quarters * share for share in shares)

    def quarter_at(self, seconds: float) -> float:
        """Quarter notes from the start of the measure to a moment in it."""
        index = min(max(bisect.bisect_right(self.times, seconds) - 1, 0), len(self.times) - 2)
        left, right = self.times[index], self.times[index + 1]
        return self.quarter_of(1 + index + (seconds - left) / (right - left))

    def quarter_of(self, beat: float) -> float:
        """Quarter notes from the start of the measure to a beat in it, 1 the first."""
        index = min(max(int(beat) - 1, 0), len(self.times) - 2)
        left, right = self.beat_quarters[index : index + 2]
        return float(left) + (beat - 1 - index) * float(right - left)


def song_end(song: Song) -> float:
    """Seconds of the recording at which the song is over: the end of its window, and of all that was heard in it."""
    last_bar = song.analysis.bars[-1].end if song.analysis.bars else 0.0
    last_cue = max((cue.place.seconds for cue in song.cues), default=0.0)
    return max(song.recording.window.end, last_bar, last_cue)


def show_end(song: Song, timing: Timing) -> float:
    """Seconds of the show at which the song is over."""
    return max(timing.show(song_end(song)), 1.0)


def measures(song: Song, timing: Timing) -> tuple[Measure, ...]:
    """Lay out a song in bars without holes, from second 0 of the show.

    Parameters
    ----------
    song : Song
    timing : Timing
        Bars of the song that start before second 0 are left out.

    Returns
    -------
    tuple of Measure
        The first starts at 0, each where the one before ends, the last at or after the end of the song.
    """
    laid = [_measure(bar, after, song.analysis.beats, timing) for bar, after in _with_next(song.analysis.bars)]
    bars = [each for each in laid if each is not None and each.start >= 0]
    end = show_end(song, timing)
    if not bars:
        return tuple(_stretched_bars(0.0, end, *_FALLBACK, "no bars"))
    found: list[Measure] = []
    here = 0.0
    for each in bars:
        if here < each.start - 1e-9:
            found += _stretched_bars(here, each.start, *_meter_and_length(each), _why_stretched(found, each))
        found.append(each)
        here = each.end
    if here < end - _TOUCH:
        found += _stretched_bars(here, end, *_meter_and_length(bars[-1]), "after the last bar")
    return tuple(found)


def section_places(song: Song, timing: Timing, bars: Sequence[Measure]) -> Iterator[tuple[int, str]]:
    """Go through the sections that are not over by second 0 of the show.

    Parameters
    ----------
    song : Song
    timing : Timing
    bars : sequence of Measure
        Those of `measures`.

    Yields
    ------
    int, str
        Index of the measure with which it begins, or goes on after second 0; and its name, which says so.
    """
    index_of = {bar.bar: index for index, bar in enumerate(bars) if bar.bar is not None}
    starts = [bar.start for bar in bars]
    for section in song.analysis.sections:
        at = timing.show(section.start)
        index = next((index_of[k] for k in range(section.first_bar, section.last_bar + 1) if k in index_of), None)
        if index is None and at >= 0:
            index = bisect.bisect_right(starts, at + 1e-6) - 1
        if index is not None:
            yield index, f"{section.mark} {section.name}".strip() + (" goes on" if at < 0 else "")


def bar_words(song: Song, timing: Timing, bars: Sequence[Measure]) -> Iterator[tuple[float, str]]:
    """Say where sections begin, and which bar that is: programs count all bars from second 0, stretched ones as well.

    Where the two counts part, as after a pause, the first bar says so, if no section begins there.

    Parameters
    ----------
    song : Song
    timing : Timing
    bars : sequence of Measure
        Those of `measures`.

    Yields
    ------
    float, str
        Second of the show, and the words.
    """

    def which(index: int) -> str:
        number = bars[index].bar
        if number == index + 1:
            return f"bar {number}"
        return f"{'' if number is None else f'bar {number} of the song, '}bar {index + 1} here"

    names = {index: f"{name}: {which(index)}" for index, name in section_places(song, timing, bars)}
    shift = 0
    for index, bar in enumerate(bars):
        if index in names:
            yield bar.start, names[index]
        elif bar.bar is not None and bar.bar >= 1 and index + 1 - bar.bar != shift:
            yield bar.start, f"From here on: {which(index)}"
        if bar.bar is not None and bar.bar >= 1:
            shift = index + 1 - bar.bar


def bars_before_start(song: Song, timing: Timing) -> tuple[str, ...]:
    """Say which bars and sections a file in bars leaves out; nothing if there are none."""
    early = [bar.number for bar in song.analysis.bars if timing.show(bar.start) < 0]
    if not early:
        return ()
    over = [section.mark for section in song.analysis.sections if section.last_bar <= early[-1]]
    bars = f"Bars {early[0]} to {early[-1]}" if len(early) > 1 else f"Bar {early[0]}"
    return (f"{bars} before second 0 of the show left out{', and all of ' if over else ''}{', '.join(over)}.",)


def _with_next(bars: tuple[Bar, ...]) -> Iterator[tuple[Bar, Bar | None]]:
    for index, bar in enumerate(bars):
        yield bar, bars[index + 1] if index + 1 < len(bars) else None


def _measure(bar: Bar, after: Bar | None, beats: tuple[float, ...], timing: Timing) -> Measure | None:
    end = bar.end
    if after is not None and (after.start < end or after.start - end <= _TOUCH):
        end = after.start
    if end - bar.start <= _TOUCH or end - bar.start > _LONGEST_BEAT * bar.beats:
        return None
    inside = beats[bisect.bisect_left(beats, bar.start - _TOUCH) : bisect.bisect_left(beats, end - _TOUCH)]
    count = max(bar.beats, 1)
    numerator, denominator = _meter(bar)
    if len(inside) != count or any(right - left < _TOUCH for left, right in pairwise(inside)):
        shares = beat_shares(f"{numerator}/{denominator}", count)[:-1]
        inside = tuple(bar.start + float(share) * (end - bar.start) for share in shares)
    times = (bar.start, *inside[1:], end)
    return Measure(bar.number, "", numerator, denominator, tuple(timing.show(each) for each in times))


def _meter(bar: Bar) -> tuple[int, int]:
    upper, _, lower = bar.time_signature.partition("/")
    if upper.isdecimal() and lower in {"1", "2", "4", "8", "16", "32"} and 1 <= int(upper) <= 99:
        return int(upper), int(lower)
    return bar.beats, 4


def _meter_and_length(measure: Measure) -> tuple[int, int, float]:
    return measure.numerator, measure.denominator, measure.end - measure.start


def _why_stretched(found: list[Measure], each: Measure) -> str:
    return "pause" if found else f"before bar {each.bar}"


def _stretched_bars(
    start: float, end: float, numerator: int, denominator: int, length: float, why: str
) -> Iterator[Measure]:
    """Fill a stretch with whole bars as long as their neighbour's, as nearly as a whole number of them can be.

    Through a long wait, as where a song comes late in a show, they are a minute long.
    """
    if end - start > _LONG_WAIT:
        count = math.ceil((end - start) / _LONG_BAR)
        edges = [start + (end - start) * index / count for index in range(count)] + [end]
        yield from (Measure(None, why, 4, 4, each) for each in pairwise(edges))
        return
    count = max(1, round((end - start) / length))
    if end - start < length / 2:
        # Less than half a bar would race through a whole one: one of as many quarters as fit is nearer.
        quarter = length * denominator / numerator / 4
        numerator, denominator = max(1, round((end - start) / quarter)), 4
    for index in range(count):
        left = start + (end - start) * index / count
        right = end if index == count - 1 else start + (end - start) * (index + 1) / count
        beats = tuple(left + (right - left) * step / numerator for step in range(numerator))
        yield Measure(None, why, numerator, denominator, (*beats, right))
