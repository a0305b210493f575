"""What is done to single cues, as edits: moved, brighter, added, copied to other passes, removed."""

from __future__ import annotations

import re
from dataclasses import replace

from cuesuggest.analysis.types import Section
from cuesuggest.decide.boundaries import family
from cuesuggest.decide.meant import find_look, place_at
from cuesuggest.errors import EditError
from cuesuggest.score.grid import Grid
from cuesuggest.score.light import beats_seconds
from cuesuggest.score.records import EXITS, Cue, CueKind, Place, Series
from cuesuggest.song import AddCue, RemoveCue, SetCue, Song
from cuesuggest.song.edit_types import CueChanges
from cuesuggest.song.numbers import number_between

__all__ = ["added", "copied", "moved", "removed", "with_level"]

# What the words of a series say of the bars that it runs over.
_RUNS = re.compile(r"\bto bar \d+|\bnot in bar \d+(?:(?:, | and )\d+)*")
_SAME_PLACE = 0.2  # s; a cue of the same kind so near is the same one


def moved(song: Song, cue: Cue, place: Place) -> SetCue:
    """Return the edit that moves a cue; lengths in beats stay, and are counted anew in seconds there.

    A series moves with its first press, by as many bars.

    Raises
    ------
    EditError
        If its series would run out of the song, or has no bar to begin in.
    """
    changes: CueChanges = {"place": place}
    grid = Grid(song.analysis)
    if place.beat != cue.place.beat:
        was, now = grid.count(cue.place), grid.count(place)
        hand = re.sub(rf"\b(from|before) {re.escape(was)}\b", rf"\1 {now}", cue.hand)
        changes["hand"] = re.sub(rf"\b{re.escape(grid.on_count(cue.place))}\b", grid.on_count(place), hand)
    if cue.series is not None and place.bar != cue.place.bar:
        series = _moved_series(grid, cue, place)
        shift = series.first_bar - cue.series.first_bar
        changes["series"] = series
        changes["hand"] = _RUNS.sub(lambda bars: _shifted(bars[0], shift), changes.get("hand", cue.hand))
    if grid.bars:
        if cue.up_beats:
            changes["up_seconds"] = beats_seconds(grid, place, cue.anchor, cue.up_beats)
        if cue.down_beats:
            changes["down_seconds"] = beats_seconds(grid, place, cue.anchor, cue.down_beats)
    return SetCue(cue.id, changes)


def _moved_series(grid: Grid, cue: Cue, place: Place) -> Series:
    """Return the series of a cue as many bars later as its first press."""
    series = cue.series
    if series is None or place.bar is None or cue.place.bar is None:
        raise EditError(f"Cue {cue.number:g} comes again every few bars. Move it to a bar.")
    shift = place.bar - cue.place.bar
    bars = [bar.number for bar in grid.bars]
    if not {series.first_bar + shift, series.last_bar + shift} <= set(bars):
        raise EditError(
            f"Cue {cue.number:g} comes again to bar {series.last_bar}: moved by {shift:+d} bars it would run out of "
            f"the song, which has bars {bars[0]} to {bars[-1]}. Move it less far."
        )
    skip = tuple(number + shift for number in series.skip)
    return replace(series, first_bar=series.first_bar + shift, last_bar=series.last_bar + shift, skip=skip)


def _shifted(words: str, bars: int) -> str:
    return re.sub(r"\d+", lambda number: str(int(number[0]) + bars), words)


