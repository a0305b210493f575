"""What somebody decides: edits that belong together, and the sentence that says what they do."""

from __future__ import annotations

from dataclasses import dataclass

from cuesuggest.errors import EditError
from cuesuggest.song import Edit, Song, change_all

__all__ = ["Change"]


@dataclass(frozen=True, slots=True)
class Change:
    """One action: its edits, from a song in which what they speak of is there."""

    edits: tuple[Edit, ...]
    said: str
    """What was done, as a sentence; it is also what undo says."""

    def made_in(self, song: Song, *, by: str) -> Song:
        """Return the song with the change made, as one action in its history.

        Parameters
        ----------
        song : Song
        by : str
            Where the change is made, such as "page".

        Raises
        ------
        EditError
            If an edit does not fit the song, or there is nothing to change.
        """
        if not self.edits:
            raise EditError(f"{self.said.rstrip('.')}: that is so already.")
        return change_all(song, self.edits, by=by, said=self.said)
