"""The song with a click and a count into every cue, to practise hands by ear; mixed, and the click and count alone.

RIFF WAVE. Nothing in it plays light: it carries sounds. What is counted is where the hand begins.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

from cuesuggest.export.common.mix import gain
from cuesuggest.export.common.options import Options, RecordedSound, needed_sound
from cuesuggest.export.common.riff import wav
from cuesuggest.export.common.show_bars import show_end
from cuesuggest.export.common.show_sound import info, shown, sixteen_bits, sixteen_bits_format, spans
from cuesuggest.export.common.timing import before_start
from cuesuggest.export.desk.counting import Counted, beats_of_bars, counts, cut_short
from cuesuggest.export.desk.timecode import check_length
from cuesuggest.export.desk.tones import figure, go, pips, side_pitch, struck

if TYPE_CHECKING:
    import numpy as np

    from cuesuggest.song import Song

__all__ = ["write_alone", "write_mixed"]

# Decibels of full scale. Together they stay below it, so that the song is heard as it is, only softer.
_USUAL = {"song": -6.0, "click": -18.0, "count": -9.0}

_Tone = tuple[int, "np.ndarray"]
"""First frame, and its samples."""


def write_mixed(song: Song, options: Options) -> bytes:
    """Write the song with click and count on both ears.

    Parameters
    ----------
    song : Song
    options : Options
        Needs `sound`. The file starts at second 0 of the show and ends with the song.

    Returns
    -------
    bytes
        A WAV file: 16 bits, two channels, at the recording's rate.
    """
    sound = needed_sound(options, "practice")
    share = _shares(options)["song"]
    tones, frames = _tones(song, options, sound), _frames(song, options, sound)

    def blocks() -> Iterator[bytes]:
        for (start, stop), block in zip(spans(frames), shown(sound, options.timing.offset, frames), strict=True):
            yield sixteen_bits(share * _two_channels(block) + _block(tones, start, stop)[:, None])

    return wav([sixteen_bits_format(sound.rate, 2)], blocks(), [_about(song, options)])


def write_alone(song: Song, options: Options) -> bytes:
    """Write click and count alone, for a track of its own beside the song.

    Parameters
    ----------
    song : Song
    options : Options
        As for `write_mixed`.

    Returns
    -------
    bytes
        A WAV file: 16 bits, one channel, at the recording's rate; as long as the mixed one, and as loud.
    """
    sound = needed_sound(options, "practice")
    tones, frames = _tones(song, options, sound), _frames(song, options, sound)
    blocks = (sixteen_bits(_block(tones, start, stop)) for start, stop in spans(frames))
    return wav([sixteen_bits_format(sound.rate, 1)], blocks, [_about(song, options)])


def _about(song: Song, options: Options) -> bytes:
    return info(song, options, *before_start(song, options.timing), *cut_short(song, options))


def _frames(song: Song, options: Options, sound: RecordedSound) -> int:
    end = show_end(song, options.timing)
    check_length(end, "practice")
    return round(end * sound.rate)


def _shares(options: Options) -> dict[str, float]:
    """Of full scale; all are turned down alike where together they would be beyond it."""
    shares = {name: gain(options.mix, name, usual) for name, usual in _USUAL.items()}
    most = max(sum(shares.values()), 1.0)
    return {name: share / most for name, share in shares.items()}


def _tones(song: Song, options: Options, sound: RecordedSound) -> list[_Tone]:
    shares, rate = _shares(options), sound.rate
    found = [
        (_first(at, rate), shares["click"] * struck(rate, downbeat)) for at, downbeat in beats_of_bars(song, options)
    ]
    all_ = counts(song, options)
    sides = sorted({each.told.cue.side for each in all_ if each.told.cue.side})
    together: dict[int, list[Counted]] = {}
    for each in all_:
        together.setdefault(_first(each.at, rate), []).append(each)
    found += [
        # Tones that come at once share what one of them would have.
        (first, shares["count"] / len(group) * _sounding(each, sides, rate))
        for first, group in together.items()
        for each in group
    ]
    return sorted(found, key=lambda tone: tone[0])


def _first(at: float, rate: int) -> int:
    return int(at * rate + 0.5)


def _sounding(each: Counted, sides: Sequence[str], rate: int) -> np.ndarray:
    cue = each.told.cue
    pitch = side_pitch(sides.index(cue.side) if cue.side else None)
    match each.what:
        case "figure":
            return figure(rate, cue.kind, pitch)
        case "pips":
            return pips(rate, each.left, pitch)
        case _:
            return go(rate, pitch)


def _block(tones: Sequence[_Tone], start: int, stop: int) -> np.ndarray:
    """The tones that sound between two frames."""
    import numpy as np

    mixed = np.zeros(stop - start, np.float32)
    longest = max((len(wave) for _, wave in tones), default=0)
    inside = slice(*(bisect_left(tones, frame, key=lambda tone: tone[0]) for frame in (start - longest, stop)))
    for first, wave in tones[inside]:
        left, right = max(first, start), min(first + len(wave), stop)
        if left < right:
            mixed[left - start : right - start] += wave[left - first : right - first]
    return mixed


def _two_channels(block: np.ndarray) -> np.ndarray:
    """One channel, or more than two, on both ears."""
    if block.shape[1] == 2:
        return block
    mean: np.ndarray = block.mean(axis=1, keepdims=True)
    return mean.repeat(2, axis=1)
