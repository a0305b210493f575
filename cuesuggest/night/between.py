"""Between songs: a look of its own, from whatever is up, and the first look of the next song set in the dark."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass

from cuesuggest.night.shared_looks import Lent
from cuesuggest.night.song_facts import SongFacts
from cuesuggest.rules import Rig
from cuesuggest.rules.settings.set_list import BetweenLook, SetList
from cuesuggest.score.light import SideState
from cuesuggest.score.night_records import BetweenSongs
from cuesuggest.score.records import Cue, CueKind, Look, Place

__all__ = ["Crossing", "crossing", "told"]

# Common practice, not a standard: nothing moves behind somebody who speaks or prays, applause gets some light, a held
# chord a little; an encore is waited for in the dark.
_USUAL: dict[str, BetweenLook] = {
    "walk_in": BetweenLook("home", 20, 8.0),
    "applause": BetweenLook("home", 40, 3.0),
    "talk": BetweenLook("dark", 0, 4.0),
    "prayer": BetweenLook("dark", 0, 8.0),
    "pad": BetweenLook("subtle", 20, 8.0),
    "segue": BetweenLook("dark", 0, 2.0),
    "encore": BetweenLook("dark", 0, 3.0),
    "nothing": BetweenLook("dark", 0, 3.0),
}
_TITLES = {
    "walk_in": "walk-in",
    "applause": "applause hold",
    "talk": "talk",
    "prayer": "prayer",
    "pad": "pad",
    "segue": "segue",
    "encore": "before the encore",
    "nothing": "nothing",
}
# People walk about, come on stage, or stand up in these.
_PEOPLE_MOVE = ("walk_in", "talk", "prayer", "encore")
_NO_LASER = "people walk about: no laser"
_CLEAR = "People walk about: see that nobody can get into the beams, or leave the lasers out, as your local rules say."


@dataclass(frozen=True, slots=True)
class _Action:
    """Something that the hand does between songs."""

    at: float
    seconds: float
    """Until all that it does is done."""
    kind: CueKind
    side: str
    look: str | None


@dataclass(frozen=True, slots=True)
class Crossing:
    """The way from one song, or from nothing, to the next, or to the end."""

    kind: str
    look: Look | None
    """None where no effect light is up."""
    side: str
    """On which that look comes in."""
    level: int
    seconds: float
    rig: Rig
    gap: float
    """Seconds between two actions of this person."""
    begins: tuple[str, str] | None
    """Side and look with which the next song begins."""
    begins_name: str
    set_by: str
    """Number of the cue of the next song that sets it up, too; empty where none does."""
    why: str = ""
    """Why no look is up that would be up otherwise."""
    lent: Lent | None = None
    """The button that the next song's first look has only for this, its looks by name; None where it has one."""

    def cues(self, states: Mapping[str, SideState], ends: float) -> list[Cue]:
        """Return what the hand does from a state of the sides, so that all is ready for the next song at a moment.

        Parameters
        ----------
        states : mapping
            By side, as the song before left them, or whatever was done since.
        ends : float
            Seconds; the last action is over by then.
        """
        steps = list(self._steps([name for name, state in states.items() if state.lit]))
        shift = ends - max((step.at + step.seconds for step in steps), default=0.0)
        return [self._cue(number, step.at + shift, step) for number, step in enumerate(steps, 1)]

    def _steps(self, lit: list[str]) -> Iterator[_Action]:
        """Yield the actions, from 0 on."""
        hands = max(self.rig.hands, 1)
        at = 0.0
        for index in range(0, len(lit), hands):
            for side in lit[index : index + hands]:
                yield _Action(at, self.seconds, "fade-out", side, None)
            at += self.seconds + self.gap
        if self.look is not None:
            yield _Action(at, self._settled(self.side), "recall", self.side, self.look.id)
            at += max(self._settled(self.side), self.gap)
            yield _Action(at, self.seconds, "fade-in", self.side, self.look.id)
            at += self.seconds + self.gap
        here_first = self.begins is not None and self.begins[0] == self.side
        if self.begins is not None and self.look is not None and not here_first:
            yield _Action(at, self._settled(self.begins[0]), "recall", *self.begins)
            at += self.gap
        if self.look is not None:
            yield _Action(at, self.seconds, "fade-out", self.side, None)
            at += self.seconds + self.gap
        if self.begins is not None and (self.look is None or here_first):
            yield _Action(at, self._settled(self.begins[0]), "recall", *self.begins)

    def _settled(self, side: str) -> float:
        found = next((each.settle_seconds for each in self.rig.sides if each.name == side), 0.0)
        return found + self.rig.reaction_seconds

    def _cue(self, number: int, at: float, action: _Action) -> Cue:
        kind = action.kind
        return Cue(
            id=f"between/{self.kind}/{kind}/{number}",
            number=0.0,
            kind=kind,
            trigger="hand",
            anchor="starts-on",
            place=Place(round(at, 4)),
            reasons=("It lies between two songs.",),
            confidence=1.0,
            look=action.look,
            side=action.side,
            level=self.level if kind == "fade-in" else None,
            up_seconds=self.seconds if kind == "fade-in" else None,
            down_seconds=self.seconds if kind == "fade-out" else None,
        )


