"""Plans made by hand (tests/data/plans) beside drafts: how far they agree.

`python -m tests.plans` prints the table; `python -m tests.plans FOLDER` hears the songs of FOLDER anew first, and keeps
what was heard beside the plans.
"""

from __future__ import annotations

import gzip
import json
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from pydantic import TypeAdapter

from cuesuggest.analysis.types import Section, SongAnalysis
from cuesuggest.rules import Draft, draft, load_profile, load_rig
from cuesuggest.score.records import CATEGORIES, PlannedSection
from cuesuggest.song import analysis_json

FOLDER = Path(__file__).parent / "data" / "plans"
SAMPLES = Path(__file__).parent.parent / "samples"
READINGS = ("restrained", "generous")
_ACTIONS = ("recall", "fade-in", "crossfade", "fade-out", "cut-in", "cut-out", "ramp", "one-shot", "speed")


@dataclass(frozen=True)
class Plan:
    """Who lights what: a category for every bar of the truth, the seconds of entrances, how many actions."""

    categories: tuple[int, ...]
    entrances: tuple[float, ...]
    actions: int


def names() -> list[str]:
    """Songs of which there are two plans."""
    return sorted(path.name.removesuffix(".truth.json") for path in FOLDER.glob("*.truth.json"))


def truth_of(name: str) -> dict[str, Any]:
    truth: dict[str, Any] = json.loads((FOLDER / f"{name}.truth.json").read_text(encoding="utf-8"))
    return truth


def heard(name: str) -> SongAnalysis:
    """What the program hears of a song, as kept beside its plans."""
    kept = gzip.decompress((FOLDER / f"{name}.heard.json.gz").read_bytes())
    return TypeAdapter(SongAnalysis).validate_json(kept)


def by_hand(name: str, reading: str) -> Plan:
    """One of the two plans of a song."""
    plan = json.loads((FOLDER / f"{name}.{reading}.json").read_text(encoding="utf-8"))
    bars = [bar for bar in truth_of(name)["bars"] if bar["number"] >= 1]
    of_bar = {
        number: CATEGORIES.index(span["category"])
        for span in plan["spans"]
        for number in range(span["first_bar"], span["last_bar"] + 1)
    }
    return _plan(bars, [of_bar[bar["number"]] for bar in bars], plan["actions"])


def drafted(name: str, analysis: SongAnalysis, made: Draft) -> Plan:
    """A draft, laid over the bars of the truth by the seconds of their middles."""
    bars = [bar for bar in truth_of(name)["bars"] if bar["number"] >= 1]
    starts = {bar.number: bar.start for bar in analysis.bars}
    lit = []
    for section, each in zip(analysis.sections, made.plan, strict=True):
        edges = {**starts, section.first_bar: section.start, section.last_bar + 1: section.end}
        lit += [(edges[first], edges[end], CATEGORIES.index(name)) for first, end, name in spans(section, each)]

    def at(seconds: float) -> int:
        return next((value for start, end, value in lit if start <= seconds < end), 0)

    actions = sum(_times(cue) for cue in made.cues if cue.kind in _ACTIONS)
    ins = [cue.place.seconds for cue in made.cues if cue.kind in ("fade-in", "crossfade", "cut-in")]
    plan = _plan(bars, [at((bar["start"] + bar["end"]) / 2) for bar in bars], actions)
    return Plan(plan.categories, tuple(sorted(ins)), actions)


def spans(section: Section, each: PlannedSection) -> list[tuple[int, int, str]]:
    """A section of a plan as (first bar, bar after the last, category), once for each of its parts."""
    turns = [(part.first_bar, part.category) for part in each.parts] or [(section.first_bar, each.category)]
    ends = [*(first for first, _ in turns[1:]), section.last_bar + 1]
    return [(first, end, category) for (first, category), end in zip(turns, ends, strict=True)]


def _times(cue: Any) -> int:
    if cue.series is None:
        return 1
    series = cue.series
    return (series.last_bar - series.first_bar) // series.every_bars + 1 - len(series.skip)


def simple(name: str, analysis: SongAnalysis, how: str) -> Plan:
    """Drafts without craft: all dark, a change on every boundary, light where it is loud."""
    bars = [bar for bar in truth_of(name)["bars"] if bar["number"] >= 1]
    middles = [(bar["start"] + bar["end"]) / 2 for bar in bars]
    if how == "all rest":
        chosen = [0] * len(bars)
    elif how == "every boundary":
        starts = [section.start for section in analysis.sections]
        chosen = [1 + (max(np.searchsorted(starts, middle, "right") - 1, 0)) % 3 for middle in middles]
    else:
        played = [bar for bar in analysis.bars if bar.number >= 1]
        levels = np.array([bar.loudness_lufs for bar in played])
        steps = np.percentile(levels, (25, 50, 75))
        at = [int(np.argmin([abs((bar.start + bar.end) / 2 - middle) for bar in played])) for middle in middles]
        chosen = [int(np.searchsorted(steps, levels[k])) for k in at]
    changes = int(np.count_nonzero(np.diff(chosen)))
    return _plan(bars, chosen, 2 * changes)


