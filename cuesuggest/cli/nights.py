"""The command `night`: a set list planned, changed at sound check, and taken out of the program."""

from __future__ import annotations

import os
import shlex
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from cuesuggest.cli.allowing import allowing
from cuesuggest.cli.screen import echo, wrapped
from cuesuggest.cli.shared import FILE, everywhere, files_of, put_out, width
from cuesuggest.errors import CuesuggestError
from cuesuggest.gate_out import check_targets
from cuesuggest.score.night_records import CEILINGS

if TYPE_CHECKING:
    from collections.abc import Callable

    from cuesuggest.export import Format, Options
    from cuesuggest.export.common.desk_map import DeskMap
    from cuesuggest.night.the_set import OpenNight
    from cuesuggest.night.whole_night import ToldOfSong
    from cuesuggest.score.night_records import NightPlan
    from cuesuggest.song import Song

__all__ = ["night"]

_WIDEST = 100  # columns; longer lines are hard to read


@click.command()
@click.argument("file", metavar="[NIGHT.toml]", type=FILE, required=False)
@click.option("--new", "folder", type=FILE, metavar="FOLDER", help="Write a commented night of a folder's documents.")
@click.option("--without", multiple=True, metavar="WHAT", help="strobe, laser, lamp, one-shot, or a side: side-b.")
@click.option("--ceiling", type=click.IntRange(*CEILINGS), metavar="PERCENT", help="No look goes above this level.")
@click.option("--no-haze", is_flag=True, help="There is no haze: looks are built on a wall or a curtain.")
@click.option("--rig", metavar="NAME|FILE", help="Play on another rig, such as a spare one.")
@click.option("--volunteer", is_flag=True, help="Somebody plays who does it once a week.")
@click.option("--restrain", is_flag=True, help="Keep the night's biggest look for the songs in which it counts.")
@click.option("--drop", multiple=True, metavar="SONG", help='A song is not played tonight: its title, or "song 4".')
@click.option("--undo", is_flag=True, help="Take back the last change of all songs.")
@click.option("--to", "names", metavar="NAME[,NAME…]", help="Write the night in these formats.")
@click.option("-o", "--output", type=FILE, metavar="DIR", help="Folder to write to; that of the night if left out.")
@click.option("--force", is_flag=True, help="Replace files that are there.")
@click.option("--map", "map_file", type=FILE, metavar="FILE.toml", help="Notes, channels … of your desk.")
@allowing
@click.option("--paper", type=click.Choice(["a4", "letter"]), default="a4", show_default=True, help="Size of pages.")
@click.option("--font", "fonts", type=FILE, metavar="FILE", multiple=True, help="Typeface for signs that ours lacks.")
@click.option("--who", metavar="NAME", help="Whose pages they are.")
@click.option("--plain", is_flag=True, help="For a volunteer: fewer actions, no lasers.")
@everywhere
@click.pass_obj
def night(obj: dict[str, Any], /, file: Path | None, folder: Path | None, names: str | None, **given: Any) -> None:
    """Plan a night: songs in order, numbered, with looks that they share and what lies between them.

    NIGHT.toml names the songs' documents in order; --new writes one to start from. Without options the plan is
    printed. --without, --ceiling, --no-haze, --rig, --volunteer, --restrain and --drop change all songs at once, as
    edits that are said song by song; what was decided stays, and --undo takes all of it back.
    """
    changing = bool(
        given["without"] or given["ceiling"] or given["no_haze"] or given["rig"] or given["volunteer"]
        or given["restrain"] or given["drop"]
    )  # fmt: skip
    if sum((folder is not None, changing, given["undo"], names is not None)) > 1:
        raise click.UsageError("Do one thing at a time: --new, changes, --undo, or --to.")
    if names is None and (given["output"] or given["map_file"]):
        raise click.UsageError("-o and --map are for what --to writes: add a format, such as --to page.")
    if folder is not None:
        _new(obj, file, folder, force=given["force"])
        return
    if file is None:
        raise click.UsageError("Name a night (NIGHT.toml), or write one with --new FOLDER.")
    from cuesuggest.night.the_set import open_night

    _check_night(file)
    if given["undo"]:
        from cuesuggest.night.whole_night import undo_night

        said, told = undo_night(file)
        _tell(obj, told, f"Taken back: {said}.")
        return
    opened = open_night(file)
    if names is not None:
        _write(obj, opened, names, given)
    elif changing:
        _change(obj, opened, given)
    else:
        from cuesuggest.cli.night_report import night_text

        echo(night_text(opened.plan(), min(width(), _WIDEST)), nl=False)


def _check_night(file: Path) -> None:
    """Refuse what is easily taken for a set list, before it is read as one."""
    from cuesuggest.sound.recording import DOCUMENT_SUFFIX

    if os.path.isdir(file):
        raise CuesuggestError(
            f"{file} is a folder. Name the night in it (NIGHT.toml), or write one: cuesuggest night --new "
            f"{shlex.quote(str(file))}"
        )
    if file.name.endswith(DOCUMENT_SUFFIX):
        raise CuesuggestError(
            f"{file} is the document of one song. A night names the documents of several in a file of its own: write "
            f"one with cuesuggest night --new {shlex.quote(str(file.parent))}"
        )


