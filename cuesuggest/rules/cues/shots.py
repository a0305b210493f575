"""One-shots: on downbeats and accents, few, and their peak on the beat."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

from cuesuggest.analysis.types import Event, EventKind, Section
from cuesuggest.rules.brief import ONE_SHOT_RANK, Brief, Move
from cuesuggest.rules.plan.looks import ONE_SHOT
from cuesuggest.rules.settings.house import OneShot
from cuesuggest.score.records import CATEGORIES, Category, Cue, Place, PlannedSection, Series

__all__ = ["one_shots"]

# What the band accents: the order in which it is served, the event, the cue's role, the reason.
_ACCENTS: tuple[tuple[int, EventKind, str, str], ...] = (
    (1, "drop", "drop", "The drop lands here."),
    (2, "stop", "return", "The band comes back from its stop."),
    (3, "hit", "hit", "The band hits together here."),
    (4, "fill", "fill", "The fill ends here."),
)
_PHRASE = 5

# Happenings whose end is the accent.
_END_COUNTS = ("stop", "fill")

# Seconds. Two moments closer than this are one press of two hands.
_TOGETHER = 0.02

# Seconds. A peak that comes sooner after the press is on it.
_AT_ONCE = 0.02

# Of a series, at least so many presses and this share of them have to fit for it to be heard as one.
_FEWEST, _MOST_OF = 2, 0.5


@dataclass(frozen=True, slots=True)
class _Wish:
    """A place that a one-shot would suit."""

    order: int
    """Lower comes first when there is room for few."""
    place: Place
    role: str
    reason: str
    event: Event | None = None
    section: Section | None = None
    """The section that a series may go through."""


@dataclass(frozen=True, slots=True)
class _Shot:
    """A wish that can be played: its presses, and where the light has to go before its run is over."""

    wish: _Wish
    places: tuple[Place, ...]
    series: Series | None = None
    until: Place | None = None


@dataclass(frozen=True, slots=True)
class _Room:
    """What is fixed while places for one-shots are looked for."""

    brief: Brief
    shot: OneShot
    moves: Sequence[Move]
    big: frozenset[int]
    """Indexes of the parts that are big and sure enough."""

    @property
    def apart(self) -> float:
        """Seconds that two one-shots have to be apart."""
        return max(self.shot.run_seconds, self.brief.profile.shots.spacing_seconds)


def one_shots(brief: Brief, planned: Sequence[PlannedSection], moves: Sequence[Move]) -> list[Move]:
    """Fire singles on what the band accents, and a series where a long intense section carries one."""
    shot = brief.rig.one_shot
    if shot is None:
        return []
    big = frozenset(
        index
        for index, each in enumerate(planned)
        if CATEGORIES.index(each.category) >= CATEGORIES.index("lift") and not brief.weak(index)
    )
    room = _Room(brief, shot, moves, big)
    intense = _stretches(brief, planned, "intense")
    # Where phrases are short, those of a lift are told as well.
    lifts = _stretches(brief, planned, "lift") if brief.profile.fades.short_phrases else []
    taken: list[Place] = []
    made: list[Move] = []
    ordinals: dict[tuple[str, str], int] = {}
    wishes = sorted(_wishes(room, intense, lifts), key=lambda wish: (wish.order, wish.place.seconds))
    for wish in wishes:
        left = brief.profile.shots.most_per_song - len(taken)
        played = (_series(room, wish, taken, left) if wish.section else None) or _single(room, wish, taken, left)
        if played is None:
            continue
        taken += played.places
        section = brief.grid.section_of(played.places[0].bar)
        role = "series" if played.series else wish.role
        key = (section.id if section else "song", role)
        ordinals[key] = ordinals.get(key, 0) + 1
        made.append(_move(room, played, f"shot/{key[0]}/{role}/{ordinals[key]}"))
    return made


def _stretches(brief: Brief, planned: Sequence[PlannedSection], category: Category) -> list[tuple[int, Section]]:
    """Return what is of a category without a break in one section, with the index of its first part."""
    found: list[tuple[int, Section]] = []
    for index, (section, each) in enumerate(zip(brief.sections, planned, strict=True)):
        if each.category != category:
            continue
        if found and found[-1][1].id == section.id and found[-1][1].last_bar + 1 == section.first_bar:
            first, joined = found[-1]
            found[-1] = first, replace(joined, last_bar=section.last_bar, end=section.end)
        else:
            found.append((index, section))
    return found


def _wishes(room: _Room, intense: Sequence[tuple[int, Section]], lifts: Sequence[tuple[int, Section]]) -> list[_Wish]:
    """Collect every place with a musical reason, in parts that are big and sure enough."""
    brief = room.brief
    wishes: list[_Wish] = []
    for index, section in intense:
        if index in room.big:
            wishes += _phrases(brief, section, brief.name(index))
    for index, section in lifts:
        if index in room.big:
            wishes += _phrases(brief, section, brief.name(index))[1:]
    for order, kind, role, reason in _ACCENTS:
        for event in brief.events(kind):
            if kind == "stop" and event.end - event.start < brief.profile.hands.held_from_seconds:
                continue  # nobody stops the light for it
            place = _on_beat(brief, event.end if kind in _END_COUNTS else event.start)
            if brief.index_at(place) in room.big:
                wishes.append(_Wish(order, place, role, reason, event))
    return wishes


def _phrases(brief: Brief, section: Section, name: str) -> list[_Wish]:
    """Wish for the downbeats on which an intense stretch opens, and on which its later phrases start."""
    reason = f"It is the downbeat of {name}, together with the look."
    wishes = [_Wish(0, brief.grid.place(section.first_bar), "opening", reason, section=section)]
    phrase = brief.profile.standby.phrase_bars
    for bar in range(section.first_bar + phrase, section.last_bar + 1 - phrase // 2, phrase):
        wishes.append(_Wish(_PHRASE, brief.grid.place(bar), "phrase", f"A new phrase of {section.mark} starts here."))
    return wishes


def _on_beat(brief: Brief, seconds: float) -> Place:
    """Return the half beat that a moment belongs to, or the moment itself if it is off them."""
    place = brief.grid.locate(seconds)
    if place.bar is None or place.beat is None:
        return place
    half = round(place.beat * 2) / 2
    bar = brief.grid.bar(place.bar)
    near = brief.grid.after(place.bar) if bar and half >= bar.beats + 1 else brief.grid.place(place.bar, half)
    return near if abs(near.seconds - seconds) <= 0.06 else brief.grid.locate(seconds, "early")


def _single(room: _Room, wish: _Wish, taken: Sequence[Place], left: int) -> _Shot | None:
    """Take a wish as one press, if it fits and any is left."""
    if left < 1 or not _fits(room, wish.place, taken):
        return None
    return _Shot(wish, (wish.place,), until=_cut_short(room, wish.place))


def _series(room: _Room, wish: _Wish, taken: Sequence[Place], left: int) -> _Shot | None:
    """Repeat the one-shot at the phrases of a long intense section, ending with its last phrase.

    Presses that do not fit are left out while enough remain; so are those at either end, where the series then
    starts later or stops earlier.
    """
    brief, shots, section = room.brief, room.brief.profile.shots, wish.section
    if section is None or section.bars < shots.series_from_bars:
        return None
    for every in shots.series_every:
        # Half a measure before its end nothing new begins.
        all_bars = range(section.first_bar, section.last_bar + 2 - max(every // 2, 1), every)
        if not _FEWEST <= len(all_bars) <= shots.series_most:
            continue
        fitting = [bar for bar in all_bars if _fits(room, brief.grid.place(bar), taken)]
        # Inside a series a hand only presses: what has to be faded out early may be its last.
        fitting = [bar for bar in fitting if bar == fitting[-1] or _cut_short(room, brief.grid.place(bar)) is None]
        places = [brief.grid.place(bar) for bar in fitting]
        steps = [later.seconds - place.seconds for place, later in pairwise(places)]
        enough = len(fitting) >= max(_FEWEST, _MOST_OF * len(all_bars))
        if not enough or len(fitting) > left or min(steps) < room.apart - 1e-6:
            continue
        inside = range(fitting[0], fitting[-1] + 1, every)
        series = Series(every, fitting[0], fitting[-1], tuple(bar for bar in inside if bar not in fitting))
        return _Shot(wish, tuple(places), series, _cut_short(room, places[-1]))
    return None


def _silent(brief: Brief, seconds: float) -> bool:
    """Whether the band is stopped there."""
    return any(stop.start - 0.05 <= seconds < stop.end - 0.05 for stop in brief.events("stop"))


def _sinking(room: _Room, seconds: float) -> bool:
    """Whether the light starts to go down there: an accent and a dim at once cancel each other."""
    beat = room.brief.grid.beat_seconds(seconds)
    return any(
        move.cue.kind == "ramp" and move.cue.down_seconds is not None and move.start - beat < seconds < move.end
        for move in room.moves
    )


def _fits(room: _Room, place: Place, others: Sequence[Place]) -> bool:
    """Whether a one-shot can be there: apart from others, hands free, the song counted and sure."""
    brief, at = room.brief, place.seconds
    bar = None if place.bar is None else brief.grid.bar(place.bar)
    if bar is None or bar.confidence < brief.profile.evidence.weak or at < room.shot.peak_after:
        return False
    if brief.free_time(at) or _silent(brief, at) or _sinking(room, at):
        return False
    if any(abs(at - other.seconds) < room.apart - 1e-6 for other in others):
        return False
    if not _hand_free(room, at - room.shot.own_gesture):
        return False
    until = _cut_short(room, place)
    if until is None:
        return True
    return until.seconds - (at - room.shot.own_gesture) >= brief.gap and _hand_free(room, until.seconds)


def _hand_free(room: _Room, at: float) -> bool:
    """Whether one more hand can do something at a moment."""
    hands = 1
    back = {move.pair for move in room.moves if move.pair and abs(at - move.start) < _TOGETHER}
    for move in room.moves:
        if move.cue.kind == "cut-out" and (move.pair in back or _gesture_to(room, move, at)):
            continue  # the hand that went out is the one that comes back in
        if move.cue.anchor == "lands-on":
            if move.start - 1e-6 <= at < move.end - _TOGETHER:
                return False
            hands += abs(at - move.end) < _TOGETHER
        for start in move.starts:
            together = abs(at - start) < _TOGETHER
            if not together and abs(at - start) < room.brief.gap:
                return False
            hands += move.hands if together else 0
    return hands <= room.brief.rig.hands


def _gesture_to(room: _Room, out: Move, at: float) -> bool:
    """Whether a hand goes out and another in, one gesture, with the way in at a moment."""
    if not 0 < at - out.start < room.brief.gap:
        return False
    return any(move.cue.kind in ("cut-in", "fade-in") and abs(at - move.start) < _TOGETHER for move in room.moves)


def _cut_short(room: _Room, place: Place) -> Place | None:
    """Return where a one-shot has to be faded out before its run is over: as the band stops, or a phrase ends.

    A phrase ends where a section begins that is not big enough for a one-shot. None where the run ends before
    that, or so little after it that it is gone with the phrase.
    """
    brief = room.brief
    over = place.seconds - room.shot.peak_after + room.shot.run_seconds
    stop = next((stop for stop in brief.events("stop") if stop.start > place.seconds + 0.05), None)
    if stop is not None and over > stop.start + brief.profile.hands.held_from_seconds:
        return brief.grid.locate(stop.start, "late")
    index = brief.index_at(place)
    if index is None or index + 1 == len(brief.parts) or index + 1 in room.big:
        return None
    end = brief.grid.after(brief.sections[index].last_bar)
    spare = brief.profile.fades.after_hit_beats * brief.grid.beat_seconds(place.seconds)
    return end if over > end.seconds + spare else None


def _move(room: _Room, played: _Shot, id_: str) -> Move:
    """Write the cue. Its place is the beat that the peak meets."""
    brief, shot, wish = room.brief, room.shot, played.wish
    place, series, until = played.places[0], played.series, played.until
    reason = wish.reason
    if series is not None and wish.section is not None:
        every = "every bar" if series.every_bars == 1 else f"every {series.every_bars} bars"
        reason = f"{wish.section.mark} is long and intense enough to mark its phrases, {every}."
    reasons = [reason]
    if until is not None:
        reasons.append("The music ends before its run does, so it is faded out early.")
    cue = Cue(
        id=id_,
        number=0.0,
        kind="one-shot",
        trigger="hand",
        anchor="lands-on" if shot.peak_after >= _AT_ONCE else "starts-on",
        place=place,
        reasons=tuple(reasons),
        confidence=min(brief.trust(each, wish.event) for each in played.places),
        look=ONE_SHOT,
        series=series,
        dark_by=None if until is None else until.seconds,
    )
    pressed = [each.seconds - room.shot.own_gesture for each in played.places]
    fading = [] if until is None else [until.seconds]
    end = until.seconds if until is not None else pressed[-1] + shot.run_seconds
    return Move(
        cue,
        round(pressed[0], 4),
        round(end, 4),
        rank=ONE_SHOT_RANK,
        repeats=tuple(round(each, 4) for each in (*pressed[1:], *fading)),
    )
