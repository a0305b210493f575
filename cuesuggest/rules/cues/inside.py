"""While a look stays: stops, and changes of level."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from cuesuggest.analysis.types import Event
from cuesuggest.rules.brief import PHRASE_RANK, RAMP_RANK, STOP_RANK, Brief, Move, Stay
from cuesuggest.rules.cues.enter import beats_back
from cuesuggest.rules.stays import EPS, back_in, build_before, counts, cut_off, landing_before, stop_ahead
from cuesuggest.score.records import Cue, Place

__all__ = ["inside"]

# Drive. A phrase so much louder or quieter than the one before is heard as such.
_HEARD = 0.04

# Bars. A style that takes this long over a change of level lets it arrive with the section it is for.
_SLOW_RIDE = 8


def inside(
    brief: Brief,
    stays: Sequence[Stay],
    k: int,
    levels: list[int],
    arrived: float,
    gone: float,
    closing: Event | None,
) -> tuple[list[Move], list[tuple[int, str]], float]:
    """Stops and changes of level while a look stays; what could not be done; when the last one is over.

    Parts whose level cannot be reached, or is not worth a cue, keep the level before: `levels` is changed.
    """
    stay = stays[k]
    notes: list[tuple[int, str]] = []
    stops: list[Event] = []
    spans: list[tuple[float, float, bool]] = []
    moves: list[Move] = []
    for stop in brief.events("stop"):
        if stop == closing or not arrived - EPS <= cut_off(brief, stop) < gone:
            continue
        made = _stop(brief, stay, k, levels, stop, gone)
        if isinstance(made, str):
            index = brief.index_at(brief.grid.locate(stop.start))
            if index is not None:
                notes.append((index, made))
        elif not moves or moves[-1].end <= made[0].start - brief.gap:
            stops.append(stop)
            moves += made
            # With its return by a second cue, which can set a level, or not.
            spans.append((made[0].start, made[-1].end, len(made) > 1))
    over = arrived
    ramps: list[Move] = []
    for index in range(stay.first + 1, stay.last + 1):
        if abs(levels[index] - levels[index - 1]) < brief.profile.fades.ramp_from or brief.weak(index):
            levels[index] = levels[index - 1]
            continue
        ramp = _ramp(brief, stay, k, index, levels, over)
        beat = brief.grid.beat_seconds(ramp.start)
        near = [stop for stop in spans if stop[0] - beat < ramp.end + EPS and ramp.start < stop[1] + beat + EPS]
        lands = ramp.cue.anchor == "lands-on" and all(stop[0] >= ramp.end - EPS for stop in near)
        if any(returns for _, _, returns in near) and not lands:
            continue  # the band's return brings the new level in by itself
        if (near and not lands) or ramp.start < over - EPS or ramp.end > gone + EPS:
            levels[index] = levels[index - 1]
            continue
        ramps.append(ramp)
        over = ramp.end
    moves = []
    for stop in stops:
        made = _stop(brief, stay, k, levels, stop, gone)
        moves += made if isinstance(made, list) else []
    over = max([over, *(move.end for move in moves)])
    return sorted([*moves, *ramps], key=lambda move: move.start), notes, over


def _stop(brief: Brief, stay: Stay, k: int, levels: Sequence[int], stop: Event, gone: float) -> list[Move] | str:
    """Go dark with the band and come back with it: by two cues, one gesture of two hands, or one button held."""
    grid, hands = brief.grid, brief.profile.hands
    off, on = grid.locate(cut_off(brief, stop), "late"), back_in(brief, stop)
    index = brief.index_at(off)
    unsure = index is not None and brief.weak(index) and stop.confidence < brief.profile.evidence.sure
    if index is None or on.bar is None or unsure:
        return "There is a stop here, but the bars are too uncertain to cut on it."
    length = on.seconds - off.seconds
    part = brief.parts[index]
    said = f"The stop at {off}"
    if on.seconds > gone - grid.beat_seconds(gone) / 2 - EPS:
        return f"{said} is left alone, because the next change comes with the band's return."
    if length < hands.held_from_seconds:
        return f"{said} is left alone: {length:.1f} s is over before the hand is down."
    two_handed = length < brief.gap and not brief.rig.kill
    if two_handed and brief.rig.hands < 2:
        return f"{said} is left alone: {length:.1f} s is too short for one hand, and there is no kill button."
    pair = f"stop/{part.section.id}/{off.bar}:{off.beat:g}"
    real = grid.section_of(off.bar)
    ordinal = f"{(off.bar or 0) - (real or part.section).first_bar + 1}"
    out = Cue(
        id=f"stop/{part.section.id}/out/{ordinal}",
        number=0.0,
        kind="cut-out",
        trigger="hand",
        anchor="starts-on",
        place=off,
        hand=f"Side {stay.side.name}: out in one move as the band stops, {brief.grid.on_count(off)}",
        reasons=("The band stops, so the light stops with it.",),
        confidence=brief.trust(off, stop),
        level=0,
        look=stay.look.id,
        side=stay.side.name,
        down_beats=0.0,
        down_seconds=0.0,
    )
    if length < brief.gap and brief.rig.kill:
        held = replace(
            out,
            id=f"stop/{part.section.id}/held/{ordinal}",
            trigger="held",
            hand=f"{_capital(brief.rig.kill)}: press as the band stops, {brief.grid.on_count(off)}, hold,"
            f" let go {brief.grid.on_count(on)}",
            reasons=(f"The band stops for {length:.1f} s, too short for two actions: one button, held.",),
        )
        return [Move(held, off.seconds, on.seconds, k, STOP_RANK, pair)]
    # Just before a section it is that section's level that is wanted.
    after = brief.index_at(grid.locate(on.seconds + grid.beat_seconds(on.seconds)))
    inner = after is not None and stay.first <= after <= stay.last
    level = min(levels[after if inner and after is not None else max(index, stay.first)], stay.look.level_ceiling)
    gesture = ", with the same gesture" if two_handed else ""
    back = replace(
        out,
        id=f"stop/{part.section.id}/back/{ordinal}",
        kind="cut-in",
        place=on,
        hand=f"Side {stay.side.name}: fader to {level} % in one move {brief.grid.on_count(on)}{gesture}",
        reasons=("It comes back with the band.",),
        confidence=brief.trust(on, stop),
        level=level,
        up_beats=0.0,
        up_seconds=0.0,
        down_beats=None,
        down_seconds=None,
    )
    return [
        Move(out, off.seconds, off.seconds, k, STOP_RANK, pair),
        Move(back, on.seconds, on.seconds, k, STOP_RANK, pair),
    ]


def _ramp(brief: Brief, stay: Stay, k: int, index: int, levels: Sequence[int], over: float) -> Move:
    """Change the level where a look goes on into a part that wants more or less of it."""
    part, grid = brief.parts[index], brief.grid
    place = grid.place(part.section.first_bar)
    before, level = levels[index - 1], levels[index]
    up = level > before
    build = build_before(brief, place, index) if up else None
    if build is not None:
        landing = landing_before(brief, place)
        beats = beats_back(brief, landing, build.start, max(over, build.start))
        if beats:
            reason = f"The band builds up to {part.name}, and the light climbs with it."
            return _written(brief, stay, k, index, before, level, landing, beats, "lands-on", reason)
    ride = _ride(brief, index)
    if up and not part.phrase and brief.profile.fades.ride_bars >= _SLOW_RIDE:
        bars = min(brief.profile.fades.ride_bars, brief.sections[index - 1].bars // 2)
        start = part.section.first_bar - bars
        first = grid.bar(start)
        quiet = stop_ahead(brief, first.start) if first is not None else None
        if bars >= 2 and first is not None and first.start >= over and (quiet is None or quiet.start > place.seconds):
            beats = beats_back(brief, place, first.start, first.start)
            if beats:
                reason = f"The same look goes on and is there, a little bigger, as {part.name} opens."
                return _written(brief, stay, k, index, before, level, place, beats, "lands-on", reason)
    beats = ride if part.phrase else brief.profile.fades.ramp_beats
    return _written(brief, stay, k, index, before, level, place, beats, "starts-on", _reason(brief, index, up))


def _reason(brief: Brief, index: int, up: bool) -> str:
    """Say why the level changes: with the music, or because a look that stays as it is is forgotten."""
    part, before = brief.parts[index], brief.parts[index - 1]
    louder = part.drive - before.drive
    if not part.phrase:
        return f"The same look goes on, {'a little bigger' if up else 'a little less'} for {part.name}."
    if (louder if up else -louder) >= _HEARD:
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
    k: int,
    index: int,
    before: int,
    level: int,
    place: Place,
    beats: float,
    anchor: str,
    reason: str,
) -> Move:
    part, side, up = brief.parts[index], stay.side.name, level > before
    lands = anchor == "lands-on"
    seconds = brief.grid.span(place, -beats if lands else beats)
    start = round(place.seconds - seconds, 4) if lands else place.seconds
    count = brief.grid.count(place)
    where = f"from {brief.grid.locate(start)}, there on {count}" if lands else f"from {count}"
    cue = Cue(
        id=f"ramp/{part.section.id}/level/{part.ordinal}",
        number=0.0,
        kind="ramp",
        trigger="hand",
        anchor="lands-on" if lands else "starts-on",
        place=place,
        hand=f"Side {side}: from {before} % to {level} % over {counts(beats)}, {where}",
        reasons=(reason,),
        confidence=brief.trust(place),
        look=stay.look.id,
        side=side,
        level=level,
        up_beats=beats if up else None,
        up_seconds=seconds if up else None,
        down_beats=None if up else beats,
        down_seconds=None if up else seconds,
    )
    return Move(cue, start, round(start + seconds, 4), k, PHRASE_RANK if part.phrase else RAMP_RANK)


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
