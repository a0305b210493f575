"""How much light each section gets: one optimisation over the whole song, then a level inside the category.

The plan is the cheapest choice of a category for every section. It pays for being off the section's drive,
for neighbours that should differ and do not or should not and do, and for changes too short to be worth a
hand. It never breaks the budgets nor what ties the passes of one letter together. What the
designer has decided for a section stands, and the plan is made around it.
"""

from __future__ import annotations

from dataclasses import dataclass

from cuesuggest.rules.plan.material import INTENSE, REST, Material, budgets, finale
from cuesuggest.rules.plan.plan_reasons import plan_reasons
from cuesuggest.rules.settings.house import Profile
from cuesuggest.score.records import CATEGORIES, PlannedSection

__all__ = ["choose_categories", "plan"]

# States looked at over all sections. Songs of up to a dozen letters stay below it; beyond it the plan is a
# very good one, not provably the best.
_MOST_STATES = 60_000
_FIRST_LOOK = 64


def plan(material: list[Material], profile: Profile) -> tuple[PlannedSection, ...]:
    """Give each section a category and a level, with the reasons; looks come later."""
    chosen = choose_categories(material, profile)
    levels = _levels(material, chosen, profile)
    return tuple(
        PlannedSection(
            section=each.section.id,
            category=CATEGORIES[category],
            look=None,
            level=level,
            drive=round(each.drive, 4),
            reasons=plan_reasons(index, material, chosen, profile),
        )
        for index, (each, category, level) in enumerate(zip(material, chosen, levels, strict=True))
    )


@dataclass(frozen=True, slots=True)
class _State:
    """A plan up to some section: its cost, the bars spent, the categories so far."""

    cost: float
    intense: int
    lit: int
    path: tuple[int, ...]


