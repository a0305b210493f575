"""Another take: what was reviewed on one recording carried to another one of the same song."""

from __future__ import annotations

import os
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from cuesuggest.analysis.listen import Step
from cuesuggest.analysis.types import Section
from cuesuggest.draft.again.counted_alike import form_as_in
from cuesuggest.draft.again.merge import renumbered
from cuesuggest.draft.again.moved_cues import Mover
from cuesuggest.draft.again.other_take import OtherTake
from cuesuggest.draft.again.pins import pins
from cuesuggest.draft.again.same_sound import Match
from cuesuggest.draft.alike import OTHER_SONG, USUAL_KEYS, named, read_alike
from cuesuggest.draft.beside import document_of
from cuesuggest.draft.clashes import clashes, conflicts, told
from cuesuggest.draft.drafting import fresh_song, source_of
from cuesuggest.draft.listening import framed
from cuesuggest.draft.order import Order
from cuesuggest.draft.states import KeptStates, kept_folder
from cuesuggest.errors import DocumentError, RecordingChangedError
from cuesuggest.score.grid import Grid
from cuesuggest.score.records import Cue, Look, PlannedPart, PlannedSection, counted
from cuesuggest.song import (
    Correction,
    Doubt,
    SetCorrections,
    SetRecording,
    Song,
    TakenOver,
    Unplaced,
    change_all,
    check_savable,
    path_from,
)
from cuesuggest.song.compared import kind_words
from cuesuggest.song.decided import decided
from cuesuggest.sound.recording import check_name, open_recording

__all__ = ["Retimed", "retime_file", "retimed"]

_TEMPO = 0.01  # relative; less is not told


@dataclass(frozen=True, slots=True)
class Retimed:
    """A song on another take; not yet saved."""

    song: Song
    lines: tuple[str, ...]
    """What moved, what is uncertain, what was left, what is new."""


def retimed(
    old: Song, document: str | Path, recording: str | Path, order: Order, target: Path, *, step: Step | None = None
) -> Retimed:
    """Carry a song to another recording of it.

    Every cue comes along, decided or not, with names, first words, form and numbers. What the new take does not have
    is kept aside, what it has beyond the old one gets suggestions.

    Parameters
    ----------
    old : Song
    document : str or Path
        Where it lies, to find its recording.
    recording : str or Path
        The other take.
    order : Order
        Its window in the file; style and rig stay as they are unless named.
    target : Path
        Where the result will be saved.
    step : callable, optional
        Told the name of each step, and the seconds heard so far.

    Returns
    -------
    Retimed

    Raises
    ------
    CuesuggestError
        If one of the recordings is not there or cannot be read, or they have nothing in common.
    """
    source = open_recording(source_of(Path(document), old))
    if source.sha256 != old.recording.sha256:
        raise RecordingChangedError(
            f"{source.path} is not the file that the document was made from. Run suggest on {document} first."
        )
    heard = open_recording(recording)
    check_name(path_from(target, heard.path))
    chosen = order.chosen()
    chosen = replace(Order(order.profile, order.rig).chosen(old), window=chosen.window)
    frames = framed(source, Order().chosen(old).window, step)
    before = frames.take(old.analysis)
    new = framed(heard, chosen.window, step)
    aligned, analysis, facts = read_alike(before, new, heard.path, step)
    take = OtherTake(old.analysis, analysis, aligned)
    stretches = take.sections()
    form = form_as_in(stretches, take.old.sections)
    if form is not None:
        facts = (*facts, form)
        analysis = new.analysis(facts, step)
    analysis, fresh_sections = named(old.analysis, analysis, stretches if form is not None else ())
    take = OtherTake(old.analysis, analysis, aligned)
    match = Match("take", take=take)
    standing = old.replaced(
        cues=tuple(replace(cue, status="accepted") if not decided(cue) else cue for cue in old.cues)
    )
    fresh = fresh_song(heard, analysis, chosen, target, step, pins(standing, analysis, match))
    return _laid(old, fresh, facts, take, fresh_sections)


def retime_file(
    document: Path, recording: Path, order: Order, target: Path | None = None, *, step: Step | None = None
) -> tuple[Retimed, Path]:
    """Carry a song document to another recording and save it; the old state can be had back with an undo.

    Parameters
    ----------
    document : Path
    recording : Path
    order : Order
    target : Path, optional
        Where to save: a new file, or the document itself. Beside the recording if left out.
    step : callable, optional
        As for `retimed`.

    Returns
    -------
    Retimed
    Path
        Where it was saved.

    Raises
    ------
    CuesuggestError
        As `retimed` does, and if something is there already, or cannot be written.
    """
    target = target or document_of(recording)
    check_savable(target)
    if os.path.exists(target) and os.path.realpath(target) != os.path.realpath(document):
        raise DocumentError(
            f"{target} is there already, and may hold decisions of its own. Name another file with -o, or move it away."
        )
    old = Song.load(document)
    done = retimed(old, document, recording, order, target, step=step)
    there = replace(old.recording, path=path_from(target, source_of(document, old)))
    KeptStates(kept_folder(target)).keep(old.replaced(recording=there), str(old.revision))
    done.song.save(target)
    return done, target


