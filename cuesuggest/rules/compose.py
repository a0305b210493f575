"""The draft: plan, looks, sides, moves, one-shots, and what two hands make of it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from cuesuggest.analysis.types import SongAnalysis
from cuesuggest.rules.brief import Brief, Clash, Move, Stay
from cuesuggest.rules.cues.cautions import cautions, mark_special
from cuesuggest.rules.cues.on_sides import moves_on_sides
from cuesuggest.rules.cues.questions import questions
from cuesuggest.rules.cues.shots import one_shots
from cuesuggest.rules.cues.speed import speeds
from cuesuggest.rules.cues.vamps import mark_vamps
from cuesuggest.rules.person.flashes import calmed
from cuesuggest.rules.person.hands import fit_hands, share_standbys
from cuesuggest.rules.plan.categories import plan
from cuesuggest.rules.plan.looks import assign_looks, build_looks
from cuesuggest.rules.plan.material import Pin, gather
from cuesuggest.rules.plan.plan_reasons import with_reason
from cuesuggest.rules.plan.simplify import long_enough, simplify
from cuesuggest.rules.settings.house import Profile, Rig
from cuesuggest.rules.stays import stays_of
from cuesuggest.score.deeds import Question
from cuesuggest.score.grid import Grid
from cuesuggest.score.records import ENTRANCES, Cue, Look, PlannedSection

__all__ = ["Draft", "draft"]

_SETS_LEVEL = (*ENTRANCES, "ramp")


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
    if analysis.confidence.reading is not None and analysis.confidence.reading < profile.evidence.weak:
        material = [replace(each, doubted=True) for each in material]
    gaps = frozenset(index for index, each in enumerate(material) if each.after_gap)
    brief = Brief(analysis, grid, profile, rig, gaps, pins or {})
    planned = assign_looks(material, plan(material, profile), brief)
    planned, moves = _arrange(brief, planned)
    every_look = build_looks(planned, brief, shots=True)
    moves = calmed(mark_vamps(sorted(moves, key=_by_time), brief), every_look, brief)
    moves = mark_special(moves, every_look, brief)
    cues = share_standbys(
        [replace(move.cue, number=float(number)) for number, move in enumerate(moves, 1)], moves, brief
    )
    shots = any(cue.kind == "one-shot" for cue in cues)
    looks = build_looks(planned, brief, shots)
    return Draft(
        looks=looks,
        plan=_for_every_section(analysis, planned),
        cues=cues,
        questions=questions(brief, cues) if cues else (),
        cautions=cautions(brief, cues, looks),
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

    Every round has fewer stays than the one before it, or as many with fewer changes of look between them, so
    this ends.
    """
    planned = long_enough(brief, planned)
    while True:
        stays = stays_of(brief, planned)
        if not stays:
            return planned, []
        laid = moves_on_sides(brief, stays, planned)
        if isinstance(laid, Clash):
            planned = simplify(brief, planned, stays, laid)
            continue
        paced, untold = speeds(brief, stays, planned, laid.moves)
        held = [*laid.moves, *paced]
        played = fit_hands([*held, *one_shots(brief, planned, held)], brief)
        if isinstance(played, Clash):
            planned = simplify(brief, planned, stays, played)
            continue
        planned = _levels_played(brief, planned, stays, played)
        for index, note in (*laid.notes, *untold):
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
