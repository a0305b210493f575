"""Song documents as files: read with clear refusals, written whole or not at all."""

from __future__ import annotations

import errno
import json
import os
import stat
from pathlib import Path
from typing import Any

from cuesuggest import bounded
from cuesuggest.errors import DocumentError, reason_of
from cuesuggest.score.bounds import LARGEST, MOST_BYTES
from cuesuggest.song.atomic import fresh_file, put, put_new
from cuesuggest.song.saving_turn import saving_turn

__all__ = [
    "FORMAT",
    "VERSION",
    "check_savable",
    "file_state",
    "parse_document",
    "path_from",
    "path_to",
    "read_bytes",
    "write_document",
]

FORMAT = "cuesuggest-song"
VERSION = 1

_WAYS = ("edit", "inverse")  # of an entry in the history: what was done, and what takes it back


def read_bytes(path: Path) -> bytes:
    """Read a document's file.

    Raises
    ------
    DocumentError
        If there is no such file, it cannot be read, is no plain file, or is longer than a document ever is.
    """
    # What can only be read once cannot be replaced when all is done.
    if os.path.exists(path) and not os.path.isfile(path) and not os.path.isdir(path):
        raise DocumentError(f"{path} is no file but a pipe or a device. Name a song document (NAME.cues.json).")
    return bounded.read_bytes(path, MOST_BYTES, DocumentError)


def file_state(path: Path) -> tuple[int, int, int] | None:
    """Return what tells one state of a file from another without reading it; None if it cannot be looked at."""
    try:
        status = os.stat(path)
    except OSError:
        return None
    return status.st_mtime_ns, status.st_size, status.st_ino


def parse_document(data: bytes, where: str) -> tuple[str, dict[str, Any]]:
    """Find out whether bytes are a song document of a version that this program reads.

    Parameters
    ----------
    data : bytes
        A byte-order mark in front, as some editors leave one, is skipped.
    where : str
        What messages call the document.

    Returns
    -------
    tuple of str and dict
        Its JSON as text, and parsed.

    Raises
    ------
    DocumentError
        If it is not UTF-8, not JSON, not a song document, or of a newer version.
    """
    text = _text(data, where)
    parsed = _parsed(text, where)
    if not isinstance(parsed, dict) or parsed.get("format") != FORMAT:
        found = parsed.get("format") if isinstance(parsed, dict) else None
        says = f"its format is {found[:60]!r}" if isinstance(found, str) else "it does not name its format"
        raise DocumentError(
            f"{where} is not a song document ({says}, not {FORMAT!r}). Open the NAME.cues.json of a song."
        )
    version = parsed.get("version")
    if isinstance(version, bool) or not isinstance(version, int) or not 1 <= version <= LARGEST:
        raise DocumentError(f"{where}: version must be a whole number, 1 or more. Correct it, or take a saved copy.")
    if version > VERSION:
        raise DocumentError(
            f"{where} was written by a newer cuesuggest (document version {version}, this one reads version "
            f"{VERSION}). Update cuesuggest and open it again."
        )
    changed = _old_answers_dropped(parsed) | _old_words_dropped(parsed)
    return (json.dumps(parsed) if changed else text), parsed


def check_savable(path: str | Path) -> None:
    """Find out whether a document can be saved at a place, before the work that leads to it.

    Parameters
    ----------
    path : str or Path
        Links are followed. What is there, if anything, stays as it is.

    Raises
    ------
    DocumentError
        If it cannot: the folder is missing or cannot be written to, the name is too long, or what is there is
        write-protected or no file.
    """
    path = Path(path)
    target = Path(os.path.realpath(path))
    try:
        _mode_there(target, path)
        # Tried, not read from permissions: those say nothing of file systems that are read-only, or of the network.
        with fresh_file(target, b""):
            pass
    except OSError as error:
        raise _not_saved(path, error) from None


def write_document(path: Path, data: bytes, *, revision: int, expected_revision: int | None) -> None:
    """Put a document's bytes in place of what is there, whole or not at all.

    Parameters
    ----------
    path : Path
        Links are followed.
    data : bytes
        The whole document.
    revision : int
        Of the document being saved. It rises with every change, so other bytes under the revision that is on
        disk are refused as well.
    expected_revision : int or None
        What the file is known to hold; None if it is not supposed to exist.

    Raises
    ------
    DocumentError
        If the file holds something else, or cannot be written. It is then as it was before.
    """
    # A new file in place of a link would part it from the document that it leads to.
    target = Path(os.path.realpath(path))
    try:
        mode = _mode_there(target, path)
        with fresh_file(target, data, mode) as fresh, saving_turn(target, path):
            if os.path.lexists(target):
                _check_replaceable(target, path, data, revision, expected_revision)
                put(fresh, target)
            else:
                put_new(fresh, target)
    except FileExistsError:  # made by another program while we were at it
        raise _exists_already(path) from None
    except OSError as error:
        raise _not_saved(path, error) from None


def path_from(document: Path, file: Path) -> str:
    """Return the way from a document to a file, with forward slashes; absolute if there is none.

    Links in the way to the document's folder are followed, as `write_document` does.
    """
    folder = Path(os.path.realpath(document)).parent
    try:
        return Path(os.path.relpath(os.path.realpath(file), folder)).as_posix()
    except ValueError:  # another drive
        return Path(os.path.realpath(file)).as_posix()


