"""Draft cue lists for effect light from recordings of songs.

    import cuesuggest
    song = cuesuggest.suggest("song.m4a")

`analyze` gives what was heard, `suggest` a `Song` with cues and reasons, and `HandWords` says what the hand does.
Everything is loaded when first used.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from cuesuggest.draft.drafting import suggest
    from cuesuggest.draft.listening import analyze
    from cuesuggest.song import Song
    from cuesuggest.song.hand_words import HandWords

__all__ = ["HandWords", "Song", "__version__", "analyze", "suggest"]

__version__ = "0.1.0"

_HOMES = {
    "HandWords": "cuesuggest.song.hand_words",
    "Song": "cuesuggest.song",
    "analyze": "cuesuggest.draft.listening",
    "suggest": "cuesuggest.draft.drafting",
}


def __getattr__(name: str) -> Any:
    if name in _HOMES:
        from importlib import import_module

        return getattr(import_module(_HOMES[name]), name)
    raise AttributeError(f"module 'cuesuggest' has no attribute {name!r}")


def __dir__() -> list[str]:
    return sorted(__all__)
