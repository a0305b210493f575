"""Files given to the program: recordings, documents, files to read back."""

from __future__ import annotations

import json
import os
from pathlib import Path
from random import Random

from tests.benchmarks.faults import wild
from tests.benchmarks.faults.kind import Input, Kind, commanded, document, unchanged

__all__ = ["Documents", "Exports", "Recordings"]

_ANALYZED = 0.15  # share of recordings that are also listened to
_ALL_FORMATS = 0.1  # share of documents that are written in every format
_SMALL = ("small.wav", "wide.wav", "small.aiff", "small.flac", "small.ogg", "small.mp3", "small.m4a", "small.mp4")


class Recordings(Kind):
    """Sound files with broken bytes: opened and decoded wholly, and some of them listened to."""

    name = "recordings"

    def make(self, folder: Path) -> None:
        """Encode three seconds of the song in every form, one with picture."""
        import soundfile

        from tests.sounds import encode

        samples, rate = soundfile.read(folder / "song.wav", frames=66_150, start=40_000, always_2d=True)
        for name in _SMALL:
            if name.endswith((".m4a", ".mp4")):
                encode(folder / name, samples, rate, "aac", picture=1.0 if name.endswith(".mp4") else None)
            elif name == "wide.wav":
                soundfile.write(folder / name, samples.repeat(2, 1), rate, "FLOAT")
            else:
                soundfile.write(folder / name, samples, rate)

    def draw(self, folder: Path, chance: Random) -> Input:
        """Change bytes of one of the files."""
        path = folder / chance.choice(_SMALL)
        data = wild.bytes_(chance, path.read_bytes())
        if path.suffix == ".mp3" and chance.random() < 0.2:
            data = _tag(chance) + data
        return Input(f"given{path.suffix}", data)

    def meet(self, given: Input, folder: Path, scratch: Path, chance: Random) -> bool:
        """Open and decode, or analyze."""
        from cuesuggest.sound.recording import open_recording

        path = scratch / given.name
        path.write_bytes(given.data)
        with unchanged(path):
            for _ in open_recording(path).blocks():
                pass
            if chance.random() < _ANALYZED:
                commanded("analyze", path)
        return True


def _tag(chance: Random) -> bytes:
    """Return an ID3 tag whose text is in the wrong encoding, or of a wrong size."""
    text = bytes([chance.choice((0, 1, 3, 9))]) + chance.choice(("Höhle".encode("latin-1"), b"\xff\xfeA", b"\xff" * 40))
    size = chance.choice((len(text), 0, 2**27, len(text) * 5))
    frame = b"TIT2" + size.to_bytes(4, "big") + b"\0\0" + text
    whole = chance.choice((len(frame), 2**28 - 1, 3))
    return b"ID3\4\0\0" + bytes(whole >> shift & 127 for shift in (21, 14, 7, 0)) + frame


class Documents(Kind):
    """Song documents with broken content: loaded, listed, exported, changed, taken back."""

    name = "documents"
    seconds = 15

    def draw(self, folder: Path, chance: Random) -> Input:
        """Change values of the document, or its bytes."""
        data = (folder / "song.cues.json").read_bytes()
        changed = wild.bytes_(chance, data) if chance.random() < 0.1 else wild.json_(chance, json.loads(data), most=2)
        return Input("given.cues.json", changed)

    def meet(self, given: Input, folder: Path, scratch: Path, chance: Random) -> bool:
        """Load it, and do with it what people do."""
        from cuesuggest.cli.report import song_text
        from cuesuggest.decide.telling import describe
        from cuesuggest.export import FORMATS
        from cuesuggest.song import Song

        path = scratch / given.name
        path.write_bytes(given.data)
        os.link(folder / "song.wav", scratch / "song.wav")
        with unchanged(path):
            song = Song.load(path)
        song_text(song)
        for entry in song.history:
            describe(song, entry.edit)
        names = [name for name, form in FORMATS.items() if not form.needs_sound]
        if chance.random() > _ALL_FORMATS:
            names = chance.sample(names, 3)
        (scratch / "out").mkdir()
        for words in (
            ("export", path, "--to", ",".join(names), "-o", scratch / "out"),
            ("edit", path, "title", "Another"),
            ("edit", path, "undo"),
            ("list", path),
        ):
            _refusable(path, *words)
        Song.from_json(Song.load(path).to_json())
        return True


def _refusable(path: Path, *words: object) -> None:
    """Run a command that may refuse what it is given, as long as it changes nothing then."""
    import click

    from cuesuggest.errors import CuesuggestError

    try:
        with unchanged(path):
            commanded(*words)
    except (CuesuggestError, click.ClickException):
        return


class Exports(Kind):
    """Exported files with broken content, and files of other kinds: read back."""

    name = "read"

    def make(self, folder: Path) -> None:
        """Export the song in all formats."""
        self._folder(folder).mkdir()
        document(folder, self._folder(folder))
        path = self._folder(folder) / "song.cues.json"
        commanded("--quiet", "export", path, "--to", "all", "--allow-auto", "lamps,strobes,lasers")
        commanded(
            "--quiet",
            "export",
            path,
            "--to",
            "midi,text-show,osc",
            "--offset",
            "30",
            "-o",
            self._folder(folder) / "later",
        )

    @staticmethod
    def _folder(folder: Path) -> Path:
        return folder / "exported"

    def draw(self, folder: Path, chance: Random) -> Input:
        """Change bytes of one of the files; those that can be read back come more often."""
        paths = sorted(path for path in self._folder(folder).rglob("*") if path.is_file())
        known = [
            path for path in paths if path.name.endswith((".mid", ".show.txt", ".csv", ".markers.wav", ".ltc.wav"))
        ]
        path = chance.choice(known if chance.random() < 0.9 else paths)
        data = path.read_bytes()
        if path.suffix in (".csv", ".txt") and chance.random() < 0.7:
            data = _cells(chance, data)
        else:
            data = wild.bytes_(chance, data)
        return Input(f"given{path.suffix}", data)

    def meet(self, given: Input, folder: Path, scratch: Path, chance: Random) -> bool:
        """Read it back."""
        path = scratch / given.name
        path.write_bytes(given.data)
        with unchanged(path):
            commanded("read", path)
        return True


def _cells(chance: Random, data: bytes) -> bytes:
    """Change some words of a text file: numbers to wild ones, words to wild texts."""
    lines = data.decode("utf-8").split("\n")
    for _ in range(chance.randint(1, 4)):
        at = chance.randrange(len(lines))
        glue = "," if "," in lines[at] else " "
        words = lines[at].split(glue)
        new = chance.choice((str(wild.number(chance)), wild.text(chance), str(wild.value(chance)), ""))
        words[chance.randrange(len(words))] = new
        lines[at] = glue.join(words)
        if chance.random() < 0.2:
            lines.insert(at, chance.choice(lines))
    return "\n".join(lines).encode("utf-8", "surrogatepass")
