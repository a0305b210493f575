"""A recording's samples as they are: for a copy that differs in no bit from what the file holds."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

from cuesuggest.errors import RecordingError
from cuesuggest.sound.recording import Recording, Window, open_recording

if TYPE_CHECKING:
    import numpy as np

__all__ = ["ExactSound", "exact_sound"]

_BLOCK = 1 << 16  # frames
# What soundfile calls the samples of files that hold whole numbers: bits of each, and its name for reading them.
_WHOLE = {
    "PCM_U8": (16, "int16"),
    "PCM_S8": (16, "int16"),
    "PCM_16": (16, "int16"),
    "ALAC_16": (16, "int16"),
    "ALAW": (16, "int16"),
    "ULAW": (16, "int16"),
    "PCM_24": (24, "int32"),
    "ALAC_20": (24, "int32"),
    "ALAC_24": (24, "int32"),
    "PCM_32": (32, "int32"),
    "ALAC_32": (32, "int32"),
}


@dataclass(frozen=True, slots=True)
class ExactSound:
    """A recording whose samples can be copied; whole numbers stay whole, all else is 32-bit floating point."""

    recording: Recording
    rate: int
    channels: int
    bits: int
    is_float: bool
    frames: int
    _kind: str = field(default="float32")

    def blocks(self) -> Iterator[bytes]:
        """The samples in order, little-endian, channels side by side.

        Yields
        ------
        bytes
        """
        for block in _read(self.recording, self._kind):
            yield _packed(block, self.bits)

    def heard(self, start: float, times: int = 1) -> Iterator[np.ndarray]:
        """The samples from a second on as the analysis hears them, full scale 1.0, at so many times their rate.

        Yields
        ------
        ndarray of float32, shape (frames, channels)
        """
        blocks = self.recording.blocks(Window(start))
        if times == 1:
            yield from blocks
            return
        import numpy as np
        import soxr

        stream = soxr.ResampleStream(self.rate, times * self.rate, self.channels, dtype="float32")
        for block in blocks:
            yield stream.resample_chunk(block).reshape(-1, self.channels)
        nothing = np.zeros((0, self.channels), np.float32)
        yield stream.resample_chunk(nothing, last=True).reshape(-1, self.channels)

    def with_chapters(self, chapters: Sequence[tuple[float, str]], tags: Mapping[str, str]) -> bytes:
        """The sound as the file holds it, coded or not, with chapters in it: second and title of each, rising.

        Raises
        ------
        RecordingError
            If no file with chapters holds such sound.
        """
        from cuesuggest.sound.chapters_copied import Samples, with_chapters

        kind = "pcm_f32le" if self.is_float else f"pcm_s{self.bits}le"
        samples = Samples(kind, self.rate, self.channels, self.blocks())
        return with_chapters(self.recording, samples, chapters, self.frames / self.rate, tags)


def exact_sound(path: Path) -> ExactSound:
    """Open a recording to copy its samples.

    Parameters
    ----------
    path : Path

    Returns
    -------
    ExactSound
        Its frames are counted by decoding, as headers may be wrong.

    Raises
    ------
    RecordingError
        If it cannot be read.
    """
    import soundfile

    recording = open_recording(path)
    bits, kind = _whole_numbers(recording) or (32, "float32")
    try:
        frames = _count(recording, kind)
    except soundfile.LibsndfileError:
        # The file breaks off: the way of the analysis reads what is there.
        bits, kind = 32, "float32"
        frames = _count(recording, kind)
    if not frames:
        raise RecordingError(f"{path} holds no sound any more. Copy it again and run the command again.")
    return ExactSound(recording, recording.sample_rate, recording.channels, bits, kind == "float32", frames, kind)


def _count(recording: Recording, kind: str) -> int:
    return sum(len(block) for block in _read(recording, kind))


def _whole_numbers(recording: Recording) -> tuple[int, str] | None:
    if recording.decoder != "soundfile":
        return None
    import soundfile

    with soundfile.SoundFile(recording.path) as file:
        found: tuple[int, str] | None = _WHOLE.get(file.subtype)
        return found


def _read(recording: Recording, kind: str) -> Iterator[Any]:
    """Blocks of samples, ndarray of shape (frames, channels)."""
    if kind == "float32":
        yield from recording.blocks()
        return
    import soundfile

    with soundfile.SoundFile(recording.path) as file:
        while len(block := file.read(_BLOCK, dtype=kind, always_2d=True)):
            yield block


def _packed(block: Any, bits: int) -> bytes:
    import numpy as np

    if bits != 24:
        whole: bytes = np.ascontiguousarray(block, block.dtype.newbyteorder("<")).tobytes()
        return whole
    # soundfile gives 24 bits in the upper three of four bytes.
    four = np.ascontiguousarray(block, "<i4").view(np.uint8).reshape(-1, 4)
    return four[:, 1:].tobytes()
