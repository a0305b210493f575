"""The songs of a long recording: what a band plays through, apart from talk, tuning, riffs, clicks and false starts."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from cuesuggest.analysis.songs.harmony import opening_alike
from cuesuggest.analysis.songs.played import Played, played_in
from cuesuggest.analysis.songs.sounding import sounding
from cuesuggest.analysis.spectrum import Spectrum

__all__ = ["Found", "find_songs"]

_SHORTEST_SONG = 40.0  # s; riffs, sound checks and places that are tried over are shorter, songs are longer
_LEVELS = (1.0, 2.0, 0.5, 1.5, 2 / 3)  # at which one tempo may be read
_MORE_LEVELS = (*_LEVELS, 3.0, 1 / 3, 4 / 3, 0.75)
_SAME_TEMPO = 0.04
_SOON = 3.0  # s; nobody begins again so soon: where music sounds all the time, it is one piece
_SURELY_CLEAR = 6.0  # nats; no click and no riff is so clear
_UNREAD_SECONDS = 16.0  # a passage in the middle of a song whose beats are not read
_BROKEN_SECONDS = 12.0  # after which a band that broke off goes on where it was
_LONGEST_FALSE_START, _MOST_SHARE = 60.0, 0.45  # s, and of what follows: one that went further is an attempt
_AGAIN_SECONDS = 60.0  # within which the song is begun again
# How like each other the beginnings of two pieces are: 0.9 and more where a band begins again, but for some that begin
# freely; 0.3 and less where it goes on, but for songs that go round and round.
_FROM_THE_TOP = 0.6


@dataclass(frozen=True, slots=True)
class Found:
    """A piece of music in a long recording.

    Attributes
    ----------
    kind : str
        "song"; "false start", begun again from the top shortly after; "fragment", too short for a song.
    played : Played
    """

    kind: Literal["song", "false start", "fragment"]
    played: Played


def find_songs(spectrum: Spectrum, logits: Sequence[np.ndarray]) -> list[Found]:
    """Find the songs of a recording, and what else is played with a pulse.

    Parameters
    ----------
    spectrum : Spectrum
        Of the whole recording.
    logits : sequence of ndarray, shape (7, frames)
        What each network made of it.

    Returns
    -------
    list of Found
        In order.
    """
    stretches = sounding(logits, spectrum.start)
    edges = [(spectrum.start, spectrum.start), *stretches, (spectrum.end, spectrum.end)]
    pieces: list[Played] = []
    for (_, before), (start, end), (after, _) in zip(edges, edges[1:], edges[2:], strict=False):
        pieces += _joined(spectrum, played_in(spectrum, start, end, before, after), at_once=True)
    pieces = _joined(spectrum, pieces, at_once=False)
    return [Found(kind, piece) for kind, piece in zip(_kinds(spectrum, pieces), pieces, strict=True)]


def _same_tempo(first: Played, second: Played, levels: Sequence[float] = _LEVELS) -> bool:
    ratio = first.tempo_bpm / second.tempo_bpm
    return any(abs(ratio / level - 1) < _SAME_TEMPO for level in levels)


def _joined(spectrum: Spectrum, pieces: Sequence[Played], *, at_once: bool) -> list[Played]:
    """Join what goes on at the same tempo after a while.

    Parameters
    ----------
    spectrum : Spectrum
    pieces : sequence of Played
        In order.
    at_once : bool
        Whether music sounds between them all: a passage whose beats are not read. Elsewhere, and where it falls
        silent, the band has broken off: then it must not begin as before.
    """
    joined: list[Played] = []
    for piece in pieces:
        last = joined[-1] if joined else None
        if last is None or not _goes_on(spectrum, last, piece, at_once):
            joined.append(piece)
            continue
        longer = max(last, piece, key=lambda each: each.length)
        beats = np.append(last.beats, piece.beats)
        joined[-1] = replace(longer, start=last.start, end=piece.end, beats=beats)
    return joined


def _goes_on(spectrum: Spectrum, last: Played, piece: Played, at_once: bool) -> bool:
    gap = piece.start - last.end
    if at_once and gap < _SOON:
        return min(last.clear, piece.clear) >= _SURELY_CLEAR or _same_tempo(last, piece, _MORE_LEVELS)
    longest, levels = (_UNREAD_SECONDS, _LEVELS) if at_once else (_BROKEN_SECONDS, (1.0,))
    if gap >= longest or not _same_tempo(last, piece, levels):
        return False
    if at_once and piece.length < _MOST_SHARE * last.length:
        return True  # the rest of a song: nobody begins again for so little
    return opening_alike(spectrum, last.beats, piece.beats) < _FROM_THE_TOP


def _kinds(spectrum: Spectrum, pieces: Sequence[Played]) -> list[Literal["song", "false start", "fragment"]]:
    kinds: list[Literal["song", "false start", "fragment"]] = []
    # From the last to the first: a false start may be followed by another.
    song: Played | None = None
    for k in range(len(pieces) - 1, -1, -1):
        piece = pieces[k]
        if song is not None and _begun_again(spectrum, piece, pieces[k + 1], song):
            kinds.insert(0, "false start")
            continue
        long = piece.length >= _SHORTEST_SONG
        kinds.insert(0, "song" if long else "fragment")
        song = piece if long else song
    return kinds


def _begun_again(spectrum: Spectrum, piece: Played, after: Played, song: Played) -> bool:
    """Whether a piece is a false start of the song, before which another false start may lie."""
    return (
        piece.length < min(_LONGEST_FALSE_START, _MOST_SHARE * song.length)
        and after.start - piece.end < _AGAIN_SECONDS
        and _same_tempo(piece, song)
        and opening_alike(spectrum, piece.beats, song.beats) >= _FROM_THE_TOP
    )
