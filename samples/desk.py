"""What a mix is made with: filters, amplifier, compressor, rooms, limiter, and the files that come out."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import av
import numpy as np
import soundfile
from band import RATE
from scipy import ndimage, signal

AAC_FRAME = 1024  # samples; ISO/IEC 14496-3


def cut(sound: np.ndarray, kind: str, hertz: float | tuple[float, float], order: int = 2) -> np.ndarray:
    return signal.sosfilt(signal.butter(order, hertz, kind, fs=RATE, output="sos"), sound, axis=0)


def amplifier(sound: np.ndarray, drive: float) -> np.ndarray:
    """A guitar amplifier: one string or many into one valve, then a loudspeaker. Mono in the middle."""
    mono = cut(sound.mean(1), "highpass", 110)
    mono = mono + 0.8 * cut(mono, "bandpass", (500, 1600), 1)
    mono *= drive / (np.percentile(np.abs(mono[np.abs(mono) > 1e-4]), 95))
    # Four times the rate while it bends, so that no overtones fold back.
    up = signal.resample_poly(mono, 4, 1)
    bent = signal.resample_poly(np.tanh(up + 0.12) - np.tanh(0.12), 1, 4)
    box = cut(cut(bent, "lowpass", 4800, 4), "highpass", 85)
    box = box + 0.25 * cut(box, "bandpass", (1800, 3600), 1)
    return np.repeat(box[:, None], 2, axis=1)


def loud_level(sound: np.ndarray) -> float:
    """RMS of 0.4 s in dBFS, in a player's loud passages: the 90th percentile of what is not silent."""
    power = ndimage.uniform_filter1d((sound**2).mean(1), round(0.4 * RATE))[:: RATE // 20]
    return float(10 * np.log10(np.percentile(power[power > power.max() * 1e-3], 90)))


def squash(sound: np.ndarray, threshold: float, ratio: float) -> np.ndarray:
    """A compressor with 30 ms of RMS; threshold in dBFS."""
    level = 10 * np.log10(ndimage.uniform_filter1d((sound**2).mean(1), round(0.03 * RATE)).clip(1e-10))
    gain = np.minimum(0, (threshold - level) * (1 - 1 / ratio))
    return sound * 10 ** (ndimage.uniform_filter1d(gain, round(0.06 * RATE)) / 20)[:, None]


def hall(sound: np.ndarray, seconds: float, ceiling: float, rng: np.random.Generator) -> np.ndarray:
    """Reverberation: noise that falls 60 dB in `seconds`, highs faster, 12 ms behind the direct sound."""
    t = np.arange(round(1.2 * seconds * RATE)) / RATE
    noise = rng.normal(0, 1, (len(t), 2))
    bright = cut(noise, "bandpass", (900, ceiling)) * np.exp(-6.9 * t / (0.6 * seconds))[:, None]
    tail = cut(noise, "bandpass", (180, 900)) * np.exp(-6.9 * t / seconds)[:, None] + bright
    tail = np.pad(tail / np.sqrt((tail**2).sum(0)), ((round(0.012 * RATE), 0), (0, 0)))
    return signal.fftconvolve(sound, tail, axes=0)[: len(sound)]


def echo(sound: np.ndarray, seconds: float, share: float) -> np.ndarray:
    """Repeats that grow dull and change sides."""
    wet, step = sound, round(seconds * RATE)
    for _ in range(3):
        wet = cut(np.pad(wet, ((step, 0), (0, 0)))[: len(sound), ::-1], "lowpass", 3200, 1) * share
        sound = sound + wet
    return sound


def limit(sound: np.ndarray, ceiling: float) -> np.ndarray:
    """Look-ahead limiter: the gain is low enough for every peak within 4 ms, and slides between them."""
    span = round(0.008 * RATE) | 1
    peak = ndimage.maximum_filter1d(np.abs(sound).max(1), span)
    gain = np.minimum(1, ceiling / np.maximum(peak, 1e-9))
    return sound * ndimage.uniform_filter1d(gain, span)[:, None]


def write_ogg(path: Path, sound: np.ndarray, compression: float | None = None) -> None:
    """Vorbis; `compression` from 0 (large) to 1 (small), libsndfile's own choice where it is None."""
    options = {} if compression is None else {"compression_level": compression}
    # In blocks: libsndfile's Vorbis writer overflows its stack on one long write.
    with soundfile.SoundFile(path, "w", RATE, sound.shape[1], format="OGG", subtype="VORBIS", **options) as file:
        for start in range(0, len(sound), RATE):
            file.write(sound[start : start + RATE])


def write_m4a(path: Path, sound: np.ndarray, rate: int, bit_rate: int) -> int:
    """AAC in an MPEG-4 file; mono sound at `rate`, cut to whole frames so that every decoder gives the same length.

    Returns how many samples went into it.
    """
    sound = sound[: len(sound) // AAC_FRAME * AAC_FRAME]
    with av.open(str(path), "w", format="ipod") as container:
        stream = container.add_stream("aac", rate=rate, layout="mono", bit_rate=bit_rate)
        frame = av.AudioFrame.from_ndarray(sound.astype(np.float32)[None], format="fltp", layout="mono")
        # With a time stamp the file says how much of its start is the encoder's own and decoders leave that out.
        frame.sample_rate, frame.pts, frame.time_base = rate, 0, Fraction(1, rate)
        container.mux(stream.encode(frame))
        container.mux(stream.encode(None))
    return len(sound)
