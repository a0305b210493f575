"""What would stop the evening, and what a designer would have to put right, in drafts of songs whose truth is known.

    python -m tests.benchmarks.drafts [FOLDER] [--style band]

Without a folder the twelve songs of tests/data/plans are taken, as they were heard. FOLDER holds recordings, each with
its NAME.json or NAME.truth.json beside it; they are heard. Show-stoppers are counted apart where the tool was sure
(0.8 or more) and had asked nothing about it. A repair is one correction between the draft and the truth. What the
draft makes of peaks, stops, drops and builds is counted by `tests.benchmarks.taste`.
"""

from __future__ import annotations

import argparse
import json
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field
from itertools import pairwise
from pathlib import Path
from statistics import median
from typing import Any

from cuesuggest.analysis.types import SongAnalysis
from cuesuggest.rules import Draft, Profile, draft, load_profile, load_rig
from cuesuggest.score.grid import Grid
from cuesuggest.score.light import hand_starts
from cuesuggest.score.records import Cue
from tests import plans
from tests.benchmarks import taste

SURE = 0.8
ENTERS = ("fade-in", "crossfade", "cut-in")
AUDIO = (".flac", ".ogg", ".wav", ".mp3", ".m4a")
ON_TIME = 0.15  # s; beyond it a cut is seen to be off
SAME_BOUNDARY = 0.5  # bars
ENERGY_APART = 0.15  # two sections whose energies differ by less have no order


@dataclass
class Result:
    """What went wrong in one song."""

    name: str
    style: str
    stoppers: list[tuple[str, float, bool]] = field(default_factory=list)
    """(kind, seconds, whether the tool was sure and silent)."""
    repairs: Counter[str] = field(default_factory=Counter)
    taste: Counter[str] = field(default_factory=Counter)
    actions: int = 0


def judged(name: str, truth: dict[str, Any], analysis: SongAnalysis, profile: Profile) -> Result:
    """Compare a draft with the truth of its song."""
    rig = load_rig(None)
    made = draft(analysis, profile, rig)
    result = Result(name, truth.get("style") or name.split("_")[0])
    asked = {cue for question in made.questions for cue in question.cues}
    for kind, cue, seconds in stoppers(truth, analysis, made):
        sure = _confidence(cue, seconds, analysis) >= SURE and (cue is None or cue.id not in asked)
        result.stoppers.append((kind, seconds, sure))
    result.repairs = Counter(dict(repairs(truth, analysis, made)))
    result.taste = taste.counted(truth, analysis, made, profile, rig)
    result.actions = taste.actions(made, Grid(analysis))
    return result


def _beat(truth: dict[str, Any]) -> float:
    """Return the middle length of a beat; where the tempo moves, no single figure is told."""
    return float(median(later - time for time, later in pairwise(truth["beats"])))


def _confidence(cue: Cue | None, seconds: float, analysis: SongAnalysis) -> float:
    """Of the cue, or of the bar in which a cue is missing."""
    if cue is not None:
        return cue.confidence
    return next((bar.confidence for bar in analysis.bars if bar.start <= seconds < bar.end), 0.0)


def stoppers(truth: dict[str, Any], analysis: SongAnalysis, made: Draft) -> Iterator[tuple[str, Cue | None, float]]:
    """Find what would stop the evening: kind, the cue that does it (None where one is missing), seconds."""
    looks = {look.id: look for look in made.looks}
    events = truth["events"]
    beat = _beat(truth)
    starts = [section["start"] for section in truth["sections"]]
    starts += [event["end"] for event in events if event["kind"] in ("stop", "build")]
    starts += [event["start"] for event in events if event["kind"] in ("drop", "hit")]
    downbeats = truth["downbeats"]
    for section in truth["sections"]:
        # A phrase of four bars inside a section is a place for a change, too.
        inside = [time for time in downbeats if section["start"] - 0.1 <= time < section["end"] - 0.1]
        starts += inside[::4]
    for cue in made.cues:
        big = cue.kind in ENTERS and cue.look in looks and looks[cue.look].category == "intense"
        at = cue.place.seconds
        if big and min(abs(at - each) for each in (*starts, *downbeats)) > max(ON_TIME, beat / 2):
            yield "big look off the bar", cue, at
        elif big and min(abs(at - each) for each in starts) > 2 * beat:
            yield "big look on a wrong bar", cue, at
    lit = _lit(made.cues)
    for event in events:
        if event["kind"] == "stop" and event["end"] - event["start"] >= max(1.0, 1.5 * beat):
            inside = any(low + beat < event["start"] < high - 2 * beat for low, high in lit)
            heard = any(e.kind == "stop" and abs(e.start - event["start"]) < 2 * beat for e in analysis.events)
            if inside and not heard:
                yield "missed stop", None, event["start"]
        if event["kind"] == "talk":
            over = [(low, high) for low, high in lit if min(high, event["end"]) - max(low, event["start"]) > 2.0]
            for low, high in over:
                entered = [cue for cue in made.cues if cue.kind in ENTERS and low - 1e-3 <= hand_starts(cue) < high]
                yield "effects over talk", entered[0] if entered else None, event["start"]
    last_hit = _last_attack(truth)
    for cue in made.cues:
        if cue.id.startswith("ending/") and cue is made.cues[-1]:
            bar = beat * analysis.meter if analysis.meter else 4 * beat
            if cue.place.seconds < last_hit - ON_TIME:
                yield "out before the last hit", cue, cue.place.seconds
            elif cue.place.seconds > truth["music_end"] + bar:
                yield "wrong ending", cue, cue.place.seconds


def _last_attack(truth: dict[str, Any]) -> float:
    rings = [event["start"] for event in truth["events"] if event["kind"] == "ring-out"]
    return rings[-1] if rings else min(truth["music_end"], truth["downbeats"][-1])


