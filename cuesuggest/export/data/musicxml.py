"""A song as bars on a staff of one line, with its sections and cues, to open in notation programs.

MusicXML 4.0 (W3C), score-partwise. There are no notes: every bar is a rest, with section names as rehearsal marks and
cues as words at their beats.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise
from typing import TYPE_CHECKING

from cuesuggest.export.common.escape import number_text, one_line, shortened
from cuesuggest.export.common.options import Options, about
from cuesuggest.export.common.show_bars import Measure, bars_before_start, measures, section_places
from cuesuggest.export.common.timing import before_start
from cuesuggest.export.common.told import told
from cuesuggest.export.common.xml_element import element, xml_bytes

if TYPE_CHECKING:
    from xml.etree.ElementTree import Element

    from cuesuggest.song import Song

__all__ = ["write"]

_DIVISIONS = 480  # a quarter note
_NAME = 48  # characters of a section over the staff
_TEMPO_DIGITS = 6
_TEMPO_STEP = 0.5  # quarter notes a minute; smaller changes from bar to bar are how people play, and no tempo mark
_HEAD = (
    '<?xml version="1.0" encoding="UTF-8" standalone="no"?>\n'
    '<!DOCTYPE score-partwise PUBLIC "-//Recordare//DTD MusicXML 4.0 Partwise//EN" '
    '"http://www.musicxml.org/dtds/partwise.dtd">'
)


@dataclass(frozen=True, slots=True)
class _MeasureMark:
    """Something over or under the staff, at a place in a measure."""

    divisions: int
    inside: Element
    side: str

    def direction(self) -> Element:
        """Write it with its place."""
        offset = [element("offset", f"{self.divisions}")] if self.divisions else []
        return element("direction", element("direction-type", self.inside), *offset, placement=self.side)


def write(song: Song, options: Options) -> bytes:
    """Write a song's bars, sections and cues as a score.

    Parameters
    ----------
    song : Song
    options : Options

    Returns
    -------
    bytes
        UTF-8. The song's bars have its own numbers; stretched bars have numbers that start with X and are marked.
    """
    words = about(song, options)
    bars = measures(song, options.timing)
    left = [*before_start(song, options.timing), *bars_before_start(song, options.timing)]
    said = [words.caution, words.times, f"take {words.take}", words.made, *([" ".join(left)] if left else [])]
    named = zip(("times", "take", "made", "left-out"), said[1:], strict=False)
    origin = [
        element("rights", one_line(said[0]), type="caution"),
        element("encoding", element("software", one_line(words.made))),
        element("miscellaneous", *(element("miscellaneous-field", one_line(line), name=name) for name, line in named)),
    ]
    parts = [
        element("work", element("work-title", one_line(words.title))),
        element("identification", *origin),
        element("part-list", element("score-part", element("part-name", "Light"), id="P1")),
        element("part", *_measures(bars, _marks(song, options, bars)), id="P1"),
    ]
    return xml_bytes(element("score-partwise", *parts, version="4.0"), _HEAD)


def _measures(bars: Sequence[Measure], marks: dict[int, list[_MeasureMark]]) -> Iterator[Element]:
    meter: tuple[int, int] | None = None
    shown: float | None = None
    why: str | None = None
    stretched = 0
    for index, (bar, tempo) in enumerate(_tempos(bars)):
        inside = []
        if meter != (meter := (bar.numerator, bar.denominator)):
            inside.append(_attributes(bar, first=index == 0))
        if bar.bar is None and why != bar.why:
            inside.append(_MeasureMark(0, element("words", f"stretched: {bar.why}"), "above").direction())
        why = bar.why if bar.bar is None else None
        if shown is None or abs(tempo - shown) >= _TEMPO_STEP:
            shown = tempo
            inside.append(_tempo_mark(bar, tempo))
        # In every bar, since a player runs by it; after the mark, which is rounded, and which some players take too.
        inside.append(element("sound", tempo=f"{tempo:.{_TEMPO_DIGITS}f}"))
        inside += [mark.direction() for mark in sorted(marks.get(index, []), key=lambda mark: mark.divisions)]
        duration = element("duration", f"{_divisions(bar.quarters)}")
        inside.append(element("note", element("rest", measure="yes"), duration, element("voice", "1")))
        stretched += bar.bar is None
        # Letters: some readers take any digit in it for the number of a bar.
        number, implicit = (f"X{_letters(stretched)}", "yes") if bar.bar is None else (f"{bar.bar}", None)
        yield element("measure", *inside, number=number, implicit=implicit)


def _letters(count: int) -> str:
    """A, B, … Z, AA, AB …"""
    letters = ""
    while count:
        count, rest = divmod(count - 1, 26)
        letters = chr(ord("A") + rest) + letters
    return letters


def _attributes(bar: Measure, *, first: bool) -> Element:
    time = element("time", element("beats", f"{bar.numerator}"), element("beat-type", f"{bar.denominator}"))
    if not first:
        return element("attributes", time)
    key, clef = element("key", element("fifths", "0")), element("clef", element("sign", "percussion"))
    staff = element("staff-details", element("staff-lines", "1"))
    return element("attributes", element("divisions", f"{_DIVISIONS}"), key, time, clef, staff)


def _tempos(bars: Sequence[Measure]) -> Iterator[tuple[Measure, float]]:
    """Go through the bars with the quarter notes a minute of each, rounded; the next one makes up for it."""
    reached = 0.0
    for bar in bars:
        tempo = max(round(60 * float(bar.quarters) / (bar.end - reached), _TEMPO_DIGITS), 10**-_TEMPO_DIGITS)
        reached += 60 * float(bar.quarters) / tempo
        yield bar, tempo


def _tempo_mark(bar: Measure, tempo: float) -> Element:
    beats = {right - left for left, right in pairwise(bar.beat_quarters)}
    names = {Fraction(1): "quarter", Fraction(3, 2): "quarter", Fraction(2): "half", Fraction(1, 2): "eighth"}
    # Beats of different lengths have none in common but the quarter note.
    beat = beats.pop() if len(beats) == 1 else Fraction(1)
    beat = beat if beat in names else Fraction(1)
    unit = [element("beat-unit", names[beat])] + ([element("beat-unit-dot")] if beat == Fraction(3, 2) else [])
    per_minute = element("per-minute", f"{tempo / float(beat):.1f}")
    metronome = element("metronome", *unit, per_minute, parentheses="yes")
    return element("direction", element("direction-type", metronome), placement="above")


def _marks(song: Song, options: Options, bars: Sequence[Measure]) -> dict[int, list[_MeasureMark]]:
    """Sections and cues by the index of their measure; at one place the section comes first."""
    found: dict[int, list[_MeasureMark]] = {}

    def put(at: float, inside: Element, side: str, bar_number: int | None = None, beat: float = 1.0) -> None:
        index = next((k for k, bar in enumerate(bars) if bar.bar is not None and bar.bar == bar_number), None)
        if index is None:
            index = max((k for k, bar in enumerate(bars) if bar.start <= at + 1e-6), default=0)
            offset = _divisions(Fraction(bars[index].quarter_at(at)))
        else:
            offset = _divisions(Fraction(bars[index].quarter_of(beat)))
        offset = min(offset, _divisions(bars[index].quarters) - 1)
        found.setdefault(index, []).append(_MeasureMark(offset, inside, side))

    for index, name in section_places(song, options.timing, bars):
        mark = element("rehearsal", shortened(one_line(name), _NAME))
        found.setdefault(index, []).append(_MeasureMark(0, mark, "above"))
    for each in told(song, options):
        cue = each.cue
        again = " again" if each.again else ""
        words = f"{number_text(cue.number)} {cue.kind}{again}: {each.action}"
        # What starts before its place, and a later one of a series, is found by its time.
        at_its_place = not each.again and each.at == options.timing.show(cue.place.seconds)
        bar = cue.place.bar if at_its_place else None
        put(each.at, element("words", words), "below", bar, cue.place.beat or 1.0)
    return found


def _divisions(quarters: Fraction) -> int:
    return int(quarters * _DIVISIONS + Fraction(1, 2))
