"""Sections of a new hearing under the ids, names and first words of those that they answer."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

from cuesuggest.analysis.types import Section, SongAnalysis
from cuesuggest.draft.again.same_sound import Match
from cuesuggest.score.form_text import read_form
from cuesuggest.song import Correction, Edit, FormCorrection, HistoryEntry, SetCorrections, SetSection, Song

__all__ = ["Hearing", "carried"]


@dataclass(frozen=True, slots=True)
class Hearing:
    """The sections of an earlier hearing, and what was stated of the music when they were heard."""

    sections: tuple[Section, ...]
    corrections: tuple[Correction, ...]


def carried(
    old: Song, new: SongAnalysis, match: Match, earlier: Hearing | None = None
) -> tuple[SongAnalysis, tuple[str, ...]]:
    """Give the sections of a new hearing the ids, names and first words of those they answer.

    Two sections answer each other if they share at least half of the longer one; in another recording, if they
    have the same letter and pass. The others get ids that were never used. Names that a stated form gave come and go
    with it; those that the user gave a section since it was stated stay.

    Parameters
    ----------
    old : Song
    new : SongAnalysis
        Heard under what `old` states.
    match : Match
    earlier : Hearing, optional
        Whose sections are carried on, if not those of `old` as they were heard under what it states.

    Returns
    -------
    SongAnalysis
    tuple of str
        Names and first words that found no section, in sentences.
    """
    earlier = earlier or Hearing(old.analysis.sections, old.corrections)
    pairs = _same_name(earlier, new) if match.kind == "other" else _overlapping(earlier, new, match.lag)
    used = {section.id for section in (*old.analysis.sections, *earlier.sections)}
    used |= {edit.section for entry in old.history if isinstance(edit := entry.edit, SetSection)}
    fresh = (name for number in range(1, 10**6) if (name := f"s{number}") not in used)
    roles = {
        entry.edit.section
        for entry in old.history
        if isinstance(entry.edit, SetSection) and "role" in entry.edit.changes
    }
    names = _own_names(old, earlier)
    sections = []
    for index, section in enumerate(new.sections):
        before = pairs.get(index)
        if before is None:
            sections.append(replace(section, id=next(fresh)))
            continue
        role = before.role if before.id in roles else section.role
        own = names.get(before.id, {})
        name, first_words = own.get("name", section.name), own.get("first_words", section.first_words)
        sections.append(replace(section, id=before.id, name=name, first_words=first_words, role=role, vamp=before.vamp))
    there = {section.id for section in sections}
    lost = tuple(
        f"{section.mark} was called “{called}”; there is no such section any more."
        for section in earlier.sections
        if section.id not in there and (called := next(filter(None, names.get(section.id, {}).values()), ""))
    )
    lost += tuple(
        f"{section.mark} went round until {section.vamp}; there is no such section any more."
        for section in earlier.sections
        if section.id not in there and section.vamp
    )
    return replace(new, sections=tuple(sections)), lost


def _own_names(old: Song, earlier: Hearing) -> dict[str, dict[str, str]]:
    """Names and first words that the user gave sections, by id, and that hold still; not those that come of a form."""
    then, now = _form(earlier.corrections), _form(old.corrections)
    names: dict[str, dict[str, str]] = {}
    if now in ("", then):
        parts = read_form(then).parts if then else ()
        for section in earlier.sections:
            given = {"name": section.name, "first_words": section.first_words}
            names[section.id] = {
                key: said for key, said in given.items() if said and all(said != getattr(part, key) for part in parts)
            }
    if then or now:
        # What the form had covered comes back with the history.
        for edit in _since_the_form(old.history) if now else [entry.edit for entry in old.history]:
            if isinstance(edit, SetSection):
                changes = {key: str(said) for key, said in edit.changes.items() if key in ("name", "first_words")}
                names.setdefault(edit.section, {}).update(changes)
    return names


def _form(corrections: Iterable[Correction]) -> str:
    return next((fact.text for fact in corrections if isinstance(fact, FormCorrection)), "")


def _since_the_form(history: Iterable[HistoryEntry]) -> list[Edit]:
    """Return the changes after the one that stated the form which holds."""
    since: list[Edit] = []
    for entry in history:
        since.append(entry.edit)
        match entry.edit, entry.inverse:
            case SetCorrections(after), SetCorrections(before) if _form(after) != _form(before):
                since.clear()
    return since


def _overlapping(old: Hearing, new: SongAnalysis, lag: float) -> dict[int, Section]:
    shares = sorted(
        (
            (-shared / longer, index, number)
            for index, after in enumerate(new.sections)
            for number, before in enumerate(old.sections)
            for longer in [max(after.end - after.start, before.end - before.start)]
            for shared in [min(after.end, before.end + lag) - max(after.start, before.start + lag)]
            if shared >= 0.5 * longer
        ),
    )
    pairs: dict[int, Section] = {}
    taken: set[int] = set()
    for _, index, number in shares:
        if index not in pairs and number not in taken:
            pairs[index] = old.sections[number]
            taken.add(number)
    return pairs


def _same_name(old: Hearing, new: SongAnalysis) -> dict[int, Section]:
    known = {(section.label, section.pass_): section for section in old.sections}
    return {
        index: known[section.label, section.pass_]
        for index, section in enumerate(new.sections)
        if (section.label, section.pass_) in known
    }
