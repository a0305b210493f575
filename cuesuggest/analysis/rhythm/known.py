"""What the user knows of the music: facts that the decoder obeys."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from cuesuggest.analysis.frames import FRAME_RATE
from cuesuggest.analysis.rhythm.decoder import Limits
from cuesuggest.analysis.rhythm.meters import Meter, stated_meter

__all__ = ["Known"]

_STATED = (40.0, 38.0, 32.0)  # nats for a stated downbeat at its frame and the next ones to each side
_ONE_BAR = 8.0  # s; stated downbeats no further apart have music between them
_AROUND = 0.5  # s of music around a downbeat that is stated alone


@dataclass(frozen=True, slots=True)
class Known:
    """Facts in seconds from the start of the file."""

    downbeats: tuple[float, ...] = ()
    """A bar starts there."""
    tempi: tuple[tuple[float, float, float], ...] = ()
    """BPM of the felt beat, from, to."""
    signatures: tuple[tuple[str, float], ...] = ()
    """Time signature, from; it holds until the next one."""
    bar_one: float | None = None
    """The bar that starts there is bar 1."""

    def __bool__(self) -> bool:
        return bool(self.downbeats or self.tempi or self.signatures or self.bar_one is not None)

    def covers(self, start: float, end: float) -> bool:
        """Whether a tempo is stated for nearly all of a stretch."""
        stated = sum(max(0.0, min(to, end) - max(from_, start)) for _, from_, to in self.tempi)
        return stated > 0.95 * (end - start)

    def meters(self, common: tuple[Meter, ...]) -> tuple[Meter, ...]:
        """Add the stated kinds of bars to others."""
        names = {meter.signature for meter in common}
        stated = dict.fromkeys(value for value, _ in self.signatures if value not in names)
        return (*common, *(stated_meter(value) for value in stated))

    def limits(self, meters: tuple[Meter, ...], start: float, frames: int, common: int) -> Limits | None:
        """What the decoder must obey.

        Parameters
        ----------
        meters : tuple of Meter
            As `meters` returned them.
        start : float
            Seconds from the start of the file of the first frame.
        frames : int
        common : int
            So many of the meters may be used where none is stated.

        Returns
        -------
        Limits or None
            None if nothing is stated that the decoder must obey.
        """
        if not (self.downbeats or self.tempi or self.signatures):
            return None

        def frame(seconds: float) -> int:
            return round((seconds - start) * FRAME_RATE)

        begins = np.repeat((np.arange(len(meters)) < common)[:, None], frames, axis=1)
        for value, from_ in sorted(self.signatures, key=lambda each: each[1]):
            # A bar line stated as where the meter begins may be heard a little before.
            begins[:, max(0, frame(from_ - 0.1)) :] = np.array([m.signature == value for m in meters])[:, None]
        opens, sounds = np.zeros(frames), np.zeros(frames, bool)
        for time in self.downbeats:
            for offset, nats in enumerate(_STATED):
                for place in {frame(time) - offset, frame(time) + offset}:
                    if 0 <= place < frames:
                        opens[place] = max(opens[place], nats)
            sounds[max(0, frame(time - _AROUND)) : max(0, frame(time + _AROUND))] = True
        times = sorted(self.downbeats)
        for before, after in pairwise(times):
            if after - before < _ONE_BAR:
                sounds[max(0, frame(before)) : max(0, frame(after))] = True
        tempi = tuple((bpm, frame(from_), frame(to)) for bpm, from_, to in self.tempi)
        return Limits(begins, opens, sounds, tempi)
