"""Where the music starts, where its last attack is, and where its last sound has died away.

The last attack is sought in the frames, not in the beats: a decoder goes on beating time in a held chord, or stops
before it. The end is where the level has fallen 38 dB under loud passages. Where the noise of the room hides that, the
decay seen so far is carried on in a straight line, as it would be without noise.
"""

from __future__ import annotations

import numpy as np
from scipy import ndimage

from cuesuggest.analysis.finding.scene import Heard
from cuesuggest.analysis.finding.spans import frame_at, loudness
from cuesuggest.analysis.spectrum import FRAME_RATE, Spectrum

__all__ = ["last_attack", "loud_level", "music_end", "music_limit", "music_start"]

_ENDED_DB = 38.0
_FLOOR_DB = 6.0  # over the noise, nothing is heard of the music any more
_SMOOTH = 7  # frames
_STAYS = 50  # frames of quiet that are an end; a gap before a last hit is none
_FOREIGN = 10  # tenths of a second of talk or crowd that are no word of a singer
_STRONG = 0.5  # of the usual attack on a one: what the last attack has at least
_FIT_SECONDS = 0.4  # of decay, at least, to carry on
_STRAIGHT_DB, _FALL_DB = 1.5, 10.0  # only a decay that is seen to fall so far, on a line so straight, is carried on
_MOST_LONGER = 3.0  # seconds that noise may hide


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
    loud = loudness(spectrum, bar_one, bar_one + 8 * beat)
    frame = frame_at(spectrum, bar_one)
    lowest = frame_at(spectrum, max(earliest, bar_one - 4 * beat))
    while frame > lowest and decibels[frame - 1 : frame + 1].max() > loud - 15:
        frame -= 1
    found = float(spectrum.seconds[frame])
    # Within a few frames the window of the transform, not the player, came early.
    return bar_one if bar_one - found < 0.12 else found


def music_limit(spectrum: Spectrum, heard: Heard, after: float) -> float:
    """Where talk or a crowd takes over for good after the song, or the end of the recording.

    Parameters
    ----------
    spectrum : Spectrum
    heard : Heard
    after : float
        A time well inside the song.

    Returns
    -------
    float
        Seconds.
    """
    foreign = (np.maximum(heard.talk, heard.crowd) > 0) & (heard.music < 0)
    foreign[heard.seconds <= after] = False
    # Not after the last that is music: a shout in a break does not end a song.
    music = np.flatnonzero(heard.music > 2)
    foreign[: (int(music[-1]) if len(music) else 0)] = False
    stays = ndimage.minimum_filter1d(foreign.astype(np.uint8), _FOREIGN, origin=-(_FOREIGN // 2))
    found = np.flatnonzero(stays)
    return float(heard.seconds[found[0]]) if len(found) else spectrum.end


def loud_level(spectrum: Spectrum, start: float, end: float) -> float:
    """Level of loud passages between two times, in dB."""
    part = ndimage.uniform_filter1d(spectrum.level, 3)[frame_at(spectrum, start) : frame_at(spectrum, end) + 1]
    return float(10 * np.log10(max(float(np.percentile(part, 95)), 1e-10)))


def last_attack(spectrum: Spectrum, heard: Heard, ones: np.ndarray, limit: float) -> tuple[float, float]:
    """The last attack that is about as strong as the usual one on a downbeat.

    Parameters
    ----------
    spectrum : Spectrum
    heard : Heard
    ones : ndarray, shape (bars,), bars >= 1
        Downbeats, seconds.
    limit : float
        What comes later is no music.

    Returns
    -------
    seconds, strength : float
        Strength as a share of the usual one.
    """
    rise = spectrum.rise
    at = [frame_at(spectrum, one) for one in ones[-16:]]
    usual = float(np.median([rise[max(0, f - 3) : f + 4].max() for f in at])) + 1e-6
    music = np.interp(spectrum.seconds, heard.seconds, heard.music)
    top = (rise == ndimage.maximum_filter1d(rise, 9)) & (rise >= _STRONG * usual) & (music > -1)
    top[frame_at(spectrum, limit) + 1 :] = False
    top[: at[0]] = False
    found = np.flatnonzero(top)
    frame = int(found[-1]) if len(found) else at[-1]
    return float(spectrum.seconds[frame]), float(rise[frame] / usual)


def music_end(spectrum: Spectrum, attack: float, loud: float, limit: float) -> float:
    """Where the last sound has died away.

    Parameters
    ----------
    spectrum : Spectrum
    attack : float
        Seconds of the last attack.
    loud : float
        Level of loud passages, dB.
    limit : float
        Where talk or a crowd takes over, or the recording ends; seconds.

    Returns
    -------
    float
        Seconds.
    """
    smooth = 10 * np.log10(np.maximum(ndimage.uniform_filter1d(spectrum.level, _SMOOTH, mode="nearest"), 1e-10))
    first, last = frame_at(spectrum, attack), frame_at(spectrum, limit)
    part = smooth[first : last + 1]
    floor = float(np.percentile(part, 2)) + _FLOOR_DB
    aim = loud - _ENDED_DB
    quiet = part < max(aim, floor)
    stays = ndimage.minimum_filter1d(quiet.astype(np.uint8), _STAYS, mode="nearest", origin=-(_STAYS // 2))
    found = np.flatnonzero(stays)
    if not len(found):
        return float(spectrum.seconds[last])
    end = int(found[0])
    return float(spectrum.seconds[first + end]) + (_hidden(part, end, floor, aim) if floor > aim else 0.0)


def _hidden(level: np.ndarray, end: int, floor: float, aim: float) -> float:
    """Seconds that a decay would go on from the floor down to what is aimed at, if it went on evenly."""
    clear = 10 * np.log10(np.maximum(10 ** (level[:end] / 10) - 10 ** ((floor - _FLOOR_DB) / 10), 1e-10))
    begin = int(np.argmax(level[:end])) if end else 0
    length = end - begin
    if length < _FIT_SECONDS * FRAME_RATE:
        return 0.0
    late = clear[begin + length // 3 : end]
    at = np.arange(len(late)) / FRAME_RATE
    slope, offset = (float(value) for value in np.polyfit(at, late, 1))
    straight = float(np.std(late - offset - slope * at)) <= _STRAIGHT_DB
    if not straight or slope * at[-1] > -_FALL_DB:
        return 0.0
    return float(np.clip((floor - aim) / -slope, 0, _MOST_LONGER))
