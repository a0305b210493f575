"""A document and a new hearing of its song: what was decided stays, and the draft grows around it.

The analysis gets the ids and names of the sections that were there (`carried`), the sections whose look was
decided are pinned for the plan (`pins`), and what was decided is laid over the new draft (`merged`).
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Literal

from cuesuggest.analysis.types import Section, SongAnalysis
from cuesuggest.rules import Pin
from cuesuggest.score.form_text import read_form
from cuesuggest.score.grid import Grid
from cuesuggest.score.records import ENTRANCES, Cue, Place, PlannedSection, Series, counted
from cuesuggest.song import (
    AddCue,
    Correction,
    Edit,
    FormCorrection,
    HistoryEntry,
    RemoveCue,
    SetCorrections,
    SetCue,
    SetSection,
    Song,
    Unplaced,
)

if TYPE_CHECKING:
    import numpy as np

__all__ = ["Hearing", "Match", "Rerun", "between", "carried", "compare", "decided", "merged", "pins"]

_RATE = 10.0  # Envelope samples a second when two recordings are compared.
# Correlation of two envelopes. The same take encoded anew or trimmed stays above 0.99; another take of a song
# with the same form reaches 0.8.
_SAME_SOUND = 0.95
_SAME_MOMENT = 0.04  # s
_SHARED = 0.6  # Share of the shorter recording that must sound in both.


@dataclass(frozen=True, slots=True)
class Match:
    """How the sound of a document's recording answers the sound heard now."""

    kind: Literal["same", "shifted", "other", "bars", "seconds"]
    """The last two: the same sound with other bars, and what a cue holds on to there."""
    lag: float = 0.0
    """Seconds by which things come later now."""


@dataclass(frozen=True, slots=True)
class Hearing:
    """The sections of an earlier hearing, and what was stated of the music when they were heard."""

    sections: tuple[Section, ...]
    corrections: tuple[Correction, ...]


@dataclass(frozen=True, slots=True)
class Rerun:
    """What became of a document that was there before."""

    kept: tuple[str, ...] = ()
    """Ids of the decided cues that stand."""
    new: tuple[str, ...] = ()
    """Ids of cues that the draft has now and had not before."""
    gone: tuple[str, ...] = ()
    """Ids of suggestions that nobody had decided on and that the draft no longer makes."""
    unplaced: tuple[str, ...] = ()
    """Ids of cues that lost their place."""
    lines: tuple[str, ...] = ()
    """All of it in sentences for the designer."""


def decided(cue: Cue) -> bool:
    """Whether the designer has said anything about a cue."""
    return cue.status != "suggested" or cue.lock or bool(cue.note)


def _stands(cue: Cue) -> bool:
    """Whether a cue's content is the designer's by now."""
    return cue.status in ("accepted", "edited", "added") or cue.lock


def compare(old: SongAnalysis, new: SongAnalysis) -> Match:
    """Tell whether two recordings hold the same sound, by the loudness through their bars.

    Parameters
    ----------
    old, new : SongAnalysis

    Returns
    -------
    Match
        "shifted" if the sound is the same but starts at another time; "other" also where there is too little
        to compare.
    """
    import numpy as np

    first, second = _curve(old), _curve(new)
    if min(len(first), len(second)) < 10 * _RATE:
        return Match("other")
    size = 1 << (len(first) + len(second) - 1).bit_length()
    spectra = [np.fft.rfft(curve - curve.mean(), size) for curve in (first, second)]
    found = np.fft.irfft(np.conj(spectra[0]) * spectra[1], size)
    lag = int(np.argmax(found))
    lag -= size if lag > size // 2 else 0
    start, end = max(0, lag), min(len(second), len(first) + lag)
    shared = second[start:end], first[start - lag : end - lag]
    if end - start < _SHARED * min(len(first), len(second)) or min(part.std() for part in shared) == 0:
        return Match("other")
    if np.corrcoef(*shared)[0, 1] < _SAME_SOUND:
        return Match("other")
    return Match("shifted", lag / _RATE) if lag else Match("same")


def _curve(analysis: SongAnalysis) -> np.ndarray:
    """Loudness from the start of the file on, `_RATE` values a second, 0 outside the bars."""
    import numpy as np

    times: list[float] = []
    values: list[float] = []
    for bar in analysis.bars:
        count = len(bar.envelope)
        times += [bar.start + (step + 0.5) * (bar.end - bar.start) / count for step in range(count)]
        values += bar.envelope
    if not times:
        return np.zeros(0)
    return np.interp(np.arange(0.0, times[-1], 1 / _RATE), times, values, left=0.0)


