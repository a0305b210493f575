"""What is done to single cues, as edits: moved, brighter, added, copied to other passes, removed."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from cuesuggest.analysis.types import Section
from cuesuggest.decide.boundaries import family
from cuesuggest.decide.meant import find_look, place_at
from cuesuggest.errors import EditError
from cuesuggest.score.grid import Grid
from cuesuggest.score.light import beats_seconds
from cuesuggest.score.records import ENTRANCES, EXITS, Anchor, Cue, CueKind, Place, Series
from cuesuggest.song import AddCue, RemoveCue, SetCue, SetDoubts, Song
from cuesuggest.song.edit_types import CueChanges
from cuesuggest.song.numbers import number_between
from cuesuggest.song.rig_facts import sources_moved, waits_on_rig

__all__ = [
    "added",
    "as_kind",
    "copied",
    "counted_anew",
    "moved",
    "place_kept",
    "played_by_itself",
    "removed",
    "with_level",
]

_SAME_PLACE = 0.2  # s; a cue of the same kind so near is the same one


def moved(song: Song, cue: Cue, place: Place) -> SetCue:
    """Return the edit that moves a cue; lengths in beats stay, and are counted anew in seconds there.

    A series moves with its first press, by as many bars.

    Raises
    ------
    EditError
        If its series would run out of the song, or has no bar to begin in.
    """
    changes: CueChanges = {"place": place}
    if cue.series is not None and place.bar != cue.place.bar:
        changes["series"] = _moved_series(Grid(song.analysis), cue, place)
    if song.analysis.bars:
        changes |= counted_anew(song, replace(cue, place=place))
    return SetCue(cue.id, changes)


def counted_anew(song: Song, cue: Cue) -> CueChanges:
    """Return the seconds that a cue's beats take where it is: up to a place is not as long as from it on."""
    grid = Grid(song.analysis)
    changes = CueChanges()
    if cue.up_beats is not None:
        changes["up_seconds"] = beats_seconds(grid, cue.place, cue.anchor, cue.up_beats) if grid.bars else None
    if cue.down_beats is not None:
        changes["down_seconds"] = beats_seconds(grid, cue.place, cue.anchor, cue.down_beats) if grid.bars else None
    return changes


def _moved_series(grid: Grid, cue: Cue, place: Place) -> Series:
    """Return the series of a cue as many bars later as its first press."""
    series = cue.series
    if series is None or place.bar is None or cue.place.bar is None:
        raise EditError(f"Cue {cue.number:g} comes again every few bars. Move it to a bar.")
    shift = place.bar - cue.place.bar
    bars = [bar.number for bar in grid.bars]
    if not {series.first_bar + shift, series.last_bar + shift} <= set(bars):
        raise EditError(
            f"Cue {cue.number:g} comes again to bar {series.last_bar}: moved by {shift:+d} bars it would run out of "
            f"the song, which has bars {bars[0]} to {bars[-1]}. Move it less far."
        )
    skip = tuple(number + shift for number in series.skip)
    return replace(series, first_bar=series.first_bar + shift, last_bar=series.last_bar + shift, skip=skip)


def added(
    song: Song,
    kind: CueKind,
    place: Place,
    *,
    note: str = "",
    look: str | None = None,
    side: str | None = None,
    level: int | None = None,
    beats: float | None = None,
    who: str = "operator",
) -> AddCue:
    """Return the edit that adds a cue of the designer's own, with a number between its neighbours.

    `beats` is the length of the fade; what goes out counts it down, everything else up. `note` is what the designer
    says about it, or what is called.

    Raises
    ------
    EditError
        If it is a call without words, or there is no such look.
    """
    if kind == "call" and not note.strip():
        raise EditError("Write in the note what is called.")
    if look is not None:
        look = find_look(song, look)
    ids = {cue.id for cue in song.cues} | {each.cue.id for each in song.unplaced}
    ordinal = next(number for number in range(1, 10**6) if f"own/{kind}/{number}" not in ids)
    before = [cue.number for cue in song.cues if cue.place.seconds <= place.seconds]
    low = max(before, default=0.0)
    above = min((cue.number for cue in song.cues if cue.number > low), default=None)
    seconds = None if beats is None else Grid(song.analysis).span(place, beats) if song.analysis.bars else None
    out = kind in EXITS
    peaks = {each.id: each.peak_after for each in song.looks}
    # Of a one-shot that takes time to its peak, that is what meets the beat.
    anchor: Anchor = "lands-on" if kind == "one-shot" and peaks.get(look or "") else "starts-on"
    cue = Cue(
        id=f"own/{kind}/{ordinal}",
        number=number_between(low, above, 1)[0],
        kind=kind,
        trigger="hand",
        anchor=anchor,
        place=place,
        note=note,
        reasons=("You added it.",),
        confidence=1.0,
        look=look,
        side=side,
        level=level,
        up_beats=None if out else beats,
        up_seconds=None if out else seconds,
        down_beats=beats if out else None,
        down_seconds=seconds if out else None,
        who=who,
        status="added",
    )
    return AddCue(replace(cue, operator_confirms=waits_on_rig(song, cue)))


