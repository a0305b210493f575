"""Songs drawn as frames: bands, level and logits of bars in 4/4 at 120 BPM, without a sound.

A bar is a letter: F the full band, Q the band played softly, P a pad without drums and bass, R full with a roll of the
snare in the last beat, S silence.
"""

from dataclasses import fields

import numpy as np

from cuesuggest.analysis.energy import bar_energy
from cuesuggest.analysis.finding.scene import Scene
from cuesuggest.analysis.finding.talk_signs import hear_around
from cuesuggest.analysis.frames import HEADS
from cuesuggest.analysis.spectrum import FRAME_RATE, Spectrum, band_edges

BEAT = 0.5
FRAMES = round(4 * BEAT * FRAME_RATE)  # of a bar
_CENTRES = band_edges()[1:-1]
KICK, SNARE, HAT = _CENTRES < 140, (_CENTRES > 140) & (_CENTRES < 2500), _CENTRES > 4000
_LOUDNESS = {"F": 0.03, "R": 0.03, "Q": 0.004, "P": 0.004, "S": 0.0}


def _bar(letter):
    bands = np.zeros((FRAMES, len(_CENTRES)))
    if letter == "S":
        return bands
    size = {"Q": 0.5}.get(letter, 1.0)
    bands[:, (_CENTRES > 200) & (_CENTRES < 1500)] = 1.5 * size
    if letter == "P":
        return bands
    bands[:, KICK] = 1.2 * size
    strokes = [(0, KICK), (2, KICK), (1, SNARE), (3, SNARE), *((k / 2, HAT) for k in range(8))]
    if letter == "R":
        strokes += [(3 + k / 4, SNARE) for k in range(1, 4)]
    for beat, which in strokes:
        at = round(beat * BEAT * FRAME_RATE)
        tail = np.exp(-np.arange(FRAMES - at) / 3)
        bands[at:, which] = np.maximum(bands[at:, which], (3 * size * tail)[:, None])
    return bands


def draw(letters, **heads):
    """A scene and its energy.

    Parameters
    ----------
    letters : str
        A bar each.
    heads : list of float
        Logits by the names of `frames.HEADS`, one a bar; -6 where none are given.
    """
    bands = np.concatenate([_bar(letter) for letter in letters])
    loud = np.repeat([_LOUDNESS[letter] for letter in letters], FRAMES)
    end = len(bands) / FRAME_RATE
    spectrum = Spectrum(0.0, end, bands, loud, np.zeros((int(end * 10), 12)), loud[::5], 0.1)
    logits = np.full((len(HEADS), len(bands)), -6.0)
    for name, values in heads.items():
        logits[HEADS.index(name)] = np.repeat(values, len(bands) // len(values))
    starts = np.arange(len(letters)) * 4 * BEAT
    known = {
        "spectrum": spectrum,
        "decibels": spectrum.decibels,
        "heads": dict(zip(HEADS, logits, strict=True)),
        "beats": np.arange(4 * len(letters)) * BEAT,
        "runs": np.zeros(4 * len(letters), int),
        "starts": starts,
        "ends": starts + 4 * BEAT,
        "lengths": np.full(len(letters), 4),
        "numbers": np.arange(len(letters)) + 1,
        "beat": BEAT,
        "music_start": 0.0,
        "music_end": end,
        "heard": hear_around(spectrum, logits[HEADS.index("music")]),
        "broken_off": [],
        "last_attack": float(starts[-1]),
        "last_strength": 1.0,
    }
    scene = Scene(**{field.name: known.get(field.name) for field in fields(Scene)})
    return scene, bar_energy(spectrum, starts, starts + 4 * BEAT, logits)
