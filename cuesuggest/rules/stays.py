"""Questions about stays and stops that several rules ask."""

from __future__ import annotations

import math
from collections.abc import Sequence

from cuesuggest.analysis.types import Event
from cuesuggest.rules.brief import Brief, Stay
from cuesuggest.rules.plan.looks import build_looks
from cuesuggest.rules.settings.house import Side
from cuesuggest.score.records import Place, PlannedSection

__all__ = [
    "EPS",
    "back_in",
    "build_before",
    "closing_stop",
    "cut_off",
    "decided_edge",
    "half_count_before",
    "joined",
    "landing_before",
    "last_hit",
    "lit_into",
    "stays_of",
    "stop_ahead",
]


# Seconds. Times are stored to 0.1 ms; comparisons allow a little more.
EPS = 2e-3

# Seconds. A tracked beat, or the downbeat, this near to the end of a stop is where the band comes back.
_SNAP, _SNAP_TO_ONE = 0.06, 0.12


def joined(brief: Brief, stays: Sequence[Stay], k: int) -> bool:
    """Whether stay k follows the one before it with no rest and no pause."""
    return 0 < k < len(stays) and _follows(brief, stays[k - 1], stays[k].first)


def _follows(brief: Brief, stay: Stay, section: int) -> bool:
    """Whether a section (by index) comes right after a stay."""
    return section == stay.last + 1 and not brief.parts[section].after_gap


def lit_into(brief: Brief, stays: Sequence[Stay], k: int, closing: Sequence[Event | None]) -> bool:
    """Whether stay k comes in while the one before it is lit."""
    return joined(brief, stays, k) and closing[k - 1] is None and stays[k].side != stays[k - 1].side


def closing_stop(brief: Brief, stays: Sequence[Stay], k: int) -> Event | None:
    """Return the stop that a stay ends with, if it is long enough to go dark in and come back from."""
    stay = stays[k]
    begin = brief.grid.bars_of(brief.sections[stay.first])[0].start
    end = brief.grid.bars_of(brief.sections[stay.last])[-1].end
    goes_on = k + 1 < len(stays) and joined(brief, stays, k + 1) and stays[k + 1].side != stay.side
    # Out with one hand and in with the other is one gesture.
    least = brief.profile.hands.held_from_seconds if goes_on and brief.rig.hands > 1 else brief.gap
    beat, bar = brief.grid.beat_seconds(end - 0.01), brief.grid.bar_seconds(end - 0.01)
    for stop in brief.events("stop"):
        if brief.weak(stay.last) and stop.confidence < brief.profile.evidence.sure:
            continue
        start = cut_off(brief, stop)
        in_time = end - 2 * bar - EPS <= start < end and end - beat <= stop.end <= end + 2 * bar
        after_start = start > begin + bar
        room = back_in(brief, stop).seconds - start >= least
        if not (in_time and after_start and room):
            continue
        if stop.end > end + beat / 2 and k + 1 < len(stays) and joined(brief, stays, k + 1):
            # The band comes back inside the next section: it must still be there then.
            after = brief.sections[stays[k + 1].first]
            if not after.start <= stop.end + 0.01 < after.end:
                continue
        first = next((each for each in brief.events("stop") if 0 < stop.start - each.end < bar), None)
        # Two stops with hardly a bar between them are one: the light goes with the first.
        return first if first is not None and cut_off(brief, first) > begin + bar else stop
    return None


def cut_off(brief: Brief, stop: Event) -> float:
    """Return when the light may go: never before the last hit."""
    hits = [hit.start for hit in brief.events("hit") if stop.start - 0.05 <= hit.start < stop.end]
    return max([stop.start, *hits])


def back_in(brief: Brief, stop: Event) -> Place:
    """Return the place where the band comes back: the beat there, if a beat is near."""
    place = brief.grid.locate(stop.end)
    if place.bar is None or place.beat is None:
        return place
    snapped = brief.grid.place(place.bar, float(math.floor(place.beat + 0.5)))
    bar = brief.grid.bar(place.bar)
    if bar is not None and snapped.beat is not None and snapped.beat > bar.beats:
        snapped = brief.grid.after(place.bar)
    near = _SNAP_TO_ONE if snapped.beat == 1.0 else _SNAP
    return snapped if abs(snapped.seconds - stop.end) <= near else brief.grid.locate(stop.end, "early")


