"""A night from its file: the set list, the documents of its songs, and which of them are played."""

from __future__ import annotations

import os
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

from cuesuggest.errors import CuesuggestError, DocumentError
from cuesuggest.export.common.escape import toml_string
from cuesuggest.night.arranged import arranged
from cuesuggest.night.kept_changes import KeptChange, kept_changes
from cuesuggest.night.song_facts import SongFacts, facts_of
from cuesuggest.rules.settings.set_list import AFTER, SetList
from cuesuggest.rules.settings.settings_file import load_set_list
from cuesuggest.score.night_records import NightPlan
from cuesuggest.song import Song, path_to

__all__ = ["OpenNight", "SetPlace", "documents_of", "new_set_list", "open_night", "places_of", "plan_of"]

_COLUMN = 24  # in which comments stand


@dataclass(frozen=True, slots=True)
class SetPlace:
    """A song of the set list that is played: its number, which stays when others are dropped, and its document."""

    number: int
    document: Path
    after: str


@dataclass(frozen=True, slots=True)
class OpenNight:
    """A night with its songs opened."""

    file: Path
    set_list: SetList
    places: tuple[SetPlace, ...]
    songs: tuple[Song, ...]
    changes: tuple[KeptChange, ...]
    """What was changed at sound check and still holds."""

    def plan(self) -> NightPlan:
        """Arrange it."""
        songs = [(each, facts_of(song)) for each, song in zip(self.places, self.songs, strict=True)]
        return plan_of(self.file, self.set_list, self.changes, songs)


def open_night(file: Path) -> OpenNight:
    """Open a night and all its songs.

    Raises
    ------
    ProfileError
        If the set list cannot be read, or something in it is wrong.
    CuesuggestError
        If it has no songs, or what was changed at sound check cannot be read.
    DocumentError
        If a song cannot be opened.
    """
    set_list = load_set_list(file)
    changes = kept_changes(file)
    places = places_of(file, set_list, changes)
    songs: dict[Path, Song] = {}
    for place in places:
        if place.document not in songs:
            try:
                songs[place.document] = Song.load(place.document)
            except DocumentError as error:
                raise DocumentError(f"{file}, song {place.number}: {error}") from None
    return OpenNight(file, set_list, tuple(places), tuple(songs[each.document] for each in places), tuple(changes))


def documents_of(file: Path) -> list[Path]:
    """Return the documents of a night's songs, in order, each once; they may be missing.

    Raises
    ------
    CuesuggestError
        As `open_night` does of the set list and what was changed.
    """
    places = places_of(file, load_set_list(file), kept_changes(file))
    return list(dict.fromkeys(place.document for place in places))


def places_of(file: Path, set_list: SetList, changes: Iterable[KeptChange]) -> list[SetPlace]:
    """Return the songs that are played, in order: those of the set list but for the dropped ones.

    Raises
    ------
    CuesuggestError
        If none is left.
    """
    dropped = {number for change in changes for each in change.dropped for number in _numbers(set_list, *each)}
    # One document is one, by whichever way it is named: it is saved once.
    ways: dict[str, Path] = {}
    found = [
        SetPlace(number, ways.setdefault(os.path.abspath(way), way), song.after)
        for number, song in enumerate(set_list.songs, 1)
        if number not in dropped
        for way in (file.parent / song.document,)
    ]
    if not found:
        raise CuesuggestError(
            f"{file} has no songs to play. Add a table [[songs]] for each, or take the last change back with --undo."
        )
    return found


def _numbers(set_list: SetList, number: int, document: str) -> Iterable[int]:
    """Return which songs were dropped as a number and a document: others, where the order was changed since."""
    named = [at for at, song in enumerate(set_list.songs, 1) if song.document == document]
    return [number] if number in named else named


def plan_of(
    file: Path, set_list: SetList, changes: Iterable[KeptChange], songs: Sequence[tuple[SetPlace, SongFacts]]
) -> NightPlan:
    """Arrange a night of songs that are known by their facts, and say what was changed at sound check."""
    told = []
    for change in changes:
        changed, others = (
            {os.path.realpath(path_to(file, named)) for named in part} for part in (change.songs, change.others)
        )
        lacking = [
            facts.title
            for way, facts in {os.path.realpath(place.document): facts for place, facts in songs}.items()
            if (changed or others) and way not in others and change.time not in facts.sound_checks
        ]
        told.append(f"{change.said}{_lacking(lacking)}")
    return arranged(set_list, [(place.number, place.after, facts) for place, facts in songs], told)


def _lacking(titles: Sequence[str]) -> str:
    """Say in which songs a change does not hold; nothing where it holds in all."""
    if not titles:
        return ""
    return (
        f", but not in {', '.join(titles)}: it was taken back there, the song came later, or the command was "
        "stopped. To have it in all songs, take it back with --undo and give it again"
    )


def new_set_list(title: str, documents: Sequence[tuple[str, str]]) -> str:
    """Write a set list to start from, with comments.

    Parameters
    ----------
    title : str
    documents : sequence of (str, str)
        For each song the way to its document from the set list's folder, and its title.

    Returns
    -------
    str
        TOML 1.0.
    """
    lines = [
        "# A night: songs in the order in which they are played. Change the order by moving the tables [[songs]].",
        "# `cuesuggest night` with this file shows the plan; docs/night.md tells the rest.",
        "",
        f"title = {toml_string(title)}",
        "# buttons = 12".ljust(_COLUMN) + "# how many looks lie within reach; left out, what the rig says",
        "# biggest = 2".ljust(_COLUMN) + "# how many songs may have the night's biggest look; left out, a third",
        "",
        "# What lies between songs has a look of its own. To have another, take the # off and change it: look is dark,",
        "# home or subtle, level is percent, seconds is how long it takes in and out.",
        "# [walk_in]",
        '# look = "home"',
        "# level = 20",
        "# seconds = 8.0",
        "# Likewise [applause], [talk], [prayer], [pad], [segue] and [encore].",
    ]
    for number, (document, song) in enumerate(documents, 1):
        lines += ["", f"[[songs]]  # {number}: {' '.join(song.split())}", f"document = {toml_string(document)}"]
        last = number == len(documents)
        after = "nothing" if last else "applause"
        lines.append(f'after = "{after}"'.ljust(_COLUMN) + f"# {', '.join(AFTER)}")
    return "\n".join(lines) + "\n"