def carried(
    old: Song, new: SongAnalysis, match: Match, earlier: Hearing | None = None
) -> tuple[SongAnalysis, tuple[str, ...]]:
    """Give the sections of a new hearing the ids, names and first words of those they answer.

    Two sections answer each other if they share at least half of the longer one; in another recording, if they
    have the same letter and pass. The others get ids that were never used. Names that a stated form gave come and go
    with it; those that the user gave a section since it was stated stay.

    Parameters
    ----------
    old : Song
    new : SongAnalysis
        Heard under what `old` states.
    match : Match
    earlier : Hearing, optional
        Whose sections are carried on, if not those of `old` as they were heard under what it states.

    Returns
    -------
    SongAnalysis
    tuple of str
        Names and first words that found no section, in sentences.
    """
    earlier = earlier or Hearing(old.analysis.sections, old.corrections)
    pairs = _same_name(earlier, new) if match.kind == "other" else _overlapping(earlier, new, match.lag)
    used = {section.id for section in (*old.analysis.sections, *earlier.sections)}
    used |= {edit.section for entry in old.history if isinstance(edit := entry.edit, SetSection)}
    fresh = (name for number in range(1, 10**6) if (name := f"s{number}") not in used)
    roles = {
        entry.edit.section
        for entry in old.history
        if isinstance(entry.edit, SetSection) and "role" in entry.edit.changes
    }
    names = _own_names(old, earlier)
    sections = []
    for index, section in enumerate(new.sections):
        before = pairs.get(index)
        if before is None:
            sections.append(replace(section, id=next(fresh)))
            continue
        role = before.role if before.id in roles else section.role
        own = names.get(before.id, {})
        name, first_words = own.get("name", section.name), own.get("first_words", section.first_words)
        sections.append(replace(section, id=before.id, name=name, first_words=first_words, role=role, vamp=before.vamp))
    there = {section.id for section in sections}
    lost = tuple(
        f"{section.mark} was called “{called}”; there is no such section any more."
        for section in earlier.sections
        if section.id not in there and (called := next(filter(None, names.get(section.id, {}).values()), ""))
    )
    lost += tuple(
        f"{section.mark} went round until {section.vamp}; there is no such section any more."
        for section in earlier.sections
        if section.id not in there and section.vamp
    )
    return replace(new, sections=tuple(sections)), lost


def _own_names(old: Song, earlier: Hearing) -> dict[str, dict[str, str]]:
    """Names and first words that the user gave sections, by id, and that hold still; not those that come of a form."""
    then, now = _form(earlier.corrections), _form(old.corrections)
    names: dict[str, dict[str, str]] = {}
    if now in ("", then):
        parts = read_form(then).parts if then else ()
        for section in earlier.sections:
            given = {"name": section.name, "first_words": section.first_words}
            names[section.id] = {
                key: said for key, said in given.items() if said and all(said != getattr(part, key) for part in parts)
            }
    if then or now:
        # What the form had covered comes back with the history.
        for edit in _since_the_form(old.history) if now else [entry.edit for entry in old.history]:
            if isinstance(edit, SetSection):
                changes = {key: str(said) for key, said in edit.changes.items() if key in ("name", "first_words")}
                names.setdefault(edit.section, {}).update(changes)
    return names


def _form(corrections: Iterable[Correction]) -> str:
    return next((fact.text for fact in corrections if isinstance(fact, FormCorrection)), "")


def _since_the_form(history: Iterable[HistoryEntry]) -> list[Edit]:
    """Return the changes after the one that stated the form which holds."""
    since: list[Edit] = []
    for entry in history:
        since.append(entry.edit)
        match entry.edit, entry.inverse:
            case SetCorrections(after), SetCorrections(before) if _form(after) != _form(before):
                since.clear()
    return since


def _overlapping(old: Hearing, new: SongAnalysis, lag: float) -> dict[int, Section]:
    shares = sorted(
        (
            (-shared / longer, index, number)
            for index, after in enumerate(new.sections)
            for number, before in enumerate(old.sections)
            for longer in [max(after.end - after.start, before.end - before.start)]
            for shared in [min(after.end, before.end + lag) - max(after.start, before.start + lag)]
            if shared >= 0.5 * longer
        ),
    )
    pairs: dict[int, Section] = {}
    taken: set[int] = set()
    for _, index, number in shares:
        if index not in pairs and number not in taken:
            pairs[index] = old.sections[number]
            taken.add(number)
    return pairs


