"""Songs and times on which exports go wrong: drifting tempo, a pause, odd meters, a window, an offset, no lead-in."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import soundfile

from cuesuggest.export.common.timing import RATES, Timing
from tests.exported import in_sevens
from tests.songs import make_analysis, make_cue, make_song, place_at, retimed


def _drifting():
    tempos = {number: 96 + 9 * np.sin(number) for number in range(2, 25)}
    return retimed(make_analysis("A8 B8 A8"), tempos=tempos, pauses={17: 6.3})


def _windowed():
    song = make_song("A8 B8 A8", start=40.0)
    window = replace(song.recording.window, start=36.0, end=103.0)
    # The recording goes on: it is one song of an evening.
    return song.replaced(recording=replace(song.recording, window=window, duration=120.0))


def _close_cues(song):
    """Cues beside each other, on one beat, off the beat and as a series, of sides and kinds of every sort."""
    place = place_at
    more = [
        make_cue(5, "cut-out", place(song.analysis, 9), side="A"),
        make_cue(6, "one-shot", place(song.analysis, 10, 2.0), look="lift"),
        make_cue(7, "ramp", place(song.analysis, 10, 2.5), side="B", level=60, up_beats=2.0),
        make_cue(8, "crossfade", place(song.analysis, 12), side="A", look="home", up_beats=2.0, anchor="lands-on"),
        make_cue(9, "call", place(song.analysis, 18)),
        make_cue(10, "cut-in", place(song.analysis, 20), side="B", look="lift", status="rejected"),
    ]
    return song.replaced(cues=(*song.cues, *more))


def hard_songs():
    """Each by its name, with the times that it is exported at."""
    return {
        "plain": (make_song("A8 B8 A8"), Timing()),
        "drift and a pause": (make_song(analysis=_drifting()), Timing()),
        "5/4": (make_song("A8 B8 A8", time_signature="5/4", bpm=131), Timing(rate=RATES["29.97df"])),
        "7/8": (in_sevens(bpm=200), Timing(rate=RATES["30"])),
        "a window": (_windowed(), Timing(-36.0)),
        "an offset": (make_song("A8 B8 A8"), Timing(12.3456, RATES["24"])),
        "a cut": (make_song("A8 B8 A8"), Timing(-19.5, RATES["29.97"])),
        "from sample 0": (make_song("A8 B8 A8", start=0.0), Timing()),
        "crowded": (_close_cues(make_song("A8 B8 A8")), Timing(1.0)),
    }


HARD = hard_songs()


def noise_for(song, path, rate=8000, channels=2, subtype="PCM_16"):
    """A recording as long as the song's, of quiet noise."""
    random = np.random.default_rng(11)
    frames = round(song.recording.duration * rate)
    soundfile.write(path, random.uniform(-0.2, 0.2, (frames, channels)), rate, subtype=subtype)
    return path
