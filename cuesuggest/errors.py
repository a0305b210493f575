"""What can go wrong: one base class, caught once, in the command line."""

from __future__ import annotations

__all__ = [
    "CuesuggestError",
    "DocumentError",
    "EditError",
    "FormError",
    "ProfileError",
    "RecordingChangedError",
    "RecordingError",
    "reason_of",
]


def reason_of(error: OSError) -> str:
    """Return what the system says of a failure, for the middle of a sentence."""
    return (error.strerror or str(error)).lower()


class CuesuggestError(Exception):
    """Something the user can put right: says what was wrong, where, and what to do next.

    `exit_code` is what the command line ends with when nothing was written.
    """

    exit_code = 2


class RecordingError(CuesuggestError):
    """A recording that cannot be read or does not hold enough sound."""


class DocumentError(CuesuggestError):
    """A song document that is broken, newer than this program, or changed by somebody else."""


class EditError(CuesuggestError):
    """A change that does not fit the document: an unknown cue, a value out of range."""


class FormError(CuesuggestError):
    """A form that cannot be laid on the bars that were heard."""


class ProfileError(CuesuggestError):
    """A house style or rig file with a wrong key or value."""


class RecordingChangedError(CuesuggestError):
    """Decisions were made about another sound than the recording holds now; the user is asked what to do."""
