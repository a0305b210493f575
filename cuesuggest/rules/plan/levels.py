"""How bright each part of the plan is: by drive inside its category, with steps that are seen and phrases that move."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise, product

from cuesuggest.rules.plan.material import INTENSE, PHRASES_APART, REST, Material, finale
from cuesuggest.rules.plan.plan_parts import FORGOTTEN, LONG_BUILD, PlanPart
from cuesuggest.rules.settings.house import Profile
from cuesuggest.score.records import CATEGORIES

__all__ = ["levels_of"]

# Drive over which a category's levels are spread; sections closer together use less of them.
_SPREAD = 0.15

# Percent below the category's lowest planned level that a stretch may go to make the next one a step.
_ASIDE = 10

# Seconds of a dip that is too short; longer in a style that rides slowly.
_NERVOUS, _NERVOUS_IF_SLOW = 10.0, 16.0

# Percent less where a voice leads.
_UNDER_A_VOICE = 5

# Moves in one stretch; nobody plays more for their own sake.
_MOST_MOVES = 6


@dataclass(slots=True)
class _Run:
    """The parts of one section that follow each other in one category."""

    parts: list[int]
    category: int
    drive: float
    leaning: float
    level: int = 0


def levels_of(parts: list[PlanPart], material: list[Material], profile: Profile) -> list[int]:
    """Return a level in percent, in fives, for each part; 0 where it is dark."""
    runs = _runs(parts, material)
    last_big = finale(material, profile)
    _ladder(runs, parts, material, last_big, profile)
    _builds(runs, parts, material, profile)
    _steps(runs, parts, material, last_big, profile)
    _plateaus(runs, parts, last_big, profile)
    _in_order(runs, parts, profile)
    return _phrases(runs, parts, last_big, profile)


def _runs(parts: list[PlanPart], material: list[Material]) -> list[_Run]:
    runs: list[_Run] = []
    for index, part in enumerate(parts):
        joined = runs and runs[-1].category == part.category and parts[runs[-1].parts[0]].index == part.index
        if (
            joined
            and not (part.lands or part.after_gap)
            and (part.pin is None) == (parts[runs[-1].parts[0]].pin is None)
        ):
            runs[-1].parts.append(index)
        else:
            runs.append(_Run([index], part.category, 0.0, 0.0))
    for run in runs:
        bars = sum(parts[index].section.bars for index in run.parts)
        run.drive = sum(parts[index].drive * parts[index].section.bars for index in run.parts) / bars
        whole = material[parts[run.parts[0]].index]
        run.leaning = whole.leaning + run.drive - whole.drive
    return runs


def _ladder(
    runs: list[_Run], parts: list[PlanPart], material: list[Material], last_big: int | None, profile: Profile
) -> None:
    """Spread the levels of a category over what it has in this song; a later pass is not lower unless quieter."""
    for position, run in enumerate(runs):
        if run.category == REST:
            continue
        low, high = _range(run.category, profile)
        others = [other.leaning for other in runs if other.category == run.category]
        spread = max(others) - min(others)
        share = min(max((run.leaning - profile.drive.best_at[run.category]) / profile.drive.step + 0.5, 0.0), 1.0)
        if spread > 1e-6:
            own = min(spread / _SPREAD, 1.0)
            share = own * (run.leaning - min(others)) / spread + (1 - own) * share
        here = parts[run.parts[0]].index
        run.level = _fives(high) if here == last_big else _fives(low + share * (high - low))
        if material[here].sung and here != last_big:
            run.level -= _UNDER_A_VOICE
        family = material[here].section.family
        for other in runs[:position]:
            there = material[parts[other.parts[0]].index]
            if other.category != run.category or there.section.family != family:
                continue
            if run.drive >= other.drive - profile.drive.same_within:
                run.level = max(run.level, other.level)
            else:
                run.level = min(run.level, other.level - profile.fades.ramp_from)
        beside = runs[position - 1] if position else run
        alike = beside.category == run.category == INTENSE and abs(run.drive - beside.drive) < profile.drive.same_within
        if alike and here != last_big:
            run.level = max(run.level, beside.level)
        run.level = min(max(run.level, 5), int(high))


def _builds(runs: list[_Run], parts: list[PlanPart], material: list[Material], profile: Profile) -> None:
    """Leave room under the ceiling where a build leads on: the light climbs with it."""
    for run, after in pairwise(runs):
        last, here = parts[run.parts[-1]], material[parts[run.parts[-1]].index]
        first = parts[after.parts[0]]
        inside = first.lands and first.index == last.index
        leads_out = here.build_bars >= LONG_BUILD and first.index != last.index and not first.after_gap
        if run.category == REST or after.category < run.category or last.rises or not (inside or leads_out):
            continue
        low, high = _range(run.category, profile)
        top = after.level if after.category == run.category else high
        room = max(low - _ASIDE, 5.0)
        run.level = int(max(min(run.level, top - profile.fades.build_rise), min(room, run.level)))


def _steps(
    runs: list[_Run], parts: list[PlanPart], material: list[Material], last_big: int | None, profile: Profile
) -> None:
    """Make what is louder than what comes before it a step that is seen, and let it come down again after."""
    top_family = material[last_big].section.family if last_big is not None else ""
    step = int(profile.fades.step)
    for k, (before, run) in enumerate(pairwise(runs)):
        first, last = parts[run.parts[0]], parts[before.parts[-1]]
        if run.category == REST or run.category != before.category or first.pin or last.pin:
            continue
        if first.index == last.index or first.after_gap:
            continue
        if _passing(runs, k, parts, profile) or _passing(runs, k + 1, parts, profile):
            continue
        apart = run.drive - before.drive
        here, there = material[first.index].section.family, material[last.index].section.family
        arrives = here == top_family and there != top_family and apart >= 0
        leaves = there == top_family and here != top_family and apart <= 0
        clear = abs(apart) >= profile.drive.contrast_from
        if (clear and apart > 0) or arrives:
            _apart(before, run, step, _ASIDE if clear else 0, profile)
        elif clear or leaves:
            _apart(run, before, step, _ASIDE if clear else 0, profile)


def _passing(runs: list[_Run], k: int, parts: list[PlanPart], profile: Profile) -> bool:
    """Whether a stretch is so short, with the same look before and after it, that a dip and back would be nervous."""
    if not 0 < k < len(runs) - 1 or not runs[k - 1].category == runs[k].category == runs[k + 1].category:
        return False
    run = runs[k]
    seconds = parts[run.parts[-1]].section.end - parts[run.parts[0]].section.start
    return seconds < (_NERVOUS_IF_SLOW if profile.fades.slow else _NERVOUS)


def _apart(lower: _Run, higher: _Run, step: int, aside: int, profile: Profile) -> None:
    """Put two stretches a step apart: the lower one down as far as it may go, else the higher one up to its ceiling."""
    low, high = _range(higher.category, profile)
    if higher.level - lower.level >= step:
        return
    lower.level = min(lower.level, int(max(higher.level - step, low - aside, 5.0)))
    higher.level = int(min(max(higher.level, lower.level + step), high))


def _in_order(runs: list[_Run], parts: list[PlanPart], profile: Profile) -> None:
    """Where another look comes in, let it be brighter if it is bigger and the music is, and no brighter if smaller."""
    small = int(profile.fades.ramp_from)
    for before, run in pairwise(runs):
        first, last = parts[run.parts[0]], parts[before.parts[-1]]
        if REST in (run.category, before.category) or first.after_gap or first.pin or last.pin or last.rises:
            continue
        if run.category > before.category and run.drive >= before.drive - profile.drive.same_within:
            before.level = min(before.level, int(max(run.level - small, _room(before, profile))))
            run.level = min(max(run.level, before.level + small), int(_range(run.category, profile)[1]))
        elif run.category < before.category and run.drive <= before.drive:
            run.level = min(run.level, before.level)


def _plateaus(runs: list[_Run], parts: list[PlanPart], last_big: int | None, profile: Profile) -> None:
    """Where one look would go on at one level over two long sections, let the second be a little more, or less."""
    small = int(profile.fades.ramp_from)
    for k, (run, after) in enumerate(pairwise(runs)):
        first, begin, end = parts[after.parts[0]], parts[run.parts[0]].section, parts[after.parts[-1]].section
        alike = run.category == after.category not in (REST, INTENSE) and abs(after.level - run.level) < small
        if not alike or first.after_gap or first.pin or end.end - begin.start <= FORGOTTEN:
            continue
        room = _room(run, profile)
        beside = runs[k - 1].level if k and runs[k - 1].category == run.category else 0
        if after.drive > run.drive - PHRASES_APART and after.level - small >= max(room, beside + small):
            run.level = after.level - small
        elif after.drive < run.drive and first.index != last_big and run.level - small >= room:
            after.level = run.level - small


def _phrases(runs: list[_Run], parts: list[PlanPart], last_big: int | None, profile: Profile) -> list[int]:
    """Move what would stay as it is for too long a little: a long stretch opens lower and grows, or dips and is back.

    Never against the music, and never down in an intense look or in the song's last big section.
    """
    small = int(profile.fades.ramp_from)
    patience = FORGOTTEN / 2 if profile.fades.short_phrases else FORGOTTEN
    levels = [0] * len(parts)
    before: _Run | None = None
    since = parts[0].section.start if parts else 0.0
    for run in runs:
        first = parts[run.parts[0]]
        finale = first.index == last_big
        goes_on = before is not None and before.category == run.category and not first.after_gap and not finale
        was = levels[before.parts[-1]] if goes_on and before is not None else None
        if was is None or abs(run.level - was) >= small:
            since = first.section.start
        moving, turn = [], since
        for index in run.parts[1:]:
            if parts[index].phrase and parts[index].section.end - turn > patience:
                moving.append(index)
                turn = parts[index].section.start
        low = run.level - small
        if run.category in (REST, INTENSE) or (finale and was is not None) or low < _room(run, profile):
            moving = []
        beside = levels[before.parts[-1]] if before is not None and not first.after_gap else 0
        from_below = was <= low - small if was is not None else beside < low
        entry = was if was is not None and abs(run.level - was) < small else run.level
        ways = _ways([parts[index].drive - parts[index - 1].drive for index in moving[:_MOST_MOVES]])
        way = max((way for way in ways if not way[0] or from_below), key=_liveliness, default=())
        level = entry
        turns = iter(way[1:])
        if way and way[0]:
            level = entry = low
        for index in run.parts:
            if index in moving[:_MOST_MOVES]:
                level = run.level - small * next(turns)
            levels[index] = level
        since = max([since, *(parts[index].section.start for index in moving)])
        before = run
    return levels


def _ways(louder: list[float]) -> Iterator[tuple[int, ...]]:
    """Yield each way to be at the level (0) or a little below it (1) from phrase to phrase, never against the music.

    It goes down where the music does, or where it is to come up again.
    """
    for way in product((0, 1), repeat=len(louder) + 1):
        fine = True
        for k, (step, change) in enumerate(zip(louder, pairwise(way), strict=True)):
            if change == (1, 0):
                fine &= step > -PHRASES_APART
            elif change == (0, 1):
                fine &= step <= -PHRASES_APART or (step < PHRASES_APART and 0 in way[k + 2 :])
        if fine:
            yield way


def _liveliness(way: tuple[int, ...]) -> tuple[int, bool, bool]:
    """The more moves the better; then the one that ends, and that begins, where the stretch is meant to be."""
    return sum(one != other for one, other in pairwise(way)), way[-1] == 0, way[0] == 0


def _room(run: _Run, profile: Profile) -> float:
    """Return the lowest level that a stretch may go down to."""
    return max(_range(run.category, profile)[0] - _ASIDE, 5.0)


def _range(category: int, profile: Profile) -> tuple[float, float]:
    if category == REST:
        return 0.0, 0.0
    name = CATEGORIES[category]
    return profile.looks.base_level.of(name), profile.looks.ceiling.of(name)


def _fives(level: float) -> int:
    return max(5, 5 * int(level / 5 + 0.5))
