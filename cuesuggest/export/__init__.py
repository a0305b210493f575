"""What leaves the program: one module per format, all in one registry.

A format reads a Song and the options of the export, nothing else; it knows neither audio nor rules. Its functions are
imported when they are called, so that looking into the registry costs nothing.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from importlib import import_module
from typing import TYPE_CHECKING, Any

from cuesuggest.errors import CuesuggestError
from cuesuggest.export.common.options import Options

if TYPE_CHECKING:
    from cuesuggest.song import Song

__all__ = ["FORMATS", "Format", "Options", "chosen", "export", "remarks", "write", "write_several"]


@dataclass(frozen=True, slots=True)
class Format:
    """One way to write a song for another program or for paper."""

    name: str
    purpose: str
    """One line: what it is good for."""
    standard: str
    """The published text that it follows."""
    loses: str
    """What the document holds and this format does not."""
    files: Mapping[str, str]
    """What is written: the ending that follows the song's name, to "module:function" in this package.

    The function takes the Song and the Options and returns bytes.
    """
    experimental: bool = False
    """True as long as no independent reader has read it; the file says so too."""
    needs_sound: bool = False
    """True if it is made from the recording's samples."""
    several: str = ""
    """The function that writes several songs as one file, as "module:function"; empty if none can.

    It takes pairs of a Song and its Options, in the order in which they are played.
    """
    on_paper: bool = False
    """True if people hold it in their hands: the next print marks what has changed since."""
    mixed: tuple[str, ...] = ()
    """The parts whose levels can be chosen."""
    in_time: bool = False
    """True if its cues come in the show's time: it has no room for those before second 0."""
    plays: bool = False
    """True if machines act by it: what waits for a person is a reminder in it, and no more."""
    remarks: str = ""
    """What says which parts of a song it has no room for, as "module:function"; it gives sentences."""


_TABLE_LOSES = "the analysis, the looks' descriptions, the plan, questions, rejected cues and the history"

