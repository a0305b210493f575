"""Music without a fixed form: no time line but a kit, a few looks in order of size and rules for using them by ear."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator
from dataclasses import dataclass

from cuesuggest.analysis.types import SongAnalysis
from cuesuggest.rules.brief import Brief
from cuesuggest.rules.cues.cautions import TIMING_ONLY, rig_cautions
from cuesuggest.rules.plan.looks import LOOKS, home_look, look_at, one_shot_look
from cuesuggest.rules.settings.house import Profile, Rig
from cuesuggest.score.grid import Grid
from cuesuggest.score.records import Category, Look, counted

__all__ = ["Kit", "Phrase", "Rule", "kit", "kit_text"]

# Bars. Dance music and songs alike mostly go on in these.
_PHRASES = (8, 16, 32)

# Where no tempo was found: the felt beat that most people prefer lies near it (Moelants 2002).
_USUAL_BPM, _USUAL_BEATS = 120.0, 4

# Share by which the slowest and the fastest stretch may differ and still be one tempo.
_ONE_TEMPO = 0.04

# Bars. A tempo that lasts shorter is a stumble.
_LASTING = 8


@dataclass(frozen=True, slots=True)
class Phrase:
    """How long a number of bars lasts, in seconds."""

    bars: int
    seconds: float


@dataclass(frozen=True, slots=True)
class Rule:
    """What to do when something is heard."""

    when: str
    do: str


@dataclass(frozen=True, slots=True)
class Kit:
    """What to have ready for music whose form nobody knows."""

    tempo_bpm: float | None
    """As found; None where none was, and phrases are counted at 120."""
    slowest: float | None
    fastest: float | None
    beats_per_bar: int
    looks: tuple[Look, ...]
    """In order of size, the home look first, the one-shot last."""
    levels: tuple[int, ...]
    """Percent for each look."""
    phrases: tuple[Phrase, ...]
    rules: tuple[Rule, ...]
    cautions: tuple[str, ...]


def kit(analysis: SongAnalysis, profile: Profile, rig: Rig) -> Kit:
    """Put together the kit for a style and a rig at the tempo that was heard.

    Parameters
    ----------
    analysis : SongAnalysis
        Of any stretch of such music; only its tempo is used.
    profile : Profile
    rig : Rig

    Returns
    -------
    Kit
        With six or seven looks, whatever was heard.
    """
    bpm = analysis.tempo_bpm
    beats = analysis.meter or _USUAL_BEATS
    bar = 60 * beats / (bpm or _USUAL_BPM)
    brief = Brief(analysis, Grid(analysis), profile, rig)
    looks = [home_look(brief), *(look_at(each, _category(each), bar, brief) for each in LOOKS)]
    levels = [profile.looks.home_level]
    for look in looks[1:]:
        low, high = profile.looks.base_level.of(look.category), profile.looks.ceiling.of(look.category)
        levels.append(int(high if look.id.endswith("-2") else 5 * round((low + high) / 10)))
    sources = {rig.playing[0].source}
    if rig.one_shot is not None:
        looks.append(one_shot_look(rig.one_shot, brief))
        levels.append(looks[-1].level_ceiling)
        sources.add(rig.one_shot.source)
    slowest, fastest = _range(analysis, beats)
    return Kit(
        tempo_bpm=bpm,
        slowest=slowest,
        fastest=fastest,
        beats_per_bar=beats,
        looks=tuple(looks),
        levels=tuple(levels),
        phrases=tuple(Phrase(bars, round(bars * bar, 1)) for bars in _PHRASES),
        rules=tuple(_rules(profile, rig, {look.id: look for look in looks}, bar)),
        cautions=(TIMING_ONLY, *rig_cautions(rig, sources)),
    )


def _category(look: str) -> Category:
    name = look.split("-")[0]
    return "subtle" if name == "subtle" else "lift" if name == "lift" else "intense"


def _range(analysis: SongAnalysis, beats: int) -> tuple[float | None, float | None]:
    """Return the slowest and the fastest tempo that lasts, or nothing where it is one."""
    knots = sorted(analysis.tempo_map, key=lambda knot: knot.time)
    end = analysis.music_end or analysis.duration
    untils = [*(knot.time for knot in knots[1:]), end]
    lasting = [
        knot.bpm
        for knot, until in zip(knots, untils, strict=False)
        if until - knot.time >= _LASTING * 60 * beats / knot.bpm
    ]
    if not lasting or max(lasting) / min(lasting) - 1 < _ONE_TEMPO:
        return None, None
    return min(lasting), max(lasting)


def _rules(profile: Profile, rig: Rig, looks: dict[str, Look], bar: float) -> Iterator[Rule]:
    fades, hands = profile.fades, profile.hands
    slow = hands.slowness(rig)
    big, bigger = looks["intense-1"].name, looks["intense-2"].name
    shot = rig.one_shot
    one_shot = "" if shot is None else f"; {shot.name} {_early(shot.peak_after)}"
    low = int(profile.looks.base_level.lift)
    climbs = min(low + fades.build_rise, int(profile.looks.ceiling.lift))
    yield Rule(
        "nothing is clear yet",
        f"home look; count bars until two phrases have begun where you thought ({_s(16 * bar)})",
    )
    yield Rule(
        "a new phrase (every 8 bars)",
        "the only place for a change of look; stay at least "
        f"{counted(int(profile.min_stay_bars.lift), 'bar')}, better a whole phrase",
    )
    yield Rule(
        "every 16 bars",
        "one step up or down in the list of looks if the music makes one; set the next look on a dark side "
        f"{counted(profile.standby.recall_bars, 'bar')} before",
    )
    yield Rule("every 32 bars", f"the biggest change; {bigger} at most once in it")
    yield Rule(
        "build (brighter, denser, the low end thins, rolls)",
        f"the lift climbs with it, from {low} to {climbs} %, over the 4, 8 or 16 bars that it takes; "
        f"set {big} on a dark side meanwhile; if the drop does not come, stay where you are",
    )
    yield Rule(
        "drop (the low end is back, on a 1)",
        f"{big} cuts in on that 1{one_shot}; out again, or down to a lift, after 8 or 16 bars "
        f"({_s(8 * bar)} or {_s(16 * bar)})",
    )
    yield Rule(
        "breakdown (drums and low end gone)",
        f"out over {int(fades.out_beats.subtle)} beats; after a phrase of dark {looks['subtle-1'].name} at "
        f"{int(profile.looks.base_level.subtle)} %, or home",
    )
    if rig.kill:
        yield Rule("stop", f"{rig.kill}: press and hold, let go with the band; not if you come late")
    yield Rule("talk, a new track without a beat, something goes wrong", "home look, by hand; nothing that moves fast")
    yield Rule("end", "watch, do not count: hold to the cut-off, then down with the sound")
    yield Rule(
        "how much",
        f"intense in no more than {profile.budget.intense_share:.0%} of the bars".replace("%", " %")
        + (f"; one-shots at least {_s(max(profile.shots.spacing_seconds, shot.run_seconds))} apart" if shot else ""),
    )
    yield Rule(
        "hands",
        f"no two actions within {hands.peak_gap_seconds * slow:g} s, {hands.burst} in a row at the most, "
        f"over a night one in {hands.sustained_seconds * slow:g} s",
    )


def _early(seconds: float) -> str:
    return "with it" if seconds < 0.02 else f"{seconds:.2g} s before it, so that its peak meets the beat"


def _s(seconds: float) -> str:
    return f"{seconds:.0f} s"


def kit_text(kit: Kit, title: str, width: int) -> str:
    """Write a kit for print or a terminal.

    Parameters
    ----------
    kit : Kit
    title : str
    width : int
        Columns.
    """
    lines = [title, *_wrapped(_tempo(kit), width, "", "  "), "", "Looks to build, the smallest first"]
    for number, (look, level) in enumerate(zip(kit.looks, kit.levels, strict=True), 1):
        bars = "" if look.cycle_bars is None else f"{look.cycle_bars:g} bar{'s' * (look.cycle_bars != 1)}"
        round_ = f"; one round in {bars} ({look.cycle_seconds:.1f} s)" if bars else ""
        text = f"{look.name}: {look.category}, {look.source}, {look.description}{round_}; {level} %."
        lines += _wrapped(text, width, f"  {number}  ", "     ")
    lines += ["", "Phrases"]
    lines += [f"  {phrase.bars:>2} bars  {phrase.seconds:.1f} s" for phrase in kit.phrases]
    lines += ["", "What to do"]
    for rule in kit.rules:
        lines += _wrapped(f"{rule.when}: {rule.do}.", width, "  ", "      ")
    lines += ["", "Take care"]
    for caution in kit.cautions:
        lines += _wrapped(caution, width, "  ! ", "    ")
    return "\n".join(lines) + "\n"


def _tempo(kit: Kit) -> str:
    if kit.tempo_bpm is None:
        return f"No tempo was found; seconds are for {_USUAL_BPM:.0f} beats a minute, {kit.beats_per_bar} to a bar."
    text = f"{kit.tempo_bpm:.1f} beats a minute, {kit.beats_per_bar} to a bar"
    if kit.slowest is None or kit.fastest is None:
        return f"{text}."
    return f"{text}; it goes from {kit.slowest:.0f} to {kit.fastest:.0f}, so seconds are rough and bars are counted."


def _wrapped(text: str, width: int, first: str, further: str) -> list[str]:
    return textwrap.wrap(text, width, initial_indent=first, subsequent_indent=further, break_on_hyphens=False)
