"""The song on the left and linear timecode on the right, for players of two channels that run a show.

RIFF WAVE; SMPTE ST 12-1. The right channel goes to what follows the timecode, never to people's ears.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from cuesuggest.export.common.mix import gain
from cuesuggest.export.common.options import Options, needed_sound
from cuesuggest.export.common.riff import wav
from cuesuggest.export.common.show_bars import show_end
from cuesuggest.export.common.show_sound import info, shown, sixteen_bits, sixteen_bits_format, spans
from cuesuggest.export.desk.timecode import LEVEL, check_length, linear_block, linear_edges

if TYPE_CHECKING:
    from cuesuggest.song import Song

__all__ = ["write"]

_LEAST_RATE = 22_050  # Hz; at less an edge of the signal is no edge any more: the rate is doubled, or more


def write(song: Song, options: Options) -> bytes:
    """Write the song with timecode beside it.

    Parameters
    ----------
    song : Song
    options : Options
        Needs `sound`. The file starts at second 0 of the show, where the timecode starts, and ends with the song.

    Returns
    -------
    bytes
        A WAV file: 16 bits, two channels, at the recording's rate.

    Raises
    ------
    CuesuggestError
        If there is no sound, or it would last more than five hours.
    """
    sound = needed_sound(options, "show-audio")
    times = -(-_LEAST_RATE // sound.rate)
    rate = times * sound.rate
    end = show_end(song, options.timing)
    check_length(end, "show-audio")
    frames = round(end * rate)
    edges = linear_edges(options, end, rate)
    share, peak = gain(options.mix, "song", 0.0), gain(options.mix, "timecode", LEVEL)

    def blocks() -> Iterator[bytes]:
        import numpy as np

        for (start, stop), block in zip(spans(frames), shown(sound, options.timing.offset, frames, times), strict=True):
            left = np.frombuffer(sixteen_bits(share * block.mean(axis=1)), "<i2")
            yield np.column_stack([left, linear_block(edges, start, stop, rate, peak)]).tobytes()

    said = "Song left, timecode right: the right channel is not for people's ears."
    return wav([sixteen_bits_format(rate, 2)], blocks(), [info(song, options, said)])
