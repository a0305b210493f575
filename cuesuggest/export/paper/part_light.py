"""The light of a part in words that stay true for all of it: what is lit as it opens, and what that becomes in it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from cuesuggest.export.common.escape import one_line, shortened
from cuesuggest.score.light import LevelMove, Step, follow, hand_starts, is_held
from cuesuggest.score.records import ENTRANCES, EXITS, Cue, Look

if TYPE_CHECKING:
    from cuesuggest.analysis.types import Section
    from cuesuggest.score.grid import Grid

__all__ = ["goes_before_next", "part_light"]

_EPS = 1e-3  # s
_TOGETHER = 0.5  # s; what the hand does so close is one change
_NAME = 40  # characters


@dataclass(frozen=True, slots=True)
class _Shown:
    """What a side shows at a moment."""

    look: str
    level: int | None
    going: str = ""
    """"rising", "falling" or "going out" where it is on its way all the time that it is spoken of."""

    def __str__(self) -> str:
        return " ".join(filter(None, (self.look, self.way())))

    def way(self) -> str:
        """The level in words: "80 %", "rising to 80 %"."""
        if self.going == "going out":
            return self.going
        level = "" if self.level is None else f"{self.level} %"
        return f"{self.going} to {level}" if self.going and level else self.going or level


_State = dict[str, _Shown]


def goes_before_next(cue: Cue, section: Section, grid: Grid) -> bool:
    """Whether a way out that begins in a section is there for the next one: in the last bar, or landing beyond it."""
    if cue.kind not in EXITS or is_held(cue) or hand_starts(cue, grid) < _second_beat(section, grid):
        return False
    if grid.section_of_place(cue.place) is not section:
        return True
    return cue.place.bar is not None and cue.place.bar == section.last_bar


def part_light(section: Section, cues: Iterable[Cue], looks: Iterable[Look], grid: Grid, hands: int) -> str:
    """Say with which light a section is played.

    Parameters
    ----------
    section : Section
    cues : iterable of Cue
        Of the whole song, without the rejected ones.
    looks : iterable of Look
    grid : Grid
    hands : int
        Of the person who plays.

    Returns
    -------
    str
        What is lit once the entrance on its first beat is done; where that changes in the section, what follows:
        "dark, then side B Opening fan rising to 70 %". What leaves only because of the next section is not said.
    """
    looks = list(looks)
    names = {look.id: shortened(one_line(look.name), _NAME) for look in looks}
    second = _second_beat(section, grid)
    begun = [cue for cue in cues if hand_starts(cue, grid) < section.end - _EPS]
    played = [
        cue for cue in begun if hand_starts(cue, grid) < section.start or not goes_before_next(cue, section, grid)
    ]
    steps = follow(played, grid=grid, looks=looks, hands=hands)
    opening = sum(step.at < second for step in steps)
    states = [_shown(steps[:opening], names, section, grid)]
    passing: list[_State] = []
    for index, step in enumerate(steps[opening:], opening + 1):
        passing.append(_shown(steps[:index], names, section, grid))
        if index < len(steps) and steps[index].at - step.at < _TOGETHER:
            continue
        # What shows between two things that the hand does at once is not spoken of, unless nothing else came of them.
        for state in passing if passing[-1] == states[-1] else passing[-1:]:
            if state != states[-1]:
                states.append(state)
        passing = []
    return _said(states)


def _second_beat(section: Section, grid: Grid) -> float:
    """Seconds of the second beat of a section: what the hand begins before it is there as the section opens."""
    bar = grid.bar(section.first_bar)
    if bar is None:
        return section.start + _EPS
    return grid.place(bar.number, 2.0).seconds - _EPS if bar.beats > 1 else bar.end


def _shown(steps: Sequence[Step], names: dict[str, str], section: Section, grid: Grid) -> _State:
    """What the sides show after some steps; what came in last is last."""
    if not steps:
        return {}
    last: dict[str, LevelMove] = {move.side: move for step in steps for move in step.moves}
    order = {step.cue.side or "": place for place, step in enumerate(steps) if step.cue.kind in ENTRANCES}
    first, last_bar = grid.bar(section.first_bar), grid.bar(section.last_bar)
    settled = section.start if first is None else first.end
    last_starts = section.end if last_bar is None else last_bar.start
    second = _second_beat(section, grid)
    found: _State = {}
    for side, state in sorted(steps[-1].after.items(), key=lambda each: order.get(each[0], -1)):
        look, move = names.get(state.look or "", ""), last.get(side)
        if move is None:
            continue
        # What comes in with a section is spoken of as done, and so is what came before it and arrives in its first
        # bar; what goes on to the end, or begins inside and goes on to the last bar, is on its way.
        early = move.start < section.start - _EPS
        arrives = settled if early else section.end if move.start < second else last_starts
        on_its_way = move.seconds > 0 and move.from_ != move.to and move.end > arrives + _EPS
        if state.lit:
            going = ("rising" if move.to > move.from_ else "falling") if on_its_way else ""
            found[side] = _Shown(look, state.level, going)
        elif early and on_its_way and move.to == 0:
            found[side] = _Shown(look, None, "going out")
    return found


def _said(states: Sequence[_State]) -> str:
    first, last = states[0], states[-1]
    if len(states) == 1:
        return _words(first)
    if first == last:
        return f"{_words(first)} at first and at last"
    then = "then" if len(states) == 2 else "at last"
    if levels := _from_level_to_level(first, last, then):
        return levels
    if len(states) == 2:
        return f"{_words(first)}, then {_words(last)}"
    return f"{_words(first)} at first, {_words(last)} at last"


def _from_level_to_level(first: _State, last: _State, then: str) -> str:
    """Say in few words how one look on one side changes its level: "side A Slow wave 35, then 50 %"."""
    if len(first) != 1 or first.keys() != last.keys():
        return ""
    (before,), (after,) = first.values(), last.values()
    if before.look != after.look or before.level is None or after.level is None:
        return ""
    # With more between, it need not have come straight from there.
    how = {"rising": "up to", "falling": "down to"}.get(after.going, then) if then == "then" else then
    return f"{_words(first).removesuffix(' %')}, {how} {after.level} %"


def _words(state: _State) -> str:
    shown = [
        f"side {shortened(one_line(side), _NAME)} {each}".rstrip() if side else str(each)
        for side, each in state.items()
    ]
    return " + ".join(filter(None, shown)) or "dark"
