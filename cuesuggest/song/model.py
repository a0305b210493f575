"""The Song: everything known and decided about one song, checked whenever it is made."""

from __future__ import annotations

import operator
import os
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import (
    BaseModel,
    ConfigDict,
    Field,
    PrivateAttr,
    TypeAdapter,
    ValidationError,
    ValidationInfo,
    field_validator,
)

from cuesuggest.analysis.types import SongAnalysis
from cuesuggest.errors import DocumentError
from cuesuggest.score.bounds import MOST_BYTES
from cuesuggest.score.deeds import Question
from cuesuggest.score.records import Cue, Look, PlannedSection
from cuesuggest.song import checks, files
from cuesuggest.song.corrections import Correction
from cuesuggest.song.edit_types import Settings
from cuesuggest.song.json_layout import json_text
from cuesuggest.song.parts import HistoryEntry, Printed, Unplaced, Versions
from cuesuggest.song.recording_file import RecordingFile
from cuesuggest.song.taken_over import TakenOver
from cuesuggest.song.wording import plain_words

__all__ = ["Song", "analysis_json"]


def analysis_json(analysis: SongAnalysis) -> bytes:
    """Write an analysis by itself, in the form in which a document embeds it.

    Parameters
    ----------
    analysis : SongAnalysis

    Returns
    -------
    bytes
        JSON, UTF-8.
    """
    return json_text(TypeAdapter(SongAnalysis).dump_python(analysis, mode="json", by_alias=True)).encode()


