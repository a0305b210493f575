"""The few looks that a song needs, and how fast they move at its tempo."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from cuesuggest.analysis.types import Bar
from cuesuggest.rules.brief import Brief
from cuesuggest.rules.plan.material import Material, finale
from cuesuggest.rules.plan.plan_parts import Pin
from cuesuggest.rules.plan.plan_reasons import SECOND_LOOK, with_reason
from cuesuggest.rules.settings.house import OneShot
from cuesuggest.score.records import CATEGORIES, Category, Look, PlannedSection, colours_alone

__all__ = [
    "HOME",
    "LOOKS",
    "ONE_SHOT",
    "assign_looks",
    "build_looks",
    "built_for",
    "cycle",
    "home_look",
    "look_at",
    "one_shot_look",
]

HOME, ONE_SHOT = "home", "one-shot"

# Bars for one round of motion: whole numbers, or simple fractions that still meet the downbeat.
_CYCLES = (0.125, 0.25, 0.5, 1.0, 2.0, 4.0, 8.0, 16.0, 32.0, 64.0)

# Seconds. A strobe's look flashes once a round; two sides of them that overlap stay far below three flashes a second.
_STROBE_ROUND = 2.0


@dataclass(frozen=True, slots=True)
class _Kind:
    """What kind of thing to build, in general words."""

    name: str
    laser: str
    lamp: str
    surface: str
    """What to build where nothing in the air shows the light."""
    colours: str
    count: int
    """Of the colours that are meant by that."""


_KINDS: dict[str, _Kind] = {
    "subtle-1": _Kind(
        "Slow wave",
        "a slow wave of thin beams that never stands still",
        "soft columns of light that drift slowly",
        "a soft pattern on the wall or the curtain that drifts slowly",
        "one colour, close to the stage's own",
        1,
    ),
    "lift-1": _Kind(
        "Parallel beams",
        "parallel beams moving together from side to side",
        "parallel columns swinging together",
        "a row of patches on the wall or the curtain, swinging together",
        "two neighbouring colours",
        2,
    ),
    "lift-2": _Kind(
        "Wide parallel beams",
        "the parallel beams spread to the full width, moving against each other",
        "columns over the full width, swinging against each other",
        "patches over the full width of the wall or the curtain, swinging against each other",
        "two neighbouring colours and white",
        3,
    ),
    "intense-1": _Kind(
        "Opening fan",
        "a fan that opens and closes, restarted on the downbeat",
        "a fan of columns that opens and closes, restarted on the downbeat",
        "patches on the wall or the curtain that spread and gather, restarted on the downbeat",
        "two colours in contrast",
        2,
    ),
    "intense-2": _Kind(
        "Crossing fans",
        "two fans at their widest that sweep through each other, restarted on the downbeat",
        "two fans of columns that sweep through each other, restarted on the downbeat",
        "two groups of patches that sweep through each other over the whole wall, restarted on the downbeat",
        "two colours in contrast and white",
        3,
    ),
}


# Ids of the looks that are built for a song, in order of size.
LOOKS = tuple(_KINDS)


def assign_looks(material: list[Material], planned: Sequence[PlannedSection], brief: Brief) -> list[PlannedSection]:
    """Give each lit section the look of its category, and the biggest pass a second one if it earned it.

    Earned means: something of the same category came before, so the same look again would be no step up.
    """
    last_big = finale(material, brief.profile)
    given = [_given(each, brief.pin(index)) for index, each in enumerate(planned)]
    own = [index for index, part in enumerate(brief.parts) if part.index == last_big and part.pin is None]
    if not own:
        return given
    most = max(CATEGORIES.index(planned[index].category) for index in own)
    top = [index for index in own if CATEGORIES.index(planned[index].category) == most]
    name = CATEGORIES[most]
    if name in ("lift", "intense") and any(each.category == name for each in planned[: top[0]]):
        for index in top:
            given[index] = replace(given[index], look=f"{name}-2")
        given[top[0]] = with_reason(given[top[0]], SECOND_LOOK)
    return given


def _given(planned: PlannedSection, pin: Pin | None) -> PlannedSection:
    if planned.category == "rest":
        return planned
    return replace(planned, look=pin.look if pin and pin.look in _KINDS else f"{planned.category}-1")


def build_looks(planned: Sequence[PlannedSection], brief: Brief, shots: bool) -> tuple[Look, ...]:
    """Describe every look in use, in order of category, then the one-shot, then the home look."""
    used = {each.look for each in planned if each.look is not None}
    looks = [_look(id_, planned, brief) for id_ in _KINDS if id_ in used]
    if shots and brief.rig.one_shot is not None:
        looks.append(one_shot_look(brief.rig.one_shot, brief))
    if looks:
        looks.append(home_look(brief))
    return tuple(looks)


def cycle(category: Category, bar_seconds: float, brief: Brief) -> float:
    """Return the bars for one round of motion: the choice nearest the middle of the category's seconds."""
    low, high = brief.profile.looks.cycle_seconds.of(category)
    middle = math.sqrt(low * high)
    if brief.rig.playing[0].source == "strobe":
        slow = [bars for bars in _CYCLES if bars * bar_seconds >= _STROBE_ROUND - 1e-6]
        return min(slow, key=lambda bars: (round(abs(math.log(bars * bar_seconds / middle)), 9), bars))
    return min(_CYCLES, key=lambda bars: (round(abs(math.log(bars * bar_seconds / middle)), 9), bars))


