"""The songs that a page goes through: each opened when it is first asked for, none ever mixed with another.

A song is asked for by an id that is made from the place of its document, so that an id of another run, or a number that
was counted otherwise, never means the wrong song. What the list tells of songs is read from their files, once for each
state of a file: every decision is on the disk before it is answered.
"""

from __future__ import annotations

import contextlib
import hashlib
import os
import shlex
import threading
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from cuesuggest.draft.states import kept_folder
from cuesuggest.errors import CuesuggestError
from cuesuggest.night.song_facts import SongFacts, facts_of
from cuesuggest.review.kept_choices import choices_file
from cuesuggest.review.open_song import OpenSong
from cuesuggest.review.shown_night import shown_night
from cuesuggest.song import Settings, Song
from cuesuggest.song.files import file_state
from cuesuggest.song.left_to_do import LeftToDo, left_to_do
from cuesuggest.sound.recording import DOCUMENT_SUFFIX

__all__ = ["Evening", "NoSuchSongError", "Unread"]

_WHOLE = 1.0  # s at either end that make no part of a recording
_MOST_SOUNDS = 4  # decoded at once; four minutes of one are some 45 MB on the disk


class NoSuchSongError(CuesuggestError):
    """A song was asked for that is not one of these, or none was named where there are several."""


@dataclass(frozen=True, slots=True)
class Unread:
    """A song that cannot be opened now."""

    wrong: str
    """What is in the way; empty where there is a recording, and no document yet."""


@dataclass(frozen=True, slots=True)
class _Read:
    """What the list tells of a song."""

    title: str
    tempo: float | None
    seconds: float
    part: tuple[float, float] | None
    """Where it starts and ends in a longer recording; None where it is all of one."""
    left: LeftToDo
    cues: int
    style: Settings
    rig: Settings
    facts: SongFacts | None
    """What its night has to know; None where there is no night, or the song cannot be a part of one."""


