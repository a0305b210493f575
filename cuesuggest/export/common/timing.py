"""From seconds of the recording to the time that a show runs by: offset, landmark, timecode.

Counting of timecode as in SMPTE ST 12-1; rates are exact fractions, since 29.97 is not 30000/1001.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import groupby
from typing import TYPE_CHECKING

from cuesuggest.errors import CuesuggestError
from cuesuggest.export.common.escape import number_text
from cuesuggest.score.bounds import DAY
from cuesuggest.score.grid import Grid
from cuesuggest.score.light import SideState, follow, presses
from cuesuggest.score.records import Cue, counted

if TYPE_CHECKING:
    from cuesuggest.song import Song

__all__ = [
    "RATES",
    "Rate",
    "Timing",
    "before_start",
    "cues_in_time",
    "in_time",
    "landmark_offset",
    "landmark_place",
]

# SMPTE ST 12-1: with drop-frame, labels ;00 and ;01 are left out in every minute but each tenth.
_PER_10_MINUTES, _PER_MINUTE, _SKIPPED = 17982, 1798, 2
_LABEL = re.compile(r"(\d{1,2})[:.](\d{1,2})[:.](\d{1,2})([:;.,])(\d{1,2})")
_LANDMARK = re.compile(
    r"\s*(?:(?P<section>[A-Za-z]'*)(?P<pass>\d{1,9})\s*,?\s+)?bar\s+(?P<bar>-?\d{1,9})(?:\s*,?\s*beat\s+(?P<beat>\d{1,9}(?:\.\d{1,9})?))?"
    r"\s*=\s*(?:(?:(?P<h>\d{1,2}):)?(?P<m>\d{1,3}):)?(?P<s>\d{1,9}(?:\.\d{0,9})?)\s*"
)


@dataclass(frozen=True, slots=True)
class Rate:
    """One way to count frames."""

    name: str
    exact: Fraction
    """Frames in a second of the clock."""
    labels: int
    """Frame labels in a second of the label."""
    drop: bool = False

    @property
    def per_day(self) -> int:
        """Labels in 24 hours, after which they begin again."""
        return 144 * _PER_10_MINUTES if self.drop else 86400 * self.labels

    def frames(self, seconds: float) -> int:
        """Count the frames from 0 to the one that starts nearest to a time; a tie goes to the later."""
        return math.floor(Fraction(seconds) * self.exact + Fraction(1, 2))

    def seconds(self, frame: int) -> float:
        """Seconds at which a frame starts."""
        return float(frame / self.exact)

    def fields(self, frame: int) -> tuple[int, int, int, int]:
        """Hours, minutes, seconds and frames of a count, which begins again after 24 hours."""
        frame %= self.per_day
        if self.drop:
            tens, inside = divmod(frame, _PER_10_MINUTES)
            frame += 9 * _SKIPPED * tens
            if inside >= _SKIPPED:
                frame += _SKIPPED * ((inside - _SKIPPED) // _PER_MINUTE)
        whole, frames = divmod(frame, self.labels)
        return whole // 3600, whole // 60 % 60, whole % 60, frames

    def label(self, frame: int) -> str:
        """HH:MM:SS:FF, with a semicolon before the frames where labels are dropped."""
        hours, minutes, seconds, frames = self.fields(frame)
        return f"{hours:02d}:{minutes:02d}:{seconds:02d}{';' if self.drop else ':'}{frames:02d}"

    def count(self, hours: int, minutes: int, seconds: int, frames: int) -> int:
        """Count the frames from 00:00:00:00 to a label.

        Raises
        ------
        ValueError
            If there is no such label; the message is a sentence.
        """
        if not (0 <= hours < 24 and 0 <= minutes < 60 and 0 <= seconds < 60 and 0 <= frames < self.labels):
            raise ValueError(
                f"A timecode at {self.name} goes from 00:00:00 frame 00 to 23:59:59 frame {self.labels - 1}."
            )
        total = 60 * hours + minutes
        if self.drop and seconds == 0 and frames < _SKIPPED and minutes % 10:
            raise ValueError(
                f"Drop-frame counting leaves out {hours:02d}:{minutes:02d}:00;{frames:02d}; "
                f"the first label of that minute is {hours:02d}:{minutes:02d}:00;02."
            )
        count = (60 * total + seconds) * self.labels + frames
        return count - _SKIPPED * (total - total // 10) if self.drop else count

    def parse(self, label: str) -> int:
        """Count the frames to a label as people write it, 01:00:00:00.

        Raises
        ------
        CuesuggestError
            If it is no label, or one that this rate leaves out.
        """
        found = _LABEL.fullmatch(label.strip())
        if not found:
            raise CuesuggestError(f"{label!r} is no timecode. Write hours, minutes, seconds and frames: 01:00:00:00.")
        hours, minutes, seconds, _, frames = found.groups()
        try:
            return self.count(int(hours), int(minutes), int(seconds), int(frames))
        except ValueError as error:
            raise CuesuggestError(f"{label!r} is no timecode at {self.name} frames a second. {error}") from None


RATES: dict[str, Rate] = {
    each.name: each
    for each in (
        Rate("24", Fraction(24), 24),
        Rate("25", Fraction(25), 25),
        Rate("29.97df", Fraction(30000, 1001), 30, drop=True),
        Rate("29.97", Fraction(30000, 1001), 30),
        Rate("30", Fraction(30), 30),
    )
}


@dataclass(frozen=True, slots=True)
class Timing:
    """How the time of the show follows from that of the recording."""

    offset: float = 0.0
    """Seconds that a moment comes later in the show's file than in the recording; negative if earlier."""
    rate: Rate = RATES["25"]
    start: str = "01:00:00:00"
    """Timecode at the show's second 0; that hour is common practice, so that there is room before it."""
    opens: float = 0.0
    """Second of the show before which a file has no room."""

    def of_recording(self) -> Timing:
        """The same for a file that keeps the times of the recording."""
        return replace(self, offset=0.0)

    def without_start(self) -> Timing:
        """The same for a file that does not run in time, and so has room for all of the recording."""
        return replace(self, opens=min(self.show(0.0), 0.0))

    def show(self, seconds: float) -> float:
        """Seconds of the show at a second of the recording, to 0.1 ms."""
        return round(seconds + self.offset, 4)

    def frame(self, seconds: float) -> int:
        """Frames from 00:00:00:00 to the one nearest to a second of the recording."""
        return self.rate.parse(self.start) + self.rate.frames(self.show(seconds))

    def label(self, seconds: float) -> str:
        """Timecode at a second of the recording."""
        return self.rate.label(self.frame(seconds))

    def __str__(self) -> str:
        """Tell the offset in words, for the head of a file."""
        if not self.offset:
            return "times as in the recording"
        way = "later" if self.offset > 0 else "earlier"
        return f"times {number_text(abs(self.offset))} s {way} than in the recording"


