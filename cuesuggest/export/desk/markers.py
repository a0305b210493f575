"""A copy of the recording with the cues in it: cue points, labels, regions, and where it lies in the day's timecode.

RIFF cue points and associated data lists (1991); Broadcast Wave `bext` (EBU Tech 3285). The samples are the
recording's, bit by bit; a coded recording (mp3, m4a …) becomes the 32-bit numbers that its decoder gives.
"""

from __future__ import annotations

import struct
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from cuesuggest.export.common.escape import ascii_line
from cuesuggest.export.common.options import Options, about, needed_sound
from cuesuggest.export.common.riff import chunk, recorded_format, wav
from cuesuggest.export.common.show_sound import info
from cuesuggest.export.common.told import told, wording
from cuesuggest.score.records import clock

if TYPE_CHECKING:
    from cuesuggest.export.common.options import RecordedSound
    from cuesuggest.song import Song

__all__ = ["SoundMark", "bext", "mark_chunks", "write"]

_LABEL, _NOTE = 120, 250  # characters: what editors show beside a marker


@dataclass(frozen=True, slots=True)
class SoundMark:
    """A cue point, or a region if it has a length."""

    frame: int
    label: str
    note: str = ""
    length: int | None = None
    """Frames."""


def write(song: Song, options: Options) -> bytes:
    """Write the recording with cues and sections marked.

    Parameters
    ----------
    song : Song
    options : Options
        Needs `sound`. Marks lie at the recording's own times; offset and timecode say where its first sample is.

    Returns
    -------
    bytes
        A WAV file.

    Raises
    ------
    CuesuggestError
        If there is no sound, or it is too long for a WAV file.
    """
    sound = needed_sound(options, "markers")
    before = [chunk("bext", bext(song, options, sound)), *recorded_format(sound)]
    own_times = replace(options, timing=options.timing.of_recording())
    return wav(before, sound.blocks(), [*mark_chunks(_marks(song, own_times, sound)), info(song, own_times)])


def mark_chunks(marks: Sequence[SoundMark]) -> list[bytes]:
    """Write the chunks `cue ` and `LIST` of type `adtl`.

    Parameters
    ----------
    marks : sequence of SoundMark
        Ids count from 1 in this order.

    Returns
    -------
    list of bytes
    """
    points = [
        struct.pack("<II4sIII", number, mark.frame, b"data", 0, 0, mark.frame) for number, mark in enumerate(marks, 1)
    ]
    described = [part for number, mark in enumerate(marks, 1) for part in _described(number, mark)]
    return [
        chunk("cue ", struct.pack("<I", len(points)) + b"".join(points)),
        chunk("LIST", b"adtl" + b"".join(described)),
    ]


def bext(song: Song, options: Options, sound: RecordedSound) -> bytes:
    """Write the broadcast extension: what the file is, and the sample count from midnight to its first sample.

    Parameters
    ----------
    song : Song
    options : Options
    sound : RecordedSound

    Returns
    -------
    bytes
        602 bytes, then the coding history.
    """
    timing = options.timing
    words = about(song, replace(options, timing=timing.of_recording()))
    first = timing.rate.seconds(timing.rate.parse(timing.start)) + timing.offset
    # The count begins again at midnight: what begins before it began on the day before.
    reference = round(first * sound.rate) % round(timing.rate.seconds(timing.rate.per_day) * sound.rate)
    coding = f"A=PCM,F={sound.rate},W={sound.bits},M={'mono' if sound.channels == 1 else 'stereo'}"
    return (
        _field(f"{words.title}; take {words.take}; {words.times}", 256)
        + _field("cuesuggest", 32)
        + _field(words.take, 32)
        + _field(options.date, 10)
        + _field("00:00:00" if options.date else "", 8)
        + struct.pack("<QH", reference, 1)
        + bytes(602 - 348)
        + f"{coding},T={ascii_line(words.made)}\r\n".encode("ascii")
    )


def _marks(song: Song, options: Options, sound: RecordedSound) -> list[SoundMark]:
    def frame(seconds: float) -> int:
        return min(int(seconds * sound.rate + 0.5), max(sound.frames - 1, 0))

    marks = []
    for each in told(song, options):
        marks.append(SoundMark(frame(each.at), wording(each), " ".join((*each.cue.reasons, *each.cue.cautions))))
    for section in song.analysis.sections:
        name = f"{section.mark} {section.name}"
        length = max(frame(section.end) - frame(section.start), 1)
        marks.append(SoundMark(frame(section.start), name, clock(section.start), length))
    return sorted(marks, key=lambda mark: (mark.frame, mark.length is None))


def _described(number: int, mark: SoundMark) -> list[bytes]:
    def text(name: str, words: str, most: int) -> bytes:
        return chunk(name, struct.pack("<I", number) + ascii_line(words, most).encode("ascii") + b"\0")

    found = [text("labl", mark.label, _LABEL)]
    if mark.note:
        found.append(text("note", mark.note, _NOTE))
    if mark.length is not None:
        found.append(chunk("ltxt", struct.pack("<II4sHHHH", number, mark.length, b"rgn ", 0, 0, 0, 0)))
    return found


def _field(text: str, size: int) -> bytes:
    return ascii_line(text, size).encode("ascii").ljust(size, b"\0")
