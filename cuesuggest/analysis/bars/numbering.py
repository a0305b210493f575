"""Beats laid out as numbered bars: which bar is the first, what was counted in, where the music starts and ends."""

from __future__ import annotations

import math
from dataclasses import replace
from itertools import pairwise

import numpy as np

from cuesuggest.analysis.bars.attempts import attempts
from cuesuggest.analysis.bars.count_in import Count, counts, lead_in
from cuesuggest.analysis.bars.edges import last_attack, loud_level, music_end, music_limit, music_start
from cuesuggest.analysis.finding.likely import probability
from cuesuggest.analysis.finding.scene import Candidate, Scene
from cuesuggest.analysis.finding.talk_signs import hear_around
from cuesuggest.analysis.frames import HEADS
from cuesuggest.analysis.rhythm import Rhythm
from cuesuggest.analysis.rhythm.beat_confidence import bar_features, beat_features, confidences
from cuesuggest.analysis.rhythm.beat_grid import BeatGrid
from cuesuggest.analysis.rhythm.known import Known
from cuesuggest.analysis.rhythm.tempo import tempo_knots
from cuesuggest.analysis.spectrum import FRAME_RATE, Spectrum
from cuesuggest.analysis.types import TempoKnot

__all__ = ["NumberedBars", "first_stated", "possible_counts"]

_SAME_BAR = 0.1  # s from a stated bar 1 to the bar that is meant
_ROUNDING = 1e-3  # s
_APART = 0.25  # s; beats of two attempts are no closer
_LEAST_SURE = 0.5
_LEAST_TOLD = 0.2  # of a false start: so much is worth a question
_LONE_BEAT_BPM = 112.0  # where a single beat is stated and nothing heard


class NumberedBars:
    """Beats laid out as numbered bars; what lies before, between and after them."""

    def __init__(self, spectrum: Spectrum, rhythm: Rhythm, known: Known | None) -> None:
        known = known or Known()
        bar_one = known.bar_one
        self.broken_off = [] if bar_one is not None else _broken_off(spectrum, rhythm, first_stated(known))
        before = [each for each, confidence in self.broken_off if confidence >= _LEAST_SURE]
        earliest = before[-1].end if before else spectrum.start
        rhythm, one, self.count = _with_count_in(spectrum, _from_time(rhythm, earliest), bar_one, earliest)
        self.counted = self.count.bars if self.count else 0
        self.spectrum, self.rhythm = spectrum, rhythm
        times, grid = rhythm.times, rhythm.grid
        self._lines = _straight_lines(rhythm)
        self.bpm = _middle_tempo(self._lines)
        self.beat = 60 / self.bpm
        starts, ends, lengths, signatures, firsts = [], [], [], [], []
        for run in np.unique(grid.runs):
            index = np.flatnonzero(grid.runs == run)
            opens = index[grid.slots[index] == 0]
            if not len(opens) or opens[0] > index[0]:
                opens = np.append(index[0], opens)  # a pickup is a bar of its own, short
            for place, first in enumerate(opens):
                final = place == len(opens) - 1
                meter = grid.table[grid.meters[first]]
                count = meter.beats if final else int(opens[place + 1] - first)
                starts.append(times[first])
                due = min(times[first] + sum(meter.lengths) * self.beat, spectrum.end)
                ends.append(max(due, times[index[-1]]) if final else times[opens[place + 1]])
                lengths.append(count)
                signatures.append(meter.signature)
                firsts.append(first)
        self.starts, self.ends = np.array(starts), np.array(ends)
        self.lengths, self.signatures = np.array(lengths), signatures
        self.first = firsts.index(one)
        self.numbers = np.arange(len(starts)) + 1 - self.first
        features = beat_features(times, grid, rhythm.evidence, rhythm.reading)
        self.beat_confidence = np.round(confidences("beat", features), 3)
        bars = bar_features(features, np.array(firsts), grid, rhythm.evidence)
        self.confidence = np.round(confidences("bar", bars), 3)
        opens = float(self.starts[self.first])
        # What lies before belongs to the count-in; and bars before a stated bar 1 are no part of the song.
        bounded = self.counted or before or (bar_one is not None and self.first)
        earliest = opens - self.beat if bounded else spectrum.start
        self.music_start = music_start(spectrum, opens, self.beat, earliest)

    def tempo_map(self) -> tuple[TempoKnot, ...]:
        """Stretches of even tempo."""
        return tuple(TempoKnot(round(float(start), 4), round(bpm, 2)) for start, _, bpm in self._lines)

    def scene(self, logits: np.ndarray) -> Scene:
        """What the finders of events look at.

        Parameters
        ----------
        logits : ndarray, shape (7, frames)
        """
        heads = dict(zip(HEADS, logits, strict=True))
        if self.rhythm.evidence.pulse is not None:
            heads["music"] = np.maximum(heads["music"], self.rhythm.evidence.pulse)
        spectrum, starts = self.spectrum, self.starts
        heard = hear_around(spectrum, heads["music"])
        limit = music_limit(spectrum, heard, float(starts[max(self.first, len(starts) - 4)]))
        attack, strength = last_attack(spectrum, heard, starts[self.first :], limit)
        loud = loud_level(spectrum, float(starts[self.first]), max(attack, float(starts[-1])))
        return Scene(
            spectrum=spectrum,
            decibels=spectrum.decibels,
            heard=heard,
            heads=heads,
            beats=self.rhythm.times,
            runs=self.rhythm.grid.runs,
            starts=self.starts,
            ends=self.ends,
            lengths=self.lengths,
            numbers=self.numbers,
            beat=self.beat,
            count=self.count.candidate if self.count else None,
            broken_off=self.broken_off,
            music_start=self.music_start,
            music_end=music_end(spectrum, attack, loud, limit),
            last_attack=attack,
            last_strength=strength,
        )