def path_to(document: Path, named: str) -> Path:
    """Return where a file is that a document names, as `path_from` wrote it.

    A document that is reached by a link lies where the link leads to.
    """
    return Path(os.path.realpath(document)).parent / named


def _old_words_dropped(parsed: dict[str, Any]) -> bool:
    """Drop what the hand does, which cues once had as a text; whether any had. It is told from their values now.

    What a person wrote about a cue of their own becomes its note.
    """
    edits = [each.get(way) for part in ("history", "undone") for each in _dicts(parsed, part) for way in _WAYS]
    records = [
        *_dicts(parsed, "cues"),
        *(each.get("cue") for each in _dicts(parsed, "unplaced")),
        *(edit.get(part) for edit in edits if isinstance(edit, dict) for part in ("cue", "changes")),
    ]
    old = [each for each in records if isinstance(each, dict) and isinstance(each.get("hand"), str)]
    for record in old:
        words = record.pop("hand")
        if str(record.get("id", "")).startswith("own/") and not record.get("note"):
            record["note"] = words
    return bool(old)


def _dicts(parsed: dict[str, Any], part: str) -> list[dict[str, Any]]:
    listed = parsed.get(part)
    return [each for each in listed if isinstance(each, dict)] if isinstance(listed, list) else []


def _old_answers_dropped(parsed: dict[str, Any]) -> bool:
    """Drop answers as documents had them once; the next draft asks anew. Whether any were.

    They were command lines first, then deeds that told the speed of the beat as a number.
    """
    questions = parsed.get("questions")
    old = [
        question
        for question in (questions if isinstance(questions, list) else [])
        if isinstance(question, dict) and isinstance(question.get("answers"), list)
        if any(isinstance(answer, dict) and _is_old(answer) for answer in question["answers"])
    ]
    for question in old:
        question["answers"] = []
    return bool(old)


def _is_old(answer: dict[str, Any]) -> bool:
    deed = answer.get("deed")
    return "command" in answer or (isinstance(deed, dict) and deed.get("do") == "beat-times" and "factor" in deed)


def _text(data: bytes, where: str) -> str:
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise DocumentError(
            f"{where} is not UTF-8 text (byte {error.start} breaks it), so it is no song document, or it was "
            "saved in another encoding. Save it as UTF-8, or take a saved copy."
        ) from None


def _parsed(text: str, where: str) -> Any:
    def refuse(name: str) -> None:
        raise DocumentError(f"{where} holds {name}, which is not a number in JSON. Correct it, or take a saved copy.")

    try:
        return json.loads(text, parse_constant=refuse)
    except json.JSONDecodeError as error:
        raise DocumentError(
            f"{where}: the JSON breaks at line {error.lineno}, column {error.colno} ({error.msg}). "
            "Correct it there, or take a saved copy."
        ) from None
    except (RecursionError, ValueError):  # nested without end; a number of thousands of digits
        raise DocumentError(f"{where} is JSON that no song document holds. Take a saved copy.") from None


def _mode_there(target: Path, path: Path) -> int | None:
    """Permission bits of what is at a place, None if nothing is; refuses what no document can be put in place of."""
    try:
        status = target.stat()
    except (FileNotFoundError, NotADirectoryError):
        if not target.parent.is_dir():
            raise DocumentError(
                f"There is no folder {target.parent} to save {target.name} in. Make it first."
            ) from None
        return None
    if stat.S_ISDIR(status.st_mode):
        raise DocumentError(f"{path} is a folder. Give the document a name in it, such as NAME.cues.json.")
    if not stat.S_ISREG(status.st_mode):
        raise DocumentError(f"{path} is a pipe or a device, not a file. Give the document a name of its own.")
    if not status.st_mode & stat.S_IWUSR:
        raise DocumentError(f"{path} is write-protected. Allow writing, or save under another name.")
    return stat.S_IMODE(status.st_mode)


def _check_replaceable(target: Path, path: Path, data: bytes, revision: int, expected_revision: int | None) -> None:
    there = read_bytes(target)
    if expected_revision is None:
        if there == data:
            return
        raise _exists_already(path)
    found = parse_document(there, str(path))[1].get("revision")
    if found != expected_revision:
        raise DocumentError(
            f"{path} was changed by somebody else: it holds revision {found}, this change is based on "
            f"revision {expected_revision}. Open it again and repeat the change, or save under another name."
        )
    if revision == found and there != data:
        raise DocumentError(
            f"{path} holds revision {found} with other content. Open it again and repeat the change, "
            "or save under another name."
        )


def _exists_already(path: Path) -> DocumentError:
    return DocumentError(
        f"{path} exists already and was not opened to be changed. Save under another name, or move it away."
    )


def _not_saved(path: Path, error: OSError) -> DocumentError:
    next_ = "Choose a shorter name" if error.errno == errno.ENAMETOOLONG else "Make room or choose another folder"
    return DocumentError(
        f"{path} could not be saved: {reason_of(error)}. {next_}, then save again. What was saved there before is "
        "unchanged."
    )
