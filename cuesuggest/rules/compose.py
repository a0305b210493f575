"""The draft: plan, looks, sides, moves, one-shots, and what two hands make of it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from cuesuggest.analysis.types import SongAnalysis
from cuesuggest.rules.brief import PHRASE_RANK, Brief, Clash, Move, Stay
from cuesuggest.rules.cues.cautions import cautions, mark_special
from cuesuggest.rules.cues.on_sides import moves_on_sides
from cuesuggest.rules.cues.questions import questions
from cuesuggest.rules.cues.shots import one_shots
from cuesuggest.rules.cues.speed import speeds
from cuesuggest.rules.cues.vamps import mark_vamps
from cuesuggest.rules.person.flashes import calmed
from cuesuggest.rules.person.hands import fit_hands, share_standbys
from cuesuggest.rules.plan.looks import assign_looks, build_looks
from cuesuggest.rules.plan.material import INTENSE, REST, gather
from cuesuggest.rules.plan.plan_parts import Pin
from cuesuggest.rules.plan.plan_reasons import holds, with_reason
from cuesuggest.rules.plan.planning import plan
from cuesuggest.rules.plan.simplify import long_enough, simplify
from cuesuggest.rules.settings.house import Profile, Rig
from cuesuggest.rules.stays import stays_of
from cuesuggest.score.by_itself import waits_by_rig
from cuesuggest.score.deeds import Question
from cuesuggest.score.grid import Grid
from cuesuggest.score.light import hand_starts
from cuesuggest.score.records import CATEGORIES, ENTRANCES, Cue, Look, PlannedPart, PlannedSection

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
    material = gather(grid, analysis.events, profile)
    if analysis.confidence.reading is not None and analysis.confidence.reading < profile.evidence.weak:
        material = [replace(each, doubted=True) for each in material]
    parts, planned = plan(material, grid, profile, pins)
    brief = Brief(analysis, grid, profile, rig, tuple(parts))
    planned, moves = _arrange(brief, assign_looks(material, planned, brief))
    every_look = build_looks(planned, brief, shots=True)
    moves = calmed(mark_vamps(sorted(moves, key=_by_time), brief), every_look, brief)
    moves = mark_special(moves, every_look, brief)
    cues = share_standbys(
        [
            replace(move.cue, number=float(number), operator_confirms=_waits(move.cue, rig))
            for number, move in enumerate(moves, 1)
        ],
        moves,
        brief,
    )
    shots = any(cue.kind == "one-shot" for cue in cues)
    looks = build_looks(planned, brief, shots)
    return Draft(
        looks=looks,
        plan=_for_every_section(analysis, brief, planned),
        cues=cues,
        questions=questions(brief, cues) if cues else (),
        cautions=cautions(brief, cues, looks),
    )


def _waits(cue: Cue, rig: Rig) -> bool:
    """Whether a cue waits for a person's go on a rig; what moves a laser does, whatever the rig says."""
    alone = {side.name: side.by_itself and side.source != "laser" for side in rig.sides}
    shot = rig.one_shot
    return waits_by_rig(cue, alone, None if shot is None else shot.by_itself and shot.source != "laser")


def _by_time(move: Move) -> tuple[float, int, float, str]:
    """Order by where the hand begins; where several come together: setting up, the look, the one-shot on top of it."""
    together = {"recall": 0, "one-shot": 2}.get(move.cue.kind, 1)
    return hand_starts(move.cue), together, move.cue.place.seconds, move.cue.id


def _for_every_section(
    analysis: SongAnalysis, brief: Brief, planned: Sequence[PlannedSection]
) -> tuple[PlannedSection, ...]:
    """Put the parts of each section together again; sections whose bars are not known have a place, too."""
    of_section: dict[str, list[tuple[int, PlannedSection]]] = {}
    for part, each in zip(brief.parts, planned, strict=True):
        of_section.setdefault(each.section, []).append((part.section.first_bar, each))
    dark = ("Its bars are not known, so nothing can be placed in it.",)
    return tuple(
        _together(of_section[section.id], brief.grid.drive_of(section))
        if section.id in of_section
        else PlannedSection(section.id, "rest", None, 0, 0.0, dark)
        for section in analysis.sections
    )


