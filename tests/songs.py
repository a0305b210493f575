"""Small songs from a line of text, so that a test shows the song it is about.

"A8 B8 A'4" is eight bars of A, eight of B, four of a changed A. Bar 1 starts at `start`; every number
is exact.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import replace
from types import SimpleNamespace
from typing import TYPE_CHECKING, Any, cast

from cuesuggest.analysis.types import Bar, Confidence, DriveParts, Event, EventKind, Section, SongAnalysis, TempoKnot
from cuesuggest.score.deeds import Question
from cuesuggest.score.records import Cue, CueKind, Look, Place, PlannedSection

if TYPE_CHECKING:
    from cuesuggest.rules import Draft, Rig
    from cuesuggest.song import Song
    from cuesuggest.song.hand_words import HandWords

# Felt beats in a bar where they are not the upper number: compound meters go in dotted notes.
COMPOUND = {"6/8": 2, "9/8": 3, "12/8": 4}
DRIVE = {"A": 0.3, "B": 0.8}
OTHER_DRIVE = 0.5
TAIL = 1.0  # Seconds of silence after the last sound.


def make_analysis(
    form: str = "A8 B8 A8",
    *,
    bpm: float = 96,
    time_signature: str = "4/4",
    start: float = 2.0,
    count_in: int = 0,
    drive: Mapping[str, float] | None = None,
    voice: Mapping[str, float] | None = None,
    confidence: float = 0.9,
    events: Iterable[tuple[EventKind, int, float, float] | Event] = (),
    ring_out: float = 2.0,
) -> SongAnalysis:
    """Build the analysis of a song whose form is written down.

    Parameters
    ----------
    form : str
        A letter (with ' if changed) and a number of bars for each section; "" is a recording without music.
    bpm : float
        Of the felt beat, which is the dotted quarter in 6/8.
    start : float
        Seconds at which bar 1 starts.
    count_in : int
        Bars before bar 1; they are numbered 0, -1, … and belong to no section.
    drive, voice : mapping
        By letter ("B") or by letter and pass ("B2", which wins). Letters left out have DRIVE or 0.5; without
        `voice` no bar has an estimate of it.
    confidence : float
        Of every bar, section, event and the whole.
    events : iterable
        (kind, bar, beat, length in beats), or an Event as it stands, as for talk.
    ring_out : float
        Seconds of it after the last bar; 0 leaves it out.
    """
    parts = [_part(word) for word in form.split()]
    events = list(events)
    if not parts:
        return _no_music(tuple(event for event in events if isinstance(event, Event)))
    beats_per_bar = COMPOUND.get(time_signature) or int(time_signature.split("/")[0])
    beat = 60 / bpm
    bar_length = beats_per_bar * beat

    def at(bar: int, in_bar: float = 1.0) -> float:
        return round(start + (bar - 1) * bar_length + (in_bar - 1) * beat, 4)

    def bar_of(number: int, push: float, sung: float | None) -> Bar:
        return Bar(
            number=number,
            start=at(number),
            end=at(number + 1),
            beats=beats_per_bar,
            time_signature=time_signature,
            drive=push,
            drive_parts=DriveParts(loudness=push, low_end=push, density=push, brightness=push),
            loudness_lufs=round(-30 + 20 * push, 2),
            envelope=tuple(round(push * level, 3) for level in (1.0, 0.8, 0.9, 0.7)),
            voice=sung,
            confidence=confidence,
        )

    bars = [bar_of(number, 0.0, None) for number in range(1 - count_in, 1)]
    sections: list[Section] = []
    passes: Counter[str] = Counter()
    number = 1
    for label, length in parts:
        passes[label[0]] += 1
        pass_ = passes[label[0]]
        push = _of(drive or {}, label, pass_, DRIVE.get(label[0], OTHER_DRIVE))
        sung = _of(voice, label, pass_, 0.0) if voice is not None else None
        bars += [bar_of(number + step, push, sung) for step in range(length)]
        sections.append(
            Section(
                id=f"s{len(sections) + 1}",
                start=at(number),
                end=at(number + length),
                first_bar=number,
                last_bar=number + length - 1,
                label=label,
                pass_=pass_,
                role=None,
                name="",
                first_words="",
                pickup=None,
                confidence=confidence,
                turns=(),
            )
        )
        number += length

    heard = [_event(event, at, beat, confidence) for event in events]
    if count_in:
        heard.append(Event("count-in", at(1 - count_in), at(1), 1 - count_in, 1.0, confidence))
    over = at(number)
    music_end = round(over + ring_out, 4)
    if ring_out:
        heard.append(Event("ring-out", over, music_end, None, None, confidence))
    last_sound = max([music_end, *(event.end for event in heard)])
    beats = tuple(at(bar.number, 1 + step) for bar in bars for step in range(bar.beats))
    return SongAnalysis(
        duration=round(last_sound + TAIL, 4),
        tempo_bpm=float(bpm),
        beats=beats,
        downbeats=tuple(bar.start for bar in bars),
        beat_confidence=(confidence,) * len(beats),
        meter=beats_per_bar,
        time_signature=time_signature,
        tempo_map=(TempoKnot(bars[0].start, float(bpm)),),
        bars=tuple(bars),
        sections=tuple(sections),
        events=tuple(sorted(heard, key=lambda event: event.start)),
        music_start=at(1),
        music_end=music_end,
        confidence=Confidence(beats=confidence, downbeats=confidence, sections=confidence),
    )


def retimed(
    analysis: SongAnalysis,
    *,
    tempos: Mapping[int, float] | None = None,
    pauses: Mapping[int, float] | None = None,
    beats: Mapping[int, int] | None = None,
) -> SongAnalysis:
    """Play a song of `make_analysis` less evenly; what happens in a bar moves with it.

    Parameters
    ----------
    analysis : SongAnalysis
    tempos : mapping
        Beats a minute from a bar on.
    pauses : mapping
        Seconds in which nobody plays before a bar.
    beats : mapping
        Bars that have another number of beats than the rest.
    """
    bpm, at = float(analysis.tempo_bpm or 0), analysis.bars[0].start
    bars: list[Bar] = []
    knots = [TempoKnot(at, bpm)]
    for bar in analysis.bars:
        changed = (tempos or {}).get(bar.number, bpm)
        count = (beats or {}).get(bar.number, bar.beats)
        at = round(at + (pauses or {}).get(bar.number, 0.0), 4)
        if changed != bpm:
            bpm = float(changed)
            knots.append(TempoKnot(at, bpm))
        end = round(at + count * 60 / bpm, 4)
        signature = bar.time_signature if count == bar.beats else f"{count}/4"
        bars.append(replace(bar, start=at, end=end, beats=count, time_signature=signature))
        at = end
    old, new = [analysis.bars[0].start - 1e6], [bars[0].start - 1e6]
    for before, after in zip(analysis.bars, bars, strict=True):
        # Just before a pause is not just after it.
        old += [before.start, before.end - 1e-4]
        new += [after.start, after.end - 1e-4]
    old += [analysis.bars[-1].end, analysis.bars[-1].end + 1e6]
    new += [bars[-1].end, bars[-1].end + 1e6]

    def moved(seconds: float) -> float:
        right = next(index for index, each in enumerate(old) if each > seconds)
        share = (seconds - old[right - 1]) / (old[right] - old[right - 1])
        return round(new[right - 1] + share * (new[right] - new[right - 1]), 4)

    of = {bar.number: bar for bar in bars}
    every = tuple(round(b.start + k * (b.end - b.start) / b.beats, 4) for b in bars for k in range(b.beats))
    return replace(
        analysis,
        duration=moved(analysis.duration),
        beats=every,
        beat_confidence=(analysis.confidence.beats or 0.0,) * len(every),
        downbeats=tuple(bar.start for bar in bars),
        tempo_map=tuple(knots),
        bars=tuple(bars),
        sections=tuple(
            replace(each, start=of[each.first_bar].start, end=of[each.last_bar].end) for each in analysis.sections
        ),
        events=tuple(replace(each, start=moved(each.start), end=moved(each.end)) for each in analysis.events),
        music_start=moved(analysis.music_start or 0.0),
        music_end=moved(analysis.music_end or 0.0),
    )


HOME = Look(
    id="home",
    name="Slow drift",
    category="subtle",
    source="lamp",
    cycle_bars=None,
    cycle_seconds=20.0,
    colours=1,
    colour_relation="one colour",
    level_ceiling=80,
    peak_after=0.0,
    description="Broad beams, hardly moving",
    home=True,
)
LIFT = Look(
    id="lift",
    name="Wide fans",
    category="lift",
    source="lamp",
    cycle_bars=4.0,
    cycle_seconds=None,
    colours=2,
    colour_relation="neighbours",
    level_ceiling=80,
    peak_after=0.5,
    description="Fans that open and close over four bars",
)


def place_at(analysis: SongAnalysis, bar: int, beat: float = 1.0) -> Place:
    """Return the place of a beat in a song of `make_analysis`."""
    found = next(each for each in analysis.bars if each.number == bar)
    seconds = round(found.start + (beat - 1) * (found.end - found.start) / found.beats, 4)
    for section in analysis.sections:
        if section.first_bar <= bar <= section.last_bar:
            inside = bar - section.first_bar + 1
            return Place(seconds, bar, beat, section.label, section.pass_, inside, section.bars)
    return Place(seconds, bar, beat)


def make_cue(number: float, kind: CueKind, place: Place, **fields: Any) -> Cue:
    """Return a cue that is told by its number; `fields` replace what it would have otherwise."""
    given: dict[str, Any] = {
        "id": f"{kind}/{number:g}",
        "trigger": "hand",
        "anchor": "starts-on",
        "reasons": (f"a reason for the {kind}",),
        "confidence": 0.8,
    }
    return Cue(number=number, kind=kind, place=place, **{**given, **fields})


def hands_of_draft(found: Draft, analysis: SongAnalysis, rig: Rig) -> HandWords:
    """Return the sentences of a draft's cues, as a document that holds them would tell them."""
    from cuesuggest.song.hand_words import HandWords

    held = SimpleNamespace(
        analysis=analysis,
        cues=found.cues,
        looks=found.looks,
        profile=SimpleNamespace(values={}),
        rig=SimpleNamespace(values=rig.values()),
    )
    return HandWords(cast("Song", held))


def make_song(form: str = "A8 B8 A8", **fields: Any) -> Song:
    """Build a song document over `make_analysis`.

    Cues: the home look fades in on bar 1 (number 1). Where B first comes in, fans are set up two bars before
    (2) and cut in (3). The last bar's downbeat fades out (4). Without music there are none.

    Parameters
    ----------
    form : str
        As for `make_analysis`.
    **fields
        Fields of the Song, and arguments of `make_analysis`.
    """
    from cuesuggest.song import RecordingFile, Settings, Song, SongWindow, Versions

    of_song = {name: value for name, value in fields.items() if name in Song.model_fields}
    of_analysis = {name: value for name, value in fields.items() if name not in of_song}
    analysis = of_song.get("analysis") or make_analysis(form, **of_analysis)
    given: dict[str, Any] = {
        "title": "Paper Boats",
        "recording": RecordingFile(
            path="takes/paper-boats.wav",
            sha256="5e" * 32,
            decoder="soundfile",
            sample_rate=48000,
            channels=2,
            duration=analysis.duration,
            window=SongWindow(start=0.0, end=analysis.duration),
        ),
        "versions": Versions(program="0.1.0", features=1, weights=None, profile="1"),
        "profile": Settings("band", {"subtle_up_bars": 2, "intense_share": 0.2}),
        "rig": Settings(
            "two sides", {"hands": 2, "sides": [{"name": "A", "source": "lamp"}, {"name": "B", "source": "lamp"}]}
        ),
        "analysis": analysis,
        "looks": (HOME, LIFT),
        "plan": tuple(_planned(section) for section in analysis.sections),
        "cues": _cues(analysis) if analysis.bars else (),
        "cautions": ("Look for people in the beams before the first lift.",),
    }
    if analysis.bars:
        given["questions"] = (Question("start", "Is this the first bar?", 2.0, ("fade-in/1",)),)
    return Song(**{**given, **of_song})


def _cues(analysis: SongAnalysis) -> tuple[Cue, ...]:
    last = analysis.sections[-1].last_bar
    cues = [make_cue(1, "fade-in", place_at(analysis, 1), look="home", side="A", level=50, up_beats=8.0)]
    lift = next((section.first_bar for section in analysis.sections if section.label == "B"), None)
    if lift is not None:
        cues += [
            make_cue(2, "recall", place_at(analysis, max(1, lift - 2)), look="lift", side="B", standby=1),
            make_cue(3, "cut-in", place_at(analysis, lift), look="lift", side="B", level=80, standby=1),
        ]
    cues.append(make_cue(4, "fade-out", place_at(analysis, last), side="A", down_seconds=3.0))
    return tuple(cues)


def _planned(section: Section) -> PlannedSection:
    lifted = section.label == "B"
    return PlannedSection(
        section=section.id,
        category="lift" if lifted else "subtle",
        look="lift" if lifted else "home",
        level=80 if lifted else 50,
        drive=DRIVE.get(section.label[0], OTHER_DRIVE),
        reasons=("the band pushes here",) if lifted else ("the voice leads here",),
    )


def _part(word: str) -> tuple[str, int]:
    found = re.fullmatch(r"([A-Z]'*)([1-9]\d*)", word)
    if found is None:
        raise ValueError(f"{word!r} is no section; write a letter and a number of bars, such as B8")
    return found[1], int(found[2])


def _of(values: Mapping[str, float] | None, label: str, pass_: int, otherwise: float) -> float:
    values = values or {}
    return values.get(f"{label}{pass_}", values.get(label, values.get(label[0], otherwise)))


def _event(event, at, beat: float, confidence: float) -> Event:
    if isinstance(event, Event):
        return event
    kind, bar, in_bar, length = event
    start = at(bar, in_bar)
    return Event(kind, start, round(start + length * beat, 4), bar, float(in_bar), confidence)


def _no_music(events: tuple[Event, ...]) -> SongAnalysis:
    return SongAnalysis(
        duration=round(max([10.0, *(event.end for event in events)]) + TAIL, 4),
        tempo_bpm=None,
        beats=(),
        downbeats=(),
        beat_confidence=(),
        meter=None,
        time_signature=None,
        tempo_map=(),
        bars=(),
        sections=(),
        events=events,
        music_start=None,
        music_end=None,
        confidence=Confidence(beats=None, downbeats=None, sections=None),
    )
