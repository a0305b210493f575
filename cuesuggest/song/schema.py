"""The JSON Schema of a song document, as it stands in docs/song.schema.json."""

from __future__ import annotations

from typing import Any

from cuesuggest.song.json_layout import json_text
from cuesuggest.song.model import Song

__all__ = ["schema_text", "song_schema"]

DIALECT = "https://json-schema.org/draft/2020-12/schema"
ABOUT = (
    "A cuesuggest song document (NAME.cues.json). The program also checks what no schema can say: that "
    "looks, sections and bars which are named exist, that ids and cue numbers are unique, that times ascend inside the "
    "recording, and that lists, texts and numbers keep within bounds (cuesuggest/score/bounds.py)."
)


def song_schema() -> dict[str, Any]:
    """Return the schema (JSON Schema 2020-12) that every saved document satisfies."""
    schema = Song.model_json_schema(by_alias=True, mode="serialization")
    # A file always names its format, even though a Song made in Python need not.
    required = sorted({"format", "version", "revision", *schema["required"]}, key=list(schema["properties"]).index)
    return {"$schema": DIALECT, **schema, "description": ABOUT, "required": required}


def schema_text() -> str:
    """Return the schema as it stands in docs/song.schema.json."""
    return json_text(song_schema())