def cues_in_time(song: Song, timing: Timing) -> tuple[list[Cue], list[Cue]]:
    """Part the cues that stand into those that the show's time has room for and those before its second 0.

    A look that is set up before it, and is still, stands at second 0; of a series the presses from there on are left.

    Returns
    -------
    inside, before : list of Cue
        Without rejected ones, in order of time and number.
    """
    standing = [cue for cue in song.cues if cue.status != "rejected"]
    standing.sort(key=lambda cue: (cue.place.seconds, cue.number))
    grid = Grid(song.analysis)
    early = [cue for cue in standing if timing.show(presses(cue, grid)[-1]) < timing.opens]
    kept = {cue.id for cue in _still_set_up(early, grid)}
    before = [cue for cue in early if cue.id not in kept]
    left_out = {cue.id for cue in before}
    return [cue for cue in standing if cue.id not in left_out], before


def in_time(cue: Cue, seconds: float, timing: Timing) -> bool:
    """Whether the show's time has room for a press of a cue that `cues_in_time` has inside."""
    return cue.kind == "recall" or timing.show(seconds) >= timing.opens


def before_start(song: Song, timing: Timing) -> tuple[str, ...]:
    """Say what comes of the cues before second 0 of the show: which are left out, which stand there.

    Returns
    -------
    tuple of str
        Sentences; none where there are no such cues.
    """
    inside, before = cues_in_time(song, timing)
    grid = Grid(song.analysis)
    early = [cue for cue in inside if timing.show(cue.place.seconds) < timing.opens]
    said = (
        ("before second 0 of the show left out", before),
        ("from before second 0 of the show told at it", [cue for cue in early if cue.kind == "recall"]),
        ("told from second 0 of the show on only", [cue for cue in early if len(presses(cue, grid)) > 1]),
    )
    every = sorted(cue.number for cue in (*inside, *before))
    return tuple(
        f"{counted(len(cues), 'cue')} {what}: {_runs_of({cue.number for cue in cues}, every)}."
        for what, cues in said
        if cues
    )


