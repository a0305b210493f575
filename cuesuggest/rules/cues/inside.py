"""While a look stays: stops, and changes of level."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from cuesuggest.analysis.types import Event
from cuesuggest.rules.brief import STOP_RANK, Brief, Move, Stay
from cuesuggest.rules.cues.ramps import ramp
from cuesuggest.rules.stays import EPS, back_in, cut_off
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
        ridden = ramp(brief, stay, k, index, levels, over)
        if ridden.start < arrived + EPS:
            # No hand brings a look in and rides it on at one moment.
            ridden = ramp(brief, stay, k, index, levels, arrived + brief.gap)
        beat = brief.grid.beat_seconds(ridden.start)
        near = [stop for stop in spans if stop[0] - beat < ridden.end + EPS and ridden.start < stop[1] + beat + EPS]
        lands = ridden.cue.anchor == "lands-on" and all(stop[0] >= ridden.end - EPS for stop in near)
        if any(returns for _, _, returns in near) and not lands:
            continue  # the band's return brings the new level in by itself
        if (near and not lands) or ridden.start < over - EPS or ridden.end > gone + EPS:
            levels[index] = levels[index - 1]
            continue
        ramps.append(ridden)
        over = ridden.end
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
    ordinal = part.ordinal + (off.bar or 0) - part.section.first_bar
    out = Cue(
        id=f"stop/{part.section.id}/out/{ordinal}",
        number=0.0,
        kind="cut-out",
        trigger="hand",
        anchor="starts-on",
        place=off,
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
            reasons=(f"The band stops for {length:.1f} s, too short for two actions: one button, held.",),
        )
        return [Move(held, off.seconds, on.seconds, k, STOP_RANK, pair)]
    # Just before a section it is that section's level that is wanted.
    after = brief.index_at(grid.locate(on.seconds + grid.beat_seconds(on.seconds)))
    inner = after is not None and stay.first <= after <= stay.last
    level = min(levels[after if inner and after is not None else max(index, stay.first)], stay.look.level_ceiling)
    back = replace(
        out,
        id=f"stop/{part.section.id}/back/{ordinal}",
        kind="cut-in",
        place=on,
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
