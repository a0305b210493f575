"""What stands over the bar lines of a chart's line: bar numbers, time signatures, and what is heard."""

from __future__ import annotations

from collections.abc import Sequence

from cuesuggest.analysis.types import Event, SongAnalysis
from cuesuggest.export.chart.geometry import ChartBar, Words
from cuesuggest.export.chart.light_line import TEXT, WORDS_STEP
from cuesuggest.export.chart.phrases import Stretch
from cuesuggest.export.chart.short_words import text_width
from cuesuggest.score.records import clock

__all__ = ["new_meters", "over_bars"]

_BASELINE = 11.0
_BETWEEN = 4.0  # from words to what stands right of them
_SPACE = 3.0  # from a number to the words of its bar


class _Rows:
    """Rows of words above each other, the lowest first."""

    def __init__(self, left: float, right: float) -> None:
        self.words: list[Words] = []
        self._left, self._right = left, right
        self._taken: list[list[tuple[float, float]]] = [[]]

    @property
    def above(self) -> int:
        """Rows above the lowest."""
        return len(self._taken) - 1

    def has_room(self, text: str) -> bool:
        """Whether a text fits a row that is empty."""
        return text_width(text, TEXT) <= self._right - self._left

    def put(self, words: Words) -> float:
        """Write into the lowest row, whatever stands there; returns where more may follow."""
        end = words.x + text_width(words.text, words.size, bold=words.bold)
        self._taken[0].append((words.x, end))
        self.words.append(words)
        return end + _SPACE

    def hang(self, text: str, x: float, over: float) -> None:
        """Write at `x` in the lowest row if there is room, else at `over` in the first row above that has some."""
        wide = text_width(text, TEXT)
        row, left = 0, x
        while not self._is_free(row, left, left + wide):
            row, left = row + 1, max(self._left, min(over, self._right - wide))
            if row == len(self._taken):
                self._taken.append([])
        self._taken[row].append((left, left + wide))
        y = _BASELINE - row * WORDS_STEP
        self.words.append(Words(text, round(left, 2), y, TEXT, "heard", italic=True))

    def _is_free(self, row: int, start: float, end: float) -> bool:
        taken = self._taken[row]
        return end <= self._right and all(end + _BETWEEN <= low or high + _SPACE <= start for low, high in taken)


def over_bars(
    stretches: Sequence[Stretch],
    bars: Sequence[ChartBar],
    events: Sequence[Event],
    meters: frozenset[int],
    right: float,
) -> tuple[list[Words], int]:
    """Write bar numbers, a time signature where it changes, and what is heard, in a row above where it has no room.

    Parameters
    ----------
    stretches : sequence of Stretch
        Of the line.
    bars : sequence of ChartBar
        Where they stand.
    events : sequence of Event
        Of the song.
    meters : frozenset of int
        Bars that change the time signature.
    right : float
        Where the room ends.

    Returns
    -------
    list of Words, int
        The rows above that of the numbers; they stand higher than the line's upper edge.
    """
    rows = _Rows(bars[0].x, right)
    in_bars = {
        stretch.bar.number: tuple(dict.fromkeys(event.kind for event in events if event.bar == stretch.bar.number))
        for stretch in stretches
        if stretch.bar
    }
    told = {kind for kinds in in_bars.values() for kind in kinds}
    heard: list[tuple[str, float, float]] = []
    for stretch, place in zip(stretches, bars, strict=True):
        if stretch.bar is None:
            x = rows.put(Words(clock(stretch.start), place.x, _BASELINE, TEXT, "heard", italic=True))
            # What rings out has been told in the bar in which it began.
            kinds: tuple[str, ...] = tuple(kind for kind in stretch.heard if kind not in told)
        else:
            x = rows.put(Words(str(stretch.bar.number), place.x, _BASELINE, TEXT, "number"))
            kinds = in_bars[stretch.bar.number]
            if stretch.bar.number in meters:
                text = stretch.bar.time_signature
                if x + text_width(text, TEXT, bold=True) <= place.x + place.width:
                    x = rows.put(Words(text, round(x, 2), _BASELINE, TEXT, "meter", bold=True))
                else:  # beside the number of the next bar there is no room
                    kinds = (text, *kinds)
        together = ", ".join(kinds)
        heard += [(text, x, place.x) for text in ([together] if rows.has_room(together) else kinds) if text]
    # Numbers first: they say where there is room.
    for text, x, over in heard:
        rows.hang(text, x, over)
    return rows.words, rows.above


def new_meters(analysis: SongAnalysis) -> frozenset[int]:
    """Return the bars whose time signature is not that of the bar before."""
    before = ""
    found: list[int] = []
    for bar in analysis.bars:
        if bar.time_signature != before:
            found.append(bar.number)
        before = bar.time_signature
    return frozenset(found)
