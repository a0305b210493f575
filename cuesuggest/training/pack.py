"""Pack the band magnitudes and the truth of a folder of recordings into one small file, to train on elsewhere.

    python -m cuesuggest.training.pack FOLDER... -o songs.npz

Each folder holds audio files with a truth JSON of the same name beside each, as for `cuesuggest.training.evidence`.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click
import numpy as np

from cuesuggest.analysis.spectrum import FRAME_RATE, hear
from cuesuggest.recording import open_recording
from cuesuggest.training.evidence import recordings
from cuesuggest.training.packed import STEPS


def packed(path: Path, truth: dict[str, Any]) -> dict[str, np.ndarray]:
    """Bands of a recording as bytes, and its truth as arrays of frames.

    Parameters
    ----------
    path : Path
    truth : dict

    Returns
    -------
    dict of ndarray
        `bands` (uint8, differences in time modulo 256: they compress well), `beats` and `downbeats`, `sections`
        (starts, the first left out) in frames; `music`, `ignore`, `voice`, `build` as spans, shape (n, 2), in frames.
    """
    spectrum = hear(open_recording(path))
    steps = np.minimum(np.rint(spectrum.bands * STEPS), 255).astype(np.uint8)

    def frames(seconds: Any) -> np.ndarray:
        return (np.array(seconds, np.float32) * FRAME_RATE).astype(np.float32)

    def spans(pairs: list[Any]) -> np.ndarray:
        return frames(pairs).reshape(-1, 2)

    events = truth.get("events") or []
    sections = truth.get("sections") or []
    music: list[list[float]] = []
    if truth["beats"]:
        at = truth["music_start"]
        for event in sorted((each for each in events if each["kind"] == "pause"), key=lambda each: each["start"]):
            music.append([at, event["start"]])
            at = event["end"]
        music.append([at, truth["music_end"]])
    sung = (truth.get("made") or {}).get("lead") == "voice"
    return {
        "bands": np.diff(steps, axis=0, prepend=np.zeros((1, steps.shape[1]), np.uint8)),
        "beats": frames(truth["beats"]),
        "downbeats": frames(truth["downbeats"]),
        "sections": frames([each["start"] for each in sections[1:]]),
        "music": spans(music),
        "ignore": spans(truth.get("ignore") or []),
        "voice": spans([[s["start"], s["end"]] for s in sections if sung and "lead" in s.get("parts", ())]),
        "build": spans([[e["start"], e["end"]] for e in events if e["kind"] == "build"]),
    }


@click.command()
@click.argument("folders", nargs=-1, required=True, type=click.Path(exists=True, file_okay=False, path_type=Path))
@click.option("-o", "--output", default="songs.npz", type=click.Path(path_type=Path))
@click.option("--part", type=(int, int), default=(0, 1), help="Every so-many-th recording from one on: 0 2, then 1 2.")
def main(folders: tuple[Path, ...], output: Path, part: tuple[int, int]) -> None:
    """Pack every recording of the folders that has a truth file."""
    songs = [each for folder in folders for each in recordings(folder)][part[0] :: part[1]]
    found = [packed(*each) for each in songs]
    arrays: dict[str, np.ndarray] = {"names": np.array([path.stem for path, _ in songs])}
    for name in found[0]:
        arrays[name] = np.concatenate([each[name] for each in found])
        arrays[f"{name}_count"] = np.array([len(each[name]) for each in found])
    # Differences of neighbouring bands lie apart in memory: band by band they compress by a fifth better.
    arrays["bands"] = np.ascontiguousarray(arrays["bands"].T)
    np.savez_compressed(output, **arrays)  # type: ignore[arg-type]  # numpy's own keywords come first
    click.echo(f"{len(found)} recordings, {arrays['bands'].shape[1] / FRAME_RATE / 3600:.2f} h -> {output}")


if __name__ == "__main__":
    main()
