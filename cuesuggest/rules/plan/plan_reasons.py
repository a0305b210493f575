"""Why a section got its category, in words a designer would use."""

from __future__ import annotations

from dataclasses import replace

from cuesuggest.rules.plan.material import INTENSE, REST, Material, budgets, finale
from cuesuggest.rules.settings.house import Profile
from cuesuggest.score.records import PlannedSection

__all__ = ["plan_reasons", "with_reason"]

_COUNTS = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten")


def plan_reasons(index: int, material: list[Material], chosen: tuple[int, ...], profile: Profile) -> tuple[str, ...]:
    """Say in plain words why the section got its category."""
    each, category = material[index], chosen[index]
    if each.pinned is not None:
        return (_loudness(index, material), "as you decided")
    if not each.song:
        return ("nobody plays the song here, so the effect light rests",)
    reasons = [_loudness(index, material)]
    if each.lean_reason:
        reasons.append(each.lean_reason)
    if each.built and category > REST:
        reasons.append("a build leads in, and promises something")
    wished = _wished(each, profile)
    if category < wished:
        reasons.append(_held_back(index, material, chosen, wished, profile))
    elif category > wished and index != finale(material, profile):
        if index and chosen[index - 1] < category and each.drive > material[index - 1].drive:
            reasons.append(f"lifted above {material[index - 1].section.mark}, so that the change is seen")
        else:
            reasons.append(_company(index, material, chosen, profile) or "lifted for the shape of the song")
    if index == finale(material, profile) and category == max(chosen) > REST:
        reasons.append("the last big section, so nothing in the song is bigger")
    quieter = [
        other
        for other in range(index)
        if material[other].section.family == each.section.family
        and chosen[other] > REST
        and each.drive < material[other].drive - profile.drive.same_within
    ]
    if quieter:
        reasons.append(f"clearly quieter than {material[quieter[-1]].section.mark}, so it gets less light")
    return tuple(reasons)


def _loudness(index: int, material: list[Material]) -> str:
    """Say where the section's drive stands in the song."""
    each = material[index]
    played = [other for other in material if other.song]
    passes = [other for other in played if other.section.family == each.section.family]
    drive = f"drive {each.drive:.2f}"
    if len(played) > 1 and each.drive > max(other.drive for other in played if other is not each):
        return f"{drive}, the highest in the song"
    if len(played) > 1 and each.drive < min(other.drive for other in played if other is not each):
        return f"{drive}, the lowest in the song"
    if len(passes) > 1:
        others = [other.drive for other in passes if other is not each]
        count = _COUNTS[len(passes)] if len(passes) < len(_COUNTS) else str(len(passes))
        if each.drive > max(others):
            best = "loudest" if len(passes) > 2 else "louder"
            return f"{best} of the {count} {each.section.family} sections ({drive})"
    return drive


def _wished(each: Material, profile: Profile) -> int:
    """Return the category that the drive alone asks for."""
    at = (profile.drive.rest, profile.drive.subtle, profile.drive.lift, profile.drive.intense)
    return min(range(4), key=lambda category: abs(each.leaning - at[category]))


def _held_back(index: int, material: list[Material], chosen: tuple[int, ...], wished: int, profile: Profile) -> str:
    """Say what kept a section below the category that its drive asks for."""
    each = material[index]
    if wished == INTENSE and each.drive < profile.drive.intense_floor:
        return "not driven enough for an intense look"
    if wished == INTENSE and each.doubted:
        return "kept low: the bars of the whole song are too unsure for an intense look; answer the questions first"
    if wished == INTENSE and each.early:
        return "kept low: it comes too early in the song for an intense look, and no build leads to it"
    if wished == INTENSE:
        share = f"the intense budget of {profile.budget.intense_share:.0%} of the bars".replace("%", " %")
        spent = [other.section.mark for other, category in zip(material, chosen, strict=True) if category == INTENSE]
        if spent:
            return f"kept low: {share} is spent on {_listed(spent)}"
        if each.section.bars > budgets(material, profile)[0]:
            return f"kept low: its {each.section.bars} bars are more than {share}"
    if chosen[index] == REST:
        return "left dark, so that the lit sections count"
    return _company(index, material, chosen, profile) or "kept lower for the shape of the song"


def _company(index: int, material: list[Material], chosen: tuple[int, ...], profile: Profile) -> str:
    """Say which other sections explain a category that the drive alone would not give."""
    each = material[index]
    same = [other for other in material if other.song and other.section.family == each.section.family]
    if len(same) > 1:
        return f"kept near the other {each.section.family} section{'s' if len(same) > 2 else ''}, as one family"
    for other in (index - 1, index + 1):
        if not 0 <= other < len(material) or chosen[other] != chosen[index]:
            continue
        if abs(material[other].drive - each.drive) < profile.drive.contrast_from:
            return f"as {material[other].section.mark} beside it: no reason for a change"
    return ""


def _listed(words: list[str]) -> str:
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"


def with_reason(planned: PlannedSection, reason: str) -> PlannedSection:
    """Return the section with one more reason, said once."""
    if reason in planned.reasons:
        return planned
    return replace(planned, reasons=(*planned.reasons, reason))
