"""Where the song starts and ends in its recording, moved by bars or to a time, as edits."""

from __future__ import annotations

from dataclasses import replace
from typing import Literal

from cuesuggest.analysis.types import Bar
from cuesuggest.errors import EditError
from cuesuggest.score.records import clock
from cuesuggest.song import SetRecording, Song, SongWindow

__all__ = ["Edge", "edge_at", "edge_moved"]

Edge = Literal["start", "end"]

_BEFORE_BAR = 0.1  # s that a song begins before its first bar: an attack is heard from its very beginning
_SHORTEST = 4.0  # s; of less, nothing can be heard
_STEP = 2.0  # s in place of a bar where none were heard


def edge_moved(song: Song, edge: Edge, bars: int) -> SetRecording:
    """Move where a song starts or ends by bars: inwards to a bar line, outwards by as long as the bar at the edge.

    Parameters
    ----------
    song : Song
    edge : str
        "start" or "end".
    bars : int
        Later, or earlier where negative.

    Raises
    ------
    EditError
        If the recording does not reach there, or nothing is left of the song.
    """
    inside, window = [bar for bar in song.analysis.bars if bar.number >= 1], song.recording.window
    outwards = bars < 0 if edge == "start" else bars > 0
    if outwards:
        return edge_at(song, edge, _outside(song, edge, inside, abs(bars)))
    if len(inside) <= abs(bars):
        time = window.start + _STEP * bars if edge == "start" else window.end + _STEP * bars
        if inside:
            raise EditError("No bar of the song would be left. Move the edge to the playhead instead.")
        return edge_at(song, edge, time)
    return edge_at(song, edge, inside[bars].start - _BEFORE_BAR if edge == "start" else inside[bars].start)


def _outside(song: Song, edge: Edge, inside: list[Bar], bars: int) -> float:
    """Return a time so many bars outside of the song."""
    window = song.recording.window
    last = inside[:1] if edge == "start" else inside[-1:]
    length = last[0].end - last[0].start if last else _STEP
    return window.start - bars * length if edge == "start" else window.end + bars * length


def edge_at(song: Song, edge: Edge, seconds: float) -> SetRecording:
    """Let a song start or end at a time, or at the recording's own start or end where that comes first.

    Parameters
    ----------
    song : Song
    edge : str
        "start" or "end".
    seconds : float
        From the start of the file; tenths of a second are kept.

    Raises
    ------
    EditError
        If the edge lies there already, or too little is left of the song.
    """
    recording = song.recording
    window = recording.window
    time = min(max(round(seconds, 1), 0.0), recording.duration)
    moved = SongWindow(time, window.end) if edge == "start" else SongWindow(window.start, time)
    if abs(moved.start - window.start) < _STEP / 100 and abs(moved.end - window.end) < _STEP / 100:
        raise EditError(f"The song {edge}s at {clock(getattr(window, edge))} already, as far as the recording goes.")
    if moved.end - moved.start < _SHORTEST:
        raise EditError(f"Only {max(moved.end - moved.start, 0):.1f} s of the song would be left. Nothing was changed.")
    return SetRecording(replace(recording, window=moved))
