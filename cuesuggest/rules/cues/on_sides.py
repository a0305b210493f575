"""Which look is on which side when: entries, exits, what happens between, and the recalls before."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass

from cuesuggest.rules.brief import Brief, Clash, Move, Stay
from cuesuggest.rules.cues.enter import enter
from cuesuggest.rules.cues.inside import inside
from cuesuggest.rules.cues.leave import leave
from cuesuggest.rules.cues.ramps import rise
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
        build = build_before(brief, brief.grid.place(brief.sections[after.first].first_bar), after.first)
        if build is None:
            continue
        top = min(stay.look.level_ceiling, levels[after.first])
        own = brief.parts[stay.last].index
        mine = [index for index in range(stay.first, stay.last + 1) if brief.parts[index].index == own]
        begins = build.start - brief.sections[mine[0]].start < 2 * brief.grid.bar_seconds(build.start)
        # Where the build begins with the section, the light climbs from where it is.
        rise = brief.profile.fades.ramp_from if begins and mine[0] > stay.first else brief.profile.fades.build_rise
        for index in mine:
            levels[index] = min(levels[index], max(top - int(rise), 5))


def moves_on_sides(brief: Brief, stays: Sequence[Stay], planned: Sequence[PlannedSection]) -> SidePlan | Clash:
    """Turn stays into moves, or name the first stay for which there is no room.

    Where a look that rises with a build cannot be set up before it, it comes in without.
    """
    plain: set[int] = set()
    while True:
        laid = _laid(brief, stays, planned, plain)
        if not isinstance(laid, _Unready):
            return laid
        if laid.stay in plain or not laid.rises:
            return Clash(laid.stay, laid.why)
        plain.add(laid.stay)


@dataclass(frozen=True, slots=True)
class _Unready:
    """A look that cannot be set up in time, and whether it would rise with a build."""

    stay: int
    why: str
    rises: bool


def _laid(
    brief: Brief, stays: Sequence[Stay], planned: Sequence[PlannedSection], plain: Collection[int]
) -> SidePlan | Clash | _Unready:
    """Lay the moves out, those of the `plain` stays without a rise.

    The order: which stops a look leaves on, how each look comes in, how each goes out, what happens inside,
    and last the recalls, which go where they disturb nothing.
    """
    levels = [each.level for each in planned]
    _leave_room(brief, stays, levels)
    closing = [closing_stop(brief, stays, k) for k in range(len(stays))]
    entries = [enter(brief, stays, k, levels, closing, with_build=k not in plain) for k in range(len(stays))]
    moves: list[Move] = []
    notes: list[tuple[int, str]] = []
    dark: list[float] = []
    for k in range(len(stays)):
        coming = entries[k]
        if k and dark[k - 1] > coming.start + EPS and not lit_into(brief, stays, k, closing):
            return Clash(k, "the look before is still fading")
        if any(dark[j] > coming.start + EPS for j in range(k - 1) if stays[j].side == stays[k].side):
            return Clash(k, "its side is still fading")
        going: Move | None = None
        swap = entries[k + 1] if lit_into(brief, stays, k + 1, closing) else None
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
        if going is not None and going.cue.kind == "cut-out":
            # The look goes with the stop that it would be too late to come back from.
            said = [each for each in said if not each[1].startswith(f"The stop at {going.cue.place} is left alone")]
        notes += said
    recalled = recalls(brief, stays, entries, dark, moves, planned)
    if isinstance(recalled, Clash):
        late = entries[recalled.stay].cue
        return _Unready(recalled.stay, recalled.why, late.anchor == "lands-on")
    moves = sorted([*moves, *recalled], key=lambda move: (move.cue.place.seconds, move.start, move.cue.id))
    return SidePlan(tuple(moves), tuple(notes))
