"""The words of a night: its songs by number, the looks that they share, what lies between them; frozen records."""

from __future__ import annotations

from dataclasses import dataclass

from cuesuggest.score.records import Look

__all__ = ["CEILINGS", "SOUND_CHECK", "BetweenSongs", "BiggestUse", "NightLook", "NightPlan", "NightSong"]

SOUND_CHECK = "sound check"
"""Who changed a song for one night, in its history."""
CEILINGS = (5, 80)
"""Percent: the least and the most that all looks of a night can be held to, as a house style has them."""

_IN_A_ROW = 2  # songs that are told one by one


@dataclass(frozen=True, slots=True)
class NightLook:
    """A look that is built once for the whole night."""

    look: Look
    """With the id, the name and the round of motion that it has over the night."""
    songs: tuple[int, ...]
    """Numbers of the songs that play it."""
    buttons: tuple[int, ...]
    """Where it lies: one button, or one after another where looks change places; empty where there was no room."""
    lent: tuple[int, ...] = ()
    """Buttons that it has only while it is set up before a song."""

    @property
    def songs_words(self) -> str:
        """In which songs it is played: "song 3", "songs 1 to 4, 6"; "between songs" where in none."""
        if not self.songs:
            return "between songs"
        runs: list[list[int]] = []
        for number in self.songs:
            if runs and number == runs[-1][-1] + 1:
                runs[-1].append(number)
            else:
                runs.append([number])
        words = [f"{run[0]} to {run[-1]}" if len(run) > _IN_A_ROW else ", ".join(map(str, run)) for run in runs]
        return f"song{'s' * (len(self.songs) > 1)} {', '.join(words)}"


@dataclass(frozen=True, slots=True)
class BetweenSongs:
    """What lies before, between or after songs."""

    title: str
    """In the words of the trade: "applause hold", "walk-in"."""
    light: str
    """What is to be seen: "Home at 40 %", "no effect light"."""
    steps: tuple[str, ...]
    """What the hand does, whatever is up when the song before is over."""
    cautions: tuple[str, ...] = ()
    """Said before the hand does anything."""
    laser: bool = False
    """Whether it is played on lasers, which are not for everybody's hands."""

    @property
    def line(self) -> str:
        """What the hand does, in one line."""
        return f"{self.title}: {' '.join(self.steps)}"


@dataclass(frozen=True, slots=True)
class BiggestUse:
    """A place at which a song has its biggest look."""

    mark: str
    """Of the section: "B3"."""
    look: str
    """Its id over the night."""
    drive: float
    at: float
    """Seconds from the start of the song."""
    decided: bool
    """Whether somebody has decided on it."""


@dataclass(frozen=True, slots=True)
class NightSong:
    """A song in its night."""

    number: int
    title: str
    cues: tuple[str, str]
    """The first and the last number of its cues in the night; empty texts where it has none."""
    tempo: float | None
    seconds: float
    buttons: tuple[tuple[int, str], ...]
    """Which look, by its id over the night, lies on which button."""
    renamed: tuple[tuple[str, str], ...]
    """The song's own ids of looks, with those over the night."""
    changes: tuple[str, ...]
    """What is changed on the buttons before it, and what found no room, in sentences."""
    energy: tuple[tuple[float, float, float], ...]
    """Of each section its start and end in seconds from the start of the song, and its drive."""
    biggest: tuple[BiggestUse, ...]
    """Where the biggest look of the song comes in."""
    restraint: str
    """What the song has of the night's biggest look, or gives up for others, in a sentence."""
    gives_way: bool
    """Whether it has the night's biggest look, and others are to have it."""
    to_do: str
    """What is open in it: "2 questions, 12 cues to check"; empty where nothing is."""


@dataclass(frozen=True, slots=True)
class NightPlan:
    """A night as it is planned."""

    title: str
    step: int
    """What a song's number is multiplied by for its cues: 100, so that song 3 has 301, 302 …"""
    songs: tuple[NightSong, ...]
    looks: tuple[NightLook, ...]
    buttons: int
    """How many looks lie within reach; 0 where nobody has said."""
    between: tuple[BetweenSongs, ...]
    """Before the first song, then after each."""
    remarks: tuple[str, ...]
    moments: tuple[tuple[int, BiggestUse], ...]
    """The biggest moments of the night, the biggest first, each with the number of its song."""
    changed: tuple[str, ...] = ()
    """What was changed at sound check and still holds, in sentences."""

    def buttons_words(self, look: NightLook) -> str:
        """Say on which button a look lies; nothing where nobody has said how many there are."""
        if not self.buttons:
            return ""
        if not look.buttons and not look.lent:
            return "no button"
        own = ", then ".join(map(str, look.buttons))
        lent = " or ".join(str(button) for button in sorted(look.lent) if button not in look.buttons)
        many = len(look.buttons or look.lent) > 1
        words = f"{own}, before a song {lent}" if own and lent else own or f"{lent}, only before a song"
        return f"button{'s' * many} {words}"
