"""What the user says about the music, as absolute facts: "twice as fast" becomes 148 BPM from here to there.

Each function takes the song as it is heard now and returns the edit that replaces its facts. Later facts win over
earlier ones about the same stretch.
"""

from __future__ import annotations

import math
import re
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Literal

from cuesuggest.analysis.form import Part
from cuesuggest.analysis.types import Bar
from cuesuggest.errors import EditError
from cuesuggest.score.bounds import FASTEST_STATED, LEAST_BAR, MOST_CORRECTIONS, SLOWEST_STATED
from cuesuggest.score.deeds import BEAT_SPEEDS, BeatSpeed
from cuesuggest.score.form_text import form_text
from cuesuggest.song import (
    BarOneCorrection,
    Correction,
    DownbeatCorrection,
    FormCorrection,
    SetCorrections,
    Song,
    TempoCorrection,
    TimeSignatureCorrection,
)

__all__ = [
    "bar_one_at",
    "bars_shifted",
    "described",
    "form",
    "halves_swapped",
    "read_times",
    "signature",
    "tapped",
    "tempo",
    "tempo_times",
]

_SAME_TEMPO = 0.06  # share by which bars may differ and still be stated as one tempo
_RIGHT_BEFORE = 2  # bars before a shift that are stated as they are
_ON_A_BEAT = 0.07  # s; the tolerance of the field for one and the same beat
_SIGNATURE = re.compile(r"([1-9]|1[0-9])/(2|4|8|16)")


def _bars(song: Song, from_bar: int | None) -> list[Bar]:
    bars = [bar for bar in song.analysis.bars if from_bar is None or bar.number >= from_bar]
    if not song.analysis.bars:
        raise EditError("No bars were heard in this song. State where some are with --downbeats FILE.")
    if not bars:
        last = song.analysis.bars[-1].number
        raise EditError(f"There is no bar {from_bar}; the song's last bar is {last}.")
    return bars


def _scope(song: Song, from_bar: int | None) -> tuple[float, float]:
    """Seconds from which on, and until when, something is stated: the whole window, or from a bar on."""
    start = song.recording.window.start if from_bar is None else _bars(song, from_bar)[0].start
    return start, song.recording.window.end


def _replaced(
    song: Song, new: Sequence[Correction], start: float, end: float, keeps: Literal["bars", "seconds"] = "seconds"
) -> SetCorrections:
    """Put new facts in the place of those of their kinds between two times."""
    kinds = {fact.kind for fact in new}
    kept: list[Correction] = []
    for fact in song.corrections:
        if fact.kind not in kinds:
            kept.append(fact)
        elif isinstance(fact, TempoCorrection):
            if fact.from_ < start:
                kept.append(replace(fact, to=min(fact.to, start)))
            if fact.to > end:
                kept.append(replace(fact, from_=max(fact.from_, end)))
        elif isinstance(fact, BarOneCorrection | FormCorrection):
            continue  # there is only one bar 1, and one form
        elif not start - _ON_A_BEAT <= _time(fact) <= end + _ON_A_BEAT:
            kept.append(fact)
    facts = sorted((*kept, *new), key=lambda fact: (fact.kind, _time(fact)))
    return SetCorrections(tuple(facts), keeps)


def _time(fact: Correction) -> float:
    if isinstance(fact, FormCorrection):
        return 0.0  # it is about the whole song
    return fact.from_ if isinstance(fact, TempoCorrection | TimeSignatureCorrection) else fact.time


def tempo(song: Song, bpm: float, from_bar: int | None = None) -> SetCorrections:
    """State the tempo of the felt beat, for the whole song or from a bar on.

    Raises
    ------
    EditError
        If it is no tempo, or there is no such bar.
    """
    if not SLOWEST_STATED <= bpm <= FASTEST_STATED:
        raise EditError(f"{bpm:g} BPM is no tempo of a felt beat; give {SLOWEST_STATED:g} to {FASTEST_STATED:g}.")
    start, end = _scope(song, from_bar)
    return _replaced(song, [TempoCorrection(round(bpm, 3), start, end)], start, end)


def tempo_times(song: Song, speed: BeatSpeed, from_bar: int | None = None) -> SetCorrections:
    """State that the beat is half or twice as fast as it is heard now, or as fast.

    Where the tempo changes, each stretch of about one tempo is stated by itself.

    Raises
    ------
    EditError
        If no bars were heard, or the result is no tempo.
    """
    bars = _bars(song, from_bar)
    start, end = _scope(song, from_bar)
    times = BEAT_SPEEDS[speed]
    stretches: list[list[Bar]] = []
    for bar in bars:
        if stretches and abs(_bpm([bar]) / _bpm(stretches[-1]) - 1) < _SAME_TEMPO:
            stretches[-1].append(bar)
        else:
            stretches.append([bar])
    # A single odd bar is a stop or a slip, not a tempo.
    kept = [stretch for stretch in stretches if len(stretch) > 1] or [bars]
    edges = [start, *(stretch[0].start for stretch in kept[1:]), end]
    facts = [TempoCorrection(round(_bpm(stretch) * times, 3), edges[k], edges[k + 1]) for k, stretch in enumerate(kept)]
    for fact in facts:
        if not SLOWEST_STATED <= fact.bpm <= FASTEST_STATED:
            raise EditError(f"That would be {fact.bpm:.0f} BPM, which is no tempo of a felt beat.")
    return _replaced(song, facts, start, end)


