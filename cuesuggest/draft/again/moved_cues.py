"""Where the places of an old hearing lie in a new one, and cues moved there."""

from __future__ import annotations

from dataclasses import replace

from cuesuggest.analysis.types import Section, SongAnalysis
from cuesuggest.draft.again.same_sound import Match
from cuesuggest.score.grid import Grid
from cuesuggest.score.light import beats_seconds
from cuesuggest.score.records import Cue, Place, Series

__all__ = ["Mover"]

_SAME_MOMENT = 0.04  # s


class Mover:
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
        if self._match.take is not None:
            return self._match.take.place(place)
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
        shift, last = ends[0] - series.first_bar, max(ends)
        skip = tuple(number + shift for number in series.skip if number + shift <= last)
        return replace(series, first_bar=ends[0], last_bar=last, skip=skip)

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
        elsewhere = abs(place.seconds - cue.place.seconds) > 1e-3
        up, down = (
            beats_seconds(self._grid, place, cue.anchor, beats) if beats and elsewhere else seconds
            for beats, seconds in ((cue.up_beats, cue.up_seconds), (cue.down_beats, cue.down_seconds))
        )
        dark_by = None if cue.dark_by is None else round(cue.dark_by + place.seconds - cue.place.seconds, 4)
        round_ = cue.cycle_seconds
        if round_ and cue.cycle_bars and self._match.take is not None:
            # At another tempo, so many bars are another time.
            was = self._old.bar_seconds(cue.place.seconds)
            round_ = round(round_ * self._grid.bar_seconds(place.seconds) / was, 4)
        return replace(
            cue, place=place, series=series, up_seconds=up, down_seconds=down, dark_by=dark_by, cycle_seconds=round_
        )
