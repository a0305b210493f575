"""The command `edit`: decisions by number and name, without the page."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, get_args

import click

from cuesuggest.cli.progress import progress
from cuesuggest.cli.screen import echo
from cuesuggest.cli.shared import FILE, everywhere, load, note_written
from cuesuggest.cli.times import SECONDS, Number
from cuesuggest.score.bounds import MOST_BEATS_IN_BAR, MOST_FADE_BEATS
from cuesuggest.score.records import Category, CueKind, Status

if TYPE_CHECKING:
    from cuesuggest.analysis.listen import Step
    from cuesuggest.draft.again.merge import Rerun
    from cuesuggest.draft.states import KeptStates
    from cuesuggest.score.records import Place
    from cuesuggest.song import Edit, HistoryEntry, Song

__all__ = ["BY", "CUES", "apply_edits", "edit", "finish", "place_of", "placed"]

BY = "command line"
_BEAT = Number(1, MOST_BEATS_IN_BAR + 1)
CUES = click.argument("cues", metavar="CUE...", nargs=-1, required=True)


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


def placed(command: Callable[..., None]) -> Callable[..., None]:
    """Give a command the options that name a place."""
    for option in (
        click.option("--at", type=SECONDS, metavar="TIME", help="The beat nearest to a time."),
        click.option("--section", metavar="SECTION", help="Count --bar from the start of this section."),
        click.option("--beat", type=_BEAT, default=1.0, show_default=True, metavar="N", help="1 is the downbeat."),
        click.option("--bar", type=int, metavar="N", help="Bar of the song, or of the section."),
    ):
        command = option(command)
    return command


def place_of(song: Song, bar: int | None, beat: float, section: str | None, at: float | None) -> Place:
    """Return the place that the options of `placed` name."""
    from cuesuggest.decide.meant import place_at

    if at is not None and (bar is not None or section is not None):
        raise click.UsageError("Give either a time with --at, or a bar.")
    return place_at(song, bar=bar, beat=beat, section=section, seconds=at)


def apply_edits(obj: dict[str, Any], edits: Callable[[Song], Sequence[Edit]]) -> None:
    """Make edits as one action, each told by itself, and save."""
    from cuesuggest.decide.telling import describe
    from cuesuggest.song import change_all

    song = load(obj["document"])
    made = tuple(edits(song))
    finish(obj, song, change_all(song, made, by=BY), [describe(song, edit) for edit in made])


def finish(obj: dict[str, Any], before: Song, song: Song, said: Sequence[str]) -> None:
    """Hear the song anew if need be, save, say what was done, and what does not go together since."""
    from cuesuggest.draft.settling import settled, work_of
    from cuesuggest.song import check_savable

    document = obj["document"]
    check_savable(document)
    work = work_of(before, song)
    with progress(f"{document.name}: {work}", quiet=obj["quiet"] or not work) as step:
        done = settled(before, song, document, step)
    _save(obj, before, *done, said)


def _save(obj: dict[str, Any], before: Song, song: Song, rerun: Rerun | None, said: Sequence[str]) -> None:
    from cuesuggest.draft.clashes import new_clashes
    from cuesuggest.draft.states import KeptStates, kept_folder

    document = obj["document"]
    clashes = new_clashes(before, song) if rerun is None else ()
    KeptStates(kept_folder(document)).keep_file(document, str(before.revision))
    song.save(document)
    note_written(document)
    if obj["quiet"]:
        return
    for sentence in said:
        echo(sentence[:1].upper() + sentence[1:] + ".")
    if rerun is not None:
        from cuesuggest.cli.report import analysis_summary

        for line in (*analysis_summary(song.analysis), *rerun.lines):
            echo(line)
        return
    for clash in clashes:
        echo(clash)


def _status(obj: dict[str, Any], cues: tuple[str, ...], status: Status) -> None:
    from cuesuggest.decide.meant import find_cues
    from cuesuggest.song import SetCue

    apply_edits(obj, lambda song: [SetCue(cue.id, {"status": status}) for cue in find_cues(song, cues)])


@edit.command()
@CUES
@everywhere
@click.pass_obj
def accept(obj: dict[str, Any], cues: tuple[str, ...]) -> None:
    """Keep cues as they are."""
    _status(obj, cues, "accepted")


@edit.command()
@CUES
@everywhere
@click.pass_obj
def reject(obj: dict[str, Any], cues: tuple[str, ...]) -> None:
    """Leave cues out; they are not suggested again."""
    _status(obj, cues, "rejected")


@edit.command()
@CUES
@everywhere
@click.pass_obj
def reopen(obj: dict[str, Any], cues: tuple[str, ...]) -> None:
    """Make cues suggestions again, which the next draft may change."""
    _status(obj, cues, "suggested")


@edit.command()
@CUES
@everywhere
@click.pass_obj
def lock(obj: dict[str, Any], cues: tuple[str, ...]) -> None:
    """Protect cues from any change."""
    from cuesuggest.decide.meant import find_cues
    from cuesuggest.song import SetCue

    apply_edits(obj, lambda song: [SetCue(cue.id, {"lock": True}) for cue in find_cues(song, cues)])


@edit.command()
@CUES
@everywhere
@click.pass_obj
def unlock(obj: dict[str, Any], cues: tuple[str, ...]) -> None:
    """Let locked cues be changed again."""
    from cuesuggest.decide.meant import find_cues
    from cuesuggest.song import SetCue

    apply_edits(obj, lambda song: [SetCue(cue.id, {"lock": False}) for cue in find_cues(song, cues)])


@edit.command()
@click.argument("cue")
@click.argument("percent", type=click.IntRange(0, 100))
@everywhere
@click.pass_obj
def level(obj: dict[str, Any], cue: str, percent: int) -> None:
    """Set how bright a cue goes, in percent."""
    from cuesuggest.decide.cue_edits import with_level
    from cuesuggest.decide.meant import find_cues

    apply_edits(obj, lambda song: [with_level(each, percent) for each in find_cues(song, (cue,))])


@edit.command()
@click.argument("cue")
@placed
@everywhere
@click.pass_obj
def move(obj: dict[str, Any], cue: str, bar: int | None, beat: float, section: str | None, at: float | None) -> None:
    """Move a cue to another beat."""
    from cuesuggest.decide.cue_edits import moved
    from cuesuggest.decide.meant import find_cues

    def edits(song: Song) -> list[Edit]:
        place = place_of(song, bar, beat, section, at)
        return [moved(song, each, place) for each in find_cues(song, (cue,))]

    apply_edits(obj, edits)


@edit.command("keep-place")
@CUES
@everywhere
@click.pass_obj
def keep_place(obj: dict[str, Any], cues: tuple[str, ...]) -> None:
    """Say that cues which came from another take are on their bar."""
    from cuesuggest.decide.cue_edits import place_kept
    from cuesuggest.decide.meant import find_cues

    apply_edits(obj, lambda song: [place_kept(song, find_cues(song, cues))])


@edit.command()
@click.argument("cue")
@click.argument("text")
@everywhere
@click.pass_obj
def note(obj: dict[str, Any], cue: str, text: str) -> None:
    """Write a note on a cue; an empty text takes it off."""
    from cuesuggest.decide.meant import find_cues
    from cuesuggest.song import SetCue

    apply_edits(obj, lambda song: [SetCue(each.id, {"note": text}) for each in find_cues(song, (cue,))])


@edit.command()
@click.argument("kind", type=click.Choice(get_args(CueKind)))
@placed
@click.option("--note", default="", metavar="TEXT", help="Words of your own; for a call, what is called.")
@click.option("--look", metavar="NAME", help="Look that it is about.")
@click.option("--side", metavar="NAME", help="Side of the rig.")
@click.option("--level", type=click.IntRange(0, 100), metavar="PERCENT")
@click.option("--beats", type=Number(0, MOST_FADE_BEATS), metavar="N", help="Length of the fade.")
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
    from cuesuggest.decide.cue_edits import added

    apply_edits(obj, lambda song: [added(song, kind, place_of(song, bar, beat, section, at), **details)])


@edit.command()
@CUES
@everywhere
@click.pass_obj
def remove(obj: dict[str, Any], cues: tuple[str, ...]) -> None:
    """Take out cues that you added."""
    from cuesuggest.decide.cue_edits import removed
    from cuesuggest.decide.meant import find_cues

    apply_edits(obj, lambda song: [removed(cue) for cue in find_cues(song, cues)])


@edit.command()
@click.argument("section")
@click.option("--name", metavar="TEXT", help='What you call it, such as "Chorus".')
@click.option("--first-words", metavar="TEXT", help="The words that it starts with.")
@click.option(
    "--vamp", metavar="SIGN", help='It goes round until this sign, such as "singer raises a hand"; "" ends that.'
)
@click.option(
    "--light", type=click.Choice(get_args(Category)), help="How much light it gets; the draft is made around it."
)
@click.option("--all", "repeats", is_flag=True, help="With --name or --light: every pass of the section.")
@everywhere
@click.pass_obj
def section(
    obj: dict[str, Any],
    section: str,
    name: str | None,
    first_words: str | None,
    vamp: str | None,
    light: Category | None,
    repeats: bool,
) -> None:
    """Name a section, note the words it starts with, mark it as a vamp, or decide how much light it gets."""
    from cuesuggest.decide.category import category_decided
    from cuesuggest.decide.change import Change
    from cuesuggest.decide.meant import find_section
    from cuesuggest.decide.quick import section_named
    from cuesuggest.decide.telling import describe
    from cuesuggest.song import SetSection
    from cuesuggest.song.edit_types import SectionChanges

    given = SectionChanges()
    if first_words is not None:
        given["first_words"] = first_words
    if vamp is not None:
        given["vamp"] = " ".join(vamp.split())
    if not given and name is None and light is None:
        raise click.UsageError("Give --name, --first-words, --vamp or --light.")
    if repeats and name is None and light is None:
        raise click.UsageError("--all goes with --name or --light: say what every pass is called, or how much it gets.")
    song = load(obj["document"])
    there = find_section(song, section)
    edits: list[Edit] = [SetSection(there.id, given)] if given else []
    if name is not None:
        edits += section_named(song, there, name, repeats=repeats).edits
    said = [describe(song, edit) for edit in edits]
    if light is not None:
        change = category_decided(song, there, light, repeats=repeats)
        edits += change.edits
        said.append(change.said)
    finish(obj, song, Change(tuple(edits), "; ".join(said)).made_in(song, by=BY), said)


@edit.command()
@click.argument("text")
@everywhere
@click.pass_obj
def title(obj: dict[str, Any], text: str) -> None:
    """Call the song something else."""
    from cuesuggest.song import SetTitle

    apply_edits(obj, lambda song: [SetTitle(text)])


@edit.command()
@click.argument("cue")
@everywhere
@click.pass_obj
def copy(obj: dict[str, Any], cue: str) -> None:
    """Put a cue at the same place of every other pass of its section, too."""
    from cuesuggest.decide.cue_edits import copied
    from cuesuggest.decide.meant import find_cues

    apply_edits(obj, lambda song: [new for each in find_cues(song, (cue,)) for new, _ in copied(song, each)])


@edit.command()
@click.argument("count", type=click.IntRange(min=1), default=1)
@everywhere
@click.pass_obj
def undo(obj: dict[str, Any], count: int) -> None:
    """Take back the last action, or the last COUNT."""
    from cuesuggest.draft.undo import taken_back

    _step(obj, count, taken_back, "taken back", lambda song: song.history)


@edit.command()
@click.argument("count", type=click.IntRange(min=1), default=1)
@everywhere
@click.pass_obj
def redo(obj: dict[str, Any], count: int) -> None:
    """Make the last action again that was taken back, or the last COUNT."""
    from cuesuggest.draft.undo import made_again

    _step(obj, count, made_again, "made again", lambda song: song.undone)


def _step(
    obj: dict[str, Any],
    count: int,
    move: Callable[[Song, Path, KeptStates, Step | None], tuple[Song, Rerun | None]],
    word: str,
    listed: Callable[[Song], Sequence[HistoryEntry]],
) -> None:
    from cuesuggest.decide.telling import action_text
    from cuesuggest.draft.states import KeptStates, kept_folder
    from cuesuggest.song.edits import last_action

    document = obj["document"]
    song = before = load(document)
    kept, rerun, said = KeptStates(kept_folder(document)), None, []
    for _ in range(count):
        entries = last_action(listed(song))
        told = action_text(song, entries) if entries else ""
        with progress(f"{document.name}: {word}", quiet=obj["quiet"]) as step:
            song, rerun = move(song, document, kept, step)
        said.append(f"{word}: {told}")
    _save(obj, before, song, rerun, said)


@edit.command()
@everywhere
@click.pass_obj
def history(obj: dict[str, Any]) -> None:
    """List the changes, the latest last."""
    from cuesuggest.decide.telling import entry_text

    song = load(obj["document"])
    for entry in song.history:
        when = entry.time.replace("T", " ").replace("Z", " UTC")
        echo(f"{entry.revision:>5}  {when}  {entry.by}: {entry_text(song, entry)}")
    if not song.history:
        echo("Nothing was changed yet.")
