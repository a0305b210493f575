"""Commands that take a song out of the program, and read back what went out."""

from __future__ import annotations

import math
import os
from collections.abc import Iterable, Mapping, Sequence
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from cuesuggest.bounded import read_bytes
from cuesuggest.cli.allowing import allowing
from cuesuggest.cli.screen import echo
from cuesuggest.cli.shared import FILE, everywhere, files_of, load, put_out, width
from cuesuggest.cli.times import Number
from cuesuggest.errors import CuesuggestError, DocumentError
from cuesuggest.gate_out import Target, check_targets
from cuesuggest.score.bounds import DAY

if TYPE_CHECKING:
    from cuesuggest.export import Format, Options
    from cuesuggest.export.common.timing import Timing
    from cuesuggest.song import Song

__all__ = ["export", "formats", "map_", "names_with_sound", "read", "remember", "sound_of"]

_OFFSET = Number(-DAY, DAY)
_MOST_READ = 512 * 2**20  # bytes: an hour and a half of linear timecode, or half an hour of a recording with marks
_RATES = ("24", "25", "29.97df", "29.97", "30")


@click.command()
@click.argument("documents", metavar="DOC...", type=FILE, nargs=-1, required=True)
@click.option("--to", "names", required=True, metavar="NAME[,NAME…]", help="Formats, see `cuesuggest formats`; or all.")
@click.option("-o", "--output", metavar="FILE|DIR/", help="Where to write; - is standard output.")
@click.option("--force", is_flag=True, help="Replace files that are there.")
@click.option("--offset", type=_OFFSET, metavar="SECONDS", help="How much later moments come than in the recording.")
@click.option("--landmark", metavar="PLACE=TIME", help='The same, by one place: "B1 bar 1 = 0:43.2".')
@click.option("--from-window", is_flag=True, help="The show starts where the song does in a longer recording.")
@click.option("--start-timecode", "start", metavar="HH:MM:SS:FF", help="Timecode at second 0; else 01:00:00:00.")
@click.option("--fps", type=click.Choice(_RATES), help="Frames a second of timecode; else 25.")
@click.option(
    "--map",
    "map_file",
    type=FILE,
    metavar="FILE.toml",
    help="Notes, channels … of your desk; `cuesuggest map` writes one.",
)
@allowing
@click.option("--mix", metavar="LEVELS", help='Levels in practice and show-audio: "song -6, click off".')
@click.option("--paper", type=click.Choice(["a4", "letter"]), default="a4", show_default=True, help="Size of pages.")
@click.option(
    "--font",
    "fonts",
    type=FILE,
    metavar="FILE",
    multiple=True,
    help="Typeface for letters that ours lacks. Several: one --font each.",
)
@click.option("--who", metavar="NAME", help="Whose list it is; the others' cues are told apart.")
@click.option("--plain", is_flag=True, help="For a volunteer: fewer actions, no lasers.")
@click.option("--changed", is_flag=True, help="Only if the song is not as it was at the last print.")
@everywhere
@click.pass_obj
def export(
    obj: dict[str, Any],
    /,
    documents: tuple[Path, ...],
    names: str,
    output: str | None,
    force: bool,
    map_file: Path | None,
    changed: bool,
    **given: Any,
) -> None:
    """Write a song document in other formats, beside it unless told otherwise.

    Several documents become one file for the tablet, in the order given: --to run -o evening.run.html. From then on
    the numbers of cues stay, since somebody may have them on paper.
    """
    from cuesuggest.export import chosen
    from cuesuggest.export import write as render
    from cuesuggest.export.common.desk_map import DeskMap, load_map
    from cuesuggest.song.printed import changes

    if len(documents) > 1:
        _export_several(documents, chosen(names), output, force, changed, given, told=not obj["quiet"])
        return
    (document,) = documents
    song = load(document)
    if changed and not changes(song).anything:
        echo(f"{document} is as it was at the last print; nothing was written.")
        return
    files = chosen(names)
    inputs = [*files_of(song, document), *([map_file] if map_file else []), *given["fonts"]]
    named = _named(document, output, [ending for _, ending in files])
    targets = check_targets(named, inputs, force=force, make_folder=True)
    map_ = DeskMap() if map_file is None else load_map(map_file)
    options = _options(song, document, map_, given, [form for form, _ in files])
    put_out(targets, (render(song, form, ending, options) for form, ending in files))
    remember(song, document, options.date, any(form.on_paper for form, _ in files))
    if not obj["quiet"] and targets[0].kind != "output":
        _tell(song, options, files, targets)


