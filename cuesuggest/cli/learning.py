"""The command `learn`: what was decided in several songs, as numbers of a house style; nothing without a yes."""

from __future__ import annotations

import os
import shlex
import sys
from collections.abc import Mapping, Sequence
from pathlib import Path
from textwrap import fill
from typing import TYPE_CHECKING, Any

import click

from cuesuggest.cli.inputs import documents
from cuesuggest.cli.progress import progress
from cuesuggest.cli.screen import echo, wrapped
from cuesuggest.cli.shared import FILE, everywhere, load, put_out, width
from cuesuggest.errors import CuesuggestError
from cuesuggest.gate_out import Target, check_targets
from cuesuggest.score.records import counted

if TYPE_CHECKING:
    from cuesuggest.draft.taste.lessons import Learned, Lesson
    from cuesuggest.rules import Profile

__all__ = ["learn", "style_text"]

_INDENT = "   "
_COMMENT = 100  # columns of a comment in a file that is written


@click.command()
@click.argument("named", metavar="DOC|FOLDER...", nargs=-1, required=True, type=FILE)
@click.option(
    "--profile",
    default="band",
    show_default=True,
    metavar="NAME|FILE",
    help="The house style that the songs were drafted in.",
)
@click.option("-o", "--output", type=FILE, metavar="OUT", help="House style to write, such as mine.toml.")
@click.option("--yes", is_flag=True, help="Take everything that is proposed, without being asked.")
@click.option("--force", is_flag=True, help="Replace a file that is there, but never what is worked from.")
@everywhere
@click.pass_obj
def learn(
    obj: dict[str, Any], named: tuple[Path, ...], profile: str, output: Path | None, yes: bool, force: bool
) -> None:
    """Learn a house style from songs that you have gone through.

    What was suggested is compared with what you kept, changed, rejected and added, song by song. What you do again and
    again is proposed as numbers of the style, each with what speaks for it. Nothing is written without -o, and nothing
    that you have not said yes to: on a terminal you are asked, elsewhere say --yes. It takes six songs or more.
    """
    from cuesuggest.draft.taste.chance import FEWEST_SONGS
    from cuesuggest.draft.taste.lessons import learned, songs_to_learn_from
    from cuesuggest.rules import load_profile
    from cuesuggest.rules.settings.settings_file import style_files

    base = load_profile(profile)
    places = [place for place in documents(named) if os.path.exists(place)]
    targets = check_targets([output], [*places, *style_files(profile)], force=force) if output else []
    # What is proposed is read, and the style is written, to different places.
    to_screen = any(target.kind == "output" for target in targets)
    songs, left_out = songs_to_learn_from({click.format_filename(each.name): load(each) for each in places}, base)
    if not obj["quiet"]:
        _say([f"Left out: {line}" for line in left_out], err=to_screen)
    if len(songs) < FEWEST_SONGS:
        here = counted(len(songs), "such song") if songs else "none"
        raise CuesuggestError(
            f"It takes {FEWEST_SONGS} songs that were drafted in {base.name} and gone through to tell a habit from "
            f"chance; here {'are' if len(songs) > 1 else 'is'} {here}. "
            "Nothing was written."
        )
    with progress(f"Drafting {counted(len(songs), 'song')} again and again", quiet=obj["quiet"]):
        found = learned(songs, base)
    if not obj["quiet"]:
        _say(_told(found, base), err=to_screen)
    if not found.lessons or not targets:
        return
    lessons = found.lessons if yes else _asked(found.lessons)
    if not lessons:
        echo("Nothing was written.", err=True)
        return
    put_out(targets, [_style_file(lessons, found, base, profile, target).encode() for target in targets])
    if not obj["quiet"] and not to_screen:
        # Unbroken, however long: it may be copied.
        echo(f"Written: {click.format_filename(targets[0].named)}")
        echo(f"Use it with: cuesuggest suggest SONG --profile {shlex.quote(str(targets[0].named))}")


def _say(lines: Sequence[str], *, err: bool) -> None:
    for line in lines:
        start = line[: len(line) - len(line.lstrip())]
        echo(fill(line.strip(), width(), initial_indent=start, subsequent_indent=start), err=err)


