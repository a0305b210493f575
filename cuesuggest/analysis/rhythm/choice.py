"""Which of two networks is believed, recording by recording.

No one network of this size is the best for every recording: one hears a clean song to its last bar and takes a loud band
through a phone for noise, another counts the band and stumbles where little sounds. Each reading says how sure it is as
a whole (`rhythm.doubt`). Where the first is sure, it is done, and nothing is spent on the second; else both are read,
and the surer is believed.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from cuesuggest.analysis.rhythm import Rhythm, find_rhythm
from cuesuggest.analysis.rhythm.evidence import observe
from cuesuggest.analysis.rhythm.network import NETWORKS, heads_of
from cuesuggest.analysis.spectrum import Spectrum

__all__ = ["believed", "preferred"]

_SURE = 3.0  # nats, 95 %: the reading of a network that is not asked about further


def preferred(odds: Sequence[float]) -> int:
    """Which of some readings is believed: the first if it is sure, else the surest.

    Parameters
    ----------
    odds : sequence of float
        Nats that each is right, 0 where it has no beats.
    """
    return 0 if odds[0] >= _SURE else int(np.argmax(odds))


def believed(spectrum: Spectrum) -> tuple[np.ndarray, Rhythm]:
    """Read the beats by the first network, and by the second where the first is not sure.

    Parameters
    ----------
    spectrum : Spectrum

    Returns
    -------
    logits : ndarray, shape (7, frames)
        Of the network that is believed.
    rhythm : Rhythm
        What was read from them; its evidence names the network.
    """
    found = []
    for network in NETWORKS:
        logits = heads_of(spectrum, network)
        rhythm = find_rhythm(spectrum, observe(spectrum, logits, network))
        found.append((logits, rhythm))
        if rhythm.reading >= _SURE:
            break
    return found[preferred([rhythm.reading for _, rhythm in found])]
