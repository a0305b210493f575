"""Speed of the motion against the band's tempo: set with the look, and anew where the tempo moves too far."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from cuesuggest.analysis.types import Bar
from cuesuggest.rules.brief import SPEED_RANK, Brief, Move, Stay
from cuesuggest.rules.plan.looks import built_for, cycle
from cuesuggest.rules.stays import EPS
from cuesuggest.score.light import swapped_after
from cuesuggest.score.records import Cue, Place, PlannedSection

__all__ = ["Round", "set_with", "speeds"]

# Common practice: four taps give a tempo.
_TAPS = 4

# Bars. A tempo that lasts shorter is a stumble or a pickup, and nobody sets a speed for it.
_LASTING = 2

# Bars. On a lit side a speed is set only for a tempo that lasts this long, and a tempo that comes back to what it was
# within the longer time is a wobble, of the band or of the hearing.
_STEADY, _BACK_WITHIN = 8, 16

# Bars after a change of tempo in which a speed is still worth setting.
_PATIENCE = 4


@dataclass(frozen=True, slots=True)
class _Pulse:
    """A tempo that lasts: from a moment on, so many beats a minute."""

    start: float
    bpm: float


@dataclass(frozen=True, slots=True)
class Round:
    """One round of a look's motion at some tempo."""

    bars: float
    seconds: float


def set_with(brief: Brief, stay: Stay, planned: Sequence[PlannedSection], *, first: bool) -> Round | None:
    """Return the speed that is set when a look is recalled (`first`: before the song); None where it cannot be.

    None either where the band will play another tempo than the look is built for: that has a cue of its own.
    Only before the song, when there is all the time, is it set for the tempo to come.
    """
    unit = brief.rig.speed.unit
    built = _tempo(built_for(stay.look.id, planned, brief))
    coming = _coming(brief, stay, built)
    if unit == "none" or not stay.look.cycle_bars or (coming != built and not first):
        return None
    bar_seconds = 60 * brief.grid.bars_of(brief.sections[stay.first])[0].beats / coming
    if coming == built:
        return Round(stay.look.cycle_bars, round(stay.look.cycle_bars * bar_seconds, 4))
    return _round(stay, bar_seconds, brief)


def _coming(brief: Brief, stay: Stay, built: float) -> float:
    """Return the tempo that a look comes in at: what it is built for, unless the band's is too far from that."""
    heard = _heard_in(_pulses(brief), brief.sections[stay.first].start, 0.0)
    return heard[0].bpm if heard and _off(brief, stay, heard[0].bpm, built) else built


def _off(brief: Brief, stay: Stay, bpm: float, was: float) -> bool:
    return abs(bpm / was - 1) > brief.profile.looks.speed_within.of(stay.look.category)


def speeds(
    brief: Brief, stays: Sequence[Stay], planned: Sequence[PlannedSection], moves: Sequence[Move]
) -> tuple[list[Move], list[tuple[int, str]]]:
    """Set the speed anew where the band's tempo has moved too far from what a look was last set to.

    In the dark before a look comes in if the new tempo can be known there, else by ear on a downbeat of the new
    tempo. Where there is no way or no moment to do it, that is said of the section (by index).
    """
    pulses = _pulses(brief)
    made: list[Move] = []
    notes: list[tuple[int, str]] = []
    # By side: the tempo that its motion was last set to.
    left: dict[str, float] = {}
    for k, stay in enumerate(stays):
        window = _window(brief, stays, moves, k)
        if window is None or not pulses or not stay.look.cycle_bars:
            continue
        recalled, dark_since, entry, gone = window
        was = _tempo(built_for(stay.look.id, planned, brief))
        if not recalled:
            was = left.get(stay.side.name, was)
        if k == 0 and brief.rig.speed.unit != "none":
            # Set with its recall, or tapped as the band starts.
            was = _coming(brief, stay, was)
        for pulse in _heard_in(pulses, entry, gone):
            if not _off(brief, stay, pulse.bpm, was):
                continue
            taken = [*moves, *made]
            place = None
            if pulse.start <= entry + EPS and brief.rig.speed.unit != "tap":
                place = _moment(brief, stay, dark_since, entry, taken, latest=True)
            dark = place is not None
            if place is None and _steady(brief, stay, pulse, pulses, was):
                until = min(gone, max(pulse.start, entry) + _PATIENCE * brief.grid.bar_seconds(pulse.start))
                place = _moment(brief, stay, max(pulse.start, entry), until, taken, latest=False)
            index = brief.index_at(brief.grid.locate(max(pulse.start, entry)))
            at = index if index is not None and stay.first <= index <= stay.last else stay.first
            if place is None or brief.rig.speed.unit == "none" or brief.weak(at):
                notes.append((at, f"The tempo moves from {was:.0f} to {pulse.bpm:.0f} here; the look keeps its speed"))
                continue
            made.append(_set(brief, stay, k, place, was, pulse.bpm, dark))
            was = pulse.bpm
        left[stay.side.name] = was
    return made, notes


def _pulses(brief: Brief) -> list[_Pulse]:
    """Return the tempos that last, from the tempo map."""
    knots = sorted(brief.analysis.tempo_map, key=lambda knot: knot.time)
    ends = [*(knot.time for knot in knots[1:]), float("inf")]
    return [
        _Pulse(knot.time, knot.bpm)
        for knot, end in zip(knots, ends, strict=True)
        if end - knot.time > _LASTING * brief.grid.bar_seconds(knot.time) - EPS
    ]


