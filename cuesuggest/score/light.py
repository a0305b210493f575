"""What a list of cues does to the light: the one place where cues are followed, side by side, in the order of the hand.

A cue on its way up leads: with two hands the side that it takes out starts down when the new one is half up, with one
hand once it is up. A crossfade without a way out of its own takes as long down as up. Who asks for more than moments
gets steps (`follow`), stretches of light (`lit_stretches`) or the dark while a button is held (`held_until`).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from cuesuggest.analysis.types import SongAnalysis
from cuesuggest.score.grid import Grid
from cuesuggest.score.records import ENTRANCES, EXITS, Anchor, Cue, Look, Place

__all__ = [
    "HANDS",
    "LevelMove",
    "LitStretch",
    "SideState",
    "Step",
    "beats_seconds",
    "fade_seconds",
    "follow",
    "hand_place",
    "hand_presses",
    "hand_starts",
    "held_until",
    "in_order_of_hand",
    "is_held",
    "lit_stretches",
    "presses",
    "swapped_after",
    "takes_others_out",
]

HANDS = 2  # of an operator, where the rig does not say
_FULL = 100.0  # percent; of a look without a ceiling
_SAME_STOP = 0.5  # s from a stop to the cue that goes dark for it
_LATER = 0.05  # s; a beat this near is the one at which the button was pressed


@dataclass(frozen=True, slots=True)
class LevelMove:
    """The level of a side goes from one value to another, in a straight line."""

    side: str
    start: float
    """Seconds of the recording."""
    seconds: float
    from_: float
    """Percent, as `to`."""
    to: float
    cue: Cue

    @property
    def end(self) -> float:
        """When it has arrived."""
        return self.start + self.seconds

    def level(self, at: float) -> float:
        """Percent at a moment."""
        if at >= self.end:
            return self.to
        return self.from_ + (self.to - self.from_) * max(at - self.start, 0.0) / self.seconds


@dataclass(frozen=True, slots=True)
class SideState:
    """What a side holds between two cues."""

    look: str | None = None
    """Id of the look that was set up, or came in, last."""
    lit: bool = False
    level: int | None = None
    """Percent, as the cues say it; None where they say nothing."""
    busy_until: float = float("-inf")
    """Seconds at which its last fade ends."""


@dataclass(frozen=True, slots=True)
class Step:
    """A cue, when the hand starts it, and what it does to the sides."""

    cue: Cue
    at: float
    """Seconds of the recording."""
    before: Mapping[str, SideState]
    """By side; "" is the side of cues that name none."""
    after: Mapping[str, SideState]
    moves: tuple[LevelMove, ...]
    """That of its own side first, then those of the sides that it takes out."""


@dataclass(frozen=True, slots=True)
class LitStretch:
    """A look that is up on a side, from the start of its way in to the end of its way out."""

    side: str
    start: float
    end: float
    entered: Cue
    left: Cue | None = None
    """The cue that took it out by itself; None where another look took its place, or nothing did."""


def fade_seconds(cue: Cue, grid: Grid | None = None) -> tuple[float, float]:
    """Return how long a cue's way up and its way down take; from its beats where it has no seconds.

    Parameters
    ----------
    cue : Cue
    grid : Grid, optional
        Of the song; without one a length that is given in beats alone is none.

    Returns
    -------
    float, float
        Seconds.
    """

    def length(beats: float | None, seconds: float | None) -> float:
        if seconds is not None:
            return seconds
        return beats_seconds(grid, cue.place, cue.anchor, beats) if beats and grid is not None and grid.bars else 0.0

    return length(cue.up_beats, cue.up_seconds), length(cue.down_beats, cue.down_seconds)


def beats_seconds(grid: Grid, place: Place, anchor: Anchor, beats: float) -> float:
    """Return the seconds that a fade of so many beats takes: from its place on, or up to it where it lands there."""
    return grid.span(place, -beats if anchor == "lands-on" else beats)


def _own_seconds(cue: Cue, grid: Grid | None) -> float:
    """How long the cue's own side takes."""
    up, down = fade_seconds(cue, grid)
    match cue.kind:
        case "fade-in" | "crossfade":
            return up
        case "ramp":
            return up or down
        case "fade-out":
            return down or up
        case _:
            return 0.0


