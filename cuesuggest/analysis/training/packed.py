"""Songs as `training.pack` writes them; needs nothing but numpy, so that they can be read anywhere."""

from __future__ import annotations

from pathlib import Path

import numpy as np

__all__ = ["STEPS", "read_packs"]

# Steps a unit of log(1 + g x). Rounding stays under 2 % of a magnitude, and differences from frame to frame take few
# bits.
STEPS = 24.0

_EVENTS = ("beats", "downbeats", "sections")
_SPANS = ("music", "ignore", "voice", "build", "blind", "formless")


def read_packs(paths: tuple[Path, ...]) -> dict[str, np.ndarray]:
    """Read packed songs as one long row of frames.

    Parameters
    ----------
    paths : tuple of Path

    Returns
    -------
    dict of ndarray
        `bands` (uint8, frames x bands), `starts` and `lengths` of the songs, `names`, `musical` (bool, songs); events
        and spans in frames of the whole row.
    """
    packs = [dict(np.load(path)) for path in paths]

    def joined(name: str) -> np.ndarray:
        return np.concatenate([pack[name] for pack in packs])

    bands = []
    for pack in packs:
        ends = np.cumsum(pack["bands_count"])[:-1]
        # Differences modulo 256, song by song.
        bands += [np.cumsum(part, axis=1, dtype=np.uint8).T for part in np.split(pack["bands"], ends, axis=1)]
    lengths = joined("bands_count")
    starts = np.cumsum(lengths) - lengths
    found = {
        "bands": np.concatenate(bands),
        "lengths": lengths,
        "starts": starts,
        "names": joined("names"),
        "musical": joined("beats_count") > 0,
    }
    for name in (*_EVENTS, *_SPANS):
        offset = np.repeat(starts, joined(f"{name}_count")).astype(float)
        found[name] = joined(name) + (offset if name in _EVENTS else offset[:, None])
    return found
