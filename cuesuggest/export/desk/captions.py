"""Cues as timed captions, to watch with the recording or a rehearsal video.

WebVTT (W3C). One caption at a time: a cue is announced some seconds before it comes, and shown as it comes; what comes
together stands together.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from cuesuggest.export.common.escape import number_text, shortened, vtt_text
from cuesuggest.export.common.options import Options, about
from cuesuggest.export.common.timing import before_start
from cuesuggest.export.common.told import Told, told

if TYPE_CHECKING:
    from cuesuggest.song import Song

__all__ = ["Caption", "captions", "write"]

_TOGETHER = 0.4  # Seconds. Cues so close are one caption.
_AHEAD = 5.0  # Seconds that a cue is announced before it comes, where there is room.
_STAYS = 2.5  # Seconds that it stays after.
_SHORTEST = 0.8  # Seconds in which a few words can be read.
_MOST_LINES = 3  # What does not hide the picture (common practice).
_LINE = 90  # Characters; players wrap it into two lines.


@dataclass(frozen=True, slots=True)
class Caption:
    """Something to be read for a while."""

    start: float
    end: float
    """Seconds of the show."""
    lines: tuple[str, ...]


def write(song: Song, options: Options) -> bytes:
    """Write a song's cues as captions.

    Parameters
    ----------
    song : Song
    options : Options

    Returns
    -------
    bytes
        UTF-8.
    """
    said = (*about(song, options).lines(), *before_start(song, options.timing))
    head = "\n".join(vtt_text(line) for line in said if vtt_text(line))
    blocks = [f"WEBVTT\n\nNOTE\n{head}"]
    for number, caption in enumerate(captions(song, options), 1):
        lines = "\n".join(vtt_text(line) for line in caption.lines)
        blocks.append(f"{number}\n{_clock(caption.start)} --> {_clock(caption.end)}\n{lines}")
    return ("\n\n".join(blocks) + "\n").encode()


def captions(song: Song, options: Options) -> list[Caption]:
    """Lay out the captions of a song.

    Parameters
    ----------
    song : Song
    options : Options

    Returns
    -------
    list of Caption
        In order, none overlapping another.
    """
    groups = _said_together(told(song, options))
    found: list[Caption] = []
    for index, group in enumerate(groups):
        at = group[0].at
        following = groups[index + 1][0].at if index + 1 < len(groups) else float("inf")
        free = found[-1].end if found else 0.0
        if found and found[-1].end > at:
            # The cue before gives way.
            found[-1] = Caption(found[-1].start, at, found[-1].lines)
            free = at
        ready = max(at - _AHEAD, free)
        if at - ready >= _SHORTEST:
            found.append(Caption(ready, at, _caption_lines("Ready", group)))
        last = group[-1].at
        found.append(Caption(at, min(max(last, at) + _STAYS, max(following, at + 0.1)), _caption_lines("Now", group)))
    return found


def _said_together(all_: Sequence[Told]) -> list[list[Told]]:
    groups: list[list[Told]] = []
    for each in all_:
        if groups and each.at - groups[-1][0].at <= _TOGETHER:
            groups[-1].append(each)
        else:
            groups.append([each])
    return groups


def _caption_lines(when: str, group: Sequence[Told]) -> tuple[str, ...]:
    lines = [_cue_line(when, each) for each in group[:_MOST_LINES]]
    if len(group) > _MOST_LINES:
        rest = ", ".join(number_text(each.cue.number) for each in group[_MOST_LINES - 1 :])
        lines[-1] = f"and {rest}"
    return tuple(lines)


def _cue_line(when: str, each: Told) -> str:
    name = f"{when} {number_text(each.cue.number)}" + (" again" if each.again else f" ({each.where})")
    return f"{name}: {shortened(each.action, _LINE)}"


def _clock(seconds: float) -> str:
    thousandths = round(seconds * 1000)
    whole, rest = divmod(thousandths, 1000)
    return f"{whole // 3600:02d}:{whole // 60 % 60:02d}:{whole % 60:02d}.{rest:03d}"
