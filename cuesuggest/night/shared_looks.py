"""The looks of a night: songs share them where they may, and they lie on the buttons with the fewest changes."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from cuesuggest.night.song_facts import SongFacts, size_of
from cuesuggest.score.records import Look, counted

__all__ = ["Buttons", "Lent", "Shared", "id_in_song", "laid_on_buttons", "lending", "shared"]

_SAME_ROUND = 1.001  # rounds this close are one, whatever the style


@dataclass(frozen=True, slots=True)
class Shared:
    """The looks of a night, and which of them is each of a song's own."""

    looks: tuple[Look, ...]
    """In order of size; with ids and names of their own where a look is built for several speeds."""
    renamed: tuple[Mapping[str, str], ...]
    """For each song its own ids of looks, with those over the night."""


@dataclass(frozen=True, slots=True)
class Lent:
    """A button that a song's first look has only while it is set up before the song."""

    button: int
    look: str
    before: str
    """What lies on the button in the song before; it may be that look."""
    after: str
    """What the song has on it."""


@dataclass(frozen=True, slots=True)
class Buttons:
    """Which look lies on which button during a song."""

    on: Mapping[int, str]
    changed: tuple[tuple[int, str, str], ...]
    """Before the song: a button, the look that leaves it, and the one that comes."""
    without: tuple[str, ...]
    """Looks of the song for which there is no button."""
    lent: Lent | None = None
    """On which its first look is set up; None where that has a button as the others have."""


def shared(songs: Sequence[SongFacts]) -> Shared:
    """Make one list of the looks of several songs.

    Looks that are built alike are one. Where the rig sets their speed, any speed is; elsewhere songs share one if its
    round is as near theirs as their style asks, and neighbours in the night share one where they can.
    """
    kinds: dict[tuple[object, ...], dict[int, Look]] = {}
    for index, song in enumerate(songs):
        for look in song.looks:
            kinds.setdefault(_kind(look), {})[index] = look
    marks: dict[str, list[tuple[str, ...]]] = {}
    for by_song in kinds.values():
        index, look = next(iter(by_song.items()))
        marks.setdefault(look.name, []).append(_marks(look, songs[index]))
    ordered = sorted(kinds.values(), key=lambda by_song: _order(next(iter(by_song.values()))))
    taken: set[str] = set()
    looks: list[Look] = []
    renamed: list[dict[str, str]] = [{} for _ in songs]
    for by_song in ordered:
        versions = _versions(by_song, songs)
        for version in versions:
            own = by_song[version[0]]
            seconds = _round_of([by_song[each].cycle_seconds for each in version])
            many = len(versions) > 1 and seconds is not None
            told = ", ".join(_telling(_marks(own, songs[version[0]]), marks[own.name]))
            name = f"{own.name} ({told})" if told else own.name
            name = f"{name}, {seconds:.1f} s" if many else name
            id_ = _free(own.id, taken)
            taken.add(id_)
            looks.append(replace(own, id=id_, name=name, cycle_seconds=seconds))
            for each in version:
                renamed[each][by_song[each].id] = id_
    return Shared(tuple(looks), tuple(renamed))


def _kind(look: Look) -> tuple[object, ...]:
    """Return what has to be the same of looks that are built once: all but speed and ceiling, which the hand sets."""
    return look.id, look.name, look.source, look.description, look.colours, look.colour_relation


def _marks(look: Look, song: SongFacts) -> tuple[str, ...]:
    """Return in words what tells looks of one name apart."""
    return look.source, "in haze" if song.rig.haze else "no haze", counted(look.colours, "colour")


def _telling(own: tuple[str, ...], marks: Sequence[tuple[str, ...]]) -> Iterable[str]:
    """Yield the words of a look that others of its name do not have."""
    return (word for word, others in zip(own, zip(*marks, strict=True), strict=True) if len(set(others)) > 1)


def _order(look: Look) -> tuple[bool, int, str]:
    return not look.home, size_of(look.id), look.id


def _free(id_: str, taken: set[str]) -> str:
    return next(name for number in range(1, 10**6) if (name := id_ if number == 1 else f"{id_}-v{number}") not in taken)


def id_in_song(id_: str) -> str:
    """Return the id that a look of the night has in its songs: that without the number of a version."""
    return id_.partition("-v")[0]


