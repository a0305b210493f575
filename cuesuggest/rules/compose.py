"""The draft: plan, looks, sides, moves, one-shots, and what two hands make of it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from cuesuggest.analysis.types import SongAnalysis
from cuesuggest.cues import CATEGORIES, Cue, Look, PlannedSection, Question
from cuesuggest.rules.brief import Brief, Clash, Move, Stay
from cuesuggest.rules.cautions import cautions, mark_flashes
from cuesuggest.rules.doubts import questions
from cuesuggest.rules.grid import Grid
from cuesuggest.rules.hands import fit_hands, share_standbys
from cuesuggest.rules.looks import assign_looks, build_looks
from cuesuggest.rules.material import Pin, gather, name
from cuesuggest.rules.moves import lay_out
from cuesuggest.rules.plan import plan
from cuesuggest.rules.plan_reasons import with_reason
from cuesuggest.rules.settings import Profile, Rig
from cuesuggest.rules.shots import one_shots

__all__ = ["Draft", "draft"]

_SETS_LEVEL = ("fade-in", "crossfade", "cut-in", "ramp")


@dataclass(frozen=True, slots=True)
class Draft:
    """A first proposal for one song."""

    looks: tuple[Look, ...]
    plan: tuple[PlannedSection, ...]
    """One for each section of the analysis, in its order."""
    cues: tuple[Cue, ...]
    """By time, numbered 1.0, 2.0, …"""
    questions: tuple[Question, ...]
    cautions: tuple[str, ...]
    """Said once per song."""


def draft(analysis: SongAnalysis, profile: Profile, rig: Rig, pins: Mapping[str, Pin] | None = None) -> Draft:
    """Draft looks, a plan and cues for a song.

    `pins` are the sections whose look the designer has decided on, by id; the rest is made around them.

    Pure: the same song, style and rig always give the same draft. A song in which no music or no section was
    found gives an empty one.
    """
    if analysis.music_start is None or not analysis.sections:
        return Draft((), (), (), (), ())
    grid = Grid(analysis)
    material = gather(grid, analysis.events, profile, pins)
    gaps = frozenset(index for index, each in enumerate(material) if each.after_gap)
    brief = Brief(analysis, grid, profile, rig, gaps, pins or {})
    planned = assign_looks(material, plan(material, profile), brief)
    planned, moves = _arrange(brief, planned)
    moves = mark_flashes(sorted(moves, key=_by_time))
    cues = share_standbys(
        [replace(move.cue, number=float(number)) for number, move in enumerate(moves, 1)], moves, brief
    )
    shots = any(cue.kind == "one-shot" for cue in cues)
    return Draft(
        looks=build_looks(planned, brief, shots),
        plan=_for_every_section(analysis, planned),
        cues=cues,
        questions=questions(brief, cues) if cues else (),
        cautions=cautions(brief, cues, moves),
    )


def _by_time(move: Move) -> tuple[float, int, float, str]:
    """Order by place; where several come together: setting up, the look, the one-shot on top of it."""
    together = {"recall": 0, "one-shot": 2}.get(move.cue.kind, 1)
    return move.cue.place.seconds, together, move.start, move.cue.id


def _for_every_section(analysis: SongAnalysis, planned: Sequence[PlannedSection]) -> tuple[PlannedSection, ...]:
    """Give sections whose bars are not known a place in the plan, too."""
    known = {each.section: each for each in planned}
    dark = ("its bars are not known, so nothing can be placed in it",)
    return tuple(
        known.get(section.id, PlannedSection(section.id, "rest", None, 0, 0.0, dark)) for section in analysis.sections
    )


def _arrange(brief: Brief, planned: list[PlannedSection]) -> tuple[list[PlannedSection], list[Move]]:
    """Turn the plan into moves that can be played, giving up changes one by one where there is no room.

    Every round has fewer stays than the one before it, so this ends.
    """
    planned = _long_enough(brief, planned)
    while True:
        stays = _stays(brief, planned)
        if not stays:
            return planned, []
        laid = lay_out(brief, stays, planned)
        if isinstance(laid, Clash):
            planned = _simplify(brief, planned, stays, laid)
            continue
        played = fit_hands([*laid.moves, *one_shots(brief, planned, laid.moves)], brief)
        if isinstance(played, Clash):
            planned = _simplify(brief, planned, stays, played)
            continue
        planned = _levels_played(brief, planned, stays, played)
        for index, note in laid.notes:
            planned[index] = with_reason(planned[index], note)
        return planned, played


def _levels_played(
    brief: Brief, planned: Sequence[PlannedSection], stays: Sequence[Stay], moves: Sequence[Move]
) -> list[PlannedSection]:
    """Put into the plan the levels that the cues really reach, section by section."""
    told = list(planned)
    for k, stay in enumerate(stays):
        own = [move for move in moves if move.stay == k and move.cue.kind in _SETS_LEVEL and move.cue.level]
        for index in range(stay.first, stay.last + 1):
            section = brief.grid.sections[index]
            # A cue up to a beat late still counts as this section's.
            by = section.start + 1.5 * brief.grid.beat_seconds(section.start)
            reached = [move for move in own if move.cue.place.seconds <= by or index == stay.first]
            level = reached[-1].cue.level if index != stay.first else own[0].cue.level
            told[index] = replace(told[index], level=level or 0)
    return told


def _stays(brief: Brief, planned: Sequence[PlannedSection]) -> list[Stay]:
    """Join neighbouring sections of one look, and let the looks alternate between the sides."""
    runs: list[tuple[str, int, int]] = []
    for index, each in enumerate(planned):
        if each.look is None:
            continue
        own = index in brief.gaps or _decided_edge(brief, index)
        if runs and runs[-1][0] == each.look and runs[-1][2] == index - 1 and not own:
            runs[-1] = (each.look, runs[-1][1], index)
        else:
            runs.append((each.look, index, index))
    looks = {look.id: look for look in build_looks(planned, brief, shots=False)}
    sides = brief.rig.playing
    stays: list[Stay] = []
    turn = 0
    for look, first, last in runs:
        decided = brief.pins.get(brief.grid.sections[first].id)
        turn = next((k for k, side in enumerate(sides) if decided and side.name == decided.side), turn)
        stays.append(Stay(looks[look], first, last, sides[turn]))
        turn = (turn + 1) % len(sides)
    return stays


def _decided_edge(brief: Brief, index: int) -> bool:
    """Whether it was decided that a look comes in with this section, or that one goes out before it."""
    here = brief.pins.get(brief.grid.sections[index].id)
    before = brief.pins.get(brief.grid.sections[index - 1].id) if index else None
    return (here is not None and here.enters) or (before is not None and before.leaves)


def _pinned(brief: Brief, stay: Stay) -> bool:
    return any(section.id in brief.pins for section in brief.grid.sections[stay.first : stay.last + 1])


def _bars(brief: Brief, stay: Stay) -> int:
    return sum(section.bars for section in brief.grid.sections[stay.first : stay.last + 1])


def _long_enough(brief: Brief, planned: list[PlannedSection]) -> list[PlannedSection]:
    """Give up looks that would not stay long enough to be worth a hand; a lone look is left alone."""
    while True:
        stays = _stays(brief, planned)
        short = [
            (_bars(brief, stay), k)
            for k, stay in enumerate(stays)
            if _bars(brief, stay) < brief.profile.min_stay_bars.of(stay.look.category) and not _pinned(brief, stay)
        ]
        if not short or len(stays) == 1:
            return planned
        planned = _give_up(brief, planned, stays, min(short)[1], "it is too short to be worth a change")


def _simplify(brief: Brief, planned: list[PlannedSection], stays: Sequence[Stay], clash: Clash) -> list[PlannedSection]:
    """Give up the weaker of two changes that are too close, what was decided last of all."""
    k = clash.stay
    weaker = k > 0 and CATEGORIES.index(stays[k - 1].look.category) < CATEGORIES.index(stays[k].look.category)
    if k and not _pinned(brief, stays[k - 1]) and (weaker or _pinned(brief, stays[k])):
        before = name(brief.grid.sections[stays[k - 1].first])
        after = name(brief.grid.sections[stays[k].first])
        return _give_up(brief, planned, stays, k - 1, f"{before} gives way to {after}: {clash.why}")
    return _give_up(brief, planned, stays, k, clash.why)


def _give_up(
    brief: Brief, planned: list[PlannedSection], stays: Sequence[Stay], k: int, why: str
) -> list[PlannedSection]:
    """Keep the look before through a stay, start the one after early, or stay dark; never add intensity."""
    stay = stays[k]
    look: str | None = None
    level, text = 0, f"stays dark: {why}"
    for other in (k - 1, k + 1):
        # A decided look comes in and goes out where it was decided: nothing joins it there.
        if not 0 <= other < len(stays) or _decided_edge(brief, stays[max(k, other)].first):
            continue
        neighbour = stays[other]
        first, last = min(stay.last, neighbour.last) + 1, max(stay.first, neighbour.first)
        if first != last or last in brief.gaps:
            continue
        if CATEGORIES.index(neighbour.look.category) > max(CATEGORIES.index(stay.look.category), 1):
            continue
        edge = neighbour.last if other < k else neighbour.first
        look, level = neighbour.look.id, planned[edge].level
        section = name(brief.grid.sections[edge])
        text = f"keeps the look of {section}: {why}" if other < k else f"takes the look of {section} early: {why}"
        category = neighbour.look.category
        break
    changed = list(planned)
    for index in range(stay.first, stay.last + 1):
        changed[index] = with_reason(
            replace(planned[index], look=look, level=level, category=category if look else "rest"), text
        )
    return changed
