"""docs/song.schema.json: fresh, valid, satisfied by what is saved, failed by what is broken."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from jsonschema import Draft202012Validator

from cuesuggest.song.schema import song_schema
from tests.songs import make_song
from tests.test_song_document import full_song

FILE = Path(__file__).parent.parent / "docs" / "song.schema.json"


def test_the_schema_is_json_schema_2020_12():
    schema = song_schema()
    assert schema["$schema"] == "https://json-schema.org/draft/2020-12/schema"
    assert "$id" not in schema
    Draft202012Validator.check_schema(schema)


@pytest.mark.parametrize("song", [make_song(), make_song(""), full_song()], ids=["plain", "no music", "full"])
def test_a_saved_document_satisfies_the_schema(song, tmp_path):
    song.save(tmp_path / "song.cues.json")
    saved = json.loads((tmp_path / "song.cues.json").read_bytes())
    assert list(Draft202012Validator(song_schema()).iter_errors(saved)) == []


# (where, value put there, the schema's word that it breaks)
BROKEN = [
    (["cues", 0, "place", "seconds"], "soon", "type"),
    (["cues", 0, "place", "pass_"], 1, "additionalProperties"),
    (["revision"], -1, "minimum"),
    (["version"], 2, "const"),
    (["corrections", 0, "time"], -1, "minimum"),
    (["recording", "sha256"], "5e", "pattern"),
    (["looks", 0, "category"], "loud", "enum"),
]


@pytest.mark.parametrize(("path", "value", "word"), BROKEN)
def test_a_broken_document_fails_the_schema(path, value, word):
    data = json.loads(full_song().to_json())
    here = data
    for part in path[:-1]:
        here = here[part]
    here[path[-1]] = value

    def words(errors):
        for error in errors:
            yield error.validator
            yield from words(error.context)

    assert word in set(words(Draft202012Validator(song_schema()).iter_errors(data)))


def test_a_document_without_its_format_fails_the_schema():
    data = json.loads(make_song().to_json())
    del data["format"]
    assert [error.validator for error in Draft202012Validator(song_schema()).iter_errors(data)] == ["required"]