def hand_starts(cue: Cue, grid: Grid | None = None) -> float:
    """Return the second at which the hand starts: earlier than the place for a fade that lands on it.

    A one-shot is told where it is seen; how early to press is a matter of its look.

    Parameters
    ----------
    cue : Cue
    grid : Grid, optional
        As for `fade_seconds`.
    """
    if cue.anchor == "starts-on":
        return cue.place.seconds
    return cue.place.seconds - _own_seconds(cue, grid)


def hand_place(cue: Cue, grid: Grid) -> Place:
    """Return where the hand begins a cue: where it stands in every list, while its light may land later.

    Parameters
    ----------
    cue : Cue
    grid : Grid
        Of the song.
    """
    seconds = max(round(hand_starts(cue, grid), 4), 0.0)
    return cue.place if seconds == cue.place.seconds else replace(grid.locate(seconds), seconds=seconds)


def in_order_of_hand(cues: Iterable[Cue], grid: Grid) -> list[tuple[Place, Cue]]:
    """Return cues with where the hand begins each, in that order."""
    return sorted(((hand_place(cue, grid), cue) for cue in cues), key=lambda each: (each[0].seconds, each[1].number))


def is_held(cue: Cue) -> bool:
    """Whether a cue makes everything dark as long as a button is held, and brings it back then."""
    return cue.trigger == "held" and cue.kind in EXITS


def takes_others_out(cue: Cue) -> bool:
    """Whether the other sides leave as this cue comes in."""
    leads = cue.kind == "crossfade" or cue.down_seconds is not None or cue.down_beats is not None
    return cue.kind in ENTRANCES and leads


def swapped_after(up: float, down: float, hands: int) -> float:
    """Return the seconds from the start of a swap until the old side is dark.

    With two hands the old side starts out when the new one is half up, with one hand when it is up.
    """
    return (up / 2 if hands > 1 else up) + down


def presses(cue: Cue, grid: Grid | None = None) -> tuple[float, ...]:
    """Return the seconds at which a cue happens: once, or on the same beat of each bar of its series.

    Parameters
    ----------
    cue : Cue
    grid : Grid, optional
        Of the song; of a series only the first place is known without it.
    """
    first, series = cue.place, cue.series
    if series is None or grid is None or first.bar is None or first.beat is None:
        return (first.seconds,)
    found = []
    for number in range(series.first_bar, series.last_bar + 1, max(series.every_bars, 1)):
        bar = grid.bar(number)
        if bar is not None and first.beat < bar.beats + 1 and number not in series.skip:
            found.append(first.seconds if number == first.bar else grid.place(number, first.beat).seconds)
    return tuple(found) or (first.seconds,)


def hand_presses(cue: Cue, grid: Grid, looks: Iterable[Look] = ()) -> tuple[float, ...]:
    """Return the seconds at which the hand begins a cue, each time that it does.

    Parameters
    ----------
    cue : Cue
    grid : Grid
        Of the song.
    looks : iterable of Look
        A one-shot that lands on its place is pressed as long before it as its look takes to its peak.
    """
    early = cue.place.seconds - hand_starts(cue, grid)
    if cue.kind == "one-shot" and cue.anchor == "lands-on":
        early = next((look.peak_after for look in looks if look.id == cue.look), 0.0)
    return tuple(at - early for at in presses(cue, grid))


