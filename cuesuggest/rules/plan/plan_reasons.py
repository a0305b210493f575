"""Why a section got its category, in sentences that a designer would say."""

from __future__ import annotations

import re
from dataclasses import replace

from cuesuggest.rules.plan.categories import Shape, intense_budget
from cuesuggest.rules.plan.material import INTENSE, REST, Material, finale
from cuesuggest.rules.plan.plan_parts import PlanPart
from cuesuggest.rules.settings.house import Profile
from cuesuggest.score.records import CATEGORIES, PlannedSection, counted

__all__ = ["SECOND_LOOK", "holds", "part_reasons", "sentence", "with_reason"]

SECOND_LOOK = "It has a second look, kept for this moment."
_BIGGEST = "It is the last big section, so nothing in the song gets a bigger look."
_KEPT_FOR = "they are kept for "

_COUNTS = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten")

# Drive. Closer to the middle of the song a section is neither loud nor quiet.
_MIDDLE = 0.02


def part_reasons(
    material: list[Material], shapes: tuple[Shape, ...], parts: list[PlanPart], profile: Profile
) -> list[tuple[str, ...]]:
    """Say in plain words why each part got its category: the section's reasons with its first part."""
    rising = {part.index for part in parts if part.rises}
    last_big = finale(material, profile)
    return [
        _section_reasons(part, material, shapes, profile, last_big, part.index in rising)
        if part.ordinal == 1
        else _inside(part, material)
        for part in parts
    ]


def _inside(part: PlanPart, material: list[Material]) -> tuple[str, ...]:
    """Say why the light changes inside a section, where it does."""
    each = material[part.index]
    if part.pin is not None:
        return ("It is as you decided.",)
    if part.rises:
        return (f"The light rises with the build over {_bars(part)}.",)
    if part.lands:
        what = "a drop lands" if each.drop else "a build ends"
        return (f"From {part.name} on it is {CATEGORIES[part.category]}, because {what} there.",)
    if part.category == INTENSE and not part.phrase:
        return (f"From {part.name} on it is intense: {_bars(part)} are enough for the peak.",)
    return ()


def _bars(part: PlanPart) -> str:
    return counted(part.section.bars, "bar")


def _section_reasons(
    part: PlanPart,
    material: list[Material],
    shapes: tuple[Shape, ...],
    profile: Profile,
    last_big: int | None,
    rising: bool,
) -> tuple[str, ...]:
    """Say why a section is as it is; where a look is `rising` in it, nothing is said of the dark."""
    index = part.index
    each, shape = material[index], shapes[index]
    if part.pin is not None:
        return (_loudness(index, material), "It is as you decided.")
    if not each.song:
        return ("Nobody plays the song here, so the effect light rests.",)
    reasons = [_loudness(index, material)]
    if part.rises:
        reasons.append(f"The light rises with the build over {_bars(part)}.")
    if each.lean_reason:
        reasons.append(each.lean_reason)
    if each.built and shape.first > REST:
        reasons.append("A build leads in and promises something.")
    wished = _wished(each, profile)
    if shape.top == REST and rising:
        return tuple(reasons)
    if shape.top == wished == REST and not each.lean_reason:
        reasons.append("It plays too little for effect light in this style.")
    if shape.top < wished:
        reasons.append(_held_back(index, material, shapes, wished, profile))
    elif shape.top > wished and index != last_big and not each.drop:
        if index and all(other.top == REST for other in shapes[:index]):
            reasons.append("It brings the first light: the song has been dark for long enough.")
        elif index and shapes[index - 1].last < shape.first and each.drive > material[index - 1].drive:
            reasons.append(f"It is lifted above {material[index - 1].section.mark}, so that the change is seen.")
        else:
            reasons.append(_company(index, material, shapes, profile) or "It is lifted for the shape of the song.")
    most = max(other.top for other in shapes)
    if index == last_big and shape.top == most > REST:
        reasons.append(_BIGGEST)
    elif each.drop and shape.top == INTENSE:
        reasons.append("A drop lands in it, and a drop has the biggest look.")
    if shape.first == INTENSE and len(shape.parts) > 1:
        reasons.append(f"Its first {counted(shape.parts[1][0], 'bar')} are intense, then it is a lift.")
    quieter = [
        other
        for other in range(index)
        if material[other].section.family == each.section.family
        and shapes[other].top > shape.top
        and each.drive < material[other].drive - profile.drive.same_within
    ]
    if quieter:
        reasons.append(f"It is clearly quieter than {material[quieter[-1]].section.mark}, so it gets less light.")
    return tuple(reasons)


