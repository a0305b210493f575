"""The command `split`: the songs of a long recording as a table, and a document for each."""

from __future__ import annotations

import os
import shlex
import sys
from collections.abc import Iterable, Sequence
from pathlib import Path
from textwrap import fill
from typing import TYPE_CHECKING, Any

import click

from cuesuggest.analysis.form import letter
from cuesuggest.cli.progress import progress
from cuesuggest.cli.screen import echo
from cuesuggest.cli.shared import FILE, everywhere, note_written, put_out, width
from cuesuggest.cli.times import SECONDS
from cuesuggest.errors import CuesuggestError, reason_of
from cuesuggest.gate_out import Target, check_targets
from cuesuggest.score.records import clock, counted
from cuesuggest.sound.recording import DOCUMENT_SUFFIX

if TYPE_CHECKING:
    from cuesuggest.draft.rehearsing import KnownSong, Rehearsal, SongAttempt

__all__ = ["split"]

_BLOCKS, _PLAIN = "▁▂▃▄▅▆▇█", "_.:-=+*#"  # eight heights of loudness, for terminals that have blocks, and for all


@click.command()
@click.argument("recording", metavar="RECORDING", type=FILE)
@click.option(
    "-o", "--output", type=FILE, metavar="DIR", help="Folder for the documents; beside the recording if left out."
)
@click.option("--songs", type=FILE, metavar="FOLDER", help="Documents of songs: say which of them each attempt is.")
@click.option("--profile", metavar="NAME|FILE", help="House style; band if left out.")
@click.option("--rig", metavar="NAME|FILE", help="What there is to play on; example if left out.")
@click.option("--from", "start", type=SECONDS, metavar="TIME", help="Start of the part to look at.")
@click.option("--to", "end", type=SECONDS, metavar="TIME", help="End of the part to look at.")
@click.option("--again", is_flag=True, help="Draft documents that are there once more, with your decisions kept.")
@click.option("--write-audio", is_flag=True, help="Also write each song as a sound file that loses nothing.")
@click.option("--force", is_flag=True, help="With --write-audio: replace sound files that are there.")
@everywhere
@click.pass_obj
def split(
    obj: dict[str, Any],
    recording: Path,
    output: Path | None,
    songs: Path | None,
    profile: str | None,
    rig: str | None,
    start: float | None,
    end: float | None,
    again: bool,
    write_audio: bool,
    force: bool,
) -> None:
    """Find the songs in a long recording, such as a rehearsal, and draft each.

    They are listed with start, end, length, tempo and loudness; attempts at one song have one letter, and the most
    complete of them a star. A document is written for each; it points into the recording, of which no copy is made. A
    document that is there already for the same part of the recording stays as it is. TIME is seconds (75.5) or minutes
    and seconds (1:15.5).
    """
    from cuesuggest.draft.order import Order
    from cuesuggest.draft.rehearsing import documents_in, known_songs, recognised, rehearsal_of, written_as
    from cuesuggest.sound.recording import Window

    if force and not write_audio:
        raise click.UsageError("--force is for --write-audio; documents that are there stay, or are drafted --again.")
    if recording.name.endswith(DOCUMENT_SUFFIX):
        raise CuesuggestError(f"{recording} is a document. Name the long recording itself.")
    order = Order(profile, rig)
    order.chosen()  # a style that is not there is told before an hour is listened to
    folder = _folder(output or recording.parent)
    if songs is not None and not songs.is_dir():
        raise CuesuggestError(f"{songs} is no folder. Give --songs a folder of documents.")
    quiet = obj["quiet"]
    with progress(click.format_filename(recording.name), quiet=quiet) as step:
        found = rehearsal_of(recording, Window(start or 0.0, end), step=step)
        known, wrong = known_songs(songs, found, step) if songs is not None else ([], [])
    if not found.attempts:
        echo(f"No song was found in {click.format_filename(recording)}. Nothing was written.")
        return
    places = documents_in(found, folder)
    targets = _audio_targets(found, places, force=force) if write_audio else []
    if not quiet:
        for line in _table(found, width()):
            echo(line)
    for k, (attempt, place) in enumerate(zip(found.attempts, places, strict=True)):
        with progress(click.format_filename(place.name), quiet=quiet) as step:
            made = written_as(found, attempt, place, order, again=again, step=step)
        if not made.was_there:
            note_written(made.path)
        if not quiet:
            echo(f"{k + 1:>3}  {click.format_filename(made.path)}{' (as it was)' if made.was_there else ''}")
            for line in made.lines:
                echo(fill(line, width(), initial_indent="     ", subsequent_indent="       "))
        if targets:
            _write_audio(found, attempt, targets[k])
    if quiet:
        return
    if songs is not None:
        with progress(click.format_filename(recording.name), quiet=quiet) as step:
            which = recognised(found, known, step)
        for line in [*wrong, *_offered(found, known, which, folder, songs)]:
            echo(line)
    echo(f"To go through them: {shlex.join(['cuesuggest', 'review', str(folder)])}")


