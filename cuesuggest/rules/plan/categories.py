"""How much light each phrase gets: one optimisation over the whole song.

The plan is the cheapest choice of a shape for every section: one category throughout, or a few phrases of it that are
intense. It pays for being off the drive, for neighbours that should differ and do not or should not and do, for changes
too short to be worth a hand, and for every bar beyond the budgets, the more the further. The song's peak and its drops
have an intense look as of right where the style's floor allows it. What ties the passes of one letter together is never
broken.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from cuesuggest.rules.plan.material import INTENSE, LIFT, PHRASES_APART, REST, SUBTLE, Material, finale
from cuesuggest.rules.settings.house import Profile
from cuesuggest.score.records import CATEGORIES

__all__ = ["FIRST_LIGHT", "Shape", "choose_shapes", "intense_budget", "lit_budget"]

# States looked at over all sections. Songs of up to a dozen letters stay below it; beyond it the plan is a
# very good one, not provably the best.
_MOST_STATES = 60_000
_FIRST_LOOK = 64

# Bars. A phrase that is intense inside a longer section.
_PHRASES = (4, 8, 16)

_TURN = 4

# Cost of going out of an intense look for a few bars and into it again.
_AND_AGAIN = 2.0

# Bars that a drop has at least, where its section is that long.
_AFTER_DROP = 8

# Bars and share of the budget beyond which nothing is intense but what has a right to it.
_WALL_BARS, _WALL_SHARE = 12, 0.5

# Seconds. What is intense for less is over before anybody has seen it.
_SHORTEST_INTENSE = 6.0

# Seconds. No song is dark for longer, in a style that lights all of it; the less of it a style lights, the longer.
_LONG_DARK = 45.0

FIRST_LIGHT = 45.0
"""Seconds of music after which there has to be light, the first section excepted."""


@dataclass(frozen=True, slots=True, order=True)
class Shape:
    """What a section is made of: at which of its bars (0 the first) which category begins."""

    parts: tuple[tuple[int, int], ...]

    @property
    def first(self) -> int:
        """The category that it opens with."""
        return self.parts[0][1]

    @property
    def last(self) -> int:
        """The category that it ends with."""
        return self.parts[-1][1]

    @property
    def top(self) -> int:
        """Its biggest category."""
        return max(category for _, category in self.parts)

    def spans(self, bars: int) -> list[tuple[int, int, int]]:
        """Return (first bar, bar after the last, category) of each part."""
        ends = [*(start for start, _ in self.parts[1:]), bars]
        return [(start, end, category) for (start, category), end in zip(self.parts, ends, strict=True)]

    def bars_of(self, category: int, bars: int) -> int:
        """Return how many of its bars are of a category."""
        return sum(end - start for start, end, each in self.spans(bars) if each == category)


@dataclass(frozen=True, slots=True)
class _State:
    """A plan up to some section: its cost, the bars spent, the shapes so far."""

    cost: float
    intense: int
    lit: int
    path: tuple[Shape, ...]


_Key = tuple[int, tuple[tuple[int, int], ...]]


def choose_shapes(material: list[Material], profile: Profile) -> tuple[Shape, ...]:
    """Choose the cheapest allowed shape for every section.

    Dynamic programme over the sections. A state is the last category and, for every later section, the range
    of categories that the earlier passes of its letter leave open; of states alike in both, only those are
    kept that no other beats in cost, intense bars and lit bars at once. A quick pass with few states gives
    the bound that the full pass prunes with.
    """
    if not material:
        return ()
    most = max(_MOST_STATES // len(material), _FIRST_LOOK)
    for owed, walled in ((True, True), (True, False), (False, True)):
        search = _PlanSearch(material, profile, _fits(material, profile, owed), walled)
        rough = search.best(_FIRST_LOOK, float("inf"))
        if rough is not None:
            return _never_long_dark(material, (search.best(most, rough.cost) or rough).path, profile)
    return tuple(Shape(((0, REST),)) for _ in material)


def _never_long_dark(material: list[Material], path: tuple[Shape, ...], profile: Profile) -> tuple[Shape, ...]:
    """Give the loudest section of a long dark stretch a subtle look: at the start any, later one that plays enough."""
    shapes = list(path)
    opening = next((index for index, each in enumerate(material) if each.song), 0)
    enough = profile.drive.least("subtle")
    tried: set[int] = set()
    while True:
        runs = _dark_runs(material, shapes)
        most = _LONG_DARK / max(profile.budget.lit_share, 0.1)
        long = [run for run in runs if material[run[-1]].section.end - material[run[0]].section.start > most]
        able = [
            index
            for run in long
            for index in run
            if index not in tried
            and (material[index].leaning >= enough or run[0] == opening)
            and material[index].section.bars >= profile.min_stay_bars.subtle
        ]
        if not able:
            return tuple(shapes)
        best = max(able, key=lambda index: (material[index].leaning, index))
        tried.add(best)
        lit = [*shapes[:best], Shape(((0, SUBTLE),)), *shapes[best + 1 :]]
        if _tied(material, lit, profile):
            shapes = lit


def _dark_runs(material: list[Material], shapes: list[Shape]) -> list[list[int]]:
    runs: list[list[int]] = []
    for index, shape in enumerate(shapes):
        if shape.top > REST or not material[index].song:
            continue
        if runs and runs[-1][-1] == index - 1 and not material[index].after_gap:
            runs[-1].append(index)
        else:
            runs.append([index])
    return runs


def _tied(material: list[Material], shapes: list[Shape], profile: Profile) -> bool:
    """Whether a plan keeps what ties the passes of one letter together."""
    ranges = tuple((REST, INTENSE) for _ in material)
    for index, shape in enumerate(shapes):
        low, high = ranges[0]
        left = _narrow(ranges[1:], shape.top, _ties(index, material, profile))
        if left is None or not low <= shape.top <= high:
            return False
        ranges = left
    return True


def intense_budget(material: list[Material], profile: Profile) -> float:
    """Return how many bars may be intense before each further one has a price."""
    return profile.budget.intense_share * sum(each.section.bars for each in material)


def lit_budget(material: list[Material], profile: Profile) -> float:
    """Return how many bars may be lit before each further one has a price."""
    bars = sum(each.section.bars for each in material)
    return profile.budget.lit_share * bars if bars >= profile.budget.lit_from_bars else float(bars)


def _may_be_intense(each: Material, last_big: bool, profile: Profile) -> bool:
    long = each.drop or last_big or each.section.end - each.section.start >= _SHORTEST_INTENSE
    return each.song and long and each.drive >= profile.drive.intense_floor and not (each.early or each.doubted)


def _fits(material: list[Material], profile: Profile, owed: bool) -> list[list[tuple[Shape, float]]]:
    """Cost of each shape that a section may have by itself; `owed`: peaks and drops get what they have a right to."""
    drive = profile.drive
    last_big = finale(material, profile)
    table: list[list[tuple[Shape, float]]] = []
    for index, each in enumerate(material):
        if not each.song:
            table.append([(Shape(((0, REST),)), 0.0)])
            continue
        shapes = _shapes(each, index == last_big, last_big is not None and index > last_big, profile)
        if owed and (index == last_big or each.drop):
            shapes = [shape for shape in shapes if _has_its_right(shape, each)] or shapes
        row = []
        for shape in shapes:
            cost = 0.0
            for start, end, category in shape.spans(each.section.bars):
                own = each.bar_drives[start:end]
                leaning = each.leaning + sum(own) / len(own) - each.drive
                cost += min(max((end - start) / 8, 0.25), 2.0) * ((leaning - drive.best_at[category]) / drive.step) ** 2
            if index == last_big:
                spent = sum((end - start) * category for start, end, category in shape.spans(each.section.bars))
                cost -= profile.weights.finale * spent / (3 * each.section.bars)
            cost += profile.weights.change * (len(shape.parts) - 1)
            row.append((shape, cost))
        table.append(row)
    return table


def _has_its_right(shape: Shape, each: Material) -> bool:
    """Whether a shape is intense, and after a drop for long enough."""
    if shape.top < INTENSE or not each.drop:
        return shape.top == INTENSE
    landed = each.landing or 0
    needed = min(_AFTER_DROP, each.section.bars - landed)
    return any(
        start <= landed and end - landed >= needed
        for start, end, category in shape.spans(each.section.bars)
        if category == INTENSE
    )


def _shapes(each: Material, last_big: bool, over: bool, profile: Profile) -> list[Shape]:
    """Return what a section may be made of: one category, or a lift with a few intense phrases.

    The phrases come first where something lands on the section's first bar, else last, if they are louder or it is the
    last big section; where something lands inside, from there on. When that section is `over`, nothing opens again.
    """
    intense = _may_be_intense(each, last_big, profile)
    plain = [
        Shape(((0, category),))
        for category in (REST, SUBTLE, LIFT, INTENSE)
        if (category != REST or each.may_rest) and (category != INTENSE or intense)
    ]
    bars = each.section.bars
    wishes = last_big or each.drop or each.leaning >= profile.drive.least("intense")
    if not intense or not wishes or (over and not each.drop):
        return plain
    least, aside = int(profile.min_stay_bars.intense), min(int(profile.min_stay_bars.lift), _TURN)
    landed = each.landing
    for phrase in _PHRASES:
        # Four bars are a peak only where eight would be nearly all of the section.
        if phrase < least or (phrase < _AFTER_DROP and bars - _AFTER_DROP >= aside):
            continue
        if landed is not None and landed > 0:
            rest = bars - landed - phrase
            tail = ((landed + phrase, LIFT),) if rest >= aside else ()
            if rest >= 0:
                plain.append(Shape(((0, LIFT), (landed, INTENSE), *tail)))
        elif bars - phrase >= aside:
            # Music turns every four bars, counted from where a section starts.
            at = max(_TURN * int((bars - phrase) / _TURN + 0.5), _TURN)
            first = landed == 0
            own = each.bar_drives
            louder = last_big or sum(own[at:]) / max(bars - at, 1) >= sum(own[:at]) / max(at, 1) + PHRASES_APART
            if first or (louder and aside <= at <= bars - max(least, _TURN)):
                plain.append(Shape(((0, INTENSE), (phrase, LIFT)) if first else ((0, LIFT), (at, INTENSE))))
    if landed and bars - landed >= least:
        plain.append(Shape(((0, LIFT), (landed, INTENSE))))
    return list(dict.fromkeys(plain))


class _PlanSearch:
    """The dynamic programme over one song."""

    def __init__(
        self, material: list[Material], profile: Profile, fits: list[list[tuple[Shape, float]]], walled: bool
    ) -> None:
        self.material, self.profile, self.fits = material, profile, fits
        self.intense, self.lit = intense_budget(material, profile), lit_budget(material, profile)
        bars = [each.section.bars for each in material]
        self.bars = sum(bars)
        # Bars; less light than this is not seen as the first.
        self.seen = min(int(profile.min_stay_bars.subtle), sum(bars))
        # What the sections still to come cost at least, and are intense at least.
        self.ahead, self.owed = [0.0], [0]
        for each, count in zip(reversed(fits), reversed(bars), strict=True):
            self.ahead.insert(0, self.ahead[0] + min(cost for _, cost in each))
            self.owed.insert(0, self.owed[0] + min(shape.bars_of(INTENSE, count) for shape, _ in each))
        wall = max(self.intense + max(_WALL_BARS, _WALL_SHARE * self.intense), self.owed[0])
        self.wall = wall + 1e-9 if walled else float("inf")
        self.ties = [_ties(index, material, profile) for index in range(len(material))]
        played = [index for index, each in enumerate(material) if each.song]
        begin = material[played[0]].section.start if played else 0.0
        self.needs_light = [
            index in played[1:] and each.section.end - begin > FIRST_LIGHT for index, each in enumerate(material)
        ]

    def best(self, most: int, bound: float) -> _State | None:
        """Return the cheapest plan, looking at so many states for each section; None if none is within the bound."""
        free = tuple((REST, INTENSE) for _ in self.material)
        states: dict[_Key, list[_State]] = {(REST, free): [_State(0.0, 0, 0, ())]}
        for index in range(len(self.material)):
            states = _fewest(self._after(index, states, bound), most)
        whole = (
            replace(state, cost=round(state.cost + self._price(state), 9))
            for group in states.values()
            for state in group
        )
        return min(whole, key=_order, default=None)

    def _after(self, index: int, states: dict[_Key, list[_State]], bound: float) -> dict[_Key, list[_State]]:
        """Go on by a section, in every way that it may be lit."""
        bars = self.material[index].section.bars
        found: dict[_Key, list[_State]] = {}
        for (previous, ranges), group in states.items():
            low, high = ranges[0]
            for shape, own in self.fits[index]:
                left = _narrow(ranges[1:], shape.top, self.ties[index]) if low <= shape.top <= high else None
                if left is None:
                    continue
                step = own + (_between(self.material, index, previous, shape.first, self.profile) if index else 0.0)
                step += _AND_AGAIN if previous == shape.top == INTENSE > shape.first else 0.0
                intense, lit = shape.bars_of(INTENSE, bars), bars - shape.bars_of(REST, bars)
                for state in group:
                    if self.needs_light[index] and state.lit + lit < self.seen:
                        continue
                    new = _State(
                        round(state.cost + step, 9), state.intense + intense, state.lit + lit, (*state.path, shape)
                    )
                    beyond = new.intense + self.owed[index + 1] > self.wall
                    if beyond or new.cost + self.ahead[index + 1] + self._price(new) > bound + 1e-6:
                        continue
                    _keep(found.setdefault((shape.last, left), []), new, self.seen)
        return found

    def _price(self, state: _State) -> float:
        """What the bars beyond the budgets cost: little for the first, four times as much for twice as many."""
        weights, bars = self.profile.weights, self.bars

        def beyond(count: int, budget: float) -> float:
            return bars / 80 * (max(count - budget, 0.0) / (0.1 * bars)) ** 2

        return weights.over_intense * beyond(state.intense, self.intense) + weights.over_lit * beyond(
            state.lit, self.lit
        )


def _order(state: _State) -> tuple[float, tuple[Shape, ...]]:
    """Cheapest first; on a tie the plan with less light."""
    return state.cost, state.path


def _keep(group: list[_State], new: _State, seen: int) -> None:
    """Add a state unless another is no worse in everything; drop those that it beats.

    A plan that is dark so far is kept beside those that are not: the song must have light in time.
    """

    def beats(one: _State, other: _State) -> bool:
        less = one.intense <= other.intense and one.lit <= other.lit and _order(one) <= _order(other)
        return less and (one.lit >= seen) == (other.lit >= seen)

    if any(beats(old, new) for old in group):
        return
    group[:] = [old for old in group if not beats(new, old)]
    group.append(new)


def _fewest(found: dict[_Key, list[_State]], most: int) -> dict[_Key, list[_State]]:
    """Keep the cheapest states if there are too many, and always the darkest: it can be gone on from."""
    if sum(map(len, found.values())) <= most:
        return found
    flat = sorted(((state, key) for key, group in found.items() for state in group), key=lambda one: _order(one[0]))
    darkest = min(flat, key=lambda one: (one[0].path, one[0].cost))
    kept: dict[_Key, list[_State]] = {}
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
    apart = here.drive - before.drive
    step = category - previous
    # What a build leads to is more than the build, and surely not less.
    cost = (0 if step > 0 else 1 if step == 0 else 2) * profile.weights.contrast if here.built else 0.0
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
