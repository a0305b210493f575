"""What the tool is unsure of, as questions that a listener can answer; the most weighty first."""

from __future__ import annotations

from collections.abc import Sequence

from cuesuggest.cues import Cue, Question, clock
from cuesuggest.rules.brief import Brief
from cuesuggest.rules.material import name

__all__ = ["questions"]


def questions(brief: Brief, cues: Sequence[Cue]) -> tuple[Question, ...]:
    """Ask about the beat, bar 1 and unsure section starts, ranked by the cues that hang on the answer."""
    found = [*_tempo(brief, cues), *_bar_one(brief, cues), *_boundaries(brief, cues)]
    hanging = [question for question in found if question.cues]
    hanging.sort(key=lambda question: (-len(question.cues), question.listen_at, question.id))
    return tuple(hanging[: brief.profile.evidence.most_questions])


def _on_bars(cues: Sequence[Cue]) -> tuple[str, ...]:
    return tuple(cue.id for cue in cues if cue.place.bar is not None)


def _tempo(brief: Brief, cues: Sequence[Cue]) -> list[Question]:
    """Ask whether the pulse is felt at half or double speed, where that reads nearly as well."""
    tempo = brief.analysis.tempo_bpm
    asked = []
    for other in brief.analysis.alternatives:
        if not tempo or other.margin >= brief.profile.evidence.tempo_margin:
            continue
        ratio = other.tempo_bpm / tempo
        if 0.55 < ratio < 1.8:
            continue
        text = f"Is the pulse felt at {tempo:.0f} or at {other.tempo_bpm:.0f} beats a minute?"
        listen = brief.grid.sections[0].start
        asked.append(Question(f"tempo/{other.tempo_bpm:.0f}", text, round(listen, 4), _on_bars(cues)))
    return asked[:1]


def _bar_one(brief: Brief, cues: Sequence[Cue]) -> list[Question]:
    """Ask whether the 1 is where the bars have it, where downbeats are unsure."""
    analysis = brief.analysis
    tempo = analysis.tempo_bpm or 0.0
    shifted = any(
        other.margin < brief.profile.evidence.tempo_margin and abs(other.tempo_bpm - tempo) < 0.02 * tempo
        for other in analysis.alternatives
    )
    sure = analysis.confidence.downbeats
    if not shifted and (sure is None or sure >= brief.profile.evidence.weak):
        return []
    first = brief.grid.bars_of(brief.grid.sections[0])[0]
    text = f"Is this bar {first.number}, with its 1 at {clock(first.start)}?"
    return [Question("bar-one", text, round(first.start, 4), _on_bars(cues))]


def _boundaries(brief: Brief, cues: Sequence[Cue]) -> list[Question]:
    """Ask where a section starts, where its limits are unsure: at its bar or the likelier neighbour."""
    asked = []
    for index, section in enumerate(brief.grid.sections):
        if section.confidence >= brief.profile.evidence.weak or index == 0:
            continue
        hanging = tuple(
            cue.id for cue in cues if cue.id.split("/")[1] == section.id and cue.kind not in ("fade-out", "one-shot")
        )
        other = _likelier_neighbour(brief, section.first_bar)
        if other is None:
            continue
        low, high = sorted((section.first_bar, other))
        text = f"Does {name(section)} start at bar {low} or {high}?"
        asked.append(Question(f"start/{section.id}", text, round(section.start, 4), hanging))
    return asked


def _likelier_neighbour(brief: Brief, bar: int) -> int | None:
    """Return the bar before or after, whichever has the bigger step in drive; the later on a tie."""
    best: tuple[float, int] | None = None
    for number in (bar + 1, bar - 1):
        here, before = brief.grid.bar(number), brief.grid.bar(number - 1)
        if here is None or before is None:
            continue
        step = round(abs(here.drive - before.drive), 6)
        if best is None or step > best[0]:
            best = (step, number)
    return None if best is None else best[1]
