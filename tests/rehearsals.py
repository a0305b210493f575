"""A small rehearsal with its truth: two songs, a false start, talk, applause, a player who tunes, one song again."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
import soundfile

from tests.sounds import RATE, applause, babble, play

__all__ = ["Rehearsal", "rehearse"]

FIRST, SECOND = "A8 B8 A8 B8", "D8 E8 D8"
_ROOM = 2e-4


@dataclass(frozen=True)
class Rehearsal:
    """A recording with its truth."""

    path: Path
    attempts: list[tuple[str, float, float, float]]
    """Song, first beat, last beat, seconds of a bar, in the order played."""
    false_start: tuple[float, float]
    between: list[tuple[str, float, float]]
    """What is no music: its kind, start and end."""


def rehearse(path: Path) -> Rehearsal:
    """Write a rehearsal of some four minutes.

    Parameters
    ----------
    path : Path
        WAV to write.
    """
    scratch = path.with_name("scratch.wav")
    parts: list[np.ndarray] = []
    attempts, between = [], []
    begun = (0.0, 0.0)

    def now() -> float:
        return sum(map(len, parts)) / RATE

    def other(kind: str, sound: np.ndarray) -> None:
        between.append((kind, now(), now() + len(sound) / RATE))
        parts.append(sound)

    def song(name: str, form: str, bpm: float) -> np.ndarray:
        take = play(scratch, form, bpm=bpm, lead=0.6, count_in=True)
        attempts.append((name, now() + take.beats[0], now() + take.beats[-1], 240 / bpm))
        parts.append(soundfile.read(scratch)[0])
        return take.downbeats

    other("talk", babble(7.0, seed=3))
    take = play(scratch, FIRST, bpm=112, lead=0.6, count_in=True)
    broken = take.downbeats[6] + 0.2
    begun = (now() + take.beats[0], now() + broken)
    parts.append(_broken_off(soundfile.read(scratch)[0][: int(broken * RATE)]))
    other("talk", babble(6.0, seed=4))
    song("first", FIRST, 112)
    other("crowd", applause(6.0, seed=5))
    other("talk", babble(5.0, seed=6))
    other("tuning", _tuning(9.0))
    song("second", SECOND, 92)
    other("talk", babble(4.0, seed=7))
    song("first", FIRST, 106)
    other("talk", babble(3.0, seed=8))
    scratch.unlink()
    whole = np.concatenate(parts)
    whole += _ROOM * np.random.default_rng(9).standard_normal(len(whole))
    soundfile.write(path, whole.astype(np.float32), RATE, subtype="PCM_16")
    return Rehearsal(path, attempts, begun, between)


def _broken_off(sound: np.ndarray) -> np.ndarray:
    """Hands off the strings, and a breath before anybody speaks."""
    count = int(0.05 * RATE)
    faded = sound.copy()
    faded[-count:] *= np.linspace(1, 0, count)
    return np.concatenate([faded, np.zeros(int(0.8 * RATE))])


def _tuning(seconds: float) -> np.ndarray:
    """Strings plucked one after the other, whenever the player likes."""
    rng = np.random.default_rng(11)
    sound, at = np.zeros(int(seconds * RATE)), 0.3
    while at < seconds - 1.5:
        pitch = 440 * 2 ** ((rng.choice([40, 45, 50, 55, 59, 64]) - 69) / 12) * rng.uniform(0.98, 1.02)
        time = np.arange(int(1.2 * RATE)) / RATE
        tone = sum(np.sin(2 * np.pi * n * pitch * time) / n for n in range(1, 6)) * np.exp(-4 * time)
        place = int(at * RATE)
        sound[place : place + len(tone)] += 0.1 * rng.uniform(0.5, 1) * tone
        at += rng.lognormal(-0.4, 0.6)
    return sound
