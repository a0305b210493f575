"""Where a voice leads: bar by bar, from the network's voice head, and the bars where one clearly enters or leaves.

The network learned voices from rendered songs, and a voice unlike those may be nothing to it. So a whole song without
a voice proves nothing and is left open; where a voice is clearly heard in some bars, its absence in others is believed.
The weights lie in `events.json`, see `finding.likely`.
"""

from __future__ import annotations

import numpy as np

from cuesuggest.analysis.finding.likely import log_odds
from cuesuggest.analysis.finding.scene import Scene
from cuesuggest.analysis.finding.spans import frame_at
from cuesuggest.analysis.spectrum import running_sums

__all__ = ["voice_bars", "voice_features", "voice_turns"]

_LOGIT_LIMIT = 6.0
_UNSURE = (0.25, 0.75)  # between these nothing is told
_CLEAR = (0.1, 0.9)
_HEARD_BARS = 8  # clear ones; fewer may be a guitar that sings
_STEADY_BARS = 4  # so long without and so long with a voice make an entry that is worth a sentence


def voice_features(scene: Scene) -> dict[str, np.ndarray]:
    """What speaks for a voice in every bar.

    Parameters
    ----------
    scene : Scene

    Returns
    -------
    dict of str to ndarray, shape (bars,)
        Mean logit of the bar, and of the bar with its two neighbours.
    """
    edges = np.array([frame_at(scene.spectrum, at) for at in [*scene.starts, scene.ends[-1]]])
    sums = running_sums(np.clip(scene.heads["voice"], -_LOGIT_LIMIT, _LOGIT_LIMIT))[edges]
    here = np.diff(sums) / np.maximum(np.diff(edges), 1)
    padded = np.pad(here, 1, mode="edge")
    return {"here": here / 3, "around": (padded[:-2] + here + padded[2:]) / 9}


def voice_bars(scene: Scene) -> tuple[float | None, ...]:
    """Probability that a voice leads in every bar, None where it is not known.

    Parameters
    ----------
    scene : Scene

    Returns
    -------
    tuple of (float or None)
    """
    odds = np.asarray(log_odds("voice", voice_features(scene)))
    sure = 1 / (1 + np.exp(-np.clip(odds, -30, 30)))
    if (sure >= _CLEAR[1]).sum() < _HEARD_BARS:
        return (None,) * len(sure)
    return tuple(None if _UNSURE[0] < each < _UNSURE[1] else round(float(each), 3) for each in sure)


def voice_turns(voices: tuple[float | None, ...]) -> list[tuple[int, bool]]:
    """Bars where a voice clearly enters (True) or leaves (False): four clear bars before, four after.

    Parameters
    ----------
    voices : tuple of (float or None)
        As `voice_bars` returned them.

    Returns
    -------
    list of (int, bool)
        Index of the bar.
    """
    found = []
    for bar in range(_STEADY_BARS, len(voices) - _STEADY_BARS + 1):
        before, after = voices[bar - _STEADY_BARS : bar], voices[bar : bar + _STEADY_BARS]
        for enters, silent, sung in ((True, before, after), (False, after, before)):
            if all(v is not None and v <= _CLEAR[0] for v in silent) and all(
                v is not None and v >= _CLEAR[1] for v in sung
            ):
                found.append((bar, enters))
    return found
