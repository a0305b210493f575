"""What is decided with one key: everything accepted, a one-shot here, a dark on this stop, a fade longer or shorter.

Nothing here asks for words: look, side and level are those that the song has at the place.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any, cast

from cuesuggest.analysis.types import Event, Section
from cuesuggest.decide.boundaries import family
from cuesuggest.decide.change import Change
from cuesuggest.decide.cue_edits import added, counted_anew
from cuesuggest.decide.meant import place_at
from cuesuggest.decide.telling import cue_words
from cuesuggest.errors import EditError
from cuesuggest.score.bounds import MOST_FADE_BEATS
from cuesuggest.score.grid import Grid
from cuesuggest.score.light import SideState, fade_seconds, follow, is_held
from cuesuggest.score.records import ENTRANCES, EXITS, Cue, CueKind, Place, colours_alone, counted
from cuesuggest.song import Edit, SetCue, SetLook, SetSection, Song
from cuesuggest.song.compared import in_places
from cuesuggest.song.edit_types import CueChanges, SectionChanges
from cuesuggest.song.hand_words import length_words
from cuesuggest.song.open_questions import open_questions
from cuesuggest.song.rig_facts import action_gap, hands_of, kill_button, waits_on_rig

__all__ = [
    "all_accepted",
    "coloured",
    "dark_held",
    "lengthened",
    "one_shot_at",
    "section_accepted",
    "section_named",
    "with_length",
]

_SAME_PLACE = 0.2  # s; a cue of the same kind so near is the same one
_NEAR_STOP = 1.5  # bars; a stop further away than this is another one
_SHORTEST = 0.5  # beats; what is shorter is a cut
_ONE_SHOT = "one-shot"  # the look that a kit has for it


def all_accepted(song: Song) -> Change:
    """Return the change that accepts every suggestion of the draft."""
    cues = [cue for cue in song.cues if cue.status == "suggested"]
    edits = tuple(SetCue(cue.id, {"status": "accepted"}) for cue in cues)
    if not cues:
        return Change((), "The whole draft is accepted")
    trial = song.replaced(cues=tuple(replace(cue, status="accepted") if cue in cues else cue for cue in song.cues))
    answered = len(open_questions(song)) - len(open_questions(trial))
    with_it = f"; {counted(answered, 'question')} about cues answered with it" if answered else ""
    return Change(edits, f"the whole draft accepted: {in_places(cues, Grid(song.analysis))}{with_it}")


def coloured(song: Song, look: str, count: int, relation: str | None = None) -> SetLook:
    """Return the edit that gives a look, by id, so many colours; in words where it is said how they go together."""
    there = next((each for each in song.looks if each.id == look), None)
    told = there.colour_relation if there and there.colours == count else colours_alone(count)
    return SetLook(look, {"colours": count, "colour_relation": relation or told})


def section_accepted(song: Song, section: Section) -> Change:
    """Return the change that accepts every suggestion in a section."""
    mark = (section.label, section.pass_)
    cues = [cue for cue in song.cues if cue.status == "suggested" and (cue.place.section, cue.place.pass_) == mark]
    edits = tuple(SetCue(cue.id, {"status": "accepted"}) for cue in cues)
    return Change(edits, f"{section.mark}: {counted(len(cues), 'cue')} accepted")


def section_named(song: Song, section: Section, name: str, *, repeats: bool) -> Change:
    """Return the change that names a section; every pass of it, if `repeats`."""
    sections = family(song, section) if repeats else (section,)
    edits = tuple(SetSection(each.id, SectionChanges(name=name)) for each in sections if each.name != name)
    return Change(edits, f"{', '.join(each.mark for each in sections)}: {name or 'no name'}")


def one_shot_at(song: Song, place: Place) -> Change:
    """Return the change that adds a one-shot, like the nearest that the song has; one that was left out comes back.

    Raises
    ------
    EditError
        If there is one already.
    """
    there = [cue for cue in song.cues if cue.kind == "one-shot"]
    same = next((cue for cue in there if abs(cue.place.seconds - place.seconds) < _SAME_PLACE), None)
    if same is not None:
        return _again(same, (same,), f"the one-shot at {same.place}")
    near = min(there, key=lambda cue: abs(cue.place.seconds - place.seconds), default=None)
    look = near.look if near else next((look.id for look in song.looks if look.id == _ONE_SHOT), None)
    level = near.level if near else None
    edit = added(song, "one-shot", place, look=look, side=near.side if near else None, level=level)
    return Change((edit,), f"cue {edit.cue.number:g} added: one-shot at {edit.cue.place}")


def _again(first: Cue, cues: Sequence[Cue], what: str) -> Change:
    """Accept what is there already."""
    edits = tuple(SetCue(cue.id, {"status": "accepted"}) for cue in cues if cue.status in ("suggested", "rejected"))
    if not edits:
        raise EditError(f"There is {what} already: cue {first.number:g}.")
    return Change(edits, f"{what}: accepted")


def dark_held(song: Song, seconds: float) -> Change:
    """Return the change that makes it dark on the stop at a time, until the band is back.

    A short stop is one button held, if the rig has one; a longer one is a cut out and a cut back to the same level.
    Where no stop was heard the button is held from the nearest beat to the next.

    Raises
    ------
    EditError
        If nothing is lit there, or it goes dark there already.
    """
    stop = _stop_near(song, seconds)
    grid = Grid(song.analysis)
    off = place_at(song, seconds=seconds) if stop is None else grid.locate(_last_hit(song, stop), "late")
    there = [cue for cue in song.cues if cue.kind == "cut-out" and abs(cue.place.seconds - off.seconds) < _SAME_PLACE]
    if there:
        return _again(there[0], (*there, *_returns(song, there[0], stop)), f"the dark at {there[0].place}")
    lit = _lit(song, grid, off.seconds)
    if not lit:
        raise EditError(f"Nothing is lit at {off}, so there is nothing to make dark.")
    held = stop is None or stop.end - off.seconds < action_gap(song)
    if held and kill_button(song):
        (side, state), *_ = lit
        edit = added(song, "cut-out", off, look=state.look, side=side or None, level=0)
        cue = replace(edit.cue, trigger="held", down_beats=0.0, down_seconds=0.0)
        dark = replace(edit, cue=replace(cue, operator_confirms=waits_on_rig(song, cue)))
        until = "until the band is back" if stop else "for a beat, as no stop was heard here"
        return Change((dark,), f"cue {dark.cue.number:g} added: dark held at {off}, {until}")
    if stop is None:
        raise EditError("No stop was heard here, and the rig has no button to hold. Add a cut out and a cut in.")
    return _out_and_back(song, lit, off, _nearest_beat(song, grid, stop.end))


def _out_and_back(song: Song, lit: Sequence[tuple[str, SideState]], off: Place, on: Place) -> Change:
    edits: list[Edit] = []
    trial = song
    for side, state in lit:
        acts: tuple[tuple[CueKind, Place, int | None], ...] = (("cut-out", off, 0), ("cut-in", on, state.level))
        for kind, place, level in acts:
            edit = added(trial, kind, place, look=state.look, side=side or None, level=level, beats=0.0)
            edits.append(edit)
            trial = trial.replaced(cues=(*trial.cues, edit.cue))
    return Change(tuple(edits), f"dark from {off} to {on}, and back as it was")


def _nearest_beat(song: Song, grid: Grid, seconds: float) -> Place:
    near = place_at(song, seconds=min(seconds, song.recording.duration))
    return near if abs(near.seconds - seconds) < _SAME_PLACE else grid.locate(seconds, "early")


def _stop_near(song: Song, seconds: float) -> Event | None:
    """Return the stop that is meant at a time: the one that sounds, or the nearest, if that is near."""
    stops = [event for event in song.analysis.events if event.kind == "stop" and event.end > event.start]

    def away(stop: Event) -> float:
        return max(stop.start - seconds, seconds - stop.end, 0.0)

    near = min(stops, key=away, default=None)
    if near is None or not song.analysis.bars:
        return near
    return near if away(near) <= _NEAR_STOP * Grid(song.analysis).bar_seconds(seconds) else None


def _last_hit(song: Song, stop: Event) -> float:
    """Return when the light may go: never before the last hit."""
    hits = [event.start for event in song.analysis.events if event.kind == "hit"]
    return max([stop.start, *(hit for hit in hits if stop.start - 0.05 <= hit < stop.end)])


def _returns(song: Song, out: Cue, stop: Event | None) -> list[Cue]:
    """Return the cues that bring back what a cut took out."""
    if stop is None or is_held(out):
        return []
    return [
        cue
        for cue in song.cues
        if cue.kind in ENTRANCES and cue.side == out.side and abs(cue.place.seconds - stop.end) < 2 * _SAME_PLACE
    ]


def _lit(song: Song, grid: Grid, seconds: float) -> list[tuple[str, SideState]]:
    """Return the sides that are lit at a time, and what they hold."""
    cues = [cue for cue in song.cues if cue.status != "rejected" and cue.who == "operator"]
    state: dict[str, SideState] = {}
    for step in follow(cues, grid=grid, looks=song.looks, hands=hands_of(song)):
        if step.at < seconds - _SAME_PLACE:
            state = dict(step.after)
    return sorted((side, each) for side, each in state.items() if each.lit)


def lengthened(song: Song, cue: Cue, *, beats: float = 0.0, times: float = 1.0) -> SetCue:
    """Return the edit that makes a fade so many beats longer (shorter if negative), or so many times as long.

    The way out that a cue takes others by is so many times as long, too; single beats leave it as it is.

    Raises
    ------
    EditError
        As `with_length` does.
    """
    now = _length(song, cue)
    if now * times + beats < _SHORTEST:
        takes = length_words(now, None)
        raise EditError(f"{_named(song, cue)} takes {takes}. Half a beat is the shortest; what is shorter is a cut.")
    other = cue.down_beats if not _goes_out(cue) and cue.down_beats else None
    down = None if other is None or times == 1.0 else min(max(other * times, _SHORTEST), MOST_FADE_BEATS)
    return with_length(song, cue, now * times + beats, down)


def with_length(song: Song, cue: Cue, beats: float, others_out: float | None = None) -> SetCue:
    """Return the edit that makes a fade take so many beats, and the way out of the others so many.

    Raises
    ------
    EditError
        If the cue is no fade, or that is no length of one.
    """
    _length(song, cue)
    if not _SHORTEST <= beats <= MOST_FADE_BEATS:
        raise EditError(f"A fade takes {_SHORTEST:g} to {MOST_FADE_BEATS:g} beats; {beats:g} is no such length.")
    changes = CueChanges(down_beats=beats) if _goes_out(cue) else CueChanges(up_beats=beats)
    if others_out is not None:
        changes["down_beats"] = others_out
    changes |= counted_anew(song, replace(cue, **cast("dict[str, Any]", changes)))
    return SetCue(cue.id, changes)


def _goes_out(cue: Cue) -> bool:
    return cue.kind in EXITS or (cue.kind == "ramp" and not cue.up_beats and bool(cue.down_beats))


def _length(song: Song, cue: Cue) -> float:
    """Return how many beats a fade takes now."""
    if cue.kind not in ("fade-in", "fade-out", "crossfade", "ramp"):
        raise EditError(f"{_named(song, cue)} is a {cue.kind}, which has no length.")
    beats = cue.down_beats if _goes_out(cue) else cue.up_beats
    if beats:
        return beats
    grid = Grid(song.analysis)
    if not grid.bars:
        raise EditError("There are no bars, so a fade has no length in beats.")
    up, down = fade_seconds(cue, grid)
    return round(2 * (down if _goes_out(cue) else up) / grid.beat_seconds(cue.place.seconds)) / 2 or _SHORTEST


def _named(song: Song, cue: Cue) -> str:
    words = cue_words(song, cue)
    return words[:1].upper() + words[1:]