def _told(found: Learned, base: Profile) -> list[str]:
    """Say what was found, lesson by lesson."""
    lines = [f"Compared with what {base.name} suggests: {counted(len(found.songs), 'song')} that you went through."]
    for number, lesson in enumerate(found.lessons, 1):
        lines += [
            "",
            f"{number}. {lesson.about} ({lesson.strength})",
            f"{_INDENT}{lesson.evidence}",
            *(f"{_INDENT}{line}" for line in _changes(lesson)),
            f"{_INDENT}{_weight(lesson)}",
        ]
    if found.lessons:
        lines += [
            "",
            f"All of it together: drafts of songs left out need {found.after} repairs in the new style, where the old "
            f"one needs {found.before}. A repair is one thing to put right: a section's light, a press, a length, a "
            "level, a look's colours. Each song was drafted with what the others taught.",
        ]
    else:
        lines += ["", "Nothing to learn was found: what you changed, you changed for the sake of single songs."]
    if found.notes:
        lines += ["", "Seen as well, and left as it is:", *(f"{_INDENT}{note}" for note in found.notes)]
    return lines


def _changes(lesson: Lesson) -> list[str]:
    from cuesuggest.draft.taste.style_numbers import unit_of

    return [f"{key}: {lesson.now[key]:g} becomes {value:g} ({unit_of(key)})." for key, value in lesson.then.items()]


def _weight(lesson: Lesson) -> str:
    chance = f"about one case in {round(1 / lesson.chance)}"
    return (
        f"Chance alone would bring that about in {chance}. Drafts of songs left out need {lesson.after} repairs with "
        f"it, {lesson.before} without."
    )


def _asked(lessons: Sequence[Lesson]) -> list[Lesson]:
    """Ask for each lesson whether it is to be taken."""
    if not (sys.stdin.isatty() and sys.stderr.isatty()):
        raise CuesuggestError(
            "Nothing was written: nobody is there to be asked. To take all that is proposed, add --yes."
        )
    return [
        lesson
        for number, lesson in enumerate(lessons, 1)
        if click.confirm(f"Take {number} ({lesson.about})?", err=True, default=False)
    ]


def _style_file(lessons: Sequence[Lesson], found: Learned, base: Profile, profile: str, target: Target) -> str:
    """Write the lessons that were taken as a style on top of the base."""
    from cuesuggest.rules import known_names

    based_on = profile if profile in known_names("profiles") else _way_to(Path(profile), target)
    numbers = {key: value for lesson in lessons for key, value in lesson.then.items()}
    reasons = {
        key: f"{lesson.about} ({lesson.strength}): {lesson.evidence}" for lesson in lessons for key in lesson.then
    }
    about = f"As {base.name}, with what {counted(len(found.songs), 'song')} taught."
    return style_text(based_on, about, numbers, reasons)


def style_text(based_on: str, about: str, numbers: Mapping[str, float], reasons: Mapping[str, str]) -> str:
    """Write a style that differs from another in some numbers, as its file.

    Parameters
    ----------
    based_on : str
        Name or path of the other.
    about : str
    numbers : mapping of str to float
        By key.
    reasons : mapping of str to str
        By key, what is written above the number; a reason that several share is written once.
    """
    from cuesuggest.draft.taste.style_numbers import place_of
    from cuesuggest.export.common.escape import one_line, toml_string

    lines = [f"based_on = {toml_string(based_on)}", f"about = {toml_string(about)}"]
    tables: dict[str, list[str]] = {}
    for key in sorted(numbers, key=place_of):
        table, _, name = key.rpartition(".")
        tables.setdefault(table, []).append(name)
    said = ""
    for table, names in tables.items():
        lines += ["", f"[{table}]"]
        for name in names:
            reason = reasons[f"{table}.{name}"]
            if reason != said:
                lines += wrapped(one_line(reason), _COMMENT, "# ", "# ")
            said = reason
            lines.append(f"{name} = {numbers[f'{table}.{name}']:g}")
    return "\n".join(lines) + "\n"


def _way_to(base: Path, target: Target) -> str:
    """Return the path of the base from where the new style lies, so that both can be moved together."""
    folder = Path.cwd() if target.kind == "output" else target.place.parent
    try:
        # With a dot before it, a file is never taken for a shipped style of the same name.
        return f"./{Path(os.path.relpath(os.path.realpath(base), folder)).as_posix()}"
    except ValueError:  # on another drive
        return Path(os.path.realpath(base)).as_posix()
