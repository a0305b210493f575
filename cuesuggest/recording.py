"""Recordings: any audio file as blocks of samples, with an identity that does not depend on the decoder.

Sample 0 is the first sample that the decoder hands out. Time stamps of containers are not used: counted samples of
mp3, m4a, mov, ogg, opus and flac agree between decoders within 0.1 ms, time stamps do not.
"""

from __future__ import annotations

import hashlib
import math
from collections.abc import Generator, Iterator
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Literal

from cuesuggest.errors import RecordingError

if TYPE_CHECKING:
    import numpy as np

__all__ = ["Decoder", "Recording", "Window", "open_recording"]

Decoder = Literal["soundfile", "av"]
_Found = tuple[Decoder, int, int, float | None]
BLOCK_SECONDS = 6.0
SHORTEST_SECONDS = 1.0  # Below a second there is no beat to compare with another.


@dataclass(frozen=True, slots=True)
class Window:
    """The part of a recording that is one song, in seconds from the file's start; `end` None is its last sample."""

    start: float = 0.0
    end: float | None = None

    def __post_init__(self) -> None:
        if not (math.isfinite(self.start) and self.start >= 0):
            raise RecordingError(
                f"The start of the window is {self.start:g} s; it must be 0 or later. Correct --from and try again."
            )
        if self.end is not None and not (math.isfinite(self.end) and self.end > self.start):
            raise RecordingError(
                f"The window ends at {self.end:g} s but starts at {self.start:g} s. "
                "Give --to a later time than --from and try again."
            )


@dataclass(frozen=True, slots=True)
class Recording:
    """An audio file that can be decoded.

    `sha256` is the digest of the file's bytes, not of decoded samples: lossy decoders differ from build to build.
    `announced` is the length in seconds that the file itself gives, which may be missing, rounded or wrong; what was
    decoded decides.
    """

    path: Path
    sha256: str
    decoder: Decoder
    sample_rate: int
    channels: int
    announced: float | None

    def blocks(self, window: Window | None = None) -> Iterator[np.ndarray]:
        """Decode in blocks of a few seconds.

        Parameters
        ----------
        window : Window, optional
            Only the samples inside it are handed out.

        Yields
        ------
        ndarray of float32, shape (frames, channels)
            Full scale is 1.0; samples that are not numbers are 0.

        Raises
        ------
        RecordingError
            If nothing can be decoded. A file that breaks off yields what came before.
        """
        import numpy as np

        window = window or Window()
        first = round(window.start * self.sample_rate)
        last = math.inf if window.end is None else round(window.end * self.sample_rate)
        decode = _soundfile_blocks if self.decoder == "soundfile" else _av_blocks
        position = first if self.decoder == "soundfile" else 0
        with closing(decode(self, first)) as decoded:
            for block in decoded:
                inside = block[max(0, first - position) : max(0, int(min(last - position, len(block))))]
                position += len(block)
                if len(inside):
                    yield np.nan_to_num(inside, copy=False, nan=0.0, posinf=0.0, neginf=0.0)
                if position >= last:
                    return


def open_recording(path: str | Path) -> Recording:
    """Find out how a file can be decoded.

    Parameters
    ----------
    path : str or Path
        Any audio file, or a video file with sound.

    Returns
    -------
    Recording

    Raises
    ------
    RecordingError
        If there is no such file, it is a folder, it is empty, or no decoder can read it.
    """
    path = Path(path)
    if path.is_dir():
        raise RecordingError(f"{path} is a folder. Name an audio file in it.")
    try:
        size = path.stat().st_size
        with path.open("rb") as file:
            digest = hashlib.file_digest(file, "sha256").hexdigest()
    except FileNotFoundError:
        raise RecordingError(f"{path} was not found. Check the name and the folder.") from None
    except OSError as error:
        raise RecordingError(f"{path} cannot be opened: {error.strerror}. Check who may read it.") from None
    if size == 0:
        raise RecordingError(f"{path} is empty (0 bytes). Copy or record it again.")
    for probe in (_probe_soundfile, _probe_av):
        found = probe(path)
        if found is not None:
            return Recording(path, digest, *found)
    raise RecordingError(
        f"{path} is not audio that can be decoded. If it plays elsewhere, export it from there as WAV or FLAC "
        "and use that file."
    )


def _probe_soundfile(path: Path) -> _Found | None:
    import soundfile

    try:
        with soundfile.SoundFile(path) as file:
            if not file.frames > 0:
                return None
            return "soundfile", file.samplerate, file.channels, file.frames / file.samplerate
    except (soundfile.LibsndfileError, TypeError):  # TypeError: a headerless kind, such as .raw
        return None


def _soundfile_blocks(recording: Recording, first: int) -> Generator[np.ndarray, None, None]:
    import soundfile

    with soundfile.SoundFile(recording.path) as file:
        if first >= file.frames:
            return
        file.seek(first)
        size = int(BLOCK_SECONDS * recording.sample_rate)
        while True:
            try:
                block = file.read(size, dtype="float32", always_2d=True)
            except soundfile.LibsndfileError:
                return  # The file breaks off; what came before is good.
            if not len(block):
                return
            yield block


def _probe_av(path: Path) -> _Found | None:
    import av

    try:
        with av.open(str(path)) as container:
            if not container.streams.audio:
                return None
            stream = container.streams.audio[0]
            # The first frame, not the header, tells the rate: some headers leave out what the codec doubles.
            frame = next(iter(container.decode(stream)), None)
            if frame is None or not frame.sample_rate:
                return None
            announced = None if container.duration is None else container.duration / av.time_base
            return "av", int(frame.sample_rate), len(frame.layout.channels), announced
    except (av.FFmpegError, ValueError):
        return None


def _av_blocks(recording: Recording, first: int) -> Generator[np.ndarray, None, None]:
    import av
    import numpy as np

    size = int(BLOCK_SECONDS * recording.sample_rate)
    waiting: list[np.ndarray] = []
    count = 0
    with av.open(str(recording.path)) as container:
        convert = av.AudioResampler(format="fltp")
        frames = container.decode(container.streams.audio[0])
        while True:
            try:
                frame = next(frames, None)
                if frame is not None and (
                    frame.sample_rate != recording.sample_rate or len(frame.layout.channels) != recording.channels
                ):
                    break  # Another kind of sound begins; what came before is good.
                made = [] if frame is None else convert.resample(frame)
            except av.FFmpegError:
                break  # The file breaks off; what came before is good.
            for part in made:
                samples = part.to_ndarray().T
                waiting.append(samples)
                count += len(samples)
            if count >= size or (frame is None and count):
                yield np.concatenate(waiting)
                waiting, count = [], 0
            if frame is None:
                return
        if count:
            yield np.concatenate(waiting)