def _same_name(old: Hearing, new: SongAnalysis) -> dict[int, Section]:
    known = {(section.label, section.pass_): section for section in old.sections}
    return {
        index: known[section.label, section.pass_]
        for index, section in enumerate(new.sections)
        if (section.label, section.pass_) in known
    }


class _Mover:
    """Where in the new hearing the places of the old one lie."""

    def __init__(self, old: SongAnalysis, new: SongAnalysis, match: Match) -> None:
        self._old, self._grid = Grid(old), Grid(new)
        self._match, self._duration = match, new.duration
        # Bars that were heard the same again keep their numbers, whatever the digits of their times.
        self._unchanged = match.kind == "same" and [(bar.number, bar.start, bar.beats) for bar in old.bars] == [
            (bar.number, bar.start, bar.beats) for bar in new.bars
        ]

    def place(self, place: Place) -> Place | str:
        """Return the new place, or why there is none."""
        if place.bar is None or place.beat is None:
            return self._time(place)
        if self._unchanged:
            return self._grid.place(place.bar, place.beat)
        if self._match.kind == "other":
            return self._by_section(place)
        if self._match.kind == "bars":
            return self._same_bar(place.bar, place.beat)
        if self._match.kind == "seconds":
            return self._same_time(place.seconds)
        return self._by_ear(place.seconds + self._match.lag, place.beat)

    def _time(self, place: Place) -> Place | str:
        if self._match.kind == "other":
            return "a time that hangs on no bar means nothing in another recording"
        seconds = place.seconds + self._match.lag
        if not 0 <= seconds <= self._duration:
            return "the recording does not reach there any more"
        return Place(round(seconds, 4))

    def _by_section(self, place: Place) -> Place | str:
        section = self._old.section_of(place.bar)
        return self._inside(
            next((each for each in self._grid.sections if section and each.id == section.id), None), place
        )

    def by_name(self, place: Place) -> Place | str:
        """Return the same bar of the section that is called so now, for a place of some earlier hearing."""
        named = (each for each in self._grid.sections if (each.label, each.pass_) == (place.section, place.pass_))
        return self._inside(next(named, None), place)

    def _inside(self, after: Section | None, place: Place) -> Place | str:
        if after is None or place.bar_in_section is None or place.beat is None:
            return "its section is not in this recording"
        number = after.first_bar + place.bar_in_section - 1
        bar = self._grid.bar(number)
        if number > after.last_bar or bar is None:
            return f"{after.mark} has only {after.bars} bars in this recording"
        if place.beat >= bar.beats + 1:
            return f"bar {number} has only {bar.beats} beats in this recording"
        return self._grid.place(number, place.beat)

    def _same_bar(self, number: int, beat: float) -> Place | str:
        bar = self._grid.bar(number)
        if bar is None or beat >= bar.beats + 1:
            return f"there is no bar {number} with that beat any more"
        return self._grid.place(number, beat)

    def _same_time(self, seconds: float) -> Place | str:
        """Return the beat or part of a beat at a time; a few hundredths of a second are not heard."""
        at = self._grid.locate(seconds)
        if at.bar is None or at.beat is None:
            near = next((bar for bar in self._grid.bars if abs(bar.start - seconds) < _SAME_MOMENT), None)
            return "there are no bars at that time any more" if near is None else self._grid.place(near.number)
        for parts in (1, 2, 3, 4):
            beat = round(at.beat * parts) / parts
            bar = self._grid.bar(at.bar)
            place = self._grid.after(at.bar) if bar and beat >= bar.beats + 1 else self._grid.place(at.bar, beat)
            if place.bar is not None and abs(place.seconds - seconds) < _SAME_MOMENT:
                return place
        return at

    def _by_ear(self, seconds: float, beat: float) -> Place | str:
        """Return the downbeat nearest to what was a downbeat, or the same part of the nearest beat."""
        at = self._grid.locate(seconds)
        if at.bar is None:
            bars = self._grid.bars
            # A place at the very edge of the bars still belongs to them.
            if bars and abs(seconds - bars[0].start) < 0.5 * self._grid.beat_seconds(seconds):
                return self._grid.place(bars[0].number)
            return "there are no bars at that time any more"
        near = [number for number in (at.bar, at.bar + 1) if self._grid.bar(number)]
        if beat == 1.0:
            number = min(near, key=lambda number: abs(self._grid.place(number).seconds - seconds))
            place = self._grid.place(number)
            if abs(place.seconds - seconds) < 1.5 * self._grid.beat_seconds(seconds):
                return place
        part = beat % 1.0
        choices = [
            self._grid.place(number, step + part)
            for number in near
            if (bar := self._grid.bar(number))
            for step in range(1, bar.beats + 1)
        ]
        return min(choices, key=lambda place: abs(place.seconds - seconds))

    def series(self, series: Series) -> Series | str:
        """Return a series between the same bars, or why there is none."""
        if self._unchanged:
            return series
        ends = []
        for number in (series.first_bar, series.last_bar):
            moved = self.place(self._old.place(number))
            if isinstance(moved, str) or moved.bar is None:
                return "the bars that its series runs over are not there any more"
            ends.append(moved.bar)
        shift = ends[0] - series.first_bar
        skip = tuple(number + shift for number in series.skip if number + shift <= ends[1])
        return replace(series, first_bar=ends[0], last_bar=max(ends), skip=skip)

    def cue(self, cue: Cue, adrift: bool) -> Cue | str:
        """Return the cue at its new place, its lengths in seconds counted anew, or why it has none.

        A cue that is adrift had no place in the old hearing either; its bars are of one before that.
        """
        place = self.by_name(cue.place) if adrift else self.place(cue.place)
        if adrift and cue.series is not None:
            return "the bars that its series runs over are not known"
        if isinstance(place, str):
            return place
        series = cue.series
        if series is not None:
            moved = self.series(series)
            if isinstance(moved, str):
                return moved
            series = moved
        if place == cue.place and series == cue.series:
            return cue
        if self._match.kind == "seconds" and self._grid.bars:
            # The same length in time is another number of beats where beats are counted anew.
            beat, before = self._grid.beat_seconds(place.seconds), self._old.beat_seconds(cue.place.seconds)
            scaled = (None if n is None else round(n * before / beat * 4) / 4 for n in (cue.up_beats, cue.down_beats))
            up_beats, down_beats = scaled
            return replace(cue, place=place, series=series, up_beats=up_beats, down_beats=down_beats)
        back = -1.0 if cue.anchor == "lands-on" else 1.0
        up, down = (
            self._grid.span(place, back * beats) if beats and abs(place.seconds - cue.place.seconds) > 1e-3 else seconds
            for beats, seconds in ((cue.up_beats, cue.up_seconds), (cue.down_beats, cue.down_seconds))
        )
        return replace(cue, place=place, series=series, up_seconds=up, down_seconds=down)


