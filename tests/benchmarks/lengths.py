"""Time and memory of `suggest` by the length of the recording.

    python -m tests.benchmarks.lengths [--minutes 1 4 10 16 64 120] [--folder DIR]

The sound is a dozen short songs of the numbers' band (tests/sounds.py), each with its own form and tempo, written
one after another, without a gap and ever again, to a 48 kHz stereo FLAC of the asked length. Every length is suggested
in a child process of its own, from cold start to saved document. Seconds are wall time; processor seconds, user and
system on all cores, tell what a busy machine hides; memory is the most that the child held at any time. Times of
different machines are not comparable.
"""

import argparse
import json
import os
import platform
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
import soundfile
import soxr

from tests.sounds import RATE, play

RATE_OUT = 48000
SONGS = (
    ("A4 B8 A4 B8", 120.0), ("C4 A8 B8", 96.0), ("A8 B4 A8 B4", 132.0), ("B8 C8 B8", 104.0),
    ("C8 B8 C4", 88.0), ("A4 C4 B8 C4 B8", 144.0), ("B4 A8 B8 A4", 112.0), ("A8 C8 B8", 126.0),
    ("C4 B4 A8 B8", 76.0), ("B8 A8 B8", 138.0), ("A4 B4 C8 B8", 100.0), ("B4 C4 B4 A8 B4", 116.0),
)  # fmt: skip


def songs(folder: Path) -> list[np.ndarray]:
    """Every song once, 48 kHz stereo."""
    heard = []
    for form, bpm in SONGS:
        play(folder / "song.wav", form, bpm=bpm, lead=0.0, tail=1.0)
        mono = soxr.resample(soundfile.read(folder / "song.wav", dtype="float32")[0], RATE, RATE_OUT)
        late = np.concatenate([np.zeros(200, np.float32), mono[:-200]])  # some width between left and right
        heard.append(np.stack([mono, 0.8 * mono + 0.2 * late], axis=1))
    return heard


def write(path: Path, minutes: float, parts: list[np.ndarray]) -> None:
    left = round(minutes * 60 * RATE_OUT)
    with soundfile.SoundFile(path, "w", RATE_OUT, 2, "PCM_16") as file:
        turn = 0
        while left:
            part = parts[turn % len(parts)][:left]
            file.write(part)
            left -= len(part)
            turn += 1


def suggested(path: Path) -> tuple[dict, dict]:
    """What one suggestion took, and the document."""
    target = path.with_suffix(".cues.json")
    words = [sys.executable, "-m", "cuesuggest", "--quiet", "suggest", str(path), "-o", str(target)]
    environment = {**os.environ, "CUESUGGEST_CACHE": ""}  # what was heard before would be remembered
    start = time.perf_counter()
    # A process between, so that its only child is the one measured.
    script = (
        "import resource, subprocess, sys; subprocess.run(sys.argv[1:], check=True); "
        "used = resource.getrusage(resource.RUSAGE_CHILDREN); print(used.ru_maxrss, used.ru_utime + used.ru_stime)"
    )
    done = subprocess.run(
        [sys.executable, "-c", script, *words], check=True, capture_output=True, text=True, env=environment
    )
    seconds = time.perf_counter() - start
    kilobytes, processor = done.stdout.split()
    taken = {
        "seconds": round(seconds, 2),
        "processor": round(float(processor), 2),
        "megabytes": round(int(kilobytes) / 1024),
    }
    return taken, json.loads(target.read_text(encoding="utf-8"))


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--minutes", type=float, nargs="+", default=[1, 4, 10, 16, 64, 120])
    parser.add_argument("--folder", type=Path, help="keep sound and documents here")
    args = parser.parse_args()
    with tempfile.TemporaryDirectory() as temporary:
        folder = args.folder or Path(temporary)
        parts = songs(folder)
        rows = []
        print(f"{platform.machine()}, Python {platform.python_version()}, numpy {np.__version__}")
        heads = ("minutes", "seconds", "processor", "a minute", "megabytes", "bars", "cues")
        print("".join(f"{head:>11s}" for head in heads))
        for minutes in args.minutes:
            path = folder / f"{minutes:g}min.flac"
            write(path, minutes, parts)
            taken, document = suggested(path)
            counts = {"bars": len(document["analysis"]["bars"]), "cues": len(document["cues"])}
            rows.append({"minutes": minutes, **taken, **counts})
            shown = (minutes, taken["seconds"], taken["processor"], round(taken["processor"] / minutes, 2))
            print("".join(f"{value:11g}" for value in (*shown, taken["megabytes"], *counts.values())), flush=True)
            if not args.folder:
                path.unlink()
    print(json.dumps(rows))


if __name__ == "__main__":
    main()
