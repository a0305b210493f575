"""Start, pause, locate and stop of a list that is sent in time. What was brought in is taken out again."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Callable, Hashable, Iterable, Sequence
from dataclasses import replace
from typing import Literal

from cuesuggest.play.signals import DARK, Signal

__all__ = ["STOOD_STILL", "Transport"]

STOOD_STILL = 1.0  # s; a machine that slept longer does not make up for what it missed: all of it would come at once


class Transport:
    """A list that runs, or waits.

    Parameters
    ----------
    signals : sequence of Signal
        In order of time.
    send : callable
        Takes the data of a signal.
    clock : callable
        Seconds that only grow.
    start, end : float
        Seconds of the recording between which it runs.
    farewell : bytes, optional
        What is sent last on a stop.
    """

    def __init__(
        self,
        signals: Sequence[Signal],
        send: Callable[[bytes], None],
        clock: Callable[[], float],
        *,
        start: float,
        end: float,
        farewell: bytes | None = None,
    ) -> None:
        self._signals, self._send, self._clock = signals, send, clock
        self._start, self._end, self._farewell = start, end, farewell
        self._times = [each.at for each in signals]
        self._here, self._since, self._seen = start, 0.0, 0.0
        self._next = bisect_left(self._times, start)
        self._now: dict[Hashable, Signal] = {}
        """By part, what was sent for it last in this run."""
        self._set_up = False
        """Whether everything is as it belongs to this place."""
        self._sent_any = False
        self.playing = False

    @property
    def position(self) -> float:
        """Seconds of the recording."""
        return self._here + (self._clock() - self._since if self.playing else 0.0)

    def start(self) -> None:
        """Run from here; what is on at this place comes in first."""
        if not self.playing:
            self._since = self._seen = self._clock()
            self.playing = True
            self._begin()

    def pause(self) -> None:
        """Wait here: what is lit stays as it is, a one-shot ends."""
        self._hold(self.position)

    def locate(self, seconds: float) -> None:
        """Go to another place: what is on goes out, and while it runs, what is on there comes in."""
        self._take_out([each for each in self._now.values() if each.on])
        self._here = min(max(seconds, self._start), self._end)
        self._since = self._seen = self._clock()
        self._next = bisect_left(self._times, self._here)
        self._set_up = False
        if self.playing:
            self._begin()

    def stop(self) -> None:
        """Send nothing more, and take out everything that this run has brought in; asked again, send that again."""
        self._here, self.playing = self.position, False
        self._take_out(list(self._now.values()))
        if self._sent_any and self._farewell is not None:
            self._send(self._farewell)
        self._set_up = False

    def due(self) -> float:
        """Seconds until there is something to send; endless while it waits."""
        if not self.playing:
            return float("inf")
        upcoming = self._times[self._next] if self._next < len(self._times) else self._end
        return max(min(upcoming, self._end) - self.position, 0.0)

    def tick(self) -> Literal["", "stood still", "ended"]:
        """Send what is due. To be called again within a fraction of a second.

        Returns
        -------
        str
            "stood still" if the machine did, for so long that this is a pause now; "ended" if the list is over and
            all of it taken out.
        """
        now = self._clock()
        if not self.playing:
            return ""
        if now - self._seen > STOOD_STILL:
            self._hold(self._here + self._seen - self._since)
            return "stood still"
        self._seen = now
        at = self._here + now - self._since
        while self._next < len(self._signals) and self._times[self._next] <= at:
            self._put(self._signals[self._next], self._signals[self._next].data)
            self._next += 1
        if at >= self._end:
            self.stop()
            return "ended"
        return ""

    def _hold(self, at: float) -> None:
        self._here, self.playing = at, False
        self._take_out([each for each in self._now.values() if each.on and each.once])

    def _begin(self) -> None:
        """Bring in what is on at this place, a dark that is held before all else."""
        if self._set_up:
            return
        self._set_up = True
        last: dict[Hashable, Signal] = {}
        for each in self._signals[: self._next]:
            if each.part is not None:
                last[each.part] = each
        held = [each for each in last.values() if each.on and not each.once]
        for each in sorted(held, key=lambda each: (each.about != DARK, each.about, each.at)):
            self._put(each, each.late(self._here - each.at) if each.late is not None else each.data)

    def _put(self, signal: Signal, data: bytes) -> None:
        # Noted first: whatever comes between, what may have gone out is taken out.
        self._sent_any = True
        if signal.part is not None:
            self._now[signal.part] = signal
        self._send(data)

    def _take_out(self, signals: Iterable[Signal]) -> None:
        for each in sorted(signals, key=lambda each: each.about):
            if each.out is not None:
                self._send(each.out)
                self._now[each.part] = replace(each, on=False)
