"""Time the stages of `suggest` on a recording, each in seconds, best of several runs.

    python tests/benchmarks/stages.py FILE [--runs 3]

The start is measured in a fresh process; the other stages in this one, after a first run that warms the disk cache.
Times of different machines are not comparable; the document prints machine and versions beside them.
"""

import argparse
import json
import platform
import subprocess
import sys
import time

import numpy as np
import scipy

from cuesuggest.analysis.energy import bar_energy
from cuesuggest.analysis.listen import analyze_spectrum
from cuesuggest.analysis.rhythm import find_rhythm
from cuesuggest.analysis.rhythm.decoder import decode
from cuesuggest.analysis.rhythm.evidence import observe
from cuesuggest.analysis.rhythm.network import heads_of
from cuesuggest.analysis.rhythm.tempo_bins import tempo_bins
from cuesuggest.analysis.spectrum import hear
from cuesuggest.rules import draft, load_profile, load_rig
from cuesuggest.sound.recording import open_recording


def best(runs, work):
    times = []
    for _ in range(runs):
        start = time.perf_counter()
        result = work()
        times.append(time.perf_counter() - start)
    return min(times), result


def cold(words):
    start = time.perf_counter()
    subprocess.run([sys.executable, *words], check=True, capture_output=True)
    return time.perf_counter() - start


def main():
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("file")
    parser.add_argument("--runs", type=int, default=3)
    args = parser.parse_args()
    recording = open_recording(args.file)
    stages = {"start: --help": min(cold(["-m", "cuesuggest", "--help"]) for _ in range(args.runs))}
    stages["decode alone"], _ = best(args.runs, lambda: sum(len(block) for block in recording.blocks()))
    stages["decode, resample, front end, loudness"], spectrum = best(args.runs, lambda: hear(recording))
    stages["network"], logits = best(args.runs, lambda: heads_of(spectrum))
    stages["evidence"], evidence = best(args.runs, lambda: observe(spectrum, logits))
    stages["decoder, one level"], _ = best(args.runs, lambda: decode(evidence, tempo_bins(110.0)))
    stages["decoder with choice of level"], rhythm = best(args.runs, lambda: find_rhythm(spectrum, evidence))
    whole, analysis = best(args.runs, lambda: analyze_spectrum(spectrum, logits))
    stages["form, energy and moments"] = whole - stages["evidence"] - stages["decoder with choice of level"]
    starts = rhythm.times[rhythm.grid.slots == 0]
    stages["(energy alone)"], _ = best(args.runs, lambda: bar_energy(spectrum, starts[:-1], starts[1:], logits))
    profile, rig = load_profile("band"), load_rig(None)
    stages["rules"], _ = best(args.runs, lambda: draft(analysis, profile, rig))
    words = ["-m", "cuesuggest", "--quiet", "analyze", args.file]
    stages["cold process, analyze"] = min(cold(words) for _ in range(args.runs))
    print(f"{spectrum.end:.0f} s of audio; {platform.machine()}, Python {platform.python_version()}, ", end="")
    print(f"numpy {np.__version__}, scipy {scipy.__version__}")
    for name, seconds in stages.items():
        print(f"{name:40s} {seconds:7.3f} s")
    print(json.dumps({name: round(seconds, 4) for name, seconds in stages.items()}))


if __name__ == "__main__":
    main()