def _loudness(index: int, material: list[Material]) -> str:
    """Say where the section's drive stands in the song."""
    each = material[index]
    played = [other for other in material if other.song]
    others = [other.drive for other in played if other is not each]
    drive = f"(drive {each.drive:.2f} of 1)"
    if not others:
        return f"It is all there is of the song {drive}."
    if each.drive > max(others):
        return f"It is the loudest section of the song {drive}."
    if each.drive < min(others):
        return f"It is the quietest section of the song {drive}."
    passes = [other.drive for other in played if other.section.family == each.section.family and other is not each]
    if passes and each.drive > max(passes):
        count = _COUNTS[len(passes) + 1] if len(passes) + 1 < len(_COUNTS) else str(len(passes) + 1)
        best = "loudest" if len(passes) > 1 else "louder"
        return f"It is the {best} of the {count} {each.section.family} sections {drive}."
    quieter, louder = (sum(sign * (each.drive - other) > _MIDDLE for other in others) for sign in (1, -1))
    if quieter > len(others) / 2:
        return f"It is louder than most of the song {drive}."
    if louder > len(others) / 2:
        return f"It is quieter than most of the song {drive}."
    return f"It is about as loud as the song is in its middle {drive}."


def _wished(each: Material, profile: Profile) -> int:
    """Return the category that the drive alone asks for."""
    return min(range(4), key=lambda category: abs(each.leaning - profile.drive.best_at[category]))


def _held_back(index: int, material: list[Material], shapes: tuple[Shape, ...], wished: int, profile: Profile) -> str:
    """Say what kept a section below the category that its drive asks for."""
    each = material[index]
    if wished == INTENSE and each.drive < profile.drive.intense_floor:
        return "It is not driven enough for an intense look in this style."
    if wished == INTENSE and each.doubted:
        return (
            "It is kept lower, because the bars of the whole song are too unsure for an intense look:"
            " answer the questions first."
        )
    if wished == INTENSE and each.early:
        return "It is kept lower, because it comes early in the song for an intense look and no build leads to it."
    if wished == INTENSE:
        spent = [other.section.mark for other, shape in zip(material, shapes, strict=True) if shape.top == INTENSE]
        most = sum(shape.bars_of(INTENSE, other.section.bars) for other, shape in zip(material, shapes, strict=True))
        if spent and most + each.section.bars > intense_budget(material, profile):
            share = f"{profile.budget.intense_share:.0%}".replace("%", " %")
            return f"It is kept lower, because {share} of the bars may be intense, and {_KEPT_FOR}{_listed(spent)}."
    if shapes[index].top == REST:
        after = material[index + 1] if index + 1 < len(material) else None
        if after is not None and shapes[index + 1].top > REST and after.drive > each.drive:
            return f"It is left dark, so that {after.section.mark} arrives."
        return "It is left dark, so that the lit sections count."
    return _company(index, material, shapes, profile) or "It is kept lower for the shape of the song."


def _company(index: int, material: list[Material], shapes: tuple[Shape, ...], profile: Profile) -> str:
    """Say which other sections explain a category that the drive alone would not give."""
    each = material[index]
    same = [
        other
        for other, shape in zip(material, shapes, strict=True)
        if other is not each
        and other.song
        and other.section.family == each.section.family
        and abs(shape.top - shapes[index].top) <= 1
    ]
    if same:
        return f"It stays near {_listed([other.section.mark for other in same])}, which is the same music."
    for other in (index - 1, index + 1):
        if not 0 <= other < len(material) or shapes[other].top != shapes[index].top:
            continue
        if abs(material[other].drive - each.drive) < profile.drive.contrast_from:
            return f"It is as loud as {material[other].section.mark} beside it, so there is no reason for a change."
    return ""


def _listed(words: list[str]) -> str:
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"


def holds(reason: str, *, intense: set[str], biggest: bool, second_look: bool) -> bool:
    """Whether a reason is still true where the plan could not be played as it was.

    Parameters
    ----------
    reason
        One of the section's reasons.
    intense
        Marks of the sections that are intense as played.
    biggest
        Whether no section that is the draft's own to light is of a bigger category than this one.
    second_look
        Whether it has its category's second look.
    """
    if reason == _BIGGEST:
        return biggest
    if reason == SECOND_LOOK:
        return second_look
    _, kept, marks = reason.removesuffix(".").partition(_KEPT_FOR)
    return not kept or set(re.split(", | and ", marks)) <= intense


def sentence(text: str) -> str:
    """Return a sentence as it stands in print: with a capital and a full stop."""
    return text[:1].upper() + text[1:] + ("" if text.endswith(".") else ".")


def with_reason(planned: PlannedSection, reason: str) -> PlannedSection:
    """Return the section with one more reason, said once."""
    reason = sentence(reason)
    if reason in planned.reasons:
        return planned
    return replace(planned, reasons=(*planned.reasons, reason))
