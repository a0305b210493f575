"""A plan in parts: each section as it is, or cut where its light changes inside it; what the designer decided on top.

A part is a section with fewer bars. Rules that place cues work on parts; names and ids stay those of the section.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

from cuesuggest.analysis.types import Bar, Section
from cuesuggest.rules.plan.categories import Shape
from cuesuggest.rules.plan.material import INTENSE, REST, SUBTLE, Material
from cuesuggest.rules.settings.house import Profile
from cuesuggest.score.grid import Grid
from cuesuggest.score.records import CATEGORIES, Category

__all__ = ["FORGOTTEN", "LONGEST_RISE", "LONG_BUILD", "Pin", "PlanPart", "parts_of"]

# Bars. A build this long is followed with a rise.
LONG_BUILD = 4

# Bars. Nobody moves a fader evenly for longer.
LONGEST_RISE = 16

# Seconds. A look that stays longer without a change is forgotten; a phrase is cut so that it does not.
FORGOTTEN = 40.0
_SHORTEST_PHRASE = 4

# Seconds between two bars of a section in which nobody plays.
_PAUSE = 1.0


@dataclass(frozen=True, slots=True)
class Pin:
    """What the designer has decided for a section, or for a part of it."""

    category: Category
    look: str | None = None
    """None where it is dark, or where the plan is to choose."""
    side: str | None = None
    """The side that its look comes in on."""
    enters: bool = True
    """Whether the look comes in with this section; False if it is there already."""
    leaves: bool = False
    """Whether the look goes out with the end of this section."""
    whole: bool = True
    """Whether it is for the section to its end; False if only to the next change that the plan makes inside."""


@dataclass(frozen=True, slots=True)
class PlanPart:
    """A stretch of one section that has one look at one level."""

    section: Section
    """With the bars of the part."""
    index: int
    """Of the whole section."""
    ordinal: int
    """The bar of the section on which it starts, from 1."""
    category: int
    drive: float
    pin: Pin | None = None
    rises: bool = False
    """True if its look comes up with a build, to be there where the next part starts."""
    lands: bool = False
    """True if something lands on its first bar: a drop, the end of a build."""
    phrase: bool = False
    """True if it only goes on: the same look in the next phrase."""
    after_gap: bool = False
    """True if nobody plays between it and the part before."""

    @property
    def name(self) -> str:
        """As a musician would say it: "B2", or "bar 9 of B2"."""
        return self.section.mark if self.ordinal == 1 else f"bar {self.ordinal} of {self.section.mark}"


def parts_of(
    material: list[Material], shapes: tuple[Shape, ...], grid: Grid, pins: Mapping[str, Pin], profile: Profile
) -> list[PlanPart]:
    """Cut sections where their light changes, and lay what was decided over it.

    Parameters
    ----------
    material : list of Material
    shapes : tuple of Shape
        One for each.
    grid : Grid
    pins : mapping
        By section id, or by "id+9" for what begins in the ninth bar of a section.
    profile : Profile
    """
    parts: list[PlanPart] = []
    for index, (each, shape) in enumerate(zip(material, shapes, strict=True)):
        spans = _decided(each.section, shape, pins)
        after = material[index + 1] if index + 1 < len(material) else None
        if after is not None and not after.after_gap and after.section.id not in pins:
            spans = _with_rise(each, spans, shapes[index + 1].first, profile)
        landing = each.landing if each.song else None
        bars = grid.bars_of(each.section)
        gaps = {k for k in range(1, len(bars)) if bars[k].start - bars[k - 1].end > _PAUSE}
        for start, end, category, pin, rises in spans:
            cuts = {start}
            if category != REST and not rises:
                cuts |= _phrases(bars[start:end], start, profile)
            if landing is not None and category != REST and start < landing < end:
                cuts = {cut for cut in cuts if abs(cut - landing) >= _SHORTEST_PHRASE} | {start, landing}
            firsts = sorted(cuts | {gap for gap in gaps if start < gap < end})
            for first, until in zip(firsts, [*firsts[1:], end], strict=True):
                own = each.bar_drives[first:until]
                parts.append(
                    PlanPart(
                        section=_bars(each.section, first, until, grid),
                        index=index,
                        ordinal=first + 1,
                        category=category,
                        drive=sum(own) / len(own),
                        pin=pin if first == start else pin and replace(pin, enters=False),
                        rises=rises,
                        lands=first == landing,
                        phrase=first not in (start, landing) and first not in gaps,
                        after_gap=first in gaps or (first == 0 and each.after_gap),
                    )
                )
    return parts


_Span = tuple[int, int, int, Pin | None, bool]


def _decided(section: Section, shape: Shape, pins: Mapping[str, Pin]) -> list[_Span]:
    """Lay what was decided over a section's shape: (first bar, bar after, category, decision, False)."""
    own = {ordinal: pin for key, pin in pins.items() if (ordinal := _ordinal(key, section)) is not None}
    spans = shape.spans(section.bars)
    if not own:
        return [(start, end, category, None, False) for start, end, category in spans]
    starts = sorted({*(start for start, _, _ in spans), *(ordinal - 1 for ordinal in own)})
    made: list[_Span] = []
    held: Pin | None = None
    for start, end in zip(starts, [*starts[1:], section.bars], strict=True):
        pin = own.get(start + 1)
        if pin is None and held is not None and held.whole and made:
            made[-1] = (made[-1][0], end, *made[-1][2:])
            continue
        held = pin
        planned = next(category for first, until, category in spans if first <= start < until)
        made.append((start, end, CATEGORIES.index(pin.category) if pin else planned, pin, False))
    return made


def _ordinal(key: str, section: Section) -> int | None:
    """Return the bar in a section that a pin's key speaks of; None if it speaks of another section."""
    id_, _, bar = key.partition("+")
    ordinal = int(bar) if bar else 1
    return ordinal if id_ == section.id and 1 <= ordinal <= section.bars else None


def _with_rise(each: Material, spans: list[_Span], coming: int, profile: Profile) -> list[_Span]:
    """Let a subtle look rise with a long build out of the dark into an intense one."""
    start, end, category, pin, _ = spans[-1]
    if each.build_bars < LONG_BUILD or category != REST or coming != INTENSE or pin is not None:
        return spans
    length = max(min(each.build_bars, LONGEST_RISE), int(profile.min_stay_bars.subtle))
    # A bar of dark before it, in which the hand sets up what comes after.
    length = min(length, end - start - 1)
    if length < LONG_BUILD:
        return spans
    return [*spans[:-1], (start, end - length, REST, None, False), (end - length, end, SUBTLE, None, True)]


def _phrases(bars: list[Bar], start: int, profile: Profile) -> set[int]:
    """Return the bars on which a new phrase of a long stretch starts."""
    phrase = int(profile.fades.phrase_bars)
    seconds = (bars[-1].end - bars[0].start) / len(bars)
    while phrase * seconds > FORGOTTEN and phrase > _SHORTEST_PHRASE:
        phrase //= 2
    return set(range(start + phrase, start + len(bars) - phrase + 1, phrase))


def _bars(section: Section, first: int, until: int, grid: Grid) -> Section:
    """Return a section with only these of its bars."""
    if until - first == section.bars:
        return section
    bars = grid.bars_of(section)[first:until]
    return replace(
        section,
        first_bar=bars[0].number,
        last_bar=bars[-1].number,
        start=section.start if first == 0 else bars[0].start,
        end=section.end if until == section.bars else bars[-1].end,
    )