def pins(old: Song, new: SongAnalysis, match: Match) -> dict[str, Pin]:
    """Return what the designer has decided for sections, by their ids: entrances and exits that stand."""
    mover, grid = _Mover(old.analysis, new, match), Grid(new)
    looks = {look.id: look for look in old.looks}
    dark = {each.section for each in old.plan if each.look is None}
    found: dict[str, Pin] = {}
    for entry, out in _stays(old):
        if entry.look not in looks or not (_stands(entry) or (out is not None and _stands(out))):
            continue
        place = mover.place(entry.place)
        first = None if isinstance(place, str) else _entered(grid, place)
        if first is None:
            continue
        pin = Pin(looks[entry.look].category, entry.look, entry.side)
        found[first.id] = pin
        left = mover.place(out.place) if out is not None and _stands(out) else ""
        last = None if isinstance(left, str) else grid.section_of(left.bar)
        if last is None:
            continue
        begin, end = grid.sections.index(first), grid.sections.index(last)
        for index in range(begin, end + 1):
            section = grid.sections[index]
            found[section.id] = replace(pin, enters=index == begin, leaves=index == end)
        after = grid.sections[end + 1 : end + 2]
        found |= {section.id: Pin("rest") for section in after if section.id in dark and section.id not in found}
    there = {section.id for section in grid.sections}
    for planned in old.plan:
        # A decided cue says more of a section than its category: look and side. Where they disagree, the word on the
        # section itself counts.
        category, known = planned.decided, found.get(planned.section)
        if category is not None and planned.section in there and (known is None or known.category != category):
            found[planned.section] = Pin(category, enters=False)
    return found


