"""The reading of a take's beats and bars that agrees with another take's, as facts to be stated."""

from __future__ import annotations

from collections import Counter
from typing import TYPE_CHECKING

import numpy as np

from cuesuggest.analysis.form import Part
from cuesuggest.analysis.types import Section, SongAnalysis
from cuesuggest.score.form_text import form_text
from cuesuggest.song import (
    BarOneCorrection,
    Correction,
    DownbeatCorrection,
    FormCorrection,
    TempoCorrection,
    TimeSignatureCorrection,
)

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from cuesuggest.analysis.takes.align import Aligned
    from cuesuggest.draft.again.other_take import Passage

__all__ = ["bars_as_in", "form_as_in"]

_USUAL = 0.9  # of the bars: a time signature that more have is the song's
_SURE = 0.9  # of a beat that is to say where a bar starts
_RUN = 3  # bars in a row that start elsewhere; fewer are a slip of one of the takes
_ON_BEAT = 0.35  # of a beat


def bars_as_in(old: SongAnalysis, new: SongAnalysis, aligned: Aligned) -> tuple[Correction, ...]:
    """Return what has to be stated of a new take so that its bars are counted as the old take's.

    Parameters
    ----------
    old : SongAnalysis
        With the bars that hold.
    new : SongAnalysis
    aligned : Aligned
        The new take, as it was heard, on the beats of the old.

    Returns
    -------
    tuple of Correction
        Empty where both are counted alike.
    """
    start, end = round(float(aligned.second[0]), 4), new.duration
    facts: list[Correction] = []
    if aligned.factor != 1:
        bpm = round(60 / float(np.median(np.diff(aligned.second))), 2)
        facts.append(TempoCorrection(bpm, max(start - 1, 0.0), end))
    usual, share = _usual(old)
    if usual is not None and share >= _USUAL and _usual(new)[0] != usual:
        facts.append(TimeSignatureCorrection(usual, max(start - 1, 0.0)))
    if facts:  # bar lines are compared once bars are of one length
        return tuple(facts)
    lines = _lines(old, aligned)
    facts += [DownbeatCorrection(round(time, 4)) for time in _elsewhere(lines, new, aligned)]
    first = next((bar.start for bar in old.bars if bar.number == 1), None)
    if first is not None and not facts:
        at = next((time for was, time in lines if abs(was - first) < 1e-3), None)
        heard = next((bar.start for bar in new.bars if bar.number == 1), None)
        if at is not None and (heard is None or abs(heard - at) > _ON_BEAT * _beat(aligned)):
            facts.append(BarOneCorrection(round(at, 4)))
    return tuple(facts)


def _usual(analysis: SongAnalysis) -> tuple[str | None, float]:
    """Return the most common time signature and the share of the bars that have it."""
    signatures = Counter(bar.time_signature for bar in analysis.bars if bar.number >= 1)
    if not signatures:
        return None, 0.0
    name, count = signatures.most_common(1)[0]
    return name, count / signatures.total()


def _beat(aligned: Aligned) -> float:
    return float(np.median(np.diff(aligned.second)))


def _lines(old: SongAnalysis, aligned: Aligned) -> list[tuple[float, float]]:
    """Return the old take's bar lines that lie surely in the new one, with the time there, in its order."""
    starts = np.array([bar.start for bar in old.bars])
    if not len(starts):
        return []
    length = float(np.median(np.diff(aligned.first)))
    found = []
    for step in np.flatnonzero((aligned.way >= 0) & (aligned.sure >= _SURE)):
        time = aligned.first[aligned.way[step]]
        near = int(np.abs(starts - time).argmin())
        if abs(starts[near] - time) < _ON_BEAT * length:
            found.append((float(starts[near]), float(aligned.second[step])))
    return found


def _elsewhere(lines: list[tuple[float, float]], new: SongAnalysis, aligned: Aligned) -> Iterable[float]:
    """Yield one bar line of each run of bars that start elsewhere in the new take."""
    heard, beat = np.array([bar.start for bar in new.bars]), _beat(aligned)
    run: list[float] = []
    for _, time in [*lines, (0.0, -1.0)]:
        if time >= 0 and (not len(heard) or np.abs(heard - time).min() > _ON_BEAT * beat):
            run.append(time)
            continue
        if len(run) >= _RUN:
            yield run[len(run) // 2]
        run = []


def form_as_in(stretches: Sequence[Passage], old: Sequence[Section]) -> FormCorrection | None:
    """State the parts of a new take in letters: those of the old take's sections, new ones for what it has not.

    Parameters
    ----------
    stretches : sequence of Passage
        Of the new take.
    old : sequence of Section
        Of the old take.

    Returns
    -------
    FormCorrection or None
        None where no form can be stated.
    """
    from cuesuggest.analysis.form import letter, letter_index

    if not stretches or any(letter_index(section.family) is None for section in old):
        return None
    used = max((letter_index(section.family) or 0 for section in old), default=-1)
    parts, starts = [], []
    for stretch in stretches:
        if stretch.section is None:
            used += 1
        called = letter(used) if stretch.section is None else stretch.section.family
        parts.append(Part(called, len(stretch.bars)))
        starts.append(stretch.bars[0].start)
    return FormCorrection(form_text(parts), tuple(starts))
