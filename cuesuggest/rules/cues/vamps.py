"""Sections that go round until a sign: what waits for it, and what is done only once."""

from __future__ import annotations

from collections.abc import Sequence

from cuesuggest.analysis.types import Section
from cuesuggest.rules.brief import Brief, Move

__all__ = ["mark_vamps"]


def mark_vamps(moves: Sequence[Move], brief: Brief) -> list[Move]:
    """Say at every cue around a vamp why its rounds matter to it.

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
        why = f"{section.mark} goes round until {section.vamp}; how often is not known, so this waits for the sign."
        return move.because(why)
    inside = bar is not None and section.first_bar <= bar <= section.last_bar
    return move.because(f"{section.mark} goes round until {section.vamp}.") if inside else move
