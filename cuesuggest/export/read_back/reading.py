"""Read back what went out, as a list of cues: for checks, and to see what a file from somewhere else holds."""

from __future__ import annotations

import csv
import io
import re
import struct
from collections.abc import Iterator
from dataclasses import dataclass, field

from cuesuggest.errors import CuesuggestError
from cuesuggest.export.common.escape import number_text
from cuesuggest.export.common.riff import chunks
from cuesuggest.export.common.told import BY_HAND
from cuesuggest.export.read_back.read_show import ShowCue, read_show
from cuesuggest.export.read_back.read_timecode import read_linear
from cuesuggest.score.records import counted

__all__ = ["ReadBack", "ReadCue", "read_back"]

_WORDS = re.compile(rf"({BY_HAND} )?(\d{{1,9}}(?:\.\d{{1,4}})?) ([a-z-]+)( again)?: (.*)", re.DOTALL)
_GUARD = re.compile("'(?=[=+\\-@\t\r\0\uff1d\uff0b\uff0d\uff20])")
_SHOW_START = re.compile(r"\s*(!|ident\b|cue\b|clear\b|set\b|patch\b|group\b|sub\b|manufacturer\b)", re.IGNORECASE)
_CSV_STARTS = ("number,", "number;")
_MOST_WITHOUT_SOUND = 8 * 2**20  # bytes; ours have one or two, where they tell timecode for a day
_LARGEST = 1e9  # of numbers and seconds; nine digits are what the text interchange reads, too


@dataclass(frozen=True, slots=True)
class ReadCue:
    """A cue as a file has it; None where the file does not say."""

    number: float | None
    seconds: float | None
    """Of the show, or of the recording in a copy of it."""
    words: str
    by_hand: bool = False
    """It waits for a person; the file only tells it."""


@dataclass(frozen=True, slots=True)
class ReadBack:
    """What a file holds."""

    form: str
    """Name of the format."""
    cues: tuple[ReadCue, ...] = ()
    remarks: tuple[str, ...] = field(default=())
    """Sentences: what else is in it, what was skipped."""


def read_back(data: bytes, where: str = "The file") -> ReadBack:
    """Read a file that we wrote, or one like it.

    Parameters
    ----------
    data : bytes
        A MIDI file, a text-interchange show, a WAV file with marks or timecode, or our table.
    where : str
        What messages call it.

    Raises
    ------
    CuesuggestError
        If it is none of these, or damaged.
    """
    try:
        if data.startswith(b"RIFF") and data[8:12] == b"WAVE":
            return _read_wav(data)
        if len(data) > _MOST_WITHOUT_SOUND:
            raise CuesuggestError("it is longer than a list of cues ever is. Check that it is the one you mean.")
        if data.startswith(b"MThd"):
            return _read_midi(data)
        return _read_text(data)
    except CuesuggestError as error:
        raise CuesuggestError(f"{where}: {error}") from None


def _read_text(data: bytes) -> ReadBack:
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError:
        text = ""
    if text.startswith(_CSV_STARTS):
        return _read_csv(text)
    if _SHOW_START.match(text):
        cues, warnings = read_show(text)
        return ReadBack("text-show", tuple(_from_show(cue) for cue in cues), tuple(warnings))
    raise CuesuggestError(
        "this is no file that can be read back. Known are MIDI files (midi, msc), text-interchange shows (text-show), "
        "WAV files with marks or timecode (markers, timecode), and our table (csv)."
    )


def _from_show(cue: ShowCue) -> ReadCue:
    said = _from_words(cue.text, cue.seconds)
    times = [f"{name} {number_text(value)} s" for name, value in (("up", cue.up), ("down", cue.down)) if value]
    if cue.follow_on is not None:
        times.append(f"next follows after {number_text(cue.follow_on)} s")
    levels = [f"{channel} at {number_text(round(100 * level, 1))} %" for channel, level in cue.channels.items()]
    parts = [said.words, ", ".join(times), ", ".join(levels)]
    return ReadCue(cue.number, cue.seconds, "; ".join(part for part in parts if part), said.by_hand)


def _read_csv(text: str) -> ReadBack:
    # Semicolons stand between the fields where the comma is the decimal sign.
    between = text[len("number")]
    try:
        rows = list(csv.DictReader(io.StringIO(text, newline=""), strict=True, delimiter=between))
        cues = [
            ReadCue(
                _finite(row["number"], between),
                _finite(row["seconds"], between),
                f"{_bare(row['kind'])}: {_bare(row['hand'])}",
                row["operator confirms"] == "yes",
            )
            for row in rows
        ]
    except (csv.Error, KeyError, TypeError, ValueError) as error:
        raise CuesuggestError(f"the table is not one of ours ({error}). Export it again with --to csv.") from None
    return ReadBack("csv" if between == "," else "csv-semicolon", tuple(cues))


def _finite(cell: str, between: str) -> float:
    """Read a number or a time of our table, which has none beyond a few days."""
    value = float(cell if between == "," else cell.replace(",", "."))
    if not abs(value) <= _LARGEST:
        raise ValueError(f"{cell[:20]!r} is no number of a cue and no time")
    return value


def _bare(cell: str) -> str:
    """Take the guard against formulas away again: one quote in front."""
    return cell[1:] if _GUARD.match(cell) else cell


