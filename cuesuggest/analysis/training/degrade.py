"""Copies of recordings as a phone in a loud room would have made them: sound to train, fit and judge on.

    python -m cuesuggest.analysis.training.degrade FOLDER... -o OUT [--copies 3] [--seed 1] [--noise FOLDER]

Each copy passes a chain of its own: a room, somebody who talks next to the microphone, the microphone, a gain control,
an overload, a noise suppressor, hiss, a lossy codec. What is drawn is wider and harsher than what most recordings have
been through. Nothing in it moves an attack: direct sound comes first, filters have the least phase, and the delay of a
codec is measured and taken out. The truth beside each recording is copied, with what was drawn in `copy`.
"""

from __future__ import annotations

import io
import json
import multiprocessing
from collections.abc import Callable
from pathlib import Path
from typing import Any

import av
import click
import numpy as np
import soundfile
import soxr
from scipy import ndimage, signal

from cuesuggest.analysis.frames import RATE
from cuesuggest.analysis.training.fit_evidence import recordings
from cuesuggest.sound.recording import open_recording

BLOCK = RATE // 50  # samples between two gains of an automatic control
# Codec, container, its fastest way of working, bit rates (kbit/s), sample rates: voice memos, messages, old cameras.
CODECS = (
    ("aac", "adts", {"aac_coder": "fast"}, (32, 48, 64), (22050, 32000, 44100)),
    ("libopus", "ogg", {"compression_level": "0"}, (8, 12, 16, 24), (16000, 48000)),
    ("libmp3lame", "mp3", {"compression_level": "9"}, (24, 32, 48), (16000, 22050, 32000)),
)


def mono(path: Path) -> np.ndarray:
    """Samples of a recording at 22.05 kHz, its channels summed.

    Parameters
    ----------
    path : Path

    Returns
    -------
    ndarray of float32, shape (samples,)
    """
    recording = open_recording(path)
    sound = np.concatenate([block.mean(axis=1) for block in recording.blocks()])
    return np.asarray(soxr.resample(sound, recording.sample_rate, RATE), np.float32)


def degraded(
    sound: np.ndarray, random: np.random.Generator, noises: list[np.ndarray]
) -> tuple[np.ndarray, dict[str, Any]]:
    """One copy of a sound, through a chain drawn anew.

    Parameters
    ----------
    sound : ndarray, shape (samples,)
        At 22.05 kHz.
    random : Generator
    noises : list of ndarray
        Talk, applause, rooms: what may be near the microphone; may be empty.

    Returns
    -------
    sound : ndarray of float32, shape (samples,)
    drawn : dict
        What was done to it, for the record.
    """
    drawn: dict[str, Any] = {}
    sound = sound / loud(sound)
    if random.random() < 0.85:
        sound = in_a_room(sound, random, drawn)
    if len(noises) and random.random() < 0.3:
        sound = with_company(sound, noises[int(random.integers(len(noises)))], random, drawn)
    sound = through_microphone(sound, random, drawn)
    # A phone turns down and then overloads, a cheap recorder overloads and then turns down.
    steps: list[Callable[[np.ndarray, np.random.Generator, dict[str, Any]], np.ndarray]] = [overloaded, levelled]
    chosen = [step for step, share in zip(steps, (0.65, 0.7), strict=True) if random.random() < share]
    for step in chosen if random.random() < 0.5 else chosen[::-1]:
        sound = step(sound, random, drawn)
    if random.random() < 0.2:
        sound = denoised(sound, random, drawn)
    drawn["hiss_db"] = round(float(random.uniform(-60, -22)), 1)
    sound = sound + coloured_noise(len(sound), random) * 10 ** (drawn["hiss_db"] / 20)
    sound *= 10 ** (random.uniform(-30, -3) / 20) / loud(sound)
    sound = np.clip(sound, -1, 1).astype(np.float32)
    if random.random() < 0.6:
        sound = through_codec(sound, random, drawn)
    return sound, drawn


def loud(sound: np.ndarray) -> float:
    """Level of loud moments, silence not counted."""
    heard = np.abs(sound[::7])
    heard = heard[heard > 0.003 * heard.max(initial=0.0)]
    return float(np.percentile(heard, 95)) + 1e-9 if len(heard) else 1.0


