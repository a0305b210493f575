"""Decisions in the words of a command: which cues, which section, which place; and edits told as sentences."""

from __future__ import annotations

import re
from dataclasses import replace

from cuesuggest.analysis.types import Section
from cuesuggest.decide.statements import described
from cuesuggest.errors import EditError
from cuesuggest.score.grid import Grid, count_word
from cuesuggest.score.records import Cue, CueKind, Place, Series
from cuesuggest.song import AddCue, Edit, RemoveCue, SetCorrections, SetCue, SetPlan, SetSection, SetTitle, Song
from cuesuggest.song.edit_types import CueChanges
from cuesuggest.song.numbers import number_between

__all__ = ["added", "describe", "find_cues", "find_section", "moved", "place_at", "removed", "with_level"]

# What the words of a series say of the bars that it runs over.
_RUNS = re.compile(r"\bto bar \d+|\bnot in bar \d+(?:(?:, | and )\d+)*")
_RANGE = re.compile(r"(\d+(?:\.\d+)?)(?:-(\d+(?:\.\d+)?))?")
_FOLLOWS = ("up_seconds", "down_seconds", "hand")
_SECTION = re.compile(r"(.+?)(\d+)")


def find_cues(song: Song, words: tuple[str, ...]) -> list[Cue]:
    """Find cues by what a list shows: "12", "12.5", a range "12-15", or "all" that are suggested; or by their id.

    Raises
    ------
    EditError
        If a word is no number, or there is no cue of that number.
    """
    found: dict[str, Cue] = {}
    for word in words:
        if word == "all":
            found |= {cue.id: cue for cue in song.cues if cue.status == "suggested"}
            continue
        if any(cue.id == word for cue in song.cues):
            found |= {cue.id: cue for cue in song.cues if cue.id == word}
            continue
        limits = _RANGE.fullmatch(word)
        if limits is None:
            raise EditError(f"{word!r} is no cue. Give numbers as in the list, such as 12, 12.5 or 12-15, or all.")
        low = float(limits[1])
        high = float(limits[2]) if limits[2] else low
        inside = {cue.id: cue for cue in song.cues if low <= cue.number <= high}
        if not inside:
            numbers = [cue.number for cue in song.cues]
            has = f"it has {min(numbers):g} to {max(numbers):g}" if numbers else "it has none"
            raise EditError(f"There is no cue {word} in this song; {has}.")
        found |= inside
    return list(found.values())


def find_section(song: Song, word: str) -> Section:
    """Find a section by letter and pass ("B2"), by its name, or by the letter alone where there is one pass.

    Raises
    ------
    EditError
        If there is none, or more than one.
    """
    sections = song.analysis.sections
    parts = _SECTION.fullmatch(word)
    exact = [each for each in sections if parts and (each.label, each.pass_) == (parts[1], int(parts[2]))]
    called = [each for each in sections if each.name and each.name.casefold() == word.casefold()]
    letter = [each for each in sections if each.label == word]
    found = exact or called or letter
    if len(found) == 1:
        return found[0]
    known = ", ".join(each.mark for each in found or sections)
    if found:
        raise EditError(f"There are {len(found)} sections {word!r}: {known}. Say which.")
    raise EditError(f"There is no section {word!r} in this song; it has {known or 'none'}.")


def place_at(
    song: Song,
    *,
    bar: int | None = None,
    beat: float = 1.0,
    section: str | None = None,
    seconds: float | None = None,
) -> Place:
    """Return the place that somebody means: bar and beat of the song or of a section, or a time.

    Parameters
    ----------
    song : Song
    bar : int, optional
        Of the song; of the section, if one is named (1 if left out then).
    beat : float
        1 is the downbeat.
    section : str, optional
        As `find_section` takes it.
    seconds : float, optional
        From the start of the recording; the place is the nearest beat, or the time itself where there are no bars.

    Raises
    ------
    EditError
        If there is no such place.
    """
    grid = Grid(song.analysis)
    if seconds is not None:
        if not 0 <= seconds <= song.recording.duration:
            raise EditError(f"{seconds:g} s is not inside the recording, which lasts {song.recording.duration:g} s.")
        exact = grid.locate(seconds)
        if exact.bar is None or exact.beat is None:
            return exact
        nearest = grid.place(exact.bar, float(round(exact.beat)))
        last = grid.bar(exact.bar)
        return grid.after(exact.bar) if last is not None and round(exact.beat) > last.beats else nearest
    number = 1 if bar is None else bar
    if section is not None:
        found = find_section(song, section)
        number += found.first_bar - 1
        if not found.first_bar <= number <= found.last_bar:
            raise EditError(f"{found.mark} has bars 1 to {found.bars}, there is no bar {bar} in it.")
    elif bar is None:
        raise EditError("No place was given. Give a bar, a section with a bar, or a time.")
    there = grid.bar(number)
    if there is None:
        has = f"the song has bars {grid.bars[0].number} to {grid.bars[-1].number}" if grid.bars else "there are no bars"
        raise EditError(f"There is no bar {number}; {has}.")
    if not 1 <= beat < there.beats + 1:
        raise EditError(f"Bar {number} has the beats 1 to {there.beats}, there is no beat {beat:g} in it.")
    return grid.place(number, beat)


