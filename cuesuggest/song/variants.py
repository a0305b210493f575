"""One plan for each kind of section, with its variants by pass, so that a repeated or skipped section costs nothing.

"B: first: Parallel beams, half (40 %); second: the same, full (65 %); last: Opening fan, full (80 %)".
What comes round more often than on the recording is played like its last pass.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from itertools import groupby
from typing import TYPE_CHECKING

from cuesuggest.analysis.types import Section
from cuesuggest.score.light import follow
from cuesuggest.score.records import ENTRANCES, Cue, Look

if TYPE_CHECKING:
    from cuesuggest.song.model import Song

__all__ = ["Kind", "Variant", "comes_in_with", "kinds", "lit_in", "next_way_in", "ways_in"]

_ORDINALS = ("first", "second", "third", "fourth", "fifth", "sixth", "seventh", "eighth", "ninth", "tenth")

# Shares of a look's ceiling that a player calls half and full.
_HALF, _FULL = 0.66, 0.93


@dataclass(frozen=True, slots=True)
class Variant:
    """How the passes of a section that are alike are played."""

    when: str
    """"first", "second and third", "last"; "every time" where all are alike."""
    sections: tuple[str, ...]
    """Their ids."""
    look: str | None
    """Id of the look that is lit; None where it is dark."""
    side: str | None
    level: int | None
    """Percent."""
    text: str
    """The light in words: "Parallel beams, half (40 %)", "dark"."""


@dataclass(frozen=True, slots=True)
class Kind:
    """All passes of one letter."""

    letter: str
    name: str
    """What the user calls it, or its guessed role; empty if neither."""
    variants: tuple[Variant, ...]
    vamp: str
    """The sign until which one of its passes goes round; empty if none does."""

    def at(self, pass_: int) -> Variant:
        """Return how the so manieth time is played, counted from 1; what is beyond the recording like the last."""
        passes = [variant for variant in self.variants for _ in variant.sections]
        return passes[min(max(pass_, 1), len(passes)) - 1]

    def __str__(self) -> str:
        """Write it in a line."""
        called = f"{self.letter} {self.name}".strip()
        shown = "; ".join(f"{variant.when}: {variant.text}" for variant in self.variants)
        return f"{called}: {shown}" + (f"; round until {self.vamp}" if self.vamp else "")


def kinds(song: Song) -> tuple[Kind, ...]:
    """Return the plan of every kind of section, in the order in which they first come.

    Read from the cues as they stand, rejected ones left out, so that it is right after every edit.
    """
    sections = song.analysis.sections
    cues = sorted(
        (cue for cue in song.cues if cue.status != "rejected"), key=lambda cue: (cue.place.seconds, cue.number)
    )
    looks = {look.id: look for look in song.looks}
    found = []
    for letter in dict.fromkeys(section.family for section in sections):
        passes = [section for section in sections if section.family == letter]
        named = next((each.name or each.role or "" for each in passes if each.name or each.role), "")
        vamp = next((each.vamp for each in passes if each.vamp), "")
        found.append(Kind(letter, named, _variants(passes, cues, looks), vamp))
    return tuple(found)


def _variants(passes: list[Section], cues: list[Cue], looks: dict[str, Look]) -> tuple[Variant, ...]:
    lit = [(section, *_main(lit_in(section, cues)), _with_shot(section, cues)) for section in passes]
    groups = [list(group) for _, group in groupby(lit, key=lambda each: (each[1], each[3], each[4]))]
    variants: list[Variant] = []
    count, before = 0, None
    for index, group in enumerate(groups):
        _, look, side, level, shot = group[0]
        last = index == len(groups) - 1
        variants.append(
            Variant(
                when=_when(count, len(group), last=last, only=len(groups) == 1),
                sections=tuple(each[0].id for each in group),
                look=look,
                side=side,
                level=level,
                text=_light_words(looks.get(look or ""), level, shot, again=look is not None and look == before),
            )
        )
        count, before = count + len(group), look
    return tuple(variants)


def _main(lit: dict[str, tuple[str | None, int | None]]) -> tuple[str | None, str | None, int | None]:
    """Return look, side and level of what came in last; None for each where it is dark."""
    if not lit:
        return None, None, None
    side, (look, level) = list(lit.items())[-1]
    return look, side or None, level


def _when(done: int, count: int, *, last: bool, only: bool) -> str:
    if only:
        return "every time"
    if last and count == 1:
        return "last"
    words = [_ORDINALS[n] if n < len(_ORDINALS) else f"{n + 1}th" for n in range(done, done + count)]
    if last:
        return f"from the {words[0]} on"
    return words[0] if count == 1 else f"{', '.join(words[:-1])} and {words[-1]}"


def _light_words(look: Look | None, level: int | None, shot: bool, *, again: bool) -> str:
    if look is None:
        return "dark" + (", with the one-shot" if shot else "")
    share = None if level is None else level / max(look.level_ceiling, 1)
    how = "" if share is None else "full" if share >= _FULL else "half" if share <= _HALF else "between"
    at = "" if level is None else f" ({level} %)" if how in ("half", "full") else f" {level} %"
    words = "the same" if again else look.name
    return (
        words
        + (f", {how}{at}" if how in ("half", "full") else f",{at}" if at else "")
        + (", with the one-shot" if shot else "")
    )


def _with_shot(section: Section, cues: list[Cue]) -> bool:
    return any(
        cue.kind == "one-shot" and cue.place.bar is not None and section.first_bar <= cue.place.bar <= section.last_bar
        for cue in cues
    )


def lit_in(section: Section, cues: Iterable[Cue]) -> dict[str, tuple[str | None, int | None]]:
    """Tell what is lit once what comes in on a section's first beat is in.

    Parameters
    ----------
    section : Section
    cues : iterable of Cue
        Without the rejected ones.

    Returns
    -------
    dict
        Id of the look and level by side, what came in last at the end; empty where it is dark.
    """
    before = [cue for cue in cues if cue.place.seconds <= section.start + 1e-3 or _on_first_beat(cue, section)]
    steps = follow(before)
    if not steps:
        return {}
    entered = [step.cue.side or "" for step in steps if step.cue.kind in ENTRANCES]
    lit = {side: state for side, state in steps[-1].after.items() if state.lit}
    last = {side: place for place, side in enumerate(entered)}
    return {side: (lit[side].look, lit[side].level) for side in sorted(lit, key=lambda side: last.get(side, -1))}


def comes_in_with(section: Section, cue: Cue) -> bool:
    """Whether a cue brings light in as a section opens: who was lost can begin again there."""
    return cue.kind in ENTRANCES and _on_first_beat(cue, section)


def _on_first_beat(cue: Cue, section: Section) -> bool:
    return cue.place.bar == section.first_bar and (cue.place.beat or 1.0) < 2.0


def ways_in(song: Song) -> tuple[Section, ...]:
    """Return the sections that light comes in with: who was lost begins again at the next of them."""
    played = [cue for cue in song.cues if cue.status != "rejected"]
    return tuple(section for section in song.analysis.sections if any(comes_in_with(section, cue) for cue in played))


def next_way_in(song: Song, seconds: float) -> Section | None:
    """Return the next section after a time that light comes in with; None if there is none."""
    return next((section for section in ways_in(song) if section.start > seconds), None)
