"""What can be done on the page: each action by its name, from the values that come with it to a change of the song.

All of it goes through the functions that the command line calls; nothing here knows how a song is changed.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import partial
from typing import Any, Literal, cast, get_args

from cuesuggest.analysis.types import Section
from cuesuggest.decide import boundaries, statements
from cuesuggest.decide.answers import answered
from cuesuggest.decide.category import category_decided
from cuesuggest.decide.change import Change
from cuesuggest.decide.cue_edits import (
    added,
    as_kind,
    copied,
    counted_anew,
    moved,
    played_by_itself,
    removed,
    with_level,
)
from cuesuggest.decide.meant import place_at, stepped
from cuesuggest.decide.quick import (
    all_accepted,
    coloured,
    dark_held,
    lengthened,
    one_shot_at,
    section_accepted,
    section_named,
)
from cuesuggest.decide.song_ends import Edge, edge_at, edge_moved
from cuesuggest.decide.telling import cue_words, describe
from cuesuggest.errors import EditError
from cuesuggest.review.asked import Asked
from cuesuggest.review.pressing import taken_as_pressed
from cuesuggest.score.bounds import MOST_COLOURS
from cuesuggest.score.form_text import read_form
from cuesuggest.score.grid import Grid
from cuesuggest.score.records import CATEGORIES, Anchor, Cue, CueKind, Place, Status, Trigger, clock, counted
from cuesuggest.song import Edit, SetCorrections, SetCue, SetRecording, SetSection, SetTitle, Song
from cuesuggest.song.compared import in_places
from cuesuggest.song.edit_types import CueChanges, SectionChanges
from cuesuggest.song.rig_facts import waits_on_rig

__all__ = ["ACTIONS", "Action"]

Action = Callable[[Song, Asked], Change]

_KINDS = cast("tuple[CueKind, ...]", get_args(CueKind))
_ENDS: tuple[Edge, ...] = ("start", "end")
_STATUSES: tuple[Status, ...] = ("accepted", "rejected", "suggested")
_MOVES = ("kind", "side", "trigger", "who")  # fields of a cue that say what moves, and by whom
_STATUS_WORDS = {
    "accepted": "accepted", "rejected": "rejected", "suggested": "a suggestion again",
}  # fmt: skip


def _cue(song: Song, id_: str) -> Cue:
    for cue in song.cues:
        if cue.id == id_:
            return cue
    raise EditError("That cue is not in the song any more.")


def _section(song: Song, id_: str) -> Section:
    for section in song.analysis.sections:
        if section.id == id_:
            return section
    raise EditError("That section is not in the song any more.")


def _place(song: Song, asked: Asked) -> Place:
    """Return the place that is meant: a beat of a bar, the 1 if none is said; or a time."""
    if asked.has("bar"):
        return place_at(song, bar=asked.whole("bar"), beat=asked.number("beat", 1, 64) if asked.has("beat") else 1.0)
    return place_at(song, seconds=asked.number("seconds", 0))


def _one(song: Song, edit: Edit) -> Change:
    return Change((edit,), describe(song, edit))


# The light.


def _status(song: Song, asked: Asked) -> Change:
    status = asked.choice("status", _STATUSES)
    cues = [_cue(song, each) for each in asked.texts("cues")]
    edits = tuple(SetCue(cue.id, {"status": status}) for cue in cues if cue.status != status)
    return Change(edits, f"{in_places(cues, Grid(song.analysis))}: {_STATUS_WORDS[status]}")


def _accept_section(song: Song, asked: Asked) -> Change:
    return section_accepted(song, _section(song, asked.text("section")))


def _accept_all(song: Song, asked: Asked) -> Change:
    return all_accepted(song)


def _lock(song: Song, asked: Asked) -> Change:
    return _one(song, SetCue(_cue(song, asked.text("cue")).id, {"lock": asked.yes("lock")}))


def _level(song: Song, asked: Asked) -> Change:
    return _one(song, with_level(_cue(song, asked.text("cue")), asked.whole("level", 0, 100)))


def _note(song: Song, asked: Asked) -> Change:
    return _one(song, SetCue(_cue(song, asked.text("cue")).id, {"note": asked.text("note")}))


def _move(song: Song, asked: Asked) -> Change:
    cue = _cue(song, asked.text("cue"))
    if asked.has("bar"):
        place = place_at(song, bar=asked.whole("bar"), beat=asked.number("beat", 1, 64))
    else:
        place = stepped(song, cue.place, asked.whole("beats", -64, 64), asked.whole("bars", -64, 64))
    return _one(song, moved(song, cue, place))


def _set(song: Song, asked: Asked) -> Change:
    """Change how a cue is played: its note, look, side, lengths, trigger, anchor, person, whether by itself."""
    cue = _cue(song, asked.text("cue"))
    changes = CueChanges()
    if asked.has("trigger"):
        changes["trigger"] = asked.choice("trigger", cast("tuple[Trigger, ...]", get_args(Trigger)))
    if asked.has("anchor"):
        changes["anchor"] = asked.choice("anchor", cast("tuple[Anchor, ...]", get_args(Anchor)))
    if asked.has("kind") and asked.choice("kind", _KINDS) != cue.kind:
        changes |= as_kind(song, cue, asked.choice("kind", _KINDS))
    if asked.has("note"):
        changes["note"] = asked.text("note")
    if asked.has("who"):
        changes["who"] = asked.text("who", 80) or "operator"
    if asked.has("side"):
        changes["side"] = asked.text("side", 80) or None
    if asked.has("look"):
        changes["look"] = asked.text("look") or None
    if asked.has("level"):
        level = asked.whole("level", 0, 100)
        changes["level"] = level if "level" in changes else with_level(cue, level).changes["level"]
    lengths = {name: asked.number(name, 0, 256) for name in ("up_beats", "down_beats") if asked.has(name)}
    changes |= cast(CueChanges, lengths)
    if lengths or changes.get("anchor", cue.anchor) != cue.anchor:
        changes |= counted_anew(song, replace(cue, **cast("dict[str, Any]", changes)))
    changed = replace(cue, **cast("dict[str, Any]", changes))
    if asked.has("by_itself"):
        changes |= played_by_itself(song, changed, asked.yes("by_itself")).changes
    elif waits_on_rig(song, changed) and any(getattr(changed, name) != getattr(cue, name) for name in _MOVES):
        # What was let go was a lamp's, and may be a strobe's now.
        changes["operator_confirms"] = True
    told = {name: value for name, value in changes.items() if getattr(cue, name) != value}
    edits = (SetCue(cue.id, cast(CueChanges, told)),) if told else ()
    return Change(edits, "; ".join(describe(song, edit) for edit in edits) or cue_words(song, cue))


def _add(song: Song, asked: Asked) -> Change:
    place = _place(song, asked)
    kind = asked.choice("kind", _KINDS)
    edit = added(
        song,
        kind,
        place,
        note=asked.text("note") if asked.has("note") else "",
        look=asked.text("look") or None if asked.has("look") else None,
        side=asked.text("side", 80) or None if asked.has("side") else None,
        level=asked.whole("level", 0, 100) if asked.has("level") else None,
        beats=asked.number("beats", 0, 256) if asked.has("beats") else None,
        who=(asked.text("who", 80) if asked.has("who") else "") or "operator",
    )
    return _one(song, edit)


def _one_shot(song: Song, asked: Asked) -> Change:
    return one_shot_at(song, _place(song, asked))


def _dark(song: Song, asked: Asked) -> Change:
    return dark_held(song, asked.number("seconds", 0))


def _length(song: Song, asked: Asked) -> Change:
    """Make a fade longer or shorter: by beats, or so many times as long."""
    cue = _cue(song, asked.text("cue"))
    if asked.has("times"):
        return _one(song, lengthened(song, cue, times=asked.number("times", 0.1, 10)))
    return _one(song, lengthened(song, cue, beats=asked.number("beats", -64, 64)))


def _remove(song: Song, asked: Asked) -> Change:
    return _one(song, removed(_cue(song, asked.text("cue"))))


def _copy(song: Song, asked: Asked) -> Change:
    cue = _cue(song, asked.text("cue"))
    copies = copied(song, cue)
    marks = ", ".join(section.mark for _, section in copies)
    return Change(tuple(edit for edit, _ in copies), f"cue {cue.number:g} copied to {marks}")


def _colours(song: Song, asked: Asked) -> Change:
    """Say how many colours a look has in this song, and how they go together where the words are sent."""
    relation = asked.text("relation", 200) if asked.has("relation") else None
    return _one(song, coloured(song, asked.text("look"), asked.whole("colours", 1, MOST_COLOURS), relation))


def _category(song: Song, asked: Asked) -> Change:
    section = _section(song, asked.text("section"))
    category = asked.choice("category", CATEGORIES)
    return category_decided(song, section, category, repeats=asked.yes("all"))


def _vamp(song: Song, asked: Asked) -> Change:
    """Mark a section as one that goes round until a sign; an empty sign ends that."""
    section = _section(song, asked.text("section"))
    return _one(song, SetSection(section.id, SectionChanges(vamp=asked.text("until", 200))))


# The music.


def _from(song: Song, asked: Asked) -> int | None:
    return asked.whole("from_bar") if asked.has("from_bar") else None


def _where(from_bar: int | None) -> str:
    return "" if from_bar is None else f" from bar {from_bar} on"


def _stated(edit: SetCorrections, said: str) -> Change:
    return Change((edit,), said)


def _bar_one(song: Song, asked: Asked) -> Change:
    seconds = asked.number("seconds", 0)
    return _stated(statements.bar_one_at(song, seconds), f"bar 1 starts at {seconds:.2f} s")


def _shift(song: Song, asked: Asked) -> Change:
    beats, bar = asked.whole("beats", -16, 16), _from(song, asked)
    way = "later" if beats > 0 else "earlier"
    said = f"bars start {counted(abs(beats), 'beat')} {way}{_where(bar)}" if beats else "bars are right as they are"
    return _stated(statements.bars_shifted(song, beats, bar), said)


def _swap(song: Song, asked: Asked) -> Change:
    bar = _from(song, asked)
    return _stated(statements.halves_swapped(song, bar), f"1 and 3 are swapped: bars start half a bar off{_where(bar)}")


def _times(song: Song, asked: Asked, speed: Literal["half", "double"]) -> Change:
    bar = _from(song, asked)
    word = {"half": "half", "double": "twice"}[speed]
    return _stated(statements.tempo_times(song, speed, bar), f"the beat is {word} as fast{_where(bar)}")


def _tempo(song: Song, asked: Asked) -> Change:
    bpm, bar = asked.number("bpm", 0, 1000), _from(song, asked)
    return _stated(statements.tempo(song, bpm, bar), f"{bpm:g} beats a minute{_where(bar)}")


def _signature(song: Song, asked: Asked) -> Change:
    value, bar = asked.text("value", 8), _from(song, asked)
    return _stated(statements.signature(song, value, bar), f"{value}{_where(bar)}")


def _tapped(song: Song, asked: Asked) -> Change:
    times = asked.numbers("times")
    return _stated(boundaries.beats_tapped(song, times), f"{counted(len(times), 'beat')} tapped")


def _form(song: Song, asked: Asked) -> Change:
    sheet = read_form(asked.lines("text"))
    said = f"form of {counted(len(sheet.parts), 'part')}"
    return _stated(statements.form(song, sheet.parts), "; ".join([said, *sheet.remarks]))


def _boundary_move(song: Song, asked: Asked) -> Change:
    section, bars = _section(song, asked.text("section")), asked.whole("bars", -64, 64)
    edit = boundaries.boundary_moved(song, section, bars, repeats=asked.yes("all"))
    all_ = f" and every {section.label}" if asked.yes("all") else ""
    way = "later" if bars > 0 else "earlier"
    return _stated(edit, f"{section.mark}{all_} starts {counted(abs(bars), 'bar')} {way}")


def _boundary_add(song: Song, asked: Asked) -> Change:
    bar = asked.whole("bar")
    name = asked.text("name", 80) if asked.has("name") else ""
    return _stated(
        boundaries.boundary_added(song, bar, name, repeats=asked.yes("all")), f"a section starts at bar {bar}"
    )


def _boundary_remove(song: Song, asked: Asked) -> Change:
    section, repeats = _section(song, asked.text("section")), asked.yes("all")
    names = ", ".join(each.mark for each in (boundaries.family(song, section) if repeats else (section,)))
    return _stated(
        boundaries.boundary_removed(song, section, repeats=repeats), f"{names}: joined with the section before"
    )


def _end_move(song: Song, asked: Asked) -> Change:
    edge, bars = asked.choice("edge", _ENDS), asked.whole("bars", -64, 64)
    return _ended(song, edge, edge_moved(song, edge, bars))


def _end_here(song: Song, asked: Asked) -> Change:
    edge = asked.choice("edge", _ENDS)
    return _ended(song, edge, edge_at(song, edge, asked.number("seconds", 0)))


def _ended(song: Song, edge: Edge, edit: SetRecording) -> Change:
    window = edit.recording.window
    before, now = (getattr(each, edge) for each in (song.recording.window, window))
    way = "later" if now > before else "earlier"
    return Change((edit,), f"the song {edge}s {abs(now - before):.1f} s {way}, at {clock(now)} of the recording")


def _forget(song: Song, asked: Asked) -> Change:
    if not song.corrections:
        raise EditError("Nothing was stated about this song.")
    return _stated(SetCorrections(()), "everything that was stated about the music is taken back")


def _name_section(song: Song, asked: Asked) -> Change:
    section, name = _section(song, asked.text("section")), asked.text("name", 80)
    return section_named(song, section, name, repeats=asked.yes("all"))


def _first_words(song: Song, asked: Asked) -> Change:
    section = _section(song, asked.text("section"))
    return _one(song, SetSection(section.id, SectionChanges(first_words=asked.text("words", 200))))


def _title(song: Song, asked: Asked) -> Change:
    return _one(song, SetTitle(asked.text("title", 300) or song.title))


def _answer(song: Song, asked: Asked) -> Change:
    return answered(song, asked.text("question"), asked.whole("answer", 0, 99))


ACTIONS: dict[str, Action] = {
    "status": _status,
    "accept-section": _accept_section,
    "accept-all": _accept_all,
    "lock": _lock,
    "level": _level,
    "note": _note,
    "move": _move,
    "set": _set,
    "add": _add,
    "one-shot": _one_shot,
    "dark": _dark,
    "length": _length,
    "remove": _remove,
    "copy": _copy,
    "colours": _colours,
    "category": _category,
    "vamp": _vamp,
    "bar-one": _bar_one,
    "shift": _shift,
    "swap": _swap,
    "half": partial(_times, speed="half"),
    "double": partial(_times, speed="double"),
    "tempo": _tempo,
    "signature": _signature,
    "tapped": _tapped,
    "form": _form,
    "boundary-move": _boundary_move,
    "boundary-add": _boundary_add,
    "boundary-remove": _boundary_remove,
    "forget": _forget,
    "end-move": _end_move,
    "end-here": _end_here,
    "name": _name_section,
    "first-words": _first_words,
    "title": _title,
    "answer": _answer,
    "take-pressed": taken_as_pressed,
}
