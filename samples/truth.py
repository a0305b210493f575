"""What a perfect listener would write down of a rendered song."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from itertools import pairwise
from pathlib import Path

import numpy as np
from band import RATE, SOUNDFONT, Clock
from notation import Song
from scipy import ndimage

Event = tuple[str, float, float]  # kind, start and end in seconds


def last_sound(music: np.ndarray) -> float:
    """Seconds at which music, shape (samples, channels), has fallen 38 dB below its loud passages for good."""
    # The running sum of the filter leaves silence a hair below nought.
    level = np.sqrt(ndimage.uniform_filter1d((music**2).mean(1), round(0.05 * RATE)).clip(0))
    heard = np.flatnonzero(level > np.percentile(level, 95) * 10 ** (-38 / 20))
    return float(heard[-1]) / RATE


def truth(
    song: Song,
    clock: Clock,
    audio: Path,
    duration: float,
    music: tuple[float, float],
    events: Sequence[Event],
    meter_accept: Sequence[int],
    script: Path,
) -> dict[str, object]:
    """Beats, bars, sections and events; seconds, to 0.1 ms.

    `music` is where the music starts and ends; `events` has all but count-in and ring-out, which follow from the song.
    """

    def at(beat: float) -> float:
        return round(clock(beat), 4)

    end, music_start, music_end = at(song.end), round(music[0], 4), round(music[1], 4)
    count = at(-song.count_beats)
    downbeats = [at(bar * song.beats) for bar in range(song.bars + 1)]
    bars = [
        {"number": number, "start": a, "end": b, "beats": song.beats, "time_signature": song.time_signature}
        for number, (a, b) in enumerate(pairwise(downbeats), 1)
    ]
    joints = [at(song.beat_of(part.name)) for part in song.form] + [music_end]
    sections = [
        {"start": a, "end": b, "label": part.label, "energy": part.energy, "name": part.name}
        for part, (a, b) in zip(song.form, pairwise(joints), strict=True)
    ]
    # In order of time; what starts together stays as it was told.
    told = sorted([("count-in", count, at(0)), *events, ("ring-out", end, music_end)], key=lambda event: event[1])
    return {
        "name": audio.stem,
        "audio": audio.name,
        "duration": round(duration, 4),
        "tempo_bpm": round(60 * song.beats / float(np.median(np.diff(downbeats))), 4),
        "beats": [at(beat) for beat in range(song.end + 1)],
        "downbeats": downbeats,
        "meter": song.beats,
        "meter_accept": list(meter_accept),
        "time_signature": song.time_signature,
        "bars": bars,
        "sections": sections,
        "events": [{"kind": kind, "start": round(a, 4), "end": round(b, 4)} for kind, a, b in told],
        "music_start": music_start,
        "music_end": music_end,
        # Where a beat is neither right nor wrong: in the count-in and while the last chord rings.
        "ignore": [
            [at(-song.count_beats - 0.5), round(at(0) - 0.08, 4)],
            [round(end + 0.08, 4), round(duration, 4)],
        ],
        "made": {"title": song.title, "band": song.band, "script": script.name, "soundfont": SOUNDFONT.stem},
    }


def same_passages(song: Song, other: Song, other_truth: str) -> dict[str, object]:
    """Which section of another take each section of this one answers, by name; None where the other has none."""
    names = {part.name for part in other.form}
    answers = [{"name": part.name, "answers": part.name if part.name in names else None} for part in song.form]
    return {"truth": other_truth, "sections": answers}


def write_truth(path: Path, content: Mapping[str, object]) -> None:
    path.write_text(json.dumps(content, indent=1) + "\n", encoding="utf-8")