def follow(
    cues: Iterable[Cue], *, grid: Grid | None = None, looks: Iterable[Look] = (), hands: int = HANDS
) -> tuple[Step, ...]:
    """Follow cues through a song.

    Parameters
    ----------
    cues : iterable of Cue
        In any order, without the rejected ones.
    grid : Grid, optional
        As for `fade_seconds`.
    looks : iterable of Look
        Those that the cues name; what says no level goes to the ceiling of its look.
    hands : int
        Of the person who plays.

    Returns
    -------
    tuple of Step
        In the order of the hand.
    """
    ceilings = {look.id: look.level_ceiling for look in looks}
    states: dict[str, SideState] = {}
    last: dict[str, LevelMove] = {}
    steps = []

    def move(side: str, start: float, seconds: float, to: float, cue: Cue) -> LevelMove:
        known = last.get(side)
        last[side] = LevelMove(side, start, seconds, known.level(start) if known else 0.0, to, cue)
        return last[side]

    def out(side: str, start: float, seconds: float, cue: Cue) -> LevelMove:
        here = states.get(side, SideState())
        states[side] = replace(here, lit=False, level=None, busy_until=start + seconds)
        return move(side, start, seconds, 0.0, cue)

    timed = sorted(
        ((hand_starts(cue, grid), cue) for cue in cues),
        key=lambda each: (each[0], each[1].kind != "recall", each[1].place.seconds, each[1].number),
    )
    for at, cue in timed:
        before, side = dict(states), cue.side or ""
        here, seconds = states.get(side, SideState()), _own_seconds(cue, grid)
        to = float(cue.level if cue.level is not None else ceilings.get(cue.look or here.look or "", _FULL))
        moves: list[LevelMove] = []
        if cue.kind == "recall":
            states[side] = replace(here, look=cue.look)
        elif cue.kind in ENTRANCES:
            states[side] = SideState(cue.look or here.look, True, cue.level, at + seconds)
            moves.append(move(side, at, seconds, to, cue))
            if takes_others_out(cue):
                up, down = fade_seconds(cue, grid)
                way_out = down if cue.down_seconds is not None or cue.down_beats is not None else up
                leaves = at + swapped_after(seconds, 0.0, hands)
                others = [name for name, state in states.items() if state.lit and name != side]
                moves += [out(other, leaves, way_out, cue) for other in others]
        elif cue.kind == "ramp":
            level = cue.level if here.lit else here.level
            states[side] = replace(here, level=level, busy_until=at + seconds)
            moves.append(move(side, at, seconds, to, cue))
        elif cue.kind in EXITS and not is_held(cue):
            going = [side] if cue.side else [name for name, state in states.items() if state.lit]
            moves += [out(each, at, seconds, cue) for each in going]
        steps.append(Step(cue, at, before, dict(states), tuple(moves)))
    return tuple(steps)


def lit_stretches(steps: Sequence[Step], end: float) -> tuple[LitStretch, ...]:
    """Return when which look is up.

    Parameters
    ----------
    steps : sequence of Step
        As `follow` gives them.
    end : float
        Seconds; what is still lit then ends there.

    Returns
    -------
    tuple of LitStretch
        In the order in which they end.
    """
    entered: dict[str, Step] = {}
    found = []

    def closed(side: str, at: float, left: Cue | None) -> None:
        step = entered.pop(side)
        found.append(LitStretch(side, step.at, at, step.cue, left))

    for step in steps:
        own = step.cue.side or ""
        comes_in = step.cue.kind in ENTRANCES
        for move in step.moves:
            if move.side in entered and not step.after[move.side].lit:
                closed(move.side, move.end, None if comes_in else step.cue)
        if comes_in:
            if own in entered:
                closed(own, step.at, None)
            entered[own] = step
    for side in list(entered):
        closed(side, end, None)
    return tuple(found)


def held_until(cue: Cue, analysis: SongAnalysis) -> float:
    """Return when the button of a held dark is let go: where the band is back, else on the next beat.

    Parameters
    ----------
    cue : Cue
    analysis : SongAnalysis

    Returns
    -------
    float
        Seconds; the place itself where no beat follows.
    """
    stops = [event for event in analysis.events if event.kind == "stop" and event.end > event.start]
    near = [event for event in stops if abs(event.start - cue.place.seconds) < _SAME_STOP]
    if near:
        return max(near[-1].end, cue.place.seconds)
    return next((beat for beat in analysis.beats if beat > cue.place.seconds + _LATER), cue.place.seconds)