def added(
    song: Song,
    kind: CueKind,
    place: Place,
    *,
    hand: str,
    look: str | None = None,
    side: str | None = None,
    level: int | None = None,
    beats: float | None = None,
    who: str = "operator",
) -> AddCue:
    """Return the edit that adds a cue of the designer's own, with a number between its neighbours.

    `beats` is the length of the fade; what goes out counts it down, everything else up.
    """
    if look is not None:
        look = find_look(song, look)
    ids = {cue.id for cue in song.cues} | {each.cue.id for each in song.unplaced}
    ordinal = next(number for number in range(1, 10**6) if f"own/{kind}/{number}" not in ids)
    before = [cue.number for cue in song.cues if cue.place.seconds <= place.seconds]
    low = max(before, default=0.0)
    above = min((cue.number for cue in song.cues if cue.number > low), default=None)
    seconds = None if beats is None else Grid(song.analysis).span(place, beats) if song.analysis.bars else None
    out = kind in EXITS
    return AddCue(
        Cue(
            id=f"own/{kind}/{ordinal}",
            number=number_between(low, above, 1)[0],
            kind=kind,
            trigger="hand",
            anchor="starts-on",
            place=place,
            hand=hand,
            reasons=("You added it.",),
            confidence=1.0,
            look=look,
            side=side,
            level=level,
            up_beats=None if out else beats,
            up_seconds=None if out else seconds,
            down_beats=beats if out else None,
            down_seconds=seconds if out else None,
            who=who,
            status="added",
        )
    )


def copied(song: Song, cue: Cue) -> tuple[tuple[AddCue, Section], ...]:
    """Return the edits that put a cue at the same place of every other pass of its section.

    Parameters
    ----------
    song : Song
    cue : Cue

    Returns
    -------
    tuple of (AddCue, Section)
        With the section that each is for; those that have such a cue, or no such bar, are left out.

    Raises
    ------
    EditError
        If the cue is in no section, or there is no pass without such a cue.
    """
    inside = cue.place.bar_in_section
    own = Grid(song.analysis).section_of(cue.place.bar)
    if own is None or inside is None or cue.place.beat is None:
        raise EditError("This cue is in no section, so there is no other pass to copy it to.")
    found: list[tuple[AddCue, Section]] = []
    trial = song
    for section in family(song, own):
        if section.id == own.id or inside > section.bars:
            continue
        place = place_at(song, bar=section.first_bar + inside - 1, beat=cue.place.beat)
        if any(each.kind == cue.kind and abs(each.place.seconds - place.seconds) < _SAME_PLACE for each in song.cues):
            continue
        edit = _copy(trial, cue, place, own)
        found.append((edit, section))
        trial = trial.replaced(cues=(*trial.cues, edit.cue))
    if not found:
        raise EditError(f"Every other pass of {own.label} has such a cue, or there is no other pass.")
    return tuple(found)


def _copy(song: Song, cue: Cue, place: Place, own: Section) -> AddCue:
    length = cue.down_beats if cue.kind in EXITS else cue.up_beats
    new = added(
        song, cue.kind, place, hand=cue.hand, look=cue.look, side=cue.side, level=cue.level, beats=length, who=cue.who
    )
    own_words = replace(
        new.cue,
        trigger=cue.trigger,
        anchor=cue.anchor,
        note=cue.note,
        cautions=cue.cautions,
        reasons=(f"It is as cue {cue.number:g} in {own.mark}.",),
    )
    return replace(new, cue=own_words)


def removed(cue: Cue) -> RemoveCue:
    """Return the edit that takes out a cue that the designer added.

    Raises
    ------
    EditError
        If the cue was suggested: it would come back with the next draft, and is rejected instead. If it is locked.
    """
    if cue.lock:
        raise EditError(f"Cue {cue.number:g} is locked. Unlock it first, then remove it.")
    if cue.status != "added":
        raise EditError(f"Cue {cue.number:g} was suggested and would come back with the next draft. Reject it instead.")
    return RemoveCue(cue.id)


def with_level(cue: Cue, level: int) -> SetCue:
    """Return the edit that sets a level, in the words for the hand too.

    Raises
    ------
    EditError
        If the cue sets none.
    """
    if cue.level is None:
        raise EditError(f"Cue {cue.number:g} is a {cue.kind} and sets no level.")
    return SetCue(cue.id, {"level": level, "hand": re.sub(rf"\b{cue.level} %", f"{level} %", cue.hand)})
