"""The tag: the song's big material once more at its very end, small, or only its last phrase.

A rule on sections and drive; no song with a known tag was there to fit a probability to, so its confidence is that of
the section's start, and never high.
"""

from __future__ import annotations

from collections.abc import Sequence

from cuesuggest.analysis.types import Bar, Event, Section

__all__ = ["find_tag"]

_QUIETER = 0.15  # drive; so much under the pass before it, the ending is small
_SHORTER = 0.5  # of the section before it: more is a pass of its own
_FEWEST_SECTIONS = 4
_MOST = 0.65  # a confidence that nothing was fitted to stays modest


def find_tag(sections: Sequence[Section], bars: Sequence[Bar]) -> Event | None:
    """Return the tag that a song ends with, if it has one.

    Parameters
    ----------
    sections : sequence of Section
    bars : sequence of Bar

    Returns
    -------
    Event or None
        From the start of the last section to its end.
    """
    if len(sections) < _FEWEST_SECTIONS:
        return None
    drive = [_drive(section, bars) for section in sections]
    last, earlier = sections[-1], sections[:-1]
    same = [k for k, section in enumerate(earlier) if section.family == last.family]
    if not same or max(drive[k] for k in same) < max(drive) - _QUIETER:
        return None  # not the big material
    small = drive[-1] < drive[same[-1]] - _QUIETER
    again = same[-1] == len(earlier) - 1 and last.bars <= _SHORTER * earlier[-1].bars
    if not (small or again):
        return None
    sure = round(min(last.confidence, _MOST), 3)
    return Event("tag", last.start, last.end, last.first_bar, 1.0, sure)


def _drive(section: Section, bars: Sequence[Bar]) -> float:
    inside = [bar.drive for bar in bars if section.first_bar <= bar.number <= section.last_bar]
    return sum(inside) / max(len(inside), 1)
