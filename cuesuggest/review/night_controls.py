"""The sound check on the page: what can be chosen, what that would change in every song, doing it, taking it back.

It is done by the functions of the command `night`; nothing here knows how a song is changed.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Sequence
from contextlib import suppress
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Any

from cuesuggest.errors import CuesuggestError, EditError
from cuesuggest.night.kept_changes import KeptChange, changes_file, kept_changes
from cuesuggest.review.asked import Asked
from cuesuggest.rules import Rig, load_rig
from cuesuggest.rules.settings.settings_file import known_names
from cuesuggest.score.night_records import CEILINGS
from cuesuggest.song.files import file_state

# What drafts is loaded when a sound check is asked for: the first song is shown earlier without it.
if TYPE_CHECKING:
    from cuesuggest.night.sound_check import Wanted
    from cuesuggest.night.the_set import OpenNight
    from cuesuggest.night.whole_night import ToldOfSong
    from cuesuggest.review.evening import Evening

__all__ = ["at_sound_check", "night_controls"]

_MOST_RIGS = 20  # files beside the set list that are tried as rigs
_SOURCES = {"lamp": "lamps", "laser": "lasers", "strobe": "strobes"}


def night_controls(
    file: Path, rigs: Sequence[Rig], songs: Iterable[tuple[int, str]], changes: Sequence[KeptChange]
) -> dict[str, Any]:
    """Return what can be chosen at sound check: of each list the values that are sent, with their words.

    Parameters
    ----------
    file : Path
        The set list.
    rigs : sequence of Rig
        Of the songs that are played.
    songs : iterable of (int, str)
        Number and title of each.
    changes : sequence of KeptChange
        What holds; the last can be taken back.
    """
    there = {side.source for rig in rigs for side in rig.sides}
    there |= {rig.one_shot.source for rig in rigs if rig.one_shot is not None}
    sides = [{side.name for side in rig.sides} for rig in rigs]
    common = sorted(set.intersection(*sides)) if sides else []
    shots = any(rig.one_shot is not None for rig in rigs)
    return {
        "without": [
            *([source, words] for source, words in _SOURCES.items() if source in there),
            *([["one-shot", "one-shots"]] if shots else []),
            *([f"side-{name}", f"side {name}"] for name in common),
        ],
        "ceiling": list(CEILINGS),
        "rigs": list(_rigs(file)),
        "drop": [[str(number), f"{number} {title}"] for number, title in songs],
        "undo": changes[-1].said if changes else None,
    }


def _rigs(file: Path) -> dict[str, str | Path]:
    """Return the rigs that can be chosen, by name: those that are shipped, and those in files beside the set list."""
    beside = sorted(each for each in file.parent.glob("*.toml") if each.name != file.name)
    found: dict[str, str | Path] = {name: name for name in known_names("rigs")}
    for each in beside[:_MOST_RIGS]:
        with suppress(CuesuggestError):  # it is something else
            load_rig(each)
            found[each.name] = each
    return found


def at_sound_check(evening: Evening, asked: Asked) -> dict[str, Any]:
    """Say what a change of the whole night would do, do it, or take the last one back.

    Parameters
    ----------
    evening : Evening
    asked : Asked
        `do`, "look", "change" or "undo"; but for the last what is chosen: `without`, `ceiling`, `no_haze`, `rig`,
        `volunteer`, `restrain`, `drop`; for "change" also `seen`, as "look" gave it.

    Returns
    -------
    dict
        What became of each song, as the command tells it; `said`, what the change is; `seen`, which says what was
        looked at.

    Raises
    ------
    CuesuggestError
        If it cannot be done, or something has changed since it was looked at. Nothing has been changed then.
    """
    from cuesuggest.night.the_set import open_night
    from cuesuggest.night.whole_night import change_night, undo_night, what_would_change

    file = evening.night
    if file is None:
        raise EditError("These songs are no night. Open its set list: cuesuggest review NIGHT.toml")
    do = asked.choice("do", ("look", "change", "undo"))
    with evening.all_handed_over():
        if do == "undo":
            said, told = undo_night(file)
            return _answer(told, said=said)
        wanted, restrain, drop = _wanted(file, asked), asked.yes("restrain"), asked.texts("drop")
        if not (wanted or restrain or drop):
            raise EditError("Choose what is to change.")
        night = open_night(file)
        seen = _seen(night, [wanted, restrain, drop])
        if do == "look":
            return _answer(what_would_change(night, wanted, restrain=restrain, drop=drop), seen=seen)
        if asked.text("seen") != seen:
            raise EditError("Something else was changed since you were told, so nothing was done. Be told anew.")
        told = change_night(night, wanted, restrain=restrain, drop=drop)
        return _answer(told, said=kept_changes(file)[-1].said if any(song.changed for song in told) else "")


def _wanted(file: Path, asked: Asked) -> Wanted:
    from cuesuggest.night.sound_check import Wanted

    rig = None
    if asked.has("rig"):
        rigs = _rigs(file)
        rig = load_rig(rigs[asked.choice("rig", tuple(rigs))])
    return Wanted(
        without=asked.texts("without"),
        ceiling=asked.whole("ceiling", *CEILINGS) if asked.has("ceiling") else None,
        no_haze=asked.yes("no_haze"),
        rig=rig,
        volunteer=asked.yes("volunteer"),
    )


def _seen(night: OpenNight, chosen: list[Any]) -> str:
    """Return what is another text as soon as anything is that a change goes by: songs, set list, what is chosen."""
    files = [night.file, changes_file(night.file), *(place.document for place in night.places)]
    return hashlib.sha256(repr([chosen, *map(file_state, files)]).encode()).hexdigest()


def _answer(told: list[ToldOfSong], *, said: str = "", seen: str = "") -> dict[str, Any]:
    return {"told": [asdict(song) for song in told], "said": said, "seen": seen}
