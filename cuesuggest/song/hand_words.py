"""What the hand does, in a sentence: made of a cue's values whenever it is shown, so that every list says the same.

A person's own words stand beside it, in the cue's note; only of a line for somebody else they are all there is.
"""

from __future__ import annotations

import math
from functools import cached_property
from typing import TYPE_CHECKING

from cuesuggest.analysis.types import Event, Section
from cuesuggest.score.grid import Grid
from cuesuggest.score.light import (
    Step,
    fade_seconds,
    follow,
    hand_place,
    hand_starts,
    held_until,
    is_held,
    presses,
)
from cuesuggest.score.records import EXITS, Cue, Look, Place, clock, counted
from cuesuggest.song.rig_facts import action_gap, hands_of, kill_button, one_shot_name, one_shot_seconds, speed_control

if TYPE_CHECKING:
    from cuesuggest.song.model import Song

__all__ = ["HandWords", "beside", "length_words"]

_AT_ONCE = 0.02  # s; nobody presses by so little earlier
_AT_A_STOP = 0.1  # s before a stop that still belong to it
_TAPS = 4  # common practice: four taps give a tempo
_ORDINALS = {2.0: "second", 4.0: "fourth"}


def length_words(beats: float | None, seconds: float | None) -> str:
    """Say how long a fade takes: "4 beats", "7.4 s"; nothing where it takes no time.

    Parameters
    ----------
    beats, seconds : float or None
        Beats come first, since they are what is counted.
    """
    if beats:
        whole = math.floor(beats + 0.5)
        if abs(beats - whole) > 0.02 and beats > 1:
            return f"about {whole} beats"
        return "1 beat" if beats == 1 else f"{beats:g} beats"
    return f"{seconds:.1f} s" if seconds else ""


def beside(cue: Cue) -> str:
    """Return the person's own words that stand beside what the hand does; a line for somebody is those words itself."""
    return "" if cue.kind == "call" else cue.note


