"""A song for a sequencer: bars, sections and cues, and as notes and controllers what a machine may play.

Standard MIDI File 1.0, format 1. A look is a note, held as long as the look is on; the level of a side is a
controller; a one-shot is a short note. Which ones is the user's map, or simple counting from 1.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise
from typing import TYPE_CHECKING

from mido import Message

from cuesuggest.export.common.desk_map import completed
from cuesuggest.export.common.options import Options
from cuesuggest.export.desk.automatic import Dark, LookOn, moves
from cuesuggest.export.desk.midi_file import Timed, cue_events, cue_remarks, midi_bytes
from cuesuggest.score.light import LevelMove

if TYPE_CHECKING:
    from cuesuggest.export.common.desk_map import DeskMap
    from cuesuggest.song import Song

__all__ = ["write"]

_VELOCITY = 100
_STEP = 0.02  # Seconds between two values of a fade: a packet of light data takes about as long.
_SHORTEST = 0.02  # Seconds of a note: more than a tick at any tempo; some readers drop notes of no length.
# What comes first of what happens at once: a note ends before the next begins, a level is there before its look.
_OFF, _LEVEL, _ON = 0, 1, 2


def write(song: Song, options: Options) -> bytes:
    """Write a song as a MIDI file.

    Parameters
    ----------
    song : Song
    options : Options
        Without `allow_auto`, cues that wait for a person are cue points in words, and no more.

    Returns
    -------
    bytes
    """
    desk = completed(song, options.map)
    all_ = moves(song, options)
    light = [*_notes(all_.looks, desk), *_controllers(all_.levels, all_.darks, desk)]
    tracks = [("Cues", cue_events(song, options, "cue_marker")), ("Light", light)]
    return midi_bytes(song, options, tracks, cue_events(song, options, "marker"), cue_remarks(song, options))


def _notes(looks: tuple[LookOn, ...], desk: DeskMap) -> Iterator[Timed]:
    by_note: dict[tuple[int, int], list[LookOn]] = {}
    for each in looks:
        channel = desk.sides[each.side].midi_channel if each.side is not None else desk.one_shot_channel
        note = desk.looks[each.look].note if each.look in desk.looks else 0
        by_note.setdefault(((channel or 1) - 1, note or 0), []).append(each)
    for (channel, note), held in by_note.items():
        # Where two start at once, the later one stands for both.
        held = [each for each, after in pairwise(held) if after.at - each.at >= _SHORTEST] + [held[-1]]
        ends = [min(each.until, after.at) for each, after in pairwise(held)] + [held[-1].until]
        for each, end in zip(held, ends, strict=True):
            end = max(end, each.at + _SHORTEST)
            yield each.at, _ON, Message("note_on", channel=channel, note=note, velocity=_VELOCITY)
            yield end, _OFF, Message("note_off", channel=channel, note=note)


def _controllers(levels: tuple[LevelMove, ...], darks: tuple[Dark, ...], desk: DeskMap) -> Iterator[Timed]:
    by_side: dict[str, list[LevelMove]] = {}
    for each in levels:
        by_side.setdefault(each.side, []).append(each)
    for side, moved in by_side.items():
        channel, number = (desk.sides[side].midi_channel or 1) - 1, desk.sides[side].controller or 1
        for at, percent in _values(moved, darks):
            message = Message("control_change", channel=channel, control=number, value=_seven_bits(percent))
            yield at, _LEVEL, message


def _values(moved: list[LevelMove], darks: tuple[Dark, ...]) -> Iterator[tuple[float, float]]:
    """Moments and percents of one side's level; within a held dark there is 0, and after it what it was."""
    last: int | None = None
    points = [point for each, after in _with_next(moved) for point in _fade(each, after)]
    for dark in darks:
        points = [point for point in points if not dark.at <= point[0] < dark.until]
        at_end = next((each for each in reversed(moved) if each.start <= dark.until), None)
        if at_end is not None and at_end.level(dark.until) > 0:
            points += [(dark.at, 0.0), (dark.until, at_end.level(dark.until))]
    for at, percent in sorted(points, key=lambda point: point[0]):
        if _seven_bits(percent) != last:
            last = _seven_bits(percent)
            yield at, percent


def _fade(each: LevelMove, until: float) -> Iterator[tuple[float, float]]:
    steps = int(each.seconds / _STEP)
    for step in range(1, steps):
        at = each.start + step * _STEP
        if at >= until:
            return
        yield at, each.level(at)
    if each.end <= until:
        yield each.end, each.to


def _with_next(moved: list[LevelMove]) -> Iterator[tuple[LevelMove, float]]:
    for each, after in pairwise(moved):
        yield each, after.start
    yield moved[-1], float("inf")


def _seven_bits(percent: float) -> int:
    return int(percent * 127 / 100 + 0.5)
