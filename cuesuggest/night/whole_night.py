"""One command for a whole night: every song changed and saved, or none; taken back in one step."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import partial
from pathlib import Path

from cuesuggest.draft.states import KeptStates, kept_folder
from cuesuggest.draft.undo import taken_back
from cuesuggest.errors import CuesuggestError
from cuesuggest.export.common.escape import one_line, shortened
from cuesuggest.gate_out import check_targets, write_all
from cuesuggest.night.as_played import numbered_in_night
from cuesuggest.night.kept_changes import KeptChange, changes_file, changes_text, kept_changes
from cuesuggest.night.sound_check import Checked, Wanted, checked
from cuesuggest.night.the_set import OpenNight
from cuesuggest.rules.settings.settings_file import load_set_list
from cuesuggest.score.night_records import SOUND_CHECK, NightPlan
from cuesuggest.song import Song, check_savable, path_from, path_to
from cuesuggest.song.edits import last_action

__all__ = ["ToldOfSong", "change_night", "undo_night", "what_would_change"]

_NAME = 40  # letters of a title that is told in a line with others


@dataclass(frozen=True, slots=True)
class ToldOfSong:
    """What became of a song."""

    number: int
    title: str
    lines: tuple[str, ...]
    changed: bool = True


@dataclass(frozen=True, slots=True)
class _WorkedOut:
    """A change of all songs that is not saved yet."""

    told: list[ToldOfSong]
    kept: KeptChange | None
    """What is to be kept of it; None where there is nothing to change."""
    songs: Mapping[Path, tuple[Song, Song]]
    """Those that are changed, as they are and as they are to be."""


def change_night(
    night: OpenNight, wanted: Wanted, *, restrain: bool = False, drop: Sequence[str] = ()
) -> list[ToldOfSong]:
    """Change all songs of a night as the sound check asks, and keep what was changed.

    Parameters
    ----------
    night : OpenNight
    wanted : Wanted
    restrain : bool
        Keep the night's biggest look for the songs in which it counts.
    drop : sequence of str
        Songs that are not played tonight, by number or title; their documents stay as they are.

    Raises
    ------
    CuesuggestError
        If a song that is to be dropped is not there, nothing would be left to play on, or a file cannot be written.
        Nothing is changed then.
    """
    found = _worked_out(night, wanted, restrain, drop)
    if found.kept is not None:
        _save_change(night.file, found.kept, found.songs)
    return found.told


def what_would_change(
    night: OpenNight, wanted: Wanted, *, restrain: bool = False, drop: Sequence[str] = ()
) -> list[ToldOfSong]:
    """Return what `change_night` would tell, and change nothing.

    Raises
    ------
    CuesuggestError
        As `change_night` does, but for files that cannot be written.
    """
    return _worked_out(night, wanted, restrain, drop).told


def _worked_out(night: OpenNight, wanted: Wanted, restrain: bool, drop: Sequence[str]) -> _WorkedOut:
    dropped = [_meant(night, words) for words in drop]
    at = datetime.now(UTC).replace(microsecond=0)
    found: dict[Path, Checked] = {}
    told = []
    plan = night.plan()
    for place, song in zip(night.places, night.songs, strict=True):
        if place.number in dropped:
            told.append(ToldOfSong(place.number, song.title, ("Not played tonight; its document stays as it is.",)))
            continue
        if not wanted and not restrain:
            continue
        if place.document not in found:
            narrower = _narrower(plan, place.number) if restrain else ()
            numbered = partial(numbered_in_night, number=place.number, step=plan.step)
            found[place.document] = checked(song, place.document, wanted, at, narrower=narrower, numbered=numbered)
        each = found[place.document]
        told.append(ToldOfSong(place.number, song.title, each.lines, changed=each.after != each.before))
    if len(set(dropped)) == len(night.places):
        raise CuesuggestError("No song would be left to play. Leave one in.")
    changed = {document: (each.before, each.after) for document, each in found.items() if each.after != each.before}
    if not changed and not dropped:
        return _WorkedOut(told, None, {})
    words = [wanted.words, "the biggest look kept for where it counts" if restrain else ""]
    both = zip(night.places, night.songs, strict=True)
    gone = [(place, song.title) for place, song in both if place.number in dropped]
    names = [f"song {place.number} ({shortened(one_line(title), _NAME)})" for place, title in gone]
    words.append(f"without {' and '.join(names)}" if names else "")
    said = ", ".join(filter(None, words))
    kept = KeptChange(
        said=said,
        time=at.isoformat().replace("+00:00", "Z"),
        dropped=tuple((place.number, night.set_list.songs[place.number - 1].document) for place, _ in gone),
        songs=tuple(path_from(night.file, document) for document in changed),
        others=tuple(path_from(night.file, document) for document in found if document not in changed),
    )
    return _WorkedOut(told, kept, changed)


def undo_night(file: Path) -> tuple[str, list[ToldOfSong]]:
    """Take back the last change of the sound check in every song.

    Parameters
    ----------
    file : Path
        The set list of the night.

    Returns
    -------
    str
        What it was.
    list of ToldOfSong

    Raises
    ------
    CuesuggestError
        If there is none, or a song was changed since. Nothing is changed then.
    """
    numbers = {os.path.realpath(file.parent / each.document): n for n, each in enumerate(load_set_list(file).songs, 1)}
    changes = kept_changes(file)
    if not changes:
        raise CuesuggestError(f"Nothing was changed at sound check that could be taken back ({file}).")
    last = changes[-1]
    moved: dict[Path, tuple[Song, Song]] = {}
    told = []
    since = []
    for named in last.songs:
        document = path_to(file, named)
        number = numbers.get(os.path.realpath(document), 0)
        if not os.path.lexists(document):
            told.append(ToldOfSong(number, document.name, ("Its document is not there any more.",)))
            continue
        song = Song.load(document)
        own = [entry for entry in song.history if _is_of(entry.by, entry.time, last)]
        if not own:
            told.append(ToldOfSong(number, song.title, ("It was not changed, or it was taken back already.",)))
            continue
        if not all(_is_of(entry.by, entry.time, last) for entry in last_action(song.history)):
            since.append(song.title)
            continue
        after, _ = taken_back(song, document, KeptStates(kept_folder(document)))
        moved[document] = (song, after)
        told.append(ToldOfSong(number, song.title, ("It is as it was before.",)))
    if since:
        raise CuesuggestError(
            f"Since that change other things were decided in {', '.join(since)}, so nothing was taken back. Take "
            "those back first, with U on the page or cuesuggest edit DOC undo."
        )
    for document in moved:
        check_savable(document)
    _save_all(moved, last=lambda: _note(file, moved, [each for each in kept_changes(file) if each != last]))
    return last.said, sorted(told, key=lambda each: each.number)


def _is_of(by: str, time: str, change: KeptChange) -> bool:
    return (by, time) == (SOUND_CHECK, change.time)


def _meant(night: OpenNight, words: str) -> int:
    """Return the number of the song that is meant by "4", "song 4" or its title."""
    plain = words.strip().casefold()
    number = plain.removeprefix("song").strip(" -")
    both = list(zip(night.places, night.songs, strict=True))
    found = [place.number for place, _ in both if number == str(place.number)]
    found = found or [place.number for place, song in both if plain == song.title.casefold()]
    if len(found) > 1:
        raise CuesuggestError(f"Songs {' and '.join(map(str, found))} are called {words!r}: say which by its number.")
    if found:
        return found[0]
    there = ", ".join(f"{p.number} {s.title}" for p, s in both)
    raise CuesuggestError(f"There is no song {words!r} in this night. There are: {there}.")


def _narrower(plan: NightPlan, number: int) -> tuple[str, ...]:
    song = next(each for each in plan.songs if each.number == number)
    if not song.gives_way:
        return ()
    return tuple(dict.fromkeys(use.mark for use in song.biggest if not use.decided))


def _save_change(file: Path, change: KeptChange, songs: Mapping[Path, tuple[Song, Song]]) -> None:
    """Save all songs and what was changed, or nothing.

    What is changed is noted before any song is saved: where the program is killed in between, it can be told and taken
    back all the same.
    """
    for document in songs:
        check_savable(document)
    _note(file, songs, [*kept_changes(file), change])
    try:
        _save_all(songs)
    except BaseException:
        _note(file, songs, [each for each in kept_changes(file) if each != change])
        raise


def _note(file: Path, songs: Iterable[Path], changes: Sequence[KeptChange]) -> None:
    targets = check_targets([changes_file(file)], [file, *songs], force=True)
    write_all(targets, [changes_text(changes).encode()])


def _save_all(songs: Mapping[Path, tuple[Song, Song]], last: Callable[[], None] = lambda: None) -> None:
    """Save all songs, each given as it was and as it is to be; what was saved is put back where it comes to an end."""
    begun: list[Path] = []
    try:
        for document, (before, after) in songs.items():
            begun.append(document)
            kept = KeptStates(kept_folder(document))
            kept.keep_file(document, str(before.revision))
            after.save(document)
            kept.keep(after, str(after.revision))
        last()
    except BaseException:  # also where somebody stops it
        for document in begun:
            before, after = songs[document]
            there = Song.load(document)
            if there.to_json() == after.to_json():
                before.replaced(revision=there.revision + 1).stored_like(there).save(document)
        raise
