"""Pack the band magnitudes and the truth of a folder of recordings into one small file, to train on elsewhere.

    python -m cuesuggest.analysis.training.pack FOLDER... -o songs.npz [--copies 2 --noise FOLDER]

Each folder holds audio files with a truth JSON of the same name beside each, as for `training.fit_evidence`.
With `--copies`, each recording with beats is packed so many times more, each time through another chain of
`training.degrade`.
"""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import click
import numpy as np
import soundfile

from cuesuggest.analysis.frames import RATE
from cuesuggest.analysis.spectrum import FRAME_RATE, Spectrum, hear
from cuesuggest.analysis.training.degrade import degraded, mono
from cuesuggest.analysis.training.fit_evidence import recordings
from cuesuggest.analysis.training.packed import STEPS
from cuesuggest.sound.recording import open_recording


def packed(spectrum: Spectrum, truth: dict[str, Any]) -> dict[str, np.ndarray]:
    """Bands of a recording as bytes, and its truth as arrays of frames.

    Parameters
    ----------
    spectrum : Spectrum
    truth : dict
        Where it has `known`, beats are known only in these spans; without `sections`, nothing is known of form, voice
        and builds. The beats of `attempts` that were broken off are taught like others.

    Returns
    -------
    dict of ndarray
        `bands` (uint8, differences in time modulo 256: they compress well), `beats` and `downbeats`, `sections`
        (starts, the first left out) in frames; `music`, `ignore`, `voice`, `build`, `blind` (where nothing is known of
        beats), `formless` (nothing of form) as spans, shape (n, 2), in frames.
    """
    steps = np.minimum(np.rint(spectrum.bands * STEPS), 255).astype(np.uint8)

    def frames(seconds: Any) -> np.ndarray:
        return (np.array(seconds, np.float32) * FRAME_RATE).astype(np.float32)

    def spans(pairs: list[Any]) -> np.ndarray:
        return frames(pairs).reshape(-1, 2)

    events = truth.get("events") or []
    sections = truth.get("sections") or []
    attempts = truth.get("attempts") or []

    def with_attempts(name: str) -> np.ndarray:
        return frames(sorted([*truth[name], *(time for attempt in attempts for time in attempt[name])]))

    ends = [0.0, *np.ravel(truth.get("known") or [[0.0, spectrum.end]]), spectrum.end]
    music: list[list[float]] = []
    if truth["beats"]:
        at = min([truth["music_start"], *(attempt["start"] for attempt in attempts)])
        for event in sorted((each for each in events if each["kind"] == "pause"), key=lambda each: each["start"]):
            music.append([at, event["start"]])
            at = event["end"]
        music.append([at, truth["music_end"]])
    sung = (truth.get("made") or {}).get("lead") == "voice"
    return {
        "bands": np.diff(steps, axis=0, prepend=np.zeros((1, steps.shape[1]), np.uint8)),
        "beats": with_attempts("beats"),
        "downbeats": with_attempts("downbeats"),
        "sections": frames([each["start"] for each in sections[1:]]),
        "music": spans(music),
        "ignore": spans(without_attempts(truth.get("ignore") or [], attempts)),
        "voice": spans([[s["start"], s["end"]] for s in sections if sung and "lead" in s.get("parts", ())]),
        "build": spans([[e["start"], e["end"]] for e in events if e["kind"] == "build"]),
        "blind": spans([pair for pair in zip(ends[::2], ends[1::2], strict=True) if pair[0] < pair[1]]),
        "formless": spans([] if "sections" in truth else [[0.0, spectrum.end]]),
    }


def without_attempts(spans: list[list[float]], attempts: list[dict[str, Any]]) -> list[list[float]]:
    """Spans that are to be ignored, without the attempts in them: these do not count as the song, but teach."""
    for attempt in attempts:
        a, b = attempt["start"], attempt["end"]
        spans = [
            part for start, end in spans for part in ([start, min(end, a)], [max(start, b), end]) if part[0] < part[1]
        ]
    return spans


def takes(
    path: Path, truth: dict[str, Any], count: int, seed: int, noises: list[np.ndarray]
) -> Iterator[tuple[str, Spectrum]]:
    """A recording, and so many degraded copies of it if it has beats, each by its name."""
    yield path.stem, hear(open_recording(path))
    if not count or not truth["beats"]:
        return
    sound = mono(path)
    with tempfile.TemporaryDirectory() as folder:
        for k in range(count):
            copy, _ = degraded(sound, np.random.default_rng([seed, k, *path.stem.encode()]), noises)
            file = Path(folder) / "copy.wav"
            soundfile.write(file, copy, RATE)
            yield f"{path.stem}_copy{k + 1}", hear(open_recording(file))


@click.command()
@click.argument("folders", nargs=-1, required=True, type=click.Path(exists=True, file_okay=False, path_type=Path))
@click.option("-o", "--output", default="songs.npz", type=click.Path(path_type=Path))
@click.option("--part", type=(int, int), default=(0, 1), help="Every so-many-th recording from one on: 0 2, then 1 2.")
@click.option("--copies", "count", default=0, help="Degraded copies of each recording with beats.")
@click.option("--seed", default=1, help="Of the copies.")
@click.option("--noise", type=click.Path(exists=True, file_okay=False, path_type=Path), help="Talk, applause, rooms.")
def main(
    folders: tuple[Path, ...], output: Path, part: tuple[int, int], count: int, seed: int, noise: Path | None
) -> None:
    """Pack every recording of the folders that has a truth file."""
    noises = [mono(path) for path, truth in recordings(noise) if not truth["beats"]] if noise else []
    songs = [each for folder in folders for each in recordings(folder)][part[0] :: part[1]]
    named = [
        (name, packed(spectrum, truth))
        for path, truth in songs
        for name, spectrum in takes(path, truth, count, seed, noises)
    ]
    found = [each for _, each in named]
    arrays: dict[str, np.ndarray] = {"names": np.array([name for name, _ in named])}
    for name in found[0]:
        arrays[name] = np.concatenate([each[name] for each in found])
        arrays[f"{name}_count"] = np.array([len(each[name]) for each in found])
    # Differences of neighbouring bands lie apart in memory: band by band they compress by a fifth better.
    arrays["bands"] = np.ascontiguousarray(arrays["bands"].T)
    np.savez_compressed(output, **arrays)  # type: ignore[arg-type]  # numpy's own keywords come first
    click.echo(f"{len(found)} recordings, {arrays['bands'].shape[1] / FRAME_RATE / 3600:.2f} h -> {output}")


if __name__ == "__main__":
    main()
