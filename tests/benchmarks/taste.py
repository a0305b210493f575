"""What a draft makes of a song where it is most itself: its peak, stops, drops, builds; and what is left dark or idle.

Counted on the light that is really lit (`score.light.follow`), and on moments that were heard: what the ears missed is
no matter of taste. `tests.benchmarks.drafts` prints it; `tests/test_taste.py` has each figure on a song made for it.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

from cuesuggest.analysis.types import Event, Section, SongAnalysis
from cuesuggest.rules import Draft, Profile, Rig
from cuesuggest.score.grid import Grid
from cuesuggest.score.light import LevelMove, Step, follow, hand_starts, held_until, is_held, presses
from cuesuggest.score.records import CATEGORIES

LOUD = 0.6  # drive from which a dark section is remarked on
IDLE = 45.0  # s without a cue
LONG_BUILD = 4  # bars
_NEAR = 2.0  # beats between a moment and the same one as heard
_ON_IT = 0.5  # beats between a moment and the press that is meant for it
_DARK = 1.0  # percent
_ASIDE = 0.5  # s at either end of talk that are nobody's
_RISE = 5.0  # percent; less is not seen
_STEP = 10.0  # percent; a step up that is seen


@dataclass(frozen=True, slots=True)
class Shown:
    """The biggest light at a moment."""

    rank: int
    """Index into CATEGORIES; 0 where it is dark."""
    level: float


class Light:
    """The light of a draft over time."""

    def __init__(self, analysis: SongAnalysis, made: Draft, rig: Rig) -> None:
        self.analysis, self.grid = analysis, Grid(analysis)
        self.steps: tuple[Step, ...] = follow(made.cues, grid=self.grid, looks=made.looks, hands=rig.hands)
        self.moves: tuple[LevelMove, ...] = tuple(move for step in self.steps for move in step.moves)
        self._rank = {look.id: CATEGORIES.index(look.category) for look in made.looks}
        self._held = [(cue.place.seconds, held_until(cue, analysis)) for cue in made.cues if is_held(cue)]

    def at(self, seconds: float) -> Shown:
        """What is lit at a moment."""
        if any(start <= seconds < end for start, end in self._held):
            return Shown(0, 0.0)
        last = {move.side: move for move in self.moves if move.start <= seconds}
        looks = {side: state.look for step in self.steps if step.at <= seconds for side, state in step.after.items()}
        levels = ((move.level(seconds), self._rank.get(looks.get(side) or "", 0)) for side, move in last.items())
        level, rank = max(((level, rank) for level, rank in levels if level > _DARK), default=(0.0, 0))
        return Shown(rank, level)

    def within(self, section: Section) -> Shown:
        """The biggest light in the middle of any of a section's bars."""
        bars = self.grid.bars_of(section)
        return max((self.at((bar.start + bar.end) / 2) for bar in bars), key=lambda each: (each.rank, each.level))


def counted(truth: dict[str, Any], analysis: SongAnalysis, made: Draft, profile: Profile, rig: Rig) -> Counter[str]:
    """Count what there is ("stops") and what came of it ("stops played"), by name."""
    light = Light(analysis, made, rig)
    found: Counter[str] = Counter(songs=1)
    for name, good in (
        *_peak(light, profile), *_rises(light, profile), *_stops(truth, light), *_drops(truth, light, made),
        *_builds(truth, light),
    ):  # fmt: skip
        found[name] += 1
        found[f"{name} played"] += good
    found["songs lit over talk"] = int(any(_over_talk(light, profile)))
    found["songs with a dark loud section"] = int(any(_left_dark(light)))
    found["songs that idle"] = int(longest_idle(light, made) > IDLE)
    return found


def _peak(light: Light, profile: Profile) -> Iterator[tuple[str, bool]]:
    """Whether the most driven section has the biggest look; and an intense one, where the style's floor allows it.

    Sections that the style counts as equally driven are one as good as the other.
    """
    sections = [section for section in light.analysis.sections if section.role != "talk"]
    if not sections:
        return
    highest = max(light.grid.drive_of(section) for section in sections)
    tops = [each for each in sections if light.grid.drive_of(each) >= highest - profile.drive.same_within]
    shown = {section.id: light.within(section) for section in sections}
    most = max((each.rank, each.level) for each in shown.values())
    yield "peaks", most[0] > 0 and any((shown[top.id].rank, shown[top.id].level) == most for top in tops)
    if highest >= profile.drive.intense_floor:
        yield "peaks above the floor", any(shown[top.id].rank == CATEGORIES.index("intense") for top in tops)


