"""What does not fit is given up: the plan gets simpler, one look kept through, before it gets darker."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from cuesuggest.rules.brief import Brief, Clash, Stay
from cuesuggest.rules.plan.categories import FIRST_LIGHT
from cuesuggest.rules.plan.plan_reasons import with_reason
from cuesuggest.rules.stays import decided_edge, stays_of
from cuesuggest.score.records import CATEGORIES, Category, PlannedSection

__all__ = ["long_enough", "simplify"]

_TOO_SHORT = "it is too short to be worth a change"

_A_LONG_STAY = 8  # bars

# A stretch so many times as long does not go dark for a bigger but shorter one.
_LONGER = 2


def long_enough(brief: Brief, planned: list[PlannedSection]) -> list[PlannedSection]:
    """Give up looks that would not stay long enough to be worth a hand; a lone look is left alone.

    Where the band is too loud to be left in the dark and no look beside can go on, half of that is long enough.
    """
    kept_short: set[int] = set()
    while True:
        stays = stays_of(brief, planned)
        short = [
            (_bars(brief, stay), k)
            for k, stay in enumerate(stays)
            if _bars(brief, stay) < _least_bars(brief, stay)
            and not _beside_pin(brief, stay)
            and not any(part.rises for part in brief.parts[stay.first : stay.last + 1])
            and stay.first not in kept_short
        ]
        if not short or len(stays) == 1:
            return planned
        k = min(short)[1]
        kept = _kept(brief, planned, stays, k, _TOO_SHORT)
        if kept is None and (_loud(brief, stays[k]) or _first_light(brief, stays, k)):
            kept_short.add(stays[k].first)
            continue
        planned = (
            kept if kept is not None else _dark(brief, planned, range(stays[k].first, stays[k].last + 1), _TOO_SHORT)
        )


def _least_bars(brief: Brief, stay: Stay) -> float:
    """Return how many bars a look has to stay; of eight and more one may be missing, as bands play seven for eight."""
    least = brief.profile.min_stay_bars.of(stay.look.category)
    return least - 1 if least >= _A_LONG_STAY else least


def _first_light(brief: Brief, stays: Sequence[Stay], k: int) -> bool:
    """Whether without a stay the song would be dark for too long at its start."""
    later = brief.sections[stays[k + 1].first].start if k + 1 < len(stays) else float("inf")
    return k == 0 and later - brief.sections[0].start > FIRST_LIGHT


def _loud(brief: Brief, stay: Stay) -> bool:
    """Whether a short stretch is too loud for the dark, and half as long as its look should stay."""
    loud = max(part.drive for part in brief.parts[stay.first : stay.last + 1]) >= brief.profile.drive.least("lift")
    return loud and _bars(brief, stay) >= brief.profile.min_stay_bars.of(stay.look.category) / 2


def simplify(brief: Brief, planned: list[PlannedSection], stays: Sequence[Stay], clash: Clash) -> list[PlannedSection]:
    """Give up the weaker of two changes that are too close, what was decided last of all.

    A look that goes on costs no hand. So where the weaker can keep no other look, and more than a section would
    be dark for it, the stronger keeps the look of the weaker: the plan gets simpler, not empty.
    """
    k = clash.stay
    for rising in (k, k - 1):
        if rising >= 0 and all(part.rises for part in brief.parts[stays[rising].first : stays[rising].last + 1]):
            # It only leads to what comes.
            return _dark(brief, planned, range(stays[rising].first, stays[rising].last + 1), clash.why)
    weaker = k > 0 and CATEGORIES.index(stays[k - 1].look.category) < CATEGORIES.index(stays[k].look.category)
    given, why = k, clash.why
    if k and not _pinned(brief, stays[k - 1]) and (weaker or _pinned(brief, stays[k])):
        before, after = (brief.name(stays[each].first) for each in (k - 1, k))
        given, why = k - 1, f"{before} gives way to {after} ({why})"
    kept = _kept(brief, planned, stays, given, why)
    if kept is None and _dark_for_long(planned, stays[given]):
        beside = [each for each in (given - 1, given + 1) if 0 <= each < len(stays) and not _pinned(brief, stays[each])]
        simpler = (_joining(brief, planned, stays, each, given, clash.why) for each in beside)
        kept = next((found for found in simpler if found is not None), None)
    if kept is None and k:
        kept = _held_on_to(brief, planned, stays, k, clash.why)
    if kept is None and given != k and _bars(brief, stays[given]) > _LONGER * _bars(brief, stays[k]):
        given, why = k, clash.why
    return kept if kept is not None else _dark(brief, planned, _edge(brief, stays[given], first=given == k), why)


def _edge(brief: Brief, stay: Stay, *, first: bool) -> range:
    """Return the parts of the first, or the last, section of a stay: the rest of it may be without a clash."""
    own = brief.parts[stay.first if first else stay.last].index
    mine = [index for index in range(stay.first, stay.last + 1) if brief.parts[index].index == own]
    return range(mine[0], mine[-1] + 1)


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
        given = replace(
            planned[index], look=before.look.id, level=level, category=category, reasons=_of_the_music(planned[index])
        )
        text = f"It comes back with the look of {brief.sections[before.last].mark}"
        changed[index] = with_reason(given, _said(brief, stay.first, index, text, why))
    return changed


def _said(brief: Brief, first: int, index: int, text: str, why: str) -> str:
    """Say what is given up in a part of a stretch: why once, in the section in which the stretch begins."""
    own = brief.sections[first].mark
    if brief.parts[index].index != brief.parts[first].index:
        return f"{text}, as {own} does."
    return f"{text}, because {why.replace(f'{own} gives way', 'it gives way')}."


def _dark(brief: Brief, planned: Sequence[PlannedSection], parts: range, why: str) -> list[PlannedSection]:
    changed = list(planned)
    for index in parts:
        given = replace(planned[index], look=None, level=0, category="rest", reasons=_of_the_music(planned[index]))
        changed[index] = with_reason(given, _said(brief, parts[0], index, "It stays dark", why))
    return changed


def _of_the_music(planned: PlannedSection) -> tuple[str, ...]:
    """Keep what was said of the music; what was said of a look that is given up is not so any more."""
    return tuple(reason for reason in planned.reasons if "(drive" in reason)


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
    if first != last or brief.parts[last].after_gap:
        return None
    category = neighbour.look.category
    if not _may_be(brief, stay, category):
        return None
    edge = neighbour.last if other < k else neighbour.first
    section = brief.sections[edge].mark
    text = f"It keeps the look of {section}" if other < k else f"It takes the look of {section} early"
    changed = list(planned)
    for index in range(stay.first, stay.last + 1):
        level = planned[edge].level
        if _ridden(brief, stay, category):
            level = min(planned[index].level, int(brief.profile.looks.ceiling.of(category)))
            # Nothing louder than what is beside it gets less, and nothing quieter more.
            louder = brief.parts[index].drive >= brief.parts[edge].drive
            level = max(level, planned[edge].level) if louder else min(level, planned[edge].level)
        given = replace(
            planned[index],
            look=neighbour.look.id,
            level=level,
            category=category,
            reasons=_of_the_music(planned[index]),
        )
        changed[index] = with_reason(given, _said(brief, stay.first, index, text, why))
    return changed


def _ridden(brief: Brief, stay: Stay, category: Category) -> bool:
    """Whether a stretch is long enough for its own level in the look of another."""
    return _bars(brief, stay) >= brief.profile.min_stay_bars.of(category)


def _may_be(brief: Brief, stay: Stay, category: Category) -> bool:
    """Whether a stay may take a look of a category: never bigger, but a lift at a subtle level where it is ridden."""
    most = CATEGORIES.index("lift" if _ridden(brief, stay, category) else "subtle")
    return CATEGORIES.index(category) <= max(CATEGORIES.index(stay.look.category), most)


def _pinned(brief: Brief, stay: Stay) -> bool:
    return any(part.pin is not None for part in brief.parts[stay.first : stay.last + 1])


def _beside_pin(brief: Brief, stay: Stay) -> bool:
    """Whether a stay, or what is right beside it, was decided: a decision makes nothing else too short."""
    return any(part.pin is not None for part in brief.parts[max(stay.first - 1, 0) : stay.last + 2])


def _bars(brief: Brief, stay: Stay) -> int:
    return sum(section.bars for section in brief.sections[stay.first : stay.last + 1])
