"""A recording's sound with chapters in it, its coded packets copied as they are: in Matroska (RFC 9559).

Players count a copy's time from its first packet. Some coders put silence in front that their own files tell players
to leave out, which Matroska does not say of them: chapters come later by as much, and so stay on the sound.
"""

from __future__ import annotations

import io
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from fractions import Fraction
from typing import TYPE_CHECKING, Any

from cuesuggest.errors import RecordingError
from cuesuggest.sound.recording import Recording, open_container

if TYPE_CHECKING:
    from av.container.core import Chapter

__all__ = ["Samples", "with_chapters"]

_UNIT = Fraction(1, 10**9)  # s; Matroska counts chapters in nanoseconds
_SAYS_ITS_DELAY = {"opus"}  # codecs whose silence in front Matroska leaves out by itself


@dataclass(frozen=True, slots=True)
class Samples:
    """A recording as numbers, for sound that Matroska does not hold as it is coded."""

    kind: str
    """FFmpeg's name of such numbers, as pcm_s16le."""
    rate: int
    channels: int
    blocks: Iterator[bytes]


def with_chapters(
    recording: Recording, samples: Samples, chapters: Sequence[tuple[float, str]], end: float, tags: Mapping[str, str]
) -> bytes:
    """Copy the sound of a recording with chapters in it.

    Parameters
    ----------
    recording : Recording
    samples : Samples
        The same as numbers.
    chapters : sequence of (float, str)
        Seconds of the recording at which each begins, rising, and its title. It lasts until the next.
    end : float
        Seconds at which the last one ends.
    tags : mapping of str to str
        Of the whole, such as its title.

    Returns
    -------
    bytes
        A Matroska file with nothing but sound in it.

    Raises
    ------
    RecordingError
        If it cannot be read any more, or has more channels than such a file holds.
    """
    import av

    try:
        try:
            return _copied(recording, _marks(chapters, end, _silence_in_front(recording)), tags)
        except ValueError:  # as PyAV says that it holds no sound of this kind, such as telephones'
            return _as_numbers(samples, _marks(chapters, end, 0.0), tags)
    except ValueError:
        raise RecordingError(
            f"A file with chapters does not hold the sound of {recording.path}. Use the format markers, or leave "
            "chapters out."
        ) from None
    except (av.FFmpegError, OSError) as error:
        raise RecordingError(f"{recording.path} cannot be read any more: {error}. Is it still there?") from None


def _marks(chapters: Sequence[tuple[float, str]], end: float, later: float) -> list[Chapter]:
    """Chapters as PyAV takes them."""
    ends = [start for start, _ in chapters[1:]] + [end]
    return [
        {
            "id": number,
            "start": round((start + later) / _UNIT),
            "end": round((max(until, start) + later) / _UNIT),
            "time_base": _UNIT,
            "metadata": {"title": title},
        }
        for number, ((start, title), until) in enumerate(zip(chapters, ends, strict=True), 1)
    ]


def _copied(recording: Recording, marks: list[Chapter], tags: Mapping[str, str]) -> bytes:
    out = io.BytesIO()
    with open_container(recording.path) as source, _new(out, marks, tags) as copy:
        stream = source.streams.audio[recording.track]
        _copy_packets(source, stream, copy, copy.add_stream_from_template(stream))
    return out.getvalue()


def _as_numbers(samples: Samples, marks: list[Chapter], tags: Mapping[str, str]) -> bytes:
    import av

    out = io.BytesIO()
    with _new(out, marks, tags) as copy:
        stream = copy.add_stream(samples.kind, rate=samples.rate, layout=f"{samples.channels}c")
        width = stream.codec_context.format.bytes * samples.channels
        at = 0
        for block in samples.blocks:
            packet = av.Packet(block)
            packet.stream, packet.time_base = stream, Fraction(1, samples.rate)
            packet.pts = packet.dts = at
            packet.duration = len(block) // width
            at += packet.duration
            copy.mux(packet)
    return out.getvalue()


@contextmanager
def _new(out: io.BytesIO, marks: list[Chapter], tags: Mapping[str, str]) -> Iterator[Any]:
    import av

    # Without it the file would have the day and a number by chance in it.
    with av.open(out, "w", format="matroska", options={"fflags": "+bitexact"}) as copy:
        copy.metadata.update(tags)
        copy.set_chapters(marks)
        yield copy


def _copy_packets(source: Any, stream: Any, copy: Any, copied: Any) -> None:
    import av

    packets = source.demux(stream)
    while True:
        try:
            packet = next(packets)
        except (StopIteration, av.FFmpegError):
            return  # The end, or the file breaks off; what came before is good.
        if packet.dts is not None:
            packet.stream = copied
            copy.mux(packet)


def _silence_in_front(recording: Recording) -> float:
    """Seconds from the first packet to the first sample that the recording's own decoder hands out."""
    import av

    with open_container(recording.path) as container:
        stream = container.streams.audio[recording.track]
        if stream.codec_context is None or stream.codec_context.name in _SAYS_ITS_DELAY:
            return 0.0
        first = None
        for packet in container.demux(stream):
            if first is None and packet.pts is not None:
                first = packet.pts * packet.time_base
            with suppress(av.FFmpegError):
                for frame in packet.decode():
                    return 0.0 if first is None or frame.pts is None else float(frame.pts * frame.time_base - first)
    return 0.0
