"""Things that happen once: count-in, talk, pauses, stops, the ring-out; and where the music starts and ends.

Precision comes before recall: what is told here becomes light.
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np
from scipy import ndimage

from cuesuggest.analysis.spectrum import FRAME_RATE, Spectrum

__all__ = ["Span", "count_in", "find_stops", "find_talk", "lead_in", "music_end", "music_start"]

Span = tuple[float, float, float]
"""Start and end in seconds from the start of the file, and confidence."""

# 12 dB, not 6: in a live room the reverb fills a short stop.
_STOP_DB = 12.0
_STOP_BEATS = (0.5, 8.0)
_STOP_CROWD = 2  # gaps as deep within eight bars; more, and the music is made of gaps
_STOP_FULL_DB = 10.0  # a band that stops played within so much of the loud passages
_COUNT_IN_DB = 6.0  # a count-in is so much softer than the bars after it
_CLICK_DB = 8.0  # and falls so far between its clicks
_AFTER_BEATS = ((0.35, 0.85),)  # where it must be quiet after a click, in beats
_AFTER_THIRDS = ((0.18, 0.3), (0.5, 0.63))  # the same where two more clicks may come before the next beat
_SILENCE_BETWEEN_DB = 10.0
_CLICK_SPREAD_DB = 6.0  # sticks and counting voices are even, syllables of talk are not
_MOST_COUNT_IN_BARS = 2
_ENDED_DB = 38.0
_TALK_SECONDS = 2.0
_TALK_FLOOR_DB = -60.0
_TALK_SWING_DB = 4.5  # speech pauses between syllables; noise and applause are even


def _frame(spectrum: Spectrum, seconds: float) -> int:
    return int(np.clip(round((seconds - spectrum.start) * FRAME_RATE), 0, len(spectrum.level) - 1))


def count_in(
    spectrum: Spectrum, beats: np.ndarray, slots: np.ndarray, beats_per_bar: int, *, thirds: bool = False
) -> tuple[int, int]:
    """Find a count-in: one or two bars of single clicks, softer than what follows, on the grid of the song.

    The decoder may have taken it for music or for talk, so the grid is carried on to two bars before its first
    downbeat, and every one of the first downbeats may turn out to be bar 1.

    Parameters
    ----------
    spectrum : Spectrum
    beats : ndarray, shape (beats,)
        Seconds.
    slots : ndarray of int, shape (beats,)
        Beat in its bar, 0 the downbeat.
    beats_per_bar : int
        At the start of the song.
    thirds : bool
        Whether beats divide into three there: then sticks may count all six.

    Returns
    -------
    opening, bars : int, int
        Which of the downbeats opens bar 1, and how many bars before it are counted; 0, 0 without a count-in.
    """
    downbeats = np.flatnonzero(slots == 0)
    if len(downbeats) < 4:
        return 0, 0
    first = downbeats[0]
    decibels = spectrum.decibels
    lead = lead_in(beats[first:], _MOST_COUNT_IN_BARS * beats_per_bar)
    grid = np.concatenate([lead, beats[first:]])
    clicks = _click_levels(spectrum, grid, _AFTER_THIRDS if thirds else _AFTER_BEATS)
    for opening in range(_MOST_COUNT_IN_BARS + 1):
        here = len(lead) + int(downbeats[opening] - first)
        counted = 0
        for bars in (1, 2):
            levels = clicks[max(0, here - bars * beats_per_bar) : here - (bars - 1) * beats_per_bar]
            # "One … two …" before "one two three four": the first of two bars may have every other click only.
            enough = 0.75 if bars == 1 else 0.5
            if len(levels) < beats_per_bar or np.isfinite(levels).sum() < max(2, enough * beats_per_bar):
                break
            counted = bars
        if not counted:
            continue
        heard = clicks[here - counted * beats_per_bar : here]
        after_end = grid[min(here + 2 * beats_per_bar, len(grid) - 1)]
        after = _loudness(decibels, spectrum, grid[here], after_end)
        if np.std(heard[np.isfinite(heard)]) > _CLICK_SPREAD_DB:
            continue
        begin = grid[here - counted * beats_per_bar]
        softer = after - _loudness(decibels, spectrum, begin, grid[here] - 0.06) >= _COUNT_IN_DB
        # A recorder that turns itself up makes sticks loud; but no song falls silent between its eighths.
        if softer or (
            thirds
            and _lows(decibels, spectrum, grid[here], after_end) - _lows(decibels, spectrum, begin, grid[here] - 0.06)
            >= _SILENCE_BETWEEN_DB
        ):
            return opening, counted
    return 0, 0


def lead_in(beats: np.ndarray, count: int) -> np.ndarray:
    """Carry the tempo of the first eight beats on to the beats before them.

    Parameters
    ----------
    beats : ndarray, shape (beats,), beats >= 2
        Seconds.
    count : int

    Returns
    -------
    ndarray, shape (count,)
        Seconds, rising; some may lie before the recording.
    """
    return np.asarray(beats[0] - float(np.median(np.diff(beats[:9]))) * np.arange(count, 0, -1))


def _click_levels(spectrum: Spectrum, beats: np.ndarray, after: tuple[tuple[float, float], ...]) -> np.ndarray:
    """Level of each beat that stands alone, in dB; minus infinity where the sound goes on to the next."""
    decibels = spectrum.decibels
    levels = np.full(len(beats), -np.inf)
    for k, (here, following) in enumerate(pairwise(beats)):
        if here < spectrum.start - 0.05:
            continue
        middle, step = _frame(spectrum, here), following - here
        top = decibels[max(0, middle - 3) : middle + 4].max()
        rests = (decibels[_frame(spectrum, here + a * step) : _frame(spectrum, here + b * step) + 1] for a, b in after)
        if top - max(float(np.median(rest)) for rest in rests) >= _CLICK_DB:
            levels[k] = top
    return levels


def _loudness(decibels: np.ndarray, spectrum: Spectrum, start: float, end: float) -> float:
    part = decibels[_frame(spectrum, start) : _frame(spectrum, end) + 1]
    return float(10 * np.log10(np.mean(10 ** (part / 10))))


def _lows(decibels: np.ndarray, spectrum: Spectrum, start: float, end: float) -> float:
    """Level that a fifth of the frames stay under."""
    return float(np.percentile(decibels[_frame(spectrum, start) : _frame(spectrum, end) + 1], 20))


def find_stops(spectrum: Spectrum, starts: np.ndarray, ends: np.ndarray, beat: float, until: float) -> list[Span]:
    """Places where the whole band stops and goes on.

    Parameters
    ----------
    spectrum : Spectrum
    starts, ends : ndarray, shape (bars,)
        Seconds.
    beat : float
        Seconds.
    until : float
        Where the music ends, seconds.

    Returns
    -------
    list of Span
        From the fall to the re-entry.
    """
    if len(starts) < 4:
        return []
    decibels = ndimage.maximum_filter1d(spectrum.decibels, 3)
    centres = (starts + ends) / 2
    medians = np.array(
        [np.median(decibels[_frame(spectrum, a) : _frame(spectrum, b) + 1]) for a, b in zip(starts, ends, strict=True)]
    )
    # The bars around, not the bar itself: a stop of a whole bar would set its own measure.
    around = ndimage.median_filter(medians, 5, mode="nearest")
    usual = np.interp(spectrum.seconds, centres, around)
    low = decibels < usual - _STOP_DB
    low[: _frame(spectrum, starts[0])] = False
    low[_frame(spectrum, min(ends[-1], until)) :] = False
    gaps = [(a, b) for a, b in _stretches(low) if (b - a) / FRAME_RATE / beat >= _STOP_BEATS[0]]
    loud = float(np.percentile(medians, 90))
    bar = float(np.median(ends - starts)) * FRAME_RATE
    stops = []
    for first, last in gaps:
        near = sum(abs(a - first) < 4 * bar for a, _ in gaps)
        if (last - first) / FRAME_RATE / beat > _STOP_BEATS[1] or near > _STOP_CROWD:
            continue
        before = decibels[max(0, first - round(beat * FRAME_RATE)) : first].max(initial=-100)
        after = decibels[last : last + round(2 * beat * FRAME_RATE)].max(initial=-100)
        level = usual[first]
        if min(before, after) < level - 3 or level < loud - _STOP_FULL_DB:
            continue
        depth = level - float(np.median(decibels[first:last]))
        confidence = float(np.clip((depth - _STOP_DB) / 12 + 0.5, 0, 0.95))
        stops.append((float(spectrum.seconds[first]), float(spectrum.seconds[last]), round(confidence, 3)))
    return stops


def _stretches(mask: np.ndarray) -> list[tuple[int, int]]:
    """Runs of True: index of the first, and of the last or the end of the mask."""
    edges = np.flatnonzero(np.diff(np.concatenate([[0], mask.astype(np.int8), [0]])))
    return [(int(a), int(min(b, len(mask) - 1))) for a, b in edges.reshape(-1, 2)]


def find_talk(spectrum: Spectrum, quiet: list[tuple[float, float]]) -> list[Span]:
    """Speech in the stretches without music.

    Parameters
    ----------
    spectrum : Spectrum
    quiet : list of (float, float)
        Stretches without music, seconds.

    Returns
    -------
    list of Span
    """
    decibels = spectrum.decibels
    span = round(FRAME_RATE)
    mean = ndimage.uniform_filter1d(decibels, span, mode="nearest")
    swing = np.sqrt(np.maximum(ndimage.uniform_filter1d(decibels**2, span, mode="nearest") - mean**2, 0))
    top = ndimage.maximum_filter1d(decibels, span)
    spoken = (top > _TALK_FLOOR_DB) & (swing > _TALK_SWING_DB)
    spoken = ndimage.binary_closing(spoken, np.ones(3 * span), border_value=0)
    talk = []
    for start, end in quiet:
        first, last = _frame(spectrum, start), _frame(spectrum, end)
        for a, b in _stretches(spoken[first:last]):
            if (b - a) / FRAME_RATE < _TALK_SECONDS:
                continue
            strength = float(np.median(swing[first + a : first + b])) / _TALK_SWING_DB
            confidence = round(float(np.clip(strength - 0.7, 0.3, 0.9)), 3)
            talk.append((float(spectrum.seconds[first + a]), float(spectrum.seconds[first + b]), confidence))
    return talk


def music_start(spectrum: Spectrum, bar_one: float, beat: float, earliest: float) -> float:
    """First sound of the song: bar 1, or a pickup that leads into it.

    Parameters
    ----------
    spectrum : Spectrum
    bar_one, beat : float
        Seconds.
    earliest : float
        What lies before belongs to talk or a count-in.

    Returns
    -------
    float
        Seconds.
    """
    decibels = spectrum.decibels
    loud = _loudness(decibels, spectrum, bar_one, bar_one + 8 * beat)
    frame = _frame(spectrum, bar_one)
    lowest = _frame(spectrum, max(earliest, bar_one - 4 * beat))
    while frame > lowest and decibels[frame - 1 : frame + 1].max() > loud - 15:
        frame -= 1
    found = float(spectrum.seconds[frame])
    # Within a few frames the window of the transform, not the player, came early.
    return bar_one if bar_one - found < 0.12 else found


def music_end(spectrum: Spectrum, last_bar: float, limit: float) -> float:
    """Where the last sound has died away: 38 dB under loud passages, or as far as the noise of the room allows.

    Parameters
    ----------
    spectrum : Spectrum
    last_bar : float
        Start of the last bar, seconds.
    limit : float
        The end is sought before this, seconds.

    Returns
    -------
    float
        Seconds.
    """
    decibels = ndimage.uniform_filter1d(spectrum.decibels, 15, mode="nearest")
    first, last = _frame(spectrum, last_bar), _frame(spectrum, limit)
    loud = float(np.percentile(decibels, 95))
    floor = float(np.percentile(decibels[first : last + 1], 2))
    quiet = decibels[first : last + 1] < max(loud - _ENDED_DB, floor + 4)
    # The first half second that stays quiet: a gap before a last hit is no end.
    stays = ndimage.minimum_filter1d(quiet.astype(np.uint8), 50, origin=-25)
    found = np.flatnonzero(stays)
    return float(spectrum.seconds[first + (int(found[0]) if len(found) else last - first)])
