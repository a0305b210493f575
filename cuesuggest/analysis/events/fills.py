"""How a section is led into: drum fills at the end of the one before, and pickups.

A fill is heard against the four bars before it: the pattern of the last beat differs from theirs by more than they
differ from one another and more than the first beat of the same bar does, with more attacks between 140 Hz and 2.5 kHz,
where snare and toms are. Both numbers were set on rendered songs whose fills are not marked, by how much oftener they
are passed at section starts than inside sections and in songs without fills: about three in four of what is told are
fills; most others are upbeats of bass or guitar. Only lines where a section starts are looked at.

A pickup is told for a section whose voice enters in the last two beats before it, and for the first section, where
sound before bar 1 is one. Otherwise it stays open.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from scipy import ndimage

from cuesuggest.analysis.finding.scene import Candidate, Scene
from cuesuggest.analysis.finding.spans import frame_at
from cuesuggest.analysis.spectrum import FRAME_RATE, band_edges

__all__ = ["find_fills", "find_pickups"]

_GROUPS_HZ = (0.0, 140.0, 600.0, 2500.0, 2e4)
_STEPS = 8  # of a beat: thirty-second notes
_EARLY = 0.02  # s; the window of the transform hears an attack a frame early
_BARS = 4  # that a bar is held against
_CHANGE, _MIDDLE = 0.05, 0.1  # of a strong attack's rise
_LOW_LOGIT, _HIGH_LOGIT = -1.0, 1.0  # of the voice head, for silent and sung
_SMEAR = 0.15  # s by which the network may hear a voice early
_AT_ONCE = 0.12  # s before bar 1 that belong to its own first attack


def find_fills(scene: Scene, starts: Sequence[int]) -> list[tuple[Candidate, float]]:
    """Clear drum fills in the last beat before a section, each with its confidence.

    Parameters
    ----------
    scene : Scene
    starts : sequence of int
        Index of the first bar of each section.

    Returns
    -------
    list of (Candidate, float)
        From the last beat to the section's start, in order of time.
    """
    firsts = np.searchsorted(scene.beats, scene.starts - 1e-3)
    whole = np.diff(firsts, append=len(scene.beats)) == scene.lengths  # a bar before a pause may break off
    lines = [
        line
        for line in starts
        if line > _BARS
        and whole[line - _BARS - 1 : line].all()
        and len(set(scene.lengths[line - _BARS - 1 : line])) == 1
        and scene.lengths[line - 1] > 1
    ]
    if not lines:
        return []
    cells = _cells(scene)
    found = []
    for line in lines:
        ends = cells[firsts[line - _BARS - 1 : line] + scene.lengths[line - 1] - 1]
        opens = cells[firsts[line - _BARS - 1 : line]]
        others, last = ends[:-1], ends[-1]
        usual = np.median([_apart(others[k], np.delete(others, k, axis=0)) for k in range(_BARS)])
        change = _apart(last, others) - 0.9 * _apart(opens[-1], opens[:-1]) - usual
        middle = float((last - np.median(others, axis=0))[:, 1:3].mean())
        if change > _CHANGE and middle > _MIDDLE:
            at = float(scene.starts[line])
            features = {"change": float(change), "middle": middle}
            start = float(scene.beats[firsts[line] - 1])
            found.append((Candidate("fill", start, at, features), round(min(0.6 + float(change), 0.8), 3)))
    return found


def _apart(pattern: np.ndarray, others: np.ndarray) -> float:
    return float(np.abs(pattern - np.median(others, axis=0)).mean())


def _cells(scene: Scene) -> np.ndarray:
    """Rise in four groups of bands at eight places of every beat, 1 for a strong attack: (beats, 8, 4)."""
    bands, centres = scene.spectrum.bands, band_edges()[1:-1]
    rise = np.zeros((len(bands), len(_GROUPS_HZ) - 1))
    step = np.maximum(bands[2:] - bands[:-2], 0)
    edges = np.searchsorted(centres, _GROUPS_HZ)
    for group in range(rise.shape[1]):
        rise[2:, group] = step[:, edges[group] : edges[group + 1]].mean(axis=1)
    rise = ndimage.maximum_filter1d(rise / np.maximum(np.percentile(rise, 95, axis=0), 1e-3), 3, axis=0)
    lengths = np.diff(scene.beats, append=scene.beats[-1] + scene.beat)
    seconds = scene.beats[:, None] + lengths[:, None] * np.arange(_STEPS) / _STEPS - _EARLY
    frames = np.rint((seconds - scene.spectrum.start) * FRAME_RATE).astype(int)
    return np.asarray(rise[np.clip(frames, 0, len(rise) - 1)])


def find_pickups(scene: Scene, starts: Sequence[int]) -> list[bool | None]:
    """Whether each section enters with a pickup, None where that is not known.

    Parameters
    ----------
    scene : Scene
    starts : sequence of int
        Index of the first bar of each section.

    Returns
    -------
    list of (bool or None)
    """
    return [_first_pickup(scene) if scene.numbers[line] == 1 else _sung_pickup(scene, line) for line in starts]


def _first_pickup(scene: Scene) -> bool:
    bar = float(np.median(scene.ends - scene.starts))
    return bool(_AT_ONCE < scene.opens - scene.music_start < bar)


def _sung_pickup(scene: Scene, line: int) -> bool | None:
    """Whether the voice that sings after a bar line entered before it; None if it sang all along or not at all."""
    at, beat = float(scene.starts[line]), scene.beat
    voice = scene.heads["voice"]

    def mean(start: float, end: float) -> float:
        return float(voice[frame_at(scene.spectrum, start) : frame_at(scene.spectrum, end) + 1].mean())

    silent = mean(at - 6 * beat, at - 2 * beat) < _LOW_LOGIT
    if not silent or mean(at, at + 4 * beat) < _HIGH_LOGIT:
        return None
    before = mean(at - beat, at - _SMEAR)
    return True if before > _HIGH_LOGIT else False if before < _LOW_LOGIT else None