def _stays(old: Song) -> Iterable[tuple[Cue, Cue | None]]:
    """Yield each entrance of a look with the cue that takes it out by itself, if one does."""
    lit: dict[str | None, Cue] = {}
    for cue in old.cues:
        # A stop interrupts a look and brings it back.
        if cue.status == "rejected" or cue.id.startswith("stop/"):
            continue
        if cue.kind in ENTRANCES:
            if cue.down_seconds is not None:
                yield from ((lit.pop(side), None) for side in list(lit))
            lit[cue.side] = cue
        elif cue.kind in ("fade-out", "cut-out") and cue.trigger != "held" and cue.side in lit:
            yield lit.pop(cue.side), cue
    yield from ((cue, None) for cue in lit.values())


def _entered(grid: Grid, place: Place) -> Section | None:
    """Return the section that a look comes in for: the one that starts within a bar, else the one there."""
    if place.bar is None:
        return None
    following = grid.section_of(place.bar + 1)
    here = grid.section_of(place.bar)
    if following is not None and following != here and place.beat != 1.0:
        return following
    return here


def _candidates(old: Song) -> list[Cue]:
    """Return every cue of the document, those without a place too."""
    ids = {cue.id for cue in old.cues}
    return [*old.cues, *(each.cue for each in old.unplaced if each.cue.id not in ids)]


def merged(
    old: Song, fresh: Song, match: Match, notes: Iterable[str] = (), *, revision: int | None = None
) -> tuple[Song, Rerun]:
    """Lay what was decided in a document over a fresh draft.

    Parameters
    ----------
    old : Song
        As it was.
    fresh : Song
        Drafted from an analysis that `carried` went through, around `pins`.
    match : Match
        How their recordings answer each other.
    notes : iterable of str
        Sentences to tell with the rest.
    revision : int, optional
        Of the result, which keeps the history whole: it belongs to a change that is in it already. Left out, the
        result is one above the old one, and changes that can no longer be taken back leave the history.

    Returns
    -------
    Song
    Rerun
    """
    mover = _Mover(old.analysis, fresh.analysis, match)
    drafted = {cue.id: cue for cue in fresh.cues}
    placed = {cue.id for cue in old.cues}
    kept: dict[str, Cue] = {}
    unplaced: list[Unplaced] = []
    for cue in _candidates(old):
        again = drafted.get(cue.id)
        if not decided(cue):
            continue
        if again is not None and not _stands(cue):
            kept[cue.id] = replace(again, status=cue.status, note=cue.note)
            continue
        moved = mover.cue(cue, adrift=cue.id not in placed)
        if isinstance(moved, str):
            unplaced.append(Unplaced(cue, moved))
        else:
            kept[cue.id] = replace(moved, standby=again.standby if again else None)
    slots = {_slot(cue.id) for cue in kept.values() if _stands(cue) and cue.status != "added"}
    suggested = [cue for cue in fresh.cues if cue.id not in kept and _slot(cue.id) not in slots]
    cues = [*kept.values(), *suggested]
    numbers = {cue.id: cue.number for cue in _candidates(old)}
    cues = _numbered(cues, numbers) if _frozen(old) else _in_order(cues)
    looks = {look.id for look in fresh.looks}
    wanted = {cue.look for cue in cues} - looks
    song = fresh.replaced(
        title=old.title,
        revision=old.revision + 1 if revision is None else revision,
        corrections=old.corrections,
        numbers_frozen=old.numbers_frozen,
        printed=old.printed,
        looks=(*fresh.looks, *(look for look in old.looks if look.id in wanted)),
        plan=_with_decided(fresh, old),
        cues=tuple(cues),
        unplaced=tuple(unplaced),
    )
    same_bars = [bar.start for bar in old.analysis.bars] == [bar.start for bar in song.analysis.bars]
    history, undone = old.history, old.undone
    if revision is None:
        history = tuple(_timeless(entry, match) for entry in history if _can_be_undone(entry, song, same_bars))
        undone = ()
    song = song.replaced(history=history, undone=undone)
    song._stored = old._stored
    before = {cue.id for cue in old.cues}
    told = Rerun(
        kept=tuple(kept),
        new=tuple(cue.id for cue in song.cues if cue.id not in before and cue.id not in kept),
        gone=tuple(cue.id for cue in old.cues if not decided(cue) and all(cue.id != each.id for each in cues)),
        unplaced=tuple(each.cue.id for each in unplaced),
    )
    return song, replace(told, lines=tuple(_told(old, song, told, len(old.history) - len(history), notes)))


def _with_decided(fresh: Song, old: Song) -> tuple[PlannedSection, ...]:
    """Return the fresh plan with what was decided for its sections."""
    decided = {planned.section: planned.decided for planned in old.plan}
    return tuple(replace(planned, decided=decided.get(planned.section)) for planned in fresh.plan)