def _straight_lines(rhythm: Rhythm) -> list[tuple[float, float, float]]:
    """Start, end and BPM of the stretches of even tempo, in order."""
    lines = []
    for run in np.unique(rhythm.grid.runs):
        inside = rhythm.grid.runs == run
        times = rhythm.times[inside]
        knots = [*tempo_knots(times, rhythm.grid.places[inside]), (float(times[-1]), 0.0)]
        lines += [(start, end, bpm) for (start, bpm), (end, _) in pairwise(knots)]
    return lines


def _middle_tempo(lines: list[tuple[float, float, float]]) -> float:
    """Tempo below and above which the music spends the same time; one that is kept comes out exactly."""
    if not lines:
        return _LONE_BEAT_BPM
    ranked = sorted((bpm, end - start) for start, end, bpm in lines)
    passed = np.cumsum([length for _, length in ranked])
    return ranked[int(np.searchsorted(passed, passed[-1] / 2))][0]


def first_stated(known: Known | None) -> float:
    """When the first bar starts that is stated; no end of a false start is later, for a stated bar is music.

    Parameters
    ----------
    known : Known or None

    Returns
    -------
    float
        Seconds, a little late, as taps are early at times; infinite where no bar is stated.
    """
    return min(known.bar_lines if known else (), default=math.inf) + _SAME_BAR


def _nearest(starts: np.ndarray, bar_one: float | None) -> int | None:
    """Which bar starts where bar 1 is stated, if any does."""
    if bar_one is None:
        return None
    near = int(np.abs(starts - bar_one).argmin())
    return near if abs(starts[near] - bar_one) <= _SAME_BAR else None


def possible_counts(spectrum: Spectrum, rhythm: Rhythm, first: int) -> list[Count]:
    """What may be a count-in before the song.

    Parameters
    ----------
    spectrum : Spectrum
    rhythm : Rhythm
    first : int
        Which beat is the first downbeat that may open bar 1; the next ones may, too.

    Returns
    -------
    list of Count
    """
    grid = rhythm.grid
    song = np.flatnonzero(grid.runs == grid.runs[first])
    song = song[song >= first]
    meter = grid.table[grid.meters[first]]
    return counts(spectrum, rhythm.evidence, rhythm.times[song], grid.slots[song], meter.beats, thirds=meter.thirds > 0)


def _from_time(rhythm: Rhythm, earliest: float) -> Rhythm:
    """The beats after a time."""
    keep = rhythm.times >= earliest - _ROUNDING
    grid = rhythm.grid
    kept = BeatGrid(grid.frames[keep], grid.slots[keep], grid.meters[keep], grid.runs[keep], grid.score, grid.table)
    return replace(rhythm, times=rhythm.times[keep], grid=kept)


def _broken_off(spectrum: Spectrum, rhythm: Rhythm, latest: float) -> list[tuple[Candidate, float]]:
    """The false starts before the song, each with how likely it is one: those that are, and one that may be."""
    grid = rhythm.grid
    found = []
    for each in attempts(spectrum, rhythm.times, grid.runs):
        if each.candidate.end > latest:
            break
        confidence = round(probability(each.candidate), 3)
        if confidence >= _LEAST_TOLD:
            found.append((each.candidate, confidence))
        if confidence < _LEAST_SURE:
            break
    return found


def _with_count_in(
    spectrum: Spectrum, rhythm: Rhythm, bar_one: float | None, earliest: float
) -> tuple[Rhythm, int, Count | None]:
    """Carry the beats back over a count-in; and tell which beat opens bar 1, and what is counted before it."""
    times, grid = rhythm.times, rhythm.grid
    opens = np.flatnonzero(grid.slots == 0)
    stated = _nearest(times[opens], bar_one)
    first = int(opens[stated or 0])
    run = np.flatnonzero(grid.runs == grid.runs[first])
    per_bar = grid.table[grid.meters[first]].beats
    found = possible_counts(spectrum, rhythm, first)
    if stated is not None:
        # What is counted to a later bar than the stated one is no count-in of this song.
        found = [count for count in found if not count.opening]
    best = max(found, key=lambda each: probability(each.candidate), default=None)
    count = best if best and probability(best.candidate) >= _LEAST_SURE else None
    opening, counted = (count.opening, count.bars) if count else (0, 0)
    one = int(opens[(stated or 0) + opening])
    anchor = int(run[grid.slots[run] == 0][0])
    missing = counted - int((grid.slots[anchor:one] == 0).sum())
    if missing <= 0:
        return rhythm, one, count
    # Beats before the anchor give way to the count, but not those of an attempt before it.
    begin = int(run[0])
    earliest = max(earliest, float(times[begin - 1]) + _APART if begin else 0.0)
    lead = lead_in(times[anchor:], missing * per_bar)
    early = int((lead < earliest).sum())  # a beat just before the first sample is not in the file
    lead = lead[early:]

    def joined(front: np.ndarray, values: np.ndarray) -> np.ndarray:
        return np.concatenate([values[:begin], front, values[anchor:]])

    ones = np.ones(len(lead), int)
    longer = BeatGrid(
        joined(np.rint((lead - spectrum.start) * FRAME_RATE).astype(int), grid.frames),
        joined(np.tile(np.arange(per_bar), missing)[early:], grid.slots),
        joined(ones * grid.meters[first], grid.meters),
        joined(ones * grid.runs[first], grid.runs),
        grid.score,
        grid.table,
    )
    return replace(rhythm, times=joined(lead, times), grid=longer), one + len(lead) + begin - anchor, count
