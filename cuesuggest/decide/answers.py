"""Answers to what the tool asks: the edits that one makes, and the command line that does the same."""

from __future__ import annotations

import shlex
from typing import assert_never

from cuesuggest.decide import statements
from cuesuggest.decide.boundaries import section_starts
from cuesuggest.decide.change import Change
from cuesuggest.decide.cue_edits import moved, place_kept
from cuesuggest.decide.meant import find_cues, find_section, place_at
from cuesuggest.errors import EditError
from cuesuggest.score.deeds import (
    BarOneAt,
    BeatTempo,
    BeatTimes,
    CountedIn,
    Deed,
    JudgeCues,
    KeepPlace,
    MoveCue,
    SectionStarts,
    ShiftBars,
)
from cuesuggest.song import Edit, SetCue, Song
from cuesuggest.song.open_questions import open_questions

__all__ = ["answered", "command", "edits_of"]


def answered(song: Song, question: str, answer: int) -> Change:
    """Return the change that an answer makes.

    Parameters
    ----------
    song : Song
    question : str
        Its id.
    answer : int
        Which of its answers, from 0.

    Raises
    ------
    EditError
        If the question or the answer is not there, or it does not fit the song any more.
    """
    for each in open_questions(song):
        if each.id == question:
            if not 0 <= answer < len(each.answers):
                raise EditError("There is no such answer to that question.")
            chosen = each.answers[answer]
            return Change(edits_of(song, chosen.deed), f"{each.text} {chosen.text}")
    raise EditError("That question is not open any more.")


def edits_of(song: Song, deed: Deed) -> tuple[Edit, ...]:
    """Return the edits of a deed, with absolute facts from the song as it is heard now.

    Raises
    ------
    EditError
        If it does not fit the song.
    """
    match deed:
        case BeatTimes():
            return (statements.tempo_times(song, deed.speed),)
        case BeatTempo():
            return (statements.tempo(song, deed.bpm),)
        case CountedIn():
            return (statements.signature(song, deed.signature),)
        case BarOneAt():
            return (statements.bar_one_at(song, deed.seconds),)
        case ShiftBars():
            return (statements.bars_shifted(song, deed.beats),)
        case SectionStarts():
            return (section_starts(song, find_section(song, deed.mark), deed.bar),)
        case JudgeCues():
            return tuple(SetCue(cue.id, {"status": deed.status}) for cue in find_cues(song, deed.cues))
        case MoveCue():
            place = place_at(song, seconds=deed.seconds)
            return tuple(moved(song, cue, place) for cue in find_cues(song, (deed.cue,)))
        case KeepPlace():
            return (place_kept(song, find_cues(song, (deed.cue,))),)
        case _:
            assert_never(deed)


def command(deed: Deed) -> str:
    """Return the words of the command line that do a deed, DOC for the document: "correct DOC --shift-bar 2"."""
    match deed:
        case BeatTimes():
            return f"correct DOC --{deed.speed}"
        case BeatTempo():
            return f"correct DOC --tempo {deed.bpm:g}"
        case CountedIn():
            return f"correct DOC --meter {deed.signature}"
        case BarOneAt():
            return f"correct DOC --bar-one-at {deed.seconds:.2f}"
        case ShiftBars():
            return f"correct DOC --shift-bar {deed.beats:g}"
        case SectionStarts():
            return f"correct DOC --starts {shlex.quote(deed.mark)} {deed.bar}"
        case JudgeCues():
            word = {"accepted": "accept", "rejected": "reject"}[deed.status]
            return f"edit DOC {word} {shlex.join(deed.cues)}"
        case MoveCue():
            return f"edit DOC move {shlex.quote(deed.cue)} --at {deed.seconds:.2f}"
        case KeepPlace():
            return f"edit DOC keep-place {shlex.quote(deed.cue)}"
        case _:
            assert_never(deed)
