"""What must hold between the parts of a song, beyond the type of each.

A question may name a cue that was taken out since: it has then less to ask, and is no contradiction.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import fields, is_dataclass
from itertools import pairwise
from typing import Any

from cuesuggest.analysis.types import SongAnalysis, json_name
from cuesuggest.errors import EditError
from cuesuggest.score.form_text import read_form
from cuesuggest.score.records import Cue, Look, Place, PlannedSection, Series
from cuesuggest.song.corrections import Correction, FormCorrection, TempoCorrection
from cuesuggest.song.parts import RecordingFile
from cuesuggest.song.wording import MisfitError

__all__ = [
    "check_analysis",
    "check_corrections",
    "check_cues",
    "check_finite",
    "check_looks",
    "check_plan",
    "check_recording",
]

# Seconds. Stored times are rounded to 0.1 ms, a duration counted in samples is not.
ROUNDING = 1e-3


def check_recording(recording: RecordingFile) -> None:
    """The window lies inside the recording."""
    window = recording.window
    if not window.start < window.end <= recording.duration + ROUNDING:
        raise MisfitError(
            "recording.window",
            f"{window.start:g} to {window.end:g} s is not a stretch of the recording, which lasts "
            f"{recording.duration:g} s",
        )


def check_analysis(analysis: SongAnalysis) -> None:
    """Bars are numbered upwards, sections have ids of their own and bars that exist."""
    numbers = [bar.number for bar in analysis.bars]
    for index in range(1, len(numbers)):
        if numbers[index] <= numbers[index - 1]:
            raise MisfitError(
                f"analysis.bars[{index}].number",
                f"bar {numbers[index]} comes after bar {numbers[index - 1]}; numbers must rise",
            )
    _unique("analysis.sections", "id", [section.id for section in analysis.sections])
    known = frozenset(numbers)
    for index, section in enumerate(analysis.sections):
        for name in ("first_bar", "last_bar"):
            _bar(f"analysis.sections[{index}].{name}", getattr(section, name), known)
        if section.first_bar > section.last_bar:
            raise MisfitError(f"analysis.sections[{index}].last_bar", "comes before the section's first bar")


def check_corrections(corrections: Sequence[Correction]) -> None:
    """A tempo holds from an earlier time to a later one; one form at most is stated, and it can be read."""
    forms = [index for index, correction in enumerate(corrections) if isinstance(correction, FormCorrection)]
    if len(forms) > 1:
        raise MisfitError(f"corrections[{forms[1]}]", f"corrections[{forms[0]}] states the form already")
    for index, correction in enumerate(corrections):
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
    """Looks have ids of their own and levels in percent."""
    _unique("looks", "id", [look.id for look in looks])
    for index, look in enumerate(looks):
        _between(f"looks[{index}].level_ceiling", look.level_ceiling, 0, 100)


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
        for name in ("up_beats", "up_seconds", "down_beats", "down_seconds", "cycle_seconds"):
            _between(f"{path}.{name}", getattr(cue, name), 0, math.inf)
        if cue.series is not None:
            _series(f"{path}.series", cue.series, bars)


def check_finite(value: Any, path: str = "") -> None:
    """Every number is one: infinity is not a time and has no spelling in JSON."""
    if isinstance(value, float):
        if not math.isfinite(value):
            raise MisfitError(path, "must be a finite number")
    elif is_dataclass(value):
        for each in fields(value):
            name = json_name(each.name)
            check_finite(getattr(value, each.name), f"{path}.{name}" if path else name)
    elif isinstance(value, dict):
        for key, each in value.items():
            check_finite(each, f"{path}.{key}" if path else str(key))
    elif isinstance(value, list | tuple):
        for index, each in enumerate(value):
            check_finite(each, f"{path}[{index}]")


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
