"""House styles and rigs from files: the shipped ones by name, a designer's own by path, those in a document by value.

What is wrong in a file is told with its name and line, and with what is allowed there.
"""

from __future__ import annotations

import difflib
import os
import tomllib
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from functools import cache, reduce
from importlib.resources import files
from pathlib import Path
from typing import Any, Literal, NoReturn

from cuesuggest.bounded import parse_toml, read_text
from cuesuggest.errors import ProfileError
from cuesuggest.rules.settings.house import Profile, Rig
from cuesuggest.rules.settings.set_list import SetList
from cuesuggest.rules.settings.settings_check import (
    At,
    SettingError,
    build_profile,
    build_rig,
    build_set_list,
    dotted,
    filled,
    missing,
    overlaid,
    refuse_unknown,
)

__all__ = [
    "known_names",
    "load_profile",
    "load_rig",
    "load_set_list",
    "profile_from_values",
    "rig_from_values",
    "settings_toml",
    "shipped_profiles",
    "shipped_rigs",
    "style_files",
]

Folder = Literal["profiles", "rigs"]

_KIND = {"profiles": "house style", "rigs": "rig"}

# More missing keys than this are told without what each may be.
_FEW = 4
_MOST_BASES = 16  # styles on top of each other; nobody follows more
_MOST_PARSED = 2_000_000  # characters parsed to tell a line: half a second


def known_names(folder: Folder) -> tuple[str, ...]:
    """Names of the files shipped in `profiles` or `rigs`."""
    shipped = files("cuesuggest.rules.settings").joinpath(folder).iterdir()
    return tuple(sorted(item.name.removesuffix(".toml") for item in shipped if item.name.endswith(".toml")))


def shipped_profiles() -> tuple[Profile, ...]:
    """Return the shipped house styles, from the least light to the most."""
    return tuple(sorted(map(load_profile, known_names("profiles")), key=lambda each: each.budget.lit_share))


def shipped_rigs() -> tuple[Rig, ...]:
    """Return the shipped rigs, by name."""
    return tuple(map(load_rig, known_names("rigs")))


def settings_toml(folder: Folder, name_or_path: str | Path) -> str:
    """Return the text of a house style or rig, shipped (by name) or from a file, comments and all.

    Raises
    ------
    ProfileError
        If there is no such style, rig or file.
    """
    return _file_of(name_or_path, folder).text


def load_profile(name_or_path: str | Path) -> Profile:
    """Read a house style, shipped (by name) or from a TOML file.

    A file with `based_on`, the name or path of another style, takes from that style what is not in it.

    Raises
    ------
    ProfileError
        If there is no such style or file, or a key or value in it is wrong.
    """
    return _profile(_file_of(name_or_path, "profiles"), ())


def style_files(name_or_path: str | Path) -> tuple[Path, ...]:
    """Return the files that a house style, which can be loaded, is read from: its own, and those it is based on."""
    found: list[Path] = []
    file = _file_of(name_or_path, "profiles")
    while file.path is not None:
        found.append(file.path)
        if "based_on" not in file.table:
            break
        file = _base_file(file, file.table["based_on"], ())
    return tuple(found)


def load_rig(name_or_path: str | Path | None) -> Rig:
    """Read a rig, shipped (by name) or from a TOML file; None gives the example rig.

    Raises
    ------
    ProfileError
        If there is no such rig or file, or a key or value in it is wrong.
    """
    file = _file_of("example" if name_or_path is None else name_or_path, "rigs")
    table = {"name": file.stem, **file.table}
    with file.naming_line():
        refuse_unknown(Rig, table)
        if lacking := missing(Rig, table):
            file.lacks(lacking, "The command 'cuesuggest rigs show example' prints all of them.")
        return build_rig(table)


def load_set_list(path: str | Path) -> SetList:
    """Read the set list of a night from a TOML file.

    Raises
    ------
    ProfileError
        If there is no such file, or a key or value in it is wrong.
    """
    text = read_text(Path(path), error=ProfileError)
    file = _File(str(path), Path(path), text, parse_toml(text, str(path), ProfileError))
    table = {"title": file.stem, **file.table}
    with file.naming_line():
        refuse_unknown(SetList, table)
        if lacking := missing(SetList, table):
            file.lacks(lacking, "The command 'cuesuggest night --new FOLDER' writes a night to start from.")
        return build_set_list(table)


def profile_from_values(values: Mapping[str, Any]) -> Profile:
    """Rebuild a house style from what `Profile.values` wrote into a document.

    Keys that this version does not know are left out; those that it has in addition are taken from the shipped
    style `band`.

    Raises
    ------
    ProfileError
        If a value is wrong; it names the key.
    """
    with _naming_place("the house style in the document"):
        return build_profile(filled(Profile, values, _usual_style().values()))


def rig_from_values(values: Mapping[str, Any]) -> Rig:
    """Rebuild a rig from what `Rig.values` wrote into a document.

    Keys that this version does not know are left out; those that it has in addition are taken from the example
    rig, those of a side from its first side. Without a word on speed it cannot be set. A rig that does not say what
    may play by itself was written before rigs did, when all of it waited for a person: so it does.

    Raises
    ------
    ProfileError
        If a value is wrong; it names the key.
    """
    base = _usual_rig().values()
    for part in (*base["sides"], base["one_shot"]):
        part["by_itself"] = False
    with _naming_place("the rig in the document"):
        return build_rig(filled(Rig, {"speed": {"unit": "none", "name": ""}, **values}, base))


# What documents are filled up with is asked for with every action on the page.
@cache
def _usual_style() -> Profile:
    return load_profile("band")