def _folder(folder: Path) -> Path:
    if os.path.lexists(folder) and not folder.is_dir():
        raise CuesuggestError(f"{folder} is no folder. Give -o a folder; it is made if it is not there.")
    try:
        folder.mkdir(exist_ok=True)
    except OSError as error:
        raise CuesuggestError(f"{folder} cannot be made: {reason_of(error)}. Choose another with -o.") from None
    return folder


def _audio_targets(found: Rehearsal, places: Sequence[Path], *, force: bool) -> list[Target]:
    from cuesuggest.sound.parts_copied import copy_suffix

    suffix = copy_suffix(found.recording)
    named = [place.with_name(place.name.removesuffix(DOCUMENT_SUFFIX) + suffix) for place in places]
    return check_targets(named, [found.recording.path, *places], force=force)


def _write_audio(found: Rehearsal, attempt: SongAttempt, target: Target) -> None:
    from cuesuggest.sound.parts_copied import copied_part

    put_out([target], [copied_part(found.recording, attempt.window)])
    echo(f"     {click.format_filename(target.named)}")


def _table(found: Rehearsal, columns: int) -> Iterable[str]:
    blocks = _heights()
    head = f"{'':>3}  {'song':<7} {'start':>8} {'end':>8} {'length':>7} {'BPM':>5} {'LUFS':>6}"
    songs = counted(len({each.song for each in found.attempts}), "song")
    if any(each.of > 1 for each in found.attempts):
        yield f"{counted(len(found.attempts), 'attempt')} at {songs}; * has most of its song."
    else:
        yield f"{songs} found."
    yield f"{head}  loudness".rstrip()
    room = max(8, min(24, columns - len(head) - 2))
    for number, each in enumerate(found.attempts, 1):
        for begun, broken in each.false_starts:
            yield f"{'':>3}  {'':<7} {clock(begun):>8} {clock(broken):>8}  false start"
        mark = f"{letter(each.song - 1)}{each.number if each.of > 1 else ''}"
        star = " *" if each.complete and each.of > 1 else ""
        lufs = "" if each.lufs is None else f"{each.lufs:.1f}"
        tempo = each.analysis.tempo_bpm
        row = (
            f"{number:>3}  {mark + star:<7} {clock(each.start):>8} {clock(each.end):>8} "
            f"{clock(each.end - each.start)[:-2]:>7} {'' if tempo is None else f'{tempo:.0f}':>5} {lufs:>6}"
        )
        yield f"{row}  {_drawn(each.picture, blocks, room)}".rstrip()
    if found.fragments:
        spans = ", ".join(f"{clock(begin)} to {clock(end)}" for begin, end in found.fragments)
        yield from fill(f"Played too shortly for a song: {spans}.", columns, subsequent_indent="  ").split("\n")


def _heights() -> str:
    encoding = getattr(sys.stdout, "encoding", None) or "ascii"
    try:
        _BLOCKS.encode(encoding)
    except (LookupError, UnicodeEncodeError):
        return _PLAIN
    return _BLOCKS


def _drawn(picture: Sequence[float], heights: str, room: int) -> str:
    shown = picture if len(picture) <= room else [picture[k * len(picture) // room] for k in range(room)]
    return "".join(heights[min(int(each * len(heights)), len(heights) - 1)] for each in shown)


def _offered(
    found: Rehearsal, known: Sequence[KnownSong], which: Sequence[KnownSong | None], folder: Path, songs: Path
) -> Iterable[str]:
    """Say which song each attempt is, and how its cues are taken along to it."""
    if not known:
        yield f"There is no song of another recording in {click.format_filename(songs)} to compare with."
        return
    for number, (attempt, song) in enumerate(zip(found.attempts, which, strict=True), 1):
        if song is None:
            yield f"{number:>3}  is like none of the songs there."
            continue
        end = found.end if attempt.window.end is None else attempt.window.end
        words = (
            str(song.document),
            str(found.recording.path),
            "--from",
            clock(attempt.window.start),
            "--to",
            clock(end),
            "-o",
            str(folder / f"{found.recording.path.stem}-{number:02}-{song.document.name}"),
        )
        yield f"{number:>3}  is {song.title}. To take its cues along: {shlex.join(['cuesuggest', 'retime', *words])}"
