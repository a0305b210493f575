"""Read linear timecode (SMPTE ST 12-1) out of a sound: the labels, and the sample at which each word begins."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from cuesuggest.export.common.timing import RATES, Rate

if TYPE_CHECKING:
    import numpy as np

__all__ = ["Label", "read_linear"]

_SYNC = "0011111111111101"
_WORD = 80  # bits
# First bit and bits of units and tens: hours, minutes, seconds, frames.
_FIELDS = ((48, 4, 56, 2), (32, 4, 40, 3), (16, 4, 24, 3), (0, 4, 8, 2))
_MOST_TURNS = 6000  # a second; 30 frames of 80 bits have 4800 at most, and other sound as many as it has samples
_LEAST_RATE = 8000  # samples a second that can hold it
_LONG = 0.75  # of a bit: what is longer between two turns of the signal is a whole bit


@dataclass(frozen=True, slots=True)
class Label:
    """One word."""

    sample: int
    """At which it begins."""
    hours: int
    minutes: int
    seconds: int
    frames: int
    drop: bool

    def __str__(self) -> str:
        """HH:MM:SS:FF, with a semicolon before the frames where labels are dropped."""
        mark = ";" if self.drop else ":"
        return f"{self.hours:02d}:{self.minutes:02d}:{self.seconds:02d}{mark}{self.frames:02d}"


def read_linear(samples: np.ndarray, sample_rate: int) -> tuple[list[Label], Rate | None]:
    """Find the words of timecode in a sound.

    Parameters
    ----------
    samples : ndarray, shape (n,)
        One channel; its level and polarity do not matter.
    sample_rate : int

    Returns
    -------
    labels : list of Label
        Whole words in order; empty if there is no timecode.
    rate : Rate or None
        The one whose frames are as long as the words are.
    """
    bits, starts = _bits(samples, max(len(samples) / max(sample_rate, _LEAST_RATE), 1.0))
    labels = []
    at = bits.find(_SYNC)
    while at >= 0:
        first = at - (_WORD - len(_SYNC))
        label = _label(bits[first:at], starts[first]) if first >= 0 else None
        labels += [label] if label is not None else []
        at = bits.find(_SYNC, at + 1)
    return labels, _rate(labels, sample_rate)


def _bits(samples: np.ndarray, seconds: float) -> tuple[str, list[int]]:
    """The bits of a biphase mark signal as text, and the sample at which each begins."""
    import numpy as np

    turns = np.flatnonzero(np.diff(samples >= 0)) + 1
    if not _WORD <= len(turns) <= _MOST_TURNS * seconds:
        return "", []
    # The signal also turns at its very first sample, where there is nothing before it to see that by.
    turns = np.concatenate([[0], turns])
    lengths = np.diff(turns)
    whole = float(np.percentile(lengths, 95))
    bits: list[str] = []
    starts: list[int] = []
    index = 0
    is_long = (lengths > _LONG * whole).tolist()
    places = turns.tolist()
    while index < len(is_long):
        starts.append(places[index])
        if is_long[index]:
            bits.append("0")
            index += 1
        elif index + 1 < len(is_long) and not is_long[index + 1]:
            bits.append("1")
            index += 2
        else:
            # Half a bit alone: out of step, as at a start in the middle of a word. The next turn begins a bit.
            bits.append("x")
            index += 1
    return "".join(bits), starts


def _label(bits: str, sample: int) -> Label | None:
    if len(bits) != _WORD - len(_SYNC) or "x" in bits:
        return None
    values = []
    for units, units_length, tens, tens_length in _FIELDS:
        values.append(_number(bits, units, units_length) + 10 * _number(bits, tens, tens_length))
    hours, minutes, seconds, frames = values
    if hours > 23 or minutes > 59 or seconds > 59 or frames > 29:
        return None
    return Label(sample, hours, minutes, seconds, frames, bits[10] == "1")


def _number(bits: str, first: int, length: int) -> int:
    return sum(1 << place for place in range(length) if bits[first + place] == "1")


def _rate(labels: list[Label], sample_rate: int) -> Rate | None:
    if len(labels) < 2:
        return None
    a_second = sample_rate * (len(labels) - 1) / (labels[-1].sample - labels[0].sample)
    fitting = [rate for rate in RATES.values() if rate.drop == labels[0].drop]
    return min(fitting, key=lambda rate: abs(float(rate.exact) - a_second))
