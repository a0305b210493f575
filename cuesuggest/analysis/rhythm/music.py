"""Whether music sounds, asked twice: the network, and a pulse that is kept.

The network's head for music is trained on what is no music, and dense guitars through a small microphone are not so
different from noise: where it denies a loud band, its heads for beats still hold. So the beats are counted through the
whole recording as if there were music everywhere. Where they stand out of what lies between them for seconds on end, at
a level that is the song's, somebody plays; talk, applause, noise and a held chord have no such pulse. It takes both to
say that there is no music.

The weights lie in `music.json`, fitted by `training.fit_music`.
"""

from __future__ import annotations

import json
from dataclasses import replace
from functools import cache
from importlib import resources

import numpy as np
from scipy import ndimage

from cuesuggest.analysis.rhythm.beat_grid import BeatGrid
from cuesuggest.analysis.rhythm.decoder import decode
from cuesuggest.analysis.rhythm.evidence import Evidence, top_near
from cuesuggest.analysis.rhythm.meters import COMMON
from cuesuggest.analysis.rhythm.tempo import strongest_pulse
from cuesuggest.analysis.rhythm.tempo_bins import tempo_bins
from cuesuggest.analysis.spectrum import FRAME_RATE, Spectrum, active_frames, loud_frames

__all__ = [
    "LOUD_DB",
    "PULSE_FEATURES",
    "SONG_FEATURES",
    "asked_twice",
    "counted_through",
    "music_odds",
    "music_weights",
    "pulse_features",
    "song_features",
]

PULSE_FEATURES = ("near", "wide", "apart", "between", "level", "one")
SONG_FEATURES = ("clearest", "apart", "music", "short", "one")
LOUD_DB = 15.0  # under the loud passages, that is sound about which something is to be told
_DENIED = 0.03  # of what sounds loud: less is a breath between two phrases
_NEAR, _WIDE = 4, 16  # beats to each side: seconds, and a phrase
_CERTAIN = 3.0  # nats of music where beats are counted as if it were everywhere
_MOST = 3.0  # nats that a pulse says for music; against it, it says nothing
_DOUBT = 1.0  # nats that it must bring before it says anything
_SUREST = 10.0  # nats of music; held chords and players who tune bring 6 at most, bands more than that
_CLEAREST = 48  # beats in the clearest stretch
_LEVEL_DB = (-30.0, 6.0)


@cache
def music_weights() -> dict[str, dict[str, dict[str, float]]]:
    """Network -> kind -> feature -> weight in nats; one table for the whole process, which training fills anew."""
    text = resources.files(__package__).joinpath("music.json").read_text(encoding="utf-8")
    table: dict[str, dict[str, dict[str, float]]] = json.loads(text)
    return table


def music_odds(network: str, kind: str, features: np.ndarray) -> np.ndarray:
    """Log odds by the weights of a kind.

    Parameters
    ----------
    network : str
        Whose evidence is weighed.
    kind : str
        "pulse" or "song".
    features : ndarray, shape (n, k)

    Returns
    -------
    ndarray, shape (n,)
    """
    names = PULSE_FEATURES if kind == "pulse" else SONG_FEATURES
    return np.asarray(features @ np.array([music_weights()[network][kind][name] for name in names]))


def counted_through(evidence: Evidence) -> BeatGrid:
    """Beats of the strongest pulse as if there were music from the first frame to the last.

    Parameters
    ----------
    evidence : Evidence

    Returns
    -------
    BeatGrid
    """
    everywhere = replace(evidence, music=np.full(len(evidence.music), _CERTAIN))
    return decode(everywhere, tempo_bins(strongest_pulse(everywhere)), COMMON)


