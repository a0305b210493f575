"""Taking looks out: early before a quiet part, on a stop, for a change, at the end."""

from __future__ import annotations

import math
from collections.abc import Sequence

from cuesuggest.analysis.types import Event, EventKind
from cuesuggest.rules.brief import Brief, Clash, Move, Stay
from cuesuggest.rules.stays import EPS, cut_off, joined, last_hit, stop_ahead
from cuesuggest.score.records import Cue, Place

__all__ = ["leave"]

# A slowing down this near to the end is the ending's.
_SLOWING_BARS = 4

# Seconds that a look has to be up for before it leaves early.
_SEEN, _SEEN_INTENSE, _SHORT_INTENSE = 4.0, 6.0, 10.0

# What nothing is lit over.
_NO_LIGHT: tuple[EventKind, ...] = ("talk", "false-start", "count-in")


def leave(brief: Brief, stays: Sequence[Stay], k: int, arrived: float, stop: Event | None) -> Move | Clash:
    """Take a look out before rest, a change on the same side, a pause or the end."""
    stay, grid = stays[k], brief.grid
    section = brief.sections[stay.last]
    last = section.last_bar
    if stop is not None:
        return _leave_on_stop(brief, stay, k, stop)
    if joined(brief, stays, k + 1):
        return _leave_for_change(brief, stays, k, arrived)
    if stay.last + 1 == len(brief.parts) or brief.parts[stay.last + 1].after_gap:
        return _ending(brief, stay, k, arrived)
    over = brief.grid.bars_of(section)[-1].end
    rings = any(abs(each.start - over) <= grid.bar_seconds(over - 0.01) for each in brief.events("ring-out"))
    if k + 1 == len(stays) and rings:
        # Nothing comes after it but the last chord.
        return _ending(brief, stay, k, arrived)
    name = brief.name(stay.last)
    # Nobody knows which round of a vamp is its last.
    most = 0 if section.vamp else int(brief.profile.fades.early_out_bars.of(stay.look.category))
    long = brief.bars_of_section(stay.first, stay.last, of=stay.last)
    bars = min(most, max(long // 4, 1)) if long > 1 else 0
    whole = grid.bars_of(section)
    if sum(bar.drive for bar in whole[-bars:]) / max(bars, 1) >= brief.parts[stay.last].drive:
        bars = min(bars, 1)  # as full as ever: there is nothing to leave early for
    if stay.look.category == "intense" and whole[-1].end - arrived < _SHORT_INTENSE:
        bars = 0
    while bars and grid.place(last - bars + 1).seconds < arrived - EPS:
        bars -= 1
    if bars:
        place = grid.place(last - bars + 1)
        beats = float(grid.beats_in_bars(place.bar or 0, bars))
        quiet = brief.parts[stay.last + 1].drive < brief.parts[stay.last].drive
        what = "the quiet after it" if quiet else brief.name(stay.last + 1)
        reason = f"It leaves early, over the last {'bars' if bars > 1 else 'bar'} of {section.mark},"
        reason += f" so that {what} starts dark."
    else:
        place, beats = grid.after(last), brief.profile.fades.after_hit_beats
        reason = f"There is no time in {name} to leave early, so the light goes as it ends."
        if section.vamp:
            reason = f"{section.mark} ends when it ends, so the light goes with it and not before."
    limit = grid.after(last).seconds
    hit = last_hit(brief, place.seconds, limit + grid.beat_seconds(limit))
    if hit is not None:
        place, beats = grid.locate(hit.start, "late"), brief.profile.fades.after_hit_beats
        reason = "It holds for the last hit, then goes: never dark before it."
    silence = stop_ahead(brief, max(arrived, place.seconds - grid.beat_seconds(place.seconds)))
    if silence is not None and cut_off(brief, silence) < place.seconds + grid.span(place, beats) - EPS:
        return _leave_on_stop(brief, stay, k, silence)
    return _fade_out(brief, stay, k, place, beats, reason)


def _fade_out(brief: Brief, stay: Stay, k: int, place: Place, beats: float, reason: str) -> Move:
    seconds = brief.grid.span(place, beats)
    part = brief.parts[stay.last]
    cue = Cue(
        id=f"leave/{part.section.id}/out/{part.ordinal}",
        number=0.0,
        kind="fade-out",
        trigger="hand",
        anchor="starts-on",
        place=place,
        reasons=(reason,),
        confidence=brief.trust(place),
        look=stay.look.id,
        side=stay.side.name,
        level=0,
        down_beats=beats,
        down_seconds=seconds,
    )
    return Move(cue, place.seconds, round(place.seconds + seconds, 4), stay=k)


def _leave_on_stop(brief: Brief, stay: Stay, k: int, stop: Event) -> Move:
    part = brief.parts[stay.last]
    place = brief.grid.locate(cut_off(brief, stop), "late")
    cue = Cue(
        id=f"leave/{part.section.id}/stop/{part.ordinal}",
        number=0.0,
        kind="cut-out",
        trigger="hand",
        anchor="starts-on",
        place=place,
        reasons=(f"The stop at the end of {part.section.mark} takes the light with it.",),
        confidence=brief.trust(place, stop),
        look=stay.look.id,
        side=stay.side.name,
        level=0,
        down_beats=0.0,
        down_seconds=0.0,
    )
    return Move(cue, place.seconds, place.seconds, stay=k)


def _leave_for_change(brief: Brief, stays: Sequence[Stay], k: int, arrived: float) -> Move | Clash:
    """Fade out, leave time to change in the dark: the way of a rig with one side."""
    stay, grid = stays[k], brief.grid
    section = brief.sections[stay.last]
    end = grid.bars_of(section)[-1].end
    need = max(stay.side.settle_seconds + brief.rig.reaction_seconds, brief.gap)
    free = math.ceil(need / grid.bar_seconds(end - 0.01) - 1e-6)
    first = section.last_bar - free
    if first < section.first_bar or grid.place(first).seconds < arrived - EPS:
        return Clash(k + 1, "there is no free side and no time to change in the dark")
    place = grid.place(first)
    hit = last_hit(brief, place.seconds, end + grid.beat_seconds(end - 0.01))
    if hit is not None:
        return Clash(k + 1, "the band's last hits would be in the dark")
    seen = _SEEN_INTENSE if stay.look.category == "intense" else _SEEN
    if place.seconds - arrived < seen:
        return Clash(k + 1, "it would be gone before anybody has seen it")
    # A beat less than the bar, so that the side is surely dark when the look is changed on the next 1.
    beats = float(max(grid.beats_in_bars(first, 1) - 1, 1))
    after = brief.name(stays[k + 1].first)
    reason = f"It goes out early, so that the look for {after} can be changed in the dark on the only side."
    return _fade_out(brief, stay, k, place, beats, reason)


def _ending(brief: Brief, stay: Stay, k: int, arrived: float) -> Move:
    """Hold to the cut-off and let the light go with the sound: an ending is watched, not counted."""
    grid, profile = brief.grid, brief.profile
    section = brief.sections[stay.last]
    bars = grid.bars_of(section)
    end, bar = bars[-1].end, bars[-1].end - bars[-1].start
    # Where the band breaks off inside the bar, the bar line comes too late.
    breaks = [each.start for each in brief.events("pause", *_NO_LIGHT) if end - 2 * bar <= each.start < end]
    end = min([end, *(start for start in breaks if start > arrived)])
    last_song, over = stay.last + 1 == len(brief.parts), brief.analysis.music_end
    if last_song and over is not None:
        end = min(end, max(over, arrived))
    ring = next((each for each in brief.events("ring-out") if end - 2 * bar <= each.start <= end + 2 * bar), None)
    tail = bars[-2:]
    hit = last_hit(brief, tail[0].start, end + bar)
    thin = sum(each.drive for each in tail) / len(tail) < (
        sum(each.drive for each in bars) / len(bars) - profile.drive.contrast_from
    )
    slowing = any(
        each.start < end + bar and each.end > end - _SLOWING_BARS * bar for each in brief.events("ritardando")
    )
    # At the end of the song a thin bar is a held chord, and that is faded by eye.
    early = thin and not (last_song or slowing or ring or hit)
    if early and len(bars) >= 4 and tail[0].start >= arrived - EPS:
        place = grid.place(tail[0].number)
        beats = float(grid.beats_in_bars(tail[0].number, 2))
        reason = f"{section.mark} thins out, so the light leaves with it over the last two bars."
        return _fade_out(brief, stay, k, place, beats, reason)
    at = max([ring.start if ring else end, arrived, *([hit.start] if hit else [])])
    place = grid.after(bars[-1].number) if at == bars[-1].end else grid.locate(at, "late")
    length = ring.end - place.seconds if ring else 0.0
    what = "the last note" if last_song else "the music"
    if length > 0.2:
        seconds, beats_or_none = round(length, 2), None
        how = f"{seconds:.1f} s were measured on the recording"
        reason = f"It is watched, not counted: hold to the cut-off, then fade with the ring-out ({how}; go by ear)."
    else:
        # Where the band slows down there are no beats to count a fade in.
        beats_or_none = None if slowing else profile.fades.ending_beats
        seconds = grid.span(place, profile.fades.ending_beats)
        reason = f"It is watched, not counted: hold to the cut-off of {what}, then fade."
    spoken = min((each.start for each in brief.events(*_NO_LIGHT) if each.start >= place.seconds - EPS), default=None)
    if spoken is not None and place.seconds + seconds > spoken:
        seconds, beats_or_none = round(max(spoken - place.seconds, 0.0), 2), None
        reason += " It is out before anybody speaks or counts."
    if slowing:
        reason += " The band slows down here, so nothing is counted."
    cue = Cue(
        id=f"ending/{section.id}/out/{brief.parts[stay.last].ordinal}",
        number=0.0,
        kind="fade-out",
        trigger="hand",
        anchor="starts-on",
        place=place,
        reasons=(reason, *(("It is never dark before the last hit.",) if hit else ())),
        confidence=brief.trust(place, ring),
        look=stay.look.id,
        side=stay.side.name,
        level=0,
        down_beats=beats_or_none,
        down_seconds=seconds,
    )
    return Move(cue, place.seconds, round(place.seconds + seconds, 4), stay=k)
