"""What is named on the command line, as songs: folders opened, each song once, each with a document of its own."""

from __future__ import annotations

import os
from collections.abc import Iterable
from pathlib import Path

from cuesuggest.errors import CuesuggestError
from cuesuggest.sound.recording import document_path

__all__ = ["songs"]

# What a folder of recordings holds; a file that is named itself may have any name. Files with picture and sound too:
# many a rehearsal is filmed with a phone.
_SOUND = {
    ".3gp", ".aac", ".aif", ".aifc", ".aiff", ".amr", ".au", ".caf", ".flac", ".m4a", ".m4v", ".mka", ".mkv", ".mov",
    ".mp2", ".mp3", ".mp4", ".oga", ".ogg", ".opus", ".rf64", ".w64", ".wav", ".wave", ".webm", ".wma", ".wv",
}  # fmt: skip


def songs(named: Iterable[Path], output: Path | None) -> dict[Path, Path]:
    """Find the recordings that are meant, and where their documents go.

    Parameters
    ----------
    named : iterable of Path
        Recordings, documents to run again, and folders of recordings.
    output : Path or None
        A document, or a folder for documents; beside each recording if None.

    Returns
    -------
    dict of Path to Path
        Recording, or document to run again, to its document, in the order named.

    Raises
    ------
    CuesuggestError
        If a folder holds no recordings, or two songs would be written to one document.
    """
    owners: dict[str, Path] = {}
    for file in (file for name in named for file in (_recordings_in(name) if name.is_dir() else [name])):
        document = _document(file, output)
        key = os.path.realpath(document)
        other = owners.get(key)
        # After a first run, DIR/* names a recording and its document: one song, and the recording is enough.
        if other is None or os.path.realpath(other) == key:
            owners[key] = file
        elif os.path.realpath(file) not in (key, os.path.realpath(other)):
            raise CuesuggestError(
                f"{other} and {file} would both be written to {document}. Name one of them, or run them one at a time "
                "with a document of its own for each (-o)."
            )
    return {file: _document(file, output) for file in owners.values()}


def _document(file: Path, output: Path | None) -> Path:
    if output is None:
        return document_path(file)
    return output / document_path(file).name if output.is_dir() else output


def _recordings_in(folder: Path) -> list[Path]:
    try:
        found = sorted(
            path
            for path in folder.iterdir()
            # Hidden ones are leavings of systems and programs, such as the shadow files on a memory stick.
            if path.suffix.lower() in _SOUND and not path.name.startswith(".") and path.is_file()
        )
    except OSError as error:
        raise CuesuggestError(f"{folder} cannot be opened: {error.strerror}. Check who may read it.") from None
    if not found:
        raise CuesuggestError(f"{folder} is a folder without recordings in it. Name another, or the recordings.")
    return found
