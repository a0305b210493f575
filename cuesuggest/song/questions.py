"""Which questions are still open: one about cues is answered when they have been decided on."""

from __future__ import annotations

from typing import TYPE_CHECKING

from cuesuggest.cues import Question

if TYPE_CHECKING:
    from cuesuggest.song.model import Song

__all__ = ["open_questions"]

# Kinds of question that are about cues, not about the music: a decision on the cues answers them.
_ABOUT_CUES = ("stop", "ending")


def open_questions(song: Song) -> tuple[Question, ...]:
    """Return the questions of a song that nobody has answered yet, in their order."""
    untouched = {cue.id for cue in song.cues if cue.status == "suggested"}
    return tuple(
        question
        for question in song.questions
        if question.id.split("/")[0] not in _ABOUT_CUES or untouched.intersection(question.cues)
    )
