"""Edits told as sentences."""

from __future__ import annotations

from collections.abc import Sequence

from cuesuggest.decide.statements import described
from cuesuggest.song import (
    AddCue,
    Edit,
    HistoryEntry,
    RemoveCue,
    SetCorrections,
    SetCue,
    SetPlan,
    SetSection,
    SetTitle,
    Song,
)

__all__ = ["action_text", "describe"]

_FOLLOWS = ("up_seconds", "down_seconds")


def action_text(song: Song, entries: Sequence[HistoryEntry]) -> str:
    """Say in a sentence what an action did: in its own words, or by its edits."""
    return entries[-1].said or "; ".join(describe(song, entry.edit) for entry in entries)


def describe(song: Song, edit: Edit) -> str:
    """Say in a sentence what an edit does; cues that are gone are called by their id."""
    match edit:
        case SetCue():
            # Seconds follow from the rest, and are no news beside it.
            told = {name: value for name, value in edit.changes.items() if name not in _FOLLOWS} or edit.changes
            said = ", ".join(_value_words(song, name, value) for name, value in told.items())
            return f"{_cue_name(song, edit.cue)}: {said}"
        case AddCue():
            return f"cue {edit.cue.number:g} added: {edit.cue.kind} at {edit.cue.place}"
        case RemoveCue():
            return f"{_cue_name(song, edit.cue)} removed"
        case SetSection():
            found = next((each for each in song.analysis.sections if each.id == edit.section), None)
            name = found.mark if found else f"section {edit.section}"
            return f"{name}: " + ", ".join(_value_words(song, key, value) for key, value in edit.changes.items())
        case SetPlan():
            found = next((each for each in song.analysis.sections if each.id == edit.section), None)
            name = found.mark if found else f"section {edit.section}"
            return f"{name}: {edit.decided or 'light as the plan has it'}"
        case SetTitle():
            return f"the song is called {edit.title!r}"
        case SetCorrections():
            return "stated: " + ("; ".join(described(edit.corrections)) or "nothing")


def _cue_name(song: Song, id_: str) -> str:
    found = next((cue for cue in song.cues if cue.id == id_), None)
    return f"cue {found.number:g}" if found else f"cue {id_}"


def _value_words(song: Song, name: str, value: object) -> str:
    if name == "status":
        return str(value)
    if name == "lock":
        return "locked" if value else "unlocked"
    if name == "place":
        return f"moved to {value}"
    if name == "vamp" and value:
        return f"round until {value}"
    if name == "look":
        named = next((look.name for look in song.looks if look.id == value), None)
        return f"look {named or value}"
    words = name.replace("_", " ")
    if value in (None, ""):
        return f"no {words}"
    return f"{words} {value:g}" if isinstance(value, float) else f"{words} {value}"
