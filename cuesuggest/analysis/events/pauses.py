"""Pauses between attempts: the band breaks off, somebody talks, and it starts anew.

A stop keeps the network sure of music, however silent it is; a pause does not: for a second or more it hears none.
Talk in it, a break in the grid of the beats and its length speak for it as well.
"""

from __future__ import annotations

import numpy as np

from cuesuggest.analysis.finding.scene import Candidate, Scene
from cuesuggest.analysis.finding.spans import frame_at, stretches
from cuesuggest.analysis.spectrum import Spectrum

__all__ = ["pause_candidates"]

_LEAST = 12  # tenths of a second without music
_JOIN = 30  # tenths; between two sentences in a pause the network may hear music
_REACH_SECONDS = 6.0  # from the last attack to where no music is heard
_STRONG = 0.6  # of a strong attack of the song
_QUIET_DB, _STILL = 25.0, 0.6  # so much under the loud passages, for such a share of a pause without talk


def pause_candidates(scene: Scene) -> list[Candidate]:
    """Stretches inside the song in which no music is heard.

    Parameters
    ----------
    scene : Scene

    Returns
    -------
    list of Candidate
        From a beat after the last attack to the bar that opens the next attempt.
    """
    heard, spectrum = scene.heard, scene.spectrum
    inside = (heard.seconds > scene.opens) & (heard.seconds < scene.last_attack - 1)
    quiet = heard.level < np.percentile(heard.level[inside], 80) - _QUIET_DB if inside.any() else inside
    # In digital silence the network goes on hearing music; there the grid's break says that nobody plays.
    broken = np.any(
        [(heard.seconds > a) & (heard.seconds < b) for a, b in scene.gaps] or [np.zeros_like(inside)], axis=0
    )
    silent = inside & ((heard.music < 0) | (broken & quiet))
    parts: list[tuple[int, int]] = []
    for a, b in stretches(silent):
        if parts and a - parts[-1][1] <= _JOIN:
            parts[-1] = (parts[-1][0], b)
        elif b - a >= _LEAST:
            parts.append((a, b))
    rise = spectrum.rise
    strong = rise > _STRONG * np.percentile(rise[frame_at(spectrum, scene.opens) :], 97)
    found = []
    for a, b in parts:
        spoken, still = float((heard.talk[a:b] > 0).mean()), float(quiet[a:b].mean())
        # A soft part of a song, in which the network is not sure of music either, has neither.
        if not spoken and still < _STILL:
            continue
        early, until = float(heard.seconds[a]), float(heard.seconds[b])
        start = min(_breaks_off(spectrum, strong, early) + scene.beat, early)
        later = scene.starts[scene.starts > until - scene.beat / 2]
        end = float(later[0]) if len(later) else until
        gap = max((min(end, y) - max(start, x) for x, y in scene.gaps), default=0.0)
        found.append(
            Candidate(
                "pause",
                start,
                end,
                {
                    "music": float(heard.music[a:b].mean()),
                    "talk": spoken,
                    "still": still,
                    "length": float(np.log2((b - a) / 10)),
                    "apart": float(gap > scene.beat),
                },
            )
        )
    return found


def _breaks_off(spectrum: Spectrum, strong: np.ndarray, early: float) -> float:
    """When the band struck last before a time at which no music is heard: then nothing is struck for longest."""
    first = frame_at(spectrum, early - _REACH_SECONDS)
    attacks = first + np.flatnonzero(strong[first : frame_at(spectrum, early) + 1])
    if not len(attacks):
        return early
    rests = np.diff(np.append(attacks, frame_at(spectrum, early)))
    return float(spectrum.seconds[attacks[int(rests.argmax())]])
