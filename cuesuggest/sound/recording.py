"""Recordings: any audio file as blocks of samples, with an identity that does not depend on the decoder.

Sample 0 is the first sample that the decoder hands out. Time stamps of containers are not used: counted samples of
mp3, m4a, mov, ogg, opus and flac agree between decoders within 0.1 ms, time stamps do not. What an encoder put in
front is left out where the file says so, as mp3, m4a, mp4, mov, ogg, opus, webm and mkv normally do; a bare AAC stream
(.aac, .ts), an avi and an mp4 written in fragments do not say it, and their music comes some 25 ms later.

So times are those of the sound, not of the picture: where the sound of a film begins half a second after its picture,
second 0 is where the sound begins, and the film's own clock is half a second ahead of ours.
"""

from __future__ import annotations

import hashlib
import math
import os
import stat
from collections.abc import Generator, Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

from cuesuggest.errors import RecordingError, reason_of

if TYPE_CHECKING:
    import av
    import numpy as np

__all__ = [
    "DOCUMENT_SUFFIX",
    "LONGEST_HOURS",
    "Decoder",
    "Recording",
    "Window",
    "check_name",
    "document_path",
    "open_container",
    "open_recording",
]

Decoder = Literal["soundfile", "av"]
_Found = tuple[Decoder, int, int, float | None, int]
BLOCK_SECONDS = 6.0
_BLOCK_VALUES = 1 << 22  # samples times channels: 64 channels or 192 kHz get shorter blocks, not more memory
DOCUMENT_SUFFIX = ".cues.json"
SHORTEST_SECONDS = 1.0  # Below a second there is no beat to compare with another.
# Memory grows by some 300 MB an hour, and a few bytes of FLAC or Opus can hold days of silence. A long concert is less.
LONGEST_HOURS = 4.0
# A header that announces more than that may be wrong: it is believed once so much of it has really been decoded.
_BELIEVED_SECONDS = 1200.0
_RATES = (4000, 800_000)  # Hz: from half of a telephone's to twice of the finest studio's; others are broken headers
_UNKNOWN_FRAMES = 1 << 62  # or more: what soundfile says of a stream that does not tell its length
_LARGEST = 2.0**31  # Some programs write floats on the scale of whole numbers; anything larger is no sound.
_LONGEST_PACKET = 1.0  # s; one that cannot be decoded and says it is longer is not believed
_MANY_PLANES = 8  # from so many on PyAV (18.1) reads past the end of a frame's list of channels, and crashes
_WIDE = ("s64", "s64p")  # whole numbers that PyAV gives as no array
_BAD_PACKETS = 500  # in a row: no music comes after them
_MPEG_NAMES = (".mp1", ".mp2", ".mp3")
# Containers of sound and film. Others stay closed: playlists and the like would open further files, or the network.
_CONTAINERS = (
    "3g2,3gp,aa,aac,ac3,aiff,amr,amrnb,amrwb,ape,asf,au,avi,caf,dsf,dts,dv,eac3,flac,flv,gxf,iff,kux,live_flv,m4a,"
    "matroska,mj2,mlp,mov,mp3,mp4,mpc,mpc8,mpeg,mpegts,mxf,nut,ogg,oma,rm,shn,sox,swf,tak,truehd,tta,voc,w64,wav,webm,"
    "wsaud,wtv,wv,xwma"
)


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
    decoded decides. `track` counts the file's audio tracks from 0; it is the first that can be decoded.
    """

    path: Path
    sha256: str
    decoder: Decoder
    sample_rate: int
    channels: int
    announced: float | None
    track: int = 0

    def blocks(self, window: Window | None = None) -> Iterator[np.ndarray]:
        """Decode in blocks of a few seconds.

        Parameters
        ----------
        window : Window, optional
            Only the samples inside it are handed out.

        Yields
        ------
        ndarray of float32, shape (frames, channels)
            Full scale is 1.0; samples that are not numbers are 0, and so is what cannot be decoded in between.

        Raises
        ------
        RecordingError
            If the file has gone, or the window holds more than four hours. A file that breaks off yields what came
            before.
        """
        import numpy as np

        window = window or Window()
        if self._announces_too_much(window) and self._holds(window, _BELIEVED_SECONDS):
            raise self._too_long()
        last = math.inf if window.end is None else round(window.end * self.sample_rate)
        most = LONGEST_HOURS * 3600 * self.sample_rate
        first = round(window.start * self.sample_rate)
        given = 0
        with closing(self._decoded(first)) as decoded:
            for block in decoded:
                inside = block[: int(min(last - first - given, len(block)))]
                given += len(inside)
                if given > most:
                    raise self._too_long()
                if len(inside):
                    wild = ~(np.abs(inside) <= _LARGEST)
                    if wild.any():
                        inside[wild] = 0.0
                    yield inside
                if given >= last - first:
                    return

    def _decoded(self, first: int) -> Generator[np.ndarray, None, None]:
        return (_soundfile_blocks if self.decoder == "soundfile" else _av_blocks)(self, first)

    def _announces_too_much(self, window: Window) -> bool:
        end = math.inf if window.end is None else window.end
        return min(end, self.announced or 0.0) - window.start > LONGEST_HOURS * 3600

    def _holds(self, window: Window, seconds: float) -> bool:
        left = seconds * self.sample_rate
        with closing(self._decoded(round(window.start * self.sample_rate))) as decoded:
            for block in decoded:
                left -= len(block)
                if left <= 0:
                    return True
        return False

    def _too_long(self) -> RecordingError:
        return RecordingError(
            f"{self.path} holds more than {LONGEST_HOURS:g} hours of sound in the chosen part. "
            "Name the part that is the song with --from and --to and try again."
        )


def document_path(recording: str | Path) -> Path:
    """Where a recording's song document lies unless told otherwise: beside it, as NAME.cues.json.

    A document's own path is given back.
    """
    path = Path(recording)
    return path if path.name.endswith(DOCUMENT_SUFFIX) else path.with_name(path.stem + DOCUMENT_SUFFIX)


def check_name(name: str) -> None:
    """Refuse a recording whose name, or the way to it, is not UTF-8: no document could tell it.

    Raises
    ------
    RecordingError
    """
    try:
        name.encode()
    except UnicodeEncodeError:
        shown = os.fsencode(name).decode("utf-8", "replace")
        raise RecordingError(
            f"{shown}: the name of a recording, or of a folder on the way to it, is not UTF-8. Rename it, then run "
            "the command again."
        ) from None


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
        If there is no such file, it is a folder, a pipe or a device, it is empty, holds no sound, or no decoder can
        read it.
    """
    path = Path(path)
    digest = _digest(path)
    check_name(str(path))
    found = _probe_soundfile(path)
    if found is None or found[3] == 0:
        # A recorder that lost its power leaves a WAV of length 0 with all its sound in it; PyAV reads on.
        found = _probe_av(path) or found
    if found is None:
        raise RecordingError(
            f"{path} is not audio that can be decoded. If it plays elsewhere, export it from there as WAV or FLAC "
            "and use that file; if it does not, it was cut off or damaged: copy it again."
        )
    _, rate, channels, _, _ = found
    if not (_RATES[0] <= rate <= _RATES[1] and channels >= 1):
        raise RecordingError(
            f"{path} says that it has {rate} samples a second and {channels} channels, which no sound has: its "
            "header is damaged. Copy or export it again."
        )
    return Recording(path, digest, *found)


