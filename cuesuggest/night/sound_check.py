"""Changes of the sound check: what is forbidden, broken or short is taken out of every song of a night, as edits.

A change is another rig or another style for the song, around which it is drafted anew from what was heard, and edits of
what somebody had decided and cannot be played any more. Each of these is told. Nothing is listened to.
"""

from __future__ import annotations

from collections.abc import Callable, Container, Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import get_args

from cuesuggest.decide.category import category_decided
from cuesuggest.decide.telling import cue_words
from cuesuggest.draft.again.redraft import lights_that_change
from cuesuggest.draft.clashes import new_clashes
from cuesuggest.draft.settling import settled
from cuesuggest.errors import CuesuggestError
from cuesuggest.rules import Profile, Rig, profile_from_values, rig_from_values
from cuesuggest.score.grid import Grid
from cuesuggest.score.night_records import SOUND_CHECK
from cuesuggest.score.records import CATEGORIES, ENTRANCES, Cue, Source
from cuesuggest.song import Edit, RemoveCue, SetCue, SetPlan, SetSettings, Settings, Song, change_all
from cuesuggest.song.compared import compared, in_places
from cuesuggest.song.decided import stands

__all__ = ["Checked", "Wanted", "checked"]

_SOURCES: tuple[str, ...] = get_args(Source)
_SETS_LEVEL = (*ENTRANCES, "ramp")


@dataclass(frozen=True, slots=True)
class Wanted:
    """What is asked for at sound check, for every song."""

    without: tuple[str, ...] = ()
    """Sources, sides or "one-shot": "strobe", "side-b"."""
    ceiling: int | None = None
    """Percent that no look goes above."""
    no_haze: bool = False
    rig: Rig | None = None
    volunteer: bool = False

    def __bool__(self) -> bool:
        """Whether anything is asked for."""
        return self != Wanted()

    @property
    def words(self) -> str:
        """All of it: "without strobe, nothing above 60 %"."""
        parts = [
            *(f"without {each}" for each in self.without),
            f"nothing above {self.ceiling} %" if self.ceiling is not None else "",
            "no haze" if self.no_haze else "",
            f"for the rig {self.rig.name}" if self.rig is not None else "",
            "played by a volunteer" if self.volunteer else "",
        ]
        return ", ".join(filter(None, parts))


@dataclass(frozen=True, slots=True)
class Checked:
    """A song after a change of the sound check."""

    before: Song
    after: Song
    """The same where nothing had to be changed."""
    lines: tuple[str, ...]
    """What was changed, in sentences."""


def checked(
    song: Song,
    document: Path,
    wanted: Wanted,
    at: datetime,
    *,
    narrower: tuple[str, ...] = (),
    numbered: Callable[[Song], Song] = lambda song: song,
) -> Checked:
    """Change a song as the sound check asks.

    Parameters
    ----------
    song : Song
    document : Path
        Where it lies.
    wanted : Wanted
    at : datetime
        Of the change; the same for all songs.
    narrower : tuple of str
        Marks of the sections that give up the night's biggest look.
    numbered : callable
        Gives a song the numbers by which its cues are told.

    Raises
    ------
    CuesuggestError
        If nothing would be left to play on.
    """
    profile, rig = profile_from_values(song.profile.values), rig_from_values(song.rig.values)
    new_profile, new_rig = _profile(profile, wanted), _rig(rig, wanted)
    told: list[tuple[Edit, str]] = []
    if (new_profile, new_rig) != (profile, rig):
        settings = SetSettings(
            Settings(name=new_profile.name, values=new_profile.values()),
            Settings(name=new_rig.name, values=new_rig.values()),
        )
        told.append((settings, ""))
    gone = {side.name for side in rig.sides} - {side.name for side in new_rig.sides}
    shots = rig.one_shot is not None and new_rig.one_shot is None
    for cue in numbered(song).cues:
        told += _decided(song, cue, gone, shots, wanted)
    told += _narrowed(song, narrower)
    if not told:
        return Checked(song, song, ("Nothing to change.",))
    said = wanted.words or "the biggest look is kept for other songs"
    edited = change_all(song, [edit for edit, _ in told], by=SOUND_CHECK, said=said, at=at)
    after, _ = settled(song, edited, document)
    single = {edit.cue for edit, words in told if words and isinstance(edit, SetCue | RemoveCue)}
    lines = [f"{words[:1].upper()}{words[1:]}." for _, words in told if words]
    lines += [*lights_that_change(song, after), *_differences(numbered(song), numbered(after), single)]
    if wanted.ceiling is not None and any(c.kind == "one-shot" and c.status != "rejected" for c in after.cues):
        lines.append(f"One-shots run as they are programmed: see that they keep to {wanted.ceiling} %.")
    lines += new_clashes(numbered(song), numbered(after))
    return Checked(song, after, tuple(lines) or ("Its list stays as it was.",))


def _differences(before: Song, after: Song, told: Container[str]) -> Iterator[str]:
    """Say which cues came, went, moved and changed, in places; but for those that have been told one by one."""
    found, grid = compared(before, after), Grid(after.analysis)
    for what, cues in (
        ("New", found.new),
        ("Taken out", tuple(cue for cue in found.gone if cue.id not in told)),
        ("Moved", tuple(cue for _, cue in found.moved)),
    ):
        if cues:
            yield f"{what}: {in_places(cues, grid)}."
    names = {look.id: look.name for look in (*before.looks, *after.looks)}
    changed = [
        f"{cue_words(after, now)} ({_change_words(old, now, names)})"
        for old, now in found.changed
        if now.id not in told
    ]
    if changed:
        yield f"Changed: {'; '.join(changed)}."


