"""The command `doctor`: what works on this machine, what is wrong with a document, and which earlier states it has."""

from __future__ import annotations

import textwrap
from pathlib import Path

import click

from cuesuggest import __version__
from cuesuggest.cli.screen import echo
from cuesuggest.cli.shared import FILE, everywhere, note_written, width
from cuesuggest.errors import CuesuggestError, reason_of

__all__ = ["doctor"]

_VERDICTS = {"here": "", "lacking": "lacking", "stops": "STOPS"}


@click.command()
@click.argument("document", metavar="[DOC]", type=FILE, required=False)
@click.option("--clear-cache", is_flag=True, help="Remove what was kept of recordings that were heard, and no more.")
@click.option("--restore", metavar="STATE", help="Write an earlier state of DOC to a new file; needs -o.")
@click.option("-o", "--output", type=FILE, metavar="FILE", help="The new file.")
@everywhere
@click.pass_context
def doctor(
    context: click.Context, document: Path | None, clear_cache: bool, restore: str | None, output: Path | None
) -> None:
    """Tell what works on this machine, or what is wrong with a document.

    Without DOC: versions, what can be opened, where things are kept, and how to get what is missing. The exit code is 0
    if cue lists can be made, 1 if not.

    With DOC: what is wrong with it, and its earlier states that were kept. The exit code is 1 if anything is wrong.
    """
    if (restore is None) != (output is None):
        raise click.UsageError("--restore STATE and -o FILE go together.")
    if document is None:
        if restore is not None:
            raise click.UsageError("Name the document whose state is meant.")
        sound, lines = _cleared() if clear_cache else _machine()
    elif clear_cache:
        raise click.UsageError("The cache is that of all documents: give --clear-cache without one.")
    elif restore is not None and output is not None:
        sound, lines = _restored(document, restore, output)
    else:
        sound, lines = _document(document)
    if not context.obj["quiet"]:
        for line in lines:
            echo(line)
    context.exit(0 if sound else 1)


def _machine() -> tuple[bool, list[str]]:
    from cuesuggest.cli.machine import looked_at

    found = looked_at()
    able = all(each.verdict != "stops" for each in found)
    lines = [f"cuesuggest {__version__}"]
    for each in found:
        lines += _wrapped(each.text, f"{_VERDICTS[each.verdict]:<9}{each.topic:<11}")
    if not able:
        lines.append("Cue lists cannot be made here before what STOPS it is put right.")
    elif all(each.verdict == "here" for each in found):
        lines.append("Everything works here.")
    else:
        lines.append("Cue lists can be made here. What is lacking is needed for other things.")
    return able, lines


def _cleared() -> tuple[bool, list[str]]:
    from cuesuggest.cli.machine import size_text
    from cuesuggest.draft.cache import clear_cache
    from cuesuggest.draft.folders import cache_folder
    from cuesuggest.score.records import counted

    folder = cache_folder()
    if folder is None:
        return True, ["There is no cache folder, so nothing is kept."]
    try:
        count, size = clear_cache(folder)
    except OSError as error:
        raise CuesuggestError(
            f"The cache in {folder} cannot be removed: {reason_of(error)}. Check who may write there."
        ) from None
    return True, [f"Removed from {folder}: what was heard of {counted(count, 'recording')}, {size_text(size)}."]


def _document(document: Path) -> tuple[bool, list[str]]:
    from cuesuggest.draft.health import examined
    from cuesuggest.score.records import counted

    health = examined(document)
    lines = [line for finding in health.findings for line in _wrapped(finding, "")]
    if not lines:
        lines = [f"Nothing is wrong with {document}."]
    if health.states:
        lines += ["", "Earlier states of it, whole, the latest last:"]
        for state in health.states:
            song = state.song
            last = song.history[-1].by if song.history else "the draft"
            lines.append(
                f"  {state.name:<12}kept {state.kept:%Y-%m-%d %H:%M} UTC, {counted(len(song.cues), 'cue')}, "
                f"{counted(len(song.history), 'change')}, the last by {last}"
            )
        lines += _wrapped(
            f"To have one again, write it to a new file: cuesuggest doctor {document} --restore "
            f"{health.states[-1].name} -o NEW.cues.json",
            "",
        )
    else:
        lines.append("No other state of it is kept.")
    return not health.findings, lines


def _restored(document: Path, name: str, target: Path) -> tuple[bool, list[str]]:
    from cuesuggest.draft.health import restore
    from cuesuggest.score.records import counted

    song = restore(document, name, target)
    note_written(target)
    return True, [f"Written: {target}, {counted(len(song.cues), 'cue')}, as {document} was in state {name}."]


def _wrapped(text: str, head: str) -> list[str]:
    return textwrap.wrap(
        text,
        max(width(), 40),
        initial_indent=head,
        subsequent_indent=" " * len(head) if head else "  ",
        break_long_words=False,
        break_on_hyphens=False,
    )
