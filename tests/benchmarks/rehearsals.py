"""What `split` finds in long recordings, and its time and memory.

    python -m tests.benchmarks.rehearsals [FILE...] [--minutes 60]

Beside each FILE lies its truth, NAME.json: "attempts", each with its "song", "start", "end" (seconds, of the first and
the last sound) and "bar" (seconds of a usual bar), and "false_starts" with "start" and "end". Without FILE, a small
rehearsal of the tests is written one after another until it is as long as asked.

An attempt is found where a song that is told covers half of it and more; its edges count in its own bars. It is put
together rightly where it is with all attempts at its song and with no other. Seconds are of one core: the processor
seconds, user and system, of `split` from a cold start to its documents, and beside them those of decoding and framing
alone; memory is the most that the process held.
"""

import argparse
import json
import os
import re
import subprocess
import sys
import tempfile
from pathlib import Path

import numpy as np
import soundfile

from tests.benchmarks.lengths import taken
from tests.rehearsals import rehearse
from tests.sounds import RATE

HEAR = "import sys; from cuesuggest.analysis.spectrum import hear; from cuesuggest.sound.recording import open_recording; hear(open_recording(sys.argv[1]))"  # noqa: E501
FIND = """
import json, sys
from cuesuggest.draft.rehearsing import rehearsal_of
found = rehearsal_of(sys.argv[1])
print(json.dumps([[each.start, each.end, each.song, each.complete] for each in found.attempts]))
"""


def as_long(path: Path, minutes: float) -> None:
    """Write the small rehearsal one after another."""
    sound = soundfile.read(rehearse(path.with_name("small.wav")).path, dtype="float32")[0]
    with soundfile.SoundFile(path, "w", RATE, 1, "PCM_16") as file:
        for _ in range(max(1, round(minutes * 60 * RATE / len(sound)))):
            file.write(sound)


def judged(found: list[list], truth: dict) -> dict:
    """How the songs that were found answer the truth."""
    attempts = truth["attempts"]
    answers: dict[int, int] = {}
    for index, each in enumerate(attempts):
        shared = [min(end, each["end"]) - max(start, each["start"]) for start, end, *_ in found]
        best = max(range(len(found)), key=shared.__getitem__, default=None)
        if best is not None and shared[best] > 0.5 * (each["end"] - each["start"]) and best not in answers.values():
            answers[index] = best
    edges = [
        ((found[k][end] - attempts[index][name]) / attempts[index]["bar"], index, name)
        for index, k in answers.items()
        for end, name in ((0, "start"), (1, "end"))
    ]
    mates = {
        index: {other for other in answers if attempts[other]["song"] == attempts[index]["song"]} for index in answers
    }
    told = {
        index: {other for other in answers if found[answers[other]][2] == found[k][2]} for index, k in answers.items()
    }
    return {
        "attempts": len(attempts),
        "found": len(answers),
        "invented": len(found) - len(answers),
        "edges": edges,
        "together": sum(mates[index] == told[index] for index in answers),
    }


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("files", nargs="*", type=Path)
    parser.add_argument("--minutes", type=float, default=60)
    given = parser.parse_args()
    os.environ["OPENBLAS_NUM_THREADS"] = "1"
    edges: list[float] = []
    totals = dict.fromkeys(("attempts", "found", "invented", "together"), 0)
    with tempfile.TemporaryDirectory() as scratch:
        files = given.files or [Path(scratch) / "evening.wav"]
        if not given.files:
            as_long(files[0], given.minutes)
        for path in files:
            folder = Path(scratch) / re.sub(r"\W", "_", str(path))
            _, heard, _ = taken(["-c", HEAR, str(path)])
            _, spent, memory = taken(["-m", "cuesuggest", "--quiet", "split", str(path), "-o", str(folder)])
            minutes = soundfile.info(path).duration / 60
            print(
                f"{path.name}: {minutes:.1f} min, {spent:.1f} s of one core, {heard:.1f} s of it to hear it, "
                f"{memory:.0f} MB"
            )
            if not path.with_suffix(".json").exists():
                continue
            words = [sys.executable, "-c", FIND, str(path)]
            found = json.loads(subprocess.run(words, check=True, capture_output=True, text=True).stdout)
            result = judged(found, json.loads(path.with_suffix(".json").read_text(encoding="utf-8")))
            for name in totals:
                totals[name] += result[name]
            edges += [abs(error) for error, *_ in result["edges"]]
            worst = sorted(result["edges"], key=lambda each: -abs(each[0]))[:3]
            told = ", ".join(f"{name} of attempt {index + 1} {error:+.1f}" for error, index, name in worst)
            print(
                f"  {result['found']} of {result['attempts']} found, {result['invented']} invented, "
                f"{result['together']} put together rightly; worst edges in bars: {told}"
            )
    if edges:
        print(
            f"all: {totals['found']} of {totals['attempts']} found, {totals['invented']} invented, "
            f"{totals['together']} put together rightly; edges within two bars "
            f"{np.mean(np.array(edges) <= 2):.3f}, median {np.median(edges):.2f}, worst tenth from "
            f"{np.percentile(edges, 90):.1f}, worst {max(edges):.1f} bars"
        )


if __name__ == "__main__":
    main()
