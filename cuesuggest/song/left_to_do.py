"""What is left to do in a song: questions that are open, and cues that nobody has judged."""

from __future__ import annotations

from dataclasses import dataclass

from cuesuggest.score.records import counted
from cuesuggest.song.model import Song
from cuesuggest.song.open_questions import open_questions

__all__ = ["LeftToDo", "left_to_do"]


@dataclass(frozen=True, slots=True)
class LeftToDo:
    """How much is left to do in a song."""

    questions: int
    to_check: int
    """Cues that are as they were suggested."""

    @property
    def words(self) -> str:
        """In words: "2 questions, 12 cues to check"; empty where nothing is left."""
        asked = counted(self.questions, "question") if self.questions else ""
        unjudged = f"{counted(self.to_check, 'cue')} to check" if self.to_check else ""
        return ", ".join(filter(None, (asked, unjudged)))


def left_to_do(song: Song) -> LeftToDo:
    """Count what is left to do in a song."""
    return LeftToDo(len(open_questions(song)), sum(cue.status == "suggested" for cue in song.cues))