def built_for(look: str, planned: Sequence[PlannedSection], brief: Brief) -> Bar:
    """Return the bar that a look's motion is built for: of the parts that have it the one of middle length."""
    having = [section for section, each in zip(brief.sections, planned, strict=True) if each.look == look]
    bars = sorted(
        (bar for section in having for bar in brief.grid.bars_of(section)),
        key=lambda bar: (bar.end - bar.start, bar.number),
    )
    return bars[len(bars) // 2]


def _look(id_: str, planned: Sequence[PlannedSection], brief: Brief) -> Look:
    category: Category = next(each.category for each in planned if each.look == id_)
    bar = built_for(id_, planned, brief)
    return look_at(id_, category, bar.end - bar.start, brief)


def look_at(id_: str, category: Category, bar_seconds: float, brief: Brief) -> Look:
    """Describe a look of those in `LOOKS`, its motion fitted to bars of that length."""
    kind = _KINDS[id_]
    source = brief.rig.playing[0].source
    bars = cycle(category, bar_seconds, brief)
    profile = brief.profile.looks
    colours = int(profile.colours.of(category)) + (id_.endswith("-2"))
    in_the_air = kind.laser if source == "laser" else kind.lamp
    return Look(
        id=id_,
        name=kind.name,
        category=category,
        source=source,
        cycle_bars=bars,
        cycle_seconds=round(bars * bar_seconds, 2),
        colours=colours,
        colour_relation=kind.colours if colours == kind.count else colours_alone(colours),
        level_ceiling=int(profile.ceiling.of(category)),
        peak_after=0.0,
        description=in_the_air if brief.rig.haze else kind.surface,
    )


def one_shot_look(shot: OneShot, brief: Brief) -> Look:
    """Describe what the button for one-shots fires."""
    what = {
        "laser": "one sweep from the middle outwards, then dark",
        "lamp": "one swell of white lamps, then dark",
        "strobe": "one short burst, then dark",
    }
    return Look(
        id=ONE_SHOT,
        name="One-shot",
        category="intense",
        source=shot.source,
        cycle_bars=None,
        cycle_seconds=shot.run_seconds,
        colours=1,
        colour_relation="white, or the song's main colour",
        level_ceiling=int(brief.profile.looks.ceiling.intense),
        peak_after=shot.peak_after,
        description=what[shot.source],
    )


def home_look(brief: Brief) -> Look:
    """Describe the look where the hand goes when lost."""
    source = brief.rig.playing[0].source
    return Look(
        id=HOME,
        name="Home",
        category="subtle",
        source=source,
        cycle_bars=None,
        cycle_seconds=brief.profile.looks.cycle_seconds.of("subtle")[1],
        colours=1,
        colour_relation="one colour that goes with every song",
        level_ceiling=brief.profile.looks.home_level,
        peak_after=0.0,
        description="the slowest wave at half level, on one button: where the hand goes when lost",
        home=True,
    )