def _change_words(old: Cue, now: Cue, names: Mapping[str, str]) -> str:
    """Say what is another in a cue: "60 %, not 65 %", "side A, not B"."""
    words = [
        f"a {now.kind}, not a {old.kind}" if now.kind != old.kind else "",
        f"side {now.side}, not {old.side}" if now.side != old.side else "",
        f"{names.get(now.look or '', 'no look')}, not {names.get(old.look or '', 'none')}"
        if now.look != old.look
        else "",
        f"{now.level} %, not {old.level} %" if now.level != old.level else "",
    ]
    return ", ".join(filter(None, words)) or "in another time"


def _profile(profile: Profile, wanted: Wanted) -> Profile:
    most = wanted.ceiling
    if most is None:
        return profile
    values = profile.values()
    looks = values["looks"]
    for table in ("ceiling", "base_level"):
        looks[table] = {category: min(level, float(most)) for category, level in looks[table].items()}
    looks["home_level"] = min(looks["home_level"], most)
    return profile_from_values(values)


def _rig(rig: Rig, wanted: Wanted) -> Rig:
    found = wanted.rig or rig
    for word in wanted.without:
        found = _without(found, word)
    if wanted.no_haze:
        found = replace(found, haze=False)
    if wanted.volunteer:
        found = replace(found, practised="volunteer")
    return found


def _without(rig: Rig, word: str) -> Rig:
    plain = word.strip().casefold()
    name = plain.removeprefix("side").lstrip("- ")
    source = plain.removesuffix("s")
    if source in _SOURCES:
        sides = tuple(side for side in rig.sides if side.source != source)
        shot = rig.one_shot if rig.one_shot is None or rig.one_shot.source != source else None
    elif plain == "one-shot":
        sides, shot = rig.sides, None
    else:
        sides = tuple(side for side in rig.sides if side.name.casefold() not in (plain, name))
        shot = rig.one_shot
        if sides == rig.sides:
            known = ", ".join(f"side-{side.name}" for side in rig.sides)
            raise CuesuggestError(
                f"The rig {rig.name} has no side {word!r}. --without takes one of these: {known}, "
                f"{', '.join(_SOURCES)}, one-shot."
            )
    if not sides:
        raise CuesuggestError(
            f"Without {word} the rig {rig.name} would have no side left to play on. Give another rig with --rig."
        )
    return replace(rig, sides=sides, one_shot=shot)


def _decided(song: Song, cue: Cue, gone: set[str], shots: bool, wanted: Wanted) -> Iterator[tuple[Edit, str]]:
    """Change what somebody has decided of a cue and what cannot be played any more; a suggestion is drafted anew."""
    if not stands(cue) or cue.status == "rejected":
        return
    name = f"{cue_words(song, cue)}, {'locked' if cue.lock else cue.status} by you,"
    most = wanted.ceiling
    if cue.side in gone:
        if cue.status == "added":
            yield RemoveCue(cue.id), f"{name} was on side {cue.side}: it is taken out"
            return
        yield (
            SetCue(cue.id, {"status": "suggested", "lock": False}),
            (f"{name} was on side {cue.side}: its light is drafted anew on what is left"),
        )
        yield from _light_kept(song, cue)
    elif cue.kind == "one-shot" and shots:
        yield SetCue(cue.id, {"status": "rejected"}), f"{name} is left out: there is no such one-shot now"
    elif most is not None and cue.kind in _SETS_LEVEL and (level := _level(song, cue)) > most:
        if cue.lock:
            yield (
                SetCue(cue.id, {"note": _noted(cue, most)}),
                (f"{name} stays at {level} %: hold it at {most} % by hand, or unlock it; it has a note now"),
            )
        else:
            yield SetCue(cue.id, {"level": most}), f"{name} goes to {most} %, not {level} %"


def _level(song: Song, cue: Cue) -> int:
    """Return the level that a cue goes to: its own, or the ceiling of its look."""
    if cue.level is not None:
        return cue.level
    return next((look.level_ceiling for look in song.looks if look.id == cue.look), 0)


def _noted(cue: Cue, most: int) -> str:
    return f"{cue.note} No more than {most} %.".strip()


def _light_kept(song: Song, cue: Cue) -> Iterator[tuple[Edit, str]]:
    """Decide on the category of the section that a look came in for, so that it gets as much light as before."""
    category = next((look.category for look in song.looks if look.id == cue.look), None)
    plan = {planned.section: planned for planned in song.plan}
    for section in song.analysis.sections:
        here = (cue.place.section, cue.place.pass_) == (section.label, section.pass_)
        if here and cue.kind in ENTRANCES and category is not None and plan[section.id].decided is None:
            yield SetPlan(section.id, category), ""


def _narrowed(song: Song, marks: tuple[str, ...]) -> Iterator[tuple[Edit, str]]:
    """Give sections a look smaller: the first look of their category in place of the second, or the category below."""
    planned = {each.section: each for each in song.plan}
    for section in song.analysis.sections:
        if section.mark not in marks:
            continue
        there = planned[section.id]
        second = (there.look or "").endswith("-2")
        category = there.category if second else CATEGORIES[max(CATEGORIES.index(there.category) - 1, 0)]
        how = "the smaller look of its kind" if second else category
        change = category_decided(song, section, category, repeats=False)
        for index, edit in enumerate(change.edits):
            yield edit, "" if index else f"{section.mark} gets {how}: the night's biggest look is kept for other songs"