def in_a_room(sound: np.ndarray, random: np.random.Generator, drawn: dict[str, Any]) -> np.ndarray:
    """Direct sound, some early reflections, a tail that is duller than the band and longer in the low end."""
    decay = float(np.exp(random.uniform(np.log(0.15), np.log(1.6))))
    wet = float(random.uniform(0.15, 1.4))
    length = int(1.1 * decay * RATE)
    time = np.arange(length) / RATE
    tail = random.standard_normal(length)
    dull = signal.butter(1, random.uniform(1500, 7000), fs=RATE, output="sos")
    low = signal.butter(1, random.uniform(150, 400), fs=RATE, output="sos")
    ringing = signal.sosfilt(low, random.standard_normal(length)) * 10 ** (-3 * time / (decay * random.uniform(1, 1.8)))
    tail = signal.sosfilt(dull, tail) * 10 ** (-3 * time / decay) + random.uniform(0, 1.5) * ringing
    tail[: int(random.uniform(0.002, 0.02) * RATE)] = 0
    for _ in range(int(random.integers(2, 9))):
        at = int(random.uniform(0.002, 0.05) * RATE)
        if at < length:
            tail[at] += random.choice([-1, 1]) * random.uniform(1, 4) * 10 ** (-3 * at / RATE / decay)
    tail *= wet / (np.sqrt(np.square(tail).sum()) + 1e-9)
    tail[0] += 1.0
    drawn.update(decay=round(decay, 2), wet=round(wet, 2))
    found = signal.oaconvolve(sound, tail)[: len(sound)]
    return np.asarray(found / loud(found))


def with_company(
    sound: np.ndarray, noise: np.ndarray, random: np.random.Generator, drawn: dict[str, Any]
) -> np.ndarray:
    """Somebody talks, claps or moves things nearer to the microphone than the band."""
    decibels = float(random.uniform(-26, -2))
    other = np.resize(np.roll(noise, int(random.integers(len(noise)))), len(sound))
    drawn["company_db"] = round(decibels, 1)
    return sound + other / loud(other) * 10 ** (decibels / 20)


def through_microphone(sound: np.ndarray, random: np.random.Generator, drawn: dict[str, Any]) -> np.ndarray:
    """Low and high cut, a slope, some narrow peaks and holes."""
    low, high = float(random.uniform(30, 260)), float(np.exp(random.uniform(np.log(3400), np.log(10800))))
    parts = [
        signal.butter(int(random.integers(1, 4)), low, "highpass", fs=RATE, output="sos"),
        signal.butter(int(random.integers(1, 4)), high, fs=RATE, output="sos"),
    ]
    for _ in range(int(random.integers(1, 6))):
        centre = float(np.exp(random.uniform(np.log(80), np.log(7000))))
        parts.append(bell(centre, float(random.uniform(0.7, 6)), float(random.uniform(-10, 12))))
    drawn.update(low=round(low), high=round(high))
    found = signal.sosfilt(np.concatenate(parts), sound)
    return np.asarray(found / loud(found))


def bell(centre: float, narrow: float, decibels: float) -> np.ndarray:
    """A peaking filter of second order (Bristow-Johnson, "Audio EQ Cookbook").

    Parameters
    ----------
    centre : float
        Hz.
    narrow : float
        Centre over width.
    decibels : float

    Returns
    -------
    ndarray, shape (1, 6)
    """
    gain, angle = 10 ** (decibels / 40), 2 * np.pi * centre / RATE
    alpha = np.sin(angle) / (2 * narrow)
    row = np.array(
        [1 + alpha * gain, -2 * np.cos(angle), 1 - alpha * gain, 1 + alpha / gain, -2 * np.cos(angle), 1 - alpha / gain]
    )
    return np.asarray(row[None] / row[3])


