"""Events read from bars: builds, drops, breakdowns, fills."""

from __future__ import annotations

from collections.abc import Sequence

from cuesuggest.analysis.energy import BarEnergy
from cuesuggest.analysis.events.builds import find_breakdowns, find_builds
from cuesuggest.analysis.events.fills import find_fills
from cuesuggest.analysis.finding.scene import Scene
from cuesuggest.analysis.types import Event

__all__ = ["events_from_bars"]


def events_from_bars(scene: Scene, energy: BarEnergy, sections: Sequence[int]) -> tuple[Event, ...]:
    """Find what leads from one stretch of music to the next.

    Parameters
    ----------
    scene : Scene
    energy : BarEnergy
        Of the same bars.
    sections : sequence of int
        Index of the first bar of each section.

    Returns
    -------
    tuple of Event
        In order of time.
    """
    found = find_builds(scene, energy) + find_breakdowns(scene, energy) + find_fills(scene, sections)
    events = [
        Event(each.kind, round(each.start, 4), round(each.end, 4), *scene.place(each.start), confidence)
        for each, confidence in found
    ]
    return tuple(sorted(events, key=lambda event: event.start))
