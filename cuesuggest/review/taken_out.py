"""What is taken out of the page: files for the browser to keep, or written beside the document.

Only inside a document's own folder is anything written, and only through the one gate out: a file that is there is
never replaced unless that was asked for.
"""

from __future__ import annotations

import io
import os
import zipfile
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import date
from functools import partial
from pathlib import Path
from typing import Any

from cuesuggest import __version__
from cuesuggest.errors import CuesuggestError, DocumentError, EditError
from cuesuggest.export import FORMATS, Format, Options, write, write_several
from cuesuggest.gate_out import Target, check_targets, write_all
from cuesuggest.review.asked import Asked
from cuesuggest.review.evening import Evening
from cuesuggest.review.session import Session
from cuesuggest.song import Song, path_to
from cuesuggest.song.printed import changes, freeze_numbers, note_print

__all__ = ["Download", "Written", "offered", "taken_out"]

_MOST_FILES = 100
_ALL = "songs"
"""What a file that holds all songs is called, and the archive of all."""


@dataclass(frozen=True, slots=True)
class Download:
    """A file for the browser to keep."""

    name: str
    data: bytes
    left_out: list[str]
    """Of several songs, those that could not be taken out, and why."""


@dataclass(frozen=True, slots=True)
class Written:
    """Files that lie beside their documents now."""

    names: list[str]
    left_out: list[str]


@dataclass(frozen=True, slots=True)
class _Out:
    """A song that is taken out."""

    session: Session
    song: Song
    stem: str
    number: int
    options: Options


@dataclass(frozen=True, slots=True)
class _Wanted:
    """A file that is to be written, and the songs that are in it."""

    home: Path
    name: str
    in_archive: str
    form: Format
    songs: list[_Out]
    make: Callable[[], bytes]


def offered() -> list[dict[str, Any]]:
    """Return the formats that the page offers, each with what it is for and the endings of its files.

    Copies of the sound are no part of it.
    """
    return [
        {
            "name": form.name,
            "purpose": form.purpose + (" (experimental: check it on the desk)" if form.experimental else ""),
            "files": list(form.files),
        }
        for form in _offered()
    ]


def taken_out(evening: Evening, named: str, asked: Asked) -> Download | Written:
    """Write what was asked for.

    Parameters
    ----------
    evening : Evening
    named : str
        Id of the song that is shown.
    asked : Asked
        `files`, endings of those that are offered; `songs`, "this" (also if left out) or "all"; `paper`, `who` (empty:
        everybody's), `plain`; `into`, where "downloads" is the browser and "folder" is each document's; then `folder`,
        a folder in that one, which is made if it is missing, and `replace`, whether files that are there may be
        replaced.

    Returns
    -------
    Download or Written
        The file, or all of them in one archive; or the names of those written, as seen from the shown document's
        folder.

    Raises
    ------
    ThereAlreadyError
        If a file is there already, and may not be replaced.
    CuesuggestError
        If something else stands in the way. Nothing has been written then.
    """
    forms = _chosen(asked.texts("files"))
    every = asked.has("songs") and asked.choice("songs", ("this", "all")) == "all"
    into = asked.choice("into", ("downloads", "folder"))
    home = evening.song(named).session.document.parent
    outs, left_out = _songs(evening, named, every, asked)
    files = _files(outs, forms, together=every and len(evening.ids) > 1)
    targets: list[Target] = []
    if into == "folder":
        places = [_inside(file.home, asked.text("folder", 500)) / file.name for file in files]
        inputs = [
            path
            for out in outs
            for path in (out.session.document, path_to(out.session.document, out.song.recording.path))
        ]
        targets = check_targets(places, inputs, force=asked.yes("replace"), make_folder=True)
    made = dict(_made(files, left_out if every else None))
    if not made:
        raise EditError(" ".join(left_out))
    written = write_all([targets[k] for k in made], list(made.values())) if targets else []
    _note([files[k] for k in made])
    if targets:
        return Written([os.path.relpath(path, home) for path in written], left_out)
    if len(made) == 1:
        ((k, data),) = made.items()
        return Download(files[k].name, data, left_out)
    name = _ALL if every else outs[0].stem
    return Download(f"{name}.zip", _archive({files[k].in_archive: data for k, data in made.items()}), left_out)


def _songs(evening: Evening, named: str, every: bool, asked: Asked) -> tuple[list[_Out], list[str]]:
    """Return the songs that are meant; and which of them cannot be opened, with the reason."""
    outs, left_out = [], []
    for number, each in enumerate(evening.ids, 1):
        if not every and each != evening.place_of(named)["song"]:
            continue
        try:
            session = evening.song(each).session
        except DocumentError:
            unread = evening.look(each)
            why = unread.wrong if unread and unread.wrong else "not drafted yet."
            left_out.append(f"{evening.name_of(each)}: {why}")
            continue
        if session.disk() != "same":
            raise EditError(f"{session.document.name} was changed by another program; nothing was exported.")
        song = session.song
        outs.append(_Out(session, song, evening.name_of(each), number, _options(song, asked)))
    return outs, left_out


def _files(outs: list[_Out], forms: dict[str, Format], *, together: bool) -> list[_Wanted]:
    """Return the files to make: one for each song, or one for all where a format can and several are wanted."""
    files = []
    for out in outs:
        for ending, form in forms.items():
            if together and form.several:
                continue
            name = out.stem + ending
            make = partial(write, out.song, form, ending, out.options)
            in_archive = f"{out.number:02d} {name}" if together else name
            files.append(_Wanted(out.session.document.parent, name, in_archive, form, [out], make))
    for ending, form in forms.items():
        if together and form.several:
            name = _ALL + ending
            make = partial(write_several, [(out.song, out.options) for out in outs], form)
            files.append(_Wanted(outs[0].session.document.parent, name, name, form, outs, make))
    return files


def _made(files: list[_Wanted], left_out: list[str] | None) -> Iterator[tuple[int, bytes]]:
    """Make the files; of several songs' those that cannot be made are told instead."""
    for k, file in enumerate(files):
        try:
            yield k, file.make()
        except CuesuggestError as error:
            if left_out is None:
                raise
            left_out.append(f"{file.name}: {error}")


def _note(files: list[_Wanted]) -> None:
    """Note in each document what of it is out there now."""
    outs = {out.session.document: out for file in files for out in file.songs}
    on_paper = {out.session.document for file in files if file.form.on_paper for out in file.songs}
    for document, out in outs.items():
        if document in on_paper:
            out.session.note(partial(_printed, out.options.date))
        else:
            out.session.note(freeze_numbers)


def _printed(day: str, song: Song, document: Path) -> None:
    note_print(song, document, day)


def _offered() -> list[Format]:
    return [form for form in FORMATS.values() if not form.needs_sound]


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
