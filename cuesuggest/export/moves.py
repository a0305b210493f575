"""What a machine would do by itself to play a list: looks that come and go, levels that move, a dark that is held.

Only cues that need no person's go act here, unless the user allowed all; the others are reminders, and no more.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

from cuesuggest.cues import ENTRANCES, Cue
from cuesuggest.export.grid import song_end
from cuesuggest.export.mapping import side_names
from cuesuggest.export.options import Options, is_automatic
from cuesuggest.export.text import number_text, one_line
from cuesuggest.export.timing import cues_in_time

if TYPE_CHECKING:
    from cuesuggest.song import Song

__all__ = ["BY_HAND", "Dark", "LevelMove", "LookOn", "Moves", "Told", "acts", "moves", "told", "where", "wording"]

_LEAVES = {"fade-out", "cut-out"}
_RUN_SECONDS = 1.0  # Of a one-shot, where the rig does not say.
BY_HAND = "By hand"


@dataclass(frozen=True, slots=True)
class Told:
    """A cue as something that is said at a moment."""

    at: float
    """Seconds of the show at which the hand starts: before the cue's place where a fade lands there."""
    cue: Cue
    automatic: bool
    again: bool = False
    """A later one of a series."""


@dataclass(frozen=True, slots=True)
class LevelMove:
    """The level of a side goes from one value to another."""

    at: float
    seconds: float
    side: str
    from_: float
    to: float
    """Percent."""
    cue: Cue

    def level(self, at: float) -> float:
        """Percent at a moment, straight from one value to the other."""
        if at >= self.at + self.seconds:
            return self.to
        return self.from_ + (self.to - self.from_) * max(at - self.at, 0.0) / self.seconds


@dataclass(frozen=True, slots=True)
class LookOn:
    """A look is on a side, or a one-shot runs, from one moment to another."""

    at: float
    until: float
    look: str
    side: str | None
    cue: Cue


@dataclass(frozen=True, slots=True)
class Dark:
    """All is out as long as a button is held."""

    at: float
    until: float
    cue: Cue


@dataclass(frozen=True, slots=True)
class Moves:
    """All that would happen by itself, each kind in order of time."""

    levels: tuple[LevelMove, ...]
    looks: tuple[LookOn, ...]
    darks: tuple[Dark, ...]


def told(song: Song, options: Options) -> list[Told]:
    """Every cue that stands as something to be said, in order of time; those before second 0 are left out.

    One-shots are told at the beat that they meet: how early to press is part of their words.

    Parameters
    ----------
    song : Song
    options : Options

    Returns
    -------
    list of Told
    """
    inside, _ = cues_in_time(song, options.timing)
    found = []
    for cue in inside:
        early = _starts(cue, {}) - cue.place.seconds
        for index, seconds in enumerate(_occasions(song, cue)):
            at = max(options.timing.show(seconds + early), 0.0)
            found.append(Told(at, cue, is_automatic(cue, options), again=index > 0))
    return sorted(found, key=lambda each: (each.at, each.cue.number))


def wording(each: Told) -> str:
    """A cue on one line: "3 cut-in: what the hand does", with "By hand" in front where no machine may do it."""
    words = f"{number_text(each.cue.number)} {each.cue.kind}{' again' if each.again else ''}: {one_line(each.cue.hand)}"
    return words if each.automatic else f"{BY_HAND} {words}"


def acts(song: Song, options: Options) -> list[tuple[float, Cue]]:
    """Every cue that acts by itself, with the seconds of the show at which it starts, each time that it does.

    Parameters
    ----------
    song : Song
    options : Options

    Returns
    -------
    list of (float, Cue)
        In order of time.
    """
    peak = {look.id: look.peak_after for look in song.looks}
    found = []
    for cue in cues_in_time(song, options.timing)[0]:
        if is_automatic(cue, options):
            early = _starts(cue, peak) - cue.place.seconds
            found += [(max(options.timing.show(at + early), 0.0), cue) for at in _occasions(song, cue)]
    return sorted(found, key=lambda each: (each[0], each[1].kind != "recall", each[1].number))


def where(each: Told) -> str:
    """The place of a cue for people; nothing for a later one of a series, whose place is another."""
    if each.again:
        return ""
    lands = _starts(each.cue, {}) < each.cue.place.seconds
    return f"{'lands on ' if lands else ''}{each.cue.place}"


def moves(song: Song, options: Options) -> Moves:
    """Follow the cues that act by themselves through a song.

    Parameters
    ----------
    song : Song
    options : Options

    Returns
    -------
    Moves
        Everything ends: a look with the way out of its side, at the latest with the song.
    """
    stage = _Stage(song, options)
    for at, cue in acts(song, options):
        stage.play(at, cue)
    return stage.ended()


