"""Which look is on which side when: entries, exits, what happens between, and the recalls before."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from cuesuggest.rules.brief import STOP_RANK, Brief, Clash, Move, Stay
from cuesuggest.rules.cues.enter import enter, rise
from cuesuggest.rules.cues.inside import inside
from cuesuggest.rules.cues.leave import leave
from cuesuggest.rules.cues.recall import recalls
from cuesuggest.rules.stays import EPS, closing_stop, lit_into
from cuesuggest.score.light import swapped_after
from cuesuggest.score.records import PlannedSection

__all__ = ["SidePlan", "moves_on_sides"]


@dataclass(frozen=True, slots=True)
class SidePlan:
    """The moves for all stays, and what is to be said about sections (by index)."""

    moves: tuple[Move, ...]
    notes: tuple[tuple[int, str], ...]


def moves_on_sides(brief: Brief, stays: Sequence[Stay], planned: Sequence[PlannedSection]) -> SidePlan | Clash:
    """Turn stays into moves, or name the first stay for which there is no room.

    The order: which stops a look leaves on, how each look comes in, how each goes out, what happens inside,
    and last the recalls, which go where they disturb nothing.
    """
    levels = [each.level for each in planned]
    closing = [closing_stop(brief, stays, k) for k in range(len(stays))]
    entries = [enter(brief, stays, k, levels, closing) for k in range(len(stays))]
    moves: list[Move] = []
    notes: list[tuple[int, str]] = []
    dark: list[float] = []
    for k in range(len(stays)):
        coming = entries[k].move
        if k and dark[k - 1] > coming.start + EPS and not lit_into(brief, stays, k, closing):
            return Clash(k, "the look before is still fading")
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
        if swap is not None and not any(move.rank == STOP_RANK for move in between):
            climb = rise(brief, stays, k, levels, entries[k + 1], free)
        moves += [move for move in (coming, *between, climb, going) if move is not None]
        notes += said
    recalled = recalls(brief, stays, entries, dark, moves, planned)
    if isinstance(recalled, Clash):
        return recalled
    moves = sorted([*moves, *recalled], key=lambda move: (move.cue.place.seconds, move.start, move.cue.id))
    return SidePlan(tuple(moves), tuple(notes))
