"""What the designer has said of a cue: anything at all, or that it stands."""

from __future__ import annotations

from cuesuggest.score.records import Cue

__all__ = ["decided", "stands"]


def decided(cue: Cue) -> bool:
    """Whether the designer has said anything about a cue."""
    return cue.status != "suggested" or cue.lock or bool(cue.note)


def stands(cue: Cue) -> bool:
    """Whether a cue's content is the designer's by now."""
    return cue.status in ("accepted", "edited", "added") or cue.lock
