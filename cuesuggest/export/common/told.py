"""Cues as something that is said at a moment: when, in which words, and whether a machine may do it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

from cuesuggest.export.common.escape import number_text, one_line
from cuesuggest.export.common.options import Options, is_automatic
from cuesuggest.export.common.timing import cues_in_time, in_time
from cuesuggest.score.grid import Grid
from cuesuggest.score.light import hand_place, hand_starts, presses
from cuesuggest.score.records import Cue, Look
from cuesuggest.song.hand_words import HandWords

if TYPE_CHECKING:
    from cuesuggest.song import Song

__all__ = ["BY_HAND", "Told", "told", "wording"]

BY_HAND = "By hand"


@dataclass(frozen=True, slots=True)
class Told:
    """A cue as something that is said at a moment."""

    at: float
    """Seconds of the show at which the hand starts: before the cue's place where a fade lands there."""
    cue: Cue
    action: str
    """What the hand does, in few words and whole."""
    automatic: bool
    where: str
    """Where the hand begins, and where it lands; empty for a later one of a series, whose place is another."""
    again: bool = False
    """A later one of a series."""


def told(song: Song, options: Options) -> list[Told]:
    """Every cue that stands and has room in the show's time as something to be said, in order of time.

    One-shots are told at the beat that they meet: how early to press is part of their words.

    Parameters
    ----------
    song : Song
    options : Options

    Returns
    -------
    list of Told
    """
    grid, words = Grid(song.analysis), HandWords(song)
    looks = {look.id: look for look in song.looks}
    found = []
    for cue in cues_in_time(song, options.timing)[0]:
        early = hand_starts(cue, grid) - cue.place.seconds
        where = f"{hand_place(cue, grid)}{f', lands at {cue.place}' if early < 0 else ''}"
        short = one_line(words.short(cue)) + _early_words(cue, looks)
        for index, seconds in enumerate(presses(cue, grid)):
            if not in_time(cue, seconds, options.timing):
                continue
            at = max(options.timing.show(seconds + early), options.timing.opens)
            again = index > 0
            found.append(Told(at, cue, short, is_automatic(cue, options), "" if again else where, again))
    return sorted(found, key=lambda each: (each.at, each.cue.number))


def _early_words(cue: Cue, looks: Mapping[str, Look]) -> str:
    """Say how much earlier than its beat a one-shot is pressed."""
    look = looks.get(cue.look or "")
    if cue.kind != "one-shot" or cue.anchor != "lands-on" or look is None or not look.peak_after:
        return ""
    return f", press {look.peak_after:.2g} s early"


def wording(each: Told) -> str:
    """A cue on one line: "3 cut-in: what the hand does", with "By hand" in front where no machine may do it."""
    words = f"{number_text(each.cue.number)} {each.cue.kind}{' again' if each.again else ''}: {each.action}"
    return words if each.automatic else f"{BY_HAND} {words}"
