"""What is wrong with a document as it lies on disk, and which earlier states of it can be had."""

from __future__ import annotations

import os
from dataclasses import dataclass, replace
from pathlib import Path

from cuesuggest.draft.clashes import conflicts
from cuesuggest.draft.drafting import source_of
from cuesuggest.draft.states import KeptState, KeptStates, kept_folder
from cuesuggest.errors import CuesuggestError, DocumentError, EditError
from cuesuggest.song import Song, path_from
from cuesuggest.sound.recording import document_path, open_recording

__all__ = ["Health", "examined", "restore"]


@dataclass(frozen=True, slots=True)
class Health:
    """What was found."""

    findings: tuple[str, ...]
    """Sentences that say what is wrong, where, and what to do next; none if nothing is."""
    states: tuple[KeptState, ...]
    """Earlier whole states, the latest last; without those that are as the document is."""


def examined(document: Path) -> Health:
    """Look at a document, its recording, and whether its cues can be played together. Nothing is changed.

    Parameters
    ----------
    document : Path
        Need not be there: states that were kept of it can be had all the same.

    Returns
    -------
    Health
    """
    song, findings = None, []
    try:
        song = Song.load(document)
    except DocumentError as error:
        findings = str(error).splitlines()
    else:
        findings = [*_of_recording(document, song), *_of_cues(song)]
    states = KeptStates(kept_folder(document)).whole()
    return Health(tuple(findings), tuple(state for state in states if state.song != song))


def restore(document: Path, name: str, target: Path) -> Song:
    """Write an earlier state of a document to a new file.

    Parameters
    ----------
    document : Path
    name : str
        Of the state.
    target : Path
        Nothing may be there.

    Returns
    -------
    Song
        What was written: the state as it was kept, with the way to its recording from where it lies now.

    Raises
    ------
    EditError
        If no such state is kept.
    DocumentError
        If something is there already, or it cannot be written.
    """
    states = {state.name: state.song for state in KeptStates(kept_folder(document)).whole()}
    if name not in states:
        has = f"there are {', '.join(states)}" if states else "there is none"
        raise EditError(f"No whole state {name} is kept of {document}; {has}. Name one of those with --restore.")
    if os.path.lexists(target):
        raise DocumentError(f"{target} exists already. Name a new file with -o.")
    recording = states[name].recording
    source = Path(os.path.realpath(document)).parent / recording.path
    song = states[name].replaced(recording=replace(recording, path=path_from(target, source)))
    song.save(target)
    return song


def _of_recording(document: Path, song: Song) -> list[str]:
    try:
        source = source_of(document, song)
        heard = open_recording(source)
    except CuesuggestError as error:
        return [str(error), *_elsewhere(document, song)]
    if heard.sha256 == song.recording.sha256:
        return []
    return [
        f"{source} is not the file that {document} was made from: its bytes are others. Run suggest on {document}, "
        "which takes over what you decided where the sound is the same, or put the old file back."
    ]


def _elsewhere(document: Path, song: Song) -> list[str]:
    """Say where the recording lies now, if that is beside the document, under its name or the document's."""
    name = Path(song.recording.path).name
    try:
        beside = sorted(document.parent.iterdir())
    except OSError:
        return []
    for path in beside:
        if path == document or (path.name != name and document_path(path) != document):
            continue
        try:
            same = open_recording(path).sha256 == song.recording.sha256
        except CuesuggestError:
            continue
        if same:
            return [f"The same recording lies at {path}. Run suggest on it with -o {document}, which notes its place."]
    return []


def _of_cues(song: Song) -> list[str]:
    lost = [
        f"Cue {each.cue.number:g} ({each.cue.kind}, {each.cue.place}) has lost its place: {each.why}. Add it where it "
        "belongs (edit ... add), or leave it aside."
        for each in song.unplaced
    ]
    try:
        return [*lost, *(f"This cannot be played as it stands: {problem}" for problem in conflicts(song))]
    except CuesuggestError as error:  # the values of a style or rig that this version does not know
        return [*lost, str(error)]
