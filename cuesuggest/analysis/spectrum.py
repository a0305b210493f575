"""The single pass over the audio: everything the analysis needs of a recording, as frames.

Two rates: loudness is measured per channel at the recording's own rate; bands and chroma are taken from a mono stream
at 22.05 kHz. Memory grows with the number of frames (13 kB a second), not with the samples.
"""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import suppress
from dataclasses import dataclass

import numpy as np
import soxr
from scipy import fft, ndimage

from cuesuggest.analysis.frames import BANDS, FRAME_RATE, HOP, LOUD, RATE, band_edges
from cuesuggest.analysis.loudness import LoudnessMeter
from cuesuggest.errors import RecordingError
from cuesuggest.sound.recording import SHORTEST_SECONDS, Recording, Window

__all__ = [
    "BANDS",
    "CHROMA_RATE",
    "FEATURE_VERSION",
    "FRAME_RATE",
    "Spectrum",
    "band_edges",
    "hear",
    "let_go",
    "means_within",
    "running_sums",
    "scaled",
]

FEATURE_VERSION = 1
CHROMA_RATE = 10.0
_FFT = 2048
_CHROMA_FFT = 8192
_CHROMA_HOP = round(RATE / CHROMA_RATE)
_CHROMA_RANGE = (65.0, 2100.0)  # C2 to C7: below, an 8192-point window cannot tell semitones apart
# The loud frames of recordings made with care lie in this range of dBFS; others are brought to its edge. Below, a voice
# memo of a distant band would count as silence; above are floats written on the scale of whole numbers.
_USUAL_DB = (-30.0, 0.0)
_MOST_GAIN_DB = 40.0  # so that the noise of a converter stays silence
# A constant offset holds more than this share of the first seconds' power; of sub-bass up to 2 % may look like one.
_OFFSET = 0.05
_CHUNK = 2048  # frames transformed at once: small enough for a processor's cache, large enough for numpy
_MANY = 100_000  # frames, half an hour
# A mono sum that holds less than this share of the channels' power has lost its music to opposite phase.
_CANCELLED = 0.02


@dataclass(frozen=True, slots=True)
class Spectrum:
    """A recording as frames. Frame k of `bands` is centred at k / 50 s after `start`.

    Attributes
    ----------
    start, end : float
        The heard part, in seconds from the start of the file.
    bands : ndarray of float32, shape (frames, 64)
        Compressed magnitudes, log(1 + g x), where g sets the 95th percentile of the active frames to 50.
    level : ndarray of float32, shape (frames,)
        Mean square of the mono stream around each frame, without a constant offset, on a scale where the loud frames of
        the recording lie between -30 and 0 dB.
    chroma : ndarray of float32, shape (chroma frames, 12)
        Magnitude per pitch class, C first, 10 frames a second; frame k centred at k / 10 s after `start`.
    power : ndarray of float64, shape (hops,)
        K-weighted power in steps of `power_step` seconds.
    """

    start: float
    end: float
    bands: np.ndarray
    level: np.ndarray
    chroma: np.ndarray
    power: np.ndarray
    power_step: float

    @property
    def seconds(self) -> np.ndarray:
        """Centres of the frames in seconds from the start of the file."""
        return self.start + np.arange(len(self.bands)) / FRAME_RATE

    @property
    def decibels(self) -> np.ndarray:
        """Level of the frames in dB, never under -100."""
        return np.asarray(10 * np.log10(np.maximum(self.level, 1e-10)))

    @property
    def rise(self) -> np.ndarray:
        """Mean rise of the bands over two frames: how strong an attack is, on the scale of the bands."""
        rise = np.zeros(len(self.bands))
        rise[2:] = np.maximum(self.bands[2:] - self.bands[:-2], 0).mean(axis=1)
        return rise


