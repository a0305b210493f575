"""What somebody has chosen about the page on this machine, for every song: bars a line, how loud song and click are,
and how late they press, which was measured.

The browser cannot keep it: each run of the program has an address of its own, and so a memory of its own.
"""

from __future__ import annotations

import contextlib
import json
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any

from cuesuggest.decide.pressed import EARLIEST, LATEST
from cuesuggest.draft.folders import states_folder
from cuesuggest.errors import CuesuggestError
from cuesuggest.export.chart import BARS_PER_LINE
from cuesuggest.review.asked import Asked
from cuesuggest.song.atomic import replace_file

__all__ = ["Choices", "choices_file", "keep_choices", "kept_choices"]

_MOST_READ = 4096  # bytes; the file has a few numbers and names
_MOST_CONTROLS, _LONGEST_NAME = 16, 60


@dataclass(frozen=True, slots=True)
class Choices:
    """What may be chosen."""

    bars: int = BARS_PER_LINE[0]
    """Side by side on the chart, at most; a narrow window has fewer."""
    song: int = 100
    """How loud the song is, in percent."""
    click: int = 50
    """How loud the click is, in percent of full scale."""
    controls: dict[str, str] = field(default_factory=dict)
    """Which control of a MIDI controller is which of the hand's, in the page's words: "cc 1 7" by "side A"."""
    late: int | None = None
    """How many ms after the beat this person's presses come, as measured; negative is before it."""


def choices_file() -> Path | None:
    """Return where the choices are kept; None if they are not."""
    folder = states_folder()
    return folder and folder.with_name("page.json")


def kept_choices(file: Path | None) -> dict[str, Any]:
    """Return what was chosen before; what cannot be read counts as not chosen."""
    with contextlib.suppress(CuesuggestError, OSError, ValueError, RecursionError):
        if file is not None:
            with file.open("rb") as opened:
                return asdict(_read(Asked(json.loads(opened.read(_MOST_READ)))))
    return asdict(Choices())


def keep_choices(file: Path | None, asked: Asked) -> dict[str, Any]:
    """Keep what is chosen, if that can be done: nothing depends on it but comfort.

    Raises
    ------
    EditError
        If the page sent something else.
    """
    choices = asdict(_read(asked))
    if file is not None:
        with contextlib.suppress(OSError):
            file.parent.mkdir(parents=True, exist_ok=True)
            replace_file(file, json.dumps(choices).encode())
    return choices


def _read(asked: Asked) -> Choices:
    bars = asked.whole("bars", 0, 100)
    return Choices(
        bars if bars in BARS_PER_LINE else BARS_PER_LINE[0],
        asked.whole("song", 0, 100),
        asked.whole("click", 0, 100),
        asked.pairs("controls", _MOST_CONTROLS, _LONGEST_NAME) if asked.has("controls") else {},
        asked.whole("late", round(1000 * EARLIEST), round(1000 * LATEST)) if asked.has("late") else None,
    )
