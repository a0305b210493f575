"""What a kind of attack is, and the song that all of them start from."""

from __future__ import annotations

import os
import shutil
from abc import ABC, abstractmethod
from collections.abc import Sequence
from contextlib import AbstractContextManager, nullcontext
from dataclasses import dataclass
from pathlib import Path
from random import Random

__all__ = ["FaultError", "Input", "Kind", "commanded", "document", "make_song", "tidy_environment", "unchanged"]


class FaultError(Exception):
    """Something that must not be, where no exception told it: a status 500, a refused document that has changed.

    What stands before the first colon is the class of it.
    """


@dataclass(frozen=True, slots=True)
class Input:
    """What the program is given."""

    name: str
    """Of a file with it: its ending says what it is."""
    data: bytes


class Kind(ABC):
    """A kind of attack: draws inputs, each from its own seed, and gives them to the program."""

    name: str
    seconds = 10
    """Of processor time that one input may take."""

    def make(self, folder: Path) -> None:  # noqa: B027, nothing to do for most kinds
        """Make what inputs are drawn from, beside the song in a folder; once in a run."""

    def opened(self, folder: Path, scratch: Path) -> AbstractContextManager[object]:
        """Return what has to be open while inputs are met, in a worker's own folder."""
        return nullcontext()

    @abstractmethod
    def draw(self, folder: Path, chance: Random) -> Input:
        """Draw an input from what `make` made."""

    @abstractmethod
    def meet(self, given: Input, folder: Path, scratch: Path, chance: Random) -> bool:
        """Give an input to the program.

        Parameters
        ----------
        given : Input
        folder : Path
            What `make` made; not to be changed.
        scratch : Path
            An empty folder.
        chance : Random
            Goes on where `draw` left it.

        Returns
        -------
        bool
            Whether it was accepted.

        Raises
        ------
        CuesuggestError, click.ClickException
            If it was refused as it should be.
        Exception
            Any other is a failure.
        """


def tidy_environment(folder: Path) -> dict[str, str]:
    """Return an environment in which the program keeps everything in a folder, and takes one core."""
    own = {"CUESUGGEST_CACHE": folder / "kept", "XDG_STATE_HOME": folder / "states", "TMPDIR": folder / "tmp"}
    for path in own.values():
        path.mkdir(parents=True, exist_ok=True)
    one = {f"{name}_NUM_THREADS": "1" for name in ("OPENBLAS", "OMP", "MKL")}
    root = str(Path(__file__).parents[3])
    path = os.pathsep.join([root, *filter(None, [os.environ.get("PYTHONPATH")])])
    return {**os.environ, **{name: str(path) for name, path in own.items()}, **one, "PYTHONPATH": path}


def make_song(folder: Path) -> None:
    """Play a short song and draft it: `song.wav`, and `song.cues.json` with a past, decisions and statements."""
    from cuesuggest.decide import statements
    from cuesuggest.draft.drafting import draft_file
    from cuesuggest.draft.settling import settled
    from cuesuggest.score.form_text import read_form
    from cuesuggest.song import SetCue, SetTitle, change_all, undo
    from cuesuggest.song.edits import change
    from tests.sounds import play

    play(folder / "song.wav", "A4 B4 A4 B4", stop_bar=11)
    path = folder / "song.cues.json"
    before = draft_file(folder / "song.wav").song
    song = change_all(before, [statements.tempo(before, 112.0)], by="test")
    song, _ = settled(before, song, path)
    song = change_all(song, [statements.form(song, read_form("verse 4, chorus 4, verse 4, chorus 4").parts)], by="test")
    song = change(song, SetCue(song.cues[1].id, {"status": "accepted", "note": "wait for the singer"}), by="test")
    song = change(song, SetCue(song.cues[2].id, {"status": "rejected"}), by="test")
    song = undo(change(change(song, SetTitle("Evening"), by="test"), SetTitle("Morning"), by="test"))
    song.save(path)


def document(folder: Path, scratch: Path) -> Path:
    """Return a copy of the song's document, with its recording beside it."""
    os.link(folder / "song.wav", scratch / "song.wav")
    return Path(shutil.copyfile(folder / "song.cues.json", scratch / "song.cues.json"))


def commanded(*words: object) -> None:
    """Run a command line in this process; what goes wrong is raised as it is."""
    from cuesuggest.cli import cli

    cli.main([str(word) for word in words], prog_name="cuesuggest", standalone_mode=False)


class unchanged:  # noqa: N801, used like a function
    """Let an error through only if files are as they were, and nothing new lies beside them."""

    def __init__(self, *paths: Path) -> None:
        self._paths = paths
        self._before = self._now()

    def _now(self) -> tuple[Sequence[bytes | None], dict[Path, list[str]]]:
        there = [path.read_bytes() if path.is_file() else None for path in self._paths]
        return there, {folder: sorted(os.listdir(folder)) for folder in {path.parent for path in self._paths}}

    def __enter__(self) -> None:
        pass

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, _: object) -> None:
        from click import ClickException

        from cuesuggest.errors import CuesuggestError

        if isinstance(error, CuesuggestError | ClickException) and self._now() != self._before:
            changed = [
                path.name
                for path, was, now in zip(self._paths, self._before[0], self._now()[0], strict=True)
                if was != now
            ]
            there = [str(folder) for folder, names in self._now()[1].items() if self._before[1][folder] != names]
            raise FaultError(f"refused, and yet changed on the disk: {', '.join(changed + there)}; {error}") from error
