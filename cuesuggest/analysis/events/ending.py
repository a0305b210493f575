"""How a song ends: with a chord that rings out, a short last hit, or a fade, slowing down or not, on a repeated tag."""

from __future__ import annotations

import numpy as np

from cuesuggest.analysis.finding.scene import Candidate, Scene
from cuesuggest.analysis.finding.spans import frame_at, loudness

__all__ = ["ending_candidates", "ritardando_candidates"]

_SLOWING = 4  # beats to the last attack that are looked at
_BEFORE_BARS = 4  # whose beats they are measured against, slot by slot, so that uneven beats are no slowing down
_LONGEST = 1.8  # of a usual beat; a longer one holds a beat that was not heard
_SLOWER = 1.06  # what the last two or three beats are, at least
_RINGS_SECONDS, _RINGS_BEATS = 1.5, 2.0  # what sounds longer after the last attack rings out


def ending_candidates(scene: Scene) -> list[Candidate]:
    """The last attack as the start of a ring-out, or as a last hit if its sound is short.

    Parameters
    ----------
    scene : Scene

    Returns
    -------
    list of Candidate
        One.
    """
    spectrum, beat, attack = scene.spectrum, scene.beat, scene.last_attack
    rings = scene.music_end - attack
    long = rings > max(_RINGS_SECONDS, _RINGS_BEATS * beat)
    rise = spectrum.rise
    a, b = frame_at(spectrum, attack), frame_at(spectrum, scene.music_end)
    after = rise[a + 10 : b].max(initial=0.0) / (rise[a] + 1e-6)
    bar = float(np.median(scene.ends - scene.starts))
    now = loudness(spectrum, attack, attack + min(rings, beat))
    before = loudness(spectrum, attack - bar, attack)
    song = loudness(spectrum, attack - 9 * bar, attack - 5 * bar)
    music = scene.heads["music"][a : a + 50]
    features = {
        "strength": min(scene.last_strength, 2.0),
        "rings": float(np.log2(max(rings, 0.05))),
        "after": float(min(after, 1.0)),
        "holds": float(np.clip(now - before, -20, 10)) / 10,
        "faded": float(np.clip(before - song, -30, 10)) / 10,
        "on_one": min(float(np.abs(scene.starts - attack).min()) / beat, 1.0),
        "on_beat": min(float(np.abs(scene.beats - attack).min()) / beat, 1.0),
        "later_beats": float(np.log1p((scene.beats > attack + 0.5 * beat).sum())),
        "past_beats": float(attack - float(scene.beats[-1]) > 1.5 * beat),
        "music": float(np.clip(music, -6, 6).mean()) if len(music) else 0.0,
    }
    if long:
        return [Candidate("ring-out", attack, scene.music_end, features)]
    return [Candidate("hit", attack, scene.music_end, features, entry="last hit")]


def ritardando_candidates(scene: Scene) -> list[Candidate]:
    """The last beats before the last attack, if two of the last three are slower than beats were before.

    Parameters
    ----------
    scene : Scene

    Returns
    -------
    list of Candidate
        None or one, from the beat that is first slower to the last attack.
    """
    beats = np.append(scene.beats[scene.beats < scene.last_attack - 0.4 * scene.beat], scene.last_attack)
    steps, per_bar = np.diff(beats), int(np.median(scene.lengths))
    if len(steps) < (_BEFORE_BARS + 2) * per_bar + _SLOWING:
        return []
    ratios = np.ones(_SLOWING)
    for k in range(1, _SLOWING + 1):
        same = steps[-k - per_bar * np.arange(2, _BEFORE_BARS + 2)]
        ratios[-k] = steps[-k] / np.median(same)
    slower = (ratios >= _SLOWER) & (ratios <= _LONGEST)
    if slower[-3:].sum() < 2 or not slower[-1]:
        return []
    first = int(np.flatnonzero(~slower)[-1]) + 1 if not slower.all() else 0
    if _SLOWING - first < 2:
        first = _SLOWING - 2 if slower[-3] else _SLOWING - 1
    logs = np.log(np.clip(ratios, 0.7, _LONGEST))
    features = {"last": float(logs[-1]), "before": float(logs[-2]), "third": float(logs[-3])}
    return [Candidate("ritardando", float(beats[-1 - (_SLOWING - first)]), scene.last_attack, features)]
