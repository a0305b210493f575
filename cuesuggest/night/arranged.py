"""A night put together: its songs numbered, looks on buttons, the biggest look where it counts, what lies between."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace

from cuesuggest.night.between import crossing, told
from cuesuggest.night.restraint import has_biggest, said_of
from cuesuggest.night.shared_looks import Buttons, Lent, Shared, id_in_song, laid_on_buttons, lending, shared
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
    names = {look.id: look.name for look in looks.looks}
    named = [_in_its_words(each, ids, names) for each, ids in zip(facts, looks.renamed, strict=True)]
    count = set_list.buttons or max((each.rig.buttons for each in facts), default=0)
    home = next((look.id for look in looks.looks if look.home), None)
    laid = laid_on_buttons([_wanted(each, home) for each in named], count, home, [look.id for look in looks.looks])
    lying = [lending(on, _first(each), each.set_later, home) for each, on in zip(named, laid, strict=True)]
    having, keeping = has_biggest(facts, set_list.biggest)
    counts = [songs[index][0] for index in sorted(keeping)]
    played = tuple(
        NightSong(
            number=number,
            title=each.title,
            cues=_ends(number, each, step),
            tempo=each.tempo,
            seconds=each.seconds,
            buttons=tuple(lying[index].on.items()),
            renamed=tuple(looks.renamed[index].items()),
            changes=tuple(_changes(lying[index], named[index].set_later, names)),
            energy=each.energy,
            biggest=named[index].biggest,
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
        between=tuple(_between(set_list, [song[:2] for song in songs], named, lying, names, step)),
        remarks=tuple(_remarks(songs)),
        moments=_moments(played),
        changed=tuple(changed),
    )


def _ends(number: int, song: SongFacts, step: int) -> tuple[str, str]:
    if song.first is None or song.last is None:
        return "", ""
    return f"{in_night(number, song.first, step):.10g}", f"{in_night(number, song.last, step):.10g}"


def _in_its_words(song: SongFacts, ids: Mapping[str, str], names: Mapping[str, str]) -> SongFacts:
    """Return what is known of a song with its looks by the ids and names of the night."""

    def own(look: str) -> str:
        return ids.get(look, look)

    return replace(
        song,
        looks=tuple(replace(look, id=own(look.id), name=names[own(look.id)]) for look in song.looks),
        begins=(song.begins[0], own(song.begins[1])) if song.begins else None,
        set_later=tuple(map(own, song.set_later)),
        biggest=tuple(replace(use, look=own(use.look)) for use in song.biggest),
    )


def _first(song: SongFacts) -> str | None:
    return song.begins[1] if song.begins else None


def _wanted(song: SongFacts, home: str | None) -> list[str]:
    """Return the looks of a song, the more important one first: one that is set up only before it can do without."""

    def order(look: str) -> tuple[bool, bool, int]:
        return look != home, look == _first(song) and look not in song.set_later, -size_of(id_in_song(look))

    return sorted((look.id for look in song.looks), key=order)


def _changes(lying: Buttons, set_later: Sequence[str], names: Mapping[str, str]) -> Iterator[str]:
    for at, old, new in lying.changed:
        yield f"Before it, button {at} gets {names[new]} in place of {names[old]}."
    for look in lying.without:
        what = ": it cannot be played."
        if lying.lent is not None and look == lying.lent.look:
            again = (
                ": where it is set up again, it cannot be played." if look in set_later else "; later none is needed."
            )
            what = f" but before the song{again}"
        yield f"There is no button for {names[look]}{what}"


def _looks(looks: Shared, lying: Sequence[Buttons], numbers: Sequence[int]) -> tuple[NightLook, ...]:
    found = []
    for look in looks.looks:
        songs = tuple(number for number, names in zip(numbers, looks.renamed, strict=True) if look.id in names.values())
        buttons = [button for each in lying for button, id_ in each.on.items() if id_ == look.id]
        lent = [each.lent.button for each in lying if each.lent is not None and each.lent.look == look.id]
        found.append(NightLook(look, songs, tuple(dict.fromkeys(buttons)), tuple(dict.fromkeys(lent))))
    return tuple(found)


def _between(
    set_list: SetList,
    songs: Sequence[tuple[int, str]],
    facts: Sequence[SongFacts],
    lying: Sequence[Buttons],
    names: Mapping[str, str],
    step: int,
) -> Iterator[BetweenSongs]:
    """Tell what lies before the first song, then after each."""
    kinds = ["walk_in", *(after for _, after in songs)]
    for index, kind in enumerate(kinds if songs else ()):
        before = facts[index - 1] if index else None
        if index == len(songs):
            yield told(crossing(kind, set_list, before, None, "", without=lying[-1].without), last=True)
            continue
        after, on = facts[index], lying[index]
        number = "" if after.set_by is None else f"{in_night(songs[index][0], after.set_by, step):.10g}"
        without, lent = on.without, None
        if on.lent is not None:
            # What comes onto the lent button only then cannot be up before.
            without = (*without, *({on.lent.after} - {on.lent.before}))
            lent = Lent(on.lent.button, names[on.lent.look], names[on.lent.before], names[on.lent.after])
        yield told(crossing(kind, set_list, before, after, number, without=without, lent=lent), last=False)


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