def _export_several(
    documents: tuple[Path, ...],
    files: list[tuple[Format, str]],
    output: str | None,
    force: bool,
    changed: bool,
    given: dict[str, Any],
    *,
    told: bool,
) -> None:
    """Write several songs as one file."""
    from cuesuggest.export import FORMATS, write_several
    from cuesuggest.export.common.desk_map import DeskMap
    from cuesuggest.score.records import counted
    from cuesuggest.song.printed import changes

    (form, ending), *more = files
    if more or not form.several:
        able = " or ".join(name for name, each in FORMATS.items() if each.several)
        raise CuesuggestError(
            f"{len(documents)} songs go into one file only with --to {able}. Export the others song by song."
        )
    if output is None or _is_folder(output):
        raise CuesuggestError(f"Say where the file for the {len(documents)} songs goes: -o evening{ending}.")
    if given["offset"] is not None or given["landmark"] is not None or given["from_window"]:
        raise CuesuggestError(
            "--offset, --landmark and --from-window belong to one recording. Leave them out for several songs."
        )
    songs = [load(document) for document in documents]
    if changed and not any(changes(song).anything for song in songs):
        echo("All songs are as they were at the last print; nothing was written.")
        return
    inputs = [file for song, document in zip(songs, documents, strict=True) for file in files_of(song, document)]
    (target,) = check_targets([Path(output)], inputs, force=force, make_folder=True)
    options = [
        _options(song, document, DeskMap(), dict(given), [form])
        for song, document in zip(songs, documents, strict=True)
    ]
    put_out([target], [write_several(list(zip(songs, options, strict=True)), form)])
    # A song that is played twice is remembered once.
    for document, (song, each) in dict(zip(documents, zip(songs, options, strict=True), strict=True)).items():
        remember(song, document, each.date, form.on_paper)
    if told and target.kind != "output":
        echo(f"Written: {target.named}, {counted(len(songs), 'song')}")


def remember(song: Song, document: Path, day: str, on_paper: bool) -> None:
    """Note in the document that its list has left it, and what of it is on paper now."""
    from cuesuggest.song.printed import freeze_numbers, note_print

    try:
        if on_paper:
            note_print(song, document, day)
        else:
            freeze_numbers(song, document)
    except DocumentError as error:
        echo(f"The cue numbers could not be frozen: {error}", err=True)


def _options(song: Song, document: Path, map_: Any, given: dict[str, Any], forms: list[Format]) -> Options:
    from cuesuggest import __version__
    from cuesuggest.export import Options
    from cuesuggest.export.common.mix import parse_mix
    from cuesuggest.export.common.timing import RATES, Timing, landmark_offset
    from cuesuggest.song.printed import changes

    marks = changes(song)
    offset, landmark, from_window = given.pop("offset"), given["landmark"], given["from_window"]
    if (offset is not None) + (landmark is not None) + from_window > 1:
        raise CuesuggestError(
            "--offset, --landmark and --from-window all say how the show's file runs. Give one of them."
        )
    if landmark is not None:
        offset = landmark_offset(song, landmark)
    elif from_window:
        offset = -song.recording.window.start
    fps, start, words = given.pop("fps"), given.pop("start"), given.pop("mix")
    mix = parse_mix(words) if words is not None else {}
    _check_mix(mix, forms)
    usual = Timing()
    timing = Timing(offset or 0.0, RATES[fps] if fps else usual.rate, usual.start if start is None else start)
    timing.rate.parse(timing.start)
    _check_left(song, timing)
    sounding = names_with_sound(forms)
    return Options(
        timing=timing,
        map=map_,
        date=date.today().isoformat(),
        program=__version__,
        sound=sound_of(song, document, sounding) if sounding else None,
        with_timecode=fps is not None or start is not None,
        mix=mix,
        changed=frozenset(marks.changed),
        removed=marks.removed,
        **given,
    )


def _check_mix(mix: Mapping[str, float], forms: list[Format]) -> None:
    """Refuse levels that nothing which is written has a use for, and files in which nothing is left to hear."""
    from cuesuggest.export import FORMATS

    mixed = {form.name: form.mixed for form in forms if form.mixed}
    if mix and not mixed:
        able = " and ".join(form.name for form in FORMATS.values() if form.mixed)
        raise CuesuggestError(f"--mix is about {able}, and neither is written here. Leave it out, or name one in --to.")
    for part in mix:
        if all(part not in parts for parts in mixed.values()):
            has = " ".join(f"{name} has {', '.join(parts)}." for name, parts in mixed.items())
            raise CuesuggestError(f"--mix names {part}, and nothing that is written has it. {has}")
    for name, parts in mixed.items():
        if all(mix.get(part) == -math.inf for part in parts):
            raise CuesuggestError(f"{', '.join(parts)} are all off: {name} would be silent. Leave one of them on.")


def _check_left(song: Song, timing: Timing) -> None:
    """Refuse a time of the show in which the song is over before it begins."""
    from cuesuggest.export.common.show_bars import song_end
    from cuesuggest.score.records import clock

    if timing.show(end := song_end(song)) <= 0:
        raise CuesuggestError(
            f"The song ends at {clock(end)} of its recording; with an offset of {timing.offset:g} s it is over before "
            "second 0 of the show, and nothing of it would be left. Give a smaller offset, or a later landmark."
        )


def names_with_sound(forms: Iterable[Format]) -> list[str]:
    """Name the formats that hold the recording's sound, once each."""
    return list(dict.fromkeys(form.name for form in forms if form.needs_sound))


