"""WAV files as chunks: Multimedia Programming Interface and Data Specifications 1.0 (August 1991).

A chunk has an id of four letters, a little-endian length and, where that is odd, one byte of padding that the length
does not count.
"""

from __future__ import annotations

import io
import struct
from collections.abc import Iterable
from typing import TYPE_CHECKING

from cuesuggest.errors import CuesuggestError

if TYPE_CHECKING:
    from cuesuggest.export.common.options import RecordedSound

__all__ = ["chunk", "chunks", "recorded_format", "sound_format", "wav"]

_LARGEST = 0xFFFFFFFF
_WHOLE, _FLOAT = 1, 3  # format tags


def chunk(name: str, data: bytes) -> bytes:
    """Write a chunk with its padding."""
    return struct.pack("<4sI", name.encode("ascii"), len(data)) + data + b"\0" * (len(data) % 2)


def sound_format(rate: int, channels: int, bits: int, is_float: bool) -> bytes:
    """Write what the chunk `fmt ` says the samples are.

    For other than whole numbers it also has the length of what follows it, which is nothing (New Multimedia Data
    Types and Data Techniques, 1994, from memory; FFmpeg writes the same).
    """
    width = channels * bits // 8
    tag = _FLOAT if is_float else _WHOLE
    said = struct.pack("<HHIIHH", tag, channels, rate, rate * width, width, bits)
    return said + struct.pack("<H", 0) if is_float else said


def recorded_format(sound: RecordedSound) -> list[bytes]:
    """Write the chunks that say what the samples of a recording are."""
    found = [chunk("fmt ", sound_format(sound.rate, sound.channels, sound.bits, sound.is_float))]
    if sound.is_float:
        found.append(chunk("fact", struct.pack("<I", sound.frames)))
    return found


def wav(before: Iterable[bytes], data: Iterable[bytes], after: Iterable[bytes]) -> bytes:
    """Put a WAV file together.

    Parameters
    ----------
    before, after : iterable of bytes
        Whole chunks, as `chunk` writes them.
    data : iterable of bytes
        The samples.

    Raises
    ------
    CuesuggestError
        If it would be longer than 4 GiB, more than such a file can say.
    """
    # In one place from the start: joined from parts, an hour of sound would be in memory five times.
    out = io.BytesIO()
    out.write(b"RIFF\0\0\0\0WAVE")
    out.writelines([*before, b"data\0\0\0\0"])
    begins = out.tell()
    for block in data:
        out.write(block)
        if out.tell() >= _LARGEST - (1 << 20):
            raise CuesuggestError(
                "The recording is too long for a WAV file (4 GiB). Cut the song out and use that file."
            )
    size = out.tell() - begins
    out.writelines([b"\0" * (size % 2), *after])
    length = out.tell()
    for place, number in ((4, length - 8), (begins - 4, size)):
        out.seek(place)
        out.write(struct.pack("<I", number))
    return out.getvalue()


def chunks(data: bytes, start: int, end: int) -> list[tuple[str, bytes]]:
    """Read the chunks of a stretch of bytes.

    Raises
    ------
    CuesuggestError
        If a chunk reaches over the end, as in a file that was cut off or one whose padding is missing.
    """
    found = []
    while start + 8 <= end:
        name, length = struct.unpack_from("<4sI", data, start)
        inside = start + 8
        if not name.isascii() or inside + length > end:
            raise CuesuggestError(
                f"The file breaks off, or is damaged, at byte {start}. Copy it again, or export it again."
            )
        found.append((name.decode("ascii"), data[inside : inside + length]))
        start = inside + length + length % 2
    return found