def _round_of(rounds: Iterable[float | None]) -> float | None:
    """Return the round between the shortest and the longest, as far from the one as from the other."""
    told = [seconds for seconds in rounds if seconds]
    return round(math.sqrt(min(told) * max(told)), 2) if told else None


def _versions(by_song: Mapping[int, Look], songs: Sequence[SongFacts]) -> list[list[int]]:
    """Part the songs of a look into those that share one speed: as few parts as will do."""
    reach: dict[int, tuple[float, float]] = {}
    free = []
    for index, look in by_song.items():
        within = songs[index].profile.looks.speed_within.of(look.category)
        if look.cycle_seconds is None or songs[index].rig.speed.unit != "none":
            free.append(index)
        else:
            share = max(1 + within, _SAME_ROUND)
            reach[index] = (look.cycle_seconds / share, look.cycle_seconds * share)
    # As few points as meet every reach: each as late as the first reach that has none allows.
    points: list[float] = []
    for low, high in sorted(reach.values(), key=lambda each: each[1]):
        if not points or low > points[-1]:
            points.append(high)
    parts: dict[float, list[int]] = {}
    last = None
    for index in sorted(reach):
        low, high = reach[index]
        fitting = [point for point in points if low <= point <= high]
        last = last if last in fitting else min(fitting, key=lambda point: abs(point * point - low * high))
        parts.setdefault(last, []).append(index)
    found = [parts[point] for point in sorted(parts)]
    if free:
        found = [sorted([*free, *found[0]]), *found[1:]] if found else [free]
    return found


def laid_on_buttons(
    wanted: Sequence[Sequence[str]], buttons: int, home: str | None = None, order: Sequence[str] = ()
) -> list[Buttons]:
    """Lay looks on buttons, song by song, with the fewest changes between them.

    Where a button is needed, the look goes from it that is needed again last (Belady 1966, for pages of memory: no
    other choice has fewer changes). What lies on buttons as the night begins is no change.

    Parameters
    ----------
    wanted : sequence of sequence of str
        Ids of the looks of each song, the most important first.
    buttons : int
        How many there are; 0 is as many as are needed.
    home : str, optional
        The look that always has its button.
    order : sequence of str, optional
        In which looks lie on the buttons as the night begins.
    """
    every = list(dict.fromkeys([*([home] if home is not None else ()), *(id_ for song in wanted for id_ in song)]))
    most = buttons or len(every)
    first = sorted(every[:most], key=lambda id_: order.index(id_) if id_ in order else len(order))
    on = dict(enumerate(first, 1))
    found = []
    for index, song in enumerate(wanted):
        kept = [id_ for id_ in song if id_ != home][: most - (home is not None)]
        without = tuple(id_ for id_ in song if id_ != home and id_ not in kept)
        changed = []
        for id_ in (each for each in kept if each not in on.values()):
            going = [button for button, look in on.items() if look != home and look not in kept]
            freed = max(going, key=lambda button: (_next_use(on[button], wanted[index + 1 :]), -button))
            changed.append((freed, on[freed], id_))
            on[freed] = id_
        found.append(Buttons(dict(on), tuple(changed), without))
    return found


def lending(during: Buttons, first: str | None, set_later: Sequence[str], home: str | None = None) -> Buttons:
    """Lend a button to the look with which a song begins, if it has none, while it is set up before the song.

    That is the button on which it lies from the song before; else the one that the song needs last, so that there is
    time to give it back. The home look gives its own up only where there is no other.

    Parameters
    ----------
    during : Buttons
        How looks lie in the song.
    first : str, optional
        With which it begins.
    set_later : sequence of str
        Looks that are set up while it is played, in order.
    home : str, optional
    """
    if first is None or first not in during.without:
        return during

    before = {**during.on, **{button: old for button, old, _ in during.changed}}

    def order(button: int) -> tuple[bool, bool, float]:
        look = during.on[button]
        return before[button] != first, look == home, -(set_later.index(look) if look in set_later else math.inf)

    button = min(during.on, key=order)
    changed = tuple(each for each in during.changed if each[0] != button)
    return replace(during, changed=changed, lent=Lent(button, first, before[button], during.on[button]))


def _next_use(look: str, later: Sequence[Sequence[str]]) -> float:
    return next((float(k) for k, song in enumerate(later) if look in song), math.inf)