def _bpm(bars: Sequence[Bar]) -> float:
    return 60 * sum(bar.beats for bar in bars) / sum(bar.end - bar.start for bar in bars)


def signature(song: Song, value: str, from_bar: int | None = None) -> SetCorrections:
    """State the time signature, for the whole song or from a bar on.

    Raises
    ------
    EditError
        If it is none.
    """
    if not _SIGNATURE.fullmatch(value):
        raise EditError(f"{value!r} is no time signature; write one such as 4/4, 3/4, 6/8 or 12/8.")
    start, end = _scope(song, from_bar)
    return _replaced(song, [TimeSignatureCorrection(value, start)], start, end)


def bars_shifted(song: Song, beats: float, from_bar: int | None = None) -> SetCorrections:
    """State that bars start so many beats later (earlier if negative) than heard now; half beats are possible.

    Every bar line is stated, so that the decoder cannot slip back further on.

    Raises
    ------
    EditError
        If no bars were heard, the shift is neither whole nor a half, or leads out of them.
    """
    if not math.isfinite(beats) or beats % 0.5:
        raise EditError(f"A shift by {beats:g} beats is neither whole nor a half. Give one such as 2, -1 or 0.5.")
    bars = _bars(song, from_bar)
    starts = _moved_bar_lines(song, bars, beats)
    facts: list[Correction] = [DownbeatCorrection(time) for time in starts]
    later = [bar for bar in bars if bar.number >= 1]
    if later and later[0].number == 1:
        # Of bars that are led out of the song, a pickup before bar 1 may be one; bar 1 is then not the first left.
        facts.append(BarOneCorrection(_moved_bar_lines(song, later, beats)[0]))
    start, end = min(starts[0], bars[0].start), song.recording.window.end
    # Neither the beat nor how many make a bar is in question. Unsaid, bars of half the length would have their ones
    # both where they are stated and where they were heard.
    facts += [fact for fact in tempo_times(song, "as-heard").corrections if isinstance(fact, TempoCorrection)]
    facts += _common_signature(bars, start)
    before = [bar for bar in song.analysis.bars if bar.number < bars[0].number]
    if before:
        # "From here on" says that it was right until here.
        facts += _common_signature(before, song.recording.window.start)
        right = [bar.start for bar in before[-_RIGHT_BEFORE:] if bar.start < starts[0] - _ON_A_BEAT]
        facts += [DownbeatCorrection(time) for time in right]
        start = min([start, *right])
    # Tempo and signature are stated for the whole song as they are: whatever was stated of them is in there.
    in_there = (TempoCorrection, TimeSignatureCorrection)
    others = tuple(fact for fact in song.corrections if not isinstance(fact, in_there))
    return _replaced(song.replaced(corrections=others), facts, start, end, "bars")


def halves_swapped(song: Song, from_bar: int | None = None) -> SetCorrections:
    """State that bars are half a bar off: in 4/4 that the 3 is the 1.

    Bar 1 starts half a bar earlier where the band plays by then, else half a bar later: it is the first whole bar.
    Done once more it is as before, where the band starts with bar 1.

    Raises
    ------
    EditError
        If no bars were heard, or they have no beat in the middle.
    """
    bars = _bars(song, from_bar)
    beats = Counter(bar.beats for bar in bars).most_common(1)[0][0]
    if beats % 2:
        raise EditError(f"Bars of {beats} beats have none in the middle. Shift them by beats.")
    half = beats // 2
    first = next((bar for bar in bars if bar.number >= 1), bars[0])
    beat = (first.end - first.start) / max(first.beats, 1)
    earlier = from_bar is None and first.start - half * beat >= (song.analysis.music_start or 0.0) - beat / 2
    if earlier:
        return bars_shifted(song, -half)
    return bars_shifted(song, half, from_bar)


def _common_signature(bars: Sequence[Bar], start: float) -> list[TimeSignatureCorrection]:
    """State the time signature that nearly all bars have."""
    value, count = Counter(bar.time_signature for bar in bars).most_common(1)[0]
    return [TimeSignatureCorrection(value, start)] if count > 0.8 * len(bars) else []


def _moved_bar_lines(song: Song, bars: Sequence[Bar], beats: float) -> list[float]:
    """Starts of bars, so many beats later; beyond the first and last beat the pulse goes on as there."""
    times = list(song.analysis.beats)
    index = {time: place for place, time in enumerate(times)}
    found = []
    for bar in bars:
        place = index.get(bar.start)
        if place is None:
            place = min(range(len(times)), key=lambda k: abs(times[k] - bar.start))
        target = place + beats
        before, part = math.floor(target), target % 1
        if before >= 0 and before + (part > 0) < len(times):
            found.append(times[before] if not part else round((times[before] + times[before + 1]) / 2, 4))
    if not found:
        raise EditError(f"A shift by {beats:g} beats leads out of the song. Give a smaller one.")
    return found


