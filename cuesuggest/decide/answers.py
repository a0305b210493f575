"""What the tool asks, and its answers as changes: each is a command, understood here without a shell."""

from __future__ import annotations

import shlex
from collections.abc import Callable, Sequence

from cuesuggest.decide import statements
from cuesuggest.decide.boundaries import section_starts
from cuesuggest.decide.decisions import find_cues, find_section, moved, place_at
from cuesuggest.errors import EditError
from cuesuggest.review.session import Change
from cuesuggest.song import Edit, SetCue, Song

__all__ = ["answered"]


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
        If the question or the answer is not there.
    """
    for each in song.questions:
        if each.id == question:
            if not 0 <= answer < len(each.answers):
                raise EditError("There is no such answer to that question.")
            chosen = each.answers[answer]
            return Change(tuple(_edits(song, shlex.split(chosen.command))), f"{each.text} {chosen.text}")
    raise EditError("That question is not open any more.")


def _edits(song: Song, words: Sequence[str]) -> list[Edit]:
    match words:
        case ["correct", "DOC", option, *values] if option in _STATEMENTS:
            return [_STATEMENTS[option](song, values)]
        case ["edit", "DOC", "accept", *cues]:
            return [SetCue(cue.id, {"status": "accepted"}) for cue in find_cues(song, tuple(cues))]
        case ["edit", "DOC", "reject", *cues]:
            return [SetCue(cue.id, {"status": "rejected"}) for cue in find_cues(song, tuple(cues))]
        case ["edit", "DOC", "move", cue, "--at", time]:
            place = place_at(song, seconds=float(time))
            return [moved(song, each, place) for each in find_cues(song, (cue,))]
    raise EditError(f"The page does not know this answer. Type it instead: cuesuggest {shlex.join(words)}")


_STATEMENTS: dict[str, Callable[[Song, Sequence[str]], Edit]] = {
    "--as-heard": lambda song, values: statements.tempo_times(song, 1.0),
    "--half": lambda song, values: statements.tempo_times(song, 0.5),
    "--double": lambda song, values: statements.tempo_times(song, 2.0),
    "--tempo": lambda song, values: statements.tempo(song, float(values[0])),
    "--meter": lambda song, values: statements.signature(song, values[0]),
    "--bar-one-at": lambda song, values: statements.bar_one_at(song, float(values[0])),
    "--shift-bar": lambda song, values: statements.bars_shifted(song, float(values[0])),
    "--starts": lambda song, values: section_starts(song, find_section(song, values[0]), int(values[1])),
}