def copied(song: Song, cue: Cue) -> tuple[tuple[AddCue, Section], ...]:
    """Return the edits that put a cue at the same place of every other pass of its section.

    Parameters
    ----------
    song : Song
    cue : Cue

    Returns
    -------
    tuple of (AddCue, Section)
        With the section that each is for; those that have such a cue, or no such bar, are left out.

    Raises
    ------
    EditError
        If the cue is in no section, or there is no pass without such a cue.
    """
    inside = cue.place.bar_in_section
    own = Grid(song.analysis).section_of(cue.place.bar)
    if own is None or inside is None or cue.place.beat is None:
        raise EditError("This cue is in no section, so there is no other pass to copy it to.")
    found: list[tuple[AddCue, Section]] = []
    trial = song
    for section in family(song, own):
        if section.id == own.id or inside > section.bars:
            continue
        place = place_at(song, bar=section.first_bar + inside - 1, beat=cue.place.beat)
        if any(each.kind == cue.kind and abs(each.place.seconds - place.seconds) < _SAME_PLACE for each in song.cues):
            continue
        edit = _copy(trial, cue, place, own)
        found.append((edit, section))
        trial = trial.replaced(cues=(*trial.cues, edit.cue))
    if not found:
        raise EditError(f"Every other pass of {own.label} has such a cue, or there is no other pass.")
    return tuple(found)


def _copy(song: Song, cue: Cue, place: Place, own: Section) -> AddCue:
    length = cue.down_beats if cue.kind in EXITS else cue.up_beats
    new = added(
        song, cue.kind, place, note=cue.note, look=cue.look, side=cue.side, level=cue.level, beats=length, who=cue.who
    )
    own_words = replace(
        new.cue,
        trigger=cue.trigger,
        anchor=cue.anchor,
        operator_confirms=cue.operator_confirms,
        cautions=cue.cautions,
        reasons=(f"It is as cue {cue.number:g} in {own.mark}.",),
    )
    return replace(new, cue=own_words)


def removed(cue: Cue) -> RemoveCue:
    """Return the edit that takes out a cue that the designer added.

    Raises
    ------
    EditError
        If the cue was suggested: it would come back with the next draft, and is rejected instead. If it is locked.
    """
    if cue.lock:
        raise EditError(f"Cue {cue.number:g} is locked. Unlock it first, then remove it.")
    if cue.status != "added":
        raise EditError(f"Cue {cue.number:g} was suggested and would come back with the next draft. Reject it instead.")
    return RemoveCue(cue.id)


def as_kind(song: Song, cue: Cue, kind: CueKind) -> CueChanges:
    """Return what changes with a cue's kind: lengths and levels that the new kind has no use for go, others come.

    A way in that becomes a way out keeps its length, and the other way round.
    """
    changes: CueChanges = {"kind": kind}
    length = (cue.up_beats or cue.down_beats, cue.up_seconds or cue.down_seconds)
    back = (cue.down_beats or cue.up_beats, cue.down_seconds or cue.up_seconds)
    if kind in ENTRANCES:
        up = (0.0, 0.0) if kind == "cut-in" else length
        look = next((look for look in song.looks if look.id == cue.look), None)
        changes |= {"up_beats": up[0], "up_seconds": up[1]}
        if cue.kind not in ENTRANCES:
            changes |= {"down_beats": None, "down_seconds": None}
            changes["level"] = cue.level or (look.level_ceiling if look else 100)
    elif kind in EXITS:
        down = (0.0, 0.0) if kind == "cut-out" else back
        changes |= {"up_beats": None, "up_seconds": None, "down_beats": down[0], "down_seconds": down[1], "level": 0}
    elif kind != "ramp":
        changes |= {"up_beats": None, "up_seconds": None, "down_beats": None, "down_seconds": None, "level": None}
    if kind != "one-shot":
        changes["series"] = None
    return changes


def with_level(cue: Cue, level: int) -> SetCue:
    """Return the edit that sets a level.

    Raises
    ------
    EditError
        If the cue sets none.
    """
    if cue.level is None:
        raise EditError(f"Cue {cue.number:g} is a {cue.kind} and sets no level.")
    return SetCue(cue.id, {"level": level})


def played_by_itself(song: Song, cue: Cue, by_itself: bool) -> SetCue:
    """Return the edit that lets a machine play a cue, or has it wait for a person's go.

    Raises
    ------
    EditError
        If a machine is to play what moves a laser, what somebody else does, or what is called.
    """
    if by_itself and cue.kind == "call":
        raise EditError(f"Cue {cue.number:g} is called to people; no machine can play it.")
    if by_itself and cue.who != "operator":
        raise EditError(f"Cue {cue.number:g} is for {cue.who}, who does it by hand.")
    if by_itself and "laser" in sources_moved(song, cue):
        raise EditError(
            f"Cue {cue.number:g} moves a laser, and a laser waits for a person's go. Whoever is responsible at the "
            "place may let lasers go for one export or one run: --allow-auto lasers."
        )
    return SetCue(cue.id, {"operator_confirms": not by_itself})


def place_kept(song: Song, cues: Iterable[Cue]) -> SetDoubts:
    """Say that cues which came from another take are where they belong.

    Raises
    ------
    EditError
        If nothing came from another take, or none of these cues is uncertain.
    """
    kept = {cue.id for cue in cues}
    if song.taken_over is None:
        raise EditError("The cues of this song were not carried over from another take: all are where they were put.")
    doubts = song.taken_over.doubts
    left = tuple(doubt for doubt in doubts if doubt.cue not in kept)
    if len(left) == len(doubts):
        numbers = {cue.id: f"{cue.number:g}" for cue in song.cues}
        uncertain = ", ".join(numbers[doubt.cue] for doubt in doubts if doubt.cue in numbers)
        raise EditError(f"No uncertain cue was named. Uncertain: {uncertain or 'none'}.")
    return SetDoubts(left)
