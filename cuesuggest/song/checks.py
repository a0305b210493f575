"""What must hold between the parts of a song, beyond the type of each.

A question may name a cue that was taken out since: it has then less to ask, and is no contradiction.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import fields
from functools import cache
from itertools import pairwise
from typing import Any

from cuesuggest.analysis.types import Bar, SongAnalysis, json_name
from cuesuggest.errors import EditError
from cuesuggest.score.bounds import (
    DAY,
    DEEPEST,
    FASTEST_HEARD,
    FASTEST_STATED,
    LARGEST,
    LEAST_BAR,
    LEAST_BEAT,
    MOST_BARS,
    MOST_BEATS_IN_BAR,
    MOST_CHANGES,
    MOST_CHANNELS,
    MOST_CORRECTIONS,
    MOST_CUES,
    MOST_FADE_BEATS,
    MOST_LISTED,
    MOST_TEXT,
    PAST_THE_END,
    SLOWEST_HEARD,
    SLOWEST_STATED,
)
from cuesuggest.score.deeds import Question
from cuesuggest.score.form_text import read_form
from cuesuggest.score.records import Cue, Look, Place, PlannedSection, Series
from cuesuggest.song.corrections import Correction, DownbeatCorrection, FormCorrection, TempoCorrection
from cuesuggest.song.parts import HistoryEntry
from cuesuggest.song.recording_file import RecordingFile
from cuesuggest.song.wording import MisfitError

__all__ = [
    "check_analysis",
    "check_corrections",
    "check_cues",
    "check_history",
    "check_looks",
    "check_plan",
    "check_questions",
    "check_recording",
    "check_values",
]

# Seconds. Stored times are rounded to 0.1 ms, a duration counted in samples is not.
ROUNDING = 1e-3
_SIGNATURES = frozenset(
    f"{upper}/{lower}" for upper in range(1, MOST_BEATS_IN_BAR + 1) for lower in (1, 2, 4, 8, 16, 32)
)


def check_recording(recording: RecordingFile) -> None:
    """A recording lasts a day at most, and the window lies inside it."""
    _between("recording.duration", recording.duration, 0, DAY)
    _between("recording.channels", recording.channels, 1, MOST_CHANNELS)
    window = recording.window
    if not window.start < window.end <= recording.duration + ROUNDING:
        raise MisfitError(
            "recording.window",
            f"{window.start:g} to {window.end:g} s is not a stretch of the recording, which lasts "
            f"{recording.duration:g} s",
        )


def check_analysis(analysis: SongAnalysis, recording: RecordingFile) -> None:
    """What was heard lies inside the recording, in order, and its parts belong together.

    Bars are numbered upwards; sections have ids of their own and bars that exist; every beat has its confidence.
    """
    if not 0 <= analysis.duration <= recording.duration + ROUNDING:
        raise MisfitError(
            "analysis.duration",
            f"{analysis.duration:g} s is not inside the recording, which lasts {recording.duration:g} s",
        )
    end = recording.duration + PAST_THE_END
    _tempo("analysis.tempo_bpm", analysis.tempo_bpm)
    _between("analysis.meter", analysis.meter, 1, MOST_BEATS_IN_BAR)
    _signature("analysis.time_signature", analysis.time_signature)
    for name in ("music_start", "music_end"):
        _between(f"analysis.{name}", getattr(analysis, name), 0, end)
    _rising("analysis.beats", analysis.beats, end, LEAST_BEAT)
    _rising("analysis.downbeats", analysis.downbeats, end, LEAST_BEAT)
    if len(analysis.beat_confidence) != len(analysis.beats):
        raise MisfitError(
            "analysis.beat_confidence",
            f"has {len(analysis.beat_confidence)} members, but there are {len(analysis.beats)} beats",
        )
    _shares("analysis.beat_confidence", analysis.beat_confidence)
    _rising("analysis.tempo_map", [knot.time for knot in analysis.tempo_map], end)
    for index, knot in enumerate(analysis.tempo_map):
        _tempo(f"analysis.tempo_map[{index}].bpm", knot.bpm)
    for index, other in enumerate(analysis.alternatives):
        _tempo(f"analysis.alternatives[{index}].tempo_bpm", other.tempo_bpm)
    _check_bars(analysis.bars, end)
    _check_sections(analysis, end)
    for index, event in enumerate(analysis.events):
        _span(f"analysis.events[{index}]", event.start, event.end, 0, end)
        _between(f"analysis.events[{index}].confidence", event.confidence, 0, 1)


def _check_bars(bars: Sequence[Bar], end: float) -> None:
    _few("analysis.bars", bars, MOST_BARS)
    last, number = 0.0, -MOST_BARS
    for index, bar in enumerate(bars):
        path = f"analysis.bars[{index}]"
        if bar.number <= number:
            raise MisfitError(f"{path}.number", f"bar {bar.number} comes after bar {number}; numbers must rise")
        if not (last <= bar.start <= bar.end - LEAST_BEAT and bar.end <= end):
            _span(path, bar.start, bar.end, last, end)
            raise MisfitError(f"{path}.end", f"{bar.end:g} s leaves no time for a bar that starts at {bar.start:g} s")
        if not 1 <= bar.beats <= MOST_BEATS_IN_BAR:
            _between(f"{path}.beats", bar.beats, 1, MOST_BEATS_IN_BAR)
        _signature(f"{path}.time_signature", bar.time_signature)
        if not (0 <= bar.drive <= 1 and 0 <= bar.confidence <= 1 and 0 <= (bar.voice or 0) <= 1):
            for name in ("drive", "confidence", "voice"):
                _between(f"{path}.{name}", getattr(bar, name), 0, 1)
        number, last = bar.number, bar.start
    if number > MOST_BARS:
        raise MisfitError(f"analysis.bars[{len(bars) - 1}].number", f"must be {MOST_BARS} or less, not {number}")


def _check_sections(analysis: SongAnalysis, end: float) -> None:
    _unique("analysis.sections", "id", [section.id for section in analysis.sections])
    known = frozenset(bar.number for bar in analysis.bars)
    after: int | None = None
    for index, section in enumerate(analysis.sections):
        path = f"analysis.sections[{index}]"
        for name in ("first_bar", "last_bar"):
            _bar(f"{path}.{name}", getattr(section, name), known)
        if section.first_bar > section.last_bar:
            raise MisfitError(f"{path}.last_bar", "comes before the section's first bar")
        if after is not None and section.first_bar <= after:
            raise MisfitError(f"{path}.first_bar", f"bar {section.first_bar} belongs to the section before")
        after = section.last_bar
        _span(path, section.start, section.end, 0, end)
        _between(f"{path}.confidence", section.confidence, 0, 1)
        for number, turn in enumerate(section.turns):
            _between(f"{path}.turns[{number}]", turn, 0, end)


def check_corrections(corrections: Sequence[Correction]) -> None:
    """A tempo holds from an earlier time to a later one; one form at most is stated, and it can be read."""
    forms = [index for index, correction in enumerate(corrections) if isinstance(correction, FormCorrection)]
    if len(forms) > 1:
        raise MisfitError(f"corrections[{forms[1]}]", f"corrections[{forms[0]}] states the form already")
    _few("corrections", corrections, MOST_CORRECTIONS)
    lines = sorted((each.time, index) for index, each in enumerate(corrections) if isinstance(each, DownbeatCorrection))
    for (before, _), (after, index) in pairwise(lines):
        if after - before < LEAST_BAR - ROUNDING:
            raise MisfitError(f"corrections[{index}].time", f"{after:g} s is too near to the bar line at {before:g} s")
    for index, correction in enumerate(corrections):
        for name in ("time", "from_", "to"):
            _between(f"corrections[{index}].{json_name(name)}", getattr(correction, name, None), 0, DAY)
        if isinstance(correction, TempoCorrection):
            _between(f"corrections[{index}].bpm", correction.bpm, SLOWEST_STATED, FASTEST_STATED)
        if isinstance(correction, TempoCorrection) and not correction.from_ < correction.to:
            raise MisfitError(
                f"corrections[{index}].to",
                f"{correction.to:g} s does not come after {correction.from_:g} s, where the tempo starts",
            )
        if isinstance(correction, FormCorrection):
            try:
                parts = read_form(correction.text).parts
            except EditError as error:
                raise MisfitError(f"corrections[{index}].text", str(error)) from None
            starts = correction.starts
            if starts and (len(starts) != len(parts) or any(b <= a for a, b in pairwise(starts))):
                raise MisfitError(
                    f"corrections[{index}].starts", f"must be {len(parts)} rising times, one for each part of the form"
                )


def check_looks(looks: Sequence[Look]) -> None:
    """Looks have ids of their own, levels in percent, and times that a motion can have."""
    _few("looks", looks, MOST_CUES)
    _unique("looks", "id", [look.id for look in looks])
    for index, look in enumerate(looks):
        _between(f"looks[{index}].level_ceiling", look.level_ceiling, 0, 100)
        for name in ("cycle_bars", "cycle_seconds"):
            value = getattr(look, name)
            _between(f"looks[{index}].{name}", value, 0, DAY)
            if value == 0:
                raise MisfitError(f"looks[{index}].{name}", "must be above 0, not 0")
        _between(f"looks[{index}].peak_after", look.peak_after, 0, DAY)


def check_history(path: str, entries: Sequence[HistoryEntry]) -> None:
    """Only so many changes can be taken back."""
    _few(path, entries, MOST_CHANGES)


def check_questions(questions: Sequence[Question], recording: RecordingFile) -> None:
    """Questions are heard inside the recording."""
    _few("questions", questions, MOST_CUES)
    for index, question in enumerate(questions):
        _between(f"questions[{index}].listen_at", question.listen_at, 0, recording.duration + PAST_THE_END)


def check_plan(plan: Sequence[PlannedSection], analysis: SongAnalysis, looks: Sequence[Look]) -> None:
    """The plan speaks of sections and looks that exist."""
    sections = frozenset(section.id for section in analysis.sections)
    _unique("plan", "section", [planned.section for planned in plan])
    for index, planned in enumerate(plan):
        path = f"plan[{index}]"
        if planned.section not in sections:
            raise MisfitError(f"{path}.section", f"there is no section with the id {planned.section!r}")
        _look(f"{path}.look", planned.look, looks)
        _between(f"{path}.level", planned.level, 0, 100)


def check_cues(cues: Sequence[Cue], recording: RecordingFile, analysis: SongAnalysis, looks: Sequence[Look]) -> None:
    """Cues have ids and numbers of their own, looks and bars that exist, levels in percent."""
    _few("cues", cues, MOST_CUES)
    _unique("cues", "id", [cue.id for cue in cues])
    _unique("cues", "number", [cue.number for cue in cues])
    bars = frozenset(bar.number for bar in analysis.bars)
    place = _place_check(recording, analysis)
    for index, cue in enumerate(cues):
        path = f"cues[{index}]"
        if not cue.id:
            raise MisfitError(f"{path}.id", "must not be empty")
        if cue.number <= 0:
            raise MisfitError(f"{path}.number", f"must be above 0, not {cue.number:g}")
        place(f"{path}.place", cue.place)
        _look(f"{path}.look", cue.look, looks)
        _between(f"{path}.level", cue.level, 0, 100)
        _between(f"{path}.confidence", cue.confidence, 0, 1)
        for name in ("up_beats", "down_beats"):
            _between(f"{path}.{name}", getattr(cue, name), 0, MOST_FADE_BEATS)
        for name in ("up_seconds", "down_seconds", "cycle_seconds", "cycle_bars", "dark_by"):
            _between(f"{path}.{name}", getattr(cue, name), 0, DAY)
        if cue.series is not None:
            _series(f"{path}.series", cue.series, bars)


def check_values(value: Any, path: str = "", depth: int = 0) -> None:
    """Every number is finite and of a size that means something; every text and list has a length that can be read."""
    # Most values are texts and numbers: they are asked first, and by their very type.
    kind = type(value)
    if kind is float:
        if not -LARGEST <= value <= LARGEST:
            raise MisfitError(path, _number_too_large(value) if math.isfinite(value) else "must be a finite number")
    elif kind is str:
        if len(value) > MOST_TEXT:
            raise MisfitError(path, f"has {len(value)} characters; at most {MOST_TEXT} are read")
    elif kind is int:
        if not -LARGEST <= value <= LARGEST:
            raise MisfitError(path, _number_too_large(value))
    elif value is None or kind is bool:
        return
    elif depth > DEEPEST:
        raise MisfitError(path, f"is more than {DEEPEST} levels deep")
    elif kind is tuple or kind is list:
        if len(value) > MOST_LISTED:
            raise MisfitError(path, f"has {len(value)} members; at most {MOST_LISTED} are read")
        if not _all_small(value):
            for index, each in enumerate(value):
                check_values(each, f"{path}[{index}]", depth + 1)
    elif kind is dict:
        for key, each in value.items():
            check_values(key, f"a name in {path}")
            check_values(each, f"{path}.{key}", depth + 1)
    else:
        for name, written in _names(kind):  # type: ignore[arg-type]
            check_values(getattr(value, name), f"{path}.{written}", depth + 1)


def _all_small(values: Sequence[Any]) -> bool:
    """Whether all are numbers within bounds, which is found out quickly."""
    return all(type(each) is float for each in values) and (
        not values or (min(values) >= -LARGEST and max(values) <= LARGEST and math.isfinite(sum(values)))
    )


@cache
def _names(kind: type) -> tuple[tuple[str, str], ...]:
    """Return the fields of a record, by their names and as a document has them."""
    return tuple((each.name, json_name(each.name)) for each in fields(kind))


def _number_too_large(value: float) -> str:
    return f"must be a number from {-LARGEST:g} to {LARGEST:g}"


def _place_check(recording: RecordingFile, analysis: SongAnalysis) -> Callable[[str, Place], None]:
    beats_of = {bar.number: bar.beats for bar in analysis.bars}
    labels = frozenset(section.label for section in analysis.sections)

    def check(path: str, place: Place) -> None:
        if not 0 <= place.seconds <= recording.duration + ROUNDING:
            raise MisfitError(
                f"{path}.seconds",
                f"{place.seconds:g} s is not inside the recording, which lasts {recording.duration:g} s",
            )
        if place.section is not None and place.section not in labels:
            raise MisfitError(f"{path}.section", f"there is no section {place.section!r}")
        if place.bar is None:
            if place.beat is not None:
                raise MisfitError(f"{path}.beat", "there is a beat but no bar; give both or neither")
            return
        _bar(f"{path}.bar", place.bar, beats_of)
        beats = beats_of[place.bar]
        if place.beat is None or not 1 <= place.beat < beats + 1:
            raise MisfitError(
                f"{path}.beat",
                f"bar {place.bar} has the beats 1 to {beats}, there is no beat "
                f"{'null' if place.beat is None else format(place.beat, 'g')} in it",
            )

    return check


def _series(path: str, series: Series, bars: frozenset[int]) -> None:
    _between(f"{path}.every_bars", series.every_bars, 1, math.inf)
    _bar(f"{path}.first_bar", series.first_bar, bars)
    _bar(f"{path}.last_bar", series.last_bar, bars)
    if series.first_bar > series.last_bar:
        raise MisfitError(f"{path}.last_bar", f"bar {series.last_bar} comes before the first, bar {series.first_bar}")


def _bar(path: str, number: int, known: Iterable[int]) -> None:
    known = known if isinstance(known, dict | frozenset) else frozenset(known)
    if number not in known:
        has = f"the song has bars {min(known)} to {max(known)}" if known else "the song has no bars"
        raise MisfitError(path, f"there is no bar {number}; {has}")


def _look(path: str, look: str | None, looks: Sequence[Look]) -> None:
    if look is not None and all(each.id != look for each in looks):
        raise MisfitError(path, f"there is no look with the id {look!r}")


def _rising(path: str, times: Sequence[float], end: float, apart: float = 0.0) -> None:
    """Times come one after the other, inside the recording."""
    if times and not (times[0] >= 0 and times[-1] <= end and all(b - a >= apart for a, b in pairwise(times))):
        for index, (before, after) in enumerate(pairwise((-math.inf, *times))):
            _between(f"{path}[{index}]", after, 0, end)
            if after - before < apart:
                raise MisfitError(f"{path}[{index}]", f"{after:g} s comes after {before:g} s; times must rise")


def _span(path: str, start: float, end: float, low: float, high: float) -> None:
    """A stretch of time lies between two others."""
    _between(f"{path}.start", start, low, high)
    _between(f"{path}.end", end, 0, high)
    if end < start:
        raise MisfitError(f"{path}.end", f"{end:g} s comes before {start:g} s, where it starts")


def _tempo(path: str, bpm: float | None) -> None:
    _between(path, bpm, SLOWEST_HEARD, FASTEST_HEARD)


def _signature(path: str, signature: str | None) -> None:
    if signature is not None and signature not in _SIGNATURES:
        raise MisfitError(path, f"{signature[:20]!r} is no time signature such as '4/4'")


def _shares(path: str, values: Sequence[float]) -> None:
    if values and not (min(values) >= 0 and max(values) <= 1):
        for index, value in enumerate(values):
            _between(f"{path}[{index}]", value, 0, 1)


def _few(path: str, values: Sequence[object], most: int) -> None:
    if len(values) > most:
        raise MisfitError(path, f"has {len(values)} members; at most {most} are read")


def _between(path: str, value: float | None, low: float, high: float) -> None:
    if value is not None and not low <= value <= high:
        limit = f"{low:g} or more" if high == math.inf else f"{low:g} to {high:g}"
        raise MisfitError(path, f"must be {limit}, not {value:g}")


def _unique(path: str, name: str, values: Sequence[object]) -> None:
    first: dict[object, int] = {}
    for index, value in enumerate(values):
        if value in first:
            shown = format(value, "g") if isinstance(value, float) else repr(value)
            raise MisfitError(f"{path}[{index}].{name}", f"{shown} is taken by {path}[{first[value]}] already")
        first[value] = index