class Song(BaseModel):
    """A song document. Frozen: `replaced` and the edits in `cuesuggest.song.edits` return another Song.

    The parts agree with each other: made from parts that do not, pydantic raises its ValidationError.
    """

    model_config = ConfigDict(frozen=True, extra="forbid", use_attribute_docstrings=True)

    format: Literal["cuesuggest-song"] = "cuesuggest-song"
    version: Literal[1] = 1
    revision: Annotated[int, Field(ge=0)] = 0
    """Rises by one with every change."""
    title: str
    recording: RecordingFile
    versions: Versions
    profile: Settings
    """The house style."""
    rig: Settings
    analysis: SongAnalysis
    """What was heard; `cuesuggest analyze FILE --json OUT` writes the same."""
    corrections: tuple[Correction, ...] = ()
    """What the user knows better than the analysis, as absolute facts."""
    looks: tuple[Look, ...] = ()
    plan: tuple[PlannedSection, ...] = ()
    cues: tuple[Cue, ...] = ()
    """In order of time and number."""
    questions: tuple[Question, ...] = ()
    cautions: tuple[str, ...] = ()
    """Said once per song."""
    unplaced: tuple[Unplaced, ...] = ()
    """Cues that lost their place."""
    taken_over: TakenOver | None = None
    """What came along from another take; None where nothing did."""
    numbers_frozen: bool = False
    """True once the list has left the document: somebody has the numbers on paper."""
    printed: Printed | None = None
    """The last print on paper; None before the first."""
    history: tuple[HistoryEntry, ...] = ()
    """Changes, the latest last."""
    undone: tuple[HistoryEntry, ...] = ()
    """Changes taken back since the last change, the latest last."""

    # (file, revision) that this song was loaded from or saved to, carried on by every change: what a save
    # expects to find there. No part of the document.
    _stored: tuple[str, int] | None = PrivateAttr(default=None)

    @field_validator("*")
    @classmethod
    def _within_bounds(cls, value: Any, info: ValidationInfo) -> Any:
        # Most of a song is what it was before an edit, and nothing in it changes.
        before = info.context.get(info.field_name) if info.context else None
        if not _same(value, before):
            checks.check_values(value, str(info.field_name))
        return value

    @field_validator("recording")
    @classmethod
    def _recording_fits(cls, recording: RecordingFile) -> RecordingFile:
        checks.check_recording(recording)
        return recording

    @field_validator("analysis")
    @classmethod
    def _analysis_fits(cls, analysis: SongAnalysis, info: ValidationInfo) -> SongAnalysis:
        # A part that is missing from `info.data`, here and below, is wrong itself, and told.
        if "recording" in info.data:
            checks.check_analysis(analysis, info.data["recording"])
        return analysis

    @field_validator("corrections")
    @classmethod
    def _corrections_fit(cls, corrections: tuple[Correction, ...]) -> tuple[Correction, ...]:
        checks.check_corrections(corrections)
        return corrections

    @field_validator("looks")
    @classmethod
    def _looks_fit(cls, looks: tuple[Look, ...]) -> tuple[Look, ...]:
        checks.check_looks(looks)
        return looks

    @field_validator("plan")
    @classmethod
    def _plan_fits(cls, plan: tuple[PlannedSection, ...], info: ValidationInfo) -> tuple[PlannedSection, ...]:
        if {"analysis", "looks"} <= info.data.keys():
            checks.check_plan(plan, info.data["analysis"], info.data["looks"])
        return plan

    @field_validator("cues")
    @classmethod
    def _cues_fit(cls, cues: tuple[Cue, ...], info: ValidationInfo) -> tuple[Cue, ...]:
        # Checked before they are sorted, so that a message counts them as the file does.
        if {"recording", "analysis", "looks"} <= info.data.keys():
            checks.check_cues(cues, info.data["recording"], info.data["analysis"], info.data["looks"])
        return tuple(sorted(cues, key=lambda cue: (cue.place.seconds, cue.number)))

    @field_validator("questions")
    @classmethod
    def _questions_fit(cls, questions: tuple[Question, ...], info: ValidationInfo) -> tuple[Question, ...]:
        if "recording" in info.data:
            checks.check_questions(questions, info.data["recording"])
        return questions

    @field_validator("history", "undone")
    @classmethod
    def _history_fits(cls, entries: tuple[HistoryEntry, ...], info: ValidationInfo) -> tuple[HistoryEntry, ...]:
        checks.check_history(str(info.field_name), entries)
        return entries

    def __eq__(self, other: object) -> bool:
        # Where a song is stored is not part of it.
        return self.__dict__ == other.__dict__ if isinstance(other, Song) else NotImplemented

    def replaced(self, **fields: Any) -> Song:
        """Return the song with some fields replaced, checked as a whole.

        Raises
        ------
        ValidationError
            pydantic's, if the parts do not agree.
        """
        song = Song.model_validate({**self.__dict__, **fields}, context=self.__dict__)
        song._stored = self._stored
        return song

    def stored_like(self, other: Song) -> Song:
        """Return the song as the next state of another: a save expects to find that one in the file."""
        song = self.replaced()
        song._stored = other._stored
        return song

    def to_json(self) -> bytes:
        """Write the document: UTF-8, indented, the same bytes for the same song.

        Raises
        ------
        DocumentError
            If a text cannot be written as UTF-8, as the name of a file in an unknown encoding, or the document would
            be longer than one that is opened.
        """
        data = self.model_dump(mode="json", by_alias=True, warnings="error")
        data["analysis"] = data.pop("analysis")  # by far the longest part: last, where it hides nothing
        try:
            written = json_text(data).encode()
        except UnicodeEncodeError as error:
            broken = error.object[max(0, error.start - 20) : error.end].encode("ascii", "backslashreplace")
            raise DocumentError(
                f"A text of the song cannot be written as UTF-8 (…{broken.decode()!r}). If it is the name of "
                "the recording or its folder, give that a plain name first."
            ) from None
        if len(written) > MOST_BYTES:
            raise DocumentError(
                f"The document would have more than {MOST_BYTES // 2**20} MiB, and could not be opened again. Cut the "
                "song out of the recording with --from and --to."
            )
        return written

    @classmethod
    def from_json(cls, data: bytes, where: str = "The document") -> Song:
        """Read a document's bytes.

        Parameters
        ----------
        data : bytes
            UTF-8, with or without a byte-order mark.
        where : str
            What messages call the document; `load` gives the file's name.

        Raises
        ------
        DocumentError
            If it is no song document, is newer than this program, or has fields that do not fit.
        """
        text, parsed = files.parse_document(data, where)
        try:
            return cls.model_validate_json(text, strict=True)
        except ValidationError as error:
            lines = [f"{where}: {line}" for line in plain_words(error, parsed)]
            raise DocumentError("\n".join([*lines, "Correct that, or take a saved copy, and open it again."])) from None

    @classmethod
    def load(cls, path: str | Path) -> Song:
        """Open a song document.

        Raises
        ------
        DocumentError
            If the file cannot be read, or as `from_json` does.
        """
        path = Path(path)
        song = cls.from_json(files.read_bytes(path), str(path))
        song._stored = (_key(path), song.revision)
        return song

    def save(self, path: str | Path, expected_revision: int | None = None) -> None:
        """Save the document in one step: afterwards the file is all new, or as it was before.

        Parameters
        ----------
        path : str or Path
            Links are followed; permissions of a file that is there are kept.
        expected_revision : int, optional
            What the file is known to hold. Left out, it is the revision that this song, or the one it was
            made from, was loaded with or saved as; a file that it does not come from is never replaced.

        Raises
        ------
        DocumentError
            If the file holds another revision by now, or cannot be written.
        """
        path = Path(path)
        if expected_revision is None and self._stored is not None and self._stored[0] == _key(path):
            expected_revision = self._stored[1]
        files.write_document(path, self.to_json(), revision=self.revision, expected_revision=expected_revision)
        self._stored = (_key(path), self.revision)


def _key(path: Path) -> str:
    return os.path.realpath(path)


def _same(value: Any, before: Any) -> bool:
    """Whether a value is the one that was there, or a tuple of the ones that were there."""
    if isinstance(value, tuple) and isinstance(before, tuple):
        return len(value) == len(before) and all(map(operator.is_, value, before))
    return value is before
