"""The staff of a chart, and the line of the drive in it: how hard the band pushes, bar by bar."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import groupby

from cuesuggest.analysis.types import Bar
from cuesuggest.export.chart.geometry import ChartBar
from cuesuggest.export.chart.phrases import Stretch

__all__ = ["STAFF_BASE", "STAFF_TOP", "SURE", "drive_line", "drive_range"]

STAFF_TOP, STAFF_BASE = 15.0, 35.0
# Below it the rules give a bar fewer cues, too (`evidence.weak` of a profile that has none of its own).
SURE = 0.5
# Drive, not loudness: on a levelled recording the line of the loudness is as flat as the recording, and drive is what
# the plan goes by. It is drawn on the song's own range, since a part is calm or strong beside the song's other parts.
# A bar in twenty at each end, such as a stop, does not spread the scale; where the rest differs by less than `_EVEN`,
# the song is even, and so is its line.
_EVEN = 0.3
_OUTLYING = 20
_AIR = 2.5  # between the line of the drive and the staff's edges


def drive_range(bars: Sequence[Bar]) -> tuple[float, float]:
    """Return the drive of the song's calmest and strongest bars."""
    found = sorted(bar.drive for bar in bars)
    if not found:
        return 0.0, 1.0
    out = len(found) // _OUTLYING
    low, high = found[out], found[-1 - out]
    return min(low, high - _EVEN), high


def drive_line(
    stretches: Sequence[Stretch], bars: Sequence[ChartBar], drives: tuple[float, float]
) -> Iterator[tuple[float, float]]:
    """Draw through the middles of the bars, since a bar has one drive; a stretch without bars is empty.

    Parameters
    ----------
    stretches : sequence of Stretch
    bars : sequence of ChartBar
        Where they stand.
    drives : tuple of float
        At the foot and at the head of the staff.
    """
    low, high = drives
    foot, head = STAFF_BASE - _AIR, STAFF_TOP + _AIR

    def height(bar: Bar) -> float:
        share = (bar.drive - low) / (high - low)
        return round(foot - min(1.0, max(0.0, share)) * (foot - head), 2)

    found = zip(stretches, bars, strict=True)
    for barred, group in groupby(found, key=lambda each: each[0].bar is not None):
        places = list(group)
        heights = [height(stretch.bar) if stretch.bar else STAFF_BASE for stretch, _ in places]
        yield (places[0][1].x, heights[0])
        if barred:
            for (_, place), y in zip(places, heights, strict=True):
                yield (round(place.x + place.width / 2, 2), y)
        yield (round(places[-1][1].x + places[-1][1].width, 2), heights[-1])
