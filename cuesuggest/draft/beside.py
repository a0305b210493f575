"""Which document is a recording's: beside it, by its name; by its whole name where two recordings share the first."""

from __future__ import annotations

import os
from pathlib import Path

from cuesuggest.errors import DocumentError
from cuesuggest.song import Song
from cuesuggest.sound.recording import DOCUMENT_SUFFIX, document_path

__all__ = ["document_of", "document_of_whole_name", "is_about"]


def document_of(recording: str | Path, folder: Path | None = None) -> Path:
    """Where a recording's song document lies unless told otherwise.

    Parameters
    ----------
    recording : str or Path
        A recording; a document's own path is given back.
    folder : Path, optional
        Folder of documents; the recording's if left out.

    Returns
    -------
    Path
        NAME.EXT.cues.json if it is there and about this recording, NAME.cues.json otherwise.
    """
    plain = document_path(recording)
    plain = plain if folder is None else folder / plain.name
    whole = document_of_whole_name(recording, folder)
    # A recording called NAME.EXT.mp3 has its document under that name.
    return whole if whole != plain and is_about(whole, Path(recording)) else plain


def document_of_whole_name(recording: str | Path, folder: Path | None = None) -> Path:
    """Where the document lies of a recording that shares its name with another: NAME.EXT.cues.json.

    Parameters are those of `document_of`.
    """
    path = Path(recording)
    name = path.name if path.name.endswith(DOCUMENT_SUFFIX) else path.name + DOCUMENT_SUFFIX
    return (folder or path.parent) / name


def is_about(document: Path, recording: Path) -> bool:
    """Whether a document is there that names a recording as its own."""
    if not os.path.isfile(document):
        return False
    try:
        song = Song.load(document)
    except DocumentError:
        return False
    named = Path(os.path.realpath(document)).parent / song.recording.path
    return os.path.realpath(named) == os.path.realpath(recording)
