"""Bringing looks in: subtle settles, a lift comes in with the band, an intense look cuts."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from cuesuggest.analysis.types import Event
from cuesuggest.rules.brief import RAMP_RANK, Brief, Move, Stay
from cuesuggest.rules.stays import EPS, back_in, counts, joined, lit_into
from cuesuggest.score.grid import count_word
from cuesuggest.score.records import CATEGORIES, Cue, CueKind, Place

__all__ = ["Entry", "enter", "rise"]


@dataclass(frozen=True, slots=True)
class Entry:
    """How a stay begins."""

    move: Move
    build: Event | None


def enter(brief: Brief, stays: Sequence[Stay], k: int, levels: Sequence[int], closing: Sequence[Event | None]) -> Entry:
    """Bring a look in: subtle settles, a lift comes in with the band, an intense look cuts."""
    stay, fades, grid = stays[k], brief.profile.fades, brief.grid
    section = grid.sections[stay.first]
    place = grid.place(section.first_bar)
    stop = closing[k - 1] if k and joined(brief, stays, k) else None
    if stop is not None and back_in(brief, stop).seconds > place.seconds + grid.beat_seconds(place.seconds) / 2:
        place = back_in(brief, stop)
    lit = lit_into(brief, stays, k, closing)
    before = stays[k - 1] if lit else None
    category, side = stay.look.category, stay.side
    level = min(levels[stay.first], stay.look.level_ceiling)
    build = _build_before(brief, place, stay.first)
    anchor: Literal["starts-on", "lands-on"] = "starts-on"
    first = count_word(place.beat)
    reasons: list[str] = []
    if category == "intense":
        up = 0.0
        reasons.append(f"cuts in on the downbeat of {section.mark}, so that light and band arrive together")
        if place.beat != 1.0:
            reasons[0] = f"cuts in with the band as it comes back into {section.mark}"
        hand = f"Side {side.name}: fader to {level} % in one move on {first}"
    elif category == "lift":
        up = fades.lift_up_beats
        reasons.append(f"comes in with the band as {section.mark} opens")
        hand = f"Side {side.name}: fader up to {level} % over {counts(up)}, from {first}"
    else:
        bars = min(fades.subtle_up_bars, max(section.bars // 4, 1))
        up = float(grid.beats_in_bars(section.first_bar, bars))
        reasons.append(f"starts as {section.mark} opens and settles, so it gives nothing away before")
        hand = f"Side {side.name}: fader up to {level} % over {counts(up)}, from {first}"
    if category in ("lift", "intense"):
        hand += ", its motion restarted with it"
    start = place.seconds
    up_seconds = grid.span(place, up)
    end = start + up_seconds
    from_dark = k == 0 or not lit
    if build is not None and from_dark and category != "intense" and place.beat == 1.0 and place.bar is not None:
        earliest = grid.bars_of(grid.sections[stays[k - 1].last])[-1].end if k else grid.bars[0].start
        beats = _bars_back(brief, place.bar, build.start, max(earliest, build.start))
        if beats and stop is None:
            up, anchor = float(beats), "lands-on"
            up_seconds = grid.span(place, -up)
            start, end = round(place.seconds - up_seconds, 4), place.seconds
            reasons = [f"rises with the build and lands as {section.mark} opens"]
            hand = f"Side {side.name}: fader up to {level} % over the {counts(up)} of the build,"
            hand += f" from {grid.locate(start)}, there on the 1"
            hand += ", its motion restarted there" if category == "lift" else ""
    down: float | None = None
    if before is not None:
        down = fades.out_beats.of(category)
        if category == "intense":
            hand += f"; then side {before.side.name} out over {counts(down)}"
        else:
            half = "half up" if brief.rig.hands > 1 else "up"
            hand += f"; side {before.side.name} out over {counts(down)} once {side.name} is {half}"
        reasons.append("the new look leads, so there is no dip")
    if build is not None and category == "intense":
        reasons.append("the build before it ends here")
    if brief.weak(stay.first):
        reasons.append("the bars here are uncertain: go by ear with the section")
    down_seconds = None if down is None else grid.span(place, down)
    kind: CueKind = "cut-in" if category == "intense" else "crossfade" if lit else "fade-in"
    cue = Cue(
        id=f"enter/{section.id}/{category}/1",
        number=0.0,
        kind=kind,
        trigger="hand",
        anchor=anchor,
        place=place,
        hand=hand,
        reasons=tuple(reasons),
        confidence=brief.trust(place),
        look=stay.look.id,
        side=side.name,
        level=level,
        up_beats=up,
        up_seconds=up_seconds,
        down_beats=down,
        down_seconds=down_seconds,
    )
    return Entry(Move(cue, start, round(end, 4), stay=k), build)


def _build_before(brief: Brief, place: Place, section: int) -> Event | None:
    """Return the build that ends where a look comes in."""
    if brief.weak(section):
        return None
    beat = brief.grid.beat_seconds(place.seconds)
    builds = [each for each in brief.events("build") if abs(each.end - place.seconds) <= beat + EPS]
    return builds[-1] if builds else None


def _bars_back(brief: Brief, bar: int, wanted: float, earliest: float) -> int:
    """Return the beats to a bar from the downbeat nearest to `wanted` but not before `earliest`, or 0."""
    choices = [
        (abs(each.start - wanted), each.number)
        for each in brief.grid.bars
        if each.number < bar and each.start >= earliest - EPS and bar - each.number <= 16
    ]
    if not choices:
        return 0
    first = min(choices)[1]
    here, there = brief.grid.place(first), brief.grid.place(bar)
    beats = brief.grid.beats_in_bars(first, bar - first)
    # A pause in between would stretch the fade over silence.
    return beats if abs(brief.grid.span(here, beats) - (there.seconds - here.seconds)) < 0.05 else 0


def rise(brief: Brief, stays: Sequence[Stay], k: int, levels: Sequence[int], entry: Entry, free: float) -> Move | None:
    """Let the old look climb with a build, to land where a bigger one takes over."""
    stay, after = stays[k], stays[k + 1]
    place = entry.move.cue.place
    if entry.build is None or place.bar is None or place.beat != 1.0 or brief.weak(stay.last):
        return None
    if CATEGORIES.index(after.look.category) < CATEGORIES.index(stay.look.category):
        return None
    before = min(levels[stay.last], stay.look.level_ceiling)
    level = min(before + brief.profile.fades.build_rise, stay.look.level_ceiling)
    beats = _bars_back(brief, place.bar, entry.build.start, max(free, entry.build.start))
    if level - before < brief.profile.fades.ramp_from or not beats:
        return None
    section = brief.grid.sections[stay.last]
    seconds = brief.grid.span(place, -beats)
    cue = Cue(
        id=f"build/{section.id}/rise/1",
        number=0.0,
        kind="ramp",
        trigger="hand",
        anchor="lands-on",
        place=place,
        hand=f"Side {stay.side.name}: from {before} % to {level} % over the {counts(beats)} of the build,"
        f" from {brief.grid.locate(place.seconds - seconds)}, there on the 1",
        reasons=(f"the band builds up to {brief.grid.sections[after.first].mark}, and the light climbs with it",),
        confidence=brief.trust(place, entry.build),
        look=stay.look.id,
        side=stay.side.name,
        level=level,
        up_beats=float(beats),
        up_seconds=seconds,
    )
    return Move(cue, round(place.seconds - seconds, 4), place.seconds, k, RAMP_RANK)
