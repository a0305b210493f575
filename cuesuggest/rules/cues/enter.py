"""Bringing looks in: subtle settles, a lift comes in with the band, an intense look cuts, as does all after a stop."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from cuesuggest.analysis.types import Event
from cuesuggest.rules.brief import Brief, Move, Stay
from cuesuggest.rules.cues.ramps import beats_back
from cuesuggest.rules.stays import (
    EPS,
    back_in,
    build_before,
    cut_off,
    joined,
    landing_before,
    lit_into,
    stop_ahead,
)
from cuesuggest.score.light import swapped_after
from cuesuggest.score.records import Cue, CueKind, Place

__all__ = ["enter"]


@dataclass(frozen=True, slots=True)
class _Way:
    """How a look comes up: from where, over how long, and what is said of it."""

    place: Place
    beats: float
    anchor: Literal["starts-on", "lands-on"]
    reasons: tuple[str, ...]


def enter(
    brief: Brief,
    stays: Sequence[Stay],
    k: int,
    levels: Sequence[int],
    closing: Sequence[Event | None],
    *,
    with_build: bool = True,
) -> Move:
    """Bring a look in: subtle settles, a lift comes in with the band, an intense look cuts; out of a build it rises."""
    stay, fades, grid = stays[k], brief.profile.fades, brief.grid
    part = brief.parts[stay.first]
    place = grid.place(part.section.first_bar)
    stop = closing[k - 1] if k and joined(brief, stays, k) else None
    if stop is not None and back_in(brief, stop).seconds > place.seconds + grid.beat_seconds(place.seconds) / 2:
        place = back_in(brief, stop)
    lit = lit_into(brief, stays, k, closing)
    before = stays[k - 1] if lit else None
    level = min(levels[stay.first], stay.look.level_ceiling)
    build = build_before(brief, place, stay.first)
    way = _way_up(brief, stay, place, stop is not None)
    if part.rises and with_build:
        way = _risen(brief, stays, k) or way
    elif (
        with_build
        and build is not None
        and not lit
        and stop is None
        and stay.look.category != "intense"
        and place.beat == 1.0
    ):
        way = _with_build(brief, stays, k, place, build) or way
    down = None if before is None else fades.out_beats.of(stay.look.category)
    if way.anchor == "starts-on":
        way, down = _before_a_stop(brief, way, down)
    reasons = list(way.reasons)
    if before is not None and down is not None:
        reasons.append("The new look leads, so there is no dip.")
    if build is not None and stay.look.category == "intense":
        reasons.append("The build before it ends here.")
    if brief.weak(stay.first):
        reasons.append("The bars here are uncertain: go by ear with the section.")
    up_seconds = grid.span(way.place, -way.beats if way.anchor == "lands-on" else way.beats)
    start = round(way.place.seconds - up_seconds, 4) if way.anchor == "lands-on" else way.place.seconds
    kind: CueKind = "cut-in" if not way.beats else "crossfade" if lit else "fade-in"
    cue = Cue(
        id=f"enter/{part.section.id}/{stay.look.category}/{part.ordinal}",
        number=0.0,
        kind=kind,
        trigger="hand",
        anchor=way.anchor,
        place=way.place,
        reasons=tuple(reasons),
        confidence=brief.trust(way.place),
        look=stay.look.id,
        side=stay.side.name,
        level=level,
        up_beats=way.beats,
        up_seconds=up_seconds,
        down_beats=down,
        down_seconds=None if down is None else grid.span(way.place, down),
    )
    return Move(cue, start, round(start + up_seconds, 4), stay=k)


def _way_up(brief: Brief, stay: Stay, place: Place, after_stop: bool) -> _Way:
    """How a look comes in where nothing special leads to it."""
    fades, name, category = brief.profile.fades, brief.name(stay.first), stay.look.category
    if category != "subtle" and after_stop:
        return _Way(place, 0.0, "starts-on", (f"It cuts in with the band as it comes back into {name}.",))
    if category == "intense":
        reason = f"It cuts in on the downbeat of {name}, so that light and band arrive together."
        return _Way(place, 0.0, "starts-on", (reason,))
    if category == "lift" and _drop_at(brief, place):
        return _Way(place, 0.0, "starts-on", (f"It cuts in, because the drop lands as {name} opens.",))
    if category == "lift":
        beats = fades.lift_up_beats
        reason = f"It comes in with the band as {name} opens."
        if brief.parts[stay.first].ordinal > 1:
            reason = f"The peak is over with {name}, and it steps back to a lift."
    else:
        section = brief.sections[stay.first]
        bars = min(fades.subtle_up_bars, max(brief.bars_of_section(stay.first, stay.last, of=stay.first) // 4, 1))
        beats = float(brief.grid.beats_in_bars(section.first_bar, bars))
        reason = f"It starts as {name} opens and comes up slowly, so it gives nothing away before."
    return _Way(place, beats, "starts-on", (reason,))


def _drop_at(brief: Brief, place: Place) -> bool:
    beat = brief.grid.beat_seconds(place.seconds)
    return any(abs(drop.start - place.seconds) <= beat / 2 for drop in brief.events("drop"))


def _with_build(brief: Brief, stays: Sequence[Stay], k: int, place: Place, build: Event) -> _Way | None:
    """Let a look rise out of the dark with a build, to be there where its section opens, or where the band stops."""
    stay = stays[k]
    earliest = brief.grid.bars_of(brief.sections[stays[k - 1].last])[-1].end if k else brief.grid.bars[0].start
    landing = landing_before(brief, place)
    beats = beats_back(brief, landing, build.start, max(earliest, build.start))
    if not beats:
        return None
    lands = f"lands as {brief.name(stay.first)} opens" if landing == place else "is there before the band stops"
    return _Way(landing, beats, "lands-on", (f"It rises with the build and {lands}.",))


def _risen(brief: Brief, stays: Sequence[Stay], k: int) -> _Way | None:
    """Let a look rise with the build that it is there for, to the end of its part."""
    stay = stays[k]
    bars = brief.grid.bars_of(brief.sections[stay.first])
    landing = landing_before(brief, brief.grid.after(brief.sections[stay.last].last_bar))
    beats = beats_back(brief, landing, bars[0].start, bars[0].start)
    if not beats:
        return None
    after = brief.name(stay.last + 1)
    return _Way(landing, beats, "lands-on", (f"It rises out of the dark with the build, up to {after}.",))


def _before_a_stop(brief: Brief, way: _Way, down: float | None) -> tuple[_Way, float | None]:
    """Shorten a way in that would still be going on when the band stops: nothing rises across a silence."""
    stop = stop_ahead(brief, way.place.seconds)
    if stop is None:
        return way, down
    grid, hands = brief.grid, brief.rig.hands
    room = cut_off(brief, stop) - way.place.seconds
    up_seconds, out = grid.span(way.place, way.beats), grid.span(way.place, down) if down else 0.0
    if max(up_seconds, swapped_after(up_seconds, out, hands) if down else 0.0) <= room + EPS:
        return way, down
    beat = grid.beat_seconds(way.place.seconds)
    beats = float(math.floor(room / beat + 1e-6))
    up = min(way.beats, beats if down is None else beats - 1)
    up = up if up >= 1 else 0.0
    if down:
        down = max(min(down, float(math.floor(2 * (room - swapped_after(up * beat, 0.0, hands)) / beat)) / 2), 0.5)
    if up == way.beats:
        return way, down
    return _Way(way.place, up, "starts-on", (*way.reasons, "It is up before the band stops.")), down