def _together(parts: list[tuple[int, PlannedSection]], drive: float) -> PlannedSection:
    """Make one of a section's parts: its biggest look, and where it changes."""
    biggest = max((each for _, each in parts), key=lambda each: (CATEGORIES.index(each.category), each.level))
    turns: list[PlannedPart] = []
    for first, each in parts:
        if not turns or (turns[-1].category, turns[-1].look) != (each.category, each.look):
            turns.append(PlannedPart(first, each.category, each.look))
    reasons = tuple(dict.fromkeys(reason for _, each in parts for reason in each.reasons))
    return replace(biggest, drive=round(drive, 4), reasons=reasons, parts=tuple(turns) if len(turns) > 1 else ())


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
        firm = [move for move in laid.moves if move.rank != PHRASE_RANK]
        paced, untold = speeds(brief, stays, planned, firm)
        held = [*firm, *paced, *_beside(paced, [move for move in laid.moves if move.rank == PHRASE_RANK], brief)]
        played = fit_hands([*held, *one_shots(brief, planned, held)], brief)
        if isinstance(played, Clash):
            planned = simplify(brief, planned, stays, played)
            continue
        played = _as_ridden(played, brief)
        planned = _levels_played(brief, planned, stays, played)
        for index, note in (*laid.notes, *untold):
            planned[index] = with_reason(planned[index], note)
        return _as_lit(brief, planned, stays, played), played


def _as_lit(
    brief: Brief, planned: Sequence[PlannedSection], stays: Sequence[Stay], moves: Sequence[Move]
) -> list[PlannedSection]:
    """Take back what was said for a light that is not there, and say where light reaches into a dark part."""
    rank = [CATEGORIES.index(each.category) for each in planned]
    intense = {part.section.mark for part, category in zip(brief.parts, rank, strict=True) if category == INTENSE}
    most = max((each for each, part in zip(rank, brief.parts, strict=True) if part.pin is None), default=REST)
    told = []
    for index, each in enumerate(planned):
        biggest, second_look = rank[index] >= most, (each.look or "").endswith("-2")
        true = (
            reason
            for reason in each.reasons
            if holds(reason, intense=intense, biggest=biggest, second_look=second_look)
        )
        told.append(replace(each, reasons=tuple(true)))
    for k, stay in enumerate(stays):
        own = [move for move in moves if move.stay == k]
        coming = next((move for move in own if move.cue.rule == "enter"), None)
        going = next((move for move in own if move.cue.rule == "ending"), None)
        for index, part in enumerate(brief.parts):
            if rank[index]:
                continue
            note = ""
            if coming is not None and index < stay.first and coming.start < part.section.end - 1.0:
                note = f"The light for {brief.name(stay.first)} rises here."
            if going is not None and index > stay.last and going.start > part.section.start + 1.0:
                note = "The last chord is held into it."
            if note:
                kept_reasons = tuple(reason for reason in told[index].reasons if "dark" not in reason)
                told[index] = with_reason(replace(told[index], reasons=kept_reasons), note)
    return told


def _beside(paced: Sequence[Move], small: Sequence[Move], brief: Brief) -> list[Move]:
    """Leave out the small moves of a phrase where a speed is set: that is move enough."""
    return [
        move
        for move in small
        if all(set_.end + brief.gap <= move.start or move.end + brief.gap <= set_.start for set_ in paced)
    ]


def _as_ridden(moves: Sequence[Move], brief: Brief) -> list[Move]:
    """Leave out changes of level that are none any more, now that it is known which of them are left."""
    told: list[Move] = []
    levels: dict[int | None, int] = {}
    for move in sorted(moves, key=lambda move: (move.start, move.cue.place.seconds)):
        cue = move.cue
        if cue.kind in ENTRANCES and cue.level is not None:
            levels[move.stay] = cue.level
        if cue.kind == "ramp" and cue.level is not None:
            was = levels.get(move.stay, cue.level)
            if abs(cue.level - was) < brief.profile.fades.ramp_from:
                continue
            up, beats, seconds = cue.level > was, cue.up_beats or cue.down_beats, cue.up_seconds or cue.down_seconds
            ridden = replace(
                cue,
                up_beats=beats if up else None,
                up_seconds=seconds if up else None,
                down_beats=None if up else beats,
                down_seconds=None if up else seconds,
            )
            move = replace(move, cue=ridden)
            levels[move.stay] = cue.level
        told.append(move)
    return told


def _levels_played(
    brief: Brief, planned: Sequence[PlannedSection], stays: Sequence[Stay], moves: Sequence[Move]
) -> list[PlannedSection]:
    """Put into the plan the levels that the cues really reach, section by section."""
    told = list(planned)
    for k, stay in enumerate(stays):
        own = [move for move in moves if move.stay == k and move.cue.kind in _SETS_LEVEL and move.cue.level]
        for index in range(stay.first, stay.last + 1):
            section = brief.sections[index]
            # A cue up to a beat late still counts as this section's.
            by = section.start + 1.5 * brief.grid.beat_seconds(section.start)
            reached = [move for move in own if move.cue.place.seconds <= by] if index != stay.first else []
            level = (reached[-1] if reached else own[0]).cue.level
            told[index] = replace(told[index], level=level or 0)
    return told
