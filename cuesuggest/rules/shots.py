"""One-shots: on downbeats and accents, few, and their peak on the beat."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from cuesuggest.analysis.types import Event, EventKind, Section
from cuesuggest.cues import CATEGORIES, Cue, Place, PlannedSection, Series
from cuesuggest.rules.brief import ONE_SHOT_RANK, Brief, Move
from cuesuggest.rules.grid import count_word
from cuesuggest.rules.looks import ONE_SHOT
from cuesuggest.rules.material import name
from cuesuggest.rules.settings import OneShot

__all__ = ["one_shots"]

# What the band accents: the order in which it is served, the event, the cue's role, the reason.
_ACCENTS: tuple[tuple[int, EventKind, str, str], ...] = (
    (1, "drop", "drop", "the drop lands here"),
    (2, "stop", "return", "the band comes back from its stop"),
    (3, "hit", "hit", "the band hits together here"),
)

# Seconds. Two moments closer than this are one press of two hands.
_TOGETHER = 0.02


@dataclass(frozen=True, slots=True)
class _Wish:
    """A place that a one-shot would suit."""

    order: int
    """Lower comes first when there is room for few."""
    place: Place
    role: str
    reason: str
    event: Event | None = None
    series: Series | None = None
    places: tuple[Place, ...] = ()
    """All places of a series."""

    @property
    def at(self) -> tuple[Place, ...]:
        return self.places or (self.place,)


def one_shots(brief: Brief, planned: Sequence[PlannedSection], moves: Sequence[Move]) -> list[Move]:
    """Fire singles on what the band accents, and a series where a long intense section carries one."""
    shot = brief.rig.one_shot
    if shot is None:
        return []
    taken: list[tuple[_Wish, Place]] = []
    made: list[Move] = []
    ordinals: dict[tuple[str, str], int] = {}
    wishes = sorted(_wishes(brief, shot, planned), key=lambda wish: (wish.order, wish.place.seconds))
    for wish in wishes:
        if len(taken) + len(wish.at) > brief.profile.shots.most_per_song:
            continue
        if not all(_fits(brief, shot, place, moves, [other for _, other in taken]) for place in wish.at):
            continue
        taken += [(wish, place) for place in wish.at]
        section = brief.grid.section_of(wish.place.bar)
        key = (section.id if section else "song", wish.role)
        ordinals[key] = ordinals.get(key, 0) + 1
        made.append(_move(brief, shot, wish, f"shot/{key[0]}/{key[1]}/{ordinals[key]}"))
    return made


def _wishes(brief: Brief, shot: OneShot, planned: Sequence[PlannedSection]) -> list[_Wish]:
    """Collect every place with a musical reason, in sections that are big and sure enough."""
    wishes: list[_Wish] = []
    big = {
        each.section: each
        for index, each in enumerate(planned)
        if CATEGORIES.index(each.category) >= CATEGORIES.index("lift") and not brief.weak(index)
    }
    for section in brief.grid.sections:
        if section.id in big and big[section.id].category == "intense":
            wishes.append(_series(brief, shot, section) or _opening(brief, section))
    for order, kind, role, reason in _ACCENTS:
        for event in brief.events(kind):
            place = _on_beat(brief, event.end if kind == "stop" else event.start)
            section_there = brief.grid.section_of(place.bar)
            if section_there is not None and section_there.id in big:
                wishes.append(_Wish(order, place, role, reason, event))
    return wishes


def _on_beat(brief: Brief, seconds: float) -> Place:
    """Return the half beat that a moment belongs to, or the moment itself if it is off them."""
    place = brief.grid.locate(seconds)
    if place.bar is None or place.beat is None:
        return place
    half = round(place.beat * 2) / 2
    bar = brief.grid.bar(place.bar)
    near = brief.grid.after(place.bar) if bar and half >= bar.beats + 1 else brief.grid.place(place.bar, half)
    return near if abs(near.seconds - seconds) <= 0.06 else place


def _opening(brief: Brief, section: Section) -> _Wish:
    reason = f"the downbeat on which {name(section)} opens, together with the look"
    return _Wish(0, brief.grid.place(section.first_bar), "opening", reason)


def _series(brief: Brief, shot: OneShot, section: Section) -> _Wish | None:
    """Repeat the one-shot at the phrases of a long intense section, ending with its last phrase."""
    shots = brief.profile.shots
    if section.bars < shots.series_from_bars:
        return None
    for every in shots.series_every:
        count = (section.bars - 1) // every + 1
        if not 2 <= count <= shots.series_most:
            continue
        bars = range(section.first_bar, section.first_bar + count * every, every)
        skip = tuple(bar for bar in bars if bar != section.first_bar and _silent(brief, brief.grid.place(bar).seconds))
        places = tuple(brief.grid.place(bar) for bar in bars if bar not in skip)
        steps = [later.seconds - place.seconds for place, later in pairwise(places)]
        if not steps or min(steps) < _apart(brief, shot):
            continue
        return _Wish(
            0,
            places[0],
            "series",
            f"{name(section)} is long and intense enough to mark its phrases, every {every} bars",
            series=Series(every, bars[0], bars[-1], skip),
            places=places,
        )
    return None


def _apart(brief: Brief, shot: OneShot) -> float:
    """Seconds that two one-shots have to be apart."""
    return max(shot.run_seconds, brief.profile.shots.spacing_seconds)


def _silent(brief: Brief, seconds: float) -> bool:
    """Whether the band is stopped there."""
    return any(stop.start - 0.05 <= seconds < stop.end - 0.05 for stop in brief.events("stop"))


def _fits(brief: Brief, shot: OneShot, place: Place, moves: Sequence[Move], others: Sequence[Place]) -> bool:
    """Whether a one-shot can be there: apart from others, hands free, the song counted and sure."""
    at = place.seconds
    bar = None if place.bar is None else brief.grid.bar(place.bar)
    if bar is None or bar.confidence < brief.profile.evidence.weak:
        return False
    if brief.free_time(at) or _silent(brief, at):
        return False
    if any(abs(at - other.seconds) < _apart(brief, shot) - 1e-6 for other in others):
        return False
    hands = 1
    for move in moves:
        if move.cue.anchor == "lands-on":
            if move.start - 1e-6 <= at < move.end - _TOGETHER:
                return False
            hands += abs(at - move.end) < _TOGETHER
        together = abs(at - move.start) < _TOGETHER
        if not together and abs(at - move.start) < brief.gap:
            return False
        hands += move.hands if together else 0
    return hands <= brief.rig.hands


def _move(brief: Brief, shot: OneShot, wish: _Wish, id_: str) -> Move:
    """Write the cue. Its place is the beat that the peak meets; the hand is told how early to press."""
    count = count_word(wish.place.beat)
    early = shot.peak_after
    when = f"on {count}" if early < 0.02 else f"{early:.2g} s before {count}, so that its peak meets the beat"
    hand = f"{shot.name[:1].upper()}{shot.name[1:]}: press {when}"
    if wish.series is not None:
        hand += f"; again every {wish.series.every_bars} bars, {len(wish.places)} times in all"
    cue = Cue(
        id=id_,
        number=0.0,
        kind="one-shot",
        trigger="hand",
        anchor="lands-on" if early >= 0.02 else "starts-on",
        place=wish.place,
        hand=hand,
        reasons=(wish.reason,),
        confidence=min(brief.trust(place, wish.event) for place in wish.at),
        look=ONE_SHOT,
        series=wish.series,
    )
    seconds = [place.seconds for place in wish.at]
    return Move(
        cue,
        seconds[0],
        round(seconds[-1] + shot.run_seconds, 4),
        rank=ONE_SHOT_RANK,
        repeats=tuple(seconds[1:]),
    )