def _digest(path: Path) -> str:
    """SHA-256 of a file's bytes, after everything has been refused that is not a file with something in it."""
    try:
        status = path.stat()
        if stat.S_ISDIR(status.st_mode):
            raise RecordingError(f"{path} is a folder. Name an audio file in it.")
        if not stat.S_ISREG(status.st_mode):
            # Reading from it might wait for ever, and the way through the program reads twice.
            raise RecordingError(f"{path} is a pipe or a device, not a file. Save its sound to a file and name that.")
        if status.st_size == 0:
            raise RecordingError(f"{path} is empty (0 bytes). Copy or record it again.")
        with path.open("rb") as file:
            return hashlib.file_digest(file, "sha256").hexdigest()
    except FileNotFoundError:
        raise RecordingError(f"{path} was not found. Check the name and the folder.") from None
    except OSError as error:
        raise RecordingError(
            f"{path} cannot be opened: {reason_of(error)}. Check its name and who may read it."
        ) from None
    except ValueError as error:
        raise RecordingError(f"{str(path)!r} is not the name of a file: {error}. Check the name.") from None


def _probe_soundfile(path: Path) -> _Found | None:
    if _may_be_mpeg(path):
        return None
    import soundfile

    try:
        with soundfile.SoundFile(path) as file:
            if file.subtype.startswith("MPEG"):  # inside a WAV
                return None
            known = file.frames < _UNKNOWN_FRAMES
            announced = file.frames / file.samplerate if known else None
            return "soundfile", file.samplerate, file.channels, announced, 0
    except (soundfile.LibsndfileError, TypeError):  # TypeError: a headerless kind, such as .raw
        return None


def _may_be_mpeg(path: Path) -> bool:
    """Whether soundfile might ask libmpg123, which prints its own lines on the screen about all that is damaged."""
    with path.open("rb") as file:
        head = file.read(3)
    return head == b"ID3" or (head[:1] == b"\xff" and head[1:2] >= b"\xe0") or path.suffix.lower() in _MPEG_NAMES


def _soundfile_blocks(recording: Recording, first: int) -> Generator[np.ndarray, None, None]:
    """Samples from `first` on. Where soundfile loses its way, PyAV, which skips what is damaged, reads on."""
    import soundfile

    position = first
    try:
        with soundfile.SoundFile(recording.path) as file:
            if first >= file.frames:
                return
            file.seek(first)
            while len(block := file.read(_block_frames(recording), dtype="float32", always_2d=True)):
                position += len(block)
                yield block
    except (soundfile.LibsndfileError, ValueError):  # ValueError: damage has carried it past its own end
        if position == first or _probe_av(recording.path):
            yield from _av_blocks(recording, position)


