"""What people type: house styles and rigs, maps, forms, statements about the music, options of commands."""

from __future__ import annotations

import json
import re
from importlib.resources import files
from pathlib import Path
from random import Random

from tests.benchmarks.faults import wild
from tests.benchmarks.faults.kind import Input, Kind, commanded, document, unchanged

__all__ = ["Corrections", "Forms", "Maps", "Options", "Settings"]


class Settings(Kind):
    """House styles and rigs with broken values: read; those that are taken draft the song."""

    name = "settings"

    def draw(self, folder: Path, chance: Random) -> Input:
        """Change a shipped style or rig, or a short file that is based on one."""
        kind = chance.choice(("profiles", "rigs"))
        shipped = files("cuesuggest.rules.settings") / kind
        paths = sorted(path.name for path in shipped.iterdir() if path.name.endswith(".toml"))
        source = (shipped / chance.choice(paths)).read_text("utf-8")
        if kind == "profiles" and chance.random() < 0.3:
            based_on = chance.choice(("band", "club", "profiles.toml", "./profiles.toml", "../x.toml"))
            source = f'based_on = "{based_on}"\n' + re.sub(r"(?m)^based_on.*$", "", source)
        return Input(f"{kind}.toml", wild.toml(chance, source))

    def meet(self, given: Input, folder: Path, scratch: Path, chance: Random) -> bool:
        """Read it, draft the song with it, and read what was written of it."""
        from cuesuggest.rules import draft
        from cuesuggest.rules.settings.settings_file import (
            load_profile,
            load_rig,
            profile_from_values,
            rig_from_values,
        )
        from cuesuggest.song import Song

        path = scratch / given.name
        path.write_bytes(given.data)
        analysis = Song.load(folder / "song.cues.json").analysis
        with unchanged(path):
            if given.name.startswith("rigs"):
                rig = load_rig(path)
                commanded("rigs", "show", path)
                draft(analysis, load_profile("band"), rig_from_values(rig.values()))
            else:
                profile = load_profile(path)
                commanded("profiles", "show", path)
                draft(analysis, profile_from_values(profile.values()), load_rig(None))
        return True


class Maps(Kind):
    """Map files with broken values: read; those that are taken are exported with."""

    name = "maps"

    def make(self, folder: Path) -> None:
        """Write the song's map."""
        commanded("--quiet", "map", folder / "song.cues.json", "-o", folder / "song.map.toml")

    def draw(self, folder: Path, chance: Random) -> Input:
        """Change it."""
        return Input("given.toml", wild.toml(chance, (folder / "song.map.toml").read_text("utf-8")))

    def meet(self, given: Input, folder: Path, scratch: Path, chance: Random) -> bool:
        """Export with it what machines play."""
        path = scratch / given.name
        path.write_bytes(given.data)
        song = document(folder, scratch)
        (scratch / "out").mkdir()
        with unchanged(path, song):
            commanded(
                "export",
                song,
                "--to",
                "midi,msc,osc,text-show",
                "--map",
                path,
                "--allow-auto",
                "lamps,strobes,lasers",
                "-o",
                scratch / "out",
            )
        return True


class Forms(Kind):
    """Forms as nobody should type them: read, and laid on the bars of the song."""

    name = "forms"

    def draw(self, folder: Path, chance: Random) -> Input:
        """Type one."""
        return Input("form.txt", wild.form(chance).encode("utf-8", "surrogatepass"))

    def meet(self, given: Input, folder: Path, scratch: Path, chance: Random) -> bool:
        """Read it and state it."""
        from cuesuggest.decide import statements
        from cuesuggest.score.form_text import form_text, read_form
        from cuesuggest.song import Song, apply

        song = Song.load(folder / "song.cues.json")
        sheet = read_form(given.data.decode("utf-8", "surrogatepass"))
        stated = apply(song, statements.form(song, sheet.parts))
        Song.from_json(stated.to_json())
        read_form(form_text(sheet.parts))
        return True


