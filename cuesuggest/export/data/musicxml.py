"""A song as bars on a staff of one line, with its sections and cues, to open in notation programs.

MusicXML 4.0 (W3C), score-partwise. There are no notes: every bar is a rest, with section names as rehearsal marks and
cues as words at their beats.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import TYPE_CHECKING

from cuesuggest.export.common.escape import number_text, one_line, shortened
from cuesuggest.export.common.options import Options, about
from cuesuggest.export.common.show_bars import Measure, measures
from cuesuggest.export.common.timing import cues_in_time
from cuesuggest.export.common.told import told
from cuesuggest.export.common.xml_element import element, xml_bytes
from cuesuggest.score.records import counted

if TYPE_CHECKING:
    from xml.etree.ElementTree import Element

    from cuesuggest.song import Song

__all__ = ["write"]

_DIVISIONS = 480  # a quarter note
_NAME = 48  # characters of a section over the staff
_TEMPO_STEP = 0.5  # beats a minute; smaller changes from bar to bar are how people play, and no tempo mark
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
    _, before = cues_in_time(song, options.timing)
    said = [words.caution, words.times, f"take {words.take}", words.made]
    said += [f"{counted(len(before), 'cue')} before second 0 left out"] if before else []
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
    tempo: float | None = None
    why: str | None = None
    stretched = 0
    for index, bar in enumerate(bars):
        inside = []
        if meter != (meter := (bar.numerator, bar.denominator)):
            inside.append(_attributes(bar, first=index == 0))
        if bar.bar is None and why != bar.why:
            inside.append(_MeasureMark(0, element("words", f"stretched: {bar.why}"), "above").direction())
        why = bar.why if bar.bar is None else None
        beats_a_minute = 60 * (len(bar.times) - 1) / (bar.end - bar.start)
        if tempo is None or abs(beats_a_minute - tempo) >= _TEMPO_STEP:
            tempo = beats_a_minute
            inside.append(_tempo(bar, beats_a_minute))
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


def _tempo(bar: Measure, beats_a_minute: float) -> Element:
    quarters = float(bar.beat_quarters) * beats_a_minute
    names = {Fraction(1): "quarter", Fraction(3, 2): "quarter", Fraction(2): "half", Fraction(1, 2): "eighth"}
    unit = [element("beat-unit", names.get(bar.beat_quarters, "quarter"))]
    unit += [element("beat-unit-dot")] if bar.beat_quarters == Fraction(3, 2) else []
    per_minute = element("per-minute", f"{beats_a_minute if bar.beat_quarters in names else quarters:.1f}")
    metronome = element("direction-type", element("metronome", *unit, per_minute, parentheses="yes"))
    return element("direction", metronome, element("sound", tempo=f"{quarters:.3f}"), placement="above")


def _marks(song: Song, options: Options, bars: Sequence[Measure]) -> dict[int, list[_MeasureMark]]:
    """Sections and cues by the index of their measure; at one place the section comes first."""
    found: dict[int, list[_MeasureMark]] = {}

    def put(at: float, inside: Element, side: str, bar_number: int | None = None, beat: float = 1.0) -> None:
        index = next((k for k, bar in enumerate(bars) if bar.bar is not None and bar.bar == bar_number), None)
        if index is None:
            index = max((k for k, bar in enumerate(bars) if bar.start <= at + 1e-6), default=0)
            offset = _divisions(Fraction(bars[index].quarter_at(at)))
        else:
            offset = _divisions(Fraction(beat - 1) * bars[index].beat_quarters)
        offset = min(offset, _divisions(bars[index].quarters) - 1)
        found.setdefault(index, []).append(_MeasureMark(offset, inside, side))

    for section in song.analysis.sections:
        at = options.timing.show(section.start)
        if at >= 0:
            name = shortened(one_line(f"{section.mark} {section.name}"), _NAME)
            put(at, element("rehearsal", name), "above", section.first_bar)
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
