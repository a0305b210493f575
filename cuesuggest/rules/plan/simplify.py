"""What does not fit is given up: the plan gets simpler, one look kept through, before it gets darker."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from cuesuggest.rules.brief import Brief, Clash, Stay
from cuesuggest.rules.plan.plan_reasons import with_reason
from cuesuggest.rules.stays import decided_edge, stays_of
from cuesuggest.score.records import CATEGORIES, Category, PlannedSection

__all__ = ["long_enough", "simplify"]

# A stretch so many times as long does not go dark for a bigger but shorter one.
_LONGER = 2


def long_enough(brief: Brief, planned: list[PlannedSection]) -> list[PlannedSection]:
    """Give up looks that would not stay long enough to be worth a hand; a lone look is left alone."""
    while True:
        stays = stays_of(brief, planned)
        short = [
            (_bars(brief, stay), k)
            for k, stay in enumerate(stays)
            if _bars(brief, stay) < brief.profile.min_stay_bars.of(stay.look.category) and not _pinned(brief, stay)
        ]
        if not short or len(stays) == 1:
            return planned
        planned = _give_up(brief, planned, stays, min(short)[1], "it is too short to be worth a change")


def simplify(brief: Brief, planned: list[PlannedSection], stays: Sequence[Stay], clash: Clash) -> list[PlannedSection]:
    """Give up the weaker of two changes that are too close, what was decided last of all.

    A look that goes on costs no hand. So where the weaker can keep no other look, and more than a section would
    be dark for it, the stronger keeps the look of the weaker: the plan gets simpler, not empty.
    """
    k = clash.stay
    weaker = k > 0 and CATEGORIES.index(stays[k - 1].look.category) < CATEGORIES.index(stays[k].look.category)
    given, why = k, clash.why
    if k and not _pinned(brief, stays[k - 1]) and (weaker or _pinned(brief, stays[k])):
        before, after = (brief.grid.sections[stays[each].first].mark for each in (k - 1, k))
        given, why = k - 1, f"{before} gives way to {after}: {why}"
    kept = _kept(brief, planned, stays, given, why)
    if kept is None and _dark_for_long(planned, stays[given]):
        beside = [each for each in (given - 1, given + 1) if 0 <= each < len(stays) and not _pinned(brief, stays[each])]
        simpler = (_joining(brief, planned, stays, each, given, clash.why) for each in beside)
        kept = next((found for found in simpler if found is not None), None)
    if kept is None and k:
        kept = _held_on_to(brief, planned, stays, k, clash.why)
    if kept is None and given != k and _bars(brief, stays[given]) > _LONGER * _bars(brief, stays[k]):
        given, why = k, clash.why
    return kept if kept is not None else _dark(planned, stays[given], why)


def _held_on_to(
    brief: Brief, planned: Sequence[PlannedSection], stays: Sequence[Stay], k: int, why: str
) -> list[PlannedSection] | None:
    """Come back with the look that the only side still holds; None if that cannot be or helps nothing."""
    stay, before = stays[k], stays[k - 1]
    category = before.look.category
    if stay.side != before.side or stay.look.id == before.look.id or _pinned(brief, stay):
        return None
    if k + 1 < len(stays) and stays[k + 1].look.id == stay.look.id:
        # It would only be the next one that has to change.
        return None
    if not _may_be(brief, stay, category):
        return None
    changed = list(planned)
    for index in range(stay.first, stay.last + 1):
        level = min(planned[index].level, int(brief.profile.looks.ceiling.of(category)))
        given = replace(planned[index], look=before.look.id, level=level, category=category)
        section = brief.grid.sections[before.last].mark
        changed[index] = with_reason(given, f"comes back with the look of {section}: {why}")
    return changed


def _give_up(
    brief: Brief, planned: list[PlannedSection], stays: Sequence[Stay], k: int, why: str
) -> list[PlannedSection]:
    """Keep another look through a stay, or stay dark."""
    kept = _kept(brief, planned, stays, k, why)
    return kept if kept is not None else _dark(planned, stays[k], why)


def _dark(planned: Sequence[PlannedSection], stay: Stay, why: str) -> list[PlannedSection]:
    changed = list(planned)
    for index in range(stay.first, stay.last + 1):
        given = replace(planned[index], look=None, level=0, category="rest")
        changed[index] = with_reason(given, f"stays dark: {why}")
    return changed


def _dark_for_long(planned: Sequence[PlannedSection], stay: Stay) -> bool:
    """Whether more than one section in a row would be dark without a stay."""
    beside = [planned[index] for index in (stay.first - 1, stay.last + 1) if 0 <= index < len(planned)]
    return stay.last > stay.first or any(each.look is None for each in beside)


def _kept(
    brief: Brief, planned: Sequence[PlannedSection], stays: Sequence[Stay], k: int, why: str
) -> list[PlannedSection] | None:
    """Keep the look before through a stay, or start the one after early; None if neither goes on quietly."""
    found = (_joining(brief, planned, stays, k, other, why) for other in (k - 1, k + 1) if 0 <= other < len(stays))
    return next((each for each in found if each is not None), None)


def _joining(
    brief: Brief, planned: Sequence[PlannedSection], stays: Sequence[Stay], k: int, other: int, why: str
) -> list[PlannedSection] | None:
    """Give a stay the look of the one before or after it; None where that cannot be."""
    stay, neighbour = stays[k], stays[other]
    # A decided look comes in and goes out where it was decided: nothing joins it there.
    if decided_edge(brief, stays[max(k, other)].first):
        return None
    first, last = min(stay.last, neighbour.last) + 1, max(stay.first, neighbour.first)
    if first != last or last in brief.gaps:
        return None
    category = neighbour.look.category
    if not _may_be(brief, stay, category):
        return None
    edge = neighbour.last if other < k else neighbour.first
    section = brief.grid.sections[edge].mark
    text = f"keeps the look of {section}" if other < k else f"takes the look of {section} early"
    changed = list(planned)
    for index in range(stay.first, stay.last + 1):
        level = planned[edge].level
        if _ridden(brief, stay, category):
            level = min(planned[index].level, int(brief.profile.looks.ceiling.of(category)))
        given = replace(planned[index], look=neighbour.look.id, level=level, category=category)
        changed[index] = with_reason(given, f"{text}: {why}")
    return changed


def _ridden(brief: Brief, stay: Stay, category: Category) -> bool:
    """Whether a stretch is long enough for its own level in the look of another."""
    return _bars(brief, stay) >= brief.profile.min_stay_bars.of(category)


def _may_be(brief: Brief, stay: Stay, category: Category) -> bool:
    """Whether a stay may take a look of a category: never bigger, but a lift at a subtle level where it is ridden."""
    most = CATEGORIES.index("lift" if _ridden(brief, stay, category) else "subtle")
    return CATEGORIES.index(category) <= max(CATEGORIES.index(stay.look.category), most)


def _pinned(brief: Brief, stay: Stay) -> bool:
    return any(section.id in brief.pins for section in brief.grid.sections[stay.first : stay.last + 1])


def _bars(brief: Brief, stay: Stay) -> int:
    return sum(section.bars for section in brief.grid.sections[stay.first : stay.last + 1])
