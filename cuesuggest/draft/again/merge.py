"""What was decided in a document, laid over a fresh draft."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from cuesuggest.draft.again.moved_cues import Mover
from cuesuggest.draft.again.same_sound import Match
from cuesuggest.score.grid import Grid
from cuesuggest.score.records import Cue, Look, PlannedSection, counted
from cuesuggest.song import (
    AddCue,
    HistoryEntry,
    RemoveCue,
    SetCorrections,
    SetCue,
    SetLook,
    SetRecording,
    SetSection,
    Song,
    Unplaced,
)
from cuesuggest.song.compared import compared, in_places, kind_words
from cuesuggest.song.decided import decided, stands
from cuesuggest.song.numbers import in_order, numbered

__all__ = ["Rerun", "merged", "renumbered"]


@dataclass(frozen=True, slots=True)
class Rerun:
    """What became of a document that was there before."""

    kept: tuple[str, ...] = ()
    """Ids of the decided cues that stand."""
    new: tuple[str, ...] = ()
    """Ids of cues that the draft has now and had not before."""
    gone: tuple[str, ...] = ()
    """Ids of suggestions that nobody had decided on and that the draft no longer makes."""
    unplaced: tuple[str, ...] = ()
    """Ids of cues that lost their place."""
    lines: tuple[str, ...] = ()
    """All of it in sentences for the designer."""


def _candidates(old: Song) -> list[Cue]:
    """Return every cue of the document, those without a place too."""
    ids = {cue.id for cue in old.cues}
    return [*old.cues, *(each.cue for each in old.unplaced if each.cue.id not in ids)]


def merged(
    old: Song, fresh: Song, match: Match, notes: Iterable[str] = (), *, revision: int | None = None
) -> tuple[Song, Rerun]:
    """Lay what was decided in a document over a fresh draft.

    Parameters
    ----------
    old : Song
        As it was.
    fresh : Song
        Drafted from an analysis that `carried` went through, around `pins`.
    match : Match
        How their recordings answer each other.
    notes : iterable of str
        Sentences to tell with the rest.
    revision : int, optional
        Of the result, which keeps the history whole: it belongs to a change that is in it already. Left out, the
        result is one above the old one, and changes that can no longer be taken back leave the history.

    Returns
    -------
    Song
    Rerun
    """
    mover = Mover(old.analysis, fresh.analysis, match)
    drafted = {cue.id: cue for cue in fresh.cues}
    placed = {cue.id for cue in old.cues}
    kept: dict[str, Cue] = {}
    unplaced: list[Unplaced] = []
    for cue in _candidates(old):
        again = drafted.get(cue.id)
        if not decided(cue):
            continue
        if again is not None and not stands(cue):
            kept[cue.id] = replace(again, status=cue.status, note=cue.note)
            continue
        moved = mover.cue(cue, adrift=cue.id not in placed)
        if isinstance(moved, str):
            unplaced.append(Unplaced(cue, moved))
        else:
            kept[cue.id] = replace(moved, standby=again.standby if again else None)
    slots = {_slot(cue) for cue in kept.values() if stands(cue) and cue.status != "added"}
    suggested = [cue for cue in fresh.cues if cue.id not in kept and _slot(cue) not in slots]
    cues = renumbered(old, [*kept.values(), *suggested])
    coloured = {look.id: look for look in old.looks if look.decided}
    looks = tuple(_coloured_as(look, coloured.get(look.id)) for look in fresh.looks)
    wanted = {cue.look for cue in cues} - {look.id for look in looks}
    song = fresh.replaced(
        title=old.title,
        revision=old.revision + 1 if revision is None else revision,
        corrections=old.corrections,
        numbers_frozen=old.numbers_frozen,
        printed=old.printed,
        looks=(*looks, *(look for look in old.looks if look.id in wanted)),
        plan=_with_decided(fresh, old),
        cues=cues,
        unplaced=tuple(unplaced),
    )
    same_bars = [bar.start for bar in old.analysis.bars] == [bar.start for bar in song.analysis.bars]
    history, undone = old.history, old.undone
    if revision is None:
        history = tuple(_timeless(entry, match) for entry in history if _can_be_undone(entry, song, same_bars))
        undone = ()
    song = song.replaced(history=history, undone=undone).stored_like(old)
    before = {cue.id for cue in old.cues}
    told = Rerun(
        kept=tuple(kept),
        new=tuple(cue.id for cue in song.cues if cue.id not in before and cue.id not in kept),
        gone=tuple(cue.id for cue in old.cues if not decided(cue) and all(cue.id != each.id for each in cues)),
        unplaced=tuple(each.cue.id for each in unplaced),
    )
    return song, replace(told, lines=tuple(_lines_of(old, song, told, len(old.history) - len(history), notes)))


def _with_decided(fresh: Song, old: Song) -> tuple[PlannedSection, ...]:
    """Return the fresh plan with what was decided for its sections."""
    decided = {planned.section: planned.decided for planned in old.plan}
    return tuple(replace(planned, decided=decided.get(planned.section)) for planned in fresh.plan)


def _coloured_as(look: Look, decided: Look | None) -> Look:
    if decided is None:
        return look
    return replace(look, colours=decided.colours, colour_relation=decided.colour_relation, decided=True)


def _slot(cue: Cue) -> tuple[str, ...]:
    """Return rule, section and ordinal of a cue: what one decision stands for, whatever the category."""
    ordinal = cue.id.rpartition("/")[2]
    return (cue.rule, cue.section_id, ordinal) if cue.rule in ("enter", "recall") else (cue.id,)


def renumbered(old: Song, cues: Sequence[Cue]) -> tuple[Cue, ...]:
    """Number the cues that follow those of a document: as they were where somebody has the numbers, else in order."""
    known = _candidates(old)
    if old.numbers_frozen or any(map(decided, known)):
        return tuple(numbered(cues, {cue.id: cue.number for cue in known}))
    return tuple(in_order(cues))


def _timeless(entry: HistoryEntry, match: Match) -> HistoryEntry:
    """Leave out what speaks of times in a recording that the song has no longer."""
    if match.kind in ("shifted", "other") and isinstance(entry.inverse, SetCorrections):
        return replace(entry, inverse=replace(entry.inverse, sections=()))
    return entry


def _can_be_undone(entry: HistoryEntry, song: Song, same_bars: bool) -> bool:
    """Whether taking a change back still means what it meant."""
    match entry.edit:
        case SetCue():
            moves = not {"place", "series"}.isdisjoint(entry.edit.changes)
            return (same_bars or not moves) and any(cue.id == entry.edit.cue for cue in song.cues)
        case AddCue():
            return any(cue.id == entry.edit.cue.id for cue in song.cues)
        case RemoveCue():
            return same_bars and all(cue.id != entry.edit.cue for cue in song.cues)
        case SetLook():
            return any(look.id == entry.edit.look for look in song.looks)
        case SetSection():
            return any(section.id == entry.edit.section for section in song.analysis.sections)
        case SetRecording():
            return entry.edit.recording.sha256 == song.recording.sha256
        case _:
            return True


def _lines_of(old: Song, song: Song, rerun: Rerun, forgotten: int, notes: Iterable[str]) -> Iterable[str]:
    yield from notes
    ids = set(rerun.kept)
    kept = Counter(
        "locked" if cue.lock else "noted" if cue.status == "suggested" else cue.status
        for cue in song.cues
        if cue.id in ids
    )
    if kept:
        yield "Kept as you decided: " + ", ".join(f"{count} {what}" for what, count in sorted(kept.items())) + "."
    was, now = Grid(old.analysis), Grid(song.analysis)
    difference = compared(old, song)
    moved = [cue for before, cue in difference.moved if str(before.place) != str(cue.place)]
    for what, cues, grid in (
        ("New", [cue for cue in song.cues if cue.id in rerun.new], now),
        ("No longer suggested", [cue for cue in old.cues if cue.id in rerun.gone], was),
        ("Moved", moved, now),
        ("Changed", [cue for _, cue in difference.changed], now),
    ):
        if cues:
            yield f"{what}: {in_places(cues, grid)}."
    looks = {look.id for look in song.looks}
    for look in old.looks:
        if look.decided and look.id not in looks:
            yield f"{look.name} had colours that you gave it ({look.colour_relation}); there is no such look any more."
    for each in song.unplaced:
        cue = each.cue
        yield f"Cue {cue.number:g} ({kind_words(cue)}, {cue.place}) lost its place: {each.why}. It is kept aside."
    if forgotten:
        yield f"{counted(forgotten, 'earlier change')} can no longer be taken back one by one."
