"""What an export is told beside the song, and the words that every file carries about itself."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Literal, Protocol

from cuesuggest.errors import CuesuggestError
from cuesuggest.export.common.desk_map import DeskMap
from cuesuggest.export.common.timing import Timing
from cuesuggest.score.night_records import BetweenSongs
from cuesuggest.score.records import Source

if TYPE_CHECKING:
    import numpy as np

    from cuesuggest.song import Song

__all__ = ["CAUTION", "EXPERIMENTAL", "About", "Options", "RecordedSound", "about", "needed_sound"]

CAUTION = (
    "A draft for a person who plays it: check every cue by ear and eye, and keep people out of the beams. "
    "Whoever is responsible at the place may change or refuse any cue."
)
EXPERIMENTAL = "Experimental: no independent program has read this kind of file back yet. Check it on the desk."


class RecordedSound(Protocol):
    """The samples of a recording, handed in from outside: an export decodes nothing itself."""

    rate: int
    channels: int
    bits: int
    """Of a sample."""
    is_float: bool
    frames: int

    def blocks(self) -> Iterator[bytes]:
        """The samples in order, little-endian, channels side by side, unchanged by as much as a bit."""

    def heard(self, start: float, times: int = 1) -> Iterator[np.ndarray]:
        """The samples from a second on as fractions of full scale, blocks of shape (frames, channels).

        At so many times the rate, where that is too low for what is to be beside them.
        """

    def with_chapters(self, chapters: Sequence[tuple[float, str]], tags: Mapping[str, str]) -> bytes:
        """The sound as the file holds it with chapters in it: second and title of each, rising."""


@dataclass(frozen=True, slots=True)
class Options:
    """How a song is written; the same record for every format, which reads from it what concerns it."""

    timing: Timing = field(default_factory=Timing)
    map: DeskMap = field(default_factory=DeskMap)
    allow_auto: frozenset[Source] = frozenset()
    """What may play by itself in automatic formats although its cues wait for a person's go."""
    landmark: str | None = None
    """As typed; its offset is in `timing` already."""
    from_window: bool = False
    """Second 0 is where the song's window in the recording starts, as `timing` has it; its end is that of the sound."""
    date: str = ""
    """Of the export, as 2031-05-04."""
    program: str = ""
    """Version of this program."""
    sound: RecordedSound | None = None
    """None unless a format that `needs_sound` is written."""
    mix: Mapping[str, float] = field(default_factory=dict)
    """Decibels of full scale of parts of a sound that is mixed; those not named have their usual level."""
    paper: Literal["a4", "letter"] = "a4"
    fonts: tuple[Path, ...] = ()
    """Files of typefaces that PDF takes what ours lacks from."""
    with_timecode: bool = False
    """The list on paper has a column of timecode."""
    who: str | None = None
    """Whose list this is; the others' lines are then told apart."""
    plain: bool = False
    """For a volunteer: fewer actions, no lasers."""
    changed: frozenset[str] = frozenset()
    """Ids of the cues that are not as they were when the list was last printed."""
    removed: tuple[float, ...] = ()
    """Numbers of the cues that have gone since then."""
    in_night: bool = False
    """The song is one of a night, and its title has its number there."""
    before: tuple[BetweenSongs, ...] = ()
    """In a night, what lies before the song; only the first song has it."""
    after: tuple[BetweenSongs, ...] = ()
    """In a night, what lies after the song."""
    remarks: tuple[str, ...] = ()
    """What else stands on the page."""


@dataclass(frozen=True, slots=True)
class About:
    """What a file says about itself, where its form allows."""

    title: str
    take: str
    """The first twelve digits of the recording's digest, enough to tell takes apart."""
    made: str
    """Date, program and revision of the document."""
    times: str
    caution: str

    def lines(self) -> tuple[str, ...]:
        """All of it, a line each; a night has neither take nor times of its own."""
        take = f"take {self.take}" if self.take else ""
        return tuple(filter(None, (self.title, take, self.made, self.times, self.caution)))


def about(song: Song, options: Options) -> About:
    """Say which song, take, date, version and offset a file is of.

    Parameters
    ----------
    song : Song
    options : Options

    Returns
    -------
    About
        Texts as they are in the document; a format still has to write them in its own way (see `escape`).
    """
    made = " ".join(
        part
        for part in (
            options.date,
            f"cuesuggest {options.program or song.versions.program}",
            f"revision {song.revision}",
        )
        if part
    )
    return About(song.title, song.recording.sha256[:12], made, str(options.timing), CAUTION)


def needed_sound(options: Options, name: str) -> RecordedSound:
    """Return the recording's sound for a format that is made from it.

    Raises
    ------
    CuesuggestError
        If it was not given.
    """
    if options.sound is None:
        raise CuesuggestError(f"The recording is needed for `{name}`, and it was not given. Put it back in its place.")
    return options.sound