def _lit(cues: tuple[Cue, ...]) -> list[tuple[float, float]]:
    """When any effect light is to be seen."""
    spans, begin = [], None
    for cue in sorted(cues, key=hand_starts):
        if cue.kind in ENTERS and begin is None:
            begin = hand_starts(cue)
        elif cue.kind in ("fade-out", "cut-out") and begin is not None and cue.trigger != "held":
            spans.append((begin, hand_starts(cue) + (cue.down_seconds or 0.0)))
            begin = None
    return spans


def repairs(truth: dict[str, Any], analysis: SongAnalysis, made: Draft) -> Iterator[tuple[str, int]]:
    """Count single corrections: level, bar shift, start, boundaries, ranks of sections."""
    tempo = analysis.tempo_bpm or 0.0
    yield "level", int(abs(tempo * _beat(truth) / 60 - 1) > 0.04)
    yield "bar shift", _shifted_runs(truth["downbeats"], analysis)
    bar = truth["bars"][0]
    first = next((each.start for each in analysis.bars if each.number == 1), 0.0)
    yield "start", int(abs(first - bar["start"]) > (bar["end"] - bar["start"]) / 2)
    length = bar["end"] - bar["start"]
    true = [section["start"] for section in truth["sections"][1:]]
    heard = [section.start for section in analysis.sections[1:]]
    yield (
        "boundary",
        sum(min((abs(a - b) for b in heard), default=9e9) > SAME_BOUNDARY * length for a in true)
        + sum(min((abs(a - b) for b in true), default=9e9) > SAME_BOUNDARY * length for a in heard),
    )
    yield "category rank", _wrong_ranks(truth, analysis, made)


def _shifted_runs(downbeats: list[float], analysis: SongAnalysis) -> int:
    """Count stretches of bars whose ones are on another beat than the truth's."""
    starts = [bar.start for bar in analysis.bars]
    runs, wrong = 0, 0
    for time in downbeats:
        if starts and min(abs(time - start) for start in starts) > 0.1:
            wrong += 1
            runs += wrong == 2  # one bar alone is an odd bar, no shift
        else:
            wrong = 0
    return runs


def _wrong_ranks(truth: dict[str, Any], analysis: SongAnalysis, made: Draft) -> int:
    """Count the sections that have to change so that no louder one has less light, as it is lit, than a quieter one."""
    light = taste.Light(analysis, made, load_rig(None))
    rank = {section.id: light.within(section).rank for section in light.grid.sections}
    ranks = []
    for section in truth["sections"]:
        middle = (section["start"] + section["end"]) / 2
        there = next((each.id for each in analysis.sections if each.start <= middle < each.end), None)
        ranks.append((section["energy"], rank.get(there or "", 0)))
    left, count = list(range(len(ranks))), 0
    while True:
        clashes = Counter(
            k
            for i in left
            for j in left
            if ranks[i][0] > ranks[j][0] + ENERGY_APART and ranks[i][1] < ranks[j][1]
            for k in (i, j)
        )
        if not clashes:
            return count
        left.remove(clashes.most_common(1)[0][0])
        count += 1


def songs(folder: Path | None) -> Iterator[tuple[str, dict[str, Any], SongAnalysis]]:
    if folder is None:
        for name in plans.names():
            yield name, plans.truth_of(name), plans.heard(name)
        return
    from cuesuggest import analyze

    for path in sorted(folder.iterdir()):
        beside = [path.with_suffix(".truth.json"), path.with_suffix(".json")]
        truth = next((each for each in beside if each.exists()), None)
        if path.suffix in AUDIO and truth is not None:
            told = json.loads(truth.read_text(encoding="utf-8"))
            analysis = analyze(path)
            if told.get("sections") and len(told["beats"]) > 1 and analysis.sections:
                yield path.stem, told, analysis


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("folder", nargs="?", type=Path)
    parser.add_argument("--style", default="band", help="house style of the drafts")
    args = parser.parse_args()
    profile = load_profile(args.style)
    results = [judged(*song, profile) for song in songs(args.folder)]
    for result in results:
        told = ", ".join(f"{kind} at {at:.1f}{' SURE' if sure else ''}" for kind, at, sure in result.stoppers)
        print(f"{result.name:<28}{result.repairs.total():>3} repairs  {told}")
    stopped = Counter((kind, sure) for result in results for kind, _, sure in result.stoppers)
    print("\nshow-stoppers           sure and silent   unsure or asked")
    for kind in sorted({kind for kind, _ in stopped}):
        print(f"{kind:<24}{stopped[kind, True]:>15}{stopped[kind, False]:>18}")
    print(f"\nrepairs, median of {len(results)} songs: {median(each.repairs.total() for each in results):g}")
    total = sum((each.repairs for each in results), Counter[str]())
    print("  " + ", ".join(f"{kind} {count}" for kind, count in sorted(total.items())))
    for style in sorted({each.style for each in results}):
        own = [each.repairs.total() for each in results if each.style == style]
        print(f"  {style:<16}{median(own):g} ({len(own)} song{'s' * (len(own) > 1)})")
    counts = sum((each.taste for each in results), Counter[str]())
    print(f"\nin {args.style}, of what was heard")
    for kind in ("peaks", "peaks above the floor", "louder sections", "stops", "drops", "long builds"):
        print(f"  {kind:<24}{counts[f'{kind} played']:>4} of {counts[kind]}")
    for kind in ("songs with a dark loud section", "songs that idle", "songs lit over talk"):
        print(f"  {kind:<32}{counts[kind]:>3} of {counts['songs']}")
    print(f"  actions, median: {median(each.actions for each in results):g}")


if __name__ == "__main__":
    main()
