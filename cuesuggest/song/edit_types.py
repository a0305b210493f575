"""What can be changed in a song: one frozen record per kind of change, told apart by `op`."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Literal

from pydantic import Field, JsonValue
from typing_extensions import TypedDict  # pydantic asks for this one before Python 3.12.

from cuesuggest.analysis.types import FILE_CONFIG, Section
from cuesuggest.score.bounds import MOST_COLOURS
from cuesuggest.score.records import Anchor, Category, Cue, CueKind, Place, Series, Status, Trigger
from cuesuggest.song.corrections import Correction
from cuesuggest.song.recording_file import RecordingFile
from cuesuggest.song.taken_over import Doubt

__all__ = [
    "AddCue",
    "CueChanges",
    "Edit",
    "LookChanges",
    "RemoveCue",
    "SectionChanges",
    "SetCorrections",
    "SetCue",
    "SetDoubts",
    "SetLook",
    "SetPlan",
    "SetRecording",
    "SetSection",
    "SetSettings",
    "SetTitle",
    "Settings",
]


@dataclass(frozen=True, slots=True)
class Settings:
    """A profile or a rig by name, and the values it had when the cues were suggested."""

    __pydantic_config__ = FILE_CONFIG

    name: str
    values: dict[str, JsonValue]


class CueChanges(TypedDict, total=False):
    """Fields of a cue and their new values; what is not named stays as it is.

    The id is what other things hold on to, reasons and confidence are the tool's word: none of them
    can change.
    """

    __pydantic_config__ = FILE_CONFIG  # type: ignore[misc]

    number: float
    kind: CueKind
    trigger: Trigger
    anchor: Anchor
    place: Place
    look: str | None
    side: str | None
    level: int | None
    up_beats: float | None
    up_seconds: float | None
    down_beats: float | None
    down_seconds: float | None
    series: Series | None
    standby: int | None
    who: str
    operator_confirms: bool
    status: Status
    note: str
    lock: bool


class SectionChanges(TypedDict, total=False):
    """What the user calls a section; what is not named stays as it is."""

    __pydantic_config__ = FILE_CONFIG  # type: ignore[misc]

    name: str
    first_words: str
    role: str | None
    vamp: str


class LookChanges(TypedDict, total=False):
    """How a look is coloured; what is not named stays as it is."""

    __pydantic_config__ = FILE_CONFIG  # type: ignore[misc]

    colours: Annotated[int, Field(ge=1, le=MOST_COLOURS)]
    colour_relation: str
    decided: bool


@dataclass(frozen=True, slots=True)
class SetCue:
    """Change fields of a cue.

    A suggested or accepted cue whose content changes becomes "edited", unless the change sets the status
    itself. Note, lock and status are not content. The content of a locked cue does not change.
    """

    __pydantic_config__ = FILE_CONFIG

    cue: str
    """The cue's id."""
    changes: CueChanges
    op: Literal["set-cue"] = "set-cue"


@dataclass(frozen=True, slots=True)
class AddCue:
    """Put in a cue, whole and with a status of its own ("added" when it is the user's)."""

    __pydantic_config__ = FILE_CONFIG

    cue: Cue
    op: Literal["add-cue"] = "add-cue"


@dataclass(frozen=True, slots=True)
class RemoveCue:
    """Take a cue out. A suggestion is better rejected (status), or it comes back with the next draft."""

    __pydantic_config__ = FILE_CONFIG

    cue: str
    """The cue's id."""
    op: Literal["remove-cue"] = "remove-cue"


@dataclass(frozen=True, slots=True)
class SetSection:
    """Name a section, give its first words or its role, or say until which sign it goes round."""

    __pydantic_config__ = FILE_CONFIG

    section: str
    """The section's id."""
    changes: SectionChanges
    op: Literal["set-section"] = "set-section"


@dataclass(frozen=True, slots=True)
class SetLook:
    """Say how a look is coloured. It counts as decided then, unless the change says otherwise."""

    __pydantic_config__ = FILE_CONFIG

    look: str
    """The look's id."""
    changes: LookChanges
    op: Literal["set-look"] = "set-look"


@dataclass(frozen=True, slots=True)
class SetPlan:
    """Decide on the category of a section, or leave it to the plan again.

    This changes what is decided; whoever makes the edit has the song drafted anew around it.
    """

    __pydantic_config__ = FILE_CONFIG

    section: str
    """The section's id."""
    decided: Category | None
    op: Literal["set-plan"] = "set-plan"


@dataclass(frozen=True, slots=True)
class SetTitle:
    """Call the song something else."""

    __pydantic_config__ = FILE_CONFIG

    title: str
    op: Literal["set-title"] = "set-title"


@dataclass(frozen=True, slots=True)
class SetCorrections:
    """Replace everything that the user has stated about the music.

    This changes what is stated; whoever makes the edit has the song heard again (`draft.settling.settled`).
    """

    __pydantic_config__ = FILE_CONFIG

    corrections: tuple[Correction, ...]
    keeps: Literal["bars", "seconds"] = "seconds"
    """What a cue holds on to: its bar and beat where bars were moved, its time where they were counted anew."""
    sections: tuple[Section, ...] = ()
    """Where this takes a change back: the sections before it, so that ids and names are found again."""
    op: Literal["set-corrections"] = "set-corrections"


@dataclass(frozen=True, slots=True)
class SetRecording:
    """Name another part of the recording as the song, or another recording of it.

    This changes what is listened to; whoever makes the edit has the song heard there (`draft.settling.settled`).
    """

    __pydantic_config__ = FILE_CONFIG

    recording: RecordingFile
    op: Literal["set-recording"] = "set-recording"


@dataclass(frozen=True, slots=True)
class SetDoubts:
    """Say which cues from another take are still in doubt."""

    __pydantic_config__ = FILE_CONFIG

    doubts: tuple[Doubt, ...]
    op: Literal["set-doubts"] = "set-doubts"


@dataclass(frozen=True, slots=True)
class SetSettings:
    """Play the song in another house style, or on another rig.

    This changes what it is drafted with; whoever makes the edit has it drafted anew (`draft.settling.settled`).
    """

    __pydantic_config__ = FILE_CONFIG

    profile: Settings
    rig: Settings
    op: Literal["set-settings"] = "set-settings"


Edit = Annotated[
    SetCue
    | AddCue
    | RemoveCue
    | SetLook
    | SetPlan
    | SetSection
    | SetTitle
    | SetCorrections
    | SetRecording
    | SetDoubts
    | SetSettings,
    Field(discriminator="op"),
]
