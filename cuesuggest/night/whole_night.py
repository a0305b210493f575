"""One command for a whole night: every song changed and saved, or none; taken back in one step."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import partial
from pathlib import Path

from cuesuggest.draft.states import KeptStates, kept_folder
from cuesuggest.draft.undo import taken_back
from cuesuggest.errors import CuesuggestError
from cuesuggest.gate_out import check_targets, write_all
from cuesuggest.night.as_played import numbered_in_night
from cuesuggest.night.kept_changes import KeptChange, changes_file, changes_text
from cuesuggest.night.sound_check import BY, Checked, Wanted, checked
from cuesuggest.night.the_set import OpenNight
from cuesuggest.score.night_records import NightPlan
from cuesuggest.song import Song, check_savable, path_from, path_to
from cuesuggest.song.edits import last_action

__all__ = ["ToldOfSong", "change_night", "undo_night"]


@dataclass(frozen=True, slots=True)
class ToldOfSong:
    """What became of a song."""

    number: int
    title: str
    lines: tuple[str, ...]


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
        told.append(ToldOfSong(place.number, song.title, found[place.document].lines))
    if len(set(dropped)) == len(night.places):
        raise CuesuggestError("No song would be left to play. Leave one in.")
    changed = {document: each for document, each in found.items() if each.after != each.before}
    if not changed and not dropped:
        return told
    words = [wanted.words, "the biggest look kept for where it counts" if restrain else ""]
    words.append(f"without song {' and '.join(map(str, sorted(set(dropped))))}" if dropped else "")
    said = ", ".join(filter(None, words))
    kept = KeptChange(
        said=said,
        time=at.isoformat().replace("+00:00", "Z"),
        dropped=tuple(sorted(set(dropped))),
        songs=tuple(path_from(night.file, document) for document in changed),
    )
    _save_all(night, [*night.changes, kept], {path: (each.before, each.after) for path, each in changed.items()})
    return told


def undo_night(night: OpenNight) -> tuple[str, list[ToldOfSong]]:
    """Take back the last change of the sound check in every song.

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
    if not night.changes:
        raise CuesuggestError(f"Nothing was changed at sound check that could be taken back ({night.file}).")
    last = night.changes[-1]
    moved: dict[Path, tuple[Song, Song]] = {}
    told = []
    since = []
    for named in last.songs:
        document = path_to(night.file, named)
        song = Song.load(document)
        own = [entry for entry in song.history if _is_of(entry.by, entry.time, last)]
        if not own:
            told.append(ToldOfSong(0, song.title, ("It was not changed, or it was taken back already.",)))
            continue
        if not all(_is_of(entry.by, entry.time, last) for entry in last_action(song.history)):
            since.append(song.title)
            continue
        after, _ = taken_back(song, document, KeptStates(kept_folder(document)))
        moved[document] = (song, after)
        told.append(ToldOfSong(0, song.title, ("It is as it was before.",)))
    if since:
        raise CuesuggestError(
            f"Since that change other things were decided in {', '.join(since)}, so nothing was taken back. Take "
            "those back first, with U on the page or cuesuggest edit DOC undo."
        )
    _save_all(night, night.changes[:-1], moved)
    return last.said, told


def _is_of(by: str, time: str, change: KeptChange) -> bool:
    return (by, time) == (BY, change.time)


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


def _save_all(night: OpenNight, changes: Sequence[KeptChange], songs: dict[Path, tuple[Song, Song]]) -> None:
    """Save all songs and what was changed, or nothing: what was saved is put back where one cannot be."""
    for document in songs:
        check_savable(document)
    targets = check_targets([changes_file(night.file)], [night.file, *songs], force=True)
    saved: list[Path] = []
    try:
        for document, (before, after) in songs.items():
            kept = KeptStates(kept_folder(document))
            kept.keep_file(document, str(before.revision))
            after.save(document)
            kept.keep(after, str(after.revision))
            saved.append(document)
        write_all(targets, [changes_text(changes).encode()])
    except CuesuggestError:
        for document in saved:
            before, after = songs[document]
            before.replaced(revision=after.revision + 1).stored_like(after).save(document)
        raise
