"""A night put together: its songs numbered, looks on buttons, the biggest look where it counts, what lies between."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

from cuesuggest.night.between import crossing, told
from cuesuggest.night.restraint import has_biggest, said_of
from cuesuggest.night.shared_looks import Buttons, Shared, id_in_song, laid_on_buttons, shared
from cuesuggest.night.song_facts import SongFacts, size_of
from cuesuggest.rules.settings.set_list import SetList
from cuesuggest.score.night_records import BetweenSongs, BiggestUse, NightLook, NightPlan, NightSong

__all__ = ["arranged", "in_night", "step_for"]

_MOMENTS = 3  # told of the whole night


def step_for(last: Sequence[float]) -> int:
    """Return what a song's number is multiplied by, so that no number of one song is one of another."""
    most = max([0.0, *last])
    return next(step for step in (100, 1000, 10_000, 100_000, 10**6, 10**9) if most < step)


def in_night(number: int, cue: float, step: int) -> float:
    """Return the number of a cue over the night: cue 1 of song 3 is 301."""
    return round(number * step + cue, 6)


def arranged(set_list: SetList, songs: Sequence[tuple[int, str, SongFacts]], changed: Sequence[str] = ()) -> NightPlan:
    """Arrange a night.

    Parameters
    ----------
    set_list : SetList
    songs : sequence of (int, str, SongFacts)
        Those that are played, with their number in the night, and what follows them.
    changed : sequence of str
        What was changed at sound check and still holds.
    """
    facts = [each for _, _, each in songs]
    step = step_for([each.last for each in facts if each.last is not None])
    looks = shared(facts)
    count = set_list.buttons or max((each.rig.buttons for each in facts), default=0)
    home = next((look.id for look in looks.looks if look.home), None)
    wanted = [
        sorted(names.values(), key=lambda id_: (id_ != home, -size_of(id_in_song(id_)))) for names in looks.renamed
    ]
    lying = laid_on_buttons(wanted, count, home, [look.id for look in looks.looks])
    having, keeping = has_biggest(facts, set_list.biggest)
    counts = [songs[index][0] for index in sorted(keeping)]
    names = {look.id: look.name for look in looks.looks}
    played = tuple(
        NightSong(
            number=number,
            title=each.title,
            cues=_ends(number, each, step),
            tempo=each.tempo,
            seconds=each.seconds,
            buttons=tuple(lying[index].on.items()),
            renamed=tuple(looks.renamed[index].items()),
            changes=_changes(lying[index], names),
            energy=each.energy,
            biggest=tuple(_renamed(use, looks, index) for use in each.biggest),
            restraint=said_of(each, has=index in having, keeps=index in keeping, others=counts),
            gives_way=index in having - keeping,
            to_do=each.to_do,
        )
        for index, (number, _, each) in enumerate(songs)
    )
    return NightPlan(
        title=set_list.title,
        step=step,
        songs=played,
        looks=_looks(looks, lying, [number for number, _, _ in songs]),
        buttons=count,
        between=_between(set_list, songs, step),
        remarks=tuple(_remarks(songs)),
        moments=_moments(played),
        changed=tuple(changed),
    )


def _ends(number: int, song: SongFacts, step: int) -> tuple[str, str]:
    if song.first is None or song.last is None:
        return "", ""
    return f"{in_night(number, song.first, step):.10g}", f"{in_night(number, song.last, step):.10g}"


def _renamed(use: BiggestUse, looks: Shared, index: int) -> BiggestUse:
    return BiggestUse(use.mark, looks.renamed[index].get(use.look, use.look), use.drive, use.at, use.decided)


def _changes(lying: Buttons, names: dict[str, str]) -> tuple[str, ...]:
    moved = [f"Before it, button {at} gets {names[new]} in place of {names[old]}." for at, old, new in lying.changed]
    return (*moved, *(f"There is no button for {names[look]}: it cannot be played." for look in lying.without))


def _looks(looks: Shared, lying: Sequence[Buttons], numbers: Sequence[int]) -> tuple[NightLook, ...]:
    found = []
    for look in looks.looks:
        songs = tuple(number for number, names in zip(numbers, looks.renamed, strict=True) if look.id in names.values())
        buttons = [button for each in lying for button, id_ in each.on.items() if id_ == look.id]
        found.append(NightLook(look, songs, tuple(dict.fromkeys(buttons))))
    return tuple(found)


def _between(set_list: SetList, songs: Sequence[tuple[int, str, SongFacts]], step: int) -> tuple[BetweenSongs, ...]:
    if not songs:
        return ()

    def number(at: int, song: SongFacts) -> str:
        return "" if song.set_by is None else f"{in_night(at, song.set_by, step):.10g}"

    first, *_, last = songs if len(songs) > 1 else (songs[0], songs[0])
    found = [told(crossing("walk_in", set_list, None, first[2], number(first[0], first[2])), last=False)]
    for before, after in pairwise(songs):
        made = crossing(before[1], set_list, before[2], after[2], number(after[0], after[2]))
        found.append(told(made, last=False))
    found.append(told(crossing(last[1], set_list, last[2], None, ""), last=True))
    return tuple(found)


def _remarks(songs: Sequence[tuple[int, str, SongFacts]]) -> list[str]:
    found = []
    if songs:
        _, _, first = songs[0]
        other = [each.title for _, _, each in songs[1:] if each.rig != first.rig]
        if other:
            found.append(
                f"{', '.join(other)}: not drafted for the rig of {first.title}. To play all on one, give it with --rig."
            )
    return found


def _moments(songs: Sequence[NightSong]) -> tuple[tuple[int, BiggestUse], ...]:
    """Return the biggest moments: each song's strongest, the biggest look first, then the hardest push."""
    each = [(song.number, max(song.biggest, key=lambda use: use.drive)) for song in songs if song.biggest]
    each.sort(key=lambda moment: (size_of(id_in_song(moment[1].look)), moment[1].drive), reverse=True)
    return tuple(each[:_MOMENTS])
