"""The sound of a song for the page: our own decode as one WAV with 16 bits, any part of it at any time.

Whatever the recording's format, the browser gets the samples that the analysis heard, counted from the same first
one, so that beats on the page are beats in the sound. The length is known from the document before anything is
decoded; decoding runs on behind, and who asks for a part that is not there yet waits for it.
"""

from __future__ import annotations

import struct
import tempfile
import threading
import weakref
from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING, BinaryIO

from cuesuggest.errors import CuesuggestError, RecordingError
from cuesuggest.export.common.show_sound import sixteen_bits
from cuesuggest.export.desk.tones import struck
from cuesuggest.sound.recording import Recording, Window

if TYPE_CHECKING:
    import numpy as np

__all__ = ["Click", "Sound", "clicks_alone"]

_HEADER = 44  # bytes: RIFF, fmt and data chunk headers
_HIGHEST_RATE = 48_000  # Hz; browsers' own mixers run no faster
_FULL = 32767
_PATIENCE = 60.0  # s to wait for a part that is being decoded


@dataclass(frozen=True, slots=True)
class Click:
    """Where a click is mixed in: seconds from the start of the recording's file, rising."""

    beats: tuple[float, ...]
    downbeats: frozenset[float]
    level: float = 0.5
    """Of full scale, 0..1."""
    song: float = 1.0
    """What the song is multiplied by, so that the click can be the louder of the two."""


class Sound:
    """The song's part of a recording as a WAV of known length."""

    def __init__(self, recording: Recording, window: Window, duration: float) -> None:
        """Start to decode.

        Parameters
        ----------
        recording : Recording
        window : Window
            The part that is the song.
        duration : float
            Seconds of it, as the document has them.
        """
        self._recording, self._window = recording, window
        self.rate = min(recording.sample_rate, _HIGHEST_RATE)
        self.channels = 2 if recording.channels == 2 else 1
        self._step = 2 * self.channels
        self.frames = round(duration * self.rate)
        self.size = _HEADER + self.frames * self._step
        self._file = tempfile.TemporaryFile(prefix="cuesuggest-")  # noqa: SIM115  # closed with the page's server
        # Or, where it was asked for while that ended, as soon as nobody has it any more.
        weakref.finalize(self, self._file.close)
        self._lock = threading.Condition()
        self._done = 0  # bytes of samples
        self._ended = False
        self._closed = False
        self._problem: CuesuggestError | None = None
        self._thread = threading.Thread(target=self._decode, name="decode", daemon=True)
        self._thread.start()

    @property
    def start(self) -> float:
        """Seconds of the recording at which it begins."""
        return self._window.start

    def close(self) -> None:
        """Stop decoding and remove what was decoded."""
        with self._lock:
            self._closed = True
            self._lock.notify_all()
        self._thread.join(timeout=10)
        self._file.close()

    def read(self, start: int, stop: int, click: Click | None = None) -> bytes:
        """Return bytes of the WAV.

        Parameters
        ----------
        start, stop : int
            As in a slice; `stop` is at most `size`.
        click : Click, optional
            To mix in.

        Raises
        ------
        RecordingError
            If the recording cannot be decoded any more.
        """
        head = self._header()[start:stop]
        begin, end = max(start - _HEADER, 0), max(stop - _HEADER, 0)
        if end <= begin:
            return head
        # Whole frames, so that a click can be mixed in.
        first, last = begin // self._step, -(-end // self._step)
        data = self._samples(first * self._step, last * self._step)
        if click is not None:
            data = self._with_click(data, first, last, click)
        return head + data[begin - first * self._step : end - first * self._step]

    def _header(self) -> bytes:
        return _header(self.frames, self.rate, self.channels)

    def _samples(self, begin: int, end: int) -> bytes:
        with self._lock:
            there = self._lock.wait_for(lambda: self._done >= end or self._ended or self._closed, _PATIENCE)
            if self._problem is not None:
                raise self._problem
            if not there or self._closed:
                raise RecordingError(f"{self._recording.path} takes too long to decode. Open the page again.")
            self._file.seek(begin)
            data = self._file.read(end - begin)
        return data.ljust(end - begin, b"\0")  # where less can be decoded than was heard, silence

    def _with_click(self, data: bytes, first: int, last: int, click: Click) -> bytes:
        import numpy as np

        length = len(struck(self.rate, False))
        offset = self._window.start
        wanted = [time for time in click.beats if first - length < round((time - offset) * self.rate) < last]
        if not wanted and click.song == 1.0:
            return data
        mixed = click.song * np.frombuffer(data, "<i2").reshape(-1, self.channels).astype(np.float32)
        for time in wanted:
            tone = _FULL * struck(self.rate, time in click.downbeats)
            at = round((time - offset) * self.rate) - first
            part = click.level * tone[max(-at, 0) : last - first - at]
            mixed[max(at, 0) : max(at, 0) + len(part)] += part[:, None]
        return np.clip(mixed, -_FULL, _FULL).astype("<i2").tobytes()

    # Decoding, in its own thread.

    def _decode(self) -> None:
        try:
            left = self.frames
            for block in self._blocks():
                part = block[:left]
                self._append(self._file, sixteen_bits(part))
                left -= len(part)
                if not left or self._closed:
                    break
        except (CuesuggestError, OSError) as error:
            self._problem = (
                error
                if isinstance(error, CuesuggestError)
                else RecordingError(
                    f"The sound could not be put aside for playing: {error}. Make room in the temporary folder."
                )
            )
        with self._lock:
            self._ended = True
            self._lock.notify_all()

    def _append(self, file: BinaryIO, data: bytes) -> None:
        with self._lock:
            if self._closed:
                return
            file.seek(self._done)
            file.write(data)
            self._done += len(data)
            self._lock.notify_all()

    def _blocks(self) -> Iterator[np.ndarray]:
        """Blocks of one or two channels at the rate that is served."""
        blocks = self._recording.blocks(self._window)
        if self._recording.channels > 2:
            blocks = (block.mean(axis=1, keepdims=True) for block in blocks)
        if self.rate == self._recording.sample_rate:
            yield from blocks
            return
        import soxr

        stream = soxr.ResampleStream(self._recording.sample_rate, self.rate, self.channels, dtype="float32")
        for block in blocks:
            yield stream.resample_chunk(block).reshape(-1, self.channels)
        yield stream.resample_chunk(_nothing(self.channels), last=True).reshape(-1, self.channels)


def clicks_alone(click: Click, rate: int) -> bytes:
    """Return a WAV of one channel with a click and nothing else, a second longer than its last beat."""
    import numpy as np

    sound = np.zeros(round((click.beats[-1] + 1) * rate), np.float32)
    tone = _FULL * struck(rate, False)
    for time in click.beats:
        at = round(time * rate)
        sound[at : at + len(tone)] = click.level * tone
    return _header(len(sound), rate, 1) + np.clip(sound, -_FULL, _FULL).astype("<i2").tobytes()


def _header(frames: int, rate: int, channels: int) -> bytes:
    step = 2 * channels
    return struct.pack(
        "<4sI4s4sIHHIIHH4sI", b"RIFF", frames * step + _HEADER - 8, b"WAVE", b"fmt ", 16, 1, channels, rate,
        rate * step, step, 16, b"data", frames * step,
    )  # fmt: skip


def _nothing(channels: int) -> np.ndarray:
    import numpy as np

    return np.zeros((0, channels), np.float32)
