"""Linear timecode as a sound file as long as the song's recording, and MIDI time code in a MIDI file.

SMPTE ST 12-1 (the 80-bit word), biphase mark; MIDI Time Code (RP-004 and RP-008), full-frame messages: a MIDI file
holds no other system messages without escapes that many readers refuse.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from fractions import Fraction
from typing import TYPE_CHECKING

from mido import Message

from cuesuggest.errors import CuesuggestError
from cuesuggest.export.common.mix import gain
from cuesuggest.export.common.options import Options
from cuesuggest.export.common.riff import wav
from cuesuggest.export.common.show_bars import show_end
from cuesuggest.export.common.show_sound import sixteen_bits_format, spans
from cuesuggest.export.common.timing import Rate
from cuesuggest.export.desk.midi_file import Timed, midi_bytes
from cuesuggest.export.desk.show_control import RATE_CODES

if TYPE_CHECKING:
    import numpy as np

    from cuesuggest.song import Song

__all__ = [
    "LEVEL",
    "check_length",
    "full_frame",
    "linear_block",
    "linear_edges",
    "word_bits",
    "write_linear",
    "write_midi",
]

_RATE = 48_000
LEVEL = -12.0  # dB of full scale: between -18 and -6 is a cautious level for a file (from memory)
_SYNC = (0, 0, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 0, 1)
# First bit and length of each decimal digit, units before tens: frames, seconds, minutes, hours.
_DIGITS = ((0, 4), (8, 2), (16, 4), (24, 3), (32, 4), (40, 3), (48, 4), (56, 2))
_DROP_BIT = 10
_LONGEST = 5 * 3600.0  # s: as long as what is listened to, and an hour before it
_EVERY = 1.0  # Seconds between full-frame messages.
_LOCATES = "Full-frame messages: a receiver goes to each of these times, and does not run between them."


def write_linear(song: Song, options: Options) -> bytes:
    """Write linear timecode as sound: 48 kHz, mono, 16 bits.

    It runs from the show's second 0 on, so that a song late in a show is better told by its start timecode.

    Parameters
    ----------
    song : Song
    options : Options
        Its first sample is second 0 of the show; it lasts as long as the recording does there, or as the song's window.

    Returns
    -------
    bytes
        A WAV file.

    Raises
    ------
    CuesuggestError
        If it would last more than five hours.
    """
    end = show_end(song, options.timing)
    if not options.from_window:
        end = max(options.timing.show(song.recording.duration), end)
    check_length(end, "timecode.wav")
    edges, count = linear_edges(options, end, _RATE), round(end * _RATE)
    peak = gain(options.mix, "timecode", LEVEL)
    blocks = (linear_block(edges, start, stop, _RATE, peak).tobytes() for start, stop in spans(count))
    return wav([sixteen_bits_format(_RATE, 1)], blocks, [])


def check_length(seconds: float, name: str) -> None:
    """Refuse a sound that would be too long.

    Raises
    ------
    CuesuggestError
        If it would last more than five hours.
    """
    if seconds > _LONGEST:
        raise CuesuggestError(
            f"The sound from the show's second 0 to the song's end would last {seconds / 3600:.1f} hours; at most "
            f"{_LONGEST / 3600:g} are written. Say when the song comes with --start-timecode instead of an offset, or "
            f"leave {name} out."
        )


def write_midi(song: Song, options: Options) -> bytes:
    """Write MIDI time code as full-frame messages, one a second, in a MIDI file with the song's bars.

    Parameters
    ----------
    song : Song
    options : Options

    Returns
    -------
    bytes
    """
    return midi_bytes(song, options, [("Time code", _full_frames(song, options))], remarks=[_LOCATES])


def word_bits(rate: Rate, frame: int) -> tuple[int, ...]:
    """The 80 bits of a frame's word, in the order in which they are sent.

    Parameters
    ----------
    rate : Rate
    frame : int
        Counted from 00:00:00:00.

    Returns
    -------
    tuple of int
        User bits are 0; the polarity bit makes the number of ones even.
    """
    hours, minutes, seconds, frames = rate.fields(frame)
    bits = [0] * 64
    digits = [digit for value in (frames, seconds, minutes, hours) for digit in (value % 10, value // 10)]
    for (first, length), digit in zip(_DIGITS, digits, strict=True):
        for bit in range(length):
            bits[first + bit] = digit >> bit & 1
    bits[_DROP_BIT] = int(rate.drop)
    word = [*bits, *_SYNC]
    word[59 if rate.labels == 25 else 27] = sum(word) % 2
    return tuple(word)


def full_frame(rate: Rate, frame: int) -> bytes:
    """Write a full-frame message of MIDI time code, F0 and F7 left out."""
    hours, minutes, seconds, frames = rate.fields(frame)
    return bytes([0x7F, 0x7F, 0x01, 0x01, hours | RATE_CODES[rate.name] << 5, minutes, seconds, frames])


def linear_edges(options: Options, end: float, sample_rate: int) -> np.ndarray:
    """Samples at which linear timecode turns: at every bit, and within a bit that is 1.

    Each is rounded from its absolute time; a rounded length of a bit would add up.

    Parameters
    ----------
    options : Options
    end : float
        Seconds of the show, in which it starts at 0.
    sample_rate : int

    Returns
    -------
    ndarray of int
    """
    import numpy as np

    rate = options.timing.rate
    first = rate.parse(options.timing.start)
    words = [word_bits(rate, first + each) for each in range(math.ceil(Fraction(end) * rate.exact))]
    bits = np.array(words, np.int8).reshape(-1)
    starts = np.arange(len(bits), dtype=np.int64) * 2
    halves = np.sort(np.concatenate([starts, starts[bits == 1] + 1]))
    # A half bit is 1/160 of a frame.
    step = Fraction(sample_rate) / (160 * rate.exact)
    return (halves * (2 * step.numerator) + step.denominator) // (2 * step.denominator)


def linear_block(edges: np.ndarray, start: int, stop: int, sample_rate: int, peak: float) -> np.ndarray:
    """Samples of a signal that turns at the given ones, as 16-bit numbers.

    Parameters
    ----------
    edges : ndarray of int
        Of `linear_edges`.
    start, stop : int
        Which samples, as in a slice.
    sample_rate : int
    peak : float
        Of full scale.
    """
    import numpy as np

    # At 48 kHz an edge is over three samples (1, 2, 1), some 40 microseconds, as the standard wants it.
    wide = max(round(sample_rate / _RATE), 1)
    box = np.ones(wide + 1) / (wide + 1)
    turns = np.zeros(stop - start + 2 * wide, np.int8)
    first, last = np.searchsorted(edges, [start - wide, stop + wide - 1], "right")
    turns[edges[first:last] - (start - wide)] = 1
    turns[0] = first % 2
    level = np.bitwise_xor.accumulate(turns)
    if start == 0:
        level[:wide] = level[wide]
    smooth = np.convolve(level, np.convolve(box, box), "valid")
    return np.round((2 * smooth - 1) * (peak * 32767)).astype("<i2")


def _full_frames(song: Song, options: Options) -> Iterator[Timed]:
    rate = options.timing.rate
    first = rate.parse(options.timing.start)
    last = rate.frames(show_end(song, options.timing))
    whole = max(rate.frames(_EVERY), 1)
    for frame in range(0, last + 1, whole):
        yield rate.seconds(frame), 0, Message("sysex", data=full_frame(rate, first + frame))
