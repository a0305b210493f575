"""A timeline for editing programs: the recording as a clip, sections and cues as markers with notes and colours.

OpenTimelineIO (Academy Software Foundation), its JSON. Written without its library, which then reads it in the tests:
a library that reads what it wrote itself proves nothing.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any
from urllib.parse import quote

from cuesuggest.export.common.escape import number_text, one_line
from cuesuggest.export.common.options import Options, about
from cuesuggest.export.common.timing import Rate, before_start
from cuesuggest.export.common.told import Told, told, wording
from cuesuggest.score.records import CueKind, counted

if TYPE_CHECKING:
    from cuesuggest.analysis.types import Section
    from cuesuggest.song import Song

__all__ = ["COLOURS", "SECTION_COLOUR", "write"]

# Of the names that the format has. What brings light in is warm, what takes it out is cold.
COLOURS: dict[CueKind, str] = {
    "fade-in": "ORANGE",
    "cut-in": "RED",
    "crossfade": "MAGENTA",
    "fade-out": "CYAN",
    "cut-out": "BLUE",
    "ramp": "YELLOW",
    "speed": "YELLOW",
    "one-shot": "PINK",
    "recall": "PURPLE",
    "call": "GREEN",
}
SECTION_COLOUR = "WHITE"


def write(song: Song, options: Options) -> bytes:
    """Write a song as a timeline.

    Parameters
    ----------
    song : Song
    options : Options
        Frames are counted from second 0 of the show; its timecode is that of the timeline's start.

    Returns
    -------
    bytes
        JSON, UTF-8.
    """
    from cuesuggest.song.json_layout import json_text

    timing, words = options.timing, about(song, options)
    rate = timing.rate
    sections = [each for each in song.analysis.sections if timing.show(each.end) > 0]
    markers = [
        *(_section_marker(each, options) for each in sections),
        *(_cue_marker(each, rate) for each in told(song, options)),
    ]
    said = {
        "made": words.made,
        "take": words.take,
        "times": words.times,
        "caution": words.caution,
        "left_out": list(before_start(song, timing)),
    }
    stack = _item("Stack.1", "tracks", markers=sorted(markers, key=_first_frame), children=[_track(song, options)])
    data = {
        "OTIO_SCHEMA": "Timeline.1",
        "name": one_line(song.title),
        "metadata": {"cuesuggest": said},
        "global_start_time": _time(rate.parse(timing.start), rate),
        "tracks": stack,
    }
    return json_text(data).encode("utf-8", "replace")


def _track(song: Song, options: Options) -> dict[str, Any]:
    """The recording where the show has it: after a gap, or without its beginning."""
    rate, offset = options.timing.rate, options.timing.offset
    length, cut = song.recording.duration, max(-offset, 0.0)
    children = []
    if offset > 0:
        children.append(_item("Gap.1", "", source_range=_range(0.0, offset, rate)))
    if length > cut:
        media = {
            "OTIO_SCHEMA": "ExternalReference.1",
            "name": "",
            "metadata": {},
            "available_range": _range(0.0, length, rate),
            "target_url": quote(song.recording.path.encode("utf-8", "replace")),
        }
        clip = _item("Clip.2", one_line(song.title), source_range=_range(cut, length - cut, rate))
        children.append(
            {**clip, "media_references": {"DEFAULT_MEDIA": media}, "active_media_reference_key": "DEFAULT_MEDIA"}
        )
    return {**_item("Track.1", "Recording", children=children), "kind": "Audio"}


def _cue_marker(each: Told, rate: Rate) -> dict[str, Any]:
    exact = {"number": number_text(each.cue.number), "kind": each.cue.kind, "place": each.where, "seconds": each.at}
    note = "; ".join(filter(None, (*each.cue.reasons, *each.cue.cautions, each.cue.note)))
    return _marker(wording(each), note, COLOURS[each.cue.kind], rate.frames(each.at), 1, rate, exact)


def _section_marker(section: Section, options: Options) -> dict[str, Any]:
    timing = options.timing
    rate, start, end = timing.rate, max(timing.show(section.start), 0.0), timing.show(section.end)
    first = rate.frames(start)
    length = max(rate.frames(end) - first, 1)
    note = f"{counted(section.bars, 'bar')} from bar {section.first_bar}"
    name = f"{section.mark} {section.name}"
    return _marker(name, note, SECTION_COLOUR, first, length, rate, {"section": section.mark, "seconds": start})


def _marker(
    name: str, note: str, colour: str, first: int, length: int, rate: Rate, exact: dict[str, Any]
) -> dict[str, Any]:
    return {
        "OTIO_SCHEMA": "Marker.2",
        "name": one_line(name),
        "comment": one_line(note),
        "color": colour,
        "marked_range": {
            "OTIO_SCHEMA": "TimeRange.1",
            "start_time": _time(first, rate),
            "duration": _time(length, rate),
        },
        "metadata": {
            "cuesuggest": {key: one_line(each) if isinstance(each, str) else each for key, each in exact.items()}
        },
    }


def _first_frame(marker: dict[str, Any]) -> float:
    first: float = marker["marked_range"]["start_time"]["value"]
    return first


def _item(schema: str, name: str, **fields: Any) -> dict[str, Any]:
    """What a stack, a track, a clip and a gap have in common."""
    return {
        "OTIO_SCHEMA": schema,
        "name": name,
        "metadata": {},
        "source_range": None,
        "effects": [],
        "markers": [],
        "enabled": True,
        **fields,
    }


def _range(start: float, seconds: float, rate: Rate) -> dict[str, Any]:
    """A stretch to the sample, not to the frame: a clip is not moved by half a frame to fit."""
    exact = float(rate.exact)
    first, length = _time(start * exact, rate), _time(seconds * exact, rate)
    return {"OTIO_SCHEMA": "TimeRange.1", "start_time": first, "duration": length}


def _time(frames: float, rate: Rate) -> dict[str, Any]:
    return {"OTIO_SCHEMA": "RationalTime.1", "rate": float(rate.exact), "value": frames}
