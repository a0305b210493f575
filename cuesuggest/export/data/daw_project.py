"""A project for audio workstations: the recording, the song's bars as tempo and meter, sections and cues as markers.

DAWproject 1.0, an open exchange format under the MIT licence: XML and sound in a zip file. Its schema could not be
read while this was written; elements and attributes are those of its published documentation, from memory.
"""

from __future__ import annotations

import bisect
import io
import math
import zipfile
from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

from cuesuggest.export.common.escape import one_line
from cuesuggest.export.common.options import EXPERIMENTAL, Options, about, needed_sound
from cuesuggest.export.common.riff import recorded_format, wav
from cuesuggest.export.common.show_bars import Measure, bar_words, bars_before_start, measures, song_end
from cuesuggest.export.common.timing import before_start
from cuesuggest.export.common.told import told, wording
from cuesuggest.export.common.xml_element import element, xml_bytes

if TYPE_CHECKING:
    from xml.etree.ElementTree import Element

    from cuesuggest.export.common.options import RecordedSound
    from cuesuggest.song import Song

__all__ = ["write"]

_SOUND = "audio/recording.wav"
_FIRST_DAY = (1980, 1, 1, 0, 0, 0)  # of zip files: the same song gives the same bytes
_SAME_TEMPO = 1e-9  # what differs by less adds up to some microseconds in an hour
# Cues in ink, sections pale, so that names can be read on both.
_CUE_COLOUR, _SECTION_COLOUR, _FILLED_COLOUR = "#A33E2C", "#9DB8A5", "#B9B4A6"
_HEAD = '<?xml version="1.0" encoding="UTF-8" standalone="yes"?>'