def sound_of(song: Song, document: Path, names: Sequence[str]) -> Any:
    """Return the samples of a song's recording, if that is still the one that its document is about.

    `names` are the formats that hold its sound, to be told where it is gone.
    """
    from cuesuggest.song import path_to
    from cuesuggest.sound.samples import exact_sound

    path = path_to(document, song.recording.path)
    if not path.exists():
        hold = "hold" if len(names) > 1 else "holds"
        raise CuesuggestError(
            f"The recording {path}, which {document} is about, was not found, and {', '.join(names)} {hold} its sound. "
            "Put it back there, or leave that out of --to."
        )
    sound = exact_sound(path)
    if sound.recording.sha256 != song.recording.sha256:
        raise CuesuggestError(
            f"{sound.recording.path} is not the recording that {document} is about; its content has changed. "
            "Run `cuesuggest suggest` on it again, or put the old file back."
        )
    return sound


def _is_folder(output: str) -> bool:
    """Whether files go into what was named: a folder that is there, or one that a slash at the end asks for."""
    return os.path.isdir(output) or output.endswith(("/", os.sep))


def _named(document: Path, output: str | None, endings: list[str]) -> list[Path]:
    """Where each file goes: into a folder, or to the one name that was given."""
    from cuesuggest.sound.recording import DOCUMENT_SUFFIX

    stem = document.name.removesuffix(DOCUMENT_SUFFIX).removesuffix(".json")
    if output is not None and len(endings) == 1 and not _is_folder(output):
        return [Path(output)]
    if output == "-" or (output is not None and os.path.isfile(output)):
        raise CuesuggestError(
            f"{len(endings)} files are to be written, and {output} is one. Name a folder with -o, or one format."
        )
    folder = document.parent if output is None else Path(output)
    return [folder / (stem + ending) for ending in endings]


def _tell(song: Song, options: Options, files: list[tuple[Format, str]], targets: list[Target]) -> None:
    from cuesuggest.export import FORMATS, remarks
    from cuesuggest.export.common.timing import before_start

    for target, (form, _) in zip(targets, files, strict=True):
        echo(f"Written: {target.named}" + (" (experimental)" if form.experimental else ""))
    if any(form.plays for form, _ in files):
        _tell_waiting(song, options)
    if any(form.in_time for form, _ in files):
        for said in before_start(song, options.timing):
            echo(f"In files that run in time: {said}")
    for name in dict.fromkeys(form.name for form, _ in files):
        for sentence in remarks(song, FORMATS[name], options):
            echo(f"{name}: {sentence}")


def _tell_waiting(song: Song, options: Options) -> None:
    from cuesuggest.export.common.told import told
    from cuesuggest.score.records import counted

    cues = {each.cue.id: each.automatic for each in told(song, options)}
    waiting = sum(not automatic for automatic in cues.values())
    if waiting:
        wait = "waits" if waiting == 1 else "wait"
        echo(
            f"{waiting} of {counted(len(cues), 'cue')} {wait} for a person; in files that play by themselves that is a "
            "reminder, and no more."
        )


@click.command()
@everywhere
def formats() -> None:
    """Print what a song can be written as, and what each format loses."""
    import textwrap

    from cuesuggest.export import FORMATS

    for form in FORMATS.values():
        trial = " (experimental)" if form.experimental else ""
        line = f"{form.purpose}{trial}; {form.standard}. Lost: {form.loses}."
        head, room = f"{form.name:<15}", " " * 15
        echo(textwrap.fill(line, width(), initial_indent=head, subsequent_indent=room, break_on_hyphens=False))


@click.command(name="map")
@click.argument("document", metavar="DOC", type=FILE)
@click.option("-o", "--output", metavar="FILE.toml|DIR/", help="Where to write; - is standard output.")
@click.option("--force", is_flag=True, help="Replace a file that is there.")
@everywhere
@click.pass_obj
def map_(obj: dict[str, Any], /, document: Path, output: str | None, force: bool) -> None:
    """Write a map to start from: which note, channel or address each look and side of a song is.

    Change its numbers to those of your desk and give it to export or play, with --map.
    """
    from cuesuggest.export.common.desk_map import map_text

    song = load(document)
    named = _named(document, output, [".map.toml"])
    (target,) = check_targets(named, files_of(song, document), force=force, make_folder=True)
    put_out([target], [map_text(song).encode("utf-8")])
    if not obj["quiet"] and target.kind != "output":
        echo(f"Written: {target.named}")


@click.command()
@click.argument("file", metavar="FILE", type=FILE)
@everywhere
def read(file: Path) -> None:
    """Print the cues in a file that was exported: midi, msc, text-show, markers, csv; or its timecode."""
    from cuesuggest.export.common.escape import one_line
    from cuesuggest.export.read_back.reading import read_back
    from cuesuggest.score.records import clock, counted

    found = read_back(read_bytes(file, _MOST_READ), str(file))
    echo(f"{found.form}, {counted(len(found.cues), 'cue')}")
    for cue in found.cues:
        number = "" if cue.number is None else f"{cue.number:g}"
        time = "" if cue.seconds is None else clock(cue.seconds)
        by_hand = "by hand, " if cue.by_hand else ""
        echo(f"{number:>6}  {time:>8}  {by_hand}{one_line(cue.words)}")
    for remark in found.remarks:
        echo(remark)