FORMATS: dict[str, Format] = {
    each.name: each
    for each in (
        Format(
            name="page",
            purpose="the live page: one side of paper beside the faders, right whatever the band plays",
            standard="PDF (ISO 32000), HTML",
            loses="times, reasons, what does not fit on one side; the page names the cues that are on the list only",
            files={".page.pdf": "paper.page_pdf:pdf", ".page.html": "paper.html_pages:page_html"},
            on_paper=True,
        ),
        Format(
            name="list",
            purpose="the full cue list on paper, for rehearsal and stand-by calls",
            standard="PDF (ISO 32000), HTML",
            loses="reasons, confidence, the plan, rejected cues and the history",
            files={".list.pdf": "paper.list_pdf:pdf", ".list.html": "paper.html_pages:list_html"},
            on_paper=True,
        ),
        Format(
            name="run",
            purpose="one file for a tablet that leads through a song, or several, by touch, without network",
            standard="HTML",
            loses="the analysis, reasons, rejected cues and the history",
            files={".run.html": "paper.run_html:html"},
            several="paper.run_html:several",
        ),
        Format(
            name="chart",
            purpose="the song written down like music, the light below it, for the wall and for talking it through",
            standard="PDF (ISO 32000), SVG 1.1, PNG (ISO/IEC 15948)",
            loses="reasons, notes, exact times, rejected cues and the history",
            files={
                ".chart.pdf": "paper.chart_pdf:pdf",
                ".chart.svg": "paper.chart_svg:svg",
                ".chart.png": "paper.chart_pdf:png",
            },
        ),
        Format(
            name="xlsx",
            purpose="the cue list as a workbook, for every spreadsheet, whichever its decimal sign",
            standard="Office Open XML (ECMA-376)",
            loses=_TABLE_LOSES,
            files={".cues.xlsx": "data.workbook:write"},
        ),
        Format(
            name="csv",
            purpose="the cue list as a table, for scripts, and for spreadsheets where the point is the decimal sign",
            standard="RFC 4180",
            loses=_TABLE_LOSES,
            files={".cues.csv": "data.csv_table:write"},
        ),
        Format(
            name="csv-semicolon",
            purpose="the same table for spreadsheets where the comma is the decimal sign, semicolons between",
            standard="RFC 4180 but for the semicolons",
            loses=_TABLE_LOSES,
            files={".semicolon.csv": "data.csv_table:write_with_semicolons"},
        ),
        Format(
            name="midi",
            purpose="bars, sections and cues in a sequencer; notes and controllers for what may play by itself",
            standard="Standard MIDI File 1.0, format 1",
            loses="reasons, cautions, notes; letters outside ASCII; levels finer than 1 in 127",
            files={".mid": "desk.midi:write"},
            plays=True,
            in_time=True,
        ),
        Format(
            name="msc",
            purpose="GO from a sequencer for every cue that may play by itself, in time with the song",
            standard="MIDI Show Control 1.0 (RP-002)",
            loses="looks, levels, fades (but for timed GO), reasons, notes; letters outside ASCII",
            files={".msc.mid": "desk.show_control:write"},
            plays=True,
            experimental=True,
            in_time=True,
        ),
        Format(
            name="timecode",
            purpose="timecode as sound, to run beside the recording, and as MIDI messages, to go to a place",
            standard="SMPTE ST 12-1 linear timecode; MIDI Time Code, full-frame messages",
            loses="the cues; in MIDI the quarter frames that a receiver runs by",
            files={".ltc.wav": "desk.timecode:write_linear", ".mtc.mid": "desk.timecode:write_midi"},
        ),
        Format(
            name="practice",
            purpose="the song with a click and a count into every cue, to practise by ear; and both without the song",
            standard="RIFF WAVE",
            loses="words, looks, levels and fades: tones tell the kind, the side and the moment",
            files={".practice.wav": "desk.practice:write_mixed", ".count.wav": "desk.practice:write_alone"},
            needs_sound=True,
            remarks="desk.counting:cut_short",
            mixed=("song", "click", "count"),
            in_time=True,
        ),
        Format(
            name="show-audio",
            purpose="the song left and timecode right, for a player of two channels",
            standard="RIFF WAVE; SMPTE ST 12-1 linear timecode",
            loses="the cues; stereo",
            files={".with-ltc.wav": "desk.show_audio:write"},
            needs_sound=True,
            mixed=("song", "timecode"),
        ),
        Format(
            name="markers",
            purpose="the recording with cues and sections marked, for sound editors",
            standard="RIFF WAVE cue points and labels; EBU Tech 3285 bext",
            loses="looks, levels and fades as values; letters outside ASCII",
            files={".markers.wav": "desk.markers:write"},
            needs_sound=True,
        ),
        Format(
            name="chapters",
            purpose="the recording with sections and cues as chapters, to jump to in a player",
            standard="Matroska (RFC 9559)",
            loses="looks, levels and fades as values, reasons, notes; the picture of a film",
            files={".chapters.mka": "data.chapters:write"},
            needs_sound=True,
        ),
        Format(
            name="text-show",
            purpose="a cue list for desks that read the text interchange of 1992",
            standard="USITT ASCII Text Representation 3.0, from memory",
            loses="looks but for their levels, exact times, reasons, notes; tenths of seconds; letters outside ASCII",
            files={".show.txt": "desk.text_show:write"},
            plays=True,
            experimental=True,
        ),
        Format(
            name="osc",
            purpose="a timed list of Open Sound Control messages, to read and for scripts",
            standard="Open Sound Control 1.0",
            loses="reasons, cautions, notes; letters outside ASCII",
            files={".osc.txt": "desk.osc:write"},
            plays=True,
            in_time=True,
        ),
        Format(
            name="captions",
            purpose="cues as captions, to watch with the recording or a rehearsal video",
            standard="WebVTT (W3C)",
            loses="looks, levels and fades as values, reasons, notes",
            files={".vtt": "desk.captions:write"},
            in_time=True,
        ),
        Format(
            name="dawproject",
            purpose="recording, tempo, meter, sections and cues in one file, for audio workstations",
            standard="DAWproject 1.0, from memory",
            loses="levels and fades as values; what the bars before second 0 are",
            files={".dawproject": "data.daw_project:write"},
            needs_sound=True,
            experimental=True,
            in_time=True,
        ),
        Format(
            name="timeline",
            purpose="the recording with cues and sections as markers in colours, for editing programs",
            standard="OpenTimelineIO (Academy Software Foundation), its JSON",
            loses="levels and fades as values; times finer than a frame, but for a note in each marker",
            files={".otio": "data.timeline:write"},
            in_time=True,
        ),
        Format(
            name="score",
            purpose="bars, sections and cues in a notation program",
            standard="MusicXML 4.0 (W3C)",
            loses="levels and fades as values, reasons, notes; tempo within a bar; long names are cut",
            files={".musicxml": "data.musicxml:write"},
            in_time=True,
        ),
        Format(
            name="jams",
            purpose="what was heard, and the cues as tags, for researchers",
            standard="JAMS 0.3 (ISMIR 2014)",
            loses="looks, levels, fades, hands; the history; drive and loudness of bars",
            files={".jams": "data.jams_file:write"},
        ),
        Format(
            name="json",
            purpose="the cue list for programs",
            standard="JSON with our schema (docs/cue-list.schema.json)",
            loses="the analysis but for bars, beats and sections, the plan, questions, rejected cues and the history",
            files={".list.json": "data.json_list:write"},
        ),
    )
}