@cache
def _usual_rig() -> Rig:
    return load_rig(None)


@contextmanager
def _naming_place(where: str) -> Iterator[None]:
    try:
        yield
    except SettingError as error:
        raise ProfileError(f"{where}: {error}.") from None


@dataclass(frozen=True, slots=True)
class _File:
    """A settings file that is valid TOML."""

    name: str
    """What to call it in an error."""
    path: Path | None
    """None for a shipped one."""
    text: str
    table: Mapping[str, Any]

    @property
    def stem(self) -> str:
        return Path(self.name).stem

    def fail(self, problem: str, at: At) -> NoReturn:
        """Raise the error for a place, with its line if it is in this file."""
        line = _line_number(self.text, at) if at and _is_in(self.table, at) else None
        raise ProfileError(f"{self.name}{'' if line is None else f', line {line}'}: {problem}")

    @contextmanager
    def naming_line(self) -> Iterator[None]:
        """Let what is found wrong be told with file and line."""
        try:
            yield
        except SettingError as error:
            # Of two keys that are at odds one may be inherited: the one in this file is to be changed.
            own = [(at, problem) for at, problem in error.told if _is_in(self.table, at)]
            at, problem = (own or error.told)[0]
            self.fail(f"{dotted(at)} {problem}.", at)

    def lacks(self, lacking: list[tuple[At, str]], remedy: str) -> NoReturn:
        """Raise the error for keys that are missing."""
        first, what = lacking[0]
        if len(lacking) == 1:
            self.fail(f"{dotted(first)} is missing; it should be {what}. {remedy}", first[:-1])
        few = len(lacking) <= _FEW
        names = [f"{dotted(at)} ({what})" if few else dotted(at) for at, what in lacking]
        raise ProfileError(f"{self.name}: {len(lacking)} keys are missing: {', '.join(names)}. {remedy}")


def _profile(file: _File, above: tuple[_File, ...]) -> Profile:
    """Build a style from a file, and from those below it that it is based on; `above` are based on it."""
    table = dict(file.table)
    base_name = table.pop("based_on", None)
    with file.naming_line():
        refuse_unknown(Profile, table, ("based_on",))
        table.setdefault("name", file.stem)
        if base_name is None:
            if lacking := missing(Profile, table):
                file.lacks(lacking, 'The first line based_on = "band" takes what is not in the file from that style.')
            return build_profile(table)
    base = _profile(_base_file(file, base_name, (*above, file)), (*above, file))
    table.setdefault("about", f"As {base.name}, with changes.")
    with file.naming_line():
        return build_profile(overlaid(base.values(), table))


def _base_file(file: _File, name: Any, above: tuple[_File, ...]) -> _File:
    """Open the style that a file is based on; a path is relative to the file's folder."""
    known = ", ".join(known_names("profiles"))
    if not isinstance(name, str) or not name.strip():
        file.fail(
            f"based_on is {name!r}; it should be one of {known}, or the path of a file, in quotes.", ("based_on",)
        )
    if len(above) > _MOST_BASES:
        file.fail(f"more than {_MOST_BASES} styles are based on each other. Put some of them together.", ("based_on",))
    shipped = name in known_names("profiles") or file.path is None
    try:
        base = _file_of(name if shipped or file.path is None else file.path.parent / name, "profiles")
    except ProfileError as error:
        file.fail(f"based_on is {name!r}. {error}", ("based_on",))
    if base.path is not None and any(other.path and other.path.samefile(base.path) for other in above):
        file.fail(f"based_on is {name!r}, so that this style is based on itself; it should be another.", ("based_on",))
    return base


def _file_of(name_or_path: str | Path, folder: Folder) -> _File:
    """Find a shipped name or a file, and read it."""
    known = known_names(folder)
    name = str(name_or_path)
    if isinstance(name_or_path, str) and name in known:
        text = files("cuesuggest.rules.settings").joinpath(folder, f"{name}.toml").read_text("utf-8")
        return _File(f"{name}.toml", None, text, tomllib.loads(text))
    path = Path(name_or_path)
    if not os.path.exists(path):
        near = difflib.get_close_matches(name, known, 1)
        raise ProfileError(
            f"There is no {_KIND[folder]} or file called '{name}'. {f'Did you mean {near[0]}? ' if near else ''}"
            f"Known names: {', '.join(known)}; or give the path of a TOML file."
        )
    text = read_text(path, error=ProfileError)
    return _File(str(path), path, text, parse_toml(text, str(path), ProfileError))


def _is_in(table: Any, at: At) -> bool:
    """Whether a table has a key."""
    try:
        reduce(lambda inner, key: inner[key], at, table)
    except (KeyError, IndexError, TypeError):
        return False
    return True


def _line_number(text: str, at: At) -> int | None:
    """Find the line of a key that is in a file: the last beginning of it that is TOML by itself and lacks the key.

    Whatever way the key is written, as a line of a table, dotted, or inside brackets, the parser finds it. None where
    that would take long, as in a file that is one long value.
    """
    lines = text.split("\n")
    lacks, has = 0, len(lines)
    left = _MOST_PARSED
    while has - lacks > 1:
        middle = (lacks + has) // 2
        upper = middle
        for count in range(middle, has):
            beginning = "\n".join(lines[:count])
            left -= len(beginning)
            if left < 0:
                return None
            try:
                table = tomllib.loads(beginning)
            except tomllib.TOMLDecodeError:
                # In the middle of a value of several lines.
                continue
            if not _is_in(table, at):
                lacks, upper = count, has
            break
        has = upper
    return lacks + 1
