"""Another take of a song heard as the first one is counted: the same beats, bars and letters."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from cuesuggest.analysis.listen import Step
from cuesuggest.analysis.takes.align import Aligned, align, too_long
from cuesuggest.analysis.takes.take import HeardTake
from cuesuggest.analysis.types import Section, SongAnalysis
from cuesuggest.draft.again.counted_alike import bars_as_in
from cuesuggest.draft.again.other_take import Passage
from cuesuggest.draft.listening import Framed
from cuesuggest.errors import RecordingError
from cuesuggest.song import Correction

__all__ = ["OTHER_SONG", "USUAL_KEYS", "OtherSongError", "laid_on", "named", "read_alike"]

OTHER_SONG = -0.35
"""Nats a beat; takes of one song lie above, five in six of other songs below."""
USUAL_KEYS = 2
"""Semitones that takes of one song are apart at most."""
_ROUNDS = 3  # of hearing anew under what the other take says of the bars
_FEWEST = 0.2  # of the new take's beats that must be in the old one


class OtherSongError(RecordingError):
    """A recording that has nothing of the song."""


def read_alike(
    before: HeardTake, frames: Framed, path: Path, step: Step | None
) -> tuple[Aligned, SongAnalysis, tuple[Correction, ...]]:
    """Hear a new take under what the old one says of its bars, until both are counted alike.

    Parameters
    ----------
    before : HeardTake
        The old take, with the bars that hold.
    frames : Framed
        The new take.
    path : Path
        Where it lies.
    step : callable, optional
        Told the name of each step.

    Returns
    -------
    Aligned
    SongAnalysis
        Of the new take.
    tuple of Correction
        What has to be stated of it.

    Raises
    ------
    OtherSongError
        If it has nothing of the song.
    """
    facts: tuple[Correction, ...] = ()
    analysis = frames.analysis((), step)
    aligned = laid_on(before, frames, analysis, path)
    for _ in range(_ROUNDS):
        more = [fact for fact in bars_as_in(before.analysis, analysis, aligned) if fact not in facts]
        if not more:
            break
        again = frames.analysis((*facts, *more), step)
        other = laid_on(before, frames, again, path)
        if _matched(other) < _matched(aligned) - 0.02:
            break
        facts, analysis, aligned = (*facts, *more), again, other
    return aligned, analysis, facts


def laid_on(before: HeardTake, frames: Framed, analysis: SongAnalysis, path: Path) -> Aligned:
    """Lay a new take on the old one as it is counted; raises as `read_alike` does, and if both are very long."""
    if too_long(before.analysis, analysis):
        raise RecordingError(
            f"{path.name} and the other take are too long to be laid on each other: {len(analysis.beats)} and "
            f"{len(before.analysis.beats)} beats. Find the songs in them with split, or say where the song is."
        )
    aligned = align(before, frames.take(analysis))
    if aligned is None or _matched(aligned) < _FEWEST:
        raise OtherSongError(
            f"Nothing of the song was found in {path.name}. If it is another song, draft it with suggest; if the song "
            "is only a part of the file, say which with --from and --to."
        )
    return aligned


def _matched(aligned: Aligned) -> float:
    return float((aligned.way >= 0).mean())


def named(old: SongAnalysis, new: SongAnalysis, stretches: Sequence[Passage]) -> tuple[SongAnalysis, tuple[str, ...]]:
    """Give the sections of the new take the ids and names of those that they are; the others are new.

    Another pass of a section is called as all its passes are.
    """
    used = {section.id for section in old.sections}
    fresh = (name for number in range(1, 10**6) if (name := f"s{number}") not in used)
    sections, added = [], []
    for index, section in enumerate(new.sections):
        stretch = stretches[index] if index < len(stretches) else None
        before = stretch.section if stretch else None
        if before is None or stretch is None or not stretch.first:
            names = [] if before is None else sorted({each.name for each in _family(old, before)})
            section = replace(section, id=next(fresh), name=names[0] if len(names) == 1 else "")
            added.append(section.id)
        else:
            section = replace(
                section,
                id=before.id,
                label=before.label if before.family == section.family else section.label,
                name=before.name,
                first_words=before.first_words,
                role=before.role,
                vamp=before.vamp,
            )
        sections.append(section)
    return replace(new, sections=tuple(sections)), tuple(added)


def _family(old: SongAnalysis, section: Section) -> list[Section]:
    return [each for each in old.sections if each.family == section.family]