def _plan(bars: list[dict[str, Any]], categories: list[int], actions: int) -> Plan:
    entrances = [
        bar["start"]
        for bar, here, before in zip(bars, categories, [0, *categories], strict=False)
        if here and here != before
    ]
    return Plan(tuple(int(each) for each in categories), tuple(entrances), actions)


def kappa(one: Plan, other: Plan) -> float:
    """Agreement of categories bar by bar beyond chance, a miss by two counted twice (Cohen 1968, linear weights)."""
    size = len(CATEGORIES)
    table = np.zeros((size, size))
    np.add.at(table, (one.categories, other.categories), 1 / len(one.categories))
    weights = np.abs(np.subtract.outer(np.arange(size), np.arange(size)))
    by_chance = float((weights * np.outer(table.sum(axis=1), table.sum(axis=0))).sum())
    return 1.0 if by_chance == 0 else 1 - float((weights * table).sum()) / by_chance


def entrances_alike(one: Plan, other: Plan, within: float) -> float:
    """F-measure of entrances that are within so many seconds of each other."""
    from mir_eval.util import match_events

    if not one.entrances or not other.entrances:
        return float(not one.entrances and not other.entrances)
    met = len(match_events(np.array(one.entrances), np.array(other.entrances), within))
    return 2 * met / (len(one.entrances) + len(other.entrances))


@dataclass(frozen=True)
class Agreement:
    """Means over songs."""

    kappa: float
    entrances: float
    actions: float
    """Ratio of the smaller to the larger number."""


def agreement(pairs: list[tuple[str, Plan, Plan]]) -> Agreement:
    """Mean agreement of pairs of plans, each with the song's name."""
    rows = []
    for name, one, other in pairs:
        half = 30 / (truth_of(name)["tempo_bpm"] or 120)
        few, many = sorted((one.actions, other.actions))
        rows.append((kappa(one, other), entrances_alike(one, other, half), few / many if many else 1.0))
    return Agreement(*(float(value) for value in np.mean(rows, axis=0)))


def table(profiles: tuple[str, ...] = ("gentle", "band", "club")) -> dict[str, dict[str, Agreement]]:
    """Agreement of every kind of draft with the plans of each reading, and of the plans with each other."""
    songs = names()
    hand = {(name, reading): by_hand(name, reading) for name in songs for reading in READINGS}
    rig = load_rig(None)
    made: dict[str, dict[str, Plan]] = {}
    analyses = {name: heard(name) for name in songs}
    for profile in profiles:
        style = load_profile(profile)
        made[profile] = {name: drafted(name, analyses[name], draft(analyses[name], style, rig)) for name in songs}
    for how in ("all rest", "every boundary", "by loudness"):
        made[how] = {name: simple(name, analyses[name], how) for name in songs}
    made["the other plan"] = {}
    found: dict[str, dict[str, Agreement]] = {}
    for kind, plans in made.items():
        found[kind] = {}
        for reading in READINGS:
            other = READINGS[1 - READINGS.index(reading)]
            found[kind][reading] = agreement(
                [(name, plans.get(name, hand[name, other]), hand[name, reading]) for name in songs]
            )
    return found


def main() -> None:
    if len(sys.argv) > 1:
        import cuesuggest

        for name in names():
            places = [*SAMPLES.glob(f"{name}.*"), *Path(sys.argv[1]).glob(f"{name}.*")]
            audio = next(path for path in places if path.suffix in (".flac", ".m4a", ".wav", ".ogg"))
            data = gzip.compress(analysis_json(cuesuggest.analyze(audio)), mtime=0)
            (FOLDER / f"{name}.heard.json.gz").write_bytes(data)
    print(f"{'':16s}" + "".join(f"{reading + ': kappa':>22s}  entrances  actions" for reading in READINGS))
    for kind, by_reading in table().items():
        cells = (f"{a.kappa:22.2f}{a.entrances:11.2f}{a.actions:9.2f}" for a in by_reading.values())
        print(f"{kind:16s}" + "".join(cells))


if __name__ == "__main__":
    main()