def stop_ahead(brief: Brief, seconds: float) -> Event | None:
    """Return the next stop after a moment that is long enough to be seen."""
    least = brief.profile.hands.held_from_seconds
    stops = [stop for stop in brief.events("stop") if stop.end - stop.start >= least]
    return next((stop for stop in stops if cut_off(brief, stop) > seconds + 0.05), None)


def landing_before(brief: Brief, place: Place) -> Place:
    """Return where a fade lands that leads to a place: there, or before the stop that comes right before it."""
    beat = brief.grid.beat_seconds(place.seconds)
    bar = brief.grid.bar_seconds(place.seconds - 0.01)
    for stop in brief.events("stop"):
        at = cut_off(brief, stop)
        if place.seconds - 2 * bar <= at < place.seconds - EPS and abs(stop.end - place.seconds) <= beat:
            return half_count_before(brief, at)
    return place


def half_count_before(brief: Brief, seconds: float) -> Place:
    """Return the last half count before a moment: a fade lands on what is counted."""
    place = brief.grid.locate(seconds, "early")
    if place.bar is None or place.beat is None:
        return place
    return brief.grid.place(place.bar, math.floor(place.beat * 2 + 1e-6) / 2)


def build_before(brief: Brief, place: Place, part: int) -> Event | None:
    """Return the build that ends where a look comes in."""
    if brief.weak(part):
        return None
    beat = brief.grid.beat_seconds(place.seconds)
    builds = [each for each in brief.events("build") if abs(each.end - place.seconds) <= beat + EPS]
    return builds[-1] if builds else None


def last_hit(brief: Brief, low: float, high: float) -> Event | None:
    """Return the last hit in a stretch of seconds."""
    hits = [hit for hit in brief.events("hit") if low - EPS <= hit.start <= high + EPS]
    return hits[-1] if hits else None


def stays_of(brief: Brief, planned: Sequence[PlannedSection]) -> list[Stay]:
    """Join neighbouring sections of one look, and let the looks alternate between the sides."""
    runs: list[tuple[str, int, int]] = []
    for index, each in enumerate(planned):
        if each.look is None:
            continue
        own = brief.parts[index].after_gap or decided_edge(brief, index)
        if runs and runs[-1][0] == each.look and runs[-1][2] == index - 1 and not own:
            runs[-1] = (each.look, runs[-1][1], index)
        else:
            runs.append((each.look, index, index))
    looks = {look.id: look for look in build_looks(planned, brief, shots=False)}
    stays: list[Stay] = []
    for k, (look, first, last) in enumerate(runs):
        coming = [each for each, _, _ in runs[k:]]
        stays.append(Stay(looks[look], first, last, _side_for(brief, stays, coming, first)))
    return stays


def _side_for(brief: Brief, before: Sequence[Stay], coming: Sequence[str], first: int) -> Side:
    """Choose the side for the first of the looks to come.

    As decided; else where it is held already, in the dark; else where what is held is needed last, so that few
    looks have to be set again; else the next in turn.
    """
    sides = brief.rig.playing
    decided = brief.pin(first)
    chosen = next((side for side in sides if decided and side.name == decided.side), None)
    if chosen is not None or not before:
        return chosen or sides[0]
    last = before[-1]
    turn = (sides.index(last.side) + 1) % len(sides)
    end = brief.sections[last.last].end
    soon = brief.sections[first].start - end < brief.profile.standby.lead_seconds + last.side.settle_seconds
    # What has just gone out cannot be set up again in time.
    lit = last.side if len(sides) > 1 and (soon or _follows(brief, last, first)) else None
    held = {stay.side.name: stay.look.id for stay in before}

    def worth(side: Side) -> int:
        look = held.get(side.name)
        if look == coming[0]:
            return -1
        return len(coming) - (coming.index(look) if look in coming else len(coming))

    return min((side for side in (*sides[turn:], *sides[:turn]) if side != lit), key=worth)


def decided_edge(brief: Brief, index: int) -> bool:
    """Whether it was decided that a look comes in with this section, or that one goes out before it."""
    here = brief.pin(index)
    before = brief.pin(index - 1) if index else None
    return (here is not None and here.enters) or (before is not None and before.leaves)