def _rises(light: Light, profile: Profile) -> Iterator[tuple[str, bool]]:
    """Whether a section that is clearly louder than the one before it is a step up that is seen."""
    sections = [section for section in light.analysis.sections if section.role != "talk"]
    for before, after in pairwise(sections):
        if light.grid.drive_of(after) >= light.grid.drive_of(before) + profile.drive.contrast_from:
            # By how the one ends and the other opens.
            last, first = light.grid.bars_of(before)[-1], light.grid.bars_of(after)[:2][-1]
            here, there = light.at((last.start + last.end) / 2), light.at((first.start + first.end) / 2)
            yield "louder sections", there.rank > here.rank or there.level >= here.level + _STEP


def _heard(event: dict[str, Any], analysis: SongAnalysis, beat: float) -> Event | None:
    """The same moment as it was heard."""
    alike = [each for each in analysis.events if each.kind == event["kind"]]
    near = min(alike, key=lambda each: abs(each.start - event["start"]), default=None)
    return near if near and abs(near.start - event["start"]) < _NEAR * beat else None


def _moments(truth: dict[str, Any], light: Light, kind: str) -> Iterator[tuple[dict[str, Any], Event, float]]:
    for event in truth["events"]:
        beat = light.grid.beat_seconds(event["start"])
        heard = _heard(event, light.analysis, beat) if event["kind"] == kind else None
        if heard:
            yield event, heard, beat


def _stops(truth: dict[str, Any], light: Light) -> Iterator[tuple[str, bool]]:
    for event, _, beat in _moments(truth, light, "stop"):
        if event["end"] - event["start"] >= 0.95 * beat:
            middle = light.at((event["start"] + event["end"]) / 2)
            yield "stops", middle.level <= _DARK


def _drops(truth: dict[str, Any], light: Light, made: Draft) -> Iterator[tuple[str, bool]]:
    pressed = [
        seconds for cue in made.cues if cue.kind in ("one-shot", "cut-in") for seconds in presses(cue, light.grid)
    ]
    # Letting a held dark go is a cut, too.
    pressed += [held_until(cue, light.analysis) for cue in made.cues if is_held(cue)]
    for event, _, beat in _moments(truth, light, "drop"):
        yield "drops", any(abs(seconds - event["start"]) <= _ON_IT * beat for seconds in pressed)


def _builds(truth: dict[str, Any], light: Light) -> Iterator[tuple[str, bool]]:
    for event, heard, beat in _moments(truth, light, "build"):
        bar = light.grid.bar_seconds(event["start"])
        if heard.end - heard.start < (LONG_BUILD - 0.5) * bar:
            continue
        # Nothing rises across a silence: where the band stops before the build lands, the rise ends there.
        stops = [each for each in light.analysis.events if each.kind == "stop" and abs(each.end - heard.end) <= beat]
        ends = [heard.end, *(stop.start for stop in stops)]
        rises = [move for move in light.moves if move.to - move.from_ >= _RISE and move.seconds >= 2 * bar - 0.01]
        yield "long builds", any(abs(move.end - end) <= beat + 0.01 for move in rises for end in ends)


def _left_dark(light: Light) -> Iterator[bool]:
    for section in light.analysis.sections:
        yield light.grid.drive_of(section) >= LOUD and light.within(section).rank == 0


def _over_talk(light: Light, profile: Profile) -> Iterator[bool]:
    """Whether light is up where somebody talks, counts in or breaks off, as it was heard."""
    for event in light.analysis.events:
        surely = event.confidence >= profile.evidence.event
        if surely and event.kind in ("talk", "count-in", "false-start") and event.end - event.start > 2 * _ASIDE:
            steps = int((event.end - event.start - 2 * _ASIDE) / 0.25) + 1
            yield any(light.at(event.start + _ASIDE + 0.25 * step).level > _DARK for step in range(steps))


def longest_idle(light: Light, made: Draft) -> float:
    """Seconds of music between two cues, or a cue and an end of the music."""
    analysis = light.analysis
    starts = [seconds for cue in made.cues for seconds in (hand_starts(cue, light.grid), *presses(cue, light.grid))]
    ends = (analysis.music_start or 0.0, analysis.music_end or 0.0)
    inside = sorted([*ends, *(seconds for seconds in starts if ends[0] < seconds < ends[1])])
    return max((later - earlier for earlier, later in pairwise(inside)), default=0.0)


def actions(made: Draft, grid: Grid) -> int:
    """What the hand does: every press of a series, both ends of a held dark."""
    return sum(len(presses(cue, grid)) + is_held(cue) for cue in made.cues if cue.trigger in ("hand", "held"))
