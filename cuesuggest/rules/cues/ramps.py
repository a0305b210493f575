"""Changes of level while a look stays: with a build, from part to part, from phrase to phrase."""

from __future__ import annotations

from collections.abc import Sequence

from cuesuggest.analysis.types import Event
from cuesuggest.rules.brief import PHRASE_RANK, RAMP_RANK, Brief, Move, Stay
from cuesuggest.rules.plan.material import PHRASES_APART
from cuesuggest.rules.plan.plan_parts import LONGEST_RISE
from cuesuggest.rules.stays import (
    EPS,
    build_before,
    cut_off,
    half_count_before,
    landing_before,
    stop_ahead,
)
from cuesuggest.score.light import hand_starts
from cuesuggest.score.records import CATEGORIES, Cue, Place

__all__ = ["beats_back", "ramp", "rise"]


def beats_back(brief: Brief, landing: Place, wanted: float, earliest: float) -> float:
    """Return the beats to a landing from the downbeat nearest to `wanted` but not before `earliest`, or 0."""
    if landing.bar is None or landing.beat is None:
        return 0.0
    bar = landing.bar
    choices = [
        (abs(each.start - wanted), each.number)
        for each in brief.grid.bars
        if each.number < bar and each.start >= earliest - EPS and bar - each.number <= LONGEST_RISE
    ]
    if not choices:
        return 0.0
    first = min(choices)[1]
    here = brief.grid.place(first)
    beats = brief.grid.beats_in_bars(first, bar - first) + landing.beat - 1.0
    # A pause in between would stretch the fade over silence.
    return beats if abs(brief.grid.span(here, beats) - (landing.seconds - here.seconds)) < 0.05 else 0.0


def rise(
    brief: Brief,
    stays: Sequence[Stay],
    k: int,
    levels: Sequence[int],
    coming: Move,
    free: float,
    closing: Event | None,
) -> Move | None:
    """Let the old look climb with a build, to land where a bigger one takes over or where the band stops."""
    stay, after = stays[k], stays[k + 1]
    place = brief.grid.place(brief.sections[after.first].first_bar)
    build = build_before(brief, place, after.first)
    if build is None or brief.parts[stay.first].rises:
        return None
    if CATEGORIES.index(after.look.category) < CATEGORIES.index(stay.look.category):
        return None
    landing = place if closing is None else half_count_before(brief, cut_off(brief, closing))
    if closing is None and (coming.start < place.seconds - EPS or coming.cue.place != place):
        return None
    before = min(levels[stay.last], stay.look.level_ceiling)
    level = min(before + brief.profile.fades.build_rise, stay.look.level_ceiling, max(levels[after.first], before))
    beats = beats_back(brief, landing, build.start, max(free, build.start))
    if level - before < brief.profile.fades.ramp_from or not beats:
        return None
    part = brief.parts[stay.last]
    cue = _written(
        brief,
        stay,
        (before, level),
        landing,
        beats,
        f"The band builds up to {brief.name(after.first)}, and the light climbs with it.",
        lands=True,
        id_=f"build/{part.section.id}/rise/{part.ordinal}",
        confidence=brief.trust(landing, build),
    )
    return _moved(brief, cue, k, RAMP_RANK)


def ramp(brief: Brief, stay: Stay, k: int, index: int, levels: Sequence[int], over: float) -> Move:
    """Change the level where a look goes on into a part that wants more or less of it.

    With a build that leads there; slowly before it where the style rides slowly; else from its first beat.
    """
    part, grid, fades = brief.parts[index], brief.grid, brief.profile.fades
    place = grid.place(part.section.first_bar)
    up = levels[index] > levels[index - 1]
    beats, lands, reason = 0.0, True, ""
    build = build_before(brief, place, index) if up else None
    landing = place
    if build is not None:
        landing = landing_before(brief, place)
        beats = beats_back(brief, landing, build.start, max(over, build.start))
        reason = f"The band builds up to {part.name}, and the light climbs with it."
    if not beats and up and not part.phrase and fades.slow:
        landing, beats = place, _before(brief, index, over)
        reason = f"The same look goes on and is there, a little bigger, as {part.name} opens."
    if not beats:
        landing, lands, reason = place, False, _reason(brief, index, up)
        beats = _ride(brief, index) if part.phrase else fades.ramp_beats
    cue = _written(
        brief,
        stay,
        (levels[index - 1], levels[index]),
        landing,
        beats,
        reason,
        lands=lands,
        id_=f"ramp/{part.section.id}/level/{part.ordinal}",
        confidence=brief.trust(landing),
    )
    return _moved(brief, cue, k, PHRASE_RANK if part.phrase else RAMP_RANK)


def _before(brief: Brief, index: int, over: float) -> float:
    """Return the beats before a part in which its level can be ridden to, or 0: no stop, nothing else in the way."""
    place = brief.grid.place(brief.sections[index].first_bar)
    bars = min(int(brief.profile.fades.ride_bars), brief.sections[index - 1].bars // 2)
    first = brief.grid.bar(brief.sections[index].first_bar - bars)
    if bars < 2 or first is None or first.start < over:
        return 0.0
    stop = stop_ahead(brief, first.start)
    if stop is not None and stop.start <= place.seconds:
        return 0.0
    return beats_back(brief, place, first.start, first.start)


def _reason(brief: Brief, index: int, up: bool) -> str:
    """Say why the level changes: with the music, or because a look that stays as it is is forgotten."""
    part, before = brief.parts[index], brief.parts[index - 1]
    louder = part.drive - before.drive
    if not part.phrase:
        return f"The same look goes on, {'a little bigger' if up else 'a little less'} for {part.name}."
    if (louder if up else -louder) >= PHRASES_APART:
        what = "more" if up else "less"
        return f"The band plays {what} from {part.name} on, and the light goes with it."
    way = "grows" if up else "draws back"
    return f"{part.section.mark} goes on, so the light {way} a little: what never moves is forgotten."


def _ride(brief: Brief, index: int) -> float:
    """Return the beats over which the level moves inside a section."""
    section = brief.sections[index]
    bars = min(int(brief.profile.fades.ride_bars), max(section.bars // 2, 1))
    return float(brief.grid.beats_in_bars(section.first_bar, bars))


def _written(
    brief: Brief,
    stay: Stay,
    levels: tuple[int, int],
    place: Place,
    beats: float,
    reason: str,
    *,
    lands: bool,
    id_: str,
    confidence: float,
) -> Cue:
    """Write the cue of a ramp from one level to another."""
    before, level = levels
    up = level > before
    seconds = brief.grid.span(place, -beats if lands else beats)
    return Cue(
        id=id_,
        number=0.0,
        kind="ramp",
        trigger="hand",
        anchor="lands-on" if lands else "starts-on",
        place=place,
        reasons=(reason,),
        confidence=confidence,
        look=stay.look.id,
        side=stay.side.name,
        level=level,
        up_beats=beats if up else None,
        up_seconds=seconds if up else None,
        down_beats=None if up else beats,
        down_seconds=None if up else seconds,
    )


def _moved(brief: Brief, cue: Cue, k: int, rank: int) -> Move:
    start = hand_starts(cue, brief.grid)
    return Move(cue, round(start, 4), round(start + (cue.up_seconds or cue.down_seconds or 0.0), 4), k, rank)