class Corrections(Kind):
    """Statements about the music, one after the other, with the song heard anew after each."""

    name = "corrections"
    seconds = 30

    def draw(self, folder: Path, chance: Random) -> Input:
        """Choose options of one to three commands, and what stands in their files."""
        said = [_statement(chance) for _ in range(chance.randint(1, 3))]
        return Input("said.json", json.dumps(said).encode())

    def meet(self, given: Input, folder: Path, scratch: Path, chance: Random) -> bool:
        """Say them; then take the last back."""
        path = document(folder, scratch)
        return _all_said(path, [["correct", *words] for words in json.loads(given.data)] + [["edit", "undo"]], scratch)


def _all_said(path: Path, commands: list[list[str]], scratch: Path) -> bool:
    """Run commands on a document; whether all of them were accepted. A refused one must not change it."""
    import click

    from cuesuggest.errors import CuesuggestError
    from cuesuggest.song import Song

    accepted = True
    for command in commands:
        words = []
        for word in command[1:]:
            if word.startswith("file:"):
                (scratch / "given.txt").write_text(word.removeprefix("file:"), encoding="utf-8", errors="surrogatepass")
                word = str(scratch / "given.txt")
            words.append(word)
        try:
            with unchanged(path):
                commanded(command[0], path, *words)
        except (CuesuggestError, click.ClickException):
            accepted = False
    Song.load(path)
    return accepted


def _statement(chance: Random) -> list[str]:
    words: list[str] = []
    for option in chance.sample(sorted(_STATED), chance.choice((1, 1, 2, 3))):
        words += [option, *_STATED[option](chance)]
    return words


def _time(chance: Random) -> str:
    good = (f"{chance.uniform(0, 39):.3f}", f"0:{chance.uniform(0, 39):05.2f}", str(chance.randint(30, 45)))
    return chance.choice((*good, *good, str(wild.number(chance)), wild.text(chance)[:50]))


def _bar(chance: Random) -> str:
    return chance.choice((str(chance.randint(-2, 20)), str(chance.randint(1, 17)), str(wild.number(chance))))


def _times(chance: Random) -> str:
    start, step = chance.uniform(0, 38), chance.choice((0.5357, 2.1429, 1e-5, 0.0, -1.0, 3.0))
    lines = [f"{start + step * k:.6f}" for k in range(chance.choice((0, 1, 3, 20, 500)))]
    if chance.random() < 0.3:
        lines.insert(chance.randrange(len(lines) + 1), chance.choice((str(wild.number(chance)), wild.text(chance))))
    return "file:" + "\n".join(lines)


_STATED = {
    "--tempo": lambda chance: [chance.choice((f"{chance.uniform(15, 420):.2f}", str(wild.number(chance))))],
    "--half": lambda chance: [],
    "--double": lambda chance: [],
    "--as-heard": lambda chance: [],
    "--forget": lambda chance: [],
    "--meter": lambda chance: [
        chance.choice((f"{chance.randint(1, 20)}/{chance.choice((2, 4, 8, 16))}", wild.text(chance)[:50]))
    ],
    "--shift-bar": lambda chance: [chance.choice((str(chance.randint(-9, 9)), "0.5", str(wild.number(chance))))],
    "--bar-one-at": lambda chance: [_time(chance)],
    "--downbeats": lambda chance: [_times(chance)],
    "--starts": lambda chance: [
        chance.choice(("A1", "B2", "A2", "B1", "chorus", wild.text(chance)[:30])),
        _bar(chance),
    ],
    "--form": lambda chance: [
        chance.choice(("verse 4, chorus 4, verse 4, chorus 4", "A 3, B 5, A 8", "a b a b", wild.form(chance)[:300]))
    ],
    "--from-bar": lambda chance: [_bar(chance)],
}


