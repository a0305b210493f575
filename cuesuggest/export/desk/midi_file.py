"""Standard MIDI Files (format 1): the bars of a song as tempo and meter, and whatever happens in them.

Positions are absolute, differences are taken last; tempo is written once a beat with the rounding carried, so that
nothing drifts (1920 ticks a quarter: half a tick is 0.13 ms at 120 beats a minute, 0.52 at 30).
"""

from __future__ import annotations

import bisect
import io
import math
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING, Any, Literal

from mido import Message, MetaMessage, MidiFile, MidiTrack

from cuesuggest.export.common.escape import ascii_line
from cuesuggest.export.common.options import Options, about
from cuesuggest.export.common.show_bars import Measure, bar_words, bars_before_start, measures
from cuesuggest.export.common.timing import before_start
from cuesuggest.export.common.told import remarks_on_hands, told, wording

if TYPE_CHECKING:
    from cuesuggest.song import Song

__all__ = ["Timed", "cue_events", "cue_remarks", "midi_bytes"]

TICKS = 1920  # a quarter note
_CUE = 7  # rank of a cue among what happens at once: after a section that begins there
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
            edges = [_tick(quarter + float(each)) for each in bar.beat_quarters]
            for tick, until, seconds in zip(edges, edges[1:], bar.times[1:], strict=False):
                ticks = until - tick
                tempo = round((seconds - reached) * 1e6 * TICKS / ticks)
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
    song: Song,
    options: Options,
    tracks: Iterable[tuple[str, Iterable[Timed]]],
    marks: Iterable[Timed] = (),
    remarks: Sequence[str] = (),
) -> bytes:
    """Write a song's bars and what happens in them.

    Parameters
    ----------
    song : Song
    options : Options
    tracks : iterable of (str, iterable of Timed)
        Name and content of every track but the first, which has tempo, meter and sections.
    marks : iterable of Timed
        What the first track has beside them.
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
    file.tracks.append(_conductor(song, options, bars, tempo, marks, remarks))
    for name, content in tracks:
        events = [(tempo.tick(seconds), rank, message) for seconds, rank, message in content]
        head = [(0, -1, MetaMessage("track_name", name=ascii_line(name)))]
        file.tracks.append(_track([*head, *events]))
    out = io.BytesIO()
    file.save(file=out)
    return out.getvalue()


def cue_events(song: Song, options: Options, kind: Literal["cue_marker", "marker"]) -> list[Timed]:
    """Every cue in words: as cue points (FF 07), or as markers (FF 06), which more programs show.

    The standard has markers in the first track alone.
    """
    return [(each.at, _CUE, MetaMessage(kind, text=ascii_line(wording(each), _LINE))) for each in told(song, options)]


def _conductor(
    song: Song,
    options: Options,
    bars: Sequence[Measure],
    tempo: _TempoMap,
    marks: Iterable[Timed],
    remarks: Sequence[str],
) -> MidiTrack:
    words = about(song, options)
    events: list[tuple[int, int, Any]] = [
        (0, 0, MetaMessage("track_name", name=ascii_line(words.title, _LINE) or "Song")),
        (0, 1, _offset(options)),
    ]
    said = (*words.lines()[1:], *remarks, *bars_before_start(song, options.timing))
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
    events += [
        (tempo.tick(at), 6, MetaMessage("marker", text=ascii_line(words, _LINE)))
        for at, words in bar_words(song, options.timing, bars)
    ]
    events += [(tempo.tick(at), rank, message) for at, rank, message in marks]
    track = _track(events)
    # The file lasts as long as its bars, also where nothing sounds at their end.
    track[-1].time = max(_tick(quarter) - sum(message.time for message in track[:-1]), 0)
    return track


def cue_remarks(song: Song, options: Options) -> list[str]:
    """Sentences for the head of a file that has the cues."""
    return [*remarks_on_hands(song, options), *before_start(song, options.timing)]


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
