"""Edits told as sentences."""

from __future__ import annotations

from collections.abc import Sequence

from cuesuggest.decide.statements import described
from cuesuggest.score.grid import Grid
from cuesuggest.score.light import hand_place
from cuesuggest.score.records import Cue, clock, counted
from cuesuggest.song import (
    AddCue,
    Edit,
    HistoryEntry,
    RemoveCue,
    SetCorrections,
    SetCue,
    SetDoubts,
    SetLook,
    SetPlan,
    SetRecording,
    SetSection,
    SetSettings,
    SetTitle,
    Song,
)
from cuesuggest.song.compared import kind_words
from cuesuggest.song.hand_words import length_words

__all__ = ["action_text", "cue_words", "describe", "entry_text"]

_FOLLOWS = ("up_seconds", "down_seconds")
_LENGTHS = {"up_beats": "up", "down_beats": "down"}


def action_text(song: Song, entries: Sequence[HistoryEntry]) -> str:
    """Say in a sentence what an action did: in its own words, or by its edits."""
    return entries[-1].said or "; ".join(entry_text(song, entry) for entry in entries)


def entry_text(song: Song, entry: HistoryEntry) -> str:
    """Say in a sentence what a change of the history did; what it took out is told as it was."""
    if isinstance(entry.edit, RemoveCue) and isinstance(entry.inverse, AddCue):
        return f"{cue_words(song, entry.inverse.cue)} removed"
    return describe(song, entry.edit)


def cue_words(song: Song, cue: Cue) -> str:
    """Name a cue by its number and where the hand begins it: "cue 4 in B2, bar 3 of 8"."""
    place = hand_place(cue, Grid(song.analysis))
    return f"cue {cue.number:g} {'at' if place.bar is None else 'in'} {place}"


def describe(song: Song, edit: Edit) -> str:
    """Say in a sentence what an edit does; no ids, since nobody has seen them."""
    match edit:
        case SetCue():
            # Seconds follow from the rest, and are no news beside it.
            told = {name: value for name, value in edit.changes.items() if name not in _FOLLOWS} or edit.changes
            said = ", ".join(_value_words(song, name, value) for name, value in told.items())
            return f"{_cue_name(song, edit.cue)}: {said}"
        case AddCue():
            return f"cue {edit.cue.number:g} added: {kind_words(edit.cue)} at {edit.cue.place}"
        case RemoveCue():
            return f"{_cue_name(song, edit.cue)} removed"
        case SetSection():
            said = ", ".join(_value_words(song, key, value) for key, value in edit.changes.items())
            return f"{_section_name(song, edit.section)}: {said}"
        case SetLook():
            name = next((look.name for look in song.looks if look.id == edit.look), "a look that is not there any more")
            words = [_value_words(song, key, value) for key, value in edit.changes.items() if key != "decided"]
            return f"{name}: {', '.join(words) or 'as drafted'}"
        case SetPlan():
            return f"{_section_name(song, edit.section)}: {edit.decided or 'light as the plan has it'}"
        case SetTitle():
            return f"the song is called {edit.title!r}"
        case SetCorrections():
            return "stated: " + ("; ".join(described(edit.corrections)) or "nothing")
        case SetDoubts():
            left = counted(len(edit.doubts), "cue") if edit.doubts else "no cue"
            return f"{left} from another take left to listen to"
        case SetSettings():
            return f"drafted in the house style {edit.profile.name}, for the rig {edit.rig.name}"
        case SetRecording():
            window = edit.recording.window
            name = edit.recording.path.rpartition("/")[2]
            return f"the song is {clock(window.start)} to {clock(window.end)} of {name}"


def _cue_name(song: Song, id_: str) -> str:
    found = next((cue for cue in song.cues if cue.id == id_), None)
    return cue_words(song, found) if found else "a cue that is not in the list any more"


def _section_name(song: Song, id_: str) -> str:
    found = next((each for each in song.analysis.sections if each.id == id_), None)
    return found.mark if found else "a section that is not there any more"


def _value_words(song: Song, name: str, value: object) -> str:
    if name == "status":
        return str(value)
    if name == "lock":
        return "locked" if value else "unlocked"
    if name == "operator_confirms":
        return "waits for a person" if value else "may play by itself"
    if name == "place":
        return f"moved to {value}"
    if name == "vamp" and value:
        return f"round until {value}"
    if name == "look":
        named = next((look.name for look in song.looks if look.id == value), None)
        return f"look {named or value}"
    if name in _LENGTHS and isinstance(value, float | int):
        return f"{_LENGTHS[name]} over {length_words(value, None)}" if value else f"{_LENGTHS[name]} at once"
    words = name.replace("_", " ")
    if value in (None, ""):
        return f"no {words}"
    return f"{words} {value:g}" if isinstance(value, float) else f"{words} {value}"