def chosen(words: str) -> list[tuple[Format, str]]:
    """Read which files are meant by names of formats.

    Parameters
    ----------
    words : str
        Names with commas between; "all" is every format; "chart.svg" is that one of several files.

    Returns
    -------
    list of (Format, str)
        With the ending of each file, once each, in the order named.

    Raises
    ------
    CuesuggestError
        If there is no format of that name, or it writes no such file.
    """
    names = [word.strip().lower() for word in words.split(",") if word.strip()]
    if names == ["all"]:
        names = list(FORMATS)
    if not names:
        raise CuesuggestError(f"No format is named. {_known()}")
    found = [(FORMATS[form], ending) for name in names for form, ending in _files(name)]
    return list({ending: (form, ending) for form, ending in found}.values())


def write(song: Song, form: Format, ending: str, options: Options) -> bytes:
    """Write one file of a format.

    Parameters
    ----------
    song : Song
        What to write.
    form : Format
    ending : str
        One of those in `form.files`.
    options : Options

    Returns
    -------
    bytes
        The content of the file.
    """
    content: bytes = _function(form.files[ending])(song, options)
    return content


def remarks(song: Song, form: Format, options: Options) -> Sequence[str]:
    """Say what of a song a format had no room for, in sentences."""
    found: Sequence[str] = _function(form.remarks)(song, options) if form.remarks else ()
    return found


def write_several(songs: Sequence[tuple[Song, Options]], form: Format) -> bytes:
    """Write several songs as one file of a format.

    Parameters
    ----------
    songs : sequence of (Song, Options)
        In the order in which they are played.
    form : Format
        One that has `several`.

    Returns
    -------
    bytes
        The content of the file.
    """
    content: bytes = _function(form.several)(songs)
    return content


def _function(named: str) -> Callable[..., Any]:
    module, _, function = named.partition(":")
    found: Callable[..., Any] = getattr(import_module(f"cuesuggest.export.{module}"), function)
    return found


def export(song: Song, name: str, options: Options | None = None) -> dict[str, bytes]:
    """Write a song in one or several formats.

    Parameters
    ----------
    song : Song
        What to write.
    name : str
        Of the format, such as "csv"; several with commas.
    options : Options, optional

    Returns
    -------
    dict of str to bytes
        The ending of each file's name to its content.

    Raises
    ------
    CuesuggestError
        If there is no format of that name.
    """
    options = options or Options()
    return {ending: write(song, form, ending, options) for form, ending in chosen(name)}


def _files(name: str) -> list[tuple[str, str]]:
    form, _, kind = name.partition(".")
    if form not in FORMATS:
        raise CuesuggestError(f"There is no format {form!r} to export to. {_known()}")
    files = FORMATS[form].files
    endings = [ending for ending in files if not kind or ending.endswith(f".{kind}")]
    if kind and f".{name}" in files:
        endings = [f".{name}"]
    if not endings:
        kinds = ", ".join(f"{form}.{ending.removeprefix(f'.{form}').lstrip('.') or form}" for ending in files)
        raise CuesuggestError(f"The format {form} writes no .{kind} file. Choose one of these: {kinds}.")
    return [(form, ending) for ending in endings]


def _known() -> str:
    return f"Choose one of these: {', '.join(FORMATS)}; `cuesuggest formats` tells what each is for."
