"""Stops and hits: the whole band is silent and goes on; the whole band strikes and is silent.

Both are gaps with music after them. What was struck right before a gap is a hit if it stands alone: the band did not
just leave off, it hit. Hits come in groups: one that has another within a bar is far surer than one alone. A gap is
told once, as what it more surely is, unless it surely is both: struck, and silent long after. Where the bars around
are full of such strokes as well, they are the groove.
"""

from __future__ import annotations

from cuesuggest.analysis.events.gaps import Gap
from cuesuggest.analysis.finding.likely import probability
from cuesuggest.analysis.finding.scene import Candidate, Scene

__all__ = ["hit_candidates", "stop_candidates", "stops_and_hits", "struck_candidates"]

_BOTH = 0.8
_AROUND_BARS = 8.0
_APART_BEATS = 0.45  # two eighths of a band, a little early or late
_MOST_AROUND = 4  # hits of other bars within eight: two groups more; beyond, the strokes are the groove


def stop_candidates(gaps: list[Gap]) -> list[Candidate]:
    """Every gap as a stop, from the fall to the re-entry."""
    return [Candidate("stop", gap.start, gap.end, gap.features) for gap in gaps]


def struck_candidates(gaps: list[Gap]) -> list[Candidate]:
    """The attack before every gap as a hit by itself, until its sound falls."""
    return [Candidate("hit", gap.attack, gap.start, gap.features, entry="struck") for gap in gaps]


def hit_candidates(scene: Scene, gaps: list[Gap]) -> list[Candidate]:
    """The attack before every gap as a hit, with what the surest other one within a bar says for it."""
    alone = [(each, probability(each)) for each in struck_candidates(gaps)]
    bar = float((scene.ends - scene.starts).mean())
    found = []
    for k, (each, own) in enumerate(alone):
        beside = [p for j, (other, p) in enumerate(alone) if j != k and abs(other.start - each.start) < bar]
        features = {"own": own, "beside": max(beside, default=0.0)}
        found.append(Candidate("hit", each.start, each.end, features))
    return found


def stops_and_hits(scene: Scene, gaps: list[Gap], least: float) -> list[tuple[Candidate, float]]:
    """Stops and hits that are surer than `least`, each with its confidence."""
    found = []
    for pair in zip(stop_candidates(gaps), hit_candidates(scene, gaps), strict=True):
        judged = sorted(((each, round(probability(each), 3)) for each in pair), key=lambda two: -two[1])
        found += judged if judged[1][1] >= _BOTH else [each for each in judged[:1] if each[1] >= least]
    bar = float((scene.ends - scene.starts).mean())
    found = _one_at_a_time(found, _APART_BEATS * scene.beat)
    hits = [each.start for each, _ in found if each.kind == "hit"]

    def groove(each: Candidate) -> bool:
        around = sum(bar < abs(other - each.start) < _AROUND_BARS * bar for other in hits)
        return each.kind == "hit" and around > _MOST_AROUND

    return [(each, confidence) for each, confidence in found if not groove(each)]


def _one_at_a_time(found: list[tuple[Candidate, float]], apart: float) -> list[tuple[Candidate, float]]:
    """Of hits closer together than so many seconds only the surest: a band does not strike as one that fast."""
    kept: list[tuple[Candidate, float]] = []
    for each, confidence in sorted(found, key=lambda pair: -pair[1]):
        if each.kind != "hit" or all(k.kind != "hit" or abs(k.start - each.start) >= apart for k, _ in kept):
            kept.append((each, confidence))
    return sorted(kept, key=lambda pair: pair[0].start)
