"""A song as bars on a staff of one line, with its sections and cues, to open in notation programs.

MusicXML 4.0 (W3C), score-partwise. There are no notes: every bar is a rest, with section names as rehearsal marks and
cues as words at their beats.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import TYPE_CHECKING

from cuesuggest.export.common.escape import number_text, one_line, shortened, xml_text
from cuesuggest.export.common.options import Options, about
from cuesuggest.export.common.show_bars import Measure, measures
from cuesuggest.export.common.timing import cues_in_time
from cuesuggest.export.common.told import told
from cuesuggest.score.records import counted

if TYPE_CHECKING:
    from cuesuggest.song import Song

__all__ = ["write"]

_DIVISIONS = 480  # a quarter note
_WORDS = 48  # characters of a cue over the staff
_TEMPO_STEP = 0.5  # beats a minute; smaller changes from bar to bar are how people play, and no tempo mark
_DOCTYPE = (
    '<!DOCTYPE score-partwise PUBLIC "-//Recordare//DTD MusicXML 4.0 Partwise//EN" '
    '"http://www.musicxml.org/dtds/partwise.dtd">'
)


@dataclass(frozen=True, slots=True)
class _Mark:
    """Something over the staff, at a place in a measure."""

    divisions: int
    rank: int
    xml: str


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
    lines = [
        '<?xml version="1.0" encoding="UTF-8" standalone="no"?>',
        _DOCTYPE,
        '<score-partwise version="4.0">',
        f"<work><work-title>{xml_text(one_line(words.title))}</work-title></work>",
        "<identification>",
        *(f'<rights type="caution">{xml_text(one_line(line))}</rights>' for line in said[:1]),
        f"<encoding><software>{xml_text(one_line(words.made))}</software></encoding>",
        "<miscellaneous>",
        *(
            f'<miscellaneous-field name="{name}">{xml_text(one_line(line))}</miscellaneous-field>'
            for name, line in zip(("times", "take", "made", "left-out"), said[1:], strict=False)
        ),
        "</miscellaneous>",
        "</identification>",
        '<part-list><score-part id="P1"><part-name>Light</part-name></score-part></part-list>',
        '<part id="P1">',
        *_measures(bars, _marks(song, options, bars)),
        "</part>",
        "</score-partwise>",
    ]
    return ("\n".join(lines) + "\n").encode()


def _measures(bars: Sequence[Measure], marks: dict[int, list[_Mark]]) -> Iterator[str]:
    meter: tuple[int, int] | None = None
    tempo: float | None = None
    why: str | None = None
    stretched = 0
    for index, bar in enumerate(bars):
        stretched += bar.bar is None
        # Letters: some readers take any digit in it for the number of a bar.
        number = f'number="X{_letters(stretched)}" implicit="yes"' if bar.bar is None else f'number="{bar.bar}"'
        yield f"<measure {number}>"
        if meter != (meter := (bar.numerator, bar.denominator)):
            yield _attributes(bar, first=index == 0)
        if bar.bar is None and why != bar.why:
            yield _words(f"stretched: {bar.why}", 0)
        why = bar.why if bar.bar is None else None
        beats_a_minute = 60 * (len(bar.times) - 1) / (bar.end - bar.start)
        if tempo is None or abs(beats_a_minute - tempo) >= _TEMPO_STEP:
            tempo = beats_a_minute
            yield _tempo(bar, beats_a_minute)
        yield from (mark.xml for mark in sorted(marks.get(index, []), key=lambda mark: (mark.divisions, mark.rank)))
        duration = _divisions(bar.quarters)
        yield f'<note><rest measure="yes"/><duration>{duration}</duration><voice>1</voice></note>'
        yield "</measure>"


def _letters(count: int) -> str:
    """A, B, … Z, AA, AB …"""
    letters = ""
    while count:
        count, rest = divmod(count - 1, 26)
        letters = chr(ord("A") + rest) + letters
    return letters


def _attributes(bar: Measure, *, first: bool) -> str:
    time = f"<time><beats>{bar.numerator}</beats><beat-type>{bar.denominator}</beat-type></time>"
    if not first:
        return f"<attributes>{time}</attributes>"
    return (
        f"<attributes><divisions>{_DIVISIONS}</divisions><key><fifths>0</fifths></key>{time}"
        "<clef><sign>percussion</sign></clef><staff-details><staff-lines>1</staff-lines></staff-details></attributes>"
    )


def _tempo(bar: Measure, beats_a_minute: float) -> str:
    quarters = float(bar.beat_quarters) * beats_a_minute
    units = {
        Fraction(1): "<beat-unit>quarter</beat-unit>",
        Fraction(3, 2): "<beat-unit>quarter</beat-unit><beat-unit-dot/>",
        Fraction(2): "<beat-unit>half</beat-unit>",
        Fraction(1, 2): "<beat-unit>eighth</beat-unit>",
    }
    unit, per_minute = units.get(bar.beat_quarters), beats_a_minute
    if unit is None:
        unit, per_minute = units[Fraction(1)], quarters
    return (
        f'<direction placement="above"><direction-type><metronome parentheses="yes">{unit}'
        f"<per-minute>{per_minute:.1f}</per-minute></metronome></direction-type>"
        f'<sound tempo="{quarters:.3f}"/></direction>'
    )


def _marks(song: Song, options: Options, bars: Sequence[Measure]) -> dict[int, list[_Mark]]:
    """Sections and cues by the index of their measure."""
    found: dict[int, list[_Mark]] = {}

    def put(at: float, rank: int, xml: str, bar_number: int | None = None, beat: float = 1.0) -> None:
        index = next((k for k, bar in enumerate(bars) if bar.bar is not None and bar.bar == bar_number), None)
        if index is None:
            index = max((k for k, bar in enumerate(bars) if bar.start <= at + 1e-6), default=0)
            offset = _divisions(Fraction(bars[index].quarter_at(at)))
        else:
            offset = _divisions(Fraction(beat - 1) * bars[index].beat_quarters)
        offset = min(offset, _divisions(bars[index].quarters) - 1)
        found.setdefault(index, []).append(_Mark(offset, rank, xml.replace("<!--offset-->", _offset(offset))))

    for section in song.analysis.sections:
        at = options.timing.show(section.start)
        if at >= 0:
            name = shortened(one_line(f"{section.mark} {section.name}"), _WORDS)
            put(at, 1, _direction(f"<rehearsal>{xml_text(name)}</rehearsal>"), section.first_bar)
    for each in told(song, options):
        cue = each.cue
        again = " again" if each.again else ""
        words = shortened(f"{number_text(cue.number)} {cue.kind}{again}: {one_line(cue.hand)}", _WORDS)
        # What starts before its place, and a later one of a series, is found by its time.
        at_its_place = not each.again and each.at == options.timing.show(cue.place.seconds)
        bar = cue.place.bar if at_its_place else None
        put(each.at, 2, _direction(f"<words>{xml_text(words)}</words>", below=True), bar, cue.place.beat or 1.0)
    return found


def _direction(inside: str, *, below: bool = False) -> str:
    side = "below" if below else "above"
    return f'<direction placement="{side}"><direction-type>{inside}</direction-type><!--offset--></direction>'


def _words(text: str, divisions: int) -> str:
    return _direction(f"<words>{xml_text(text)}</words>").replace("<!--offset-->", _offset(divisions))


def _offset(divisions: int) -> str:
    return f"<offset>{divisions}</offset>" if divisions else ""


def _divisions(quarters: Fraction) -> int:
    return int(quarters * _DIVISIONS + Fraction(1, 2))