def moved(song: Song, cue: Cue, place: Place) -> SetCue:
    """Return the edit that moves a cue; lengths in beats stay, and are counted anew in seconds there.

    A series moves with its first press, by as many bars.

    Raises
    ------
    EditError
        If its series would run out of the song, or has no bar to begin in.
    """
    changes: CueChanges = {"place": place}
    if place.beat != cue.place.beat:
        changes["hand"] = re.sub(
            rf"\b(from|on|before) {re.escape(count_word(cue.place.beat))}\b", rf"\1 {count_word(place.beat)}", cue.hand
        )
    grid = Grid(song.analysis)
    if cue.series is not None and place.bar != cue.place.bar:
        series = _moved_series(grid, cue, place)
        shift = series.first_bar - cue.series.first_bar
        changes["series"] = series
        changes["hand"] = _RUNS.sub(lambda bars: _shifted(bars[0], shift), changes.get("hand", cue.hand))
    if grid.bars:
        back = -1.0 if cue.anchor == "lands-on" else 1.0
        if cue.up_beats:
            changes["up_seconds"] = grid.span(place, back * cue.up_beats)
        if cue.down_beats:
            changes["down_seconds"] = grid.span(place, back * cue.down_beats)
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
        look = _find_look(song, look)
    ids = {cue.id for cue in song.cues} | {each.cue.id for each in song.unplaced}
    ordinal = next(number for number in range(1, 10**6) if f"own/{kind}/{number}" not in ids)
    before = [cue.number for cue in song.cues if cue.place.seconds <= place.seconds]
    low = max(before, default=0.0)
    above = min((cue.number for cue in song.cues if cue.number > low), default=None)
    seconds = None if beats is None else Grid(song.analysis).span(place, beats) if song.analysis.bars else None
    out = kind in ("fade-out", "cut-out")
    return AddCue(
        Cue(
            id=f"own/{kind}/{ordinal}",
            number=number_between(low, above, 1)[0],
            kind=kind,
            trigger="hand",
            anchor="starts-on",
            place=place,
            hand=hand,
            reasons=("added by you",),
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


def _find_look(song: Song, word: str) -> str:
    for look in song.looks:
        if word == look.id or word.casefold() == look.name.casefold():
            return look.id
    known = ", ".join(look.name for look in song.looks)
    raise EditError(f"There is no look {word!r} in this song; it has {known or 'none'}.")


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


def describe(song: Song, edit: Edit) -> str:
    """Say in a sentence what an edit does; cues that are gone are called by their id."""
    match edit:
        case SetCue():
            # Seconds and the words for the hand follow from the rest, and are no news beside it.
            told = {name: value for name, value in edit.changes.items() if name not in _FOLLOWS} or edit.changes
            said = ", ".join(_said(song, name, value) for name, value in told.items())
            return f"{_cue_name(song, edit.cue)}: {said}"
        case AddCue():
            return f"cue {edit.cue.number:g} added: {edit.cue.kind} at {edit.cue.place}"
        case RemoveCue():
            return f"{_cue_name(song, edit.cue)} removed"
        case SetSection():
            found = next((each for each in song.analysis.sections if each.id == edit.section), None)
            name = found.mark if found else f"section {edit.section}"
            return f"{name}: " + ", ".join(_said(song, key, value) for key, value in edit.changes.items())
        case SetPlan():
            found = next((each for each in song.analysis.sections if each.id == edit.section), None)
            name = found.mark if found else f"section {edit.section}"
            return f"{name}: {edit.decided or 'light as the plan has it'}"
        case SetTitle():
            return f"the song is called {edit.title!r}"
        case SetCorrections():
            return "stated: " + ("; ".join(described(edit.corrections)) or "nothing")


def _cue_name(song: Song, id_: str) -> str:
    found = next((cue for cue in song.cues if cue.id == id_), None)
    return f"cue {found.number:g}" if found else f"cue {id_}"


def _said(song: Song, name: str, value: object) -> str:
    if name == "status":
        return str(value)
    if name == "lock":
        return "locked" if value else "unlocked"
    if name == "place":
        return f"moved to {value}"
    if name == "vamp" and value:
        return f"round until {value}"
    if name == "look":
        named = next((look.name for look in song.looks if look.id == value), None)
        return f"look {named or value}"
    words = name.replace("_", " ")
    if value in (None, ""):
        return f"no {words}"
    return f"{words} {value:g}" if isinstance(value, float) else f"{words} {value}"


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