def _block_frames(recording: Recording) -> int:
    return max(1, min(int(BLOCK_SECONDS * recording.sample_rate), _BLOCK_VALUES // recording.channels))


@contextmanager
def open_container(path: Path) -> Iterator[Any]:
    """Open a file for PyAV. A file, not its name: names like "concat:a.mp3" mean something else to it."""
    import av

    # Tags may be in any encoding; nobody reads them here.
    whitelist = {"format_whitelist": _CONTAINERS}
    with path.open("rb") as file, av.open(file, options=whitelist, metadata_errors="replace") as container:
        yield container


def _probe_av(path: Path) -> _Found | None:
    import av

    try:
        with open_container(path) as container:
            tracks = len(container.streams.audio)
            announced = None if container.duration is None else container.duration / av.time_base
            if not tracks and container.streams.video:
                raise RecordingError(f"{path} has no sound in it. Use the file that the sound was recorded in.")
        for track in range(tracks):
            with open_container(path) as container:
                # The first frame, not the header, tells the rate: some headers leave out what the codec doubles.
                frame = next((part for part in _frames(container, track) if not isinstance(part, float)), None)
                if frame is not None and frame.sample_rate:
                    return "av", int(frame.sample_rate), frame.layout.nb_channels, announced, track
    except (av.FFmpegError, OSError, ValueError):
        pass
    return None


def _frames(container: Any, track: int) -> Iterator[av.AudioFrame | float]:
    """Frames of a track; in place of a packet that cannot be decoded, its seconds."""
    import av

    stream = container.streams.audio[track]
    if stream.codec_context is None:
        return
    failed = 0
    packets = container.demux(stream)
    while failed < _BAD_PACKETS:
        try:
            packet = next(packets)
        except (StopIteration, av.FFmpegError):
            return  # The end, or the file breaks off; what came before is good.
        try:
            yield from packet.decode()
            failed = 0
        except av.FFmpegError:
            failed += 1
            if packet.duration and packet.time_base:
                yield float(packet.duration * packet.time_base)


def _av_blocks(recording: Recording, first: int) -> Generator[np.ndarray, None, None]:
    """Samples from `first` on; what lies before is decoded too, or its samples could not be counted."""
    import av
    import numpy as np

    size = _block_frames(recording)
    waiting: list[np.ndarray] = []
    count = 0
    try:
        with open_container(recording.path) as container:
            for frame in _frames(container, recording.track):
                samples = _samples(frame, recording)
                part = samples[first:]
                first = max(0, first - len(samples))
                waiting.append(part)
                count += len(part)
                if count >= size:
                    yield np.concatenate(waiting)
                    waiting, count = [], 0
    except (av.FFmpegError, OSError) as error:
        raise RecordingError(f"{recording.path} cannot be read any more: {error}. Is it still there?") from None
    if count:
        yield np.concatenate(waiting)


def _packed(frame: av.AudioFrame) -> av.AudioFrame:
    """The same frame with the channels' samples side by side in one plane."""
    import av

    return av.AudioResampler(format="flt").resample(frame)[0]


def _samples(frame: av.AudioFrame | float, recording: Recording) -> np.ndarray:
    """A frame as the recording's kind of samples; silence for what is damaged."""
    import numpy as np

    channels = recording.channels
    if isinstance(frame, float):
        return np.zeros((round(min(frame, _LONGEST_PACKET) * recording.sample_rate), channels), np.float32)
    if frame.sample_rate != recording.sample_rate:
        # Nearly always one frame with a damaged header.
        return _samples(frame.samples / max(frame.sample_rate, 1), recording)
    kind, count = frame.format, frame.layout.nb_channels
    if kind.name == "fltp" and count == channels < _MANY_PLANES:
        # What nearly all lossy kinds decode to, in frames of a few hundredths of a second: worth a way of its own.
        planes: tuple[Any, ...] = frame.planes  # buffers, which their types do not say
        spread = np.empty((frame.samples, channels), np.float32)
        for channel, plane in enumerate(planes):
            spread[:, channel] = np.frombuffer(plane, np.float32, frame.samples)
        return spread
    if (kind.is_planar and count >= _MANY_PLANES) or kind.name in _WIDE:
        frame = _packed(frame)
    raw = frame.to_ndarray()
    raw = raw.T if frame.format.is_planar else raw.reshape(frame.samples, -1)
    found: np.ndarray = raw.astype(np.float32, copy=False)
    if raw.dtype.kind == "u":
        found = (found - 128) / 128
    elif raw.dtype.kind == "i":
        found = found / np.float32(2.0 ** (8 * raw.dtype.itemsize - 1))
    if found.shape[1] != channels:  # Some coded stereo begins as mono until its second channel is known.
        found = np.repeat(found.mean(axis=1, keepdims=True), channels, axis=1)
    return np.ascontiguousarray(found)
