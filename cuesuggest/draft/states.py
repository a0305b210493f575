"""The last states of a document, kept beside the user's other things: an undo finds there what was, as it was.

A net below the net, too: the document itself is saved whole or not at all.
"""

from __future__ import annotations

import hashlib
import os
import shutil
from pathlib import Path

from cuesuggest.errors import DocumentError
from cuesuggest.song import Song

__all__ = ["KeptStates", "kept_folder"]

_MOST_KEPT = 40
_ENDING = ".cues.json"


def kept_folder(document: Path) -> Path:
    """Where the last states of a document are kept: the user's folder for such things, one for each document."""
    from platformdirs import user_state_path

    key = hashlib.sha256(os.fsencode(os.path.realpath(document))).hexdigest()[:12]
    return user_state_path("cuesuggest") / "states" / f"{document.name[:60]}-{key}"


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
        assert self._folder is not None
        states = sorted(self._folder.glob(f"*{_ENDING}"), key=lambda path: path.stat().st_mtime_ns)
        for path in states[:-_MOST_KEPT]:
            path.unlink(missing_ok=True)
