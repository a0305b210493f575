"""A cue list for desks that read the text interchange of 1992.

ASCII Text Representation for Lighting Console Data, version 3.0 (USITT, March 1992). Its title page and contents were
read; keywords, numbers and line ends are from memory. So it is written conservatively, in a way that is right under
every reading: one space between words, `@` inside pairs, plain seconds, ASCII, CR LF, lines of at most 80 characters.
It never clears a show, patches nothing, and holds nothing of one maker's own.
"""

from __future__ import annotations

import math
import textwrap
from collections.abc import Iterator
from dataclasses import replace
from typing import TYPE_CHECKING

from cuesuggest.export.common.desk_map import DeskMap, completed
from cuesuggest.export.common.escape import number_text, shortened, show_line
from cuesuggest.export.common.options import EXPERIMENTAL, Options, about
from cuesuggest.export.common.told import remarks_on_hands, told, wording
from cuesuggest.export.desk.automatic import moves
from cuesuggest.score.records import Cue

if TYPE_CHECKING:
    from cuesuggest.song import Song

__all__ = ["write"]

_WIDTH = 80
_WHOLE = 1000  # characters of a text that goes on over several lines
_MARK = "written conservatively, from memory of the standard"


def write(song: Song, options: Options) -> bytes:
    """Write a song's list for a desk.

    Parameters
    ----------
    song : Song
    options : Options
        Cues that wait for a person are lines of text: their numbers are there and carry the levels that were before
        them.

    Returns
    -------
    bytes
        ASCII, CR LF. Cue numbers rise in the order in which they are played.
    """
    # It does not run in time, so that no cue is too early for it.
    options = replace(options, timing=options.timing.without_start())
    lines = ["Ident 3:0", *_comments(song, options), *_cues(song, options), "Enddata"]
    return "".join(f"{line}\r\n" for line in lines).encode("ascii")


def _comments(song: Song, options: Options) -> Iterator[str]:
    for line in (*about(song, options).lines(), f"USITT text interchange 3.0, {_MARK}", EXPERIMENTAL):
        yield from _wrapped("! ", line)
    for remark in remarks_on_hands(song, options):
        yield from _wrapped("! ", remark)


def _cues(song: Song, options: Options) -> Iterator[str]:
    desk = completed(song, options.map)
    targets: dict[str, dict[str, float]] = {}
    for move in moves(song, options).levels:
        targets.setdefault(move.cue.id, {})[move.side] = move.to
    listed = [each for each in told(song, options) if not each.again]
    levels: dict[str, dict[str, float]] = {}
    now: dict[str, float] = {}
    for each in listed:
        now = now | (targets.get(each.cue.id, {}) if each.automatic else {})
        levels[each.cue.id] = now
    by_number = sorted(listed, key=lambda each: each.cue.number)
    for index, each in enumerate(by_number):
        cue = each.cue
        yield f"Cue {number_text(cue.number + desk.add_to_numbers)}"
        words = show_line(wording(each), _WHOLE)
        yield f"Text {shortened(words, _WIDTH - 5)}"
        if len(words) > _WIDTH - 5:
            yield from _wrapped("! ", each.action)  # whole, where whoever opens the file can read it
        # Where and when, for whoever calls the cue; the interchange has no field for it.
        yield f"! at {number_text(each.at)} s, {show_line(each.where, 50)}"
        if each.automatic:
            yield from _times(cue)
            after = by_number[index + 1] if index + 1 < len(by_number) else None
            if after is not None and after.automatic and after.cue.trigger == "follow-on":
                yield f"Followon {_seconds(max(after.at - each.at, 0.0))}"
        yield from _channels(levels[cue.id], desk)


def _times(cue: Cue) -> Iterator[str]:
    up = cue.up_seconds or 0.0
    yield f"Up {_seconds(up)}"
    yield f"Down {_seconds(cue.down_seconds if cue.down_seconds is not None else up)}"


def _channels(levels: dict[str, float], desk: DeskMap) -> Iterator[str]:
    pairs = {channel: round(levels[side]) for side in levels for channel in desk.sides[side].channels}
    line = "Chan"
    for channel, level in sorted(pairs.items()):
        pair = f" {channel}@{level}"
        if len(line) + len(pair) > _WIDTH:
            yield line
            line = "Chan"
        line += pair
    if line != "Chan":
        yield line


def _seconds(seconds: float) -> str:
    return number_text(math.floor(seconds * 10 + 0.5) / 10)


def _wrapped(mark: str, text: str) -> Iterator[str]:
    for line in textwrap.wrap(show_line(text, _WHOLE), _WIDTH - len(mark)) or [""]:
        yield (mark + line).rstrip()
