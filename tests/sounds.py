"""Sounds made of numbers, for tests that need them.

A small band (kick, snare, hat, bass and chords on a known grid), applause, and files of any kind to write them to.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path

import av
import numpy as np
import soundfile

RATE = 22050
LAYOUTS = {1: "mono", 2: "stereo", 6: "5.1", 8: "7.1"}
CHORDS = {  # roots, a bar each
    "A": (45, 41, 48, 43),
    "B": (41, 43, 45, 48),
    "C": (50, 46, 41, 48),
    "D": (40, 45, 42, 47),
    "E": (47, 40, 44, 42),
}

SNARES = {2: (1,), 3: (1, 2), 4: (1, 3), 5: (1, 3, 4)}  # beats, from 0, of bars with so many beats


@dataclass(frozen=True)
class Take:
    """A recording with its truth."""

    path: Path
    beats: np.ndarray
    downbeats: np.ndarray
    starts: dict[int, str]
    """Index of the first bar of each section -> its letter."""


def play(
    path: Path,
    form: str = "A8 B8 A8 B8",
    *,
    bpm: float = 112.0,
    lead: float = 1.0,
    stop_bar: int | None = None,
    count_in: bool = False,
    tail: float = 3.0,
    level: float = 0.5,
) -> Take:
    """Play a form in 4/4: A thin, B full, C in between.

    Parameters
    ----------
    path : Path
        WAV to write.
    form : str
        Letters with bars, as in tests.songs.
    bpm : float
    lead : float
        Seconds of silence before the first sound.
    stop_bar : int, optional
        Index of a bar (from 0) that is silent.
    count_in : bool
        Four sticks before the first bar.
    tail : float
        Seconds in which the last chord rings out.
    level : float
    """
    beat = 60 / bpm
    letters = [part[0] for part in form.split() for _ in range(int(part[1:]))]
    start = lead + (4 * beat if count_in else 0.0)
    total = start + len(letters) * 4 * beat + tail + 0.5
    sound = np.zeros(int(total * RATE))
    rng = np.random.default_rng(4)
    kick = _decay(0.25, 18) * np.sin(2 * np.pi * np.cumsum(np.linspace(150, 45, int(0.25 * RATE))) / RATE)
    snare = _decay(0.2, 25) * (rng.standard_normal(int(0.2 * RATE)) * 0.7 + np.sin(_phase(190, 0.2)) * 0.5)
    hat = _decay(0.05, 90) * np.diff(rng.standard_normal(int(0.05 * RATE) + 1))
    crash = _decay(1.5, 3) * np.diff(rng.standard_normal(int(1.5 * RATE) + 1)) * 0.6
    stick = _decay(0.03, 150) * np.sin(_phase(2400, 0.03))
    if count_in:
        for k in range(4):
            _add(sound, stick, lead + k * beat, 0.25)
    for bar, letter in enumerate(letters):
        if bar == stop_bar:
            continue
        full = {"A": 0.45, "B": 1.0, "C": 0.7, "D": 0.5, "E": 1.0}[letter]
        at = start + bar * 4 * beat
        root = CHORDS[letter][bar % 4]
        last = bar == len(letters) - 1
        length = tail if last else 4 * beat * 0.97
        for note in (root, root + 7, root + 12, root + 16 - (letter == "A")):
            tone = np.sin(_phase(_hertz(note), length)) + 0.4 * np.sin(_phase(2 * _hertz(note), length))
            _add(sound, tone * np.exp(-np.arange(len(tone)) / RATE * (2.0 if last else 0.8)), at, 0.07 * full)
        if last:
            _add(sound, kick, at, 0.8)
            _add(sound, crash, at, 0.2)
            break
        for k in range(4):
            bass = _decay(beat * 0.9, 3) * np.sin(_phase(_hertz(root - 12), beat * 0.9))
            _add(sound, bass, at + k * beat, 0.25 * full)
        for k in (0, 2):
            _add(sound, kick, at + k * beat, 0.8 * full)
        for k in (1, 3):
            _add(sound, snare, at + k * beat, 0.35 * full)
        for k in range(8):
            _add(sound, hat, at + k * beat / 2, (0.12 if k % 2 == 0 else 0.06) * full)
        if bar % 8 == 0:
            _add(sound, crash, at, 0.25 * full)
    sound += rng.standard_normal(len(sound)) * 1e-4
    soundfile.write(path, (sound / np.abs(sound).max() * level).astype(np.float32), RATE)
    beats = start + beat * np.arange(4 * (len(letters) - 1) + 1)
    starts, bar = {}, 0
    for part in form.split():
        starts[bar] = part[0]
        bar += int(part[1:])
    return Take(path, beats, beats[::4], starts)


def applause(seconds: float, *, claps: float = 120.0, seed: int = 1) -> np.ndarray:
    """So many claps a second at random: short bursts of noise of every strength."""
    rng = np.random.default_rng(seed)
    sound = np.zeros(int(seconds * RATE))
    for at in rng.uniform(0, seconds - 0.1, int(claps * seconds)):
        length = int(RATE * rng.uniform(0.004, 0.02))
        burst = rng.standard_normal(length) * np.exp(-4 * np.arange(length) / length)
        _add(sound, burst, at, rng.lognormal(0, 0.7))
    return sound / np.abs(sound).max() * 0.6


def babble(seconds: float, *, seed: int = 1, pitch: float = 120.0) -> np.ndarray:
    """Syllables four or five times a second: a gliding harmonic voice through two moving formants, and hisses."""
    rng = np.random.default_rng(seed)
    sound, at = np.zeros(int(seconds * RATE)), 0.0
    while at < seconds - 0.4:
        length = rng.uniform(0.1, 0.2)
        time = np.arange(int(length * RATE)) / RATE
        glide = pitch * rng.uniform(0.85, 1.25) * (1 + rng.uniform(-0.25, 0.25) * time / length)
        phase = 2 * np.pi * np.cumsum(glide) / RATE
        formants = rng.uniform(300, 800), rng.uniform(900, 2300)
        voice = sum(
            np.sin(n * phase) * sum(np.exp(-(((n * pitch - f) / (0.18 * f)) ** 2)) for f in formants)
            for n in range(1, 24)
        )
        voice *= np.hanning(len(time))
        place = int(at * RATE)
        sound[place : place + len(voice)] += voice * rng.uniform(0.6, 1.0)
        hiss = np.diff(rng.standard_normal(int(0.05 * RATE) + 1)) * np.hanning(int(0.05 * RATE)) * 0.08
        place += len(voice)
        sound[place : place + len(hiss)] += hiss[: max(0, len(sound) - place)]
        at += length + 0.05 + rng.uniform(0.0, 0.06)
        if rng.random() < 0.12:
            at += rng.uniform(0.1, 0.25)
    return sound / np.abs(sound).max() * 0.4


def encode(
    path: Path,
    samples: np.ndarray,
    rate: int,
    codec: str,
    *,
    tracks: int = 1,
    picture: float | None = None,
    late: float = 0.0,
    title: str = "",
    options: dict[str, str] | None = None,
) -> None:
    """Write a file through PyAV; its name says which container.

    Parameters
    ----------
    path : Path
    samples : ndarray, shape (n, channels)
    rate : int
    codec : str
    tracks : int
        How often the same sound is in the file.
    picture : float, optional
        Seconds of picture to go with it.
    late : float
        Seconds by which the sound starts after the picture, told by time stamps alone.
    title : str
        Its tag.
    options : dict, optional
        For the container.
    """
    layout = LAYOUTS[samples.shape[1]]
    with av.open(str(path), "w", options=options or {}) as container:
        if title:
            container.metadata["title"] = title
        film = None if picture is None else container.add_stream("mpeg4", rate=25, width=64, height=48)
        streams = [container.add_stream(codec, rate=rate, layout=layout) for _ in range(tracks)]
        if film is not None:
            film.pix_fmt = "yuv420p"
            for k in range(round(picture * 25)):
                image = np.full((48, 64, 3), 5 * k % 250, np.uint8)
                frame = av.VideoFrame.from_ndarray(image, format="rgb24").reformat(format="yuv420p")
                frame.pts, frame.time_base = k, Fraction(1, 25)
                container.mux(film.encode(frame))
            container.mux(film.encode(None))
        for start in range(0, len(samples), 1024):
            part = samples[start : start + 1024].astype(np.float32).reshape(1, -1)
            for stream in streams:
                frame = av.AudioFrame.from_ndarray(part, format="flt", layout=layout)
                frame.sample_rate, frame.time_base = rate, Fraction(1, rate)
                frame.pts = start + round(late * rate)
                container.mux(stream.encode(frame))
        for stream in streams:
            container.mux(stream.encode(None))


def _decay(seconds: float, rate: float) -> np.ndarray:
    return np.exp(-rate * np.arange(int(seconds * RATE)) / RATE)


def _phase(hertz: float, seconds: float) -> np.ndarray:
    return 2 * np.pi * hertz * np.arange(int(seconds * RATE)) / RATE


def _hertz(pitch: float) -> float:
    return 440 * 2 ** ((pitch - 69) / 12)


def _add(sound: np.ndarray, part: np.ndarray, at: float, gain: float) -> None:
    place = round(at * RATE)
    part = part[: len(sound) - place]
    sound[place : place + len(part)] += gain * part


def drum_loop(
    path: Path,
    beats: np.ndarray,
    *,
    bar: int = 4,
    opens: list[int] | None = None,
    parts: int = 2,
    swung: bool = False,
    tail: float = 1.5,
) -> Take:
    """Play drums and a bass on given beats; the bass changes its note from bar to bar.

    Parameters
    ----------
    path : Path
        WAV to write.
    beats : ndarray
        Seconds, rising; the first opens a bar. Over a gap of more than two beats nothing is played, and the first
        beat after it opens a bar.
    bar : int
        Beats in a bar.
    opens : list of int, optional
        Which beats open bars, where not all bars are alike.
    parts : int
        Hats to a beat.
    swung : bool
        Of three hats to a beat the middle one is left out.
    tail : float
        Seconds after the last beat.
    """
    drums = _drums()
    gaps = np.diff(beats, append=beats[-1] + np.median(np.diff(beats)))
    apart = gaps > 2.2 * np.median(gaps)
    sound = np.zeros(int((beats[-1] + tail) * RATE))
    slot, bars, found = 0, 0, []
    for index, (at, gap, last) in enumerate(zip(beats, np.where(apart, np.median(gaps), gaps), apart, strict=True)):
        if opens is not None:
            slot = 0 if index in opens else slot
            bars = sum(index >= each for each in opens) - 1
        if slot == 0:
            found.append(at)
        root = CHORDS["A"][bars % 4] - 12
        note = _decay(gap * 0.9, 3) * np.sin(_phase(_hertz(root), gap * 0.9))
        _add(sound, note, at, 0.35 if slot == 0 else 0.2)
        struck = slot in SNARES[bar]
        _add(sound, drums["snare" if struck else "kick"], at, 0.35 if struck else 0.8)
        for k in range(parts):
            if not (swung and k == 1):
                _add(sound, drums["hat"], at + k * gap / parts, 0.06 if k else 0.12)
        slot = 0 if last else slot + 1 if opens is not None else (slot + 1) % bar
        bars += slot == 0
    sound += np.random.default_rng(6).standard_normal(len(sound)) * 1e-4
    soundfile.write(path, (sound / np.abs(sound).max() * 0.5).astype(np.float32), RATE)
    return Take(path, np.asarray(beats), np.array(found), {0: "A"})


def metronome(path: Path, beats: np.ndarray, *, bar: int = 4) -> Take:
    """Tick on given beats, the first of each bar higher and louder, over a soft chord that changes with the bar.

    Parameters
    ----------
    path : Path
        WAV to write.
    beats : ndarray
        Seconds, rising; the first opens a bar.
    bar : int
        Beats in a bar.
    """
    sound = np.zeros(int((beats[-1] + 1.0) * RATE))
    for k, at in enumerate(beats):
        tick = _decay(0.04, 120) * np.sin(_phase(1000 if k % bar else 1500, 0.04))
        _add(sound, tick, at, 0.3 if k % bar else 0.6)
    for k in range(0, len(beats), bar):
        length = beats[min(k + bar, len(beats) - 1)] - beats[k]
        root = CHORDS["A"][k // bar % 4]
        chord = sum(np.sin(_phase(_hertz(note), length)) for note in (root, root + 7, root + 12, root + 15))
        _add(sound, chord * np.hanning(len(chord)) ** 0.2, beats[k], 0.02)
    sound += np.random.default_rng(6).standard_normal(len(sound)) * 1e-4
    soundfile.write(path, sound.astype(np.float32), RATE)
    return Take(path, np.asarray(beats), np.asarray(beats)[::bar], {0: "A"})


def beats_at(tempi: np.ndarray, first: float = 1.0) -> np.ndarray:
    """Beats whose tempo is given one by one.

    Parameters
    ----------
    tempi : ndarray, shape (n,)
        BPM from each beat to the next.
    first : float
        Seconds.

    Returns
    -------
    ndarray, shape (n + 1,)
        Seconds.
    """
    return first + np.concatenate([[0.0], np.cumsum(60 / np.asarray(tempi, float))])


def _drums() -> dict[str, np.ndarray]:
    rng = np.random.default_rng(4)
    sweep = np.cumsum(np.linspace(150, 45, int(0.25 * RATE)))
    return {
        "kick": _decay(0.25, 18) * np.sin(2 * np.pi * sweep / RATE),
        "snare": _decay(0.2, 25) * (rng.standard_normal(int(0.2 * RATE)) * 0.7 + np.sin(_phase(190, 0.2)) * 0.5),
        "hat": _decay(0.05, 90) * np.diff(rng.standard_normal(int(0.05 * RATE) + 1)),
    }