def running_sums(values: np.ndarray) -> np.ndarray:
    """Sums of the first 0, 1, 2 … rows: the difference of two is the sum of the rows between them.

    Parameters
    ----------
    values : ndarray, shape (n, …)

    Returns
    -------
    ndarray of float64, shape (n + 1, …)
    """
    sums = np.zeros((len(values) + 1, *values.shape[1:]))
    np.cumsum(values, axis=0, out=sums[1:])
    return sums


def means_within(rows: np.ndarray, rate: float, starts: np.ndarray, ends: np.ndarray, parts: int) -> np.ndarray:
    """Means of rows over equal pieces of spans of time, such as the quarters of bars.

    Parameters
    ----------
    rows : ndarray, shape (n, columns)
    rate : float
        Rows a second.
    starts, ends : ndarray, shape (spans,)
        Seconds after the first row.
    parts : int
        Pieces of each span.

    Returns
    -------
    ndarray, shape (spans, parts, columns)
    """
    edges = starts[:, None] + (ends - starts)[:, None] * np.arange(parts + 1) / parts
    place = np.clip(np.rint(edges * rate).astype(int), 0, len(rows) - 1)
    sums = running_sums(rows)
    first, last = place[:, :-1], np.maximum(place[:, 1:], place[:, :-1] + 1)
    return np.asarray((sums[last] - sums[first]) / (last - first)[:, :, None])


def hear(
    recording: Recording, window: Window | None = None, progress: Callable[[float], None] | None = None
) -> Spectrum:
    """Decode a recording once and turn it into frames.

    Parameters
    ----------
    recording : Recording
    window : Window, optional
        The part to hear.
    progress : callable, optional
        Called with the seconds heard so far.

    Returns
    -------
    Spectrum

    Raises
    ------
    RecordingError
        If there is less than a second of sound in the window.
    """
    window = window or Window()
    spectrum, cancelled = _one_pass(recording, window, None, progress)
    if cancelled is not None:
        spectrum, _ = _one_pass(recording, window, cancelled, progress)
    let_go(len(spectrum.bands))
    return spectrum


def let_go(frames: int) -> None:
    """Give freed memory back after a step over a long recording: glibc keeps 100 MB after two hours, in small pieces.

    Parameters
    ----------
    frames : int
        Of the recording; of a short one there is little to give back, and the time is saved.
    """
    if frames < _MANY:
        return
    import ctypes

    with suppress(AttributeError, OSError, TypeError):  # other systems do it by themselves, or not at all
        ctypes.CDLL(None).malloc_trim(0)


def _one_pass(
    recording: Recording, window: Window, channel: int | None, progress: Callable[[float], None] | None
) -> tuple[Spectrum, int | None]:
    """Frames of the mono sum, or of one channel; and the channel to take if the sum has cancelled out."""
    meter = LoudnessMeter(recording.sample_rate, recording.channels)
    frames = _Frames(recording.sample_rate)
    count = 0
    offset = np.float32(0.0)
    mono_power = 0.0
    sums, powers = np.zeros(recording.channels), np.zeros(recording.channels)
    mix = np.full(recording.channels, 1 / recording.channels, np.float32)
    if channel is not None:
        mix = np.eye(recording.channels, dtype=np.float32)[channel]
    # Loudness is measured beside the rest, block by block: its transforms let go of the interpreter. A thread for each
    # part was no faster on two cores.
    with ThreadPoolExecutor(1) as beside:
        measured: Future[None] | None = None
        for block in recording.blocks(window):
            if measured:
                measured.result()
            measured = beside.submit(meter.add, block)
            mono = block @ mix
            if not count:
                offset = _constant(mono)
            mono -= offset
            count += len(block)
            if recording.channels > 1:
                sums += np.ones(len(block), np.float32) @ block
                powers += np.einsum("ij,ij->j", block, block)
                mono_power += float(mono @ mono)
            frames.add(mono)
            if progress:
                progress(window.start + count / recording.sample_rate)
        if measured:
            measured.result()
    duration = count / recording.sample_rate
    if duration < SHORTEST_SECONDS:
        raise RecordingError(
            f"{recording.path} holds {duration:.2f} s of sound in the chosen part; at least "
            f"{SHORTEST_SECONDS:g} s are needed. Choose a longer recording or a wider --from and --to."
        )
    bands, level, chroma = frames.finish(round(duration * RATE))
    bands, level = scaled(bands, level)
    spectrum = Spectrum(
        start=window.start,
        end=window.start + duration,
        bands=bands,
        level=level,
        chroma=chroma,
        power=meter.finish(),
        power_step=meter.step,
    )
    # A constant offset of the channels is no sound that could be lost.
    sounding = powers - sums**2 / count
    lost = channel is None and mono_power < _CANCELLED * sounding.mean()
    return spectrum, int(sounding.argmax()) if lost else None


