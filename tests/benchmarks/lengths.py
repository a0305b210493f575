"""Time and memory of `suggest` by the length of the recording.

    python -m tests.benchmarks.lengths [--minutes 1 4 10 16 64 120] [--folder DIR] [--runs 3] [--librosa]

The sound is a dozen short songs of the numbers' band (tests/sounds.py), each with its own form and tempo, written
one after another, without a gap and ever again, to a 48 kHz stereo FLAC of the asked length. Every length is suggested
in a child process of its own, from cold start to saved document. Seconds are wall time; processor seconds, user and
system on all cores, tell what a busy machine hides; memory is the most that the child held at any time. Of several
runs the quickest counts. Times of different machines are not comparable, so --librosa runs `librosa.load` and
`librosa.beat.beat_track` on the same file, in a process of its own as well, in turn with ours; its compiled code is on
disk by then. The share is our seconds by its seconds.
"""

import argparse
import json
import os
import platform
import subprocess
import sys
import tempfile
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


LIBROSA = "import librosa, sys; y, sr = librosa.load(sys.argv[1]); librosa.beat.beat_track(y=y, sr=sr)"
# A process between, so that its only child is the one measured.
MEASURED = """
import resource, subprocess, sys, time
start = time.perf_counter()
subprocess.run(sys.argv[1:], check=True)
used = resource.getrusage(resource.RUSAGE_CHILDREN)
print(time.perf_counter() - start, used.ru_utime + used.ru_stime, used.ru_maxrss / 1024)
"""


def taken(words: list[str]) -> np.ndarray:
    """Seconds, processor seconds and megabytes of a command in a process of its own, with nothing remembered."""
    with tempfile.TemporaryDirectory() as cache:
        environment = {**os.environ, "CUESUGGEST_CACHE": cache}
        done = subprocess.run(
            [sys.executable, "-c", MEASURED, sys.executable, *words],
            check=True, capture_output=True, text=True, env=environment,
        )  # fmt: skip
    return np.array([float(word) for word in done.stdout.split()])


def suggested(path: Path) -> tuple[np.ndarray, dict]:
    """What one suggestion took, and the document."""
    target = path.with_suffix(".cues.json")
    target.unlink(missing_ok=True)
    used = taken(["-m", "cuesuggest", "--quiet", "suggest", str(path), "-o", str(target)])
    return used, json.loads(target.read_text(encoding="utf-8"))


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--minutes", type=float, nargs="+", default=[1, 4, 10, 16, 64, 120])
    parser.add_argument("--folder", type=Path, help="keep sound and documents here")
    parser.add_argument("--runs", type=int, default=1, help="of each; the quickest counts")
    parser.add_argument("--librosa", action="store_true", help="what librosa takes to load the file and track beats")
    args = parser.parse_args()
    with tempfile.TemporaryDirectory() as temporary:
        folder = args.folder or Path(temporary)
        parts = songs(folder)
        rows = []
        print(
            f"{platform.machine()}, {os.cpu_count()} cores, Python {platform.python_version()}, numpy {np.__version__}"
        )
        heads = ["minutes", "seconds", "processor", "megabytes", "bars", "cues"]
        heads += ["librosa", "its processor", "share"] if args.librosa else []
        print("".join(f"{head:>14s}" for head in heads))
        for minutes in args.minutes:
            path = folder / f"{minutes:g}min.flac"
            write(path, minutes, parts)
            ours, theirs = [], []
            if args.librosa:
                taken(["-c", LIBROSA, str(path)])  # compiles
            for _ in range(args.runs):
                used, document = suggested(path)
                ours.append(used)
                if args.librosa:
                    theirs.append(taken(["-c", LIBROSA, str(path)]))
            best = np.min(ours, axis=0)
            row = [minutes, *best.round(2), len(document["analysis"]["bars"]), len(document["cues"])]
            if theirs:
                other = np.min(theirs, axis=0)
                row += [*other[:2].round(2), (best[0] / other[0]).round(2)]
            rows.append(dict(zip(heads, map(float, row), strict=False)))
            print("".join(f"{value:14g}" for value in row), flush=True)
            if not args.folder:
                path.unlink()
    print(json.dumps(rows))


if __name__ == "__main__":
    main()
