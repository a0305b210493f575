"""The command `correct`: one word from the user puts bars and form right, for good."""

from __future__ import annotations

import os
import re
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from cuesuggest.bounded import read_text
from cuesuggest.cli.editing import finish
from cuesuggest.cli.screen import echo
from cuesuggest.cli.shared import FILE, everywhere, load
from cuesuggest.cli.times import SECONDS, Number, seconds_of
from cuesuggest.score.bounds import FASTEST_STATED, MOST_BEATS_IN_BAR, SLOWEST_STATED

if TYPE_CHECKING:
    from cuesuggest.score.deeds import BeatSpeed
    from cuesuggest.song import Edit

__all__ = ["correct"]

_LIKE_A_FILE = re.compile(r"[^\s,;\"“„«「]+\.\w{1,4}")  # also where there is none: nobody calls a part so
_TEMPO = Number(SLOWEST_STATED, FASTEST_STATED)
_SHIFT = Number(-MOST_BEATS_IN_BAR, MOST_BEATS_IN_BAR)
_MOST_TAPS = 1024 * 1024  # bytes: twenty hours of bar lines, with a word beside each


@click.command()
@click.argument("document", metavar="DOC", type=FILE)
@click.option("--tempo", "bpm", type=_TEMPO, metavar="BPM", help="The felt beat has this tempo.")
@click.option("--half", "speed", flag_value="half", help="The beat is half as fast as heard.")
@click.option("--double", "speed", flag_value="double", help="The beat is twice as fast as heard.")
@click.option("--as-heard", "speed", flag_value="as-heard", help="The beat is as fast as heard.")
@click.option("--meter", metavar="N/D", help="Time signature, such as 6/8.")
@click.option(
    "--shift-bar", "shift", type=_SHIFT, metavar="BEATS", help="Bars start so many beats later; -1 is earlier."
)
@click.option("--swap", is_flag=True, help="Bars are half a bar off: the 3 is the 1.")
@click.option("--bar-one-at", "bar_one", type=SECONDS, metavar="TIME", help="Bar 1 starts at this time.")
@click.option("--downbeats", type=FILE, metavar="FILE", help="Bars start at these times, one a line.")
@click.option(
    "--starts", type=(str, int), metavar="SECTION BAR", help="A section, such as B2, starts at this bar of the song."
)
@click.option("--form", metavar="PARTS", help='Parts in order, as "intro 4, verse 8, chorus 8 x2"; or @FILE.')
@click.option("--from-bar", type=int, metavar="N", help="From this bar on, instead of everywhere.")
@click.option("--forget", is_flag=True, help="Take back everything that was stated.")
@everywhere
@click.pass_obj
def correct(
    obj: dict[str, Any],
    document: Path,
    bpm: float | None,
    speed: BeatSpeed | None,
    meter: str | None,
    shift: float | None,
    swap: bool,
    bar_one: float | None,
    downbeats: Path | None,
    starts: tuple[str, int] | None,
    form: str | None,
    from_bar: int | None,
    forget: bool,
) -> None:
    """State what you know better about tempo, bars and form.

    The song is heard anew under what you state, and the draft made anew around what you have decided. Several
    statements may be made at once; without any, those that hold are listed. All of it is kept when the song is
    suggested again, and taken back with: cuesuggest edit DOC undo
    """
    from cuesuggest.decide import statements
    from cuesuggest.decide.boundaries import section_starts
    from cuesuggest.decide.meant import find_section
    from cuesuggest.decide.telling import describe
    from cuesuggest.score.form_text import read_form
    from cuesuggest.song import SetCorrections, apply, change_all

    song = before = load(document)
    edits: list[Any] = []
    remarks: tuple[str, ...] = ()
    if bpm is not None and speed is not None:
        raise click.UsageError("Give either a tempo, or half, double or as heard.")
    if forget:
        edits.append(lambda song: SetCorrections(()))
    if bpm is not None:
        edits.append(lambda song: statements.tempo(song, bpm, from_bar))
    if speed is not None:
        edits.append(lambda song: statements.tempo_times(song, speed, from_bar))
    if meter is not None:
        edits.append(lambda song: statements.signature(song, meter, from_bar))
    if shift is not None:
        edits.append(lambda song: statements.bars_shifted(song, shift, from_bar))
    if swap:
        edits.append(lambda song: statements.halves_swapped(song, from_bar))
    if downbeats is not None:
        times = statements.read_times(read_text(downbeats, _MOST_TAPS), str(downbeats), seconds_of)
        edits.append(lambda song: statements.tapped(song, times))
    if bar_one is not None:
        edits.append(lambda song: statements.bar_one_at(song, bar_one))
    if starts is not None:
        word, bar = starts
        edits.append(lambda song: section_starts(song, find_section(song, word), bar))
    if form is not None:
        sheet = read_form(*_sheet(form))
        remarks = sheet.remarks
        edits.append(lambda song: statements.form(song, sheet.parts))
    if not edits:
        for line in statements.described(song.corrections) or ["Nothing was stated about this song yet."]:
            echo(line)
        return
    made: list[Edit] = []
    said = []
    song = before
    for make in edits:
        made.append(make(song))
        said.append(describe(song, made[-1]))
        song = apply(song, made[-1])
    obj["document"] = document
    finish(obj, before, change_all(before, made, by="command line"), [*said, *remarks])


def _sheet(form: str) -> tuple[str, str]:
    """Return the text of a form, and what to call it: it is given as such, or by the name of its file."""
    if form.startswith("@") or _LIKE_A_FILE.fullmatch(form) or os.path.isfile(form):
        path = Path(form.removeprefix("@"))
        return read_text(path), str(path)
    return form, "The form"
