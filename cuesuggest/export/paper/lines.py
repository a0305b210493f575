"""The cues of one person's night in the order of the hand, with what stands beside each on paper and tablet."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

from cuesuggest.analysis.types import Section, SongAnalysis
from cuesuggest.errors import CuesuggestError
from cuesuggest.export.common.escape import one_line
from cuesuggest.export.common.options import Options
from cuesuggest.score.grid import Grid
from cuesuggest.score.light import follow, in_order_of_hand
from cuesuggest.score.records import ENTRANCES, EXITS, Cue, Look, Place, near_beat
from cuesuggest.song.hand_words import HandWords, beside

if TYPE_CHECKING:
    from cuesuggest.song import Song

__all__ = ["Line", "heard", "lines", "nothing_to_do", "placed", "sentence", "volunteers_words"]

# What a volunteer plays: light comes and goes, and others are called; no changes inside a look, no accents.
_PLAIN_KINDS = {"recall", *ENTRANCES, *EXITS, "call"}
_QUIET, _FULL = 0.35, 0.6  # drive; common practice has no numbers for it, these are ours
_NEAR_BARS = 1  # an event that ends this near before a section is what one hears coming


@dataclass(frozen=True, slots=True)
class Line:
    """A cue as somebody reads it."""

    cue: Cue
    look: Look | None
    section: Section | None
    place: Place
    """Where the hand begins, which is before the cue's own place if its fade lands there."""
    seconds: float
    """Of the show, when the hand begins."""
    hand: str
    """What the hand does, in a sentence."""
    action: str
    """In few words; see `cuesuggest.song.hand_words`."""
    mine: bool
    """False for the lines of others, which are printed in grey."""
    changed: bool
    """Not as it was at the last print."""
    bars_since: float | None
    seconds_since: float | None


def lines(song: Song, options: Options) -> tuple[Line, ...]:
    """Take from a song what one person needs to see.

    Parameters
    ----------
    song : Song
    options : Options
        `who` says whose lines are not grey; `plain` leaves out lasers and all but coming in, going out and calls.

    Returns
    -------
    tuple of Line
        In order of time and number.

    Raises
    ------
    CuesuggestError
        If no cue is for that person.
    """
    looks = {look.id: look for look in song.looks}
    grid, words = Grid(song.analysis), HandWords(song)
    standing = [cue for cue in song.cues if cue.status != "rejected"]
    names = list(dict.fromkeys(cue.who for cue in standing))
    if options.who is not None and options.who not in names:
        known = ", ".join(map(repr, names)) or "nobody"
        raise CuesuggestError(
            f"{one_line(song.title)} has no cue for {options.who!r}; it has cues for {known}. Name one with --who."
        )
    played = in_order_of_hand(_plain(standing, grid, looks) if options.plain else standing, grid)
    found: list[Line] = []
    before: Place | None = None
    for place, cue in played:
        line = Line(
            cue,
            looks.get(cue.look or ""),
            grid.section_of_place(place),
            place,
            options.timing.show(place.seconds),
            words.of(cue),
            one_line(words.short(cue, options.who or "operator")),
            options.who is None or cue.who == options.who,
            cue.id in options.changed,
            None if before is None else grid.bars_between(before, place),
            None if before is None else place.seconds - before.seconds,
        )
        found.append(line)
        before = place
    return tuple(found)


def volunteers_words(options: Options) -> str:
    """Say what a volunteer's version leaves out; nothing for the whole version."""
    return "Volunteer's version: light comes in and goes out; what else there is, others play." if options.plain else ""


def nothing_to_do(song: Song, options: Options) -> str:
    """Say that a volunteer has nothing to do in a song, as one sentence; nothing where there is something."""
    if not options.plain or lines(song, options):
        return ""
    return "In this song you have nothing to do: leave every fader as it is."


def placed(line: Line) -> str:
    """Say where in its section a cue is, as one counts along: "bar 5", "last bar", "bar 5 before 2"."""
    place = line.place
    if place.bar is None:
        return "before" if line.section is None else "pause"
    if place.bar_in_section is None:
        number = f"bar {place.bar}"
    elif place.bar_in_section == place.bars_in_section and place.bars_in_section > 1:
        number = "last bar"
    else:
        number = f"bar {place.bar_in_section}"
    return number + _beat_words(place.beat or 1.0)


def _beat_words(beat: float) -> str:
    near = near_beat(beat)
    whole, part = int(near), near - int(near)
    if not part:
        return "" if whole == 1 else f" on {whole}"
    if part == 0.5:
        return f" on {whole}½"
    return f" after {whole}" if part < 0.5 else f" before {whole + 1}"


def sentence(line: Line) -> str:
    """What the hand does, whole, with the person's own words beside it."""
    note = one_line(beside(line.cue)).strip()
    return one_line(line.hand) + (f" ({note})" if note else "")


def heard(section: Section, analysis: SongAnalysis) -> str:
    """Say how a section is told by ear where nobody has typed its first words: "full, out of a build".

    Parameters
    ----------
    section : Section
    analysis : SongAnalysis

    Returns
    -------
    str
    """
    bars = [bar for bar in analysis.bars if section.first_bar <= bar.number <= section.last_bar]
    if not bars:
        return ""
    drive = sum(bar.drive for bar in bars) / len(bars)
    parts = ["quiet" if drive < _QUIET else "full" if drive > _FULL else "medium"]
    near = bars[0].start - _NEAR_BARS * (bars[0].end - bars[0].start)
    before = [each.kind for each in analysis.events if near < each.end <= bars[0].start + 0.2]
    parts += [
        {"build": "out of a build", "stop": "after a stop", "fill": "after a fill"}[kind]
        for kind in ("build", "stop", "fill")
        if kind in before
    ][:1]
    sung = [bar.voice for bar in bars if bar.voice is not None]
    if sung:
        parts.append("voice" if sum(sung) / len(sung) > 0.5 else "no voice")
    return ", ".join(parts)


def _plain(cues: list[Cue], grid: Grid, looks: Mapping[str, Look]) -> list[Cue]:
    """Keep what a volunteer plays: no lasers coming in, nor going out where the cue itself names no look."""

    def is_laser(name: str | None) -> bool:
        look = looks.get(name or "")
        return look is not None and look.source == "laser"

    kept = []
    for step in follow(cues, grid=grid, looks=looks.values()):
        cue = step.cue
        names = [cue.look]
        if cue.look is None and cue.kind in EXITS:
            names = [step.before[move.side].look for move in step.moves if move.side in step.before]
        lasers_only = bool(names) and all(map(is_laser, names))
        if cue.kind in _PLAIN_KINDS and cue.trigger != "held" and not lasers_only:
            kept.append(cue)
    return kept
