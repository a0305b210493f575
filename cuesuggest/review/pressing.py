"""What was pressed along, on its way between page and song: read with care, laid on bars and beats, put into words."""

from __future__ import annotations

from typing import Any, cast, get_args

from cuesuggest.decide.change import Change
from cuesuggest.decide.pressed import (
    Press,
    PressedRun,
    PressedSection,
    PressKind,
    Proposal,
    latency_of,
    proposed,
    taken_over,
)
from cuesuggest.errors import EditError
from cuesuggest.review.asked import Asked
from cuesuggest.score.records import Place, counted
from cuesuggest.song import Song

__all__ = ["CLICKS", "late_of", "proposal_of", "taken_as_pressed"]

# Slow enough that nobody is taken for the click before or after; enough of them that a mean is good to 15 ms even for
# somebody who is off by 40 ms each time. The first few are for listening in.
_FIRST, _APART, _COUNT = 1.0, 0.6, 34
CLICKS = tuple(round(_FIRST + _APART * k, 4) for k in range(_COUNT))
"""Seconds at which a click sounds while it is measured how late somebody presses."""

_MOST_PRESSES = 2000
_MOST_RUNS = 500
_KINDS = cast("tuple[PressKind, ...]", get_args(PressKind))


def late_of(asked: Asked) -> int:
    """Return how late somebody pressed to the click, in ms.

    Raises
    ------
    EditError
        If these are no taps to the click.
    """
    return round(1000 * latency_of(asked.numbers("taps"), CLICKS))


def proposal_of(song: Song, asked: Asked) -> dict[str, Any]:
    """Return what was pressed, laid on the song's bars and beats, beside what the draft has.

    Raises
    ------
    EditError
        If the page sent something else, or the song has no bars.
    """
    found = _proposed(song, asked)
    new = set(found.new_hits)
    return {
        "parts": [
            {"section": part.section, "start": part.start, "end": part.end, "category": part.category}
            for part in found.parts
        ],
        "sections": [_section(each) for each in found.sections],
        "hits": [{"seconds": hit.seconds, "new": hit in new} for hit in found.hits],
        "notes": [{"seconds": note.seconds} for note in found.notes],
        "words": _words(found),
        "loose": len(found.new_hits) + len(found.notes) > sum(len(s.hits) + len(s.notes) for s in found.sections),
    }


def taken_as_pressed(song: Song, asked: Asked) -> Change:
    """Return the change that takes over what was pressed: all of it, or one section; some sections may be left out.

    Raises
    ------
    EditError
        If the page sent something else, or nothing of it differs from the draft.
    """
    section = asked.text("section") if asked.has("section") else None
    left = asked.texts("left") if asked.has("left") else ()
    return taken_over(song, _proposed(song, asked), section, left)


def _proposed(song: Song, asked: Asked) -> Proposal:
    runs = tuple(
        PressedRun(
            tuple(Press(press.number("at", 0), press.choice("kind", _KINDS)) for press in run.records("presses")),
            run.number("until", 0),
        )
        for run in asked.records("runs", _MOST_RUNS)
    )
    if sum(len(run.presses) for run in runs) > _MOST_PRESSES:
        raise EditError(f"More than {_MOST_PRESSES} presses are no pass through a song. Begin anew.")
    return proposed(song, runs)


def _section(each: PressedSection) -> dict[str, Any]:
    return {
        "id": each.section,
        "mark": each.mark,
        "start": each.start,
        "drafted": each.drafted,
        "pressed": each.pressed,
        "differs": each.differs,
        "news": each.news,
        "words": f"{each.mark}: {_light_words(each)}",
        "more": _more_words(each),
    }


def _light_words(each: PressedSection) -> str:
    if each.pressed is None:
        few = "too few of its bars were pressed to say which light it has" if each.parts else "no light was pressed"
        return f"{few}; the draft's stays."
    if not each.differs:
        return f"you pressed {each.pressed}, as drafted."
    return f"you pressed {each.pressed}, the draft has {each.drafted or 'none'}."


def _more_words(each: PressedSection) -> str:
    """Say what else was pressed in a section."""
    said = []
    if len(each.parts) > 1:
        bars = ", ".join(_bar_words(part.first_bar, part.last_bar, part.category) for part in each.parts)
        said.append(f"Inside: {bars}. A section has one light: the one of most bars.")
    if each.hits:
        said.append(f"New {'one-shot' if len(each.hits) == 1 else 'one-shots'}: {_places(each.hits)}.")
    if each.notes:
        said.append(f"{'A note' if len(each.notes) == 1 else 'Notes'} to write: {_places(each.notes)}.")
    return " ".join(said)


def _bar_words(first: int, last: int, category: str) -> str:
    return f"{category} in bar {first}" if first == last else f"{category} in bars {first} to {last}"


def _places(places: tuple[Place, ...]) -> str:
    return "; ".join(str(place).partition(", ")[2] or str(place) for place in places)


def _words(found: Proposal) -> str:
    """Say how much of it is new."""
    differ = sum(each.differs for each in found.sections)
    said = [counted(differ, "section") + (" differs" if differ == 1 else " differ")] if differ else []
    said += [f"{counted(len(found.new_hits), 'new one-shot')}"] if found.new_hits else []
    said += [f"{counted(len(found.notes), 'note')} to write"] if found.notes else []
    return ", ".join(said) or "All that you pressed is as drafted"
