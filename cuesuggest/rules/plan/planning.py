"""The plan of a song: what each part of it gets, how bright, and why; looks come later."""

from __future__ import annotations

from collections.abc import Mapping

from cuesuggest.rules.plan.categories import choose_shapes
from cuesuggest.rules.plan.levels import levels_of
from cuesuggest.rules.plan.material import Material
from cuesuggest.rules.plan.plan_parts import Pin, PlanPart, parts_of
from cuesuggest.rules.plan.plan_reasons import part_reasons
from cuesuggest.rules.settings.house import Profile
from cuesuggest.score.grid import Grid
from cuesuggest.score.records import CATEGORIES, PlannedSection

__all__ = ["plan"]


def plan(
    material: list[Material], grid: Grid, profile: Profile, pins: Mapping[str, Pin] | None = None
) -> tuple[list[PlanPart], list[PlannedSection]]:
    """Give each part of a song a category and a level, with the reasons.

    The plan is made without what the designer decided, and that is laid on top: a decision for one section changes
    nothing in another.

    Returns
    -------
    list of PlanPart
    list of PlannedSection
        One for each part; a section that is cut comes several times.
    """
    shapes = choose_shapes(material, profile)
    parts = parts_of(material, shapes, grid, {}, profile)
    levels = levels_of(parts, material, profile)
    if pins:
        free = {(part.index, part.ordinal, part.category): level for part, level in zip(parts, levels, strict=True)}
        parts = parts_of(material, shapes, grid, pins, profile)
        around = levels_of(parts, material, profile)
        levels = [
            free.get((part.index, part.ordinal, part.category), level)
            for part, level in zip(parts, around, strict=True)
        ]
    reasons = part_reasons(material, shapes, parts, profile)
    return parts, [
        PlannedSection(
            section=part.section.id,
            category=CATEGORIES[part.category],
            look=None,
            level=level,
            drive=round(part.drive, 4),
            reasons=why,
        )
        for part, level, why in zip(parts, levels, reasons, strict=True)
    ]