def _slot(id_: str) -> tuple[str, ...]:
    """Return rule, section and ordinal of a cue's id: what one decision stands for, whatever the category."""
    parts = id_.split("/")
    return (parts[0], parts[1], parts[-1]) if len(parts) == 4 and parts[0] in ("enter", "recall") else (id_,)


def _frozen(song: Song) -> bool:
    return song.numbers_frozen or any(map(decided, _candidates(song)))


def _in_order(cues: Iterable[Cue]) -> list[Cue]:
    ordered = sorted(cues, key=lambda cue: (cue.place.seconds, cue.kind != "recall", cue.number, cue.id))
    return [replace(cue, number=float(number)) for number, cue in enumerate(ordered, 1)]


def _numbered(cues: Iterable[Cue], numbers: dict[str, float]) -> list[Cue]:
    """Keep every number that was given, and put numbers between them for what is new."""
    ordered = sorted(
        (replace(cue, number=numbers.get(cue.id, 0.0)) for cue in cues),
        key=lambda cue: (cue.place.seconds, cue.kind != "recall", cue.number or float("inf"), cue.id),
    )
    taken = sorted(numbers.values())
    result: list[Cue] = []
    index, last = 0, 0.0
    while index < len(ordered):
        cue = ordered[index]
        if cue.number:
            result.append(cue)
            last = cue.number
            index += 1
            continue
        run = index
        while run < len(ordered) and not ordered[run].number:
            run += 1
        above = next((number for number in taken if number > last), None)
        given = between(last, above, run - index)
        result += [replace(each, number=number) for each, number in zip(ordered[index:run], given, strict=True)]
        taken = sorted([*taken, *given])
        last, index = given[-1], run
    return result


def between(low: float, high: float | None, count: int) -> list[float]:
    """Return so many rising numbers between two, with as few digits as will do; whole ones after the last.

    Between 12 and 13 one number is 12.5.
    """
    if high is None:
        return [float(int(low) + step) for step in range(1, count + 1)]
    digits = 0
    while True:
        step = (high - low) / (count + 1)
        found = [round(low + step * (place + 1), digits) for place in range(count)]
        if low < found[0] and found[-1] < high and len(set(found)) == count:
            return [float(number) for number in found]
        digits += 1


def _timeless(entry: HistoryEntry, match: Match) -> HistoryEntry:
    """Leave out what speaks of times in a recording that the song has no longer."""
    if match.kind in ("shifted", "other") and isinstance(entry.inverse, SetCorrections):
        return replace(entry, inverse=replace(entry.inverse, sections=()))
    return entry


def _can_be_undone(entry: HistoryEntry, song: Song, same_bars: bool) -> bool:
    """Whether taking a change back still means what it meant."""
    match entry.edit:
        case SetCue():
            moves = not {"place", "series"}.isdisjoint(entry.edit.changes)
            return (same_bars or not moves) and any(cue.id == entry.edit.cue for cue in song.cues)
        case AddCue():
            return any(cue.id == entry.edit.cue.id for cue in song.cues)
        case RemoveCue():
            return same_bars and all(cue.id != entry.edit.cue for cue in song.cues)
        case SetSection():
            return any(section.id == entry.edit.section for section in song.analysis.sections)
        case _:
            return True


def _told(old: Song, song: Song, rerun: Rerun, forgotten: int, notes: Iterable[str]) -> Iterable[str]:
    yield from notes
    ids = set(rerun.kept)
    kept = Counter(
        "locked" if cue.lock else "noted" if cue.status == "suggested" else cue.status
        for cue in song.cues
        if cue.id in ids
    )
    if kept:
        yield "Kept as you decided: " + ", ".join(f"{count} {what}" for what, count in sorted(kept.items())) + "."
    numbers = {cue.id: f"{cue.number:g}" for cue in (*old.cues, *song.cues)}
    for what, told in (("New", rerun.new), ("No longer suggested", rerun.gone)):
        if told:
            yield f"{what}: {counted(len(told), 'cue')} ({', '.join(numbers[each] for each in told)})."
    for each in song.unplaced:
        cue = each.cue
        yield f"Cue {cue.number:g} ({cue.kind}, {cue.place}) lost its place: {each.why}. It is kept aside."
    if forgotten:
        yield f"{counted(forgotten, 'earlier change')} can no longer be taken back one by one."
