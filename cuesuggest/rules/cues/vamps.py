"""Sections that go round until a sign: what waits for it, and what is done only once."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from cuesuggest.analysis.types import Section
from cuesuggest.rules.brief import ONE_SHOT_RANK, Brief, Move

__all__ = ["mark_vamps"]


def mark_vamps(moves: Sequence[Move], brief: Brief) -> list[Move]:
    """Say at every cue around a vamp what its rounds mean for the hand.

    What comes with the next section, and what leaves before it, waits for the sign; what sets up or comes in is done
    the first time round; one-shots come every time.
    """
    marked = list(moves)
    sections = brief.grid.sections
    for index, section in enumerate(sections):
        if not section.vamp:
            continue
        after = sections[index + 1] if index + 1 < len(sections) else None
        marked = [_marked(move, section, after) for move in marked]
    return marked


def _marked(move: Move, section: Section, after: Section | None) -> Move:
    cue, bar = move.cue, move.cue.place.bar
    opens_next = after is not None and bar == after.first_bar and (cue.place.beat or 1.0) < 2.0
    leaves = cue.section_id == section.id and cue.rule in ("leave", "ending")
    if opens_next or leaves:
        return _with_words(
            move,
            f"only after the sign: {section.vamp}",
            f"{section.mark} goes round until {section.vamp}; how often is not known, so this waits for the sign.",
        )
    inside = bar is not None and section.first_bar <= bar <= section.last_bar
    if inside and move.rank == ONE_SHOT_RANK:
        return _with_words(move, "the same every time round", f"{section.mark} goes round until {section.vamp}.")
    if inside:
        return _with_words(move, "the first time round", f"{section.mark} goes round until {section.vamp}.")
    return move


def _with_words(move: Move, hand: str, reason: str) -> Move:
    cue = move.cue
    return replace(move, cue=replace(cue, hand=f"{cue.hand}; {hand}", reasons=(*cue.reasons, reason)))