def pulse_features(spectrum: Spectrum, evidence: Evidence, grid: BeatGrid) -> np.ndarray:
    """What tells in every frame whether somebody keeps a pulse there.

    Parameters
    ----------
    spectrum : Spectrum
    evidence : Evidence
    grid : BeatGrid
        As `counted_through` gives it.

    Returns
    -------
    ndarray, shape (frames, 6)
        In the order of `PULSE_FEATURES`: evidence for beats on the beats within some seconds, and within a phrase; by
        how much they stand out of the places half-way between them; evidence there; level against loud passages, in
        units of 10 dB.
    """
    frames = len(evidence.beat)
    on, between = _on_and_between(evidence, grid)
    decibels = ndimage.uniform_filter1d(spectrum.decibels, round(FRAME_RATE), mode="nearest")
    active = active_frames(spectrum.level)
    loud = float(np.percentile(decibels[active], 90)) if active.any() else 0.0
    found = np.zeros((frames, len(PULSE_FEATURES)))
    if len(on):
        curves = (
            _mean_near(on, _NEAR),
            _mean_near(on, _WIDE),
            _mean_near(on - between, _WIDE),
            _mean_near(between, _NEAR),
        )
        for column, curve in enumerate(curves):
            found[:, column] = np.interp(np.arange(frames), grid.frames, curve)
    found[:, 4] = np.clip(decibels - loud, *_LEVEL_DB) / 10
    found[:, 5] = 1.0
    return found


def asked_twice(spectrum: Spectrum, evidence: Evidence) -> Evidence:
    """The evidence with music where either the network or a kept pulse says so.

    The pulse is asked only where the network denies some of what sounds loud.

    Parameters
    ----------
    spectrum : Spectrum
    evidence : Evidence

    Returns
    -------
    Evidence
    """
    loud = loud_frames(spectrum, LOUD_DB)
    if not loud.any() or (evidence.music[loud] < 0).mean() < _DENIED:
        return evidence
    said = music_odds(evidence.network, "pulse", pulse_features(spectrum, evidence, counted_through(evidence))) - _DOUBT
    pulse = np.where(said > 0, np.minimum(said, _MOST), -np.inf)
    return replace(evidence, music=np.maximum(evidence.music, pulse), pulse=pulse)


def song_features(grid: BeatGrid, evidence: Evidence) -> np.ndarray:
    """What tells whether there is a song at all where beats are told.

    Parameters
    ----------
    grid : BeatGrid
        With beats.
    evidence : Evidence
        As `asked_twice` gives it.

    Returns
    -------
    ndarray, shape (5,)
        In the order of `SONG_FEATURES`: evidence on the beats of the clearest stretch; by how much they stand out of
        what lies between; how sure the network is of music on them, or a kept pulse; how often the stretch was halved
        for want of beats, as the clearest of a few say less than the clearest of many.
    """
    on, between = _on_and_between(evidence, grid)
    # A quiet first verse, or a long way out, says nothing against the band between.
    stretch = min(_CLEAREST, len(on))
    kernel = np.full(stretch, 1 / stretch)
    clear = np.convolve(on, kernel, "valid")
    best = int(clear.argmax())
    inside = slice(best, best + stretch)
    return np.array(
        [
            clear[best],
            float((on - between)[inside].mean()),
            float(np.clip(_surest_music(evidence), -_SUREST, _SUREST)[grid.frames[inside]].mean()),
            float(np.log2(_CLEAREST / stretch)),
            1.0,
        ]
    )


def _surest_music(evidence: Evidence) -> np.ndarray:
    """How sure network or pulse is of music, without the decoder's limits."""
    return evidence.music if evidence.heard is None else np.maximum(evidence.heard, evidence.music)


def _on_and_between(evidence: Evidence, grid: BeatGrid) -> tuple[np.ndarray, np.ndarray]:
    if not len(grid.frames):
        return np.zeros(0), np.zeros(0)
    after = np.append(grid.frames[1:], grid.frames[-1])
    return top_near(evidence.beat, grid.frames), top_near(evidence.beat, (grid.frames + after) // 2)


def _mean_near(values: np.ndarray, reach: int) -> np.ndarray:
    return np.asarray(ndimage.uniform_filter1d(values, 2 * reach + 1, mode="nearest"))
