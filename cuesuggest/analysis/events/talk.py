"""Talk and crowd: stretches without music in which somebody speaks, or a crowd claps.

Tenths of a second that sound like talk (`finding.talk_signs`) are joined into stretches; two logistic regressions weigh
those.
"""

from __future__ import annotations

import numpy as np
from scipy import ndimage

from cuesuggest.analysis.finding.scene import Candidate, Heard
from cuesuggest.analysis.finding.spans import stretches
from cuesuggest.analysis.finding.talk_signs import SOUNDS_DB, STEP
from cuesuggest.analysis.frames import FRAME_RATE

__all__ = ["find_crowd", "find_talk"]

_RATE = FRAME_RATE / STEP
_LEAST_ODDS = -1.0  # nats of a tenth of a second; whole stretches are weighed afterwards
_SPLIT_SECONDS = {"talk": 0.5, "crowd": 1.5}  # a longer pause parts two sentences
_LEAST_SECONDS = {"talk": 0.7, "crowd": 1.5}


def find_talk(heard: Heard, quiet: list[tuple[float, float]]) -> list[Candidate]:
    """Find sentences in the stretches without music.

    Parameters
    ----------
    heard : Heard
    quiet : list of (float, float)
        Stretches without music, seconds.

    Returns
    -------
    list of Candidate
    """
    return [each for a, b in quiet for each in _candidates("talk", heard, heard.talk, heard.crowd, a, b)]


def find_crowd(heard: Heard, quiet: list[tuple[float, float]]) -> list[Candidate]:
    """Find applause and cheering in the stretches without music.

    Parameters
    ----------
    heard : Heard
    quiet : list of (float, float)
        Stretches without music, seconds.

    Returns
    -------
    list of Candidate
    """
    return [each for a, b in quiet for each in _candidates("crowd", heard, heard.crowd, heard.talk, a, b)]


def _candidates(
    kind: str, heard: Heard, odds: np.ndarray, others: np.ndarray, start: float, end: float
) -> list[Candidate]:
    first, last = (int(k) for k in np.searchsorted(heard.seconds, (start, end)))
    if last - first < 3:
        return []
    level, part = heard.level[first:last], odds[first:last]
    floor = float(np.percentile(level, 5))
    # A window of a second blurs the edges; the level has them sharp.
    sounds = level > ndimage.maximum_filter1d(level, round(3 * _RATE)) - 2 * SOUNDS_DB
    mask = (part > _LEAST_ODDS) & sounds
    mask = ndimage.binary_closing(mask, np.ones(round(_SPLIT_SECONDS[kind] * _RATE)), border_value=0)
    candidates = []
    for a, b in stretches(mask):
        seconds = (b - a) / _RATE
        if seconds < _LEAST_SECONDS[kind]:
            continue
        inside = slice(a, b)
        candidates.append(
            Candidate(
                "talk" if kind == "talk" else "crowd",
                float(heard.seconds[first + a]),
                float(heard.seconds[first + b]),
                {
                    "odds": float(part[inside].mean()),
                    "best": float(part[inside].max()),
                    "length": float(np.log2(seconds)),
                    "over": float(np.clip(np.percentile(level[inside], 75) - floor, 0, 40)) / 10,
                    "other": float(others[first + a : first + b].mean()),
                    "music": float(heard.music[first + a : first + b].mean()),
                },
            )
        )
    return candidates
