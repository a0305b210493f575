"""The full list, line by line, for paper and browser: the same cells, whatever draws them."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import groupby
from typing import TYPE_CHECKING

from cuesuggest.export.common.escape import one_line
from cuesuggest.export.common.options import Options
from cuesuggest.export.paper.lines import Line, heard, lines, sentence
from cuesuggest.score.records import clock, near_beat
from cuesuggest.song.hand_words import length_words

if TYPE_CHECKING:
    from cuesuggest.song import Song

__all__ = ["TableRow", "columns", "table"]

_COLUMNS = {
    "cue": 4.2,
    "stand by": 6.0,
    "place": 13.0,
    "bar:beat": 6.0,
    "clock": 5.5,
    "timecode": 8.6,
    "what is heard": 10.0,
    "since the last": 10.0,
    "what the hand does": 28.0,
    "in, out": 11.0,
    "look": 12.0,
}
"""Each with its share of the width."""


@dataclass(frozen=True, slots=True)
class TableRow:
    """A row of the list; `cells` are in the order of its columns."""

    line: Line
    cells: tuple[str, ...]
    opens_section: bool


def columns(options: Options) -> dict[str, float]:
    """Name the columns of a list, each with its share of the width; timecode is one where it was asked for."""
    return {name: share for name, share in _COLUMNS.items() if options.with_timecode or name != "timecode"}


def table(song: Song, options: Options) -> tuple[TableRow, ...]:
    """Write a song's list.

    Parameters
    ----------
    song : Song
    options : Options

    Returns
    -------
    tuple of TableRow

    Raises
    ------
    CuesuggestError
        If `options.who` has no cue.
    """
    read = lines(song, options)
    groups = _standby_words(read)
    names = columns(options)
    found: list[TableRow] = []
    before: Line | None = None
    for line in read:
        opens = before is None or before.section is not line.section
        cells = _cells(line, groups.get(line.cue.id, ""), opens, song, options)
        found.append(TableRow(line, tuple(cells[name] for name in names), opens))
        before = line
    return tuple(found)


def _cells(line: Line, group: str, opens: bool, song: Song, options: Options) -> dict[str, str]:
    cue, section = line.cue, line.section
    place = line.place
    where = one_line(str(place)) if place.bar is not None else _place_without_bar(line, song)
    if opens and section is not None and section.name.strip():
        where = f"{one_line(section.name)}: {where}"
    told = ""
    if opens and section is not None:
        words = one_line(section.first_words)
        told = f"“{words}”" if words else heard(section, song.analysis)
    event = _event_words(line, song)
    return {
        "cue": f"{cue.number:g}" + ("*" if line.changed else ""),
        "stand by": group,
        "place": where,
        "bar:beat": "" if place.bar is None else f"{place.bar}:{near_beat(place.beat or 1.0):.3g}",
        "clock": clock(line.seconds),
        "timecode": options.timing.label(place.seconds),
        "what is heard": ", ".join(part for part in (told, event) if part),
        "since the last": _since_words(line),
        "what the hand does": sentence(line) if cue.who == "operator" else f"{one_line(cue.who)}: {sentence(line)}",
        "in, out": _fade_words(line),
        "look": "" if line.look is None else one_line(line.look.name),
    }


def _place_without_bar(line: Line, song: Song) -> str:
    start = song.analysis.music_start
    return "before the song" if start is None or line.place.seconds <= start else "between bars"


def _standby_words(read: tuple[Line, ...]) -> dict[str, str]:
    """Say at the first cue of a stand-by what comes with it, so that it is called once: "2 to 4"."""
    named: dict[str, str] = {}
    for standby, group in groupby(read, key=lambda line: line.cue.standby):
        together = list(group)
        if standby is not None and len(together) > 1:
            named[together[0].cue.id] = f"{together[0].cue.number:g} to {together[-1].cue.number:g}"
            named.update({line.cue.id: "with it" for line in together[1:]})
    return named


def _event_words(line: Line, song: Song) -> str:
    """What happens in the music within half a second of a cue, such as a stop."""
    near = [each for each in song.analysis.events if abs(each.start - line.place.seconds) <= 0.5]
    return ", ".join(dict.fromkeys(each.kind for each in near))


def _since_words(line: Line) -> str:
    if line.seconds_since is None:
        return ""
    if line.seconds_since < 0.05:
        return "together"
    since = None if line.bars_since is None else round(line.bars_since, 1)
    bars = "" if since is None else f"{since:g} bar{'' if since == 1 else 's'}, "
    return f"{bars}{line.seconds_since:.1f} s"


def _fade_words(line: Line) -> str:
    cue = line.cue
    up = length_words(cue.up_beats, cue.up_seconds)
    down = length_words(cue.down_beats, cue.down_seconds)
    level = f"{cue.level} %" if cue.level else ""
    return ", ".join(part for part in (level, up and f"in {up}", down and f"out {down}") if part)
