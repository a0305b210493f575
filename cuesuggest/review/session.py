"""One open document: its song, what was done to it since it was opened, and what lies on disk.

Every action is saved before it is answered, so that a computer that loses its power loses at most the action on its
way. What is on disk is compared first: a file that somebody else has changed is never written over, it is offered.
"""

from __future__ import annotations

import contextlib
import threading
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from cuesuggest.decide.change import Change
from cuesuggest.decide.telling import action_text
from cuesuggest.draft.states import KeptStates
from cuesuggest.errors import CuesuggestError, DocumentError
from cuesuggest.song import HistoryEntry, Song
from cuesuggest.song.compared import changed_stretches
from cuesuggest.song.edits import last_action
from cuesuggest.song.files import file_state
from cuesuggest.song.open_questions import open_questions

# What listens and drafts is loaded with the first action: a song is shown a second earlier without it.
if TYPE_CHECKING:
    from cuesuggest.draft.again.merge import Rerun

__all__ = ["BehindError", "NotSavedError", "Outcome", "Session"]

_BY = "page"


class BehindError(CuesuggestError):
    """An action that is about a state of the song which is not the one there is now."""


class NotSavedError(CuesuggestError):
    """An action that could not be written to the disk, and was therefore not done."""


@dataclass(frozen=True, slots=True)
class Outcome:
    """What came of an action, in sentences."""

    said: str
    lines: tuple[str, ...] = ()
    """What else has changed."""
    remarks: tuple[str, ...] = ()
    """What does not go together since."""
    added: str | None = None
    """Id of the cue that was added: it is the one that is meant now."""


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
        self._kept = KeptStates(kept)
        self._lock = threading.RLock()
        self._song = Song.load(document)
        self._signature = file_state(self.document)
        self._changed: tuple[tuple[int, int], ...] = ()

    @property
    def changed(self) -> tuple[tuple[int, int], ...]:
        """The bars that the last action changed, as first and last number of each stretch."""
        return self._changed

    @property
    def song(self) -> Song:
        """The song as it is now."""
        return self._song

    def undo_text(self) -> str | None:
        """What would be taken back next; None if there is nothing."""
        return _said_of(self._song, self._song.history)

    def redo_text(self) -> str | None:
        """What would be made again next; None if there is nothing."""
        return _said_of(self._song, self._song.undone)

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
        NotSavedError
            If it cannot be saved. Nothing has changed then, here or on disk.
        CuesuggestError
            If the change does not fit. Nothing has changed then.
        """
        from cuesuggest.draft.settling import settled

        with self._lock:
            self._check(revision)
            before = self._song
            made = make(before)
            song, rerun = settled(before, made.made_in(before, by=_BY), self.document)
            outcome = _outcome(made.said, rerun, before, song)
            self._save(song)
            return outcome

    def undo(self, revision: int) -> Outcome:
        """Take back the last action.

        Raises
        ------
        BehindError, EditError, DocumentError
            As `act` does; EditError if there is nothing to take back.
        """
        from cuesuggest.draft.undo import taken_back

        return self._step(revision, taken_back, "Taken back", self.undo_text())

    def redo(self, revision: int) -> Outcome:
        """Make the last action again that was taken back.

        Raises
        ------
        BehindError, EditError, DocumentError
            As `act` does; EditError if there is nothing to make again.
        """
        from cuesuggest.draft.undo import made_again

        return self._step(revision, made_again, "Made again", self.redo_text())

    def _step(
        self,
        revision: int,
        move: Callable[[Song, Path, KeptStates], tuple[Song, Rerun | None]],
        word: str,
        said: str | None,
    ) -> Outcome:
        with self._lock:
            self._check(revision)
            before = self._song
            song, rerun = move(before, self.document, self._kept)
            outcome = _outcome(f"{word}: {said}", rerun, before, song)
            self._save(song)
            return outcome

    def note(self, do: Callable[[Song, Path], None]) -> None:
        """Let something be noted in the document on disk, such as that its list has left it."""
        with self._lock:
            before = file_state(self.document)
            do(self._song, self.document)
            now = file_state(self.document)
            if now != before:
                self._song, self._signature = Song.load(self.document), now

    @contextlib.contextmanager
    def handed_over(self) -> Iterator[None]:
        """Keep actions waiting while the document is changed together with others; then show what it holds.

        Raises
        ------
        BehindError
            If another program has changed it since it was shown.
        """
        with self._lock:
            if self.disk() == "changed":
                raise BehindError(
                    f"{self.document.name} was changed by another program since it was shown here. Open it, say which "
                    "of the two holds, and try again. Nothing was changed."
                )
            try:
                yield
            finally:
                now = file_state(self.document)
                # Where it cannot be read by then, the page finds that out as after any other program.
                with contextlib.suppress(DocumentError):
                    if now not in (None, self._signature):
                        there = Song.load(self.document)
                        self._changed = changed_stretches(self._song, there)
                        self._song, self._signature = there, now

    # What lies on disk.

    def disk(self) -> str:
        """Whether the file holds what was saved last: "same", "changed", or "gone"."""
        with self._lock:
            now = file_state(self.document)
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
            self._kept.keep(self._song, f"{self._song.revision}-page")
            self._song, self._signature, self._changed = there, file_state(self.document), ()
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
                self._kept.keep_file(self.document, f"{revision}-other")
                song = self._song.replaced(revision=max(self._song.revision, revision or 0) + 1)
                song.save(self.document, expected_revision=revision)
            self._song, self._signature = song, file_state(self.document)
            return Outcome("The file holds what is shown here now; what it held is kept aside.")

    def _check(self, revision: int) -> None:
        if revision != self._song.revision:
            raise BehindError("The song was changed in another window meanwhile; this was not done.")
        if self.disk() != "same":
            raise BehindError(f"{self.document.name} was changed by another program; this was not done.")

    def _save(self, song: Song) -> None:
        self._kept.keep_file(self.document, str(self._song.revision))
        try:
            song.save(self.document)
        except DocumentError as error:
            raise NotSavedError(f"This could not be saved, so it was not done. {error}") from error
        self._changed = changed_stretches(self._song, song)
        self._song, self._signature = song, file_state(self.document)


def _said_of(song: Song, entries: Sequence[HistoryEntry]) -> str | None:
    last = last_action(entries)
    return action_text(song, last) if last else None


def _outcome(said: str, rerun: Rerun | None, before: Song, after: Song) -> Outcome:
    from cuesuggest.draft.clashes import new_clashes

    lines = rerun.lines if rerun else ()
    if open_questions(before) and not open_questions(after):
        lines = (*lines, "No question is open any more.")
    known = {cue.id for cue in before.cues}
    new = [cue for cue in after.cues if cue.status == "added" and cue.id not in known]
    added = min(new, key=lambda cue: (cue.place.seconds, cue.number)).id if new else None
    remarks = tuple(clash for clash in new_clashes(before, after) if clash not in lines)
    return Outcome(said, lines, remarks, added)
