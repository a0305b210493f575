"""Setting looks up on a dark side, early enough and where nothing else happens."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from cuesuggest.rules.brief import Brief, Clash, Move, Stay
from cuesuggest.rules.cues.speed import Round, set_with
from cuesuggest.rules.person.hands import hands_held
from cuesuggest.rules.stays import EPS
from cuesuggest.score.records import Cue, Place, PlannedSection

__all__ = ["recalls"]


def recalls(
    brief: Brief,
    stays: Sequence[Stay],
    entries: Sequence[Move],
    dark: Sequence[float],
    moves: Sequence[Move],
    planned: Sequence[PlannedSection],
) -> list[Move] | Clash:
    """Put each look on its side while that side is dark, at a place where nothing else happens."""
    made: list[Move] = []
    for k, stay in enumerate(stays):
        entry = entries[k]
        if k == 0:
            made.append(_preset(brief, stay, entry, set_with(brief, stay, planned, first=True)))
            continue
        same = [j for j in range(k) if stays[j].side == stay.side]
        if same and stays[same[-1]].look == stay.look:
            continue  # the side still holds it
        free = dark[same[-1]] if same else brief.grid.bars[0].start
        place = _quiet_downbeat(brief, stay, entry, free, [*moves, *made])
        if place is None:
            return Clash(k, "there is no time to set it up in the dark")
        if place.seconds + _full_lead(brief, stay, entry.start) <= entry.start + EPS:
            jump = " where its jump is not seen," if stay.side.jumps else ""
            why = f"It is set up in the dark,{jump} well before {brief.name(stay.first)}."
        else:
            why = "It is set up in the dark at short notice: the side is not free earlier."
        speed = set_with(brief, stay, planned, first=False)
        made.append(_recall(brief, stay, k, entry, place, speed, why))
    return made


def _full_lead(brief: Brief, stay: Stay, at: float) -> float:
    """Seconds that a recall should come before its entrance."""
    standby = brief.profile.standby
    bars = standby.lead_bars * brief.grid.bar_seconds(at - 0.01)
    return max(standby.lead_seconds, bars, stay.side.settle_seconds + brief.rig.reaction_seconds)


def _quiet_downbeat(brief: Brief, stay: Stay, entry: Move, free: float, moves: Sequence[Move]) -> Place | None:
    """Find the downbeat for a recall: the side dark, nothing else near, some bars before if there is room."""
    starts = [start for move in moves for start in move.starts]
    # A fade that has to land holds the eye as well as the hand.
    landing = [(move.start, move.end) for move in moves if move.cue.anchor == "lands-on"]
    wished = entry.start - brief.profile.standby.recall_bars * brief.grid.bar_seconds(entry.start - 0.01)
    full = _full_lead(brief, stay, entry.start)
    least = max(stay.side.settle_seconds + brief.rig.reaction_seconds, brief.gap)
    places = [Place(bar.start, bar.number, 1.0) for bar in brief.grid.bars]
    pause = entry.start - full
    if brief.parts[stay.first].after_gap and brief.grid.locate(pause).bar is None:
        places.append(Place(round(pause, 4)))
    quiet = [
        place
        for place in places
        if place.seconds >= free + EPS
        and all(abs(place.seconds - start) >= brief.gap - EPS for start in starts)
        and not any(low - EPS < place.seconds < high + EPS for low, high in landing)
        and hands_held(moves, place.seconds, brief.rig) < max(brief.rig.hands, 1)
    ]
    for lead in (full, least):
        fitting = [place for place in quiet if place.seconds <= entry.start - lead + EPS]
        if fitting:
            best = min(fitting, key=lambda place: (round(abs(place.seconds - wished), 3), place.seconds))
            return best if best.bar is None else brief.grid.place(best.bar)
    return None


def _preset(brief: Brief, stay: Stay, entry: Move, speed: Round | None) -> Move:
    """Set the first look and its speed up before the song starts, however soon it starts in the recording."""
    lead = brief.profile.standby.lead_seconds
    place = Place(round(max(brief.grid.bars[0].start - lead, 0.0), 4))
    made = _recall(
        brief,
        stay,
        0,
        entry,
        place,
        speed,
        "The first look is set up before the song, in the dark.",
    )
    before = min(place.seconds, entry.start - lead)
    return replace(made, start=before, end=before)


def _recall(brief: Brief, stay: Stay, k: int, entry: Move, place: Place, speed: Round | None, why: str) -> Move:
    part = brief.parts[stay.first]
    cue = Cue(
        id=f"recall/{part.section.id}/{stay.look.category}/{part.ordinal}",
        number=0.0,
        kind="recall",
        trigger="hand",
        anchor="starts-on",
        place=place,
        reasons=(why,),
        confidence=entry.cue.confidence if place.bar is None else brief.trust(place),
        look=stay.look.id,
        side=stay.side.name,
        cycle_seconds=None if speed is None else speed.seconds,
        cycle_bars=None if speed is None else speed.bars,
    )
    return Move(cue, place.seconds, place.seconds, stay=k)
