"""Standard MIDI Files (format 1): the bars of a song as tempo and meter, and whatever happens in them.

Positions are absolute, differences are taken last; tempo is written once a beat with the rounding carried, so that
nothing drifts (1920 ticks a quarter: half a tick is 0.13 ms at 120 beats a minute, 0.52 at 30).
"""

from __future__ import annotations

import bisect
import io
import math
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING, Any

from mido import Message, MetaMessage, MidiFile, MidiTrack

from cuesuggest.export.common.escape import ascii_line
from cuesuggest.export.common.options import Options, about
from cuesuggest.export.common.show_bars import Measure, measures
from cuesuggest.export.common.timing import cues_in_time
from cuesuggest.export.common.told import remarks_on_hands, told, wording
from cuesuggest.score.records import counted

if TYPE_CHECKING:
    from cuesuggest.song import Song

__all__ = ["Timed", "cue_points", "midi_bytes"]

TICKS = 1920  # a quarter note
_LINE = 200  # characters of a text event: displays show one line
_SLOWEST = 0xFFFFFF  # microseconds a quarter note: the field has 24 bits

Timed = tuple[float, int, Any]
"""Seconds of the show, rank among what happens at once (lower first), a mido message."""


class _TempoMap:
    """Ticks at seconds, as the file that is written counts them."""

    def __init__(self, bars: Sequence[Measure]) -> None:
        self.changes: list[tuple[int, int]] = []
        """Tick, microseconds a quarter note."""
        self._starts: list[float] = []
        quarter = 0.0
        reached = 0.0
        for bar in bars:
            for index in range(len(bar.times) - 1):
                tick = _tick(quarter + float(bar.beat_quarters) * index)
                ticks = _tick(quarter + float(bar.beat_quarters) * (index + 1)) - tick
                tempo = round((bar.times[index + 1] - reached) * 1e6 * TICKS / ticks)
                tempo = min(max(tempo, 1), _SLOWEST)
                self._starts.append(reached)
                self.changes.append((tick, tempo))
                reached += tempo * ticks / TICKS / 1e6
            quarter += float(bar.quarters)

    def tick(self, seconds: float) -> int:
        """The tick nearest to a moment."""
        index = max(bisect.bisect_right(self._starts, seconds + 1e-9) - 1, 0)
        tick, tempo = self.changes[index]
        return tick + _tick((seconds - self._starts[index]) * 1e6 / tempo)


def midi_bytes(
    song: Song, options: Options, tracks: Iterable[tuple[str, Iterable[Timed]]], remarks: Sequence[str] = ()
) -> bytes:
    """Write a song's bars and what happens in them.

    Parameters
    ----------
    song : Song
    options : Options
    tracks : iterable of (str, iterable of Timed)
        Name and content of every track but the first, which has tempo, meter and sections.
    remarks : sequence of str
        Further sentences for the head of the file.

    Returns
    -------
    bytes
        A Standard MIDI File, format 1.
    """
    bars = measures(song, options.timing)
    tempo = _TempoMap(bars)
    file = MidiFile(type=1, ticks_per_beat=TICKS)
    file.tracks.append(_conductor(song, options, bars, tempo, _remarks(song, options, remarks)))
    for name, content in tracks:
        events = [(tempo.tick(seconds), rank, message) for seconds, rank, message in content]
        head = [(0, -1, MetaMessage("track_name", name=ascii_line(name)))]
        file.tracks.append(_track([*head, *events]))
    out = io.BytesIO()
    file.save(file=out)
    return out.getvalue()


def cue_points(song: Song, options: Options) -> tuple[str, list[Timed]]:
    """A track with every cue as a cue point in words."""
    return "Cues", [
        (each.at, 0, MetaMessage("cue_marker", text=ascii_line(wording(each), _LINE))) for each in told(song, options)
    ]


def _conductor(
    song: Song, options: Options, bars: Sequence[Measure], tempo: _TempoMap, remarks: Sequence[str]
) -> MidiTrack:
    words = about(song, options)
    events: list[tuple[int, int, Any]] = [
        (0, 0, MetaMessage("track_name", name=ascii_line(words.title, _LINE) or "Song")),
        (0, 1, _offset(options)),
    ]
    said = (*words.lines()[1:], *remarks)
    events += [(0, 2, MetaMessage("text", text=ascii_line(line, _LINE))) for line in said]
    quarter = 0.0
    meter, why = None, None
    for bar in bars:
        if meter != (meter := (bar.numerator, bar.denominator)):
            events.append((_tick(quarter), 3, MetaMessage("time_signature", numerator=meter[0], denominator=meter[1])))
        if bar.bar is None and why != bar.why:
            events.append((_tick(quarter), 5, MetaMessage("marker", text=f"Stretched bars: {bar.why}")))
        why = bar.why if bar.bar is None else None
        quarter += float(bar.quarters)
    reached = None
    for tick, microseconds in tempo.changes:
        if reached != (reached := microseconds):
            events.append((tick, 4, MetaMessage("set_tempo", tempo=microseconds)))
    for section in song.analysis.sections:
        at = options.timing.show(section.start)
        if at >= 0:
            name = f"{section.mark} {section.name}"
            events.append((tempo.tick(at), 6, MetaMessage("marker", text=ascii_line(name, _LINE))))
    track = _track(events)
    # The file lasts as long as its bars, also where nothing sounds at their end.
    track[-1].time = max(_tick(quarter) - sum(message.time for message in track[:-1]), 0)
    return track


def _remarks(song: Song, options: Options, more: Sequence[str]) -> list[str]:
    remarks = [*more, *remarks_on_hands(song, options)]
    _, before = cues_in_time(song, options.timing)
    if before:
        remarks.append(f"{counted(len(before), 'cue')} before second 0 of the show left out.")
    return remarks


def _offset(options: Options) -> MetaMessage:
    rate = options.timing.rate
    hours, minutes, seconds, frames = rate.fields(rate.parse(options.timing.start))
    # The event knows 24, 25, 29.97 with labels dropped, and 30, which is how 29.97 without counts its labels.
    code = 29.97 if rate.drop else rate.labels
    return MetaMessage("smpte_offset", frame_rate=code, hours=hours, minutes=minutes, seconds=seconds, frames=frames)


def _track(events: Iterable[tuple[int, int, Message | MetaMessage]]) -> MidiTrack:
    track = MidiTrack()
    here = 0
    for tick, _, message in sorted(events, key=lambda event: event[:2]):
        track.append(message.copy(time=tick - here))
        here = tick
    track.append(MetaMessage("end_of_track", time=0))
    return track


def _tick(quarters: float) -> int:
    return math.floor(quarters * TICKS + 0.5)
