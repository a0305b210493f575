"""One open document: its song, what was done to it since it was opened, and what lies on disk.

Every action is saved before it is answered, so that a computer that loses its power loses at most the action on its
way. What is on disk is compared first: a file that somebody else has changed is never written over, it is offered.
"""

from __future__ import annotations

import hashlib
import os
import shutil
import threading
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from cuesuggest.draft.clashes import conflicts
from cuesuggest.draft.settling import settled
from cuesuggest.errors import CuesuggestError, DocumentError, EditError
from cuesuggest.song import Edit, Song, change, redo, undo

__all__ = ["BehindError", "Change", "Outcome", "Session", "kept_folder"]

_BY = "page"
_MOST_KEPT = 20
# What an undo brings back as it was, beside the history.
_CONTENT = (
    "title", "analysis", "corrections", "looks", "plan", "cues", "questions", "cautions", "unplaced", "numbers_frozen",
)  # fmt: skip


class BehindError(CuesuggestError):
    """An action that is about a state of the song which is not the one there is now."""


@dataclass(frozen=True, slots=True)
class Change:
    """What an action does: edits, from a song in which what they speak of is there."""

    edits: tuple[Edit, ...]
    said: str
    """What was done, as a sentence; it is also what undo says."""


@dataclass(frozen=True, slots=True)
class Outcome:
    """What came of an action, in sentences."""

    said: str
    lines: tuple[str, ...] = ()
    """What else has changed."""
    remarks: tuple[str, ...] = ()
    """What does not go together since."""


@dataclass(frozen=True, slots=True)
class _Step:
    """One action to take back or make again: how many edits it was, and the song on its other side."""

    edits: int
    song: Song | None
    said: str


