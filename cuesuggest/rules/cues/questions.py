"""What the tool is unsure of, as questions that a listener can answer; the most weighty first.

Each says where to listen and what an answer does, the draft's own reading first.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace

from cuesuggest.analysis.types import Alternative, Bar, Event, Section
from cuesuggest.rules.brief import Brief
from cuesuggest.rules.stays import cut_off
from cuesuggest.score.deeds import (
    BEAT_SPEEDS,
    Answer,
    BarOneAt,
    BeatSpeed,
    BeatTempo,
    BeatTimes,
    CountedIn,
    JudgeCues,
    MoveCue,
    Question,
    SectionStarts,
    ShiftBars,
)
from cuesuggest.score.records import ENTRANCES, Cue, clock

__all__ = ["questions"]

# Meant as such: the beat is half or twice as fast, whatever its tempo.
_SPEEDS: tuple[BeatSpeed, ...] = ("half", "double")

# Seconds that are heard before the moment that a question is about.
_LEAD = 4.0
_SAME_TEMPO = 0.02  # share
_BARS_COUNT = 2.0  # nats of a level that are as much as a nat a bar
_BROKEN_OFF = 0.5  # from so sure a false start on, bar 1 comes after it


def questions(brief: Brief, cues: Sequence[Cue]) -> tuple[Question, ...]:
    """Ask about the beat, bar 1, section starts, stops and the end, ranked by the cues that hang on the answer.

    Where the reading as a whole is in doubt, the likeliest other one is asked about first: nothing else matters then.
    """
    found = [
        *_tempo(brief, cues),
        *_meter(brief, cues),
        *_bar_one(brief, cues),
        *_false_start(brief, cues),
        *_uncounted(brief, cues),
        *_boundaries(brief, cues),
        *_stops(brief, cues),
        *_ending(brief, cues),
    ]
    hanging = [question for question in found if question.cues]
    first = _other_reading(brief)
    hanging.sort(key=lambda each: (not _asks_about(each, first), -len(each.cues), each.listen_at, each.id))
    return tuple(hanging[: brief.profile.evidence.most_questions])


def _other_reading(brief: Brief) -> Alternative | None:
    """Return the likeliest other reading where the one that is told is in doubt as a whole."""
    reading = brief.analysis.confidence.reading
    if reading is None or reading >= brief.profile.evidence.sure:
        return None
    others = [other for other in brief.analysis.alternatives if _can_be_asked(brief, other)]
    # A level is weighed over the song, bars by the bar: what repeats from bar to bar is said twice as loud.
    return min(
        others, key=lambda other: (other.margin * (1 if _is_level(other) else _BARS_COUNT), other.kind), default=None
    )


def _can_be_asked(brief: Brief, other: Alternative) -> bool:
    tempo = brief.analysis.tempo_bpm
    return not _is_level(other) or bool(tempo and abs(other.tempo_bpm / tempo - 1) >= _SAME_TEMPO)


def _is_level(other: Alternative) -> bool:
    return _shift(other) is None and "/" not in other.kind


def _asks_about(question: Question, other: Alternative | None) -> bool:
    """Whether a question is the one about a reading."""
    if other is None:
        return False
    kind = question.id.partition("/")[0]
    return kind == ("tempo" if _is_level(other) else "bar-one" if _shift(other) is not None else "meter")


def _on_bars(cues: Sequence[Cue]) -> tuple[str, ...]:
    return tuple(cue.id for cue in cues if cue.place.bar is not None)


def _likely(brief: Brief) -> list[Alternative]:
    """Return the other readings of the beat that are nearly as good, the best first; and the one in doubt."""
    doubted = _other_reading(brief)
    close = [
        other
        for other in brief.analysis.alternatives
        if other.margin < brief.profile.evidence.tempo_margin or other == doubted
    ]
    return sorted(close, key=lambda other: (other.margin, other.kind))


def _shift(other: Alternative) -> float | None:
    """Return by how many beats a reading has its bars later; None for one of another tempo or count."""
    kind, _, beats = other.kind.partition(" ")
    return float(beats) if kind == "shift" and beats.replace(".", "", 1).isdigit() else None


def _tempo(brief: Brief, cues: Sequence[Cue]) -> list[Question]:
    """Ask at which speed the pulse is felt, where another reads nearly as well."""
    tempo = brief.analysis.tempo_bpm
    for other in _likely(brief):
        if not tempo or not _is_level(other) or not _can_be_asked(brief, other):
            continue
        ratio = other.tempo_bpm / tempo
        speed = next((speed for speed in _SPEEDS if abs(ratio / BEAT_SPEEDS[speed] - 1) < 0.06), None)
        deed = BeatTempo(other.tempo_bpm) if speed is None else BeatTimes(speed)
        text = f"Is the pulse felt at {tempo:.0f} or at {other.tempo_bpm:.0f} beats a minute?"
        answers = (
            Answer(f"{tempo:.0f}, as it is", BeatTimes("as-heard"), ""),
            Answer(f"{other.tempo_bpm:.0f}", deed, other.kind),
        )
        # Where the band is surely playing, not where it starts with nothing but a guitar.
        listen = max(brief.grid.sections, key=lambda section: (brief.grid.drive_of(section), -section.start)).start
        return [Question(f"tempo/{other.tempo_bpm:.0f}", text, round(listen, 4), _on_bars(cues), answers)]
    return []


def _meter(brief: Brief, cues: Sequence[Cue]) -> list[Question]:
    """Ask how many beats make a bar, where another count reads nearly as well."""
    signature = brief.analysis.time_signature
    others = [other.kind for other in _likely(brief) if "/" in other.kind and other.kind != signature]
    if not others or signature is None:
        return []
    text = f"Is it counted in {signature} or in {others[0]}?"
    answers = (
        Answer(f"{signature}, as it is", CountedIn(signature), ""),
        *(Answer(other, CountedIn(other), other) for other in others),
    )
    listen = max(brief.grid.sections, key=lambda section: (brief.grid.drive_of(section), -section.start)).start
    return [Question(f"meter/{others[0]}", text, round(listen, 4), _on_bars(cues), answers)]


def _false_start(brief: Brief, cues: Sequence[Cue]) -> list[Question]:
    """Ask whether the band broke off and began again, where that is unsure either way."""
    attempts = [event for event in brief.analysis.events if event.kind == "false-start"]
    unsure = [each for each in attempts if each.confidence < brief.profile.evidence.sure]
    first = brief.grid.bars_of(brief.grid.sections[0])[0]
    if not unsure:
        return []
    each = unsure[0]
    after = [bar.start for bar in brief.grid.bars if bar.start >= each.end]
    there = each.start if each.confidence >= _BROKEN_OFF else min(after, default=first.start)
    text = f"Does the song begin at {clock(first.start)}, or at {clock(there)}?"
    answers = (
        Answer(f"at {clock(first.start)}, as it is", BarOneAt(round(first.start, 2))),
        Answer(f"at {clock(there)}", BarOneAt(round(there, 2))),
    )
    return [Question("false-start", text, round(max(each.start - _LEAD, 0.0), 4), _on_bars(cues), answers)]


def _uncounted(brief: Brief, cues: Sequence[Cue]) -> list[Question]:
    """Ask whether the band plays on where music may sound and no bars are told."""
    asked = []
    for each in brief.analysis.events:
        if each.kind != "uncounted":
            continue
        near = sorted(cues, key=lambda cue: abs(cue.place.seconds - each.start))
        hanging = tuple(cue.id for cue in near if cue.place.seconds >= each.start - 1.0) or _on_bars(cues)
        text = f"Does the band play on from {clock(each.start)} to {clock(each.end)}? No bars are told there."
        answers = (
            Answer("yes, at the same tempo", BeatTimes("as-heard")),
            Answer("no, nothing to count", JudgeCues("accepted", hanging)),
        )
        asked.append(
            Question(f"uncounted/{each.start:.0f}", text, round(max(each.start - _LEAD, 0.0), 4), hanging, answers)
        )
    return asked[:1]


def _bar_one(brief: Brief, cues: Sequence[Cue]) -> list[Question]:
    """Ask whether the 1 is where the bars have it, where downbeats are unsure."""
    shifts = [beats for other in _likely(brief) if (beats := _shift(other)) is not None]
    sure = brief.analysis.confidence.downbeats
    if not shifts and (sure is None or sure >= _needed(brief, cues)):
        return []
    first = brief.grid.bars_of(brief.grid.sections[0])[0]
    text = f"Is this bar {first.number}, with its 1 at {clock(first.start)}?"
    answers = [Answer("yes, here", ShiftBars(0.0), "")]
    for beats in dict.fromkeys([*shifts, *_usual_shifts(first)]):
        signed = beats - first.beats if beats > first.beats / 2 else beats
        way = "later" if signed > 0 else "earlier"
        count = {0.5: "half a beat", 1: "a beat"}.get(abs(signed), f"{abs(signed):g} beats")
        answers.append(Answer(f"{count} {way}", ShiftBars(signed), f"shift {beats:g}"))
    single = tuple(dict.fromkeys(answers))
    return [Question("bar-one", text, round(first.start, 4), _on_bars(cues), single)]


def _usual_shifts(bar: Bar) -> tuple[float, ...]:
    """Return the beats by which bars are off where they are: the middle of the bar first, as bands make one do."""
    return (2.0, 1.0, 3.0) if bar.beats == 4 else tuple(float(beats) for beats in range(1, bar.beats))


def _needed(brief: Brief, cues: Sequence[Cue]) -> float:
    """Return how sure the bars have to be: more where a big look comes in on a count."""
    big = any(cue.kind in ENTRANCES and _is_big(cue) for cue in cues)
    return brief.profile.evidence.sure if big else brief.profile.evidence.weak


def _is_big(cue: Cue) -> bool:
    return (cue.look or "").startswith("intense") or cue.kind == "cut-in"


def _boundaries(brief: Brief, cues: Sequence[Cue]) -> list[Question]:
    """Ask where a section starts, where another bar is nearly as likely."""
    asked = []
    for index, section in enumerate(brief.grid.sections):
        if index == 0:
            continue
        hanging = tuple(
            cue.id for cue in cues if cue.section_id == section.id and cue.kind not in ("fade-out", "one-shot")
        )
        big = any(cue.id in hanging and cue.kind in ENTRANCES and _is_big(cue) for cue in cues)
        unsure = section.confidence < (brief.profile.evidence.sure if big else brief.profile.evidence.weak)
        other = _other_start(brief, section) if section.alternative is not None or unsure else None
        if other is None:
            continue
        low, high = sorted((section.first_bar, other))
        text = f"Does {_called(section)} start at bar {low} or {high}?"
        there = brief.grid.bar(low)
        listen = max((section.start if there is None else there.start) - _LEAD, 0.0)
        answers = (
            Answer(f"bar {section.first_bar}, as it is", SectionStarts(section.mark, section.first_bar)),
            Answer(f"bar {other}", SectionStarts(section.mark, other)),
        )
        asked.append(Question(f"start/{section.id}", text, round(listen, 4), hanging, answers))
    return asked


def _called(section: Section) -> str:
    """Name a section as the user does, with its letter and pass to tell which."""
    return f"{section.name} ({section.mark})" if section.name else section.mark


def _other_start(brief: Brief, section: Section) -> int | None:
    """Return the other bar at which a section may start: the one that was heard so, or the likelier neighbour."""
    if section.alternative is not None:
        near = min(brief.grid.bars, key=lambda bar: abs(bar.start - (section.alternative or 0.0)))
        return near.number if near.number != section.first_bar else None
    best: tuple[float, int] | None = None
    for number in (section.first_bar + 1, section.first_bar - 1):
        here, before = brief.grid.bar(number), brief.grid.bar(number - 1)
        if here is None or before is None:
            continue
        step = round(abs(here.drive - before.drive), 6)
        if best is None or step > best[0]:
            best = (step, number)
    return None if best is None else best[1]


def _stops(brief: Brief, cues: Sequence[Cue]) -> list[Question]:
    """Ask whether the band stops, where it is unsure and the light goes with it, or would."""
    asked = []
    evidence = brief.profile.evidence
    for stop in sorted(brief.analysis.events, key=lambda event: (event.start, event.end)):
        if stop.kind != "stop" or stop.confidence >= evidence.sure:
            continue
        place = brief.grid.locate(stop.start)
        hanging = _hanging_on(brief, stop, cues)
        where = replace(place, beat=None)  # the count says it in words
        text = f"Does the band stop in {where}, {brief.grid.count(place)}, for {stop.end - stop.start:.1f} s?"
        answers = (
            Answer("yes, it stops", JudgeCues("accepted", hanging)),
            Answer("no, it plays on", JudgeCues("rejected", hanging)),
        )
        listen = round(max(stop.start - _LEAD, 0.0), 4)
        asked.append(
            Question(f"stop/{place.bar}:{place.beat:g}" if place.bar else "stop", text, listen, hanging, answers)
        )
    return [question for question in asked if question.cues]


def _hanging_on(brief: Brief, stop: Event, cues: Sequence[Cue]) -> tuple[str, ...]:
    """Return the cues that a stop makes: out with it, held through it, back after it."""
    out = cut_off(brief, stop)
    return tuple(
        cue.id
        for cue in cues
        if (cue.rule == "stop" and out - 0.1 <= cue.place.seconds <= stop.end + 0.1)
        or (cue.role == "stop" and abs(cue.place.seconds - out) <= 0.1)
    )


def _ending(brief: Brief, cues: Sequence[Cue]) -> list[Question]:
    """Ask which of several moments is the end, where the last fade is unsure of it."""
    last = [cue for cue in cues if cue.rule == "ending"][-1:]
    if not last or _sure_of_end(brief, last[0]) >= brief.profile.evidence.sure:
        return []
    cue, section = last[0], brief.grid.sections[-1]
    beat = brief.grid.beat_seconds(section.end)
    others = [each for each in _ends(brief, section) if abs(each - cue.place.seconds) > beat]
    if not others:
        return []
    text = f"Is {clock(cue.place.seconds)} where the light leaves: does the song end there, or at {clock(others[0])}?"
    answers = [Answer(f"{clock(cue.place.seconds)}, as it is", JudgeCues("accepted", (cue.id,)))]
    answers += [Answer(clock(each), MoveCue(cue.id, round(each, 2))) for each in dict.fromkeys(others)]
    listen = max(min(cue.place.seconds, *others) - 2 * _LEAD, 0.0)
    return [Question("ending", text, round(listen, 4), (cue.id,), tuple(answers))]


def _sure_of_end(brief: Brief, cue: Cue) -> float:
    """Return how sure it is that the light leaves with the song: as the ring-out that it goes with, or the last bar."""
    rings = [event for event in brief.analysis.events if event.kind == "ring-out"]
    near = [ring.confidence for ring in rings if abs(ring.start - cue.place.seconds) < 0.5]
    return near[0] if near else min(brief.grid.bars_of(brief.grid.sections[-1])[-1].confidence, cue.confidence)


def _ends(brief: Brief, section: Section) -> Iterable[float]:
    """Return the moments at which a song may be over: its last bar line, its ring-out, the last sound."""
    rings = [event for event in brief.analysis.events if event.kind == "ring-out"]
    end = brief.analysis.music_end
    # A fade that goes with the ring-out is still there at its end.
    covered = end is None or any(ring.start <= end <= ring.end + 0.5 for ring in rings)
    ends = [*(ring.start for ring in rings), brief.grid.bars_of(section)[-1].end]
    return ends if covered or end is None else [*ends, end]