class Evening:
    """Documents in the order in which they are gone through. Safe to be called from several threads."""

    def __init__(
        self,
        documents: Sequence[Path],
        kept: Callable[[Path], Path | None] = kept_folder,
        night: Path | None = None,
    ) -> None:
        """Take the documents; none is opened yet.

        Parameters
        ----------
        documents : sequence of Path
            Those of recordings that are not drafted yet may be missing.
        kept : callable
            Tells the folder for the last states of a document.
        night : Path, optional
            The set list that names these documents, to be shown with them.
        """
        self.night = night
        self._documents = {_id(document): document for document in documents}
        self._kept = kept
        self._locks = {song: threading.Lock() for song in self._documents}
        self._open: dict[str, OpenSong] = {}
        self._read: dict[str, tuple[tuple[int, int, int] | None, _Read | Unread]] = {}
        self._sounding: list[OpenSong] = []
        self._sounding_lock = threading.Lock()
        self.choices = choices_file()

    @property
    def ids(self) -> tuple[str, ...]:
        """The songs, in order."""
        return tuple(self._documents)

    def song(self, named: str) -> OpenSong:
        """Return a song, opened now if it was not yet.

        Parameters
        ----------
        named : str
            Its id; may be empty where there is only one.

        Raises
        ------
        NoSuchSongError
            If it is none of these.
        DocumentError
            If its document cannot be opened.
        """
        song = self._meant(named)
        with self._locks[song]:
            if song not in self._open:
                document = self._documents[song]
                self._open[song] = OpenSong(document, self._kept(document))
            return self._open[song]

    @contextlib.contextmanager
    def all_handed_over(self) -> Iterator[None]:
        """Keep everything that changes or opens a song waiting while all of them are changed at once.

        Raises
        ------
        BehindError
            If another program has changed one that is open. Nothing has been changed then.
        """
        with contextlib.ExitStack() as held:
            for lock in self._locks.values():
                held.enter_context(lock)
            for song in self._open.values():
                held.enter_context(song.session.handed_over())
            yield

    def to_be_heard(self, song: OpenSong) -> None:
        """Note whose sound is wanted now; the sound that was wanted longest ago is let go where there are many."""
        with self._sounding_lock:
            self._sounding = [*(each for each in self._sounding if each is not song), song]
            gone, self._sounding = self._sounding[:-_MOST_SOUNDS], self._sounding[-_MOST_SOUNDS:]
        for each in gone:
            each.close()

    def first(self, kept: str) -> str:
        """Return the song to begin with: the one that a window showed before, or else the first that can be opened.

        Raises
        ------
        CuesuggestError
            If none can be opened.
        """
        if kept in self._documents and self._can_be_opened(kept):
            return kept
        found = next(filter(self._can_be_opened, self._documents), None)
        if found is None:
            raise self._nothing()
        return found

    def place_of(self, named: str) -> dict[str, Any]:
        """Return which of the songs one is, and the ones around it that can be opened."""
        song, ids = self._meant(named), self.ids
        at = ids.index(song)
        return {
            "song": song,
            "number": at + 1,
            "of": len(ids),
            "before": next(filter(self._can_be_opened, reversed(ids[:at])), None),
            "after": next(filter(self._can_be_opened, ids[at + 1 :]), None),
            "night": self.night is not None,
        }

    def listed(self, named: str) -> dict[str, Any]:
        """Return what the list of songs tells: of each its state, and where its style or rig is not as here.

        Below it stands what the command line can do about songs that are not drafted, or are made otherwise.
        """
        here = self._look(self._meant(named))
        rows = [self._row(number, song, here) for number, song in enumerate(self._documents, 1)]
        return {"songs": rows, "advice": self._advice(rows, here), "night": self._shown_night()}

    def name_of(self, song: str) -> str:
        """Return what a song's files are called."""
        return self._documents[song].name.removesuffix(DOCUMENT_SUFFIX)

    def look(self, song: str) -> Unread | None:
        """Return why a song cannot be opened; None if it can."""
        found = self._look(song)
        return found if isinstance(found, Unread) else None

    def close(self) -> None:
        """Let all sounds go."""
        for song in self._open.values():
            song.close()

    def _meant(self, named: str) -> str:
        if not named and len(self._documents) == 1:
            return self.ids[0]
        if named not in self._documents:
            raise NoSuchSongError("There is no such song here. Open the page again.")
        return named

    def _can_be_opened(self, song: str) -> bool:
        return song in self._open or self.look(song) is None

    def _look(self, song: str) -> _Read | Unread:
        """Read a document as far as the list needs it, once for each state of its file."""
        document = self._documents[song]
        state = file_state(document)
        if state is None and not os.path.lexists(document):
            gone = song in self._open or song in self._read
            return Unread("Its document is not there any more." if gone else "")
        known = self._read.get(song)
        if known is None or known[0] != state:
            known = self._read[song] = (state, _read(document, in_night=self.night is not None))
        return known[1]

    def _row(self, number: int, song: str, here: _Read | Unread) -> dict[str, Any]:
        found = self._look(song)
        row: dict[str, Any] = {"song": song, "number": number, "title": self.name_of(song), "state": "not drafted"}
        if isinstance(found, Unread):
            return {**row, "state": "wrong" if found.wrong else "not drafted", "wrong": found.wrong}
        return {
            **row,
            "title": found.title,
            "state": "open" if found.left.words else "done",
            "tempo": found.tempo,
            "seconds": found.seconds,
            "part": found.part,
            "questions": found.left.questions,
            "to_check": found.left.to_check,
            "cues": found.cues,
            "differs": _differs(found, here) if isinstance(here, _Read) else "",
        }

    def _shown_night(self) -> dict[str, Any] | None:
        """Return what is shown of the night, its songs by their ids here; None where these are no night's songs."""
        if self.night is None:
            return None
        found = {document: self._look(song) for song, document in self._documents.items()}
        facts = {doc: each.facts for doc, each in found.items() if isinstance(each, _Read) and each.facts is not None}
        shown = shown_night(self.night, facts, self._documents.values())
        for each in shown["songs"]:
            each["song"] = _id(Path(each.pop("document")))
        return shown

    def _advice(self, rows: list[dict[str, Any]], here: _Read | Unread) -> list[dict[str, str]]:
        advice = []
        bare = [row["song"] for row in rows if row["state"] == "not drafted"]
        if bare:
            command = _command("suggest", *self._folders(bare))
            advice.append({"said": "To draft those that are not drafted yet:", "command": command})
        other = [row["song"] for row in rows if row.get("differs")]
        if other and isinstance(here, _Read):
            said = (
                "To draft all in the house style and rig of this song, around what is decided in each "
                "(name your own style or rig by its file):"
            )
            settings = ("--again", "--profile", here.style.name, "--rig", here.rig.name)
            documents = " ".join(f"{shlex.quote(folder)}/*{DOCUMENT_SUFFIX}" for folder in self._folders(other))
            advice.append({"said": said, "command": f"{_command('suggest', *settings)} {documents}"})
        return advice

    def _folders(self, songs: list[str]) -> list[str]:
        """Return the folders in which songs lie, each once."""
        return list(dict.fromkeys(os.path.abspath(self._documents[song].parent) for song in songs))

    def _nothing(self) -> CuesuggestError:
        for unread in map(self.look, self._documents):
            if unread is not None and unread.wrong:
                return CuesuggestError(unread.wrong)
        return CuesuggestError(f"No song is drafted yet. Run: {_command('suggest', *self._folders(list(self.ids)))}")


def _command(*words: str) -> str:
    return shlex.join(["cuesuggest", *words])


def _id(document: Path) -> str:
    return hashlib.sha256(os.fsencode(os.path.abspath(document))).hexdigest()[:12]


def _read(document: Path, *, in_night: bool) -> _Read | Unread:
    try:
        song = Song.load(document)
    except CuesuggestError as error:
        return Unread(str(error))
    window = song.recording.window
    whole = window.start < _WHOLE and window.end > song.recording.duration - _WHOLE
    return _Read(
        title=song.title,
        tempo=song.analysis.tempo_bpm,
        seconds=window.end - window.start,
        part=None if whole else (window.start, window.end),
        left=left_to_do(song),
        cues=len(song.cues),
        style=song.profile,
        rig=song.rig,
        facts=_facts(song) if in_night else None,
    )


def _facts(song: Song) -> SongFacts | None:
    try:
        return facts_of(song)
    except CuesuggestError:  # a style or rig out of bounds
        return None


def _differs(song: _Read, here: _Read) -> str:
    """Say in words where a song is made for another style or rig than the one that is shown."""
    words = []
    for word, own, other in (("house style", song.style, here.style), ("rig", song.rig, here.rig)):
        if own.name != other.name:
            words.append(f"{word} {own.name}")
        elif own != other:
            words.append(f"{word} {own.name} with other values")
    return ", ".join(words)
