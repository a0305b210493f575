"""The command `edit`: decisions by number and name, without the page."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, get_args

import click

from cuesuggest.cli.shared import FILE, everywhere, load
from cuesuggest.cli.times import SECONDS
from cuesuggest.score.records import CueKind, Status

if TYPE_CHECKING:
    from cuesuggest.score.records import Place
    from cuesuggest.song import Edit, Song

__all__ = ["edit", "finish"]

_BY = "command line"
_CUES = click.argument("cues", metavar="CUE...", nargs=-1, required=True)


@click.group(subcommand_metavar="WHAT [ARGS]...")
@click.argument("document", metavar="DOC", type=FILE)
@everywhere
@click.pass_obj
def edit(obj: dict[str, Any], document: Path) -> None:
    """Decide about cues, name sections, take back.

    A CUE is a number of the list, such as 12 or 12.5, a range such as 12-15, or all (those that are still
    suggestions). A SECTION is a letter with its pass, such as B2, or a name that you gave. What is decided stays when
    the song is suggested again.

    For example: cuesuggest edit evening.cues.json accept 1-8
    """
    obj["document"] = document


def _placed(command: Callable[..., None]) -> Callable[..., None]:
    """Give a command the options that name a place."""
    for option in (
        click.option("--at", type=SECONDS, metavar="TIME", help="The beat nearest to a time."),
        click.option("--section", metavar="SECTION", help="Count --bar from the start of this section."),
        click.option("--beat", type=float, default=1.0, show_default=True, metavar="N", help="1 is the downbeat."),
        click.option("--bar", type=int, metavar="N", help="Bar of the song, or of the section."),
    ):
        command = option(command)
    return command


def _place(song: Song, bar: int | None, beat: float, section: str | None, at: float | None) -> Place:
    from cuesuggest.decide.decisions import place_at

    if at is not None and (bar is not None or section is not None):
        raise click.UsageError("Give either a time with --at, or a bar.")
    return place_at(song, bar=bar, beat=beat, section=section, seconds=at)


def _apply(obj: dict[str, Any], edits: Callable[[Song], Sequence[Edit]]) -> None:
    """Make edits and save."""
    from cuesuggest.decide.decisions import describe
    from cuesuggest.song import change

    song = before = load(obj["document"])
    said = []
    for each in edits(song):
        said.append(describe(song, each))
        song = change(song, each, by=_BY)
    finish(obj, before, song, said)


def finish(obj: dict[str, Any], before: Song, song: Song, said: Sequence[str]) -> None:
    """Hear the song anew if need be, save, say what was done, and what does not go together since."""
    from cuesuggest.draft.clashes import conflicts
    from cuesuggest.draft.settling import settled

    song, rerun = settled(before, song, obj["document"])
    song.save(obj["document"])
    if obj["quiet"]:
        return
    for sentence in said:
        click.echo(sentence[:1].upper() + sentence[1:] + ".")
    if rerun is not None:
        from cuesuggest.cli.report import analysis_summary

        for line in (*analysis_summary(song.analysis), *rerun.lines):
            click.echo(line)
        return
    known = set(conflicts(before))
    for problem in conflicts(song):
        if problem not in known:
            click.echo(f"This does not go together now: {problem}")


def _status(obj: dict[str, Any], cues: tuple[str, ...], status: Status) -> None:
    from cuesuggest.decide.decisions import find_cues
    from cuesuggest.song import SetCue

    _apply(obj, lambda song: [SetCue(cue.id, {"status": status}) for cue in find_cues(song, cues)])


@edit.command()
@_CUES
@everywhere
@click.pass_obj
def accept(obj: dict[str, Any], cues: tuple[str, ...]) -> None:
    """Keep cues as they are."""
    _status(obj, cues, "accepted")


@edit.command()
@_CUES
@everywhere
@click.pass_obj
def reject(obj: dict[str, Any], cues: tuple[str, ...]) -> None:
    """Leave cues out; they are not suggested again."""
    _status(obj, cues, "rejected")


@edit.command()
@_CUES
@everywhere
@click.pass_obj
def reopen(obj: dict[str, Any], cues: tuple[str, ...]) -> None:
    """Make cues suggestions again, which the next draft may change."""
    _status(obj, cues, "suggested")


@edit.command()
@_CUES
@everywhere
@click.pass_obj
def lock(obj: dict[str, Any], cues: tuple[str, ...]) -> None:
    """Protect cues from any change."""
    from cuesuggest.decide.decisions import find_cues
    from cuesuggest.song import SetCue

    _apply(obj, lambda song: [SetCue(cue.id, {"lock": True}) for cue in find_cues(song, cues)])


@edit.command()
@_CUES
@everywhere
@click.pass_obj
def unlock(obj: dict[str, Any], cues: tuple[str, ...]) -> None:
    """Let locked cues be changed again."""
    from cuesuggest.decide.decisions import find_cues
    from cuesuggest.song import SetCue

    _apply(obj, lambda song: [SetCue(cue.id, {"lock": False}) for cue in find_cues(song, cues)])


@edit.command()
@click.argument("cue")
@click.argument("percent", type=click.IntRange(0, 100))
@everywhere
@click.pass_obj
def level(obj: dict[str, Any], cue: str, percent: int) -> None:
    """Set how bright a cue goes, in percent."""
    from cuesuggest.decide.decisions import find_cues, with_level

    _apply(obj, lambda song: [with_level(each, percent) for each in find_cues(song, (cue,))])


@edit.command()
@click.argument("cue")
@_placed
@everywhere
@click.pass_obj
def move(obj: dict[str, Any], cue: str, bar: int | None, beat: float, section: str | None, at: float | None) -> None:
    """Move a cue to another beat."""
    from cuesuggest.decide.decisions import find_cues, moved

    def edits(song: Song) -> list[Edit]:
        place = _place(song, bar, beat, section, at)
        return [moved(song, each, place) for each in find_cues(song, (cue,))]

    _apply(obj, edits)


@edit.command()
@click.argument("cue")
@click.argument("text")
@everywhere
@click.pass_obj
def note(obj: dict[str, Any], cue: str, text: str) -> None:
    """Write a note on a cue; an empty text takes it off."""
    from cuesuggest.decide.decisions import find_cues
    from cuesuggest.song import SetCue

    _apply(obj, lambda song: [SetCue(each.id, {"note": text}) for each in find_cues(song, (cue,))])


@edit.command()
@click.argument("kind", type=click.Choice(get_args(CueKind)))
@_placed
@click.option("--do", "hand", required=True, metavar="TEXT", help="What the hand does, or what is called.")
@click.option("--look", metavar="NAME", help="Look that it is about.")
@click.option("--side", metavar="NAME", help="Side of the rig.")
@click.option("--level", type=click.IntRange(0, 100), metavar="PERCENT")
@click.option("--beats", type=click.FloatRange(min=0), metavar="N", help="Length of the fade.")
@click.option("--who", default="operator", show_default=True, metavar="NAME", help="Who does it.")
@everywhere
@click.pass_obj
def add(
    obj: dict[str, Any],
    /,
    kind: CueKind,
    bar: int | None,
    beat: float,
    section: str | None,
    at: float | None,
    **details: Any,
) -> None:
    """Add a cue of your own, with a number between its neighbours."""
    from cuesuggest.decide.decisions import added

    _apply(obj, lambda song: [added(song, kind, _place(song, bar, beat, section, at), **details)])


@edit.command()
@_CUES
@everywhere
@click.pass_obj
def remove(obj: dict[str, Any], cues: tuple[str, ...]) -> None:
    """Take out cues that you added."""
    from cuesuggest.decide.decisions import find_cues, removed

    _apply(obj, lambda song: [removed(cue) for cue in find_cues(song, cues)])


@edit.command()
@click.argument("section")
@click.option("--name", metavar="TEXT", help='What you call it, such as "Chorus".')
@click.option("--first-words", metavar="TEXT", help="The words that it starts with.")
@click.option(
    "--vamp", metavar="SIGN", help='It goes round until this sign, such as "singer raises a hand"; "" ends that.'
)
@everywhere
@click.pass_obj
def section(obj: dict[str, Any], section: str, name: str | None, first_words: str | None, vamp: str | None) -> None:
    """Name a section, note the words it starts with, or mark it as a vamp."""
    from cuesuggest.decide.decisions import find_section
    from cuesuggest.song import SetSection
    from cuesuggest.song.edit_types import SectionChanges

    given = SectionChanges()
    if name is not None:
        given["name"] = name
    if first_words is not None:
        given["first_words"] = first_words
    if vamp is not None:
        given["vamp"] = " ".join(vamp.split())
    if not given:
        raise click.UsageError("Give --name, --first-words or --vamp.")
    _apply(obj, lambda song: [SetSection(find_section(song, section).id, given)])


@edit.command()
@click.argument("text")
@everywhere
@click.pass_obj
def title(obj: dict[str, Any], text: str) -> None:
    """Call the song something else."""
    from cuesuggest.song import SetTitle

    _apply(obj, lambda song: [SetTitle(text)])


@edit.command()
@click.argument("count", type=click.IntRange(min=1), default=1)
@everywhere
@click.pass_obj
def undo(obj: dict[str, Any], count: int) -> None:
    """Take back the last change, or the last COUNT."""
    from cuesuggest.decide.decisions import describe
    from cuesuggest.song import undo as take_back

    song = before = load(obj["document"])
    said = []
    for _ in range(count):
        entry = song.history[-1] if song.history else None
        song = take_back(song)
        if entry:
            said.append(f"taken back: {describe(before, entry.edit)}")
    finish(obj, before, song, said)


@edit.command()
@click.argument("count", type=click.IntRange(min=1), default=1)
@everywhere
@click.pass_obj
def redo(obj: dict[str, Any], count: int) -> None:
    """Make the last change again that was taken back, or the last COUNT."""
    from cuesuggest.decide.decisions import describe
    from cuesuggest.song import redo as make_again

    song = before = load(obj["document"])
    said = []
    for _ in range(count):
        song = make_again(song)
        said.append(f"made again: {describe(song, song.history[-1].edit)}")
    finish(obj, before, song, said)


@edit.command()
@everywhere
@click.pass_obj
def history(obj: dict[str, Any]) -> None:
    """List the changes, the latest last."""
    from cuesuggest.decide.decisions import describe

    song = load(obj["document"])
    for entry in song.history:
        when = entry.time.replace("T", " ").replace("Z", " UTC")
        click.echo(f"{entry.revision:>5}  {when}  {entry.by}: {describe(song, entry.edit)}")
    if not song.history:
        click.echo("Nothing was changed yet.")
