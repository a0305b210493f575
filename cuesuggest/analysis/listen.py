"""From a recording to a `SongAnalysis`: the order in which the parts are asked."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace

import numpy as np

from cuesuggest.analysis.bars.attempts import carried_over, unplayed
from cuesuggest.analysis.bars.numbering import NumberedBars, first_stated
from cuesuggest.analysis.energy import bar_energy
from cuesuggest.analysis.events.fills import find_pickups
from cuesuggest.analysis.events.from_bars import events_from_bars
from cuesuggest.analysis.events.from_frames import events_from_frames, events_without_music
from cuesuggest.analysis.events.tag import find_tag
from cuesuggest.analysis.events.voice import voice_bars, voice_turns
from cuesuggest.analysis.loudness import SILENCE_LUFS
from cuesuggest.analysis.rhythm import Rhythm, find_rhythm
from cuesuggest.analysis.rhythm.evidence import observe
from cuesuggest.analysis.rhythm.known import Known
from cuesuggest.analysis.rhythm.network import NETWORKS
from cuesuggest.analysis.spectrum import Spectrum
from cuesuggest.analysis.structure import SongBars, find_structure
from cuesuggest.analysis.types import Alternative, Bar, Confidence, SongAnalysis

__all__ = ["Step", "analyze_spectrum"]

Step = Callable[[str, float | None], None]
"""Told the name of the step that begins, and the seconds heard so far while it listens."""


def analyze_spectrum(
    spectrum: Spectrum,
    logits: np.ndarray,
    step: Step | None = None,
    known: Known | None = None,
    *,
    network: str = NETWORKS[0],
    rhythm: Rhythm | None = None,
) -> SongAnalysis:
    """Find everything that the frames of a recording tell.

    Parameters
    ----------
    spectrum : Spectrum
    logits : ndarray, shape (7, frames)
        What the network made of it, see `rhythm.network.heads_of`.
    step : callable, optional
    known : Known, optional
        What the user states about tempo and bars.
    network : str
        Whose logits they are.
    rhythm : Rhythm, optional
        What was read from them already, with nothing stated.

    Returns
    -------
    SongAnalysis
        With empty lists where no music was heard.
    """
    tell = step or (lambda name, seconds: None)
    if rhythm is None or known:
        tell("beats and bars", None)
        rhythm = find_rhythm(spectrum, observe(spectrum, logits, network), known)
    rhythm = _begun_again(spectrum, rhythm, known)
    if not len(rhythm.times) or not (rhythm.grid.slots == 0).any():
        return _no_music(spectrum, logits)
    numbered = NumberedBars(spectrum, rhythm, known)
    rhythm = numbered.rhythm
    tell("energy", None)
    energy = bar_energy(spectrum, numbered.starts, numbered.ends, logits)
    tell("sections", None)
    song = numbered.numbers >= 1
    song_bars = SongBars(
        numbered.numbers[song],
        numbered.starts[song],
        numbered.ends[song],
        energy.loudness[song],
        numbered.confidence[song],
        numbered.beat,
    )
    known = Known() if known is None else known
    structure = find_structure(spectrum, logits, song_bars, known.form, known.starts)
    tell("events", None)
    scene = numbered.scene(logits)
    voices = voice_bars(scene)
    bars = tuple(
        Bar(
            number=int(numbered.numbers[k]),
            start=_rounded(numbered.starts[k]),
            end=_rounded(numbered.ends[k]),
            beats=int(numbered.lengths[k]),
            time_signature=numbered.signatures[k],
            drive=float(energy.drive[k]),
            drive_parts=energy.parts[k],
            loudness_lufs=round(max(float(energy.loudness[k]), SILENCE_LUFS), 2),
            envelope=tuple(float(v) for v in energy.envelopes[k]),
            voice=voices[k],
            confidence=float(numbered.confidence[k]),
        )
        for k in range(len(numbered.starts))
    )
    firsts = [section.first_bar - bars[0].number for section in structure.sections]
    pickups = find_pickups(scene, firsts)
    sections = tuple(replace(each, pickup=pickup) for each, pickup in zip(structure.sections, pickups, strict=True))
    tag = find_tag(sections, bars)
    events = (*events_from_frames(scene), *events_from_bars(scene, energy, firsts), *((tag,) if tag else ()))
    main = [bar for bar in bars if bar.number >= 1]
    table = {m.signature: m.beats for m in rhythm.grid.table}
    usual = max(table, key=lambda s: (sum(b.time_signature == s for b in main), s))
    meter = table[usual]
    bpm = numbered.bpm
    remarks = [*structure.remarks]
    if energy.compressed:
        remarks.append(
            "The recording's level is very even, so drive leans on low end, density and brightness "
            "more than on loudness."
        )
    remarks += [
        f"Music seems to sound from {each.start:.0f} s to {each.end:.0f} s, but no bars are told there."
        for each in events
        if each.kind == "uncounted"
    ]
    turns = voice_turns(voices)
    remarks += [f"A voice clearly {'enters' if enters else 'leaves'} at bar {bars[k].number}." for k, enters in turns]
    return SongAnalysis(
        duration=_rounded(spectrum.end),
        tempo_bpm=round(bpm, 2),
        beats=tuple(_rounded(t) for t in rhythm.times),
        downbeats=tuple(_rounded(t) for t in rhythm.times[rhythm.grid.slots == 0]),
        beat_confidence=tuple(float(v) for v in numbered.beat_confidence),
        meter=meter,
        time_signature=usual,
        tempo_map=numbered.tempo_map(),
        bars=bars,
        sections=sections,
        events=tuple(sorted(events, key=lambda event: event.start)),
        music_start=_rounded(scene.music_start),
        music_end=_rounded(scene.music_end),
        confidence=Confidence(
            beats=round(float(np.mean(numbered.beat_confidence)), 3),
            downbeats=round(float(np.mean(numbered.confidence)), 3),
            sections=round(float(np.mean([s.confidence for s in sections])), 3),
            reading=round(1 / (1 + math.exp(-rhythm.reading)), 3),
        ),
        alternatives=_alternatives(rhythm, bpm),
        remarks=tuple(remarks),
    )


def _begun_again(spectrum: Spectrum, rhythm: Rhythm, known: Known | None) -> Rhythm:
    """Read once more where beats were carried over from a false start into the song."""
    latest = first_stated(known)
    spans = [span for span in carried_over(spectrum, rhythm.times, rhythm.grid.runs) if span[1] <= latest]
    return find_rhythm(spectrum, unplayed(rhythm.evidence, spans, spectrum.start), known) if spans else rhythm


def _alternatives(rhythm: Rhythm, bpm: float) -> tuple[Alternative, ...]:
    """Other levels, other ones, beats half-way between, other counts."""
    shifts = [(f"shift {k}", margin) for k, margin in enumerate(rhythm.shifts, 1)]
    if rhythm.between is not None and rhythm.shifts:
        shifts.append(("shift 0.5", rhythm.between * (len(rhythm.shifts) + 1)))
    return (
        *(Alternative(other.kind, round(bpm * other.ratio, 2), round(other.margin, 3)) for other in rhythm.others),
        *(Alternative(kind, round(bpm, 2), round(margin, 3)) for kind, margin in (*shifts, *rhythm.counts)),
    )


def _rounded(seconds: float) -> float:
    return round(float(seconds), 4)


def _no_music(spectrum: Spectrum, logits: np.ndarray) -> SongAnalysis:
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
        events=events_without_music(spectrum, logits),
        music_start=None,
        music_end=None,
        confidence=Confidence(None, None, None),
        remarks=(f"No music was found from {spectrum.start:.1f} s to {spectrum.end:.1f} s.",),
    )