def _runs_of(numbers: set[float], every: list[float]) -> str:
    """Name the numbers of some cues among all of them: "1 to 12, 14"."""
    found = []
    for chosen, run in groupby(every, key=lambda number: number in numbers):
        names = [number_text(number) for number in run] if chosen else []
        found += names if len(names) < 3 else [f"{names[0]} to {names[-1]}"]
    return ", ".join(found)


def _still_set_up(cues: list[Cue], grid: Grid) -> list[Cue]:
    """Find the cues that set up looks which no later one of these has replaced or taken out."""
    found: dict[str, Cue] = {}
    for step in follow(cues, grid=grid):
        if step.cue.kind == "recall":
            found[step.cue.side or ""] = step.cue
        for side, cue in list(found.items()):
            went_out = step.before.get(side, SideState()).lit and not step.after[side].lit
            if went_out or step.after[side].look != cue.look:
                del found[side]
    return list(found.values())


def landmark_offset(song: Song, landmark: str) -> float:
    """Work out the offset from one place of the song and when it comes in the show.

    Parameters
    ----------
    song : Song
    landmark : str
        Such as "B1 bar 1 = 0:43.2" or "bar 33 beat 3 = 75.5".

    Returns
    -------
    float
        Seconds.

    Raises
    ------
    CuesuggestError
        If it is not written so, there is no such place, or it is more than a day off.
    """
    found = _LANDMARK.fullmatch(landmark)
    if not found:
        raise CuesuggestError(
            f"{landmark[:60]!r} is no landmark. Write a place of the song, an equals sign and when it comes: "
            "'B1 bar 1 = 0:43.2' or 'bar 33 = 75.5'."
        )
    seconds = 3600 * int(found["h"] or 0) + 60 * int(found["m"] or 0) + float(found["s"])
    offset = round(seconds - _place_seconds(song, found), 4)
    if abs(offset) > DAY:
        raise CuesuggestError(f"{landmark!r} is more than a day from where the song has it. Give a time within a day.")
    return offset


def landmark_place(landmark: str) -> str:
    """The place alone, as it was written, for the check line of a page."""
    return landmark.partition("=")[0].strip()


def _place_seconds(song: Song, found: re.Match[str]) -> float:
    number = int(found["bar"])
    if found["section"]:
        label, pass_ = found["section"].upper(), int(found["pass"])
        section = next((each for each in song.analysis.sections if (each.label, each.pass_) == (label, pass_)), None)
        if section is None:
            known = " ".join(each.mark for each in song.analysis.sections) or "none"
            raise CuesuggestError(f"The song has no section {label}{pass_}; its sections are: {known}. Name one.")
        if not 1 <= number <= section.bars:
            raise CuesuggestError(f"{label}{pass_} has the bars 1 to {section.bars}, there is no bar {number} in it.")
        number += section.first_bar - 1
    bar = next((each for each in song.analysis.bars if each.number == number), None)
    if bar is None:
        bars = [each.number for each in song.analysis.bars]
        has = f"it has the bars {bars[0]} to {bars[-1]}" if bars else "it has no bars"
        raise CuesuggestError(f"The song has no bar {number}; {has}. Name one of them in the landmark.")
    beat = float(found["beat"] or 1)
    if not 1 <= beat < bar.beats + 1:
        raise CuesuggestError(f"Bar {number} has the beats 1 to {bar.beats}, there is no beat {beat:g} in it.")
    return Grid(song.analysis).place(number, beat).seconds
