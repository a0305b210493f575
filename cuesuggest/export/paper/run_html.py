"""Songs on a tablet: one file that leads through their cues by touch, without server or network (HTML).

Its elements are in pages/, style and script in run_page/, the songs go in as JSON. The script writes texts as text,
never as markup.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from markupsafe import Markup

from cuesuggest.export.common.escape import one_line
from cuesuggest.export.common.options import Options, about
from cuesuggest.export.paper.lines import Line, lines, placed, sentence
from cuesuggest.export.paper.live import OrderStep, live_page, section_light
from cuesuggest.export.paper.templates import filled
from cuesuggest.score.night_records import BetweenSongs
from cuesuggest.score.records import counted

if TYPE_CHECKING:
    from cuesuggest.analysis.types import Section
    from cuesuggest.song import Song

__all__ = ["html", "several"]

_PARTS = Path(__file__).parent / "run_page"


def html(song: Song, options: Options) -> bytes:
    """Write a song for a tablet.

    Parameters
    ----------
    song : Song
    options : Options

    Returns
    -------
    bytes
        UTF-8.

    Raises
    ------
    CuesuggestError
        If `options.who` has no cue.
    """
    return several([(song, options)])


def several(songs: Sequence[tuple[Song, Options]]) -> bytes:
    """Write the songs of an evening for a tablet, in the order in which they are played.

    Parameters
    ----------
    songs : sequence of (Song, Options)
        One at least.

    Returns
    -------
    bytes
        UTF-8.

    Raises
    ------
    CuesuggestError
        If `options.who` has no cue in one of them.
    """
    song, options = songs[0]
    more = f" and {counted(len(songs) - 1, 'song')} more" if len(songs) > 1 else ""
    return filled(
        "run",
        song,
        options,
        title=one_line(song.title) + more,
        data={"songs": [_data(*each, number) for number, each in enumerate(songs, 1)]},
        style=Markup((_PARTS / "run.css").read_text(encoding="utf-8")),
        script=Markup((_PARTS / "run.js").read_text(encoding="utf-8")),
    )


def _data(song: Song, options: Options, number: int) -> dict[str, Any]:
    # What lies between songs is done by touch, and stands nowhere else.
    page = live_page(song, replace(options, before=(), after=()))
    read = lines(song, options)
    analysis = song.analysis
    beats: dict[int, int] = {}
    total = 0
    for bar in analysis.bars:
        beats[bar.number] = total
        total += bar.beats
    order = {section.id: index for index, section in enumerate(analysis.sections)}
    groups = _standby_words(read)
    light = section_light(song, options)
    cues = [
        {
            "number": f"{line.cue.number:g}{'*' if line.changed else ''}",
            "where": _where_words(line, song),
            "action": line.action,
            "hand": sentence(line),
            "look": one_line(line.look.name) if line.look else "",
            "standby": groups.get(line.cue.id, ""),
            "mine": line.mine,
            "section": order[line.section.id] if line.section else -1,
            "beat": _beats_before(line, beats),
        }
        for line in read
    ]
    sections = [
        {
            "label": step.label,
            "title": _part_title(step, section),
            "bars": step.bars,
            "safe": step.safe,
            "round": bool(section.vamp),
            "light": light[section.id],
            "beat": beats.get(section.first_bar, 0),
            "first_cue": _first_cue(read, section.start) + len(_steps_of(options.before)),
        }
        for step, section in zip(page.order, analysis.sections, strict=True)
    ]
    return {
        "title": page.title,
        # In a night the title has the number of the song in it: where others are dropped, it is another than here.
        "label": page.title if options.in_night else f"{number}  {page.title}",
        "paper": [
            *(remark for remark in page.remarks if not remark.startswith("Only on the list")),
            "; ".join(map(one_line, about(song, options).lines()[1:])),
        ],
        "nothing": page.nothing,
        "bpm": analysis.tempo_bpm,
        "beats_in_bar": analysis.meter,
        "home": page.home,
        "all_out": page.all_out,
        "back_in": "Then come back in at the next part marked IN." if any(step.safe for step in page.order) else "",
        "cues": [*map(_between, _steps_of(options.before)), *cues, *map(_between, _steps_of(options.after))],
        "sections": sections,
    }


def _steps_of(parts: tuple[BetweenSongs, ...]) -> list[tuple[str, str]]:
    return [(part.title, step) for part in parts for step in (*part.cautions, *part.steps)]


def _between(step: tuple[str, str]) -> dict[str, Any]:
    """Write what the hand does between two songs like a cue without a number."""
    title, words = step
    nothing = {"number": "", "hand": "", "look": "", "standby": ""}
    return {**nothing, "where": title, "action": words, "mine": True, "section": -1, "beat": None}


def _part_title(step: OrderStep, section: Section) -> str:
    """Say what a part is called, how it differs from its like, and how long it is."""
    said = [
        f"{step.label} {one_line(section.name)}".strip(),
        f"a varied {one_line(section.family)}" if section.label != section.family else "",
        counted(step.bars, "bar"),
        f"round and round until {one_line(section.vamp)}" if section.vamp else "",
    ]
    return ", ".join(filter(None, said))


def _where_words(line: Line, song: Song) -> str:
    if line.section is None:
        start = song.analysis.music_start
        return "before the song" if start is None or line.place.seconds <= start else "after"
    return f"{line.section.mark} {placed(line)}"


def _beats_before(line: Line, beats: dict[int, int]) -> float | None:
    bar = line.place.bar
    if bar is None or bar not in beats:
        return None
    return round(beats[bar] + (line.place.beat or 1.0) - 1, 3)


def _first_cue(read: tuple[Line, ...], start: float) -> int:
    """Find the cue that is next when a section begins; with the section's first beat counts as in it."""
    return next((index for index, line in enumerate(read) if line.place.seconds >= start - 0.05), len(read))


def _standby_words(read: tuple[Line, ...]) -> dict[str, str]:
    """Say at the first cue of a stand-by how far it goes."""
    last: dict[int, Line] = {}
    first: dict[int, Line] = {}
    for line in read:
        if line.cue.standby is not None:
            first.setdefault(line.cue.standby, line)
            last[line.cue.standby] = line
    return {
        line.cue.id: f"stand by for {line.cue.number:g} to {last[group].cue.number:g}"
        for group, line in first.items()
        if last[group] is not line
    }