class Options(Kind):
    """Commands on a document with wild values behind their options."""

    name = "options"

    def draw(self, folder: Path, chance: Random) -> Input:
        """Choose one to three commands."""
        commands = [chance.choice(_COMMANDS)(chance) for _ in range(chance.randint(1, 3))]
        return Input("commands.json", json.dumps(commands).encode())

    def meet(self, given: Input, folder: Path, scratch: Path, chance: Random) -> bool:
        """Run them."""
        path = document(folder, scratch)
        (scratch / "out").mkdir()
        commands = [[word.replace("OUT", str(scratch / "out")) for word in each] for each in json.loads(given.data)]
        return _all_said(path, commands, scratch)


def _number(chance: Random) -> str:
    return chance.choice(
        (str(chance.randint(-3, 20)), f"{chance.uniform(0, 40):.2f}", str(wild.number(chance)), wild.text(chance)[:40])
    )


def _cue(chance: Random) -> str:
    good = ("1", "2", "3-5", "all", "7")
    return chance.choice((*good, *good, f"{_number(chance)}-{_number(chance)}", _number(chance)))


def _placed(chance: Random) -> list[str]:
    given = {
        "--bar": _number,
        "--beat": _number,
        "--at": _time,
        "--section": lambda _: chance.choice(("A1", "B2", "x")),
    }
    chosen = chance.sample(sorted(given), chance.choice((1, 2, 3)))
    return [word for option in chosen for word in (option, given[option](chance))]


def _added(chance: Random) -> list[str]:
    given = {"--look": wild.text, "--side": wild.text, "--level": _number, "--beats": _number, "--who": wild.text}
    details = [word for option in chance.sample(sorted(given), 2) for word in (option, given[option](chance)[:100_000])]
    return [
        "edit",
        "add",
        chance.choice(("cut-in", "fade-out", "one-shot", "recall", "call")),
        "--note",
        wild.text(chance)[:100_000],
        *_placed(chance),
        *details,
    ]


def _exported(chance: Random) -> list[str]:
    given = {
        "--offset": _number,
        "--start-timecode": lambda _: chance.choice(
            ("00:00:00:00", "23:59:59:24", "99:99:99:99", wild.text(chance)[:60])
        ),
        "--landmark": lambda _: f"{chance.choice(('A1', 'B2 bar 1', 'x'))} = {_time(chance)}",
        "--who": wild.text,
    }
    chosen = [word for option in chance.sample(sorted(given), 2) for word in (option, given[option](chance)[:100_000])]
    names = chance.choice(
        (
            "midi,msc",
            "timecode",
            "osc,captions",
            "text-show,markers",
            "csv,json",
            "page",
            "list,chart.svg",
            "score,jams,xlsx",
            _number(chance),
        )
    )
    rate = chance.choice(("24", "25", "29.97df", "30"))
    return ["export", "--to", names, "-o", "OUT", "--force", "--fps", rate, *chosen]


_COMMANDS = (
    _added,
    _added,
    _exported,
    _exported,
    lambda chance: ["edit", "move", _cue(chance), *_placed(chance)],
    lambda chance: ["edit", "level", _cue(chance), _number(chance)],
    lambda chance: ["edit", "note", _cue(chance), wild.text(chance)[:100_000]],
    lambda chance: ["edit", "title", wild.text(chance)[:100_000]],
    lambda chance: ["edit", chance.choice(("accept", "reject", "reopen", "lock", "unlock", "remove")), _cue(chance)],
    lambda chance: [
        "edit",
        "section",
        chance.choice(("A1", "B2")),
        "--name",
        wild.text(chance)[:9000],
        "--vamp",
        wild.text(chance)[:9000],
    ],
    lambda chance: ["edit", "section", "A1", "--light", chance.choice(("rest", "subtle", "lift", "intense"))],
    lambda chance: ["edit", "copy", _cue(chance)],
    lambda chance: ["edit", chance.choice(("undo", "redo")), _number(chance)],
    lambda chance: ["list"],
)
