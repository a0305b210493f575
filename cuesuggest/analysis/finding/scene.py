"""What every finder of events looks at: frames, network, beats and bars of one song; and what it hands back."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from cuesuggest.analysis.spectrum import Spectrum
from cuesuggest.analysis.types import EventKind

__all__ = ["Candidate", "Heard", "Scene"]

_ROUNDING = 1e-3  # s


@dataclass(frozen=True, slots=True)
class Candidate:
    """Something that may have happened, and what speaks for and against it."""

    kind: EventKind
    start: float
    """Seconds."""
    end: float
    features: Mapping[str, float]
    """Named numbers of size 1 or so, independent of the recording's level."""
    entry: str = ""
    """The name of its weights in `events.json`, if it is not the kind's."""


@dataclass(frozen=True, slots=True)
class Heard:
    """What the sound is like apart from music, ten times a second.

    Attributes
    ----------
    seconds : ndarray, shape (n,)
    level : ndarray, shape (n,)
        dB.
    talk, crowd : ndarray, shape (n,)
        Log odds that somebody speaks, that a crowd claps.
    music : ndarray, shape (n,)
        The network's log odds of music, over a second.
    """

    seconds: np.ndarray
    level: np.ndarray
    talk: np.ndarray
    crowd: np.ndarray
    music: np.ndarray


@dataclass(frozen=True, slots=True)
class Scene:
    """A song as the finders see it. Times are seconds from the start of the file.

    Attributes
    ----------
    spectrum : Spectrum
    decibels : ndarray, shape (frames,)
        Level of the frames.
    heard : Heard
    heads : mapping of str to ndarray, shape (frames,)
        The network's logits by the names of `frames.HEADS`.
    beats : ndarray, shape (beats,)
    runs : ndarray of int, shape (beats,)
        Which attempt each beat belongs to; between two of them the band paused.
    starts, ends : ndarray, shape (bars,)
        Of all bars, those of the count-in too.
    lengths, numbers : ndarray of int, shape (bars,)
        Beats in each bar, and its number.
    beat : float
        The usual length of a beat.
    count : Candidate, optional
        The count-in before bar 1.
    broken_off : list of (Candidate, float)
        False starts before the song, and how likely each is one.
    music_start, music_end : float
    last_attack, last_strength : float
        When the last strong attack is, seconds, and how strong it is against the usual one on a downbeat.
    """

    spectrum: Spectrum
    decibels: np.ndarray
    heard: Heard
    heads: Mapping[str, np.ndarray]
    beats: np.ndarray
    runs: np.ndarray
    starts: np.ndarray
    ends: np.ndarray
    lengths: np.ndarray
    numbers: np.ndarray
    beat: float
    count: Candidate | None
    broken_off: list[tuple[Candidate, float]]
    music_start: float
    music_end: float
    last_attack: float
    last_strength: float

    @property
    def opens(self) -> float:
        """Start of bar 1."""
        return float(self.starts[self.numbers == 1][0])

    @property
    def gaps(self) -> list[tuple[float, float]]:
        """Between the last beat of each attempt, with its length, and the first of the next."""
        last = np.flatnonzero(np.diff(self.runs))
        return [(float(self.beats[k]) + self.beat, float(self.beats[k + 1])) for k in last]

    def place(self, seconds: float) -> tuple[int | None, float | None]:
        """Bar and beat (to a quarter of a beat) of a time, None outside the bars."""
        for number, start, end, count in zip(self.numbers, self.starts, self.ends, self.lengths, strict=True):
            inside = self.beats[(self.beats >= start - _ROUNDING) & (self.beats < end - _ROUNDING)]
            if len(inside) != count:  # a last bar that rings out
                inside = np.linspace(start, end, count, endpoint=False)
            edges = np.append(inside, end)
            early = (seconds - start) / (edges[1] - edges[0])
            quarters = round(4 * (early if early < 0 else float(np.interp(seconds, edges, np.arange(len(edges))))))
            if 0 <= quarters < 4 * count:
                return int(number), 1 + quarters / 4
        return None, None
