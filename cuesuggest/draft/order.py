"""What a song is to be drafted with, as somebody asks for it, and as it is then taken."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from cuesuggest.rules import Profile, Rig, load_profile, load_rig, profile_from_values, rig_from_values
from cuesuggest.song import Song
from cuesuggest.sound.recording import Window

__all__ = ["Chosen", "Order"]

_STYLE = "band"


@dataclass(frozen=True, slots=True)
class Chosen:
    """With what a song is drafted."""

    profile: Profile
    rig: Rig
    window: Window


@dataclass(frozen=True, slots=True)
class Order:
    """What is asked for; what is left out stays as the document has it, or is the usual.

    Attributes
    ----------
    profile : str, Path or Profile, optional
        A house style: the name of a shipped one, or a TOML file; "band" is the usual.
    rig : str, Path or Rig, optional
        What there is to play on; the example rig is the usual.
    start, end : float, optional
        Seconds; the part of the file that is the song.
    """

    profile: str | Path | Profile | None = None
    rig: str | Path | Rig | None = None
    start: float | None = None
    end: float | None = None

    def chosen(self, earlier: Song | None = None) -> Chosen:
        """Return what is taken, beside what a document that is there says.

        Raises
        ------
        ProfileError
            If there is no such house style or rig, or a value in it is wrong.
        """
        return Chosen(self._profile(earlier), self._rig(earlier), self._window(earlier))

    def _profile(self, earlier: Song | None) -> Profile:
        if isinstance(self.profile, Profile):
            return self.profile
        if self.profile is None and earlier is not None:
            return profile_from_values(earlier.profile.values)
        return load_profile(self.profile or _STYLE)

    def _rig(self, earlier: Song | None) -> Rig:
        if isinstance(self.rig, Rig):
            return self.rig
        if self.rig is None and earlier is not None:
            return rig_from_values(earlier.rig.values)
        return load_rig(self.rig)

    def _window(self, earlier: Song | None) -> Window:
        if earlier is None or self.start is not None or self.end is not None:
            return Window(self.start or 0.0, self.end)
        stored = earlier.recording.window
        whole = stored.end >= earlier.recording.duration - 1e-3
        return Window(stored.start, None if whole else stored.end)
