"""Where music sounds and no bars are told: said, so that nobody takes silence on the list for silence in the room."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from cuesuggest.analysis.finding.scene import Candidate, Scene
from cuesuggest.analysis.finding.spans import joined, stretches
from cuesuggest.analysis.types import Event

__all__ = ["find_uncounted"]

_RATE = 10.0  # values of `Heard` a second
_LEAST_SECONDS = 6.0  # three bars or so
_JOIN_SECONDS = 2.0
_MUSIC = 1.0  # nats of the network's for music
_UNDER_DB = 15.0  # under the loud passages, that is background


def find_uncounted(scene: Scene, told: Iterable[Event]) -> list[tuple[Candidate, float]]:
    """Find long stretches that sound like music outside all bars and outside what else is told.

    Parameters
    ----------
    scene : Scene
    told : iterable of Event
        Talk, crowd, false starts, the ring-out: nothing is missing there.

    Returns
    -------
    list of (Candidate, float)
        Each with how likely music is there.
    """
    heard = scene.heard
    loud = np.percentile(heard.level, 90)
    sounds = (heard.music > _MUSIC) & (heard.level > loud - _UNDER_DB)
    for start, end in [*zip(scene.starts, scene.ends, strict=True), *((each.start, each.end) for each in told)]:
        sounds &= (heard.seconds < start) | (heard.seconds > end)
    found: list[tuple[Candidate, float]] = []
    for a, b in joined(stretches(sounds), _JOIN_SECONDS * _RATE):
        if b - a >= _LEAST_SECONDS * _RATE:
            likely = float(np.mean(1 / (1 + np.exp(-heard.music[a:b]))))
            span = Candidate("uncounted", float(heard.seconds[a]), float(heard.seconds[b]), {})
            found.append((span, round(likely, 3)))
    return found