def _read_midi(data: bytes) -> ReadBack:
    import mido

    broken = (OSError, EOFError, ValueError, LookupError, TypeError, OverflowError, mido.KeySignatureError)
    try:
        file = mido.MidiFile(file=io.BytesIO(data))
        if not 0 < file.ticks_per_beat < 1 << 15:
            raise CuesuggestError("the MIDI file counts in frames, not in beats. Save it with ticks per beat.")
        cues: list[ReadCue] = []
        codes: list[str] = []
        controls = 0
        seconds = 0.0
        # Playing through merges the tracks and follows the tempo.
        for message in file:
            seconds += message.time
            if message.type == "cue_marker":
                cues.append(_from_words(message.text, seconds))
            elif message.type == "sysex" and message.data[:1] == (0x7F,) and len(message.data) > 3:
                controls += message.data[2] == 0x02
                if message.data[2:4] == (0x01, 0x01) and len(message.data) == 8:
                    codes.append(_full_frame(message.data))
    except broken as error:
        raise CuesuggestError(f"the MIDI file is damaged ({error or type(error).__name__}). Export it again.") from None
    remarks = []
    if controls:
        remarks.append(f"{counted(controls, 'message')} of show control.")
    if codes:
        remarks.append(f"MIDI time code from {codes[0]} to {codes[-1]}.")
    return ReadBack("midi", tuple(cues), tuple(remarks))


def _full_frame(data: tuple[int, ...]) -> str:
    hours, minutes, seconds, frames = data[4:8]
    return f"{hours & 31:02d}:{minutes:02d}:{seconds:02d}{';' if hours >> 5 & 3 == 2 else ':'}{frames:02d}"


def _from_words(words: str, seconds: float | None) -> ReadCue:
    """Take apart what `moves.wording` wrote; other words stay as they are."""
    seconds = None if seconds is None else round(seconds, 4)
    found = _WORDS.fullmatch(words)
    if found is None:
        return ReadCue(None, seconds, words)
    by_hand, number, kind, again, rest = found.groups()
    return ReadCue(float(number), seconds, f"{kind}{again or ''}: {rest}", by_hand is not None)


def _read_wav(data: bytes) -> ReadBack:
    parts = chunks(data, 12, len(data))
    found = dict(parts)
    if "fmt " not in found or len(found["fmt "]) < 16:
        raise CuesuggestError("the WAV file does not say what its samples are. Copy it again.")
    tag, channels, rate, _, _, bits = struct.unpack_from("<HHIIHH", found["fmt "])
    if not rate or not channels:
        raise CuesuggestError("the WAV file has no sample rate or no channels. Copy it again.")
    if "cue " in found:
        return _read_marks(
            found["cue "], [body for name, body in parts if name == "LIST"], rate, found.get("bext", b"")
        )
    if (tag, bits) != (1, 16) or "data" not in found:
        raise CuesuggestError("the WAV file has no cue points, and no 16-bit sound in which timecode could be.")
    return _read_timecode(found["data"], channels, rate)


def _read_timecode(data: bytes, channels: int, rate: int) -> ReadBack:
    import numpy as np

    width = 2 * channels
    samples = np.frombuffer(data[: len(data) // width * width], "<i2").reshape(-1, channels)
    # Beside a song it is on the last channel.
    heard = (read_linear(samples[:, channel], rate) for channel in dict.fromkeys((0, channels - 1)))
    labels, counted_at = next((each for each in heard if each[0]), ([], None))
    if not labels:
        raise CuesuggestError("the WAV file has no cue points, and its sound is no timecode.")
    speed = f" at {counted_at.name} frames a second" if counted_at else ""
    return ReadBack("timecode", (), (f"Linear timecode from {labels[0]} to {labels[-1]}{speed}.",))


def _read_marks(points: bytes, lists: list[bytes], rate: int, bext: bytes) -> ReadBack:
    labels: dict[int, str] = {}
    regions: set[int] = set()
    for body in lists:
        if body[:4] == b"adtl":
            for name, data in chunks(body, 4, len(body)):
                if name == "labl" and len(data) >= 4:
                    labels[struct.unpack_from("<I", data)[0]] = _latin(data[4:])
                elif name == "ltxt" and len(data) >= 4:
                    regions.add(struct.unpack_from("<I", data)[0])
    cues = [
        _from_words(labels.get(number, ""), frame / rate)
        for number, frame in _read_points(points)
        if number not in regions
    ]
    remarks = [f"{counted(len(regions), 'region')}."] if regions else []
    if len(bext) >= 346:
        midnight = struct.unpack_from("<Q", bext, 338)[0] / rate
        remarks.append(f"Its first sample lies {number_text(midnight)} s after midnight.")
    return ReadBack("markers", tuple(cues), tuple(remarks))


def _read_points(data: bytes) -> Iterator[tuple[int, int]]:
    """Ids and frames of cue points."""
    for start in range(4, len(data) - 23, 24):
        number, _, _, _, _, frame = struct.unpack_from("<II4sIII", data, start)
        yield number, frame


def _latin(data: bytes) -> str:
    # The encoding is undefined; this one reads any byte, and our own are ASCII.
    return data.split(b"\0")[0].decode("latin-1")
