"""Whether two recordings hold the same sound, and how much later it comes in one of them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from cuesuggest.analysis.types import SongAnalysis

if TYPE_CHECKING:
    import numpy as np

    from cuesuggest.draft.again.other_take import OtherTake

__all__ = ["Match", "compare"]

_RATE = 10.0  # Envelope samples a second when two recordings are compared.
# Correlation of two envelopes. The same take encoded anew or trimmed stays above 0.99; another take of a song
# with the same form reaches 0.8.
_SAME_SOUND = 0.95
_SHARED = 0.6  # Share of the shorter recording that must sound in both.


@dataclass(frozen=True, slots=True)
class Match:
    """How the sound of a document's recording answers the sound heard now."""

    kind: Literal["same", "shifted", "other", "bars", "seconds", "take"]
    """"bars" and "seconds": the same sound with other bars, and what a cue holds on to there; "take": another one of
    the song, of which `take` says where its bars are."""
    lag: float = 0.0
    """Seconds by which things come later now."""
    take: OtherTake | None = None


def compare(old: SongAnalysis, new: SongAnalysis) -> Match:
    """Tell whether two recordings hold the same sound, by the loudness through their bars.

    Parameters
    ----------
    old, new : SongAnalysis

    Returns
    -------
    Match
        "shifted" if the sound is the same but starts at another time; "other" also where there is too little
        to compare.
    """
    import numpy as np

    first, second = _curve(old), _curve(new)
    if min(len(first), len(second)) < 10 * _RATE:
        return Match("other")
    size = 1 << (len(first) + len(second) - 1).bit_length()
    spectra = [np.fft.rfft(curve - curve.mean(), size) for curve in (first, second)]
    found = np.fft.irfft(np.conj(spectra[0]) * spectra[1], size)
    lag = int(np.argmax(found))
    lag -= size if lag > size // 2 else 0
    start, end = max(0, lag), min(len(second), len(first) + lag)
    shared = second[start:end], first[start - lag : end - lag]
    if end - start < _SHARED * min(len(first), len(second)) or min(part.std() for part in shared) == 0:
        return Match("other")
    if np.corrcoef(*shared)[0, 1] < _SAME_SOUND:
        return Match("other")
    return Match("shifted", lag / _RATE) if lag else Match("same")


def _curve(analysis: SongAnalysis) -> np.ndarray:
    """Loudness from the start of the file on, `_RATE` values a second, 0 outside the bars."""
    import numpy as np

    times: list[float] = []
    values: list[float] = []
    for bar in analysis.bars:
        count = len(bar.envelope)
        times += [bar.start + (step + 0.5) * (bar.end - bar.start) / count for step in range(count)]
        values += bar.envelope
    if not times:
        return np.zeros(0)
    return np.interp(np.arange(0.0, times[-1], 1 / _RATE), times, values, left=0.0)
