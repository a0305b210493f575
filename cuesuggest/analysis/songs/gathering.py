"""Attempts at one song put together, whatever lies between them; and the one of each song that has most of it."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

import numpy as np

from cuesuggest.analysis.songs.harmony import likeness

__all__ = ["SAME_SONG", "gathered", "most_complete", "recognised_as", "song_likeness"]

SAME_SONG = 0.42
"""Likeness from which two pieces are taken for one song: of 621 pairs of different songs the likest have 0.38, of 29
pairs of attempts at one song the least like 0.45 (fit and choose sets)."""

_MAYBE = 0.25
"""Likeness from which two pieces may be one song, played so differently that their harmony alone does not tell."""

_OTHER_TEMPO = 0.1  # of likeness lost, as bands play a song at about one tempo
_TEMPO_REACH = 0.18  # octaves, one eighth faster or slower


def song_likeness(first: tuple[np.ndarray, float], second: tuple[np.ndarray, float]) -> float:
    """How surely two pieces are one song.

    Parameters
    ----------
    first, second : tuple of ndarray and float
        Harmony as `harmony.bar_harmony` gives it, and tempo in BPM.
    """
    apart = abs(math.log2(first[1] / second[1]))
    return likeness(first[0], second[0]) - (_OTHER_TEMPO if apart > _TEMPO_REACH else 0.0)


def gathered(
    pieces: Sequence[tuple[np.ndarray, float]], one_song: Callable[[int, int], bool] | None = None
) -> list[int]:
    """Number the songs that pieces are attempts at: those that are most alike on average are put together first.

    Parameters
    ----------
    pieces : sequence of tuple of ndarray and float
        As for `song_likeness`.
    one_song : callable, optional
        Whether two pieces, by their places, are one song: asked where their harmony leaves it open.

    Returns
    -------
    list of int
        Song of each piece, counted from 0 in the order in which they are first played.
    """
    count = len(pieces)
    alike = np.zeros((count, count))
    for i in range(count):
        for j in range(i):
            alike[i, j] = song_likeness(pieces[i], pieces[j])
            if one_song and _MAYBE <= alike[i, j] < SAME_SONG and one_song(j, i):
                alike[i, j] = SAME_SONG
            alike[j, i] = alike[i, j]
    songs = [[k] for k in range(count)]
    while len(songs) > 1:
        pairs = [(float(alike[np.ix_(songs[i], songs[j])].mean()), i, j) for i in range(len(songs)) for j in range(i)]
        best, i, j = max(pairs)
        if best < SAME_SONG:
            break
        songs[j] += songs.pop(i)
    numbers = {piece: number for number, song in enumerate(sorted(songs, key=min)) for piece in song}
    return [numbers[k] for k in range(count)]


def recognised_as(
    piece: tuple[np.ndarray, float],
    known: Sequence[tuple[np.ndarray, float]],
    one_song: Callable[[int], bool] | None = None,
) -> int | None:
    """Tell which of several known songs a piece is: the one that is most like it; None where it is none of them.

    Parameters
    ----------
    piece : tuple of ndarray and float
        As for `song_likeness`.
    known : sequence of tuple of ndarray and float
    one_song : callable, optional
        Whether the piece and a known song, by its place, are one song: asked where the harmony of all leaves it open,
        the likest first.
    """
    alike = [song_likeness(piece, each) for each in known]
    likest = sorted((k for k in range(len(known)) if alike[k] >= _MAYBE), key=lambda k: -alike[k])
    if likest and alike[likest[0]] >= SAME_SONG:
        return likest[0]
    return next((k for k in likest if one_song and one_song(k)), None)


def most_complete(songs: Sequence[int], bars: Sequence[int]) -> list[bool]:
    """Tell of each piece whether it has most of its song: the most bars, and the latest of those that have as many.

    Parameters
    ----------
    songs, bars : sequence of int
        Of each piece, in the order played.
    """
    best = {
        song: max(k for k in range(len(songs)) if songs[k] == song and bars[k] == most)
        for song, most in {
            song: max(b for s, b in zip(songs, bars, strict=True) if s == song) for song in songs
        }.items()
    }
    return [best[song] == k for k, song in enumerate(songs)]