def write(song: Song, options: Options) -> bytes:
    """Write a song as a project.

    Parameters
    ----------
    song : Song
    options : Options
        Needs `sound`. The project starts at second 0 of the show.

    Returns
    -------
    bytes
        A zip file.

    Raises
    ------
    CuesuggestError
        If there is no sound, or it is too long for a WAV file.
    """
    sound = needed_sound(options, "dawproject")
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, root in (("metadata.xml", _metadata(song, options)), ("project.xml", _project(song, options, sound))):
            archive.writestr(_entry(name, zipfile.ZIP_DEFLATED), xml_bytes(root, _HEAD))
        blocks = _part(sound.blocks(), *(frame * sound.channels * sound.bits // 8 for frame in _frames(song, sound)))
        archive.writestr(_entry(_SOUND, zipfile.ZIP_STORED), wav(recorded_format(sound), blocks, []))
    return out.getvalue()


def _frames(song: Song, sound: RecordedSound) -> tuple[int, int]:
    """First frame and end of what the project holds of the recording: the song, not the evening around it."""
    window = song.recording.window
    end = min(round(song_end(song) * sound.rate), sound.frames)
    return min(round(window.start * sound.rate), end), end


def _part(blocks: Iterator[bytes], start: int, end: int) -> Iterator[bytes]:
    """The bytes of a stretch."""
    at = 0
    for block in blocks:
        yield block[max(start - at, 0) : max(end - at, 0)]
        at += len(block)
        if at >= end:
            return


def _entry(name: str, how: int) -> zipfile.ZipInfo:
    entry = zipfile.ZipInfo(name, _FIRST_DAY)
    entry.compress_type = how
    return entry


def _metadata(song: Song, options: Options) -> Element:
    words = about(song, options)
    left = (*before_start(song, options.timing), *bars_before_start(song, options.timing))
    said = " ".join((*(f"{line}." for line in words.lines()[1:-1]), words.caution, *left, EXPERIMENTAL))
    return element("MetaData", element("Title", one_line(words.title)), element("Comment", one_line(said)))


def _project(song: Song, options: Options, sound: RecordedSound) -> Element:
    score = _Score(measures(song, options.timing))
    first = score.bars[0]
    transport = element(
        "Transport",
        element("Tempo", id="tempo", name="Tempo", unit="bpm", value=_number(score.tempos[0][1])),
        element("TimeSignature", id="meter", numerator=f"{first.numerator}", denominator=f"{first.denominator}"),
    )
    channels = f"{sound.channels}"
    structure = element(
        "Structure",
        _track("recording", one_line(song.title), "audio", "regular", channels, "main-channel"),
        _track("main", "Main", "audio notes", "master", channels, None),
    )
    return element(
        "Project",
        element("Application", name="cuesuggest", version=one_line(options.program or song.versions.program)),
        transport,
        structure,
        _arrangement(song, options, sound, score),
        element("Scenes"),
        version="1.0",
    )


def _track(id_: str, name: str, content: str, role: str, channels: str, into: str | None) -> Element:
    channel = element(
        "Channel",
        element("Mute", id=f"{id_}-mute", name="Mute", value="false"),
        element("Pan", id=f"{id_}-pan", name="Pan", unit="normalized", min="0", max="1", value="0.5"),
        element("Volume", id=f"{id_}-volume", name="Volume", unit="linear", min="0", max="2", value="1"),
        id=f"{id_}-channel",
        role=role,
        audioChannels=channels,
        destination=into,
        solo="false",
    )
    return element("Track", channel, id=id_, name=name, contentType=content, loaded="true")


def _arrangement(song: Song, options: Options, sound: RecordedSound, score: _Score) -> Element:
    tempo = [
        element("RealPoint", time=_number(at), value=_number(value), interpolation="hold") for at, value in score.tempos
    ]
    meters = [
        element("TimeSignaturePoint", time=_number(at), numerator=f"{upper}", denominator=f"{lower}")
        for at, (upper, lower) in score.meters
    ]
    lane = element(
        "Lanes", element("Clips", *_clips(song, options, sound, score), id="clips"), id="lane", track="recording"
    )
    return element(
        "Arrangement",
        element("Lanes", lane, id="lanes", timeUnit="beats"),
        element("Markers", *_markers(song, options, score), id="markers", timeUnit="beats"),
        element(
            "TempoAutomation", element("Target", parameter="tempo"), *tempo, id="tempos", timeUnit="beats", unit="bpm"
        ),
        element(
            "TimeSignatureAutomation", element("Target", parameter="meter"), *meters, id="meters", timeUnit="beats"
        ),
        id="arrangement",
    )


def _clips(song: Song, options: Options, sound: RecordedSound, score: _Score) -> Iterator[Element]:
    """The recording in its own time: its tempo is the project's, so nothing has to be stretched."""
    held, held_until = (frame / sound.rate for frame in _frames(song, sound))
    start = max(held + options.timing.offset, 0.0)
    cut = start - held - options.timing.offset
    length = held_until - held
    if cut >= length:
        return
    file = element(
        "Audio",
        element("File", path=_SOUND),
        id="sound",
        timeUnit="seconds",
        duration=_number(length),
        sampleRate=f"{sound.rate}",
        channels=f"{sound.channels}",
    )
    first = score.quarter(start)
    yield element(
        "Clip",
        file,
        name=one_line(song.title),
        time=_number(first),
        duration=_number(score.quarter(start + length - cut) - first),
        contentTimeUnit="seconds",
        playStart=_number(cut),
    )


def _markers(song: Song, options: Options, score: _Score) -> list[Element]:
    found = [(score.quarter(at), why, "", _FILLED_COLOUR) for at, why in score.filled]
    for at, words in bar_words(song, options.timing, score.bars):
        found.append((score.quarter(at), words, "", _SECTION_COLOUR))
    for each in told(song, options):
        note = "; ".join(filter(None, (each.where, *each.cue.reasons, *each.cue.cautions)))
        found.append((score.quarter(each.at), wording(each), note, _CUE_COLOUR))
    return [
        element("Marker", time=_number(at), name=one_line(name), comment=one_line(note) or None, color=colour)
        for at, name, note, colour in sorted(found, key=lambda each: each[0])
    ]


class _Score:
    """Bars as quarter notes from the start of the project."""

    def __init__(self, bars: Sequence[Measure]) -> None:
        self.bars = bars
        self.tempos: list[tuple[float, float]] = []
        """Quarter note, beats a minute; each holds until the next."""
        self.meters: list[tuple[float, tuple[int, int]]] = []
        self.filled: list[tuple[float, str]] = []
        """Second and words of each stretch that is no music."""
        self._starts: list[float] = []
        self._quarters: list[float] = []
        here, why = 0.0, ""
        for bar in bars:
            self._starts.append(bar.start)
            self._quarters.append(here)
            if not self.meters or self.meters[-1][1] != (bar.numerator, bar.denominator):
                self.meters.append((here, (bar.numerator, bar.denominator)))
            if bar.why and bar.why != why:
                self.filled.append((bar.start, f"Stretched bars: {bar.why}"))
            why = bar.why
            self._add_tempos(bar, here)
            here += float(bar.quarters)

    def _add_tempos(self, bar: Measure, here: float) -> None:
        left = 0.0
        for start, end in zip(bar.times, bar.times[1:], strict=False):
            right = bar.quarter_at(end)
            tempo = (right - left) * 60 / (end - start)
            if not self.tempos or not math.isclose(self.tempos[-1][1], tempo, rel_tol=_SAME_TEMPO):
                self.tempos.append((here + left, tempo))
            left = right

    def quarter(self, seconds: float) -> float:
        """Quarter notes at a second of the show; behind the last bar at its last tempo."""
        index = max(bisect.bisect_right(self._starts, seconds + 1e-9) - 1, 0)
        return self._quarters[index] + self.bars[index].quarter_at(seconds)


def _number(value: float) -> str:
    """Write a number so finely that nothing adds up over a song."""
    return f"{value:.12g}"
