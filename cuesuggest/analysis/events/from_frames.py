"""Events read from frames, all but builds and fills: the order in which their finders are asked, and their places."""

from __future__ import annotations

import numpy as np

from cuesuggest.analysis.events.ending import ending_candidates, ritardando_candidates
from cuesuggest.analysis.events.gaps import Gap, find_gaps
from cuesuggest.analysis.events.pauses import pause_candidates
from cuesuggest.analysis.events.stops import stops_and_hits
from cuesuggest.analysis.events.talk import find_crowd, find_talk
from cuesuggest.analysis.events.uncounted import find_uncounted
from cuesuggest.analysis.finding.likely import probability, probable
from cuesuggest.analysis.finding.scene import Candidate, Heard, Scene
from cuesuggest.analysis.finding.spans import joined
from cuesuggest.analysis.finding.talk_signs import hear_around
from cuesuggest.analysis.frames import HEADS
from cuesuggest.analysis.spectrum import Spectrum
from cuesuggest.analysis.types import Event

__all__ = ["events_from_frames", "events_without_music", "quiet_stretches"]

_LEAST = 0.5  # of the confidence of what is told
_ONE_TALK = 4.0  # s; sentences no further apart are one span, which light keeps out of
_NO_BARS = {"count-in", "false-start", "talk", "crowd", "pause", "ring-out"}
_IN_BARS = {"count-in", "stop", "hit", "ring-out", "ritardando"}


def events_from_frames(scene: Scene) -> tuple[Event, ...]:
    """Find everything that happens once in a song, in order of time.

    Parameters
    ----------
    scene : Scene

    Returns
    -------
    tuple of Event
    """
    found = [(scene.count, round(probability(scene.count), 3))] if scene.count else []
    found += scene.broken_off
    pauses = probable(pause_candidates(scene), _LEAST)
    found += pauses
    found += _talk_and_crowd(scene.heard, quiet_stretches(scene, [(each.start, each.end) for each, _ in pauses]))
    found += stops_and_hits(scene, [gap for gap in find_gaps(scene) if not _in_a_pause(gap, pauses)], _LEAST)
    found += probable(ending_candidates(scene) + ritardando_candidates(scene), _LEAST)
    events = _events(found, scene)
    around = [each for each in events if each.kind in _NO_BARS]
    return tuple(sorted((*events, *_events(find_uncounted(scene, around), scene)), key=lambda event: event.start))


def events_without_music(spectrum: Spectrum, logits: np.ndarray) -> tuple[Event, ...]:
    """Find talk and crowd in a recording without music.

    Parameters
    ----------
    spectrum : Spectrum
    logits : ndarray, shape (7, frames)

    Returns
    -------
    tuple of Event
    """
    heard = hear_around(spectrum, logits[HEADS.index("music")])
    return _events(_talk_and_crowd(heard, [(spectrum.start, spectrum.end)]), None)


def quiet_stretches(scene: Scene, pauses: list[tuple[float, float]]) -> list[tuple[float, float]]:
    """Where there is no music: before the song and its count-in, in pauses, after the song."""
    begin = min(scene.count.start if scene.count else scene.music_start, float(scene.beats[0]))
    attempts = [(each.start, each.end) for each, confidence in scene.broken_off if confidence >= _LEAST]
    edges = [scene.spectrum.start, *(edge for span in attempts for edge in span), begin]
    before = [(a, b) for a, b in zip(edges[::2], edges[1::2], strict=True) if a < b]
    return [*before, *pauses, (scene.music_end, scene.spectrum.end)]


def _in_a_pause(gap: Gap, pauses: list[tuple[Candidate, float]]) -> bool:
    return any(pause.start < gap.end and gap.start < pause.end for pause, _ in pauses)


def _talk_and_crowd(heard: Heard, quiet: list[tuple[float, float]]) -> list[tuple[Candidate, float]]:
    talk = [each for stretch in quiet for each in _as_one(probable(find_talk(heard, [stretch]), _LEAST))]
    return talk + probable(find_crowd(heard, quiet), _LEAST)


def _as_one(sentences: list[tuple[Candidate, float]]) -> list[tuple[Candidate, float]]:
    """Join the sentences of one stretch without music between which nobody plays for some seconds."""
    return [
        (Candidate("talk", start, end, {}), max(sure for each, sure in sentences if start <= each.start <= end))
        for start, end in joined([(each.start, each.end) for each, _ in sentences], _ONE_TALK)
    ]


def _events(found: list[tuple[Candidate, float]], scene: Scene | None) -> tuple[Event, ...]:
    events = []
    for each, confidence in found:
        bar, beat = scene.place(each.start) if scene and each.kind in _IN_BARS else (None, None)
        events.append(Event(each.kind, round(float(each.start), 4), round(float(each.end), 4), bar, beat, confidence))
    return tuple(sorted(events, key=lambda event: event.start))
