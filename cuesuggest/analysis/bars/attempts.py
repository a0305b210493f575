"""False starts: the band plays some bars, breaks off, and begins again from the top.

What tells one from a song with a pause in it: it is short beside what follows, and what follows begins with the same
music. Sameness is measured on beats, by harmony and colour, and set against how like each other any two places of the
song are; where exactly the song begins again is where it is most alike, as there may be talk and a count before it.

A decoder carries its beats over a silence if the pulse happens to fit. So a stretch of beats is also parted where it
falls silent for longer than a stop in the song; if the band began again there, the beats are read once more with nobody
playing in between.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from scipy import ndimage

from cuesuggest.analysis.finding.likely import probability
from cuesuggest.analysis.finding.scene import Candidate
from cuesuggest.analysis.finding.spans import joined, loudness, stretches
from cuesuggest.analysis.frames import FRAME_RATE
from cuesuggest.analysis.rhythm.evidence import Evidence
from cuesuggest.analysis.rhythm.tidy import NOBODY
from cuesuggest.analysis.spectrum import CHROMA_RATE, Spectrum, running_sums

__all__ = ["Attempt", "attempts", "carried_over", "unplayed"]

_LONGEST = 32  # beats from the top that are compared
_FEWEST = 4
_LATEST = 16  # beats of what follows that may be talk or a count before the song
_SOFTER_DB = 5.0  # that talk and a count are under the band
_COLOURS = 16  # groups of bands
_MOST_SHARE = 0.5  # of what follows: an attempt that is longer is no false start
_SILENT_DB = 22.0  # under the loud passages, in a noisy room
_STILL_DB = 30.0  # the same where the recording goes down so far: there a soft beginning is no silence
_OVER_FLOOR_DB = 8.0
_SILENT_SECONDS = 0.3
_BETWEEN_SECONDS = 3.0  # from one silence to the next, with a word or a stick between them
_BREAK_SECONDS = 1.4  # that a silence lasts with all that; most stops are shorter
_LEAST_SURE = 0.5
_EARLY = 0.6  # s before the first beat of the song, which the decoder needs to be in music


@dataclass(frozen=True, slots=True)
class Attempt:
    """Music that may be a false start.

    Attributes
    ----------
    candidate : Candidate
        From its first beat to a beat after its last.
    ended : float
        Seconds, half a beat after its last.
    again : float
        Seconds at which the song begins again.
    """

    candidate: Candidate
    ended: float
    again: float


def attempts(spectrum: Spectrum, beats: np.ndarray, runs: np.ndarray) -> list[Attempt]:
    """List the stretches of music that may be false starts, each set against what follows it.

    A silence after which something else follows, such as a stop, is part of the attempt.

    Parameters
    ----------
    spectrum : Spectrum
    beats : ndarray, shape (beats,)
        Seconds.
    runs : ndarray of int, shape (beats,)
        Which stretch of music each beat belongs to.

    Returns
    -------
    list of Attempt
        In order of time. Those that are likelier false starts than not follow one another; the last, where it is not,
        is the likeliest one before the song goes on.
    """
    if not len(beats):
        return []
    parts = _parts(spectrum, beats, runs)
    if len(parts) < 2:
        return []
    sounds = _sounds(spectrum, beats)
    some = sounds[:: max(1, len(sounds) // (2 * _LONGEST))]
    usual = float(np.median(some @ some.T))
    found: list[Attempt] = []
    doubtful: list[Attempt] = []
    first = int(parts[0][0])
    for here, after in pairwise(parts):
        latest = int(after[0]) + _counted_along(spectrum, beats[after[0] :])
        each = _attempt(beats, sounds, usual, (first, int(here[-1]), int(after[0]), latest))
        if each is None:
            continue
        if probability(each.candidate) >= _LEAST_SURE:
            found.append(each)
            first, doubtful = int(after[0]), []
        else:
            doubtful.append(each)
    return found + sorted(doubtful, key=lambda each: -probability(each.candidate))[:1]


def _counted_along(spectrum: Spectrum, beats: np.ndarray) -> int:
    """How many beats after a silence may be talk or a count: as long as it is clearly softer than what follows."""
    level = np.array([loudness(spectrum, a, b) for a, b in pairwise(beats[: 2 * _LATEST + 1])])
    for late in range(min(_LATEST, len(level) - _LATEST), 0, -1):
        if level[:late].max() < level[late : late + _LATEST].mean() - _SOFTER_DB:
            return late
    return 0


def _attempt(beats: np.ndarray, sounds: np.ndarray, usual: float, at: tuple[int, int, int, int]) -> Attempt | None:
    """Compare the beats from the first to the last of what may be an attempt with those from the next part on.

    Parameters
    ----------
    beats : ndarray, shape (beats,)
    sounds : ndarray, shape (beats, n)
    usual : float
        How like each other any two beats are.
    at : (int, int, int, int)
        Its first and last beat; the first beat of the next part, and the last at which the song may begin again.
    """
    first, end, follows, latest = at
    here = np.arange(first, end + 1)
    last = float(beats[end])
    share = (last - float(beats[first])) / max(float(beats[-1] - beats[follows]), 1e-3)
    alike, late, count = _most_alike(sounds[here], sounds[follows:], latest - follows)
    if count < _FEWEST or share > _MOST_SHARE:
        return None
    start = follows + late
    usual_step = _step(beats, 0.5)
    pace, next_pace = (_step(beats[part], usual_step) for part in (here, np.arange(start, len(beats))))
    again = float(beats[start])
    features = {
        "alike": (alike - usual) / max(1 - usual, 1e-3),
        "compared": float(np.log2(count)),
        "beats": float(np.log2(len(here))),
        "share": share,
        "gap": float(np.log2(max(again - last, 0.25))),
        "tempo": min(abs(float(np.log2(next_pace / pace))), 1.0),
    }
    candidate = Candidate("false-start", float(beats[first]), min(last + pace, again), features)
    return Attempt(candidate, last + pace / 2, again)


def carried_over(spectrum: Spectrum, beats: np.ndarray, runs: np.ndarray) -> list[tuple[float, float]]:
    """Where beats were told from a false start into the song, although nobody played.

    Parameters
    ----------
    spectrum : Spectrum
    beats : ndarray, shape (beats,)
    runs : ndarray of int, shape (beats,)

    Returns
    -------
    list of (float, float)
        Seconds, from the end of an attempt to shortly before the beginning of the next.
    """
    found = []
    for each in attempts(spectrum, beats, runs):
        if probability(each.candidate) < _LEAST_SURE:
            break
        if ((beats > each.ended) & (beats < each.again - _EARLY)).any():
            found.append((each.ended, each.again - _EARLY))
    return found


def unplayed(evidence: Evidence, spans: list[tuple[float, float]], start: float) -> Evidence:
    """The evidence with nobody playing in some spans.

    Parameters
    ----------
    evidence : Evidence
    spans : list of (float, float)
        Seconds.
    start : float
        Seconds of the first frame.
    """
    seconds = start + np.arange(len(evidence.beat)) / FRAME_RATE
    silent = np.zeros(len(seconds), bool)
    for a, b in spans:
        silent |= (seconds > a) & (seconds < b)
    lowest = evidence.beat.min()
    return replace(
        evidence, beat=np.where(silent, lowest, evidence.beat), music=np.where(silent, NOBODY, evidence.music)
    )


def _parts(spectrum: Spectrum, beats: np.ndarray, runs: np.ndarray) -> list[np.ndarray]:
    """Indexes of the beats of each stretch, parted where it falls silent for long; beats in a silence are in none."""
    part = np.cumsum(np.diff(runs, prepend=runs[0]) != 0)
    inside = np.ones(len(beats), bool)
    for start, end in _silences(spectrum):
        inside &= (beats <= start) | (beats >= end)
        part += beats >= end
    return [np.flatnonzero(inside & (part == k)) for k in np.unique(part[inside])]


def _step(beats: np.ndarray, otherwise: float) -> float:
    """Seconds from beat to beat."""
    return float(np.median(np.diff(beats))) if len(beats) > 1 else otherwise


def _silences(spectrum: Spectrum) -> list[tuple[float, float]]:
    """Where it is silent for longer than a stop, but for a word or a stick."""
    decibels = ndimage.maximum_filter1d(spectrum.decibels, round(0.2 * FRAME_RATE))
    floor, loud = np.percentile(decibels, (1, 90))
    silent = decibels < min(loud - _SILENT_DB, max(loud - _STILL_DB, floor + _OVER_FLOOR_DB))
    spans = [
        (spectrum.start + a / FRAME_RATE, spectrum.start + b / FRAME_RATE)
        for a, b in stretches(silent)
        if b - a >= _SILENT_SECONDS * FRAME_RATE
    ]
    return [(start, end) for start, end in joined(spans, _BETWEEN_SECONDS) if end - start >= _BREAK_SECONDS]


def _most_alike(first: np.ndarray, follows: np.ndarray, latest: int) -> tuple[float, int, int]:
    """How alike the beginning of what follows is, after how many beats, and how many beats were compared."""
    count = min(_LONGEST, len(first), len(follows))
    if not count:
        return 0.0, 0, 0
    places = range(min(latest, len(follows) - count) + 1)
    alike = [float(np.einsum("ij,ij->i", first[:count], follows[at : at + count]).mean()) for at in places]
    best = int(np.argmax(alike))
    return alike[best], best, count


def _sounds(spectrum: Spectrum, beats: np.ndarray) -> np.ndarray:
    """Harmony and colour of each beat, of length 1."""
    ends = np.append(beats[1:], 2 * beats[-1] - beats[-2] if len(beats) > 1 else beats[-1] + 0.5)
    ends = np.minimum(ends, beats + 2 * float(np.median(ends - beats)))  # the last of an attempt
    bands = spectrum.bands.reshape(len(spectrum.bands), _COLOURS, -1).mean(axis=2)
    parts = []
    for rows, rate in ((spectrum.chroma, CHROMA_RATE), (bands, FRAME_RATE)):
        sums = running_sums(rows)
        a, b = (np.clip(np.rint((t - spectrum.start) * rate).astype(int), 0, len(rows) - 1) for t in (beats, ends))
        mean = (sums[np.maximum(b, a + 1)] - sums[a]) / np.maximum(b - a, 1)[:, None]
        mean -= mean.mean(axis=0)
        parts.append(mean / np.maximum(np.linalg.norm(mean, axis=1, keepdims=True), 1e-6))
    return np.asarray(np.concatenate(parts, axis=1) / np.sqrt(2))
