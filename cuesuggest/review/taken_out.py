"""What is taken out of the page: files for the browser to keep, or written beside the document.

Only inside the document's own folder is anything written, and only through the one gate out: a file that is there is
never replaced unless that was asked for.
"""

from __future__ import annotations

import io
import os
import zipfile
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

from cuesuggest import __version__
from cuesuggest.errors import EditError
from cuesuggest.export import FORMATS, Format, Options, write
from cuesuggest.gate_out import check_targets, write_all
from cuesuggest.review.asked import Asked
from cuesuggest.review.session import Session
from cuesuggest.song import Song, path_to
from cuesuggest.song.printed import changes, freeze_numbers, note_print
from cuesuggest.sound.recording import DOCUMENT_SUFFIX

__all__ = ["Download", "offered", "taken_out"]

_MOST_FILES = 100


@dataclass(frozen=True, slots=True)
class Download:
    """A file for the browser to keep."""

    name: str
    data: bytes


def offered() -> list[dict[str, Any]]:
    """Return the formats that the page offers, each with what it is for and the endings of its files.

    Copies of the sound are no part of it, nor what is of use only where machines fire cues by themselves.
    """
    return [
        {
            "name": form.name,
            "purpose": form.purpose + (" (experimental: check it on the desk)" if form.experimental else ""),
            "files": list(form.files),
        }
        for form in _offered()
    ]


def taken_out(session: Session, asked: Asked) -> Download | list[str]:
    """Write what was asked for.

    Parameters
    ----------
    session : Session
    asked : Asked
        `files`, endings of those that are offered; `paper`, `who` (empty: everybody's), `plain`; `into`, where
        "downloads" is the browser and "folder" is the document's; then `folder`, a folder in that one, which is made
        if it is missing, and `replace`, whether files that are there may be replaced.

    Returns
    -------
    Download or list of str
        The file, or all of them in one archive; or the names of those written, as seen from the document's folder.

    Raises
    ------
    ThereAlreadyError
        If a file is there already, and may not be replaced.
    CuesuggestError
        If something else stands in the way. Nothing has been written then.
    """
    if session.disk() != "same":
        raise EditError(f"{session.document.name} was changed by another program; nothing was exported.")
    forms = _chosen(asked.texts("files"))
    into = asked.choice("into", ("downloads", "folder"))
    song, document = session.song, session.document
    stem = document.name.removesuffix(DOCUMENT_SUFFIX)
    options = _options(song, asked)
    targets = []
    if into == "folder":
        folder = _inside(document.parent, asked.text("folder", 500))
        inputs = [document, path_to(document, song.recording.path)]
        names = [folder / (stem + ending) for ending in forms]
        targets = check_targets(names, inputs, force=asked.yes("replace"), make_folder=True)
    contents = {stem + ending: write(song, form, ending, options) for ending, form in forms.items()}
    written = write_all(targets, list(contents.values())) if targets else []
    # Noted in the document once the files are out.
    if any(form.on_paper for form in forms.values()):
        session.note(lambda now, at: note_print(now, at, options.date))
    else:
        session.note(freeze_numbers)
    if targets:
        return [os.path.relpath(path, document.parent) for path in written]
    if len(contents) == 1:
        return Download(*next(iter(contents.items())))
    return Download(f"{stem}.zip", _archive(contents))


def _offered() -> list[Format]:
    return [form for form in FORMATS.values() if not form.needs_sound and not form.needs_auto]


def _chosen(endings: tuple[str, ...]) -> dict[str, Format]:
    known = {ending: form for form in _offered() for ending in form.files}
    if not endings:
        raise EditError("No file is chosen. Choose at least one.")
    if len(endings) > _MOST_FILES or any(each not in known for each in endings):
        raise EditError("There is no such format. Open the page again.")
    return {ending: known[ending] for ending in endings}


def _options(song: Song, asked: Asked) -> Options:
    marks = changes(song)
    return Options(
        date=date.today().isoformat(),
        program=__version__,
        paper=asked.choice("paper", ("a4", "letter")),
        who=asked.text("who") or None,
        plain=asked.yes("plain"),
        changed=frozenset(marks.changed),
        removed=marks.removed,
    )


def _inside(home: Path, named: str) -> Path:
    """Return the folder of that name in the document's; links are followed, and lead nowhere else either."""
    folder = home / named
    real, own = os.path.realpath(folder), os.path.realpath(home)
    if os.path.isabs(named) or not Path(real).is_relative_to(own):
        raise EditError(
            f"{named} is not in the document's folder, and only there the page writes. Name a folder in it, or none; "
            "or let the browser keep the files, and move them."
        )
    return folder


def _archive(contents: dict[str, bytes]) -> bytes:
    held = io.BytesIO()
    with zipfile.ZipFile(held, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in contents.items():
            archive.writestr(name, data)
    return held.getvalue()
