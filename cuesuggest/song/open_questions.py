"""Which questions are still open: a fact that was stated answers one about the music, decisions one about cues."""

from __future__ import annotations

from typing import TYPE_CHECKING

from cuesuggest.score.deeds import Question
from cuesuggest.song.corrections import FormCorrection

if TYPE_CHECKING:
    from cuesuggest.song.model import Song

__all__ = ["open_questions"]


# Kind of question -> the kind of fact that answers it.
_FACTS = {"tempo": "tempo", "meter": "time-signature", "bar-one": "downbeat", "false-start": "bar-one"}


def open_questions(song: Song) -> tuple[Question, ...]:
    """Return the questions of a song that nobody has answered yet, by whatever way, in their order."""
    return tuple(question for question in song.questions if not _answered(song, question))


def _answered(song: Song, question: Question) -> bool:
    kind = question.id.partition("/")[0]
    stated = {fact.kind for fact in song.corrections}
    if kind in _FACTS:
        return _FACTS[kind] in stated
    if kind == "uncounted" and "tempo" in stated:
        return True
    if kind == "start":
        return any(isinstance(fact, FormCorrection) and fact.starts for fact in song.corrections)
    return not {cue.id for cue in song.cues if cue.status == "suggested"}.intersection(question.cues)