def bar_one_at(song: Song, seconds: float) -> SetCorrections:
    """State where bar 1 starts: at the beat nearest to a time; bars are moved there if none starts at it.

    Raises
    ------
    EditError
        If the time is not inside the song.
    """
    window = song.recording.window
    if not window.start <= seconds <= window.end:
        raise EditError(f"{seconds:g} s is outside the song, which lasts from {window.start:g} to {window.end:g} s.")
    beats = song.analysis.beats
    near = min(beats, key=lambda beat: abs(beat - seconds), default=seconds)
    tempo = song.analysis.tempo_bpm
    at = near if tempo and abs(near - seconds) < 0.5 * 60 / tempo else seconds
    facts: list[Correction] = [BarOneCorrection(round(at, 4))]
    start = at
    lines = [bar.start for bar in song.analysis.bars]
    if at == near and not any(abs(line - at) < _ON_A_BEAT for line in lines):
        before = max((bar for bar in song.analysis.bars if bar.start <= at), key=lambda bar: bar.start, default=None)
        if before is not None:
            shift = sum(before.start < beat <= at + 1e-6 for beat in beats)
            later = [bar for bar in song.analysis.bars if bar.start >= before.start]
            facts += [DownbeatCorrection(time) for time in _moved_bar_lines(song, later, shift)]
    elif at != near:
        facts.append(DownbeatCorrection(round(at, 4)))
    return _replaced(song, facts, start, window.end)


def tapped(song: Song, times: Sequence[float]) -> SetCorrections:
    """State bar lines, as tapped to the recording elsewhere.

    Raises
    ------
    EditError
        If there are none, they do not rise, or one is outside the recording.
    """
    if not times:
        raise EditError("There are no times in it. Write one bar line a line, in seconds.")
    if len(times) > MOST_CORRECTIONS:
        raise EditError(f"There are {len(times)} times in it; at most {MOST_CORRECTIONS} are kept.")
    window = song.recording.window
    for before, after in zip([-math.inf, *times], times, strict=False):
        if not window.start <= after <= window.end:
            raise EditError(f"{after:g} s is outside the song, which lasts from {window.start:g} to {window.end:g} s.")
        if after < before:
            raise EditError(f"{after:g} s comes after {before:g} s; times must rise.")
        if after < before + LEAST_BAR:
            raise EditError(f"{before:.4f} s and {after:.4f} s are too near for two bar lines; leave {LEAST_BAR:g} s.")
    facts = [DownbeatCorrection(round(time, 4)) for time in times]
    return _replaced(song, facts, times[0], times[-1])


def form(song: Song, parts: Sequence[Part], starts: Sequence[float] = ()) -> SetCorrections:
    """State of which parts the song consists, in order; see `cuesuggest.score.form_text`.

    `starts` are the seconds at which the parts start, one for each, where that is stated too.
    """
    return _replaced(song, [FormCorrection(form_text(parts), tuple(starts))], 0.0, 0.0, "bars")


def read_times(text: str, where: str, seconds: Callable[[str], float]) -> list[float]:
    """Read times, one a line; what follows the first word of a line, and lines that start with #, are passed over.

    Parameters
    ----------
    text : str
    where : str
        What messages call the file.
    seconds : callable
        Turns a word into seconds, or raises ValueError.

    Raises
    ------
    EditError
        If a line holds no time.
    """
    times = []
    for number, line in enumerate(text.splitlines(), 1):
        words = line.replace(",", " ").replace(";", " ").split()
        if not words or words[0].startswith("#"):
            continue
        try:
            times.append(seconds(words[0]))
        except ValueError:
            raise EditError(
                f"{where}, line {number}: {words[0][:30]!r} is no time in seconds or minutes:seconds."
            ) from None
    return times


def described(corrections: Sequence[Correction]) -> list[str]:
    """Say what is stated, in sentences."""
    said = []
    downbeats = [fact.time for fact in corrections if isinstance(fact, DownbeatCorrection)]
    if downbeats:
        count = "one bar line" if len(downbeats) == 1 else f"{len(downbeats)} bar lines"
        span = (
            f"at {downbeats[0]:.2f} s" if len(downbeats) == 1 else f"from {downbeats[0]:.2f} to {downbeats[-1]:.2f} s"
        )
        said.append(f"{count} {span}")
    for fact in corrections:
        if isinstance(fact, TempoCorrection):
            said.append(f"{fact.bpm:g} BPM from {fact.from_:.2f} to {fact.to:.2f} s")
        elif isinstance(fact, TimeSignatureCorrection):
            said.append(f"{fact.value} from {fact.from_:.2f} s on")
        elif isinstance(fact, BarOneCorrection):
            said.append(f"bar 1 at {fact.time:.2f} s")
        elif isinstance(fact, FormCorrection):
            said.append(f"form: {fact.text}")
    return said