def _constant(mono: np.ndarray) -> np.float32:
    """Offset that an interface adds to all samples; left in, it would be a click at the start and no silence at all."""
    mean = mono.mean(dtype=np.float64)
    return np.float32(mean if mean**2 > _OFFSET * np.mean(mono**2, dtype=np.float64) else 0.0)


class _Frames:
    """Brings a stream to 22.05 kHz, cuts it into overlapping frames and keeps band magnitudes, level and chroma."""

    def __init__(self, sample_rate: int) -> None:
        self._resample = soxr.ResampleStream(sample_rate, RATE, 1, dtype="float32", quality="HQ")
        self._fast = _Cutter(_FFT, HOP)
        self._slow = _Cutter(_CHROMA_FFT, _CHROMA_HOP)
        self._band_weights = _band_matrix()
        self._chroma_weights, self._chroma_bins = _chroma_matrix()
        self._bands: list[np.ndarray] = []
        self._level: list[np.ndarray] = []
        self._chroma: list[np.ndarray] = []

    def add(self, samples: np.ndarray) -> None:
        self._cut(self._resample.resample_chunk(samples))

    def _cut(self, samples: np.ndarray) -> None:
        for frames in self._fast.add(samples):
            magnitude = np.abs(fft.rfft(frames * self._fast.taper, axis=1))
            self._bands.append(magnitude @ self._band_weights)
            middle = frames[:, _FFT // 2 - HOP : _FFT // 2 + HOP]
            self._level.append(np.einsum("ij,ij->i", middle, middle) / (2 * HOP))
        for frames in self._slow.add(samples):
            magnitude = np.abs(fft.rfft(frames * self._slow.taper, axis=1)[:, self._chroma_bins])
            self._chroma.append(magnitude @ self._chroma_weights)

    def finish(self, length: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        self._cut(self._resample.resample_chunk(np.zeros(0, np.float32), last=True))
        self._cut(np.zeros(_CHROMA_FFT, np.float32))  # so that the last frames are whole
        frames, slow = length // HOP + 1, length // _CHROMA_HOP + 1
        return (
            np.concatenate(self._bands)[:frames],
            np.concatenate(self._level)[:frames],
            np.concatenate(self._chroma)[:slow],
        )


class _Cutter:
    """Overlapping frames of a stream; the first is centred on sample 0."""

    def __init__(self, size: int, hop: int) -> None:
        self.size, self.hop = size, hop
        self.taper = np.hanning(size + 1)[:-1].astype(np.float32)
        self._rest = np.zeros(size // 2, np.float32)

    def add(self, samples: np.ndarray) -> list[np.ndarray]:
        stream = np.concatenate([self._rest, samples])
        count = (len(stream) - self.size) // self.hop + 1
        if count < 1:
            self._rest = stream
            return []
        self._rest = stream[count * self.hop :].copy()
        frames = np.lib.stride_tricks.sliding_window_view(stream, self.size)[:: self.hop][:count]
        return [frames[k : k + _CHUNK] for k in range(0, count, _CHUNK)]


def _band_matrix() -> np.ndarray:
    edges = band_edges()
    bins = np.arange(_FFT // 2 + 1) * RATE / _FFT
    rise = (bins[:, None] - edges[None, :-2]) / (edges[1:-1] - edges[:-2])
    fall = (edges[None, 2:] - bins[:, None]) / (edges[2:] - edges[1:-1])
    weights = np.maximum(np.minimum(rise, fall), 0)
    # The lowest bands are narrower than a bin: each takes its nearest bin, so that none is empty.
    empty = weights.sum(axis=0) < 0.5
    nearest = np.rint(edges[1:-1] * _FFT / RATE).astype(int)
    weights[nearest[empty], np.flatnonzero(empty)] = 1.0
    return (weights / weights.sum(axis=0)).astype(np.float32)


def _chroma_matrix() -> tuple[np.ndarray, slice]:
    low, high = (round(f * _CHROMA_FFT / RATE) for f in _CHROMA_RANGE)
    hertz = np.arange(low, high) * RATE / _CHROMA_FFT
    pitch = 69 + 12 * np.log2(hertz / 440)
    distance = np.abs((pitch[:, None] - np.arange(12) + 6) % 12 - 6)
    weights = np.exp(-0.5 * (distance / 0.35) ** 2)
    # A semitone spans more bins the higher it lies: without this, treble would outvote the rest.
    weights *= (100.0 / hertz)[:, None]
    return weights.astype(np.float32), slice(low, high)


def scaled(bands: np.ndarray, level: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Bring magnitudes and level to the scale of a recording's own active frames.

    Parameters
    ----------
    bands : ndarray of float32, shape (frames, 64)
        Magnitudes on any scale; used up.
    level : ndarray of float32, shape (frames,)
        Mean square.

    Returns
    -------
    bands, level : ndarray
        As a `Spectrum` has them.
    """
    return _compress(bands, level), _in_usual_range(level)


def _compress(bands: np.ndarray, level: np.ndarray) -> np.ndarray:
    """Scale to the active frames and compress; silence or talk around a song must not move the scale."""
    active = bands[active_frames(level)]
    loud = float(np.percentile(active, 95, overwrite_input=True)) if len(active) else 0.0
    if loud <= 0:
        return np.zeros_like(bands)
    np.multiply(bands, LOUD / loud, out=bands)
    return np.log1p(bands, out=bands)


def _in_usual_range(level: np.ndarray) -> np.ndarray:
    """Bring the level of a very quiet or overdriven recording into the range of others; leave the others alone."""
    active = level[active_frames(level)]
    if not len(active):
        return level
    loud = 10 * np.log10(np.percentile(active, 95))
    gain = min(float(np.clip(loud, *_USUAL_DB) - loud), _MOST_GAIN_DB)
    return level * np.float32(10 ** (gain / 10)) if gain else level


def loud_frames(spectrum: Spectrum, within: float) -> np.ndarray:
    """Active frames at which, within a second, the level is no more than so many dB under the loud passages.

    Parameters
    ----------
    spectrum : Spectrum
    within : float
        Decibels.

    Returns
    -------
    ndarray of bool, shape (frames,)
    """
    decibels = ndimage.uniform_filter1d(spectrum.decibels, round(FRAME_RATE), mode="nearest")
    active = active_frames(spectrum.level)
    return active & (decibels > np.percentile(decibels[active], 90) - within) if active.any() else active


def active_frames(level: np.ndarray) -> np.ndarray:
    """Frames within 30 dB of the loud ones.

    Parameters
    ----------
    level : ndarray, shape (frames,)
        Mean square.

    Returns
    -------
    ndarray of bool, shape (frames,)
    """
    # The top percent, not the maximum: one knock on the microphone is no measure.
    loud = float(np.percentile(level, 99)) if len(level) else 0.0
    return level > max(loud * 1e-3, 1e-10)
