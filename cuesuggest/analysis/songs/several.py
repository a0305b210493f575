"""Whether what was heard as one song seems to be several, told at no cost from what was heard."""

from __future__ import annotations

from cuesuggest.analysis.types import SongAnalysis

__all__ = ["songs_seen"]

_APART_SECONDS = 12.0  # without bars: a band that broke off in a song goes on sooner
_LEAST_SECONDS = 60.0  # of bars: a false start is shorter


def songs_seen(analysis: SongAnalysis) -> int:
    """Count long parts with bars, or with music whose bars are not told, that lie well apart.

    Parameters
    ----------
    analysis : SongAnalysis

    Returns
    -------
    int
        1 for most recordings; 0 without music.
    """
    uncounted = [(event.start, event.end) for event in analysis.events if event.kind == "uncounted"]
    parts: list[list[float]] = []
    for start, end in sorted([*((bar.start, bar.end) for bar in analysis.bars), *uncounted]):
        if parts and start - parts[-1][1] < _APART_SECONDS:
            parts[-1][1] = max(parts[-1][1], end)
        else:
            parts.append([start, end])
    return max(sum(end - start >= _LEAST_SECONDS for start, end in parts), int(bool(parts)))