def _laid(old: Song, fresh: Song, facts: tuple[Correction, ...], take: OtherTake, added: tuple[str, ...]) -> Retimed:
    """Lay what the old take has over the draft of the new one."""
    mover = Mover(old.analysis, fresh.analysis, Match("take", take=take))
    carried: list[Cue] = []
    doubts: list[Doubt] = []
    sure: dict[str, float] = {}
    aside: list[Unplaced] = []
    passing = _of_the_old_take_alone(old, fresh)
    for cue in old.cues:
        if cue.id in passing:
            continue
        moved = mover.cue(cue, adrift=False)
        if isinstance(moved, str):
            aside.append(Unplaced(cue, moved))
            continue
        carried.append(replace(moved, standby=None))
        found = take.find(cue.place)
        if isinstance(found, str):
            continue
        sure[cue.id] = found.sure
        if found.why:
            doubts.append(Doubt(cue.id, moved.place.seconds, found.why, found.elsewhere))
    for each in old.unplaced:
        back = mover.cue(each.cue, adrift=True)
        if isinstance(back, str) or any(cue.id == each.cue.id for cue in carried):
            aside.append(each)
        else:
            carried.append(back)
            doubts.append(Doubt(back.id, back.place.seconds, "it was kept aside, and has a place again"))
    left = tuple(section for section in old.analysis.sections if not _is_in(section, fresh.analysis.sections))
    recording = fresh.recording
    after = change_all(
        old,
        (SetRecording(recording), SetCorrections(facts)),
        by="retime",
        said=f"carried from {_name(old)} to {_name(fresh)}",
    )
    song = fresh.replaced(
        title=old.title,
        revision=after.revision,
        corrections=facts,
        numbers_frozen=old.numbers_frozen,
        printed=old.printed,
        looks=_looks(old, fresh),
        plan=_plan(old, fresh, take),
        cues=renumbered(old, carried),
        unplaced=tuple(aside),
        history=after.history,
        undone=(),
    )
    new_cues, refused = _suggested(song, fresh, old, carried, added)
    song = song.replaced(cues=renumbered(old, [*carried, *new_cues]))
    lines = tuple(_lines(old, song, take, doubts, added, left, new_cues, refused))
    record = TakenOver(
        take=_name(old),
        sha256=old.recording.sha256,
        sure=sure,
        doubts=tuple(doubts),
        new_cues=tuple(cue.id for cue in new_cues),
        left=left,
        lines=lines,
    )
    return Retimed(song.replaced(taken_over=record).stored_like(old), lines)


def _of_the_old_take_alone(old: Song, fresh: Song) -> set[str]:
    """Return suggestions for sections that only the old take has, and that nobody has decided on: nobody's work."""
    suggested = set(old.taken_over.new_cues) if old.taken_over else set()
    there = {section.id for section in fresh.analysis.sections}
    return {cue.id for cue in old.cues if cue.id in suggested and not decided(cue) and cue.section_id not in there}


def _name(song: Song) -> str:
    return song.recording.path.rpartition("/")[2]


def _is_in(section: Section, sections: Iterable[Section]) -> bool:
    return any(each.id == section.id for each in sections)


def _looks(old: Song, fresh: Song) -> tuple[Look, ...]:
    """Return the looks of the old take, at the new tempo where their motion follows it, and what is new."""
    now = {look.id: look for look in fresh.looks}
    kept = [
        replace(look, cycle_seconds=now[look.id].cycle_seconds)
        if look.id in now and look.cycle_bars == now[look.id].cycle_bars
        else look
        for look in old.looks
    ]
    known = {look.id for look in old.looks}
    return (*kept, *(look for look in fresh.looks if look.id not in known))


def _plan(old: Song, fresh: Song, take: OtherTake) -> tuple[PlannedSection, ...]:
    """Return the plan of the old take for its sections, and the draft's for the new ones."""
    before = {planned.section: planned for planned in old.plan}
    looks = {look.id for look in _looks(old, fresh)}
    plan = []
    for planned in fresh.plan:
        was = before.get(planned.section)
        if was is None or (was.look is not None and was.look not in looks):
            plan.append(planned)
            continue
        plan.append(replace(was, drive=planned.drive, parts=_parts(was, planned, take)))
    return tuple(plan)