def choose_categories(material: list[Material], profile: Profile) -> tuple[int, ...]:
    """Choose the cheapest allowed category (index into CATEGORIES) for every section.

    Dynamic programme over the sections. A state is the last category and, for every later section, the range
    of categories that the earlier passes of its letter leave open; of states alike in both, only those are
    kept that no other beats in cost, intense bars and lit bars at once. A quick pass with few states gives
    the bound that the full pass prunes with.
    """
    if not material:
        return ()
    fits = _fits(material, profile)
    rough = _search(material, profile, fits, _FIRST_LOOK, float("inf"))
    bound = rough.cost if rough is not None else float("inf")
    best = _search(material, profile, fits, max(_MOST_STATES // len(material), _FIRST_LOOK), bound) or rough
    # Everything dark but what was decided keeps every rule, so there is always a plan.
    return best.path if best is not None else tuple(each.pinned or REST for each in material)


def _fits(material: list[Material], profile: Profile) -> list[list[float | None]]:
    """Cost of each category in each section by itself; None where it is not allowed."""
    drive = profile.drive
    best_at = (drive.rest, drive.subtle, drive.lift, drive.intense)
    last_big = finale(material, profile)
    table: list[list[float | None]] = []
    for index, each in enumerate(material):
        weight = min(max(each.section.bars / 8, 0.5), 2.0)
        row: list[float | None] = [weight * ((each.leaning - at) / drive.step) ** 2 for at in best_at]
        if index == last_big:
            row = [cost - profile.weights.finale * step / 3 for step, cost in enumerate(row) if cost is not None]
        if each.drive < drive.intense_floor or each.early or each.doubted:
            row[INTENSE] = None
        if not each.song:
            row = [0.0, None, None, None]
        if each.pinned is not None:
            row = [0.0 if step == each.pinned else None for step in range(len(best_at))]
        table.append(row)
    return table


def _search(
    material: list[Material], profile: Profile, fits: list[list[float | None]], most: int, bound: float
) -> _State | None:
    """Run the dynamic programme; None if nothing stays within the bound."""
    cap_intense, cap_lit = budgets(material, profile)
    ahead = [0.0] * (len(material) + 1)
    for index in range(len(material) - 1, -1, -1):
        ahead[index] = ahead[index + 1] + min(cost for cost in fits[index] if cost is not None)
    ties = [_ties(index, material, profile) for index in range(len(material))]
    free = tuple((REST, INTENSE) for _ in material)
    states: dict[tuple[int, tuple[tuple[int, int], ...]], list[_State]] = {(REST, free): [_State(0.0, 0, 0, ())]}
    for index, each in enumerate(material):
        found: dict[tuple[int, tuple[tuple[int, int], ...]], list[_State]] = {}
        for (previous, ranges), group in states.items():
            low, high = ranges[0]
            for category in range(low, high + 1):
                own = fits[index][category]
                if own is None:
                    continue
                left = _narrow(ranges[1:], category, ties[index])
                if left is None:
                    continue
                step = own + (_between(material, index, previous, category, profile) if index else 0.0)
                for state in group:
                    intense = state.intense + (each.section.bars if category == INTENSE else 0)
                    lit = state.lit + (each.section.bars if category != REST else 0)
                    cost = round(state.cost + step, 9)
                    if intense > cap_intense or lit > cap_lit or cost + ahead[index + 1] > bound + 1e-6:
                        continue
                    _keep(
                        found.setdefault((category, left), []),
                        _State(cost, intense, lit, (*state.path, category)),
                    )
        states = _fewest(found, most)
    return min((state for group in states.values() for state in group), key=_order, default=None)


def _order(state: _State) -> tuple[float, tuple[int, ...]]:
    """Cheapest first; on a tie the plan with less light."""
    return state.cost, state.path


def _keep(group: list[_State], new: _State) -> None:
    """Add a state unless another is no worse in everything; drop those that it beats."""
    for old in group:
        if old.intense <= new.intense and old.lit <= new.lit and _order(old) <= _order(new):
            return
    group[:] = [
        old for old in group if not (new.intense <= old.intense and new.lit <= old.lit and _order(new) <= _order(old))
    ]
    group.append(new)


def _fewest(
    found: dict[tuple[int, tuple[tuple[int, int], ...]], list[_State]], most: int
) -> dict[tuple[int, tuple[tuple[int, int], ...]], list[_State]]:
    """Keep the cheapest states if there are too many, and always the darkest: it can be gone on from."""
    if sum(map(len, found.values())) <= most:
        return found
    flat = sorted(((state, key) for key, group in found.items() for state in group), key=lambda one: _order(one[0]))
    darkest = min(flat, key=lambda one: (one[0].path, one[0].cost))
    kept: dict[tuple[int, tuple[tuple[int, int], ...]], list[_State]] = {}
    for state, key in [*flat[: most - 1], darkest]:
        if state not in kept.setdefault(key, []):
            kept[key].append(state)
    return kept


def _ties(index: int, material: list[Material], profile: Profile) -> list[tuple[int, bool]]:
    """Later passes of this section's letter: (sections ahead, whether clearly quieter)."""
    here = material[index]
    return [
        (ahead, later.drive < here.drive - profile.drive.same_within)
        for ahead, later in enumerate(material[index + 1 :])
        if here.song and later.song and later.section.family == here.section.family
        # What the designer decided for one pass says nothing of the others, and they nothing of it.
        if here.pinned is None and later.pinned is None
    ]


def _narrow(
    ranges: tuple[tuple[int, int], ...], category: int, ties: list[tuple[int, bool]]
) -> tuple[tuple[int, int], ...] | None:
    """Leave open to later passes what this one allows: at most a step away, not weaker unless quieter."""
    left = list(ranges)
    for ahead, quieter in ties:
        low, high = left[ahead]
        if quieter:
            low, high = max(low, category - 1), min(high, category)
        else:
            low, high = max(low, category), min(high, category + 1)
        if low > high:
            return None
        left[ahead] = (low, high)
    return tuple(left)


def _between(material: list[Material], index: int, previous: int, category: int, profile: Profile) -> float:
    """Cost of two categories side by side."""
    here, before = material[index], material[index - 1]
    if here.after_gap or not (here.song and before.song):
        return 0.0
    # An entrance that was decided wants something to enter from.
    cost = profile.weights.contrast if here.enters and category == previous else 0.0
    apart = here.drive - before.drive
    step = category - previous
    if abs(apart) >= profile.drive.contrast_from and here.section.family != before.section.family:
        if step == 0:
            cost += profile.weights.contrast * min(1.0, abs(apart) / profile.drive.step)
        elif step * apart < 0:
            cost += 2 * profile.weights.contrast
    elif abs(apart) < profile.drive.contrast_from:
        cost += profile.weights.change * abs(step)
    if step and category != REST and here.section.bars < profile.min_stay_bars.of(CATEGORIES[category]):
        cost += profile.weights.short
    return cost


def _levels(material: list[Material], chosen: tuple[int, ...], profile: Profile) -> list[int]:
    """Give each section its level in percent, in fives: by drive inside the category, growing by pass."""
    last_big = finale(material, profile)
    best_at = (profile.drive.rest, profile.drive.subtle, profile.drive.lift, profile.drive.intense)
    levels: list[int] = []
    for index, (each, category) in enumerate(zip(material, chosen, strict=True)):
        if category == REST:
            levels.append(0)
            continue
        base = profile.looks.base_level.of(CATEGORIES[category])
        top = profile.looks.ceiling.of(CATEGORIES[category])
        share = min(max((each.leaning - best_at[category]) / profile.drive.step + 0.5, 0.0), 1.0)
        # The last five percent belong to the finale.
        level = min(_fives(base + share * (top - base)), _fives(top) - 5) if index != last_big else _fives(top)
        earlier = [
            (material[other], levels[other])
            for other in range(index)
            if chosen[other] == category and material[other].section.family == each.section.family
        ]
        for other, its_level in earlier:
            if each.drive >= other.drive - profile.drive.same_within:
                level = max(level, its_level)
        for other, its_level in earlier:
            if each.drive < other.drive - profile.drive.same_within:
                level = min(level, its_level - profile.fades.ramp_from)
        levels.append(min(max(level, 5), int(top)))
    return levels


def _fives(level: float) -> int:
    return max(5, 5 * int(level / 5 + 0.5))
