"""WAV files as chunks: Multimedia Programming Interface and Data Specifications 1.0 (August 1991).

A chunk has an id of four letters, a little-endian length and, where that is odd, one byte of padding that the length
does not count.
"""

from __future__ import annotations

import struct
from collections.abc import Iterable

from cuesuggest.errors import CuesuggestError

__all__ = ["chunk", "chunks", "sound_format", "wav"]

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
    sound = b"".join(data)
    if len(sound) >= _LARGEST - (1 << 20):
        raise CuesuggestError("The recording is too long for a WAV file (4 GiB). Cut the song out and use that file.")
    body = b"".join([b"WAVE", *before, chunk("data", sound), *after])
    return b"".join([struct.pack("<4sI", b"RIFF", len(body)), body])


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
