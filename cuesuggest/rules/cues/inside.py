"""While a look stays: stops and changes of level."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from cuesuggest.analysis.types import Event
from cuesuggest.rules.brief import RAMP_RANK, STOP_RANK, Brief, Move, Stay
from cuesuggest.rules.stays import EPS, back_in, counts, cut_off
from cuesuggest.score.grid import count_word
from cuesuggest.score.records import Cue

__all__ = ["inside"]


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

    Sections whose level cannot be reached, or is not worth a cue, keep the level before: `levels` is changed.
    """
    stay = stays[k]
    notes: list[tuple[int, str]] = []
    stops: list[Event] = []
    spans: list[tuple[float, float, bool]] = []
    moves: list[Move] = []
    for stop in brief.events("stop"):
        if stop == closing or not arrived - EPS <= stop.start < gone:
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
        ramp = _ramp(brief, stay, k, index, levels)
        beat = brief.grid.beat_seconds(ramp.start)
        near = [stop for stop in spans if stop[0] - beat < ramp.end + EPS and ramp.start < stop[1] + beat + EPS]
        if any(returns for _, _, returns in near):
            continue  # the band's return brings the new level in by itself
        if near or ramp.start < over - EPS or ramp.end > gone + EPS:
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
    """Go dark with the band and come back with it; too short for two actions, hold one button or leave it."""
    grid = brief.grid
    off, on = grid.locate(cut_off(brief, stop), "late"), back_in(brief, stop)
    index = brief.index_at(off)
    if index is None or on.bar is None or brief.weak(index):
        return "there is a stop here, but the bars are too uncertain to cut on it"
    length = on.seconds - off.seconds
    section = grid.sections[index]
    said = f"the stop at {off}"
    if on.seconds > gone - grid.beat_seconds(gone) / 2 - EPS:
        return f"{said} is left alone: the next change comes with the band's return"
    pair = f"stop/{section.id}/{off.bar}:{off.beat:g}"
    ordinal = f"{(off.bar or 0) - section.first_bar + 1}"
    out = Cue(
        id=f"stop/{section.id}/out/{ordinal}",
        number=0.0,
        kind="cut-out",
        trigger="hand",
        anchor="starts-on",
        place=off,
        hand=f"Side {stay.side.name}: out in one move as the band stops ({count_word(off.beat)})",
        reasons=("the band stops, so the light stops with it",),
        confidence=brief.trust(off, stop),
        level=0,
        look=stay.look.id,
        side=stay.side.name,
        down_beats=0.0,
        down_seconds=0.0,
    )
    if length >= brief.gap:
        # Just before a section it is that section's level that is wanted.
        after = brief.index_at(grid.locate(on.seconds + grid.beat_seconds(on.seconds)))
        level = min(levels[index if after is None or after > stay.last else after], stay.look.level_ceiling)
        back = replace(
            out,
            id=f"stop/{section.id}/back/{ordinal}",
            kind="cut-in",
            place=on,
            hand=f"Side {stay.side.name}: fader to {level} % in one move on {count_word(on.beat)}",
            reasons=("comes back with the band",),
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
    if length < brief.profile.hands.held_from_seconds:
        return f"{said} is left alone: {length:.1f} s is over before the hand is down"
    if not brief.rig.kill:
        return f"{said} is left alone: {length:.1f} s is too short for two actions and there is no kill button"
    held = replace(
        out,
        id=f"stop/{section.id}/held/{ordinal}",
        trigger="held",
        hand=f"{_capital(brief.rig.kill)}: press as the band stops ({count_word(off.beat)}), hold,"
        f" let go on {count_word(on.beat)}",
        reasons=(f"the band stops for {length:.1f} s, too short for two actions: one button, held",),
    )
    return [Move(held, off.seconds, on.seconds, k, STOP_RANK, pair)]


def _ramp(brief: Brief, stay: Stay, k: int, index: int, levels: Sequence[int]) -> Move:
    """Change the level where a look goes on into a section that wants more or less of it."""
    section, side = brief.grid.sections[index], stay.side.name
    place = brief.grid.place(section.first_bar)
    beats = brief.profile.fades.ramp_beats
    seconds = brief.grid.span(place, beats)
    before, level = levels[index - 1], levels[index]
    up = level > before
    cue = Cue(
        id=f"ramp/{section.id}/level/1",
        number=0.0,
        kind="ramp",
        trigger="hand",
        anchor="starts-on",
        place=place,
        hand=f"Side {side}: from {before} % to {level} % over {counts(beats)}, from the 1",
        reasons=(f"the same look goes on, {'a little bigger' if up else 'a little less'} for {section.mark}",),
        confidence=brief.trust(place),
        look=stay.look.id,
        side=side,
        level=level,
        up_beats=beats if up else None,
        up_seconds=seconds if up else None,
        down_beats=None if up else beats,
        down_seconds=None if up else seconds,
    )
    return Move(cue, place.seconds, round(place.seconds + seconds, 4), k, RAMP_RANK)


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
