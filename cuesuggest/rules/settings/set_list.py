"""The set list of a night: its songs in order, what lies between them, and how much of the biggest look it may have."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

from cuesuggest.rules.settings.house import number, words

__all__ = ["AFTER", "BetweenLook", "SetList", "SetSong"]

After = Literal["applause", "talk", "prayer", "pad", "segue", "encore", "nothing"]
AFTER: tuple[After, ...] = ("applause", "talk", "prayer", "pad", "segue", "encore", "nothing")
"""What may follow a song; after the last one it is how the night ends."""

LookBetween = Literal["dark", "home", "subtle"]


@dataclass(frozen=True, slots=True)
class BetweenLook:
    """The light of what lies between two songs."""

    look: LookBetween = field(
        metadata=words(
            "no effect light, the home look, or the smallest look of the song that comes", "dark", "home", "subtle"
        )
    )
    level: int = field(metadata=number("percent", 0, 80, "less than in any song: it is not the show", otherwise=20))
    seconds: float = field(metadata=number("seconds", 0.5, 60, "how long it takes in and out", otherwise=4.0))


@dataclass(frozen=True, slots=True)
class SetSong:
    """A song of the night."""

    document: str = field(metadata=words("the song's document, as seen from the folder of this file"))
    after: After = field(metadata=words("what follows it", *AFTER, otherwise="applause"))


@dataclass(frozen=True, slots=True)
class SetList:
    """A night: songs in order, and what holds for all of them."""

    title: str = field(metadata=words("what the night is called; a file without it has the file's name"))
    buttons: int = field(
        default=0,
        metadata=number("buttons", 0, 500, "how many looks lie within reach; 0 takes what the rig says", otherwise=0),
    )
    biggest: int = field(
        default=0,
        metadata=number("songs", 0, 100, "how many songs may have the night's biggest look; 0 is a third", otherwise=0),
    )
    walk_in: BetweenLook | None = field(default=None, metadata=words("the light as people come in", otherwise=None))
    applause: BetweenLook | None = field(default=None, metadata=words("the light through applause", otherwise=None))
    talk: BetweenLook | None = field(default=None, metadata=words("the light while somebody speaks", otherwise=None))
    prayer: BetweenLook | None = field(default=None, metadata=words("the light while people pray", otherwise=None))
    pad: BetweenLook | None = field(default=None, metadata=words("the light under a held chord", otherwise=None))
    segue: BetweenLook | None = field(default=None, metadata=words("the light into a song at once", otherwise=None))
    encore: BetweenLook | None = field(default=None, metadata=words("the light before an encore", otherwise=None))
    songs: tuple[SetSong, ...] = field(default=(), metadata=words("the songs in the order in which they are played"))