class Session:
    """A document that is open on the page. Safe to be called from several threads."""

    def __init__(self, document: Path, kept: Path | None = None) -> None:
        """Open a document.

        Parameters
        ----------
        document : Path
        kept : Path, optional
            Folder for the last states of it; none are kept if left out.

        Raises
        ------
        DocumentError
            As `Song.load` does.
        """
        self.document = document
        self._kept = kept
        self._lock = threading.RLock()
        self._song = Song.load(document)
        self._signature = self._on_disk()
        self._undo: list[_Step] = []
        self._redo: list[_Step] = []
        self._forget_steps()

    @property
    def song(self) -> Song:
        """The song as it is now."""
        return self._song

    def undo_text(self) -> str | None:
        """What would be taken back next; None if there is nothing."""
        return self._undo[-1].said if self._undo else None

    def redo_text(self) -> str | None:
        """What would be made again next; None if there is nothing."""
        return self._redo[-1].said if self._redo else None

    def act(self, revision: int, make: Callable[[Song], Change]) -> Outcome:
        """Do something to the song and save it.

        Parameters
        ----------
        revision : int
            Of the song that the action was meant for.
        make : callable
            Returns the change.

        Raises
        ------
        BehindError
            If the song has changed since, here or on disk.
        CuesuggestError
            If the change does not fit, or cannot be saved. Nothing has changed then.
        """
        with self._lock:
            self._check(revision)
            before = self._song
            made = make(before)
            song = before
            for edit in made.edits:
                song = change(song, edit, by=_BY)
            if not made.edits:
                raise EditError(f"{made.said.rstrip('.')}: that is so already.")
            song, lines = self._settled(before, song)
            self._save(song)
            self._undo.append(_Step(len(made.edits), before, made.said))
            self._redo.clear()
            return _outcome(made.said, lines, before, song)

    def undo(self, revision: int) -> Outcome:
        """Take back the last action.

        Raises
        ------
        BehindError, EditError, DocumentError
            As `act` does; EditError if there is nothing to take back.
        """
        return self._step(revision, self._undo, self._redo, undo, "taken back")

    def redo(self, revision: int) -> Outcome:
        """Make the last action again that was taken back.

        Raises
        ------
        BehindError, EditError, DocumentError
            As `act` does; EditError if there is nothing to make again.
        """
        return self._step(revision, self._redo, self._undo, redo, "made again")

    def _step(
        self, revision: int, source: list[_Step], target: list[_Step], move: Callable[[Song], Song], word: str
    ) -> Outcome:
        with self._lock:
            self._check(revision)
            before = song = self._song
            step = source[-1] if source else _Step(1, None, "")
            for _ in range(step.edits):
                song = move(song)
            lines: tuple[str, ...] = ()
            if step.song is not None:
                song = song.replaced(**{name: getattr(step.song, name) for name in _CONTENT})
            else:
                song, lines = self._settled(before, song)
            self._save(song)
            source.pop()
            target.append(_Step(step.edits, before, step.said))
            return _outcome(f"{word.capitalize()}: {step.said}", lines, before, song)

    def _settled(self, before: Song, after: Song) -> tuple[Song, tuple[str, ...]]:
        """Hear and draft anew as far as an edit asks for it."""
        song, rerun = settled(before, after, self.document)
        return song, rerun.lines if rerun else ()

    def freeze(self, do: Callable[[Song, Path], None]) -> None:
        """Let the song be marked on disk as one whose list has left it."""
        with self._lock:
            if not self._song.numbers_frozen:
                do(self._song, self.document)
                self._song = Song.load(self.document)
                self._signature = self._on_disk()

    # What lies on disk.

    def disk(self) -> str:
        """Whether the file holds what was saved last: "same", "changed", or "gone"."""
        with self._lock:
            now = self._on_disk()
            if now == self._signature:
                return "same"
            if now is None:
                return "gone"
            try:
                there = Song.load(self.document)
            except DocumentError:
                return "changed"
            if there == self._song:  # touched, or copied onto itself
                self._signature = now
                return "same"
            return "changed"

    def take_file(self) -> Outcome:
        """Go on with what the file holds.

        Raises
        ------
        DocumentError
            If it cannot be read.
        """
        with self._lock:
            there = Song.load(self.document)
            self._keep_state(self._song.to_json(), f"{self._song.revision}-page")
            self._song, self._signature = there, self._on_disk()
            self._forget_steps()
            return Outcome("Shown is now what the file holds.")

    def keep_shown(self) -> Outcome:
        """Write what is shown over what the file holds; that is kept aside.

        Raises
        ------
        DocumentError
            If it cannot be written.
        """
        with self._lock:
            if self.disk() == "gone":
                song = Song.from_json(self._song.to_json())
                song.save(self.document)
            else:
                try:
                    revision: int | None = Song.load(self.document).revision
                except DocumentError as error:
                    raise DocumentError(
                        f"{self.document.name} holds no song document now. Move it away, then try again. ({error})"
                    ) from None
                self._keep_file(f"{revision}-other")
                song = self._song.replaced(revision=max(self._song.revision, revision or 0) + 1)
                song.save(self.document, expected_revision=revision)
            self._song, self._signature = song, self._on_disk()
            return Outcome("The file holds what is shown here now; what it held is kept aside.")

    def _check(self, revision: int) -> None:
        if revision != self._song.revision:
            raise BehindError("The song was changed in another window meanwhile; this was not done.")
        if self.disk() != "same":
            raise BehindError(f"{self.document.name} was changed by another program; this was not done.")

    def _save(self, song: Song) -> None:
        self._keep_file(str(self._song.revision))
        song.save(self.document)
        self._song, self._signature = song, self._on_disk()

    def _on_disk(self) -> tuple[int, int, int] | None:
        try:
            status = os.stat(self.document)
        except OSError:
            return None
        return status.st_mtime_ns, status.st_size, status.st_ino

    def _forget_steps(self) -> None:
        """What was done before this page was opened can be taken back too, an edit at a time."""
        from cuesuggest.decide.decisions import describe

        self._undo = [_Step(1, None, describe(self._song, entry.edit)) for entry in self._song.history]
        self._redo = [_Step(1, None, describe(self._song, entry.edit)) for entry in self._song.undone]

    # The last states, in case everything else fails.

    def _keep_file(self, name: str) -> None:
        if self._kept is None:
            return
        try:
            self._kept.mkdir(parents=True, exist_ok=True)
            shutil.copyfile(self.document, self._kept / f"{name}.cues.json")
            self._drop_oldest()
        except OSError:
            return  # a net below the net: the document itself is saved whole or not at all

    def _keep_state(self, data: bytes, name: str) -> None:
        if self._kept is None:
            return
        try:
            self._kept.mkdir(parents=True, exist_ok=True)
            (self._kept / f"{name}.cues.json").write_bytes(data)
        except OSError:
            return

    def _drop_oldest(self) -> None:
        assert self._kept is not None
        states = sorted(self._kept.glob("*.cues.json"), key=lambda path: path.stat().st_mtime_ns)
        for path in states[:-_MOST_KEPT]:
            path.unlink(missing_ok=True)


def kept_folder(document: Path) -> Path:
    """Where the last states of a document are kept: the user's folder for such things, one for each document."""
    from platformdirs import user_state_path

    key = hashlib.sha256(os.fsencode(os.path.realpath(document))).hexdigest()[:12]
    return user_state_path("cuesuggest") / "states" / f"{document.name[:60]}-{key}"


def _outcome(said: str, lines: tuple[str, ...], before: Song, after: Song) -> Outcome:
    known = set(conflicts(before))
    remarks = (f"This does not go together now: {problem}" for problem in conflicts(after) if problem not in known)
    return Outcome(said, lines, tuple(remark for remark in remarks if remark not in lines))
