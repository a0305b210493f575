"""How long a connection may stay without asking for anything, and how many of those there may be.

A request comes whole within moments: it is sent on this machine, and small. What takes longer is let go, and of too
many that wait the one that has waited longest, so that no number of them keeps the page out. What is being answered
may take its time: a browser's player reads a song's sound as slowly as it plays.
"""

from __future__ import annotations

import asyncio

from uvicorn.protocols.http.h11_impl import H11Protocol

__all__ = ["MOST_WAITING", "SECONDS", "PatientProtocol"]

SECONDS = 10.0  # for a request of 256 KB at most, from this machine
MOST_WAITING = 64  # a browser has six at a time; some systems give a program 256 files


class PatientProtocol(H11Protocol):
    """HTTP over one connection, with limits on what has not asked for anything yet."""

    _patience: asyncio.TimerHandle | None = None
    """Runs while it waits for a whole request."""

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        """Take a new connection; let go of another if there are too many that wait."""
        super().connection_made(transport)
        self._wait()
        waiting = [
            (each._patience.when(), each)
            for each in self.connections
            if isinstance(each, PatientProtocol) and each._patience is not None
        ]
        if len(waiting) > MOST_WAITING:
            min(waiting, key=lambda each: each[0])[1].let_go()

    def connection_lost(self, exc: Exception | None) -> None:
        """Forget it."""
        self._stop_waiting()
        super().connection_lost(exc)

    def handle_events(self) -> None:
        """Read what has come; a request that is whole has all the time it needs."""
        super().handle_events()
        if self.cycle is not None and not self.cycle.more_body and not self.cycle.response_complete:
            self._stop_waiting()

    def on_response_complete(self) -> None:
        """Wait for the next request, which may have come already."""
        self._wait()
        super().on_response_complete()

    def let_go(self) -> None:
        """Close it; what was answered already still goes out."""
        self._stop_waiting()
        self.transport.close()

    def _wait(self) -> None:
        self._stop_waiting()
        self._patience = self.loop.call_later(SECONDS, self.let_go)

    def _stop_waiting(self) -> None:
        if self._patience is not None:
            self._patience.cancel()
            self._patience = None
