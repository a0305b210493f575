"""Which questions are still open: a fact that was stated answers one about the music, decisions one about cues."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from cuesuggest.score.deeds import Answer, JudgeCues, KeepPlace, MoveCue, Question
from cuesuggest.score.records import clock
from cuesuggest.song.compared import kind_words
from cuesuggest.song.corrections import FormCorrection

if TYPE_CHECKING:
    from cuesuggest.song.model import Song

__all__ = ["open_questions"]


_SAME_TIME = 1e-3  # s
# Kind of question -> the kind of fact that answers it.
_FACTS = {"tempo": "tempo", "meter": "time-signature", "bar-one": "downbeat", "false-start": "bar-one"}


def open_questions(song: Song) -> tuple[Question, ...]:
    """Return the questions of a song that nobody has answered yet, by whatever way, in their order.

    What came from another take is asked about last: first the bars have to be right.
    """
    return (*(question for question in song.questions if not _answered(song, question)), *_doubts(song))


def _doubts(song: Song) -> Iterator[Question]:
    """Ask about the cues from another take that may be on the wrong bar, unless they were moved or taken out since."""
    cues = {cue.id: cue for cue in song.cues if cue.status != "rejected"}
    for doubt in song.taken_over.doubts if song.taken_over else ():
        cue = cues.get(doubt.cue)
        if cue is None or abs(cue.place.seconds - doubt.at) > _SAME_TIME:
            continue
        others = (Answer(f"it belongs to {clock(seconds)}", MoveCue(cue.id, seconds)) for seconds in doubt.elsewhere)
        named = f"Cue {cue.number:g} ({kind_words(cue)}, {cue.place})"
        yield Question(
            id=f"take/{cue.id}",
            text=f"{named} came from another take: {doubt.why}. Is it right?",
            listen_at=doubt.at,
            cues=(cue.id,),
            answers=(
                Answer("it is right here", KeepPlace(cue.id)),
                *others,
                Answer("take it out", JudgeCues("rejected", (cue.id,))),
            ),
        )


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
