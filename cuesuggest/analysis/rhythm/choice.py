"""Which of two networks is believed, recording by recording.

No one network of this size is the best for every recording: the first hears a clean song to its last bar and may take
a loud band through a phone for noise; the second counts such a band, and stumbles more often elsewhere. What the first
one denies can be seen without asking further: it is loud, and no beats are told there. Then, and only then, the second
is asked, and believed if it tells clearly more of what sounds.
"""

from __future__ import annotations

import numpy as np

from cuesuggest.analysis.rhythm import Rhythm, find_rhythm
from cuesuggest.analysis.rhythm.evidence import observe
from cuesuggest.analysis.rhythm.network import NETWORKS, heads_of
from cuesuggest.analysis.spectrum import Spectrum

__all__ = ["believed", "preferred"]

_ENOUGH = 0.9  # of what sounds loud: talk, a free beginning and a ring-out seldom make more than the rest
_MORE = 0.1  # of what sounds loud that the second must tell beyond the first


def preferred(shares: tuple[float, float]) -> int:
    """Which of two readings is believed, by the shares of what sounds that they tell.

    Parameters
    ----------
    shares : (float, float)
        As `Rhythm.covered` has them.
    """
    first, second = shares
    return int(first < _ENOUGH and second > first + _MORE)


def believed(spectrum: Spectrum) -> tuple[np.ndarray, Rhythm]:
    """Read the beats by the first network, and by the second where the first leaves much untold.

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
        found.append((logits, find_rhythm(spectrum, observe(spectrum, logits, network))))
        if found[0][1].covered >= _ENOUGH:
            return found[0]
    (_, first), (_, second) = found
    return found[preferred((first.covered, second.covered))]