def overloaded(sound: np.ndarray, random: np.random.Generator, drawn: dict[str, Any]) -> np.ndarray:
    """More than the microphone bears: bent, or cut off, at twice the rate so that less folds back."""
    drive = float(np.exp(random.uniform(np.log(0.4), np.log(6))))
    wide = signal.resample_poly(sound, 2, 1) * drive
    kind = str(random.choice(["bent", "cut", "lopsided"]))
    if kind == "bent":
        wide = np.tanh(wide)
    elif kind == "cut":
        wide = np.clip(wide, -1, 1)
    else:
        wide = np.tanh(wide + 0.4) - np.tanh(0.4)
    drawn.update(drive=round(drive, 2), overload=kind)
    found = signal.resample_poly(wide, 1, 2)[: len(sound)]
    return np.asarray(found / loud(found))


def levelled(sound: np.ndarray, random: np.random.Generator, drawn: dict[str, Any]) -> np.ndarray:
    """An automatic gain that turns loud passages down at once, or slowly, and up again later."""
    count = -(-len(sound) // BLOCK)
    level = np.sqrt(np.square(np.resize(sound, count * BLOCK)).reshape(count, BLOCK).mean(axis=1) + 1e-8)
    attack = float(np.exp(random.uniform(np.log(0.01), np.log(0.4))))
    release = float(np.exp(random.uniform(np.log(0.08), np.log(4.0))))
    rise, fall = (1 - float(np.exp(-BLOCK / RATE / seconds)) for seconds in (attack, release))
    held, now = np.empty(count), float(level[0])
    for k, value in enumerate(level.tolist()):
        now += (rise if value > now else fall) * (value - now)
        held[k] = now
    power = float(random.uniform(0.3, 1.0))
    most = 10 ** (random.uniform(10, 40) / 20)
    gain = np.minimum((np.percentile(held, 90) / np.maximum(held, 1e-9)) ** power, most)
    drawn.update(levelled=round(power, 2), attack=round(attack, 3), release=round(release, 2))
    found = sound * np.interp(np.arange(len(sound)), (np.arange(count) + 0.5) * BLOCK, gain)
    return np.asarray(found / loud(found))


def denoised(sound: np.ndarray, random: np.random.Generator, drawn: dict[str, Any]) -> np.ndarray:
    """A suppressor that takes what sounds all the time for noise, dense guitars included."""
    size, hop = 512, 128
    _, _, bins = signal.stft(sound.astype(np.float32), RATE, nperseg=size, noverlap=size - hop)
    power = ndimage.uniform_filter1d(np.abs(bins), 5, axis=1)
    reach = round(random.uniform(0.7, 3.0) * RATE / hop)
    floor = ndimage.minimum_filter1d(power, reach, axis=1)
    strength, least = float(random.uniform(0.5, 1.6)), 10 ** (-random.uniform(6, 18) / 20)
    gain = np.clip(1 - strength * floor / np.maximum(power, 1e-9), least, 1)
    drawn["denoised"] = round(strength, 2)
    found = signal.istft(bins * gain, RATE, nperseg=size, noverlap=size - hop)[1][: len(sound)]
    found = np.pad(found, (0, len(sound) - len(found)))
    return np.asarray(found / loud(found))


def coloured_noise(count: int, random: np.random.Generator) -> np.ndarray:
    """Hiss, or the rumble of a ventilator."""
    noise = random.standard_normal(count)
    if random.random() < 0.5:
        noise = signal.sosfilt(signal.butter(1, random.uniform(100, 2000), fs=RATE, output="sos"), noise)
    return np.asarray(noise / (noise.std() + 1e-9))


def through_codec(sound: np.ndarray, random: np.random.Generator, drawn: dict[str, Any]) -> np.ndarray:
    """Encoded at a low rate and decoded again; the delay is measured and taken out."""
    name, container, options, bits, rates = CODECS[int(random.choice(len(CODECS), p=[0.4, 0.4, 0.2]))]
    kbps, rate = int(random.choice(bits)), int(random.choice(rates))
    back = _round_trip(soxr.resample(sound, RATE, rate), rate, name, container, options, kbps)
    back = soxr.resample(back, rate, RATE)
    delay = _delay(sound, back)
    back = back[delay:] if delay > 0 else np.pad(back, (-delay, 0))
    drawn.update(codec=name, kbps=kbps, codec_rate=rate)
    return np.asarray(np.pad(back, (0, max(0, len(sound) - len(back))))[: len(sound)], np.float32)


def _round_trip(
    sound: np.ndarray, rate: int, name: str, container: str, options: dict[str, str], kbps: int
) -> np.ndarray:
    file = io.BytesIO()
    output: Any
    source: Any
    with av.open(file, "w", format=container) as output:
        stream = output.add_stream(name, rate=rate, layout="mono", options=options)
        stream.bit_rate = 1000 * kbps
        frame = av.AudioFrame.from_ndarray((np.clip(sound, -1, 1) * 32767).astype(np.int16)[None], "s16", "mono")
        frame.sample_rate = rate
        resampler = av.AudioResampler(stream.format.name, "mono", rate, frame_size=stream.codec_context.frame_size or 0)
        for part in [*resampler.resample(frame), *resampler.resample(None)]:
            output.mux(stream.encode(part))
        output.mux(stream.encode(None))
    file.seek(0)
    with av.open(file) as source:
        parts = []
        to_floats = av.AudioResampler("flt", "mono", rate)
        for frame in source.decode(audio=0):
            parts += [part.to_ndarray()[0] for part in to_floats.resample(frame)]
    return np.concatenate(parts)


def _delay(sound: np.ndarray, back: np.ndarray) -> int:
    """Samples by which a copy is late."""
    count = min(len(sound), len(back), 12 * RATE)
    first = max(0, (min(len(sound), len(back)) - count) // 2)
    a, b = sound[first : first + count], back[first : first + count]
    size = 2 * count
    match = np.fft.irfft(np.fft.rfft(b, size) * np.conj(np.fft.rfft(a, size)))
    reach = RATE // 5
    lags = np.concatenate([match[:reach], match[-reach:]])
    best = int(lags.argmax())
    return best if best < reach else best - 2 * reach


def copies(
    path: Path, truth: dict[str, Any], output: Path, count: int, seed: int, noises: list[np.ndarray]
) -> list[Path]:
    """Write copies of one recording, each with its truth beside it.

    Parameters
    ----------
    path : Path
    truth : dict
    output : Path
        A folder.
    count, seed : int
        The same recording name, number and seed make the same copy.
    noises : list of ndarray

    Returns
    -------
    list of Path
    """
    sound = mono(path)
    written = []
    for k in range(count):
        random = np.random.default_rng([seed, k, *path.stem.encode()])
        copy, drawn = degraded(sound, random, noises)
        target = output / f"{path.stem}_copy{k + 1}.flac"
        soundfile.write(target, copy, RATE)
        made = {**(truth.get("made") or {}), "copy": drawn}
        target.with_suffix(".json").write_text(json.dumps({**truth, "made": made}), encoding="utf-8")
        written.append(target)
    return written


@click.command()
@click.argument("folders", nargs=-1, required=True, type=click.Path(exists=True, file_okay=False, path_type=Path))
@click.option("-o", "--output", required=True, type=click.Path(file_okay=False, path_type=Path))
@click.option("--copies", "count", default=3, help="Of each recording.")
@click.option("--seed", default=1)
@click.option("--noise", type=click.Path(exists=True, file_okay=False, path_type=Path), help="Talk, applause, rooms.")
@click.option("--jobs", default=2)
def main(folders: tuple[Path, ...], output: Path, count: int, seed: int, noise: Path | None, jobs: int) -> None:
    """Write degraded copies of every recording of the folders that has a truth file."""
    output.mkdir(parents=True, exist_ok=True)
    noises = [mono(path) for path, truth in recordings(noise) if not truth["beats"]] if noise else []
    songs = [each for folder in folders for each in recordings(folder)]
    with multiprocessing.get_context("fork").Pool(jobs) as pool:
        tasks = [pool.apply_async(copies, (path, truth, output, count, seed, noises)) for path, truth in songs]
        written = [path for task in tasks for path in task.get()]
    click.echo(f"{len(written)} copies of {len(songs)} recordings -> {output}")


if __name__ == "__main__":
    main()
