"""What the designer says about the music on the page, as edits: facts in absolute terms, as the command line makes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from cuesuggest.analysis.form import Part, letter
from cuesuggest.analysis.types import Section, felt_beats
from cuesuggest.decide.statements import form, tapped
from cuesuggest.errors import EditError
from cuesuggest.score.grid import Grid
from cuesuggest.score.records import counted
from cuesuggest.song import SetCorrections, Song, TempoCorrection, TimeSignatureCorrection

__all__ = [
    "beats_tapped",
    "boundary_added",
    "boundary_moved",
    "boundary_removed",
    "family",
    "form_as_found",
    "section_starts",
]

_FEWEST_TAPS = 4
_ON_A_BEAT = 0.07  # s; the tolerance of the field for one and the same beat
_STEADY = 0.25  # share of an interval by which single taps may be off


def family(song: Song, section: Section) -> tuple[Section, ...]:
    """Return all passes of a section's material, itself among them; A and A' are one material."""
    return tuple(each for each in song.analysis.sections if each.family == section.family)


@dataclass(frozen=True, slots=True)
class _Piece:
    """A section as it will be stated."""

    material: str
    """What pieces of the same material share."""
    name: str
    first_words: str
    start: float


def form_as_found(song: Song) -> SetCorrections:
    """State the sections as they are now, with their starts.

    Raises
    ------
    EditError
        If no sections were heard.
    """
    return _stated(song, _pieces(song))


def _pieces(song: Song) -> list[_Piece]:
    if not song.analysis.sections:
        raise EditError("No sections were heard in this song. Type its form instead.")
    return [
        _Piece(each.name.casefold() or each.family, each.name, each.first_words, each.start)
        for each in song.analysis.sections
    ]


def _stated(song: Song, pieces: Sequence[_Piece]) -> SetCorrections:
    """State pieces; one without a name is called by the letter that it gets."""
    order = list(dict.fromkeys(piece.material for piece in pieces))
    taken = {piece.name.casefold() for piece in pieces}
    starts = [piece.start for piece in pieces]
    bars = {bar.start: bar.number for bar in song.analysis.bars}
    ends = [*(bars[start] for start in starts[1:]), song.analysis.sections[-1].last_bar + 1]
    parts = []
    for piece, end in zip(pieces, ends, strict=True):
        own = letter(order.index(piece.material))
        called = piece.name or (own if own.casefold() not in taken else f"part {own}")
        parts.append(Part(called, max(end - bars[piece.start], 1), piece.first_words))
    return form(song, parts, starts)


def boundary_moved(song: Song, section: Section, bars: int, *, repeats: bool) -> SetCorrections:
    """State that a section starts so many bars later than heard; earlier if negative.

    Parameters
    ----------
    song : Song
    section : Section
    bars : int
    repeats : bool
        Whether the other passes of the same material move with it, where there is room.

    Raises
    ------
    EditError
        If the section is the first, or there is no room.
    """
    sections, pieces, grid = song.analysis.sections, _pieces(song), Grid(song.analysis)
    firsts = [each.first_bar for each in sections]
    for place, each in enumerate(sections):
        if each.id != section.id and not (repeats and each.family == section.family):
            continue
        moved = grid.bar(each.first_bar + bars)
        last = firsts[place + 1] if place + 1 < len(firsts) else each.last_bar + 1
        if place and moved is not None and firsts[place - 1] < moved.number < last:
            firsts[place] = moved.number
            pieces[place] = replace(pieces[place], start=moved.start)
        elif each.id == section.id:
            way = "later" if bars > 0 else "earlier"
            raise EditError(
                f"{each.mark} cannot start {counted(abs(bars), 'bar')} {way}: no bar of a section would be left."
            )
    return _stated(song, pieces)


def section_starts(song: Song, section: Section, bar: int) -> SetCorrections:
    """State at which bar of the song a section starts.

    Raises
    ------
    EditError
        If the section is the first, or no bar of a section would be left.
    """
    if bar == section.first_bar:
        return form_as_found(song)
    return boundary_moved(song, section, bar - section.first_bar, repeats=False)


def boundary_added(song: Song, bar: int, name: str, *, repeats: bool) -> SetCorrections:
    """State that a section starts at a bar in the middle of another; in every pass of it, if `repeats`.

    Raises
    ------
    EditError
        If there is no such bar inside a section, or one starts there already.
    """
    grid = Grid(song.analysis)
    home = grid.section_of(bar)
    if home is None:
        raise EditError(f"Bar {bar} is in no section. Choose a bar inside one.")
    if home.first_bar == bar:
        raise EditError(f"{home.mark} starts at bar {bar} already.")
    pieces: list[_Piece] = []
    for section, piece in zip(song.analysis.sections, _pieces(song), strict=True):
        pieces.append(piece)
        inside = grid.bar(section.first_bar + bar - home.first_bar)
        meant = section.id == home.id or (repeats and section.family == home.family)
        if meant and inside is not None and inside.number <= section.last_bar:
            pieces.append(_Piece(name.casefold() or f"{piece.material}, second half", name, "", inside.start))
    return _stated(song, pieces)


def boundary_removed(song: Song, section: Section, *, repeats: bool) -> SetCorrections:
    """State that a section goes on from the one before it; so does every pass of it, if `repeats`.

    Raises
    ------
    EditError
        If it is the first.
    """
    if section.id == song.analysis.sections[0].id:
        raise EditError(f"{section.mark} is the first section; nothing comes before it.")
    gone = {each.id for each in (family(song, section) if repeats else (section,))}
    sections = song.analysis.sections
    kept = [
        piece
        for k, (each, piece) in enumerate(zip(sections, _pieces(song), strict=True))
        if k == 0 or each.id not in gone
    ]
    return _stated(song, kept)


def beats_tapped(song: Song, times: Sequence[float]) -> SetCorrections:
    """State the beats of a stretch as tapped to the sound, the first tap on the 1 of a bar.

    A hand is late or early by a few hundredths of a second, differently on each beat: where the taps mean the beats
    that were heard, those are stated; otherwise the even pulse that fits the taps best.

    Raises
    ------
    EditError
        If there are too few taps, or they keep no pulse.
    """
    if len(times) < _FEWEST_TAPS:
        raise EditError(f"{len(times)} taps are too few. Tap at least {_FEWEST_TAPS} beats, the first on the 1.")
    count = len(times)
    middle = (count - 1) / 2
    mean = sum(times) / count
    step = sum((k - middle) * (time - mean) for k, time in enumerate(times)) / sum(
        (k - middle) ** 2 for k in range(count)
    )
    even = [mean + (k - middle) * step for k in range(count)]
    if step <= 0.1 or any(abs(tap - beat) > _STEADY * step for tap, beat in zip(times, even, strict=True)):
        raise EditError("These taps keep no even pulse. Tap once on every beat, the first on the 1.")
    per_bar, counted_in = _beats_per_bar(song, times[0])
    heard = song.analysis.beats
    ones = [_heard_or(even[k], heard) for k in range(0, count, per_bar)]
    window = song.recording.window
    ones = [time for time in ones if window.start <= time <= window.end]
    edit = tapped(song, ones)
    tempo = TempoCorrection(round(60 / step, 3), max(round(even[0], 4), 0.0), round(even[-1], 4))
    others = [fact for fact in edit.corrections if not _inside(fact, tempo)]
    facts = sorted((*others, tempo, *counted_in), key=lambda fact: fact.kind)
    return SetCorrections(tuple(facts))


def _inside(fact: object, tempo: TempoCorrection) -> bool:
    return isinstance(fact, TempoCorrection) and tempo.from_ <= fact.from_ and fact.to <= tempo.to


def _beats_per_bar(song: Song, seconds: float) -> tuple[int, tuple[TimeSignatureCorrection, ...]]:
    """Return how many taps make a bar, and what has to be stated for it: 4/4 where nothing was heard or said."""
    bars = song.analysis.bars
    here = next((bar for bar in bars if bar.start <= seconds < bar.end), bars[0] if bars else None)
    if here is not None:
        return here.beats, ()
    said = [fact.value for fact in song.corrections if isinstance(fact, TimeSignatureCorrection)]
    if said:
        return felt_beats(said[-1]), ()
    return 4, (TimeSignatureCorrection("4/4", song.recording.window.start),)


def _heard_or(time: float, heard: Sequence[float]) -> float:
    near = min(heard, key=lambda beat: abs(beat - time), default=time)
    return near if abs(near - time) <= _ON_A_BEAT else round(time, 4)
