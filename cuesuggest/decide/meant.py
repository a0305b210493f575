"""What is meant by the words of a command: which cues, which section, which look, which place."""

from __future__ import annotations

import re

from cuesuggest.analysis.types import Section
from cuesuggest.errors import EditError
from cuesuggest.score.grid import Grid
from cuesuggest.score.records import Cue, Place
from cuesuggest.song import Song

__all__ = ["find_cues", "find_look", "find_section", "place_at", "stepped"]

_RANGE = re.compile(r"(\d{1,9}(?:\.\d{1,9})?)(?:-(\d{1,9}(?:\.\d{1,9})?))?")
_SECTION = re.compile(r"(.+?)(\d{1,9})")


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


def stepped(song: Song, place: Place, beats: int, bars: int) -> Place:
    """Return the place so many bars and beats later, on the same part of a beat.

    Raises
    ------
    EditError
        If the place hangs on no bar, or the song has no bar there.
    """
    numbers = [bar.number for bar in song.analysis.bars]
    if place.bar is None or place.beat is None or place.bar not in numbers:
        raise EditError("There are no bars to step by at this place. Move it to a bar, or to a time.")
    index, beat = numbers.index(place.bar) + bars, place.beat + beats
    inside = range(len(numbers))
    while index in inside and beat < 1:
        index -= 1
        beat += song.analysis.bars[index].beats if index in inside else 0
    while index in inside and beat >= song.analysis.bars[index].beats + 1:
        beat -= song.analysis.bars[index].beats
        index += 1
    if index not in inside:
        raise EditError("The song has no bar there.")
    return place_at(song, bar=numbers[index], beat=min(beat, song.analysis.bars[index].beats + 0.999))


def find_look(song: Song, word: str) -> str:
    """Find the id of a look by its name or id.

    Raises
    ------
    EditError
        If the song has no such look.
    """
    for look in song.looks:
        if word == look.id or word.casefold() == look.name.casefold():
            return look.id
    known = ", ".join(look.name for look in song.looks)
    raise EditError(f"There is no look {word!r} in this song; it has {known or 'none'}.")