def crossing(
    kind: str,
    set_list: SetList,
    before: SongFacts | None,
    after: SongFacts | None,
    number: str,
    *,
    without: Collection[str] = (),
    lent: Lent | None = None,
) -> Crossing:
    """Plan what lies between two songs.

    Parameters
    ----------
    kind : str
        "walk_in", or one of what may follow a song.
    set_list : SetList
        What it says of this kind counts.
    before, after : SongFacts, optional
        One of them at least.
    number : str
        Of the cue that sets up the next song's first look; empty where none does.
    without : collection of str
        Looks of the song after, or of the last one, for which there is no button.
    lent : Lent, optional
        The button on which the next song's first look is set up, if it has none of its own; looks by name.
    """
    song = after or before
    assert song is not None
    given = getattr(set_list, kind, None)
    wanted: BetweenLook = given or _USUAL[kind]
    begins = after.begins if after is not None else None
    look = None if wanted.look == "dark" or not wanted.level else _look(wanted.look, song, without)
    side = _side(song, look, begins)
    why = ""
    if look is not None and given is None and look.source == "laser" and kind in _PEOPLE_MOVE:
        look, why = None, _NO_LASER
    names = {each.id: each.name for each in after.looks} if after is not None else {}
    hands = song.profile.hands
    return Crossing(
        kind=kind,
        look=look,
        side=side,
        level=min(wanted.level, look.level_ceiling) if look is not None else 0,
        seconds=wanted.seconds,
        rig=song.rig,
        gap=hands.peak_gap_seconds * hands.slowness(song.rig),
        begins=begins,
        begins_name=names.get(begins[1], begins[1]) if begins else "",
        set_by=number,
        why=why,
        lent=lent,
    )


def _look(wanted: str, song: SongFacts, without: Collection[str]) -> Look | None:
    """Return the home look, or the smallest that is lit in the song and has a button; home where there is none."""
    home = next((look for look in song.looks if look.home), None)
    if wanted == "home":
        return home
    subtle = (look for look in song.looks if look.category == "subtle" and not look.home and look.id not in without)
    return next(subtle, home)


def _side(song: SongFacts, look: Look | None, begins: tuple[str, str] | None) -> str:
    """Return a side for a look: not the one on which the next song begins, if there is another of its kind."""
    sides = song.rig.playing
    others = [side.name for side in sides if begins is None or side.name != begins[0]]
    return (others or [side.name for side in sides])[0]


def told(found: Crossing, *, last: bool) -> BetweenSongs:
    """Tell in words what lies between two songs, for whatever is up when the first is over."""
    over = f"{found.seconds:g} s"
    walk_in = found.kind == "walk_in"
    steps = [] if walk_in else [f"Whatever is up: out over {over}."]
    light = "no effect light" + (f" ({found.why})" if found.why else "")
    if found.look is not None:
        light = f"{found.look.name} at {found.level} %"
        steps.append(f"{found.look.name} set up on side {found.side}, then up to {found.level} % over {over}.")
    else:
        steps.append(f"{light[:1].upper()}{light[1:]}.")
    early, first = _set_up(found)
    out = f"Side {found.side} out over {over}, before {'people leave' if last else 'the band begins'}."
    if found.look is not None and found.begins is not None and found.begins[0] == found.side:
        steps += [out, *first]
    else:
        steps += [*first, *([out] * (found.look is not None))]
    steps = [*early, *steps]
    seen = found.look is not None and found.look.source == "laser" and (found.kind in _PEOPLE_MOVE or last)
    laser = any(side.source == "laser" for side in found.rig.playing)
    title = "the end" if last and found.kind == "nothing" else _TITLES[found.kind]
    return BetweenSongs(title, light, tuple(steps), (_CLEAR,) if seen else (), laser)


def _set_up(found: Crossing) -> tuple[list[str], list[str]]:
    """Tell how the next song's first look is set up: what is done before the song before is over, and what after."""
    if found.begins is None:
        return [], []
    done = ", done with this" if found.lent is not None else ""
    cue = f" (cue {found.set_by}{done})" if found.set_by else ""
    first = [f"{found.begins_name} set up on side {found.begins[0]} while it is dark{cue}."]
    lent = found.lent
    if lent is None:
        return [], first
    first.append(f"Then button {lent.button} gets {lent.after}.")
    if lent.before == lent.look:
        return [], first
    gets = f"utton {lent.button} gets {lent.look} in place of {lent.before}."
    if found.kind == "segue" and found.look is None:
        # A segue has no time for it. Once the song before has set up its last look, it needs none of its buttons.
        return [f"Before the song is over, once its last look is set up: b{gets}"], first
    return [], [f"B{gets}", *first]
