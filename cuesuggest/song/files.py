"""Song documents as files: read with clear refusals, written whole or not at all."""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
import stat
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from filelock import FileLock, Timeout

from cuesuggest import bounded
from cuesuggest.errors import DocumentError
from cuesuggest.score.bounds import LARGEST, MOST_BYTES
from cuesuggest.song.atomic import replace_file

__all__ = ["FORMAT", "VERSION", "parse_document", "path_from", "path_to", "read_bytes", "write_document"]

FORMAT = "cuesuggest-song"
VERSION = 1
LOCK_SECONDS = 10.0  # A save takes milliseconds; a longer wait means that something hangs.


def read_bytes(path: Path) -> bytes:
    """Read a document's file.

    Raises
    ------
    DocumentError
        If there is no such file, it cannot be read, is no plain file, or is longer than a document ever is.
    """
    if not bounded.regular(path):
        raise DocumentError(f"{path} is no file but a pipe or a device. Name a song document (NAME.cues.json).")
    return bounded.read_bytes(path, MOST_BYTES, DocumentError)


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
    return (json.dumps(parsed) if _old_answers_dropped(parsed) else text), parsed


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
    if os.path.isdir(target):
        raise DocumentError(f"{path} is a folder. Give the document a name in it, such as NAME.cues.json.")
    if not os.path.isdir(target.parent):
        raise DocumentError(f"There is no folder {target.parent} to save {target.name} in. Make it first.")
    try:
        with _lock(target):
            mode = None
            if os.path.lexists(target):
                mode = stat.S_IMODE(target.stat().st_mode)
                _check_replaceable(target, path, data, mode, revision, expected_revision)
            replace_file(target, data, mode)
    except Timeout:
        raise DocumentError(
            f"{path} is being saved by another program. Wait for it to finish, then save again."
        ) from None
    except OSError as error:
        raise DocumentError(
            f"{path} could not be saved: {_reason(error)}. Make room or choose another folder, then save "
            "again. What was saved there before is unchanged."
        ) from None


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


@contextlib.contextmanager
def _lock(target: Path) -> Iterator[None]:
    """Keep other saves of the same document out.

    The lock file lies in the temporary folder: beside the document it would be litter in the user's folder.
    It excludes this user's programs on this machine; others still meet the revision.
    """
    folder = Path(tempfile.gettempdir()) / f"cuesuggest-{os.getuid() if hasattr(os, 'getuid') else 'locks'}"
    folder.mkdir(mode=0o700, exist_ok=True)
    if hasattr(os, "getuid") and (folder.is_symlink() or folder.stat().st_uid != os.getuid()):
        # Somebody else could put a link there that leads to a file of ours.
        raise DocumentError(f"{folder} belongs to somebody else. Remove it, or set TMPDIR to a folder of yours.")
    name = hashlib.sha256(os.fsencode(target)).hexdigest()[:32]
    with FileLock(folder / f"{name}.lock", timeout=LOCK_SECONDS):
        yield


def _check_replaceable(
    target: Path, path: Path, data: bytes, mode: int, revision: int, expected_revision: int | None
) -> None:
    if not mode & stat.S_IWUSR:
        raise DocumentError(f"{path} is write-protected. Allow writing, or save under another name.")
    there = read_bytes(target)
    if expected_revision is None:
        if there == data:
            return
        raise DocumentError(
            f"{path} exists already and was not opened to be changed. Save under another name, or move it away."
        )
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


def _reason(error: OSError) -> str:
    return (error.strerror or str(error)).lower()
