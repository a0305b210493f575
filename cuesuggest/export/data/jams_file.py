"""What was heard, and the cues, for researchers' programs: beats, tempo, segments and cues as JAMS annotations.

JAMS (Humphrey, Salamon, Nieto, Forsyth, Bittner, Bello, ISMIR 2014), schema 0.3. No namespace for light cues exists:
they are open tags, and whole in the sandbox.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from cuesuggest.export.common.escape import one_line
from cuesuggest.export.common.options import Options, about
from cuesuggest.export.common.told import told, wording
from cuesuggest.score.records import CATEGORIES

if TYPE_CHECKING:
    from cuesuggest.song import Song

__all__ = ["write"]

_VERSION = "0.3.4"  # of the schema


def write(song: Song, options: Options) -> bytes:
    """Write the analysis and the cues of a song.

    Parameters
    ----------
    song : Song
    options : Options
        Its offset is not applied: annotations speak of the recording.

    Returns
    -------
    bytes
        JSON, UTF-8.
    """
    from cuesuggest.song.json_layout import json_text

    options = replace(options, timing=options.timing.of_recording())
    words = about(song, options)
    analysis = song.analysis
    annotations = [
        _annotation(song, "beat", _beats(song)),
        _annotation(song, "segment_open", _segments(song)),
        _annotation(song, "tag_open", _cues(song, options)),
    ]
    if analysis.tempo_bpm is not None and analysis.music_start is not None:
        end = analysis.music_end if analysis.music_end is not None else analysis.duration
        confidence = analysis.confidence.beats
        tempo = _observation(analysis.music_start, end - analysis.music_start, analysis.tempo_bpm, confidence or 0.0)
        annotations.insert(1, _annotation(song, "tempo", [tempo]))
    data = {
        "file_metadata": {
            "title": song.title,
            "artist": "",
            "release": "",
            "duration": song.recording.duration,
            "identifiers": {"sha256": song.recording.sha256},
            "jams_version": _VERSION,
        },
        "annotations": annotations,
        "sandbox": {
            "cuesuggest": {
                "made": words.made,
                "caution": words.caution,
                "events": [
                    {"kind": event.kind, "time": event.start, "duration": round(event.end - event.start, 4)}
                    for event in analysis.events
                ],
                "plan": [
                    {"section": each.section, "category": each.category, "level": each.level} for each in song.plan
                ],
                "categories": list(CATEGORIES),
            }
        },
    }
    return json_text(data).encode("utf-8", "replace")


def _annotation(song: Song, namespace: str, data: list[dict[str, Any]]) -> dict[str, Any]:
    return {
        "namespace": namespace,
        "annotation_metadata": {
            "curator": {"name": "", "email": ""},
            "annotator": {},
            "version": song.versions.program,
            "corpus": "",
            "annotation_tools": "cuesuggest",
            "annotation_rules": "",
            "validation": "",
            "data_source": "program, reviewed by a person" if song.history else "program",
        },
        "data": data,
        "sandbox": {},
        "time": song.recording.window.start,
        "duration": round(song.recording.window.end - song.recording.window.start, 4),
    }


def _observation(time: float, duration: float, value: Any, confidence: float | None) -> dict[str, Any]:
    return {"time": time, "duration": round(duration, 4), "value": value, "confidence": confidence}


def _beats(song: Song) -> list[dict[str, Any]]:
    return list(_counted_beats(song))


def _counted_beats(song: Song) -> Iterator[dict[str, Any]]:
    """Beats with their place in the bar, None outside of bars."""
    bars = list(song.analysis.bars)
    index = 0
    place: int | None = None
    for beat, confidence in zip(song.analysis.beats, song.analysis.beat_confidence, strict=True):
        while index < len(bars) and bars[index].end <= beat + 1e-3:
            index, place = index + 1, None
        if index < len(bars) and bars[index].start <= beat + 1e-3:
            place = (place or 0) + 1
        yield _observation(beat, 0.0, place, confidence)


def _segments(song: Song) -> list[dict[str, Any]]:
    return [
        _observation(
            section.start, section.end - section.start, one_line(f"{section.label} {section.name}"), section.confidence
        )
        for section in song.analysis.sections
    ]


def _cues(song: Song, options: Options) -> list[dict[str, Any]]:
    return [_observation(each.at, 0.0, wording(each), each.cue.confidence) for each in told(song, options)]
