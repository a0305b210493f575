"""What the user knows of the music: facts that the analysis obeys."""

from __future__ import annotations

from dataclasses import dataclass

from cuesuggest.analysis.form import Part

__all__ = ["Known"]


@dataclass(frozen=True, slots=True)
class Known:
    """Facts in seconds from the start of the file.

    Where they contradict each other, such as bar lines nearer to one another than a beat of the stated tempo, some give
    way.
    """

    downbeats: tuple[float, ...] = ()
    """A bar starts there; tapped times are good enough."""
    tempi: tuple[tuple[float, float, float], ...] = ()
    """BPM of the felt beat, from, to."""
    signatures: tuple[tuple[str, float], ...] = ()
    """Time signature, from; it holds until the next one."""
    bar_one: float | None = None
    """The bar that starts there is bar 1."""
    form: tuple[Part, ...] = ()
    """The parts of the song in order; they say nothing of where bars are."""
    starts: tuple[float, ...] = ()
    """When each part of the form starts, where that is stated too."""

    def __bool__(self) -> bool:
        """Whether anything is stated about bars."""
        return bool(self.bar_lines or self.tempi or self.signatures)

    @property
    def bar_lines(self) -> tuple[float, ...]:
        """Times at which a bar starts, each once, rising."""
        return tuple(sorted({*self.downbeats, *(() if self.bar_one is None else (self.bar_one,))}))
