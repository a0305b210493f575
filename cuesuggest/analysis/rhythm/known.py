"""What the user knows of the music: facts that the decoder obeys."""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["Known"]


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
