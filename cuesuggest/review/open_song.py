"""A song that is open on the page: its document, and its sound from when that is first asked for."""

from __future__ import annotations

import threading
from pathlib import Path

from cuesuggest.errors import CuesuggestError
from cuesuggest.review.page_sound import Sound
from cuesuggest.review.session import Session
from cuesuggest.song import path_to
from cuesuggest.sound.recording import Window, open_recording

__all__ = ["OpenSong"]


class OpenSong:
    """An open document with its sound, as the routes use it. Safe to be called from several threads."""

    def __init__(self, document: Path, kept: Path | None = None) -> None:
        """Open a document; nothing is decoded yet.

        Parameters
        ----------
        document : Path
        kept : Path, optional
            Folder for the last states of it; none are kept if left out.

        Raises
        ------
        DocumentError
            If the document cannot be opened.
        """
        self.session = Session(document, kept)
        self._lock = threading.Lock()
        self._sound: Sound | None = None
        self._before: Sound | None = None
        self._part = self.session.song.recording.window
        self._no_sound = ""

    def sound(self) -> tuple[Sound | None, str]:
        """Return the sound of the song, decoded from now on if it was not yet; or None, and why there is none."""
        with self._lock:
            part = self.session.song.recording.window
            if self._sound is not None and part != self._part:
                # Somebody may be listening to the one that was: it stays until the next.
                if self._before is not None:
                    self._before.close()
                self._before, self._sound = self._sound, None
            self._part = part
            if self._sound is None and not self._no_sound:
                try:
                    self._sound = self._opened()
                except CuesuggestError as error:
                    self._no_sound = str(error)
            return self._sound, self._no_sound

    def close(self) -> None:
        """Let the sound go; it is decoded anew when it is asked for again."""
        with self._lock:
            for each in (self._before, self._sound):
                if each is not None:
                    each.close()
            self._before, self._sound, self._no_sound = None, None, ""

    def _opened(self) -> Sound:
        recording = self.session.song.recording
        heard = open_recording(path_to(self.session.document, recording.path))
        if heard.sha256 != recording.sha256:
            raise CuesuggestError(
                f"{recording.path} is not the file that this document was made from. Run suggest on the document again."
            )
        window = recording.window
        return Sound(heard, Window(window.start, window.end), window.end - window.start)
