"""From a recording to a `SongAnalysis`: the order in which the parts are asked."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from itertools import pairwise

import numpy as np

from cuesuggest.analysis import events as moments
from cuesuggest.analysis.energy import bar_energy
from cuesuggest.analysis.loudness import SILENCE_LUFS
from cuesuggest.analysis.rhythm import Rhythm, find_rhythm
from cuesuggest.analysis.rhythm.confidence import bar_features, beat_features, sure
from cuesuggest.analysis.rhythm.decoder import Grid
from cuesuggest.analysis.rhythm.known import Known
from cuesuggest.analysis.rhythm.tempo import tempo_knots
from cuesuggest.analysis.spectrum import FRAME_RATE, Spectrum
from cuesuggest.analysis.structure import Block, find_sections
from cuesuggest.analysis.types import (
    Alternative,
    Bar,
    Confidence,
    Event,
    EventKind,
    Section,
    SongAnalysis,
    TempoKnot,
)

__all__ = ["Step", "analyze_spectrum"]

_COUNT_IN_CONFIDENCE = 0.7
_ROUNDING = 1e-3  # s; bars are rounded to 0.1 ms, beats are not
_SAME_BAR = 0.1  # s from a stated bar 1 to the bar that is meant
_APART = 0.25  # s; beats of two attempts are no closer
_LONE_BEAT_BPM = 112.0  # where a single beat is stated and nothing heard

Step = Callable[[str, float | None], None]
"""Told the name of the step that begins, and the seconds heard so far while it listens."""


def analyze_spectrum(spectrum: Spectrum, step: Step | None = None, known: Known | None = None) -> SongAnalysis:
    """Find everything that the frames of a recording tell.

    Parameters
    ----------
    spectrum : Spectrum
    step : callable, optional
    known : Known, optional
        What the user states about tempo and bars.

    Returns
    -------
    SongAnalysis
        With empty lists where no music was heard.
    """
    tell = step or (lambda name, seconds: None)
    tell("beats and bars", None)
    rhythm = find_rhythm(spectrum, known=known)
    if not len(rhythm.times) or not (rhythm.grid.slots == 0).any():
        return _no_music(spectrum)
    layout = _Layout(spectrum, rhythm, known.bar_one if known else None)
    rhythm = layout.rhythm
    tell("energy", None)
    energy = bar_energy(spectrum, layout.starts, layout.ends)
    tell("sections", None)
    song = layout.numbers >= 1
    blocks = find_sections(spectrum, layout.starts[song], layout.ends[song], energy.loudness[song])
    tell("moments", None)
    bars = tuple(
        Bar(
            number=int(layout.numbers[k]),
            start=_rounded(layout.starts[k]),
            end=_rounded(layout.ends[k]),
            beats=int(layout.lengths[k]),
            time_signature=layout.signatures[k],
            drive=float(energy.drive[k]),
            drive_parts=energy.parts[k],
            loudness_lufs=round(max(float(energy.loudness[k]), SILENCE_LUFS), 2),
            envelope=tuple(float(v) for v in energy.envelopes[k]),
            voice=None,
            confidence=float(layout.confidence[k]),
        )
        for k in range(len(layout.starts))
    )
    sections = _sections(blocks, [bar for bar in bars if bar.number >= 1])
    main = [bar for bar in bars if bar.number >= 1]
    table = {m.signature: m.beats for m in rhythm.grid.table}
    usual = max(table, key=lambda s: (sum(b.time_signature == s for b in main), s))
    meter = table[usual]
    bpm = layout.bpm
    remarks = []
    if energy.compressed:
        remarks.append(
            "The recording's level is very even, so drive leans on low end, density and brightness "
            "more than on loudness."
        )
    return SongAnalysis(
        duration=_rounded(spectrum.end),
        tempo_bpm=round(bpm, 2),
        beats=tuple(_rounded(t) for t in rhythm.times),
        downbeats=tuple(_rounded(t) for t in rhythm.times[rhythm.grid.slots == 0]),
        beat_confidence=tuple(float(v) for v in layout.beat_confidence),
        meter=meter,
        time_signature=usual,
        tempo_map=layout.tempo_map(),
        bars=bars,
        sections=sections,
        events=layout.events(bars),
        music_start=_rounded(layout.music_start),
        music_end=_rounded(layout.music_end),
        confidence=Confidence(
            beats=round(float(np.mean(layout.beat_confidence)), 3),
            downbeats=round(float(np.mean(layout.confidence)), 3),
            sections=round(float(np.mean([s.confidence for s in sections])), 3),
        ),
        alternatives=tuple(
            Alternative(other.kind, round(bpm * other.ratio, 2), round(other.margin, 3)) for other in rhythm.others
        )
        + tuple(
            Alternative(f"shift {k}", round(bpm, 2), round(margin, 3)) for k, margin in enumerate(rhythm.shifts, 1)
        ),
        remarks=tuple(remarks),
    )


class _Layout:
    """Beats laid out as numbered bars; what lies before, between and after them."""

    def __init__(self, spectrum: Spectrum, rhythm: Rhythm, bar_one: float | None) -> None:
        rhythm, one, self.counted = _with_count_in(spectrum, rhythm, bar_one)
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
        features = beat_features(times, grid, rhythm.evidence, rhythm.others)
        self.beat_confidence = np.round(sure("beat", features), 3)
        bars = bar_features(features, np.array(firsts), grid, rhythm.evidence, rhythm.shifts)
        self.confidence = np.round(sure("bar", bars), 3)
        opens = float(self.starts[self.first])
        # What lies before belongs to the count-in; and bars before a stated bar 1 are no part of the song.
        bounded = self.counted or (bar_one is not None and self.first)
        earliest = opens - self.beat if bounded else spectrum.start
        self.music_start = moments.music_start(spectrum, opens, self.beat, earliest)
        self.music_end = moments.music_end(spectrum, float(self.starts[-1]), spectrum.end)

    def tempo_map(self) -> tuple[TempoKnot, ...]:
        return tuple(TempoKnot(_rounded(start), round(bpm, 2)) for start, _, bpm in self._lines)

    def events(self, bars: tuple[Bar, ...]) -> tuple[Event, ...]:
        spectrum, runs, times = self.spectrum, self.rhythm.grid.runs, self.rhythm.times
        found: list[Event] = []

        def add(kind: EventKind, start: float, end: float, confidence: float, *, in_bars: bool = True) -> None:
            bar, beat = _place(bars, times, start) if in_bars else (None, None)
            found.append(Event(kind, _rounded(start), _rounded(end), bar, beat, confidence))

        begin = self.music_start
        if self.counted:
            begin = float(self.starts[max(0, self.first - self.counted)])
            add("count-in", begin, float(self.starts[self.first]), _COUNT_IN_CONFIDENCE)
        gaps = []
        for run in np.unique(runs)[:-1]:
            last = int(np.flatnonzero(runs == run)[-1])
            gaps.append((float(times[last]) + self.beat, float(times[last + 1])))
            add("pause", *gaps[-1], 0.6, in_bars=False)
        quiet = [(spectrum.start, min(begin, float(times[0]))), *gaps, (self.music_end, spectrum.end)]
        for start, end, confidence in moments.find_talk(spectrum, quiet):
            add("talk", start, end, confidence, in_bars=False)
        song = self.numbers >= 1
        stops = moments.find_stops(spectrum, self.starts[song], self.ends[song], self.beat, self.music_end)
        for start, end, confidence in stops:
            if not any(a < end and start < b for a, b in gaps):
                add("stop", start, end, confidence)
        last_beat = float(times[-1])
        if self.music_end - last_beat > 2 * self.beat:
            add("ring-out", last_beat, self.music_end, 0.6)
        return tuple(sorted(found, key=lambda event: event.start))


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


def _nearest(starts: np.ndarray, bar_one: float | None) -> int | None:
    """Which bar starts where bar 1 is stated, if any does."""
    if bar_one is None:
        return None
    near = int(np.abs(starts - bar_one).argmin())
    return near if abs(starts[near] - bar_one) <= _SAME_BAR else None


def _with_count_in(spectrum: Spectrum, rhythm: Rhythm, bar_one: float | None) -> tuple[Rhythm, int, int]:
    """Carry the beats back over a count-in; and tell which beat opens bar 1, and how many bars are counted."""
    times, grid = rhythm.times, rhythm.grid
    opens = np.flatnonzero(grid.slots == 0)
    stated = _nearest(times[opens], bar_one)
    first = int(opens[stated or 0])
    run = np.flatnonzero(grid.runs == grid.runs[first])
    song = run if stated is None else run[run >= first]
    meter = grid.table[grid.meters[first]]
    per_bar = meter.beats
    opening, counted = moments.count_in(spectrum, times[song], grid.slots[song], per_bar, thirds=meter.thirds > 0)
    if stated is not None and opening:  # what is counted leads to a later bar than the stated one
        opening = counted = 0
    one = int(opens[(stated or 0) + opening])
    anchor = int(run[grid.slots[run] == 0][0])
    missing = counted - int((grid.slots[anchor:one] == 0).sum())
    if missing <= 0:
        return rhythm, one, counted
    # Beats before the anchor give way to the count, but not those of an attempt before it.
    begin = int(run[0])
    earliest = max(spectrum.start, float(times[begin - 1]) + _APART if begin else 0.0)
    lead = moments.lead_in(times[anchor:], missing * per_bar)
    early = int((lead < earliest).sum())  # a beat just before the first sample is not in the file
    lead = lead[early:]

    def joined(front: np.ndarray, values: np.ndarray) -> np.ndarray:
        return np.concatenate([values[:begin], front, values[anchor:]])

    ones = np.ones(len(lead), int)
    longer = Grid(
        joined(np.rint((lead - spectrum.start) * FRAME_RATE).astype(int), grid.frames),
        joined(np.tile(np.arange(per_bar), missing)[early:], grid.slots),
        joined(ones * grid.meters[first], grid.meters),
        joined(ones * grid.runs[first], grid.runs),
        grid.score,
        grid.table,
    )
    return replace(rhythm, times=joined(lead, times), grid=longer), one + len(lead) + begin - anchor, counted


def _rounded(seconds: float) -> float:
    return round(float(seconds), 4)


def _place(bars: tuple[Bar, ...], beats: np.ndarray, seconds: float) -> tuple[int | None, float | None]:
    """Bar and beat (to a quarter of a beat) of a time, None outside the bars."""
    for bar in bars:
        inside = beats[(beats >= bar.start - _ROUNDING) & (beats < bar.end - _ROUNDING)]
        if len(inside) != bar.beats:  # a last bar that rings out
            inside = np.linspace(bar.start, bar.end, bar.beats, endpoint=False)
        edges = np.append(inside, bar.end)
        early = (seconds - bar.start) / (edges[1] - edges[0])
        quarters = round(4 * (early if early < 0 else float(np.interp(seconds, edges, np.arange(len(edges))))))
        if 0 <= quarters < 4 * bar.beats:
            return bar.number, 1 + quarters / 4
    return None, None


def _sections(blocks: list[Block], bars: list[Bar]) -> tuple[Section, ...]:
    passes: dict[int, int] = {}
    sections = []
    for k, block in enumerate(blocks):
        passes[block.letter] = passes.get(block.letter, 0) + 1
        first, last = bars[block.first], bars[block.last]
        sections.append(
            Section(
                id=f"s{k + 1}",
                start=first.start,
                end=last.end,
                first_bar=first.number,
                last_bar=last.number,
                label=_letter(block.letter) + ("'" if block.varied else ""),
                pass_=passes[block.letter],
                role=None,
                name="",
                first_words="",
                pickup=None,
                confidence=block.confidence,
                turns=(),
            )
        )
    return tuple(sections)


def _letter(index: int) -> str:
    """A … Z, then AA, AB …"""
    name = chr(ord("A") + index % 26)
    return name if index < 26 else _letter(index // 26 - 1) + name


def _no_music(spectrum: Spectrum) -> SongAnalysis:
    talk = moments.find_talk(spectrum, [(spectrum.start, spectrum.end)])
    return SongAnalysis(
        duration=_rounded(spectrum.end),
        tempo_bpm=None,
        beats=(),
        downbeats=(),
        beat_confidence=(),
        meter=None,
        time_signature=None,
        tempo_map=(),
        bars=(),
        sections=(),
        events=tuple(Event("talk", _rounded(a), _rounded(b), None, None, c) for a, b, c in talk),
        music_start=None,
        music_end=None,
        confidence=Confidence(None, None, None),
        remarks=(f"No music was found from {spectrum.start:.1f} s to {spectrum.end:.1f} s.",),
    )
