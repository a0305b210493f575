"""Which look is on which side when: entries, exits, what happens between, and the recalls before."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from cuesuggest.rules.brief import Brief, Clash, Move, Stay
from cuesuggest.rules.cues.enter import enter, rise
from cuesuggest.rules.cues.inside import inside
from cuesuggest.rules.cues.leave import leave
from cuesuggest.rules.cues.recall import recalls
from cuesuggest.rules.stays import EPS, build_before, closing_stop, joined, lit_into
from cuesuggest.score.light import swapped_after
from cuesuggest.score.records import CATEGORIES, PlannedSection

__all__ = ["SidePlan", "moves_on_sides"]


@dataclass(frozen=True, slots=True)
class SidePlan:
    """The moves for all stays, and what is to be said about sections (by index)."""

    moves: tuple[Move, ...]
    notes: tuple[tuple[int, str], ...]


def _leave_room(brief: Brief, stays: Sequence[Stay], levels: list[int]) -> None:
    """Keep a look that a build leads out of below its ceiling, so that it can climb."""
    for k in range(len(stays) - 1):
        stay, after = stays[k], stays[k + 1]
        bigger = CATEGORIES.index(after.look.category) >= CATEGORIES.index(stay.look.category)
        if not (joined(brief, stays, k + 1) and bigger):
            continue
        if build_before(brief, brief.grid.place(brief.sections[after.first].first_bar), after.first) is None:
            continue
        most = max(stay.look.level_ceiling - brief.profile.fades.build_rise, 5)
        own = brief.parts[stay.last].index
        for index in range(stay.first, stay.last + 1):
            if brief.parts[index].index == own:
                levels[index] = min(levels[index], most)


def moves_on_sides(brief: Brief, stays: Sequence[Stay], planned: Sequence[PlannedSection]) -> SidePlan | Clash:
    """Turn stays into moves, or name the first stay for which there is no room.

    The order: which stops a look leaves on, how each look comes in, how each goes out, what happens inside,
    and last the recalls, which go where they disturb nothing.
    """
    levels = [each.level for each in planned]
    _leave_room(brief, stays, levels)
    closing = [closing_stop(brief, stays, k) for k in range(len(stays))]
    entries = [enter(brief, stays, k, levels, closing) for k in range(len(stays))]
    moves: list[Move] = []
    notes: list[tuple[int, str]] = []
    dark: list[float] = []
    for k in range(len(stays)):
        coming = entries[k].move
        if k and dark[k - 1] > coming.start + EPS and not lit_into(brief, stays, k, closing):
            return Clash(k, "the look before is still fading")
        if any(dark[j] > coming.start + EPS for j in range(k - 1) if stays[j].side == stays[k].side):
            return Clash(k, "its side is still fading")
        going: Move | None = None
        swap = entries[k + 1].move if lit_into(brief, stays, k + 1, closing) else None
        if swap is not None:
            up, down = swap.cue.up_seconds or 0.0, swap.cue.down_seconds or 0.0
            gone, out = swap.start, round(swap.start + swapped_after(up, down, brief.rig.hands), 4)
        else:
            left = leave(brief, stays, k, coming.end, closing[k])
            if isinstance(left, Clash):
                return left
            going, gone, out = left, left.start, left.end
        if gone < coming.end - EPS:
            return Clash(k, "it would have to go before it has arrived")
        dark.append(out)
        between, said, free = inside(brief, stays, k, levels, coming.end, gone, closing[k])
        climb = None
        if swap is not None or (closing[k] is not None and joined(brief, stays, k + 1)):
            climb = rise(brief, stays, k, levels, entries[k + 1], free, closing[k])
        moves += [move for move in (coming, *between, climb, going) if move is not None]
        notes += said
    recalled = recalls(brief, stays, entries, dark, moves, planned)
    if isinstance(recalled, Clash):
        return recalled
    moves = sorted([*moves, *recalled], key=lambda move: (move.cue.place.seconds, move.start, move.cue.id))
    return SidePlan(tuple(moves), tuple(notes))
