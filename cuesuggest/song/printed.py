"""What was on paper last: the state of a song at its last print, and what is not as it was then."""

from __future__ import annotations

import json
from dataclasses import dataclass, replace
from hashlib import sha256
from pathlib import Path
from typing import TYPE_CHECKING

from cuesuggest.score.records import Cue
from cuesuggest.song.parts import Printed, PrintedCue

if TYPE_CHECKING:
    from cuesuggest.song.model import Song

__all__ = ["PrintChanges", "changes", "freeze_numbers", "note_print", "printed_now"]


@dataclass(frozen=True, slots=True)
class PrintChanges:
    """What a new print has to mark."""

    edition: int
    """Number that the print has: a print of the same content keeps its edition."""
    changed: tuple[str, ...]
    """Ids of cues that are new or other than in the edition before."""
    removed: tuple[float, ...]
    """Numbers of the cues of the edition before that are gone."""
    anything: bool
    """Whether the song is not as it was last printed, in cues, title or sections; True before the first print."""


def changes(song: Song) -> PrintChanges:
    """Compare a song with its last print.

    Parameters
    ----------
    song : Song

    Returns
    -------
    PrintChanges
        Before the first print nothing is marked. Printed again without a change, the marks of the edition stay, so
        that everybody who plays gets the same ones.
    """
    last = song.printed
    if last is None:
        return PrintChanges(1, (), (), anything=True)
    cues = _cues(song)
    if cues == last.cues and _head(song) == last.head:
        return PrintChanges(last.edition, last.changed, last.removed, anything=False)
    before = {each.id: each.digest for each in last.cues}
    left = {each.id for each in cues}
    return PrintChanges(
        last.edition + 1,
        tuple(each.id for each in cues if before.get(each.id) != each.digest),
        tuple(each.number for each in last.cues if each.id not in left),
        anything=True,
    )


def printed_now(song: Song, date: str) -> Printed:
    """Return what to keep of a song that is being printed.

    Parameters
    ----------
    song : Song
    date : str
        As 2031-05-04.

    Returns
    -------
    Printed
    """
    found = changes(song)
    return Printed(found.edition, date, _head(song), _cues(song), found.changed, found.removed)


def _cues(song: Song) -> tuple[PrintedCue, ...]:
    return tuple(PrintedCue(cue.id, cue.number, _digest(cue)) for cue in song.cues if cue.status != "rejected")


def _digest(cue: Cue) -> str:
    """Fold what stands on paper; seconds of a place with bars are left out, since nobody reads them there."""
    place = cue.place
    at = replace(place, seconds=0.0) if place.bar is not None else place
    content = [
        cue.number, cue.kind, cue.trigger, cue.anchor, str(at), place.bar, place.beat, cue.look, cue.side,
        cue.level, cue.up_beats, cue.up_seconds if cue.up_beats is None else None, cue.down_beats,
        cue.down_seconds if cue.down_beats is None else None, repr(cue.series), cue.who, cue.note, cue.cycle_seconds,
    ]  # fmt: skip
    return _folded(content)


def _head(song: Song) -> str:
    sections = song.analysis.sections
    named = [
        [each.label, each.pass_, each.bars, each.name, each.first_words, *([each.vamp] if each.vamp else [])]
        for each in sections
    ]
    return _folded([song.title, named])


def _folded(content: object) -> str:
    return sha256(json.dumps(content).encode()).hexdigest()[:16]


def freeze_numbers(song: Song, document: str | Path) -> None:
    """Note in the document that its list has left it: its cue numbers stay from now on.

    Raises
    ------
    DocumentError
        If the document cannot be written, or was changed meanwhile.
    """
    if not song.numbers_frozen:
        song.replaced(numbers_frozen=True, revision=song.revision + 1).save(document)


def note_print(song: Song, document: str | Path, date: str) -> None:
    """Keep in the document what is on paper now, so that the next print marks what is not as it was.

    Parameters
    ----------
    song : Song
    document : str or Path
    date : str
        As 2031-05-04.

    Raises
    ------
    DocumentError
        If the document cannot be written, or was changed meanwhile.
    """
    printed = printed_now(song, date)
    if song.printed is None or printed.edition != song.printed.edition:
        song.replaced(numbers_frozen=True, printed=printed, revision=song.revision + 1).save(document)
