"""The recording's sound in the time of the show, block by block, and 16-bit files made of it."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from cuesuggest.export.common.escape import ascii_line
from cuesuggest.export.common.options import RecordedSound, about
from cuesuggest.export.common.riff import chunk, sound_format

if TYPE_CHECKING:
    import numpy as np

    from cuesuggest.export.common.options import Options
    from cuesuggest.song import Song

__all__ = ["info", "shown", "sixteen_bits", "sixteen_bits_format", "spans"]

_BLOCK = 1 << 18  # frames
_FULL = 32767
_TEXT = 1000  # characters


def spans(frames: int) -> Iterator[tuple[int, int]]:
    """First frame and end of each block of a sound."""
    for start in range(0, frames, _BLOCK):
        yield start, min(start + _BLOCK, frames)


def shown(sound: RecordedSound, offset: float, frames: int, times: int = 1) -> Iterator[np.ndarray]:
    """The recording from second 0 of the show on, with silence where it has none, in the blocks of `spans`.

    Parameters
    ----------
    sound : RecordedSound
    offset : float
        Seconds that a moment comes later in the show than in the recording.
    frames : int
        How long.
    times : int
        What the rate is multiplied by.

    Yields
    ------
    ndarray of float32, shape (frames, channels)
    """
    import numpy as np

    def parts() -> Iterator[np.ndarray]:
        wait = max(round(offset * sound.rate * times), 0)
        for start, stop in spans(min(wait, frames)):
            yield np.zeros((stop - start, sound.channels), np.float32)
        yield from sound.heard(max(-offset, 0.0), times)

    coming, kept = parts(), np.zeros((0, sound.channels), np.float32)
    for start, stop in spans(frames):
        while len(kept) < stop - start and (part := next(coming, None)) is not None:
            kept = np.concatenate([kept, part])
        block, kept = kept[: stop - start], kept[stop - start :]
        yield np.pad(block, ((0, stop - start - len(block)), (0, 0)))


def sixteen_bits(block: np.ndarray) -> bytes:
    """Samples of a file; what is beyond full scale is cut off there."""
    import numpy as np

    return np.clip(np.rint(block * _FULL), -_FULL, _FULL).astype("<i2").tobytes()


def sixteen_bits_format(rate: int, channels: int) -> bytes:
    """The chunk that says so."""
    return chunk("fmt ", sound_format(rate, channels, 16, False))


def info(song: Song, options: Options, *more: str) -> bytes:
    """Say what the file is, in a chunk that players show."""
    words = about(song, options)
    comment = " ".join((f"Take {words.take}.", f"{words.times}.", *more, words.caution))
    said = {"INAM": words.title, "ICMT": comment, "ISFT": words.made}
    fields = [chunk(name, ascii_line(text, _TEXT).encode("ascii") + b"\0") for name, text in said.items()]
    return chunk("LIST", b"INFO" + b"".join(fields))