def _parts(was: PlannedSection, now: PlannedSection, take: OtherTake) -> tuple[PlannedPart, ...]:
    """Return where a section's light changes inside, in bars of the new take."""
    parts = []
    for part in was.parts:
        bar = take.old.bar(part.first_bar)
        found = None if bar is None else take.place(take.old.place(bar.number))
        if found is None or isinstance(found, str) or found.bar is None:
            return now.parts
        parts.append(replace(part, first_bar=found.bar))
    return tuple(parts)


def _suggested(
    song: Song, fresh: Song, old: Song, carried: Sequence[Cue], added: Sequence[str]
) -> tuple[list[Cue], list[Section]]:
    """Return what is suggested for new sections, and the sections for which nothing goes with the rest."""
    grid, ids = Grid(song.analysis), {cue.id for cue in carried}
    kept: list[Cue] = []
    refused: list[Section] = []
    known = clashes(song).keys()
    for section in song.analysis.sections:
        if section.id not in added:
            continue
        inside = [
            replace(cue, reasons=(f"New in this take: {_name(old)} has no such part.", *cue.reasons))
            for cue in fresh.cues
            if grid.section_of_place(cue.place) == section and cue.id not in ids
        ]
        for chosen in (inside, [cue for cue in inside if cue.kind in ("one-shot", "ramp")]):
            tried = song.replaced(cues=renumbered(old, [*carried, *kept, *chosen]))
            if chosen and clashes(tried).keys() <= known:
                kept += chosen
                break
        else:
            if inside:
                refused.append(section)
    return kept, refused


def _lines(
    old: Song,
    song: Song,
    take: OtherTake,
    doubts: Sequence[Doubt],
    added: Sequence[str],
    left: Sequence[Section],
    new: Sequence[Cue],
    refused: Sequence[Section],
) -> Iterable[str]:
    """Say what moved, what is uncertain, what was left over and what is new."""
    yield f"Taken over from {_name(old)}. {_played(old, song, take)}"
    cues = {cue.id: cue for cue in song.cues}
    came = [cue for cue in song.cues if any(cue.id == each.id for each in old.cues)]
    elsewhere = [cue for cue in came if str(cue.place) != str(next(e.place for e in old.cues if e.id == cue.id))]
    yield (
        f"Moved: {counted(len(came), 'cue')}, {len(came) - len(elsewhere)} of them to the same bar of the same "
        f"section, {len(elsewhere)} to a bar that is counted otherwise here."
    )
    for doubt in doubts:
        cue = cues[doubt.cue]
        yield f"Uncertain: cue {cue.number:g} ({kind_words(cue)}, {cue.place}): {doubt.why}. Listen there."
    for section in left:
        yield f"Not in this take: {_called(section)}, {counted(section.bars, 'bar')}."
    aside: dict[str, list[Cue]] = {}
    for each in song.unplaced:
        aside.setdefault(each.why, []).append(each.cue)
    for why, gone in aside.items():
        said = "; ".join(f"cue {cue.number:g} ({kind_words(cue)}, {cue.place})" for cue in gone)
        yield f"Kept aside, as {why}: {said}."
    numbers = {cue.id: cue.number for cue in song.cues}
    for section in song.analysis.sections:
        if section.id not in added:
            continue
        inside = [cue for cue in new if take.new.section_of_place(cue.place) == section]
        said = ", ".join(f"{kind_words(cue)} (cue {numbers[cue.id]:g})" for cue in inside)
        suggested = f"suggested: {said}" if said else "no cue is suggested, the light stays as it comes in"
        if section in refused:
            suggested = "nothing that was drafted for it goes with the cues around it, so it is left to you"
        where = f"bars {section.first_bar} to {section.last_bar}" if section.bars > 1 else f"bar {section.first_bar}"
        yield f"New: {_called(section)}, {where}; {suggested}."
    for problem in conflicts(song):
        yield told(problem)


def _called(section: Section) -> str:
    return f"{section.mark} ({section.name})" if section.name else section.mark


def _played(old: Song, song: Song, take: OtherTake) -> str:
    """Say how the new take is played, against the old one."""
    said = []
    if old.analysis.tempo_bpm and song.analysis.tempo_bpm:
        ratio = song.analysis.tempo_bpm / old.analysis.tempo_bpm - 1
        if abs(ratio) >= _TEMPO:
            said.append(f"{abs(ratio) * 100:.0f} % {'faster' if ratio > 0 else 'slower'}")
    if take.aligned.key:
        steps = abs(take.aligned.key)
        said.append(f"{counted(steps, 'semitone')} {'higher' if take.aligned.key > 0 else 'lower'}")
    text = f"This take is {' and '.join(said)}." if said else "This take has the same tempo and key."
    if take.aligned.score < OTHER_SONG or abs(take.aligned.key) > USUAL_KEYS:
        text += " That may be another song: check the first cues by ear before you trust the rest."
    return text
