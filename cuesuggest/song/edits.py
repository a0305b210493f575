"""The one edit layer: every change is a pure function of song and edit, and has an inverse.

`change` is what the command line and the page call; history and undo are its list. Taking a change back
raises the revision like any other change (the file on disk does change) and moves the entry from `history` to
`undone`, from where `redo` brings it back. A new change empties `undone`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any, assert_never

from pydantic import TypeAdapter, ValidationError

from cuesuggest.analysis.types import Section
from cuesuggest.errors import EditError
from cuesuggest.score.bounds import MOST_CHANGES
from cuesuggest.score.records import Cue, Look, PlannedSection
from cuesuggest.song.edit_types import (
    AddCue,
    CueChanges,
    Edit,
    LookChanges,
    RemoveCue,
    SectionChanges,
    SetCorrections,
    SetCue,
    SetDoubts,
    SetLook,
    SetPlan,
    SetRecording,
    SetSection,
    SetSettings,
    SetTitle,
)
from cuesuggest.song.parts import HistoryEntry
from cuesuggest.song.taken_over import TakenOver
from cuesuggest.song.wording import plain_words

if TYPE_CHECKING:
    from cuesuggest.song.model import Song

__all__ = ["apply", "change", "change_all", "inverse", "last_action", "redo", "undo"]

_CHANGES: dict[type, TypeAdapter[Any]] = {
    SetCue: TypeAdapter(CueChanges),
    SetSection: TypeAdapter(SectionChanges),
    SetLook: TypeAdapter(LookChanges),
}
_NOT_CONTENT = frozenset({"status", "note", "lock"})
_UNTOUCHED = ("suggested", "accepted")


def apply(song: Song, edit: Edit) -> Song:
    """Return the song with one thing changed; revision and history stay as they are.

    Parameters
    ----------
    song : Song
        Is not altered.
    edit : SetCue, AddCue, RemoveCue, SetLook, SetPlan, SetSection, SetTitle, SetCorrections, SetRecording, SetDoubts or
        SetSettings
        What to change.

    Raises
    ------
    EditError
        If the edit names something that is not there, or gives a value that does not fit the song.
    """
    match edit:
        case SetCue():
            old, changes = _cue(song, edit.cue), _checked(edit)
            if old.lock and changes.get("lock", True) and _content_differs(old, changes):
                raise EditError(f"Cue {old.number:g} is locked. Unlock it first, then change it.")
            new: Cue = replace(old, **changes)
            if "status" not in changes and old.status in _UNTOUCHED and _content_differs(old, changes):
                new = replace(new, status="edited")
            return _with(song, edit, cues=tuple(new if each is old else each for each in song.cues))
        case AddCue():
            return _with(song, edit, cues=(*song.cues, edit.cue))
        case RemoveCue():
            gone = _cue(song, edit.cue)
            return _with(song, edit, cues=tuple(each for each in song.cues if each is not gone))
        case SetLook():
            look = _look(song, edit.look)
            coloured = replace(look, **{"decided": True, **_checked(edit)})
            return _with(song, edit, looks=tuple(coloured if each is look else each for each in song.looks))
        case SetPlan():
            planned = _planned(song, edit.section)
            decided = replace(planned, decided=edit.decided)
            return _with(song, edit, plan=tuple(decided if each is planned else each for each in song.plan))
        case SetSection():
            section, changes = _section(song, edit.section), _checked(edit)
            renamed = replace(section, **changes)
            sections = tuple(renamed if each is section else each for each in song.analysis.sections)
            return _with(song, edit, analysis=replace(song.analysis, sections=sections))
        case SetTitle():
            return _with(song, edit, title=edit.title)
        case SetCorrections():
            return _with(song, edit, corrections=edit.corrections)
        case SetRecording():
            # Until it is heard anew, what was heard in the one before must have room in the other.
            length = max(edit.recording.duration, song.recording.duration)
            return _with(song, edit, recording=replace(edit.recording, duration=length))
        case SetDoubts():
            return _with(song, edit, taken_over=replace(_taken_over(song), doubts=edit.doubts))
        case SetSettings():
            return _with(song, edit, profile=edit.profile, rig=edit.rig)
        case _:
            assert_never(edit)


def inverse(song: Song, edit: Edit) -> Edit:
    """Return the edit that takes `edit` back, once it has been applied to `song`.

    Raises
    ------
    EditError
        If the edit names something that is not in the song.
    """
    match edit:
        case SetCue():
            # The status too, since changed content changes it.
            cue = _cue(song, edit.cue)
            return SetCue(edit.cue, _values(cue, {**_checked(edit), "status": cue.status}))
        case AddCue():
            return RemoveCue(edit.cue.id)
        case RemoveCue():
            return AddCue(_cue(song, edit.cue))
        case SetLook():
            look = _look(song, edit.look)
            return SetLook(edit.look, _values(look, {**_checked(edit), "decided": look.decided}))
        case SetPlan():
            return SetPlan(edit.section, _planned(song, edit.section).decided)
        case SetSection():
            return SetSection(edit.section, _values(_section(song, edit.section), _checked(edit)))
        case SetTitle():
            return SetTitle(song.title)
        case SetCorrections():
            return SetCorrections(song.corrections, edit.keeps, song.analysis.sections)
        case SetRecording():
            return SetRecording(song.recording)
        case SetDoubts():
            return SetDoubts(_taken_over(song).doubts)
        case SetSettings():
            return SetSettings(song.profile, song.rig)
        case _:
            assert_never(edit)


def change(song: Song, edit: Edit, *, by: str, at: datetime | None = None) -> Song:
    """Apply an edit and write it into the history, under the next revision.

    Parameters
    ----------
    song : Song
        Is not altered.
    edit : Edit
        What to change.
    by : str
        Where the change is made, such as "command line" or "page".
    at : datetime, optional
        With a time zone; now if left out.

    Raises
    ------
    EditError
        As `apply` does.
    """
    return change_all(song, (edit,), by=by, at=at)


def change_all(song: Song, edits: Sequence[Edit], *, by: str, said: str = "", at: datetime | None = None) -> Song:
    """Apply edits one after the other as one action, which is taken back as one; the oldest changes are forgotten.

    Parameters
    ----------
    song : Song
        Is not altered.
    edits : sequence of Edit
        Each fits the song that those before it leave; without any the song stays as it is.
    by : str
        Where the change is made.
    said : str
        What the action does, in a sentence; each edit says it for itself if left out.
    at : datetime, optional
        With a time zone; now if left out.

    Raises
    ------
    EditError
        As `apply` does.
    """
    time = (at or datetime.now(UTC)).astimezone(UTC).isoformat(timespec="seconds").replace("+00:00", "Z")
    changed = song
    entries: list[HistoryEntry] = []
    for edit in edits:
        revision = song.revision + len(entries) + 1
        entries.append(HistoryEntry(revision, time, by, edit, inverse(changed, edit)))
        changed = apply(changed, edit)
    if not entries:
        return song
    entries[-1] = replace(entries[-1], together=len(entries), said=said)
    history = _latest((*song.history, *entries))
    return changed.replaced(revision=song.revision + len(entries), history=history, undone=())


def last_action(entries: Sequence[HistoryEntry]) -> tuple[HistoryEntry, ...]:
    """Return the changes of the last action of a history, or of what was taken back; none if there is none."""
    return tuple(entries[len(entries) - min(entries[-1].together, len(entries)) :]) if entries else ()


def _latest(entries: tuple[HistoryEntry, ...]) -> tuple[HistoryEntry, ...]:
    """The latest actions, each whole, that are no more than so many changes: half of one cannot be taken back."""
    if len(entries) <= MOST_CHANGES:
        return entries
    first = len(entries)
    while first and len(entries) - first + entries[first - 1].together <= MOST_CHANGES:
        first -= entries[first - 1].together
    return entries[max(first, 0) :]


def undo(song: Song) -> Song:
    """Take the last action back, under the next revision.

    Raises
    ------
    EditError
        If nothing was changed, or what was changed is no longer in the song.
    """
    entries = last_action(song.history)
    if not entries:
        raise EditError("There is no change to take back in this song.")
    changed = song
    for entry in reversed(entries):
        changed = apply(changed, entry.inverse)
    return changed.replaced(
        revision=song.revision + 1,
        history=song.history[: -len(entries)],
        undone=_latest((*song.undone, *entries)),
    )


def redo(song: Song) -> Song:
    """Make the action again that was taken back last, under the next revisions.

    Raises
    ------
    EditError
        If nothing was taken back since the last change.
    """
    entries = last_action(song.undone)
    if not entries:
        raise EditError("There is no change to make again in this song.")
    changed = song
    for entry in entries:
        changed = apply(changed, entry.edit)
    again = [replace(entry, revision=song.revision + k) for k, entry in enumerate(entries, 1)]
    return changed.replaced(
        revision=song.revision + len(entries),
        history=_latest((*song.history, *again)),
        undone=song.undone[: -len(entries)],
    )


def _content_differs(old: Cue, changes: dict[str, Any]) -> bool:
    return any(getattr(old, name) != value for name, value in changes.items() if name not in _NOT_CONTENT)


def _values(record: Cue | Look | Section, names: dict[str, Any]) -> Any:
    return {name: getattr(record, name) for name in names}


def _checked(edit: SetCue | SetLook | SetSection) -> dict[str, Any]:
    """Check field names and types; an edit made in Python was not read through pydantic."""
    if not edit.changes:
        raise EditError(f"{edit.op} names no field to change. Give at least one, such as a name or a note.")
    try:
        return dict(_CHANGES[type(edit)].validate_python(edit.changes))
    except ValidationError as error:
        raise _misfit(edit, error, edit.changes) from None


def _cue(song: Song, cue_id: str) -> Cue:
    for cue in song.cues:
        if cue.id == cue_id:
            return cue
    raise EditError(f"There is no cue {cue_id!r} in this song. Open the song again to see the cues it has now.")


def _look(song: Song, look_id: str) -> Look:
    for look in song.looks:
        if look.id == look_id:
            return look
    known = ", ".join(f"{each.id} ({each.name})" for each in song.looks)
    raise EditError(f"There is no look {look_id!r} in this song; it has {known or 'none'}.")


def _taken_over(song: Song) -> TakenOver:
    if song.taken_over is None:
        raise EditError("The cues of this song were not carried over from another take.")
    return song.taken_over


def _planned(song: Song, section_id: str) -> PlannedSection:
    for planned in song.plan:
        if planned.section == section_id:
            return planned
    raise EditError(f"The plan has no section {section_id!r}. Open the song again to see the sections it has now.")


def _section(song: Song, section_id: str) -> Section:
    for section in song.analysis.sections:
        if section.id == section_id:
            return section
    known = ", ".join(f"{each.id} ({each.mark})" for each in song.analysis.sections)
    raise EditError(f"There is no section {section_id!r} in this song; it has {known or 'none'}.")


def _with(song: Song, edit: Edit, **fields: Any) -> Song:
    try:
        return song.replaced(**fields)
    except ValidationError as error:
        raise _misfit(edit, error, None) from None


def _misfit(edit: Edit, error: ValidationError, given: Any) -> EditError:
    return EditError(
        f"This {edit.op} does not fit the song: {'; '.join(plain_words(error, given))}. Nothing was changed."
    )