def _new(obj: dict[str, Any], file: Path | None, folder: Path, *, force: bool) -> None:
    """Write a set list of the documents in a folder, in the order of their names."""
    from cuesuggest.cli.inputs import documents
    from cuesuggest.night.the_set import new_set_list
    from cuesuggest.song import Song, path_from

    if not os.path.isdir(folder):
        raise CuesuggestError(f"{folder} is no folder. Name the folder in which the documents of the songs lie.")
    named = file or folder / "night.toml"
    found = [document for document in documents([folder]) if os.path.exists(document)]
    if not found:
        raise CuesuggestError(f"{folder} has no documents yet. Draft its songs first: cuesuggest suggest {folder}")
    (target,) = check_targets([named], found, force=force)
    title = Path(os.path.abspath(folder)).name
    text = new_set_list(title, [(path_from(named, each), Song.load(each).title) for each in found])
    put_out([target], [text.encode()])
    if not obj["quiet"] and target.kind != "output":
        echo(f"Written: {target.named}")


def _change(obj: dict[str, Any], opened: OpenNight, given: dict[str, Any]) -> None:
    from cuesuggest.night.sound_check import Wanted
    from cuesuggest.night.whole_night import change_night
    from cuesuggest.rules import load_rig

    wanted = Wanted(
        without=given["without"],
        ceiling=given["ceiling"],
        no_haze=given["no_haze"],
        rig=None if given["rig"] is None else load_rig(given["rig"]),
        volunteer=given["volunteer"],
    )
    told = change_night(opened, wanted, restrain=given["restrain"], drop=given["drop"])
    changed = any(song.changed for song in told)
    back = f"Take all of it back with: cuesuggest night {shlex.quote(str(opened.file))} --undo"
    _tell(obj, told, back if changed else "Nothing was changed.")


def _tell(obj: dict[str, Any], told: list[ToldOfSong], last: str) -> None:
    if obj["quiet"]:
        return
    columns = min(width(), _WIDEST)
    lines: list[str] = []
    for song in told:
        number = f"{song.number:>3}  " if song.number else "     "
        lines += wrapped(song.title, columns, number, "     ")
        for line in song.lines:
            lines += wrapped(line, columns, "     ", "       ")
    echo("\n".join([*lines, last]))


def _write(obj: dict[str, Any], opened: OpenNight, names: str, given: dict[str, Any]) -> None:
    """Write the night: one file of live pages, one for the tablet, and of other formats one for each song."""
    from cuesuggest.cli.exporting import names_with_sound
    from cuesuggest.export import chosen
    from cuesuggest.export.common.desk_map import DeskMap, load_map
    from cuesuggest.night.as_played import as_played, options_of
    from cuesuggest.night.desk_numbers import over_the_night
    from cuesuggest.rules import rig_from_values

    plan = opened.plan()
    files = chosen(names)
    map_file = given["map_file"]
    sides = [side.name for song in opened.songs for side in rig_from_values(song.rig.values).sides]
    numbers = over_the_night(DeskMap() if map_file is None else load_map(map_file), plan, sides)
    stem = opened.file.name.removesuffix(".toml")
    folder = given["output"] or opened.file.parent
    made: list[tuple[str, Callable[[], bytes]]] = []
    songs: list[tuple[Song, Options]] = []
    sounding = names_with_sound(form for form, _ in files)
    for index, (place, song) in enumerate(zip(plan.songs, opened.songs, strict=True)):
        document = opened.places[index].document
        own = _options(song, document, numbers, given, sounding)
        songs.append((as_played(song, place, plan), options_of(own, place, plan, index)))
    for form, ending in files:
        made += _made(form, ending, stem, opened, plan, songs)
    inputs = [opened.file, *([map_file] if map_file else []), *given["fonts"]]
    for each, song in zip(opened.places, opened.songs, strict=True):
        inputs += files_of(song, each.document)
    targets = check_targets([folder / name for name, _ in made], inputs, force=given["force"], make_folder=True)
    put_out(targets, (make() for _, make in made))
    _remember(opened, any(form.on_paper for form, _ in files))
    if not obj["quiet"]:
        for target in targets:
            echo(f"Written: {target.named}")


def _made(
    form: Format, ending: str, stem: str, opened: OpenNight, plan: NightPlan, songs: list[tuple[Song, Options]]
) -> list[tuple[str, Callable[[], bytes]]]:
    """Return the files of a format, each with what makes it: one of the night where there is such, else one a song."""
    from functools import partial

    from cuesuggest.export import write
    from cuesuggest.night.one_file import one_file
    from cuesuggest.sound.recording import DOCUMENT_SUFFIX

    if (whole := one_file(form, ending, plan, songs)) is not None:
        return [(stem + ending, whole)]
    return [
        (
            f"{place.number:02d} {place.document.name.removesuffix(DOCUMENT_SUFFIX)}{ending}",
            partial(write, song, form, ending, options),
        )
        for place, (song, options) in zip(opened.places, songs, strict=True)
    ]


def _options(song: Song, document: Path, numbers: DeskMap, given: dict[str, Any], sounding: list[str]) -> Options:
    from cuesuggest import __version__
    from cuesuggest.cli.exporting import sound_of
    from cuesuggest.export import Options
    from cuesuggest.song.printed import changes

    marks = changes(song)
    return Options(
        map=numbers,
        date=date.today().isoformat(),
        program=__version__,
        sound=sound_of(song, document, sounding) if sounding else None,
        allow_auto=given["allow_auto"],
        paper=given["paper"],
        fonts=given["fonts"],
        who=given["who"],
        plain=given["plain"],
        changed=frozenset(marks.changed),
        removed=marks.removed,
    )


def _remember(opened: OpenNight, on_paper: bool) -> None:
    """Note in each document that its list has left it: from now on its numbers stay."""
    from cuesuggest.cli.exporting import remember

    for document, song in {p.document: s for p, s in zip(opened.places, opened.songs, strict=True)}.items():
        remember(song, document, date.today().isoformat(), on_paper)
