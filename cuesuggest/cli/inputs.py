"""What is named on the command line, as songs or documents: folders opened, each once, each with its own document."""

from __future__ import annotations

import contextlib
import os
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path

from cuesuggest.errors import CuesuggestError, reason_of
from cuesuggest.sound.recording import DOCUMENT_SUFFIX, document_path

__all__ = ["documents", "songs"]

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
        Recording, or document to run again, to its document, in the order named. Recordings that differ only in
        their ending have documents of their whole names; a document that is there already stays with its recording.

    Raises
    ------
    CuesuggestError
        If a folder holds no recordings, or two songs would be written to one document.
    """
    files = {os.path.realpath(file): file for name in named for file in _files_in(name)}
    shared = Counter(os.path.realpath(_plain(file, output)) for file in files.values() if not _is_document(file))
    documents = {key: _document(file, output, shared) for key, file in files.items()}
    owners: dict[str, str] = {}
    for key, document in documents.items():
        place = os.path.realpath(document)
        # After a first run, DIR/* names a recording and its document: one song, and the recording is enough.
        if place not in owners or owners[place] == place:
            owners[place] = key
        elif key != place:
            raise CuesuggestError(
                f"{files[owners[place]]} and {files[key]} would both be written to {document}. Name one of them, or "
                "run them one at a time with a document of its own for each (-o)."
            )
    return {files[key]: documents[key] for key in owners.values()}


def documents(named: Iterable[Path]) -> list[Path]:
    """Find the documents that are meant, in the order named; in a folder, in the order of their names.

    Parameters
    ----------
    named : iterable of Path
        Documents, recordings, and folders of either. The document of a recording may be missing.

    Raises
    ------
    CuesuggestError
        If a document is named that is not there, or a folder holds neither documents nor recordings.
    """
    found: dict[str, Path] = {}
    for name in named:
        for document in _documents_in(name) if os.path.isdir(name) else [_document_named(name)]:
            found.setdefault(os.path.realpath(document), document)
    return list(found.values())


def _document_named(file: Path) -> Path:
    from cuesuggest.draft.beside import document_of
    from cuesuggest.song import Song
    from cuesuggest.sound.recording import open_recording

    document = document_of(file)
    if not os.path.exists(document):
        # Neither can be opened if it is not there, and each says why.
        if _is_document(file):
            Song.load(file)
        else:
            open_recording(file)
    return document


def _documents_in(folder: Path) -> list[Path]:
    """The documents of a folder, and those that its other recordings would have."""
    files = _listed(folder)
    there = [file for file in files if _is_document(file)]
    recordings = [file for file in files if _is_recording(file)]
    if not there and not recordings:
        raise CuesuggestError(f"{folder} is a folder without songs in it. Name another, or the documents.")
    names = {file.name for file in there}
    bare = [each for each in recordings if names.isdisjoint((document_path(each).name, each.name + DOCUMENT_SUFFIX))]
    # Only where a recording has no document by its name is it worth looking whose the documents are.
    heard = {os.path.realpath(each) for document in there for each in _recording_of(document)} if bare else set()
    missing = {document_path(each) for each in bare if os.path.realpath(each) not in heard}
    return sorted([*there, *missing], key=lambda each: each.name)


def _files_in(name: Path) -> list[Path]:
    return _recordings_in(name) if os.path.isdir(name) else [name]


def _recording_of(document: Path) -> Iterator[Path]:
    """The recording that a document is about; none of one that cannot be read."""
    from cuesuggest.song import Song, path_to

    with contextlib.suppress(CuesuggestError):
        yield path_to(document, Song.load(document).recording.path)


def _is_recording(file: Path) -> bool:
    return file.suffix.lower() in _SOUND


def _is_document(file: Path) -> bool:
    return file.name.endswith(DOCUMENT_SUFFIX)


def _plain(file: Path, output: Path | None) -> Path:
    """Where a document goes if nothing else is in the way."""
    if output is None:
        return document_path(file)
    return output / document_path(file).name if os.path.isdir(output) else output


def _document(file: Path, output: Path | None, shared: Mapping[str, int]) -> Path:
    from cuesuggest.draft.beside import document_of, document_of_whole_name, is_about

    plain = _plain(file, output)
    if output is not None and not os.path.isdir(output):
        return plain
    if shared[os.path.realpath(plain)] > 1 and not _is_document(file) and not is_about(plain, file):
        return document_of_whole_name(file, output)
    return document_of(file, output)


def _recordings_in(folder: Path) -> list[Path]:
    found = [file for file in _listed(folder) if _is_recording(file)]
    if not found:
        raise CuesuggestError(f"{folder} is a folder without recordings in it. Name another, or the recordings.")
    return found


def _listed(folder: Path) -> list[Path]:
    """The files of a folder, by name. Hidden ones are leavings of systems and programs, as on a memory stick."""
    try:
        return sorted(path for path in folder.iterdir() if not path.name.startswith(".") and path.is_file())
    except OSError as error:
        raise CuesuggestError(f"{folder} cannot be opened: {reason_of(error)}. Check who may read it.") from None