class HandWords:
    """The sentences of one song's cues."""

    def __init__(self, song: Song) -> None:
        self._song = song
        self._grid = Grid(song.analysis)
        self._looks = {look.id: look for look in song.looks}
        self._hands = hands_of(song)

    @cached_property
    def _steps(self) -> dict[str, Step]:
        standing = [cue for cue in self._song.cues if cue.status != "rejected"]
        return {step.cue.id: step for step in self._followed(standing)}

    def _followed(self, cues: list[Cue]) -> tuple[Step, ...]:
        return follow(cues, grid=self._grid, looks=self._looks.values(), hands=self._hands)

    def _step(self, cue: Cue) -> Step:
        """Return what a cue does to the light; one that is left out is followed as if it were played."""
        known = self._steps.get(cue.id)
        if known is not None and known.cue == cue:
            return known
        others = [step.cue for step in self._steps.values() if step.cue.id != cue.id]
        return next(step for step in self._followed([*others, cue]) if step.cue is cue)

    def of(self, cue: Cue) -> str:
        """Say which fader or button, what to do with it, and on which count.

        Parameters
        ----------
        cue : Cue
            Of the song: standing, left out, or without a place.

        Returns
        -------
        str
            One sentence without its full stop. Levels in percent, lengths in the beats that are counted.
        """
        match cue.kind:
            case "recall":
                said = self._recall(cue)
            case "fade-in" | "crossfade" | "cut-in":
                said = self._entrance(cue)
            case "ramp":
                said = self._ramp(cue)
            case "fade-out":
                said = self._fade_out(cue)
            case "cut-out":
                said = self._cut_out(cue)
            case "one-shot":
                said = self._one_shot(cue)
            case "speed":
                said = self._speed(cue)
            case _:
                return cue.note.strip() or "a line that is not written yet"
        return said + self._trigger(cue) + self._rounds(cue)

    def short(self, cue: Cue, reader: str = "operator") -> str:
        """Say the same in as few words as an operator needs: "B up to 65 in 2 beats".

        Parameters
        ----------
        cue : Cue
        reader : str
            Who reads it; what others than they and the operator do begins with their name, in brackets.

        Returns
        -------
        str
            Levels are percent.
        """
        if cue.kind == "call":
            said, named = self.of(cue), f"[{cue.who}: {self.of(cue)}]"
        else:
            said = " ".join(part for part in self._short_parts(cue) if part).replace(" ,", ",")
            named = f"[{cue.who}] {said}"
        return said if cue.who in ("operator", reader) else named

    def _short_parts(self, cue: Cue) -> tuple[str, ...]:
        side = cue.side or ""
        level = "" if cue.level is None else f"to {cue.level}"
        at = "" if cue.level is None else f"at {cue.level}"
        up, down = _in(cue.up_beats, cue.up_seconds), _in(cue.down_beats, cue.down_seconds)
        look = self._looks.get(cue.look or "")
        match cue.kind:
            case "recall":
                return "set", side, look.name if look else ""
            case "fade-in":
                return side, "up", level, up, self._others_out(cue, down)
            case "crossfade":
                return "over to", side, at, up
            case "cut-in":
                return side, "in", at, self._others_out(cue, down)
            case "ramp":
                return side, level or "to its level", up or down
            case "fade-out":
                return side or "all", "down", down or up
            case "cut-out":
                return ("hold dark",) if is_held(cue) else (side or "all", "out")
            case "speed":
                round_ = f"one round in {cue.cycle_seconds:.1f} s" if cue.cycle_seconds else "new speed"
                return side, round_
            case _:
                named = "one-shot" if look is None or look.name.casefold() == "one-shot" else look.name
                return named, self._series(cue)

    def _series(self, cue: Cue) -> str:
        if cue.series is None:
            return ""
        every = "every bar" if cue.series.every_bars == 1 else f"every {cue.series.every_bars} bars"
        return f"{every}, {counted(len(presses(cue, self._grid)), 'time')}"

    def _others_out(self, cue: Cue, down: str) -> str:
        return f", then the other out {down}".rstrip() if self._step(cue).moves[1:] else ""

    # By kind.

    def _recall(self, cue: Cue) -> str:
        lit = self._step(cue).before
        state = lit.get(cue.side or "")
        dark = "" if state is not None and state.lit else ", dark" if cue.side else ""
        look = self._looks.get(cue.look or "")
        what = f"recall '{look.name}'" if look else "recall its look"
        before = self._before_the_song(cue.place)
        when = "before the song starts" if before else self._on_count(cue.place)
        return f"{_subject(cue)}{dark}: {what} {when}{self._set_with(cue, look, before)}"

    def _set_with(self, cue: Cue, look: Look | None, before: bool) -> str:
        """Say how the speed is set as a look is recalled."""
        unit, control = speed_control(self._song)
        if unit == "none" or cue.cycle_seconds is None:
            return ""
        if unit != "tap":
            return f"; {self._dialled(cue, look, 'at')}"
        if not before:
            return f"; {_one_round(cue)}"
        counted_in = any(event.kind == "count-in" for event in self._song.analysis.events)
        tapped = "with the count-in" if counted_in else "on the band's first beats"
        return f"; {_one_round(cue)}; tap the tempo {tapped} ({control})"

    def _entrance(self, cue: Cue) -> str:
        step = self._step(cue)
        said = f"{_subject(cue)}: {self._fader_up(cue)}"
        look = self._looks.get(cue.look or "")
        # After a stop the motion simply goes on.
        if look is not None and look.category in ("lift", "intense") and cue.rule != "stop":
            said += ", its motion restarted " + ("there" if self._lands(cue) else "with it")
        if self._is_one_gesture(cue):
            said += ", with the same gesture"
        others = [move.side for move in step.moves[1:]]
        if not others:
            return said
        own_way = cue.down_seconds is not None or cue.down_beats is not None
        out = (cue.down_beats, cue.down_seconds) if own_way else (cue.up_beats, cue.up_seconds)
        length = length_words(*out)
        gone = f"out over {length}" if length else "out in one move"
        names = _listed([f"side {other}" if other else "the other light" for other in others])
        if not self._takes_time(cue):
            return f"{said}; then {names} {gone}"
        once = "half up" if self._hands > 1 else "up"
        return f"{said}; {names} {gone} once {cue.side or 'it'} is {once}"

    def _fader_up(self, cue: Cue) -> str:
        to = "" if cue.level is None else f" to {cue.level} %"
        if not self._takes_time(cue):
            return f"fader{to or ' up'} in one move {self._on_count(cue.place)}"
        return f"fader up{to} over {length_words(cue.up_beats, cue.up_seconds)}, {self._from(cue)}{self._there(cue)}"

    def _ramp(self, cue: Cue) -> str:
        state = self._step(cue).before.get(cue.side or "")
        was = state.level if state is not None and state.lit else None
        levels = "" if was is None or was == cue.level else f"from {was} % "
        levels += "to its level" if cue.level is None else f"to {cue.level} %"
        beats, seconds = (cue.up_beats, cue.up_seconds) if cue.up_beats or cue.up_seconds else _down(cue)
        length = length_words(beats, seconds)
        if not length:
            return f"{_subject(cue)}: {levels} in one move {self._on_count(cue.place)}"
        return f"{_subject(cue)}: {levels} over {length}, {self._from(cue)}{self._there(cue)}"

    def _fade_out(self, cue: Cue) -> str:
        name = _subject(cue, all_of_it="Everything")
        beats, seconds = _down(cue) if cue.down_beats or cue.down_seconds else (cue.up_beats, cue.up_seconds)
        if self._is_watched(cue):
            length = length_words(beats, seconds).removeprefix("about ")
            about = f" (about {length}{'' if beats else ', by ear'})" if length else ""
            what = "the last note" if self._is_last(cue) else "the music"
            return f"{name}: watch the band, hold to the cut-off, then fader down with {what}{about}"
        length = length_words(beats, seconds)
        if not length:
            return f"{name}: out in one move {self._on_count(cue.place)}"
        return f"{name}: fader down over {length}, {self._from(cue)}{self._there(cue, 'dark at')}"

    def _cut_out(self, cue: Cue) -> str:
        stops = ", as the band stops" if self._stop_at(cue) else ""
        count = self._on_count(cue.place)
        if is_held(cue):
            button = kill_button(self._song) or "Everything out"
            back = self._grid.locate(held_until(cue, self._song.analysis))
            return f"{_capital(button)}: press {count}{stops}, hold, let go {self._on_count(back)}"
        return f"{_subject(cue, all_of_it='Everything')}: out in one move {count}{stops}"

    def _one_shot(self, cue: Cue) -> str:
        look = self._looks.get(cue.look or "")
        named = one_shot_name(self._song) if look is None or look.id == "one-shot" else look.name
        early = look.peak_after if look is not None and cue.anchor == "lands-on" else 0.0
        count = self._count(cue.place)
        if early < _AT_ONCE:
            when = self._on_count(cue.place)
        elif count.startswith("just"):
            when = f"{early:.2g} s before the accent, {count}, so that its peak meets it"
        else:
            when = f"{early:.2g} s before {count}, so that its peak meets the beat"
        said = f"{_capital(named or 'One-shot')}: press {when}"
        pressed, run = presses(cue, self._grid), one_shot_seconds(self._song)
        series = cue.series
        if series is not None and len(pressed) > 1:
            every = "every bar" if series.every_bars == 1 else f"every {series.every_bars} bars"
            said += f"; again {every} to bar {series.last_bar}, {counted(len(pressed), 'time')} in all"
            left_out = [str(bar) for bar in series.skip if series.first_bar <= bar <= series.last_bar]
            said += f", not in bar {_listed(left_out)}" if left_out else ""
            said += f"; each runs {run:.2g} s"
        if cue.dark_by is not None and pressed[-1] < cue.dark_by < pressed[-1] - early + run:
            last = ", the last one" if len(pressed) > 1 else ""
            said += f"; fade out early{last}, dark at {self._grid.locate(cue.dark_by, 'late')}"
        return said

    def _speed(self, cue: Cue) -> str:
        look = self._looks.get(cue.look or "")
        state = self._step(cue).before.get(cue.side or "")
        how = "by ear" if state is not None and state.lit else "in the dark"
        unit, control = speed_control(self._song)
        if cue.cycle_seconds is None:
            return f"{_subject(cue)}, {how}: set the speed {self._on_count(cue.place)}"
        if unit == "none":
            return f"{_subject(cue)}, {how}: {_one_round(cue)}"
        if unit != "tap":
            return f"{_subject(cue)}, {how}: {self._dialled(cue, look, 'to')}"
        built, bars = (look.cycle_bars if look else None) or 1.0, cue.cycle_bars or 1.0
        if bars > built:
            every = f"every {_ORDINALS.get(bars / built, f'{bars / built:g}th')} beat"
        else:
            every = "the beat" if bars == built else f"{built / bars:g} to a beat"
        return f"{_subject(cue)}, {how}: tap {every} on {control}, {_TAPS} taps from the 1, {_one_round(cue)}"

    def _dialled(self, cue: Cue, look: Look | None, word: str) -> str:
        """Say where the wheel or fader goes; twice the bars to a round are half the beats a minute."""
        unit, control = speed_control(self._song)
        seconds = cue.cycle_seconds or 0.0
        if unit == "watch":
            return f"{control} so that one round takes {seconds:.1f} s by a watch"
        bar = self._grid.bar(cue.place.bar) if cue.place.bar is not None else None
        first = bar or (self._grid.bars[0] if self._grid.bars else None)
        built = (look.cycle_bars if look else None) or cue.cycle_bars
        if first is None or not built or not seconds:
            return f"{control}: {_one_round(cue)}"
        return f"{control} {word} {60 * first.beats * built / seconds:.0f} BPM, {_one_round(cue)}"

    # What stands with it.

    def _trigger(self, cue: Cue) -> str:
        if cue.trigger == "follow-on":
            return "; it follows by itself"
        if cue.trigger == "chase":
            return "; as a chase, in step with the tempo"
        return "; held" if cue.trigger == "held" and cue.kind not in EXITS else ""

    def _rounds(self, cue: Cue) -> str:
        """Say what the rounds of a section mean that goes round until a sign."""
        sections, bar = self._grid.sections, cue.place.bar
        for index, section in enumerate(sections):
            if not section.vamp:
                continue
            after = sections[index + 1] if index + 1 < len(sections) else None
            opens_next = after is not None and bar == after.first_bar and (cue.place.beat or 1.0) < 2.0
            inside = bar is not None and section.first_bar <= bar <= section.last_bar
            leaves = cue.section_id == section.id and cue.rule in ("leave", "ending")
            if opens_next or (leaves and cue.kind in EXITS):
                return f"; only after the sign: {section.vamp}"
            if inside:
                return "; the same every time round" if cue.kind == "one-shot" else "; the first time round"
        return ""

    def _takes_time(self, cue: Cue) -> bool:
        return cue.kind != "cut-in" and bool(fade_seconds(cue, self._grid)[0] or cue.up_beats)

    def _lands(self, cue: Cue) -> bool:
        return hand_starts(cue, self._grid) < cue.place.seconds

    def _from(self, cue: Cue) -> str:
        count = self._count(hand_place(cue, self._grid))
        return f"starting {count}" if count.startswith("just") else f"from {count}"

    def _there(self, cue: Cue, words: str = "lands at") -> str:
        return f", {words} {cue.place}" if self._lands(cue) else ""

    def _count(self, place: Place) -> str:
        if place.bar is None:
            return clock(place.seconds)
        return self._grid.count(place)

    def _on_count(self, place: Place) -> str:
        if place.bar is None:
            return f"at {clock(place.seconds)}"
        return self._grid.on_count(place)

    def _before_the_song(self, place: Place) -> bool:
        bars = self._grid.bars
        return place.bar is None and (not bars or place.seconds <= bars[0].start)

    def _stop_at(self, cue: Cue) -> Event | None:
        at = cue.place.seconds
        stops = [event for event in self._song.analysis.events if event.kind == "stop"]
        return next((stop for stop in stops if stop.start - _AT_A_STOP <= at < stop.end), None)

    def _is_one_gesture(self, cue: Cue) -> bool:
        """Whether a side comes back in so soon after it was cut out that two hands play it as one."""
        gap = action_gap(self._song)
        return not self._takes_time(cue) and any(
            step.cue.kind == "cut-out" and step.cue.side == cue.side and not is_held(step.cue)
            for step in self._steps.values()
            if 0 < cue.place.seconds - step.at < gap
        )

    def _section_left(self, cue: Cue) -> Section | None:
        return next((each for each in self._grid.sections if each.id == cue.section_id), None)

    def _is_watched(self, cue: Cue) -> bool:
        """Whether a way out is an ending that is faded by eye: no further than a bar before its section's end."""
        section = self._section_left(cue)
        if cue.rule != "ending" or cue.anchor != "starts-on" or section is None:
            return False
        return cue.place.seconds > section.end - 1.5 * self._grid.bar_seconds(section.end - 0.01)

    def _is_last(self, cue: Cue) -> bool:
        return bool(self._grid.sections) and self._section_left(cue) == self._grid.sections[-1]


def _in(beats: float | None, seconds: float | None) -> str:
    length = length_words(beats, seconds)
    return f"in {length}" if length else ""


def _down(cue: Cue) -> tuple[float | None, float | None]:
    return cue.down_beats, cue.down_seconds


def _subject(cue: Cue, all_of_it: str = "The light") -> str:
    return f"Side {cue.side}" if cue.side else all_of_it


def _one_round(cue: Cue) -> str:
    seconds = f"{cue.cycle_seconds or 0.0:.1f} s"
    if cue.cycle_bars is None:
        return f"one round in {seconds}"
    return f"one round in {'1 bar' if cue.cycle_bars == 1 else f'{cue.cycle_bars:g} bars'} ({seconds})"


def _listed(words: list[str]) -> str:
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
