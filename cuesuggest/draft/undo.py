"""The one undo: the last action taken back, or made again, whoever made it and wherever.

Where the state before it was kept and nothing but actions has happened since, the song is as it was, to the digit.
Elsewhere the inverses of its edits are applied, and the song is heard or drafted anew as far as they ask for it.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from cuesuggest.analysis.listen import Step
from cuesuggest.draft.again.merge import Rerun
from cuesuggest.draft.settling import settled
from cuesuggest.draft.states import KeptStates
from cuesuggest.song import HistoryEntry, Song, redo, undo
from cuesuggest.song.edits import last_action

__all__ = ["made_again", "taken_back"]

# What a document remembers of itself; all else is what an action changes.
_MEMORY = ("revision", "history", "undone", "printed")


def taken_back(song: Song, document: Path, kept: KeptStates, step: Step | None = None) -> tuple[Song, Rerun | None]:
    """Take back the last action.

    Parameters
    ----------
    song : Song
    document : Path
        Where it lies, to find its recording.
    kept : KeptStates
        Its last states.
    step : callable, optional
        Told the name of each step where the song is heard anew.

    Returns
    -------
    Song
        Not yet saved.
    Rerun or None
        What else has changed where the song was heard or drafted anew.

    Raises
    ------
    EditError
        If there is nothing to take back.
    DocumentError, RecordingChangedError
        If the song has to be heard anew and its recording is not there.
    """
    bare = undo(song)
    entries = last_action(song.history)
    restored = _as_in(kept, entries[0].revision - 1, song, bare, now=entries[-1].revision)
    return (restored, None) if restored else settled(song, bare, document, step)


def made_again(song: Song, document: Path, kept: KeptStates, step: Step | None = None) -> tuple[Song, Rerun | None]:
    """Make the last action again that was taken back; see `taken_back`.

    Raises
    ------
    EditError
        If there is nothing to make again.
    DocumentError, RecordingChangedError
        As `taken_back` does.
    """
    bare = redo(song)
    entries = last_action(song.undone)
    restored = _as_in(kept, entries[-1].revision, song, bare, now=entries[0].revision - 1)
    return (restored, None) if restored else settled(song, bare, document, step)


def _as_in(kept: KeptStates, revision: int, song: Song, bare: Song, *, now: int) -> Song | None:
    """Return `bare` with the content of another revision, if `song` is as in revision `now` and both belong to it."""
    here = song if now == song.revision else kept.of_revision(now)
    if here is None or _content(here) != _content(song):
        return None
    there = kept.of_revision(revision)
    # Numbers that are on paper by now stay.
    if there is None or there.numbers_frozen != song.numbers_frozen or not _same_edits(there.history, bare.history):
        return None
    return bare.replaced(**_content(there))


def _content(song: Song) -> dict[str, object]:
    return {name: value for name, value in song.__dict__.items() if name not in _MEMORY}


def _same_edits(first: Sequence[HistoryEntry], second: Sequence[HistoryEntry]) -> bool:
    return [(each.time, each.edit) for each in first] == [(each.time, each.edit) for each in second]