def _steady(brief: Brief, stay: Stay, pulse: _Pulse, pulses: Sequence[_Pulse], was: float) -> bool:
    """Whether a tempo is worth setting a speed for while the light is up: long, counted, surely heard, no wobble."""
    # A drift goes on for as long as it does not come back.
    back = next(
        (each.start for each in pulses if each.start > pulse.start and not _off(brief, stay, each.bpm, was)), None
    )
    end = brief.grid.bars[-1].end if back is None else back
    bars = [bar for bar in brief.grid.bars if pulse.start - EPS <= bar.start < end - EPS]
    counted = [bar for bar in bars if not brief.free_time(bar.start)]
    if len(bars) < (_STEADY if back is None else _BACK_WITHIN) or 2 * len(counted) < len(bars):
        return False
    return sum(bar.confidence for bar in bars) / len(bars) >= brief.profile.evidence.weak


def _heard_in(pulses: Sequence[_Pulse], low: float, high: float) -> list[_Pulse]:
    """Return the tempo at the start of a stretch, and those that begin in it."""
    before = [pulse for pulse in pulses if pulse.start <= low + EPS]
    return [*before[-1:], *(pulse for pulse in pulses if low + EPS < pulse.start < high)]


def _window(
    brief: Brief, stays: Sequence[Stay], moves: Sequence[Move], k: int
) -> tuple[bool, float, float, float] | None:
    """Return whether the look of a stay is recalled, since when it is ready in the dark, comes in, and goes."""
    side = stays[k].side
    recalled = [move.start + side.settle_seconds for move in moves if move.stay == k and move.cue.kind == "recall"]
    entry = [move.start for move in moves if move.stay == k and move.cue.rule == "enter"]
    going = [move.start for move in moves if move.stay == k and move.cue.rule in ("leave", "ending")]
    going += [move.start for move in moves if move.stay == k + 1 and move.cue.rule == "enter"]
    if not entry or not going:
        return None
    held = [j for j in range(k) if stays[j].side == side]
    dark = recalled or (_gone(brief, moves, held[-1]) if held else []) or entry
    return bool(recalled), dark[0], entry[0], min(going)


def _gone(brief: Brief, moves: Sequence[Move], k: int) -> list[float]:
    """Return when the side of a stay is dark after it: its own way out, or the end of a change to another side."""
    out = [move.end for move in moves if move.stay == k and move.cue.rule in ("leave", "ending")]
    for move in moves:
        if move.stay == k + 1 and move.cue.rule == "enter" and move.cue.down_seconds is not None:
            out.append(move.start + swapped_after(move.cue.up_seconds or 0.0, move.cue.down_seconds, brief.rig.hands))
    return out


def _moment(brief: Brief, stay: Stay, low: float, high: float, moves: Sequence[Move], *, latest: bool) -> Place | None:
    """Find a downbeat on which the hand is free, for as long as setting takes; none in free time."""
    gap = brief.gap
    own = [(move.start, move.end) for move in moves if move.cue.side == stay.side.name]
    landing = [(move.start, move.end) for move in moves if move.cue.anchor == "lands-on"]
    found = []
    for bar in brief.grid.bars:
        if not low - EPS <= bar.start or bar.confidence < brief.profile.evidence.weak:
            continue
        done = bar.start + _taking(brief, bar.start)
        if done > high - gap + EPS or brief.free_time(bar.start):
            continue
        free = all(
            start <= bar.start - gap + EPS or start >= done + gap - EPS for move in moves for start in move.starts
        )
        if free and not any(start - EPS < bar.start < end + EPS for start, end in (*own, *landing)):
            found.append(bar.number)
    return brief.grid.place(found[-1 if latest else 0]) if found else None


def _taking(brief: Brief, seconds: float) -> float:
    """Return how long a hand is busy with setting the speed."""
    return (_TAPS - 1) * brief.grid.beat_seconds(seconds) if brief.rig.speed.unit == "tap" else 0.0


def _set(brief: Brief, stay: Stay, k: int, place: Place, was: float, bpm: float, dark: bool) -> Move:
    """Write the cue."""
    section = brief.grid.section_of(place.bar)
    bar = brief.grid.bar(place.bar or 0)
    round_ = _round(stay, 60 * (bar.beats if bar else 4) / bpm, brief)
    cue = Cue(
        id=f"speed/{section.id if section else 'song'}/{'dark' if dark else 'ear'}/{place.bar}",
        number=0.0,
        kind="speed",
        trigger="hand",
        anchor="starts-on",
        place=place,
        reasons=(
            f"The band plays {bpm:.0f} beats a minute {'next' if dark else 'here'}, the motion goes with {was:.0f}.",
        ),
        confidence=brief.trust(place),
        look=stay.look.id,
        side=stay.side.name,
        cycle_seconds=round_.seconds,
        cycle_bars=round_.bars,
    )
    return Move(cue, place.seconds, round(place.seconds + _taking(brief, place.seconds), 4), k, SPEED_RANK)


def _round(stay: Stay, bar_seconds: float, brief: Brief) -> Round:
    """Return the round at a tempo: the same bars if that is a fitting time, else others."""
    low, high = brief.profile.looks.cycle_seconds.of(stay.look.category)
    bars = stay.look.cycle_bars or 1.0
    # A strobe's round is a flash, and has a limit of its own.
    if stay.side.source == "strobe" or not low <= bars * bar_seconds <= high:
        bars = cycle(stay.look.category, bar_seconds, brief)
    return Round(bars, round(bars * bar_seconds, 4))


def _tempo(bar: Bar) -> float:
    return 60 * bar.beats / (bar.end - bar.start)
