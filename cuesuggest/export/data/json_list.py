"""The cue list for programs: plain JSON with a schema of its own (docs/cue-list.schema.json, JSON Schema 2020-12)."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from cuesuggest.export.common.options import Options, about
from cuesuggest.export.common.told import is_automatic
from cuesuggest.export.data.csv_table import Row, rows
from cuesuggest.score.records import CATEGORIES, Cue
from cuesuggest.song.hand_words import beside

if TYPE_CHECKING:
    from cuesuggest.song import Song

__all__ = ["cue_list_schema", "schema_text", "write"]

_KINDS = [
    "recall", "fade-in", "crossfade", "fade-out", "cut-in", "cut-out", "ramp", "one-shot", "speed", "call",
]  # fmt: skip


def write(song: Song, options: Options) -> bytes:
    """Write a song's cue list for programs.

    Parameters
    ----------
    song : Song
    options : Options

    Returns
    -------
    bytes
        JSON, UTF-8; times are seconds of the show.
    """
    from cuesuggest.song.json_layout import json_text

    words = about(song, options)
    timing = options.timing
    data: dict[str, Any] = {
        "format": "cuesuggest-cue-list",
        "version": 2,
        "title": song.title,
        "take": song.recording.sha256,
        "date": options.date or None,
        "program": options.program or song.versions.program,
        "revision": song.revision,
        "offset": timing.offset,
        "timecode": {"start": timing.start, "frames_per_second": timing.rate.name},
        "caution": words.caution,
        "looks": [
            {
                "id": look.id,
                "name": look.name,
                "category": look.category,
                "source": look.source,
                "description": look.description,
                "home": look.home,
            }
            for look in song.looks
        ],
        "sections": [
            {
                "label": section.label,
                "pass": section.pass_,
                "name": section.name,
                "first_words": section.first_words,
                "start": timing.show(section.start),
                "end": timing.show(section.end),
                "first_bar": section.first_bar,
                "last_bar": section.last_bar,
            }
            for section in song.analysis.sections
        ],
        "tempo": song.analysis.tempo_bpm,
        "bars": [
            {
                "number": bar.number,
                "start": timing.show(bar.start),
                "end": timing.show(bar.end),
                "beats": bar.beats,
                "time_signature": bar.time_signature,
                "tempo": round(60 * bar.beats / (bar.end - bar.start), 2) if bar.end > bar.start else None,
            }
            for bar in song.analysis.bars
        ],
        "beats": [timing.show(beat) for beat in song.analysis.beats],
        "cues": [_cue(row, song, options) for row in rows(song, options)],
    }
    return json_text(data).encode("utf-8", "replace")


def _cue(row: Row, song: Song, options: Options) -> dict[str, Any]:
    cue: Cue = row.cue
    series = cue.series
    return {
        "id": cue.id,
        "number": cue.number,
        "kind": cue.kind,
        "trigger": cue.trigger,
        "anchor": cue.anchor,
        "seconds": row.seconds,
        "timecode": options.timing.label(row.place.seconds),
        "section": row.place.section,
        "pass": row.place.pass_,
        "bar_in_section": row.place.bar_in_section,
        "bar": row.place.bar,
        "beat": row.place.beat,
        "lands": None
        if row.lands is None
        else {"seconds": options.timing.show(row.lands.seconds), "place": str(row.lands)},
        "look": cue.look,
        "side": cue.side,
        "level": cue.level,
        "up": {"beats": cue.up_beats, "seconds": cue.up_seconds},
        "down": {"beats": cue.down_beats, "seconds": cue.down_seconds},
        "series": None
        if series is None
        else {
            "every_bars": series.every_bars,
            "first_bar": series.first_bar,
            "last_bar": series.last_bar,
            "skip": list(series.skip),
        },
        "standby": cue.standby,
        "who": cue.who,
        "hand": row.hand,
        "automatic": is_automatic(song, cue, options),
        "reasons": list(cue.reasons),
        "cautions": list(cue.cautions),
        "confidence": cue.confidence,
        "status": cue.status,
        "locked": cue.lock,
        "note": beside(cue),
    }


def cue_list_schema() -> dict[str, Any]:
    """Return the schema that every list satisfies."""
    text = {"type": "string"}
    number = {"type": "number"}
    whole = {"type": "integer"}
    fade = _closed({"beats": _or_null({**number, "minimum": 0}), "seconds": _or_null({**number, "minimum": 0})})
    look = {
        "id": text,
        "name": text,
        "category": {"enum": list(CATEGORIES)},
        "source": {"enum": ["laser", "lamp", "strobe"]},
        "description": text,
        "home": {"type": "boolean"},
    }
    section = {
        "label": text,
        "pass": whole,
        "name": text,
        "first_words": text,
        "start": number,
        "end": number,
        "first_bar": whole,
        "last_bar": whole,
    }
    tempo = _or_null({**number, "exclusiveMinimum": 0})
    bar = {
        "number": {**whole, "description": "1 is the first full bar of the song"},
        "start": number,
        "end": number,
        "beats": {**whole, "minimum": 1, "description": "that are felt: 2 in 6/8"},
        "time_signature": text,
        "tempo": {**tempo, "description": "felt beats a minute on average through this bar"},
    }
    cue = {
        "id": {**text, "minLength": 1},
        "number": {**number, "exclusiveMinimum": 0},
        "kind": {"enum": _KINDS},
        "trigger": {"enum": ["hand", "held", "follow-on", "chase"]},
        "anchor": {"enum": ["starts-on", "lands-on"]},
        "seconds": {**number, "description": "of the show, when the hand begins"},
        "timecode": {**text, "pattern": "^[0-9]{2}:[0-9]{2}:[0-9]{2}[:;][0-9]{2}$"},
        "section": _or_null(text),
        "pass": _or_null(whole),
        "bar_in_section": _or_null(whole),
        "bar": _or_null(whole),
        "beat": _or_null({**number, "minimum": 1}),
        "lands": {
            **_or_null(_closed({"seconds": number, "place": text})),
            "description": "when and where its fade has arrived, if it is meant to land there",
        },
        "look": {**_or_null(text), "description": "the id of one of the looks"},
        "side": _or_null(text),
        "level": {**_or_null({**whole, "minimum": 0, "maximum": 100}), "description": "percent"},
        "up": fade,
        "down": fade,
        "series": _or_null(
            _closed(
                {
                    "every_bars": {**whole, "minimum": 1},
                    "first_bar": whole,
                    "last_bar": whole,
                    "skip": {"type": "array", "items": whole},
                }
            )
        ),
        "standby": _or_null(whole),
        "who": text,
        "hand": text,
        "automatic": {"type": "boolean", "description": "false: it waits for a person's go"},
        "reasons": {"type": "array", "items": text},
        "cautions": {"type": "array", "items": text},
        "confidence": {**number, "minimum": 0, "maximum": 1},
        "status": {"enum": ["suggested", "accepted", "edited", "added"]},
        "locked": {"type": "boolean"},
        "note": text,
    }
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "cuesuggest cue list",
        "description": "What `cuesuggest export DOC --to json` writes. Times are seconds of the show.",
        **_closed(
            {
                "format": {"const": "cuesuggest-cue-list"},
                "version": {"const": 2},
                "title": text,
                "take": {**text, "pattern": "^[0-9a-f]{64}$"},
                "date": _or_null(text),
                "program": text,
                "revision": {**whole, "minimum": 0},
                "offset": {**number, "description": "seconds that the show's file runs later than the recording"},
                "timecode": _closed(
                    {"start": text, "frames_per_second": {"enum": ["24", "25", "29.97df", "29.97", "30"]}}
                ),
                "caution": text,
                "looks": {"type": "array", "items": _closed(look)},
                "sections": {"type": "array", "items": _closed(section)},
                "tempo": {**tempo, "description": "felt beats a minute, of the song as a whole"},
                "bars": {"type": "array", "items": _closed(bar)},
                "beats": {"type": "array", "items": number},
                "cues": {"type": "array", "items": _closed(cue)},
            }
        ),
    }


def schema_text() -> str:
    """Return the schema as it stands in docs/cue-list.schema.json."""
    from cuesuggest.song.json_layout import json_text

    return json_text(cue_list_schema())


def _closed(properties: dict[str, Any]) -> dict[str, Any]:
    return {
        "type": "object",
        "properties": properties,
        "required": list(properties),
        "additionalProperties": False,
    }


def _or_null(schema: dict[str, Any]) -> dict[str, Any]:
    return {"anyOf": [schema, {"type": "null"}]}