def _occasions(song: Song, cue: Cue) -> list[float]:
    """Seconds of the recording at which a cue happens: once, or at each bar of its series."""
    if cue.series is None or cue.place.bar is None:
        return [cue.place.seconds]
    start = {bar.number: bar.start for bar in song.analysis.bars}
    after = cue.place.seconds - start[cue.place.bar]
    bars = range(cue.series.first_bar, cue.series.last_bar + 1, cue.series.every_bars)
    found = [round(start[bar] + after, 4) for bar in bars if bar in start and bar not in cue.series.skip]
    return found or [cue.place.seconds]


def _starts(cue: Cue, peak: Mapping[str, float]) -> float:
    """Seconds of the recording at which a cue starts: before its place if it lands there."""
    if cue.anchor != "lands-on":
        return cue.place.seconds
    if cue.kind == "one-shot":
        return cue.place.seconds - peak.get(cue.look or "", 0.0)
    return cue.place.seconds - (cue.up_seconds or cue.down_seconds or 0.0)


def _run_seconds(song: Song) -> float:
    rig = song.rig.values.get("one_shot")
    given = rig.get("run_seconds") if isinstance(rig, dict) else None
    return float(given) if isinstance(given, int | float) and given > 0 else _RUN_SECONDS


class _Stage:
    """What is on every side while the cues are followed."""

    def __init__(self, song: Song, options: Options) -> None:
        self._song = song
        self._show = options.timing.show
        self._end = max(self._show(song_end(song)), 0.0)
        self._last: dict[str, LevelMove] = {}
        self._on: dict[str, tuple[float, str, Cue]] = {}
        self._levels: list[LevelMove] = []
        self._looks: list[LookOn] = []
        self._darks: list[Dark] = []
        self._run = _run_seconds(song)
        self._ceiling = {look.id: look.level_ceiling for look in song.looks}

    def play(self, at: float, cue: Cue) -> None:
        """Let a cue act."""
        if cue.kind == "one-shot":
            self._looks.append(LookOn(at, at + self._run, cue.look or "one-shot", None, cue))
        elif cue.kind in ("call", "speed"):
            return
        elif cue.trigger == "held" and cue.kind in _LEAVES:
            self._darks.append(Dark(at, max(self._show(self._let_go(cue)), at), cue))
        elif cue.kind in _LEAVES:
            for side in self._sides_of(cue):
                seconds = cue.down_seconds or 0.0
                self._move(side, at, seconds, 0.0, cue)
                self._off(side, at + seconds)
        elif cue.side is not None:
            if cue.look is not None and (self._on.get(cue.side) or (0.0, None))[1] != cue.look:
                self._off(cue.side, at)
                self._on[cue.side] = (at, cue.look, cue)
            if cue.kind == "ramp" or cue.kind in ENTRANCES:
                self._rise(cue, at)

    def ended(self) -> Moves:
        """Let go of whatever is still on, and give back all that happened."""
        for side in list(self._on):
            self._off(side, self._end)
        return Moves(
            tuple(sorted(self._levels, key=lambda each: each.at)),
            tuple(sorted(self._looks, key=lambda each: (each.at, each.until))),
            tuple(self._darks),
        )

    def _rise(self, cue: Cue, at: float) -> None:
        assert cue.side is not None
        up = cue.up_seconds or 0.0
        if cue.kind == "ramp":
            up = up or cue.down_seconds or 0.0
        level = cue.level if cue.level is not None else self._ceiling.get(cue.look or "", 100)
        self._move(cue.side, at, up, float(level), cue)
        if cue.kind != "ramp" and cue.down_seconds is not None:
            # The new look leads: the old one starts out when it is half up, so that there is no dip.
            for side in [side for side in self._on if side != cue.side and self._level(side, at) > 0]:
                self._move(side, at + up / 2, cue.down_seconds, 0.0, cue)
                self._off(side, at + up / 2 + cue.down_seconds)

    def _sides_of(self, cue: Cue) -> list[str]:
        return [cue.side] if cue.side is not None else [side for side in side_names(self._song) if side in self._on]

    def _let_go(self, cue: Cue) -> float:
        """Seconds of the recording at which a held button is let go: where the band is back."""
        stops = [event for event in self._song.analysis.events if event.kind == "stop"]
        near = [event for event in stops if abs(event.start - cue.place.seconds) < 0.5 and event.end > event.start]
        if near:
            return max(near[-1].end, cue.place.seconds)
        later = [beat for beat in self._song.analysis.beats if beat > cue.place.seconds + 0.05]
        return later[0] if later else cue.place.seconds + 0.5

    def _level(self, side: str, at: float) -> float:
        return self._last[side].level(at) if side in self._last else 0.0

    def _move(self, side: str, at: float, seconds: float, to: float, cue: Cue) -> None:
        self._last[side] = LevelMove(at, seconds, side, self._level(side, at), to, cue)
        self._levels.append(self._last[side])

    def _off(self, side: str, at: float) -> None:
        if side in self._on:
            since, look, cue = self._on.pop(side)
            self._looks.append(LookOn(since, max(at, since), look, side, cue))
