"""Two takes of a song laid on each other: opened, heard where that is needed, and put side by side."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from cuesuggest.analysis.listen import Step
from cuesuggest.analysis.takes.align import Aligned
from cuesuggest.analysis.takes.take import HeardTake
from cuesuggest.analysis.types import SongAnalysis
from cuesuggest.draft.again.counted_alike import form_as_in
from cuesuggest.draft.again.other_take import OtherTake
from cuesuggest.draft.alike import OTHER_SONG, USUAL_KEYS, OtherSongError, laid_on, named, read_alike
from cuesuggest.draft.beside import document_of, is_about
from cuesuggest.draft.drafting import source_of
from cuesuggest.draft.listening import Framed, framed
from cuesuggest.draft.order import Order
from cuesuggest.errors import RecordingChangedError, RecordingError
from cuesuggest.score.side_by_side import Column, PlayedTake, TwoTakes, columns, turned
from cuesuggest.song import Song
from cuesuggest.sound.recording import DOCUMENT_SUFFIX, Recording, Window, open_recording

__all__ = ["OpenTake", "compared", "open_take"]

# Signs of another song, beside those that `alike` has.
_SURE = 0.9
_FEWEST_SURE, _ENOUGH_SURE = 0.4, 0.7  # of the beats that both have: of so many it is sure which they are
_ENOUGH_SHARED = 0.4  # of the longer take's bars


@dataclass(frozen=True, slots=True)
class OpenTake:
    """A take that is to be compared: its recording, and its document where it has one."""

    recording: Recording
    document: Path | None
    song: Song | None

    @property
    def files(self) -> list[Path]:
        """What is worked from."""
        return [self.recording.path, *([self.document] if self.document else [])]

    @property
    def window(self) -> Window:
        """The part of the recording that is the song."""
        return Order().chosen(self.song).window


def open_take(named: Path) -> OpenTake:
    """Open a recording, with the document beside it that is about its sound, or a document with its recording.

    Parameters
    ----------
    named : Path

    Raises
    ------
    CuesuggestError
        If a file is not there or cannot be read, or a document is about another sound than its recording has now.
    """
    if named.name.endswith(DOCUMENT_SUFFIX):
        song = Song.load(named)
        recording = open_recording(source_of(named, song))
        if recording.sha256 != song.recording.sha256:
            raise RecordingChangedError(
                f"{recording.path} is not the file that {named} was made from. Run suggest on {named} first."
            )
        return OpenTake(recording, named, song)
    recording = open_recording(named)
    document = document_of(named)
    if is_about(document, named):
        song = Song.load(document)
        if song.recording.sha256 == recording.sha256:
            return OpenTake(recording, document, song)
    return OpenTake(recording, None, None)


def compared(first: OpenTake, second: OpenTake, step: Step | None = None) -> TwoTakes:
    """Lay two takes on each other.

    A take that has a document keeps its bars, sections and names; another one is heard as the first is counted.

    Parameters
    ----------
    first, second : OpenTake
    step : callable, optional
        Told the name of each step, and the seconds heard so far.

    Returns
    -------
    TwoTakes
        Without columns where they have nothing in common.

    Raises
    ------
    CuesuggestError
        If a recording cannot be read or has no music.
    """
    if first.song is None and second.song is not None:
        return turned(_compared(second, first, step))
    return _compared(first, second, step)


def _compared(lead: OpenTake, other: OpenTake, step: Step | None) -> TwoTakes:
    frames = framed(lead.recording, lead.window, step)
    before = frames.take(_analysis(lead, frames, step))
    own = _played(lead, before.analysis)
    frames = framed(other.recording, other.window, step)
    try:
        aligned, analysis, recounted = _laid(before, other, frames, step)
    except OtherSongError:
        return TwoTakes(own, _played(other, _analysis(other, frames, step)), ())
    sources = OtherTake(before.analysis, analysis, aligned).sources()
    found = columns([bar.number for bar in own.bars], [bar.number for bar, _ in sources], [each for _, each in sources])
    signs = _signs_of_another_song(aligned, found)
    if signs > 1:
        return TwoTakes(own, _played(other, _analysis(other, frames, step)), ())
    played = _played(other, analysis)
    return TwoTakes(
        own, replace(played, document="") if recounted else played, found, aligned.key, signs > 0, recounted
    )


def _signs_of_another_song(aligned: Aligned, found: Sequence[Column]) -> int:
    """Count what speaks for two songs rather than two takes of one."""
    shared = sum(each.lasting == "both" for each in found)
    longer = max(sum(each.first is not None for each in found), sum(each.second is not None for each in found))
    sure = float((aligned.sure[aligned.way >= 0] > _SURE).mean())
    return sum(
        (
            aligned.score < OTHER_SONG,
            sure < _ENOUGH_SURE,
            sure < _FEWEST_SURE,
            abs(aligned.key) > USUAL_KEYS,
            shared < _ENOUGH_SHARED * longer,
        )
    )


def _laid(before: HeardTake, other: OpenTake, frames: Framed, step: Step | None) -> tuple[Aligned, SongAnalysis, bool]:
    """Lay a take on the one before, counted as its document counts it if that can be compared."""
    if other.song is not None:
        aligned = laid_on(before, frames, other.song.analysis, other.recording.path)
        if aligned.factor == 1:
            return aligned, other.song.analysis, False
    aligned, analysis, facts = read_alike(before, frames, other.recording.path, step)
    stretches = OtherTake(before.analysis, analysis, aligned).sections()
    form = form_as_in(stretches, before.analysis.sections)
    if form is None:
        return aligned, analysis, other.song is not None
    analysis, _ = named(before.analysis, frames.analysis((*facts, form), step), stretches)
    return aligned, analysis, other.song is not None


def _analysis(take: OpenTake, frames: Framed, step: Step | None) -> SongAnalysis:
    """Return what is known of a take by itself."""
    analysis = take.song.analysis if take.song is not None else frames.analysis((), step)
    if not analysis.bars:
        raise RecordingError(
            f"No music with bars was found in {take.recording.path}, so there is nothing to compare it by. Listen to "
            f"it, or say what its bars are with suggest and correct."
        )
    return analysis


def _played(take: OpenTake, analysis: SongAnalysis) -> PlayedTake:
    return PlayedTake(
        take.recording.path.name, take.recording.sha256, analysis, take.document.name if take.document else ""
    )
