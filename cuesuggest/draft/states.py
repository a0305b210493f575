"""The last states of a document, kept beside the user's other things: an undo finds there what was, as it was.

A net below the net, too: the document itself is saved whole or not at all.
"""

from __future__ import annotations

import contextlib
import hashlib
import os
import shutil
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from cuesuggest.draft.folders import states_folder
from cuesuggest.errors import DocumentError
from cuesuggest.song import Song

__all__ = ["KeptState", "KeptStates", "kept_folder"]

_MOST_KEPT = 40
_ENDING = ".cues.json"


def kept_folder(document: Path) -> Path | None:
    """Where the last states of a document are kept, a folder for each, whatever link leads to it; or None."""
    real = Path(os.path.realpath(document))
    key = hashlib.sha256(os.fsencode(real)).hexdigest()[:12]
    folder = states_folder()
    return folder and folder / f"{real.name[:60]}-{key}"


@dataclass(frozen=True, slots=True)
class KeptState:
    """A state of a document that is whole."""

    name: str
    """Its revision, or its revision and who wrote it."""
    kept: datetime
    """When."""
    song: Song


class KeptStates:
    """States of one document by name: its revision, or its revision and who wrote it.

    What cannot be kept is not: nothing depends on it but comfort.
    """

    def __init__(self, folder: Path | None) -> None:
        """Keep states in a folder, which is made when it is needed; None keeps nothing."""
        self._folder = folder

    def keep_file(self, document: Path, name: str) -> None:
        """Keep what the document's file holds."""
        if self._made():
            try:
                shutil.copyfile(document, self._path(name))
                self._drop_oldest()
            except OSError:
                return

    def keep(self, song: Song, name: str) -> None:
        """Keep a song that is in no file."""
        if self._made():
            try:
                self._path(name).write_bytes(song.to_json())
            except OSError:
                return

    def of_revision(self, revision: int) -> Song | None:
        """Return the state of a revision; None if it is not there, or not whole."""
        if self._folder is None:
            return None
        try:
            return Song.load(self._path(str(revision)))
        except DocumentError:
            return None

    def whole(self) -> list[KeptState]:
        """Return every state that can be had, the latest last."""
        found = []
        for path in self._files():
            with contextlib.suppress(DocumentError, OSError):
                kept = datetime.fromtimestamp(path.stat().st_mtime, UTC)
                found.append(KeptState(path.name.removesuffix(_ENDING), kept, Song.load(path)))
        return found

    def _path(self, name: str) -> Path:
        assert self._folder is not None
        return self._folder / f"{name}{_ENDING}"

    def _made(self) -> bool:
        if self._folder is None:
            return False
        try:
            self._folder.mkdir(parents=True, exist_ok=True)
        except OSError:
            return False
        return True

    def _drop_oldest(self) -> None:
        for path in self._files()[:-_MOST_KEPT]:
            path.unlink(missing_ok=True)

    def _files(self) -> list[Path]:
        """Return the files of all states, the latest last."""
        if self._folder is None:
            return []
        return sorted(self._folder.glob(f"*{_ENDING}"), key=lambda path: path.stat().st_mtime_ns)
