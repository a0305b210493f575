"""What is put right after decoding: where beats end, gaps that the pulse crosses, beats where there is no music."""

from __future__ import annotations

import numpy as np
from scipy import ndimage

from cuesuggest.analysis.rhythm.beat_grid import BeatGrid
from cuesuggest.analysis.rhythm.evidence import Evidence, top_near
from cuesuggest.analysis.rhythm.music import music_odds, song_features
from cuesuggest.analysis.spectrum import Spectrum

__all__ = [
    "NOBODY",
    "bridged",
    "explained",
    "from_first_attack",
    "halved",
    "long_enough",
    "plausible",
    "until_last_attack",
]

_ATTACK_SHARE = 0.4  # of the usual rise at a beat: a weaker one may be an echo or a voice in the room
_FAINT_SHARE = 0.1  # of the usual rise: less is no sound that starts
NOBODY = -40.0  # nats of music a frame: it is known that nobody plays
_BRIDGE_MISFIT = 0.2  # beats by which the pulse after a gap may be off and still be the same pulse
_LONGEST_STOP = 9  # beats from the last before a silence to the first after it: two bars of four
_LONGEST_BRIDGE = 33  # the same where something sounds on: eight bars
_FEWEST_BEATS = 8  # two bars of four: less is no song
_FEWEST_ALONE = 4  # the same where nothing else is in the recording
_ALONE = 0.6  # of the recording that one stretch of music fills
_CLEAR_BEAT = 2.0  # nats
_NEAREST_BEATS = 6  # frames; no beats are closer
# Nats by which every second 'one' falls behind in bars of two that are halves of bars of four: 11 and more there, 6 at
# most in true ones.
_DENIED = 8.0
_FEWEST_BARS = 16
_MET = 3  # frames from a clear beat to the decoded one


def explained(grid: BeatGrid, evidence: Evidence) -> float:
    """Share of the clear beats that are among the decoded ones.

    Parameters
    ----------
    grid : BeatGrid
    evidence : Evidence

    Returns
    -------
    float
        1 where there is no clear beat.
    """
    top = ndimage.maximum_filter1d(evidence.beat, 2 * _NEAREST_BEATS + 1)
    clear = np.flatnonzero((evidence.beat > _CLEAR_BEAT) & (evidence.beat >= top))
    clear = clear[np.diff(clear, prepend=-_NEAREST_BEATS - 1) > _NEAREST_BEATS]
    if not len(clear):
        return 1.0
    decoded = np.zeros(len(evidence.beat), bool)
    decoded[grid.frames] = True
    return float(ndimage.binary_dilation(decoded, np.ones(2 * _MET + 1))[clear].mean())


def halved(grid: BeatGrid, evidence: Evidence) -> bool:
    """Whether bars of two beats are halves of bars of four: the network denies every second one of them.

    Parameters
    ----------
    grid : BeatGrid
    evidence : Evidence

    Returns
    -------
    bool
    """
    opens = grid.frames[grid.slots == 0]
    two = np.array([meter.beats == 2 for meter in grid.table])[grid.meters]
    if evidence.opens is None or len(opens) < _FEWEST_BARS or two.mean() < 0.5:
        return False
    ones = top_near(evidence.opens, opens)
    return bool(abs(ones[::2].mean() - ones[1::2].mean()) > _DENIED)


def from_first_attack(grid: BeatGrid, spectrum: Spectrum, evidence: Evidence, stated: np.ndarray) -> BeatGrid:
    """Begin with the first beat at which anything starts: silence before it can be counted, too.

    Not if two bars or more would go of which most beats are clear: that is a soft intro before a loud band.

    Parameters
    ----------
    grid : BeatGrid
    spectrum : Spectrum
    evidence : Evidence
    stated : ndarray of bool, shape (frames,)
        Where the user states that there is music.

    Returns
    -------
    BeatGrid
    """
    if len(grid.frames) < 2:
        return grid
    near = np.clip(grid.frames[:, None] + np.arange(-3, 4), 0, len(spectrum.bands) - 1)
    attacks = spectrum.rise[near].max(axis=1)
    heard = (attacks >= _FAINT_SHARE * np.percentile(attacks, 75)) | stated[grid.frames]
    first = int(np.flatnonzero(heard)[0])
    clear = top_near(evidence.beat, grid.frames[:first]) > _CLEAR_BEAT
    if first >= _FEWEST_BEATS and clear.mean() > 0.5:
        first = int(np.flatnonzero(clear)[0])
    return _kept(grid, np.arange(len(grid.frames)) >= first)


def until_last_attack(grid: BeatGrid, spectrum: Spectrum, stated: np.ndarray) -> BeatGrid:
    """End the beats with the last attack: into a chord that rings out, any decoder counts on.

    Parameters
    ----------
    grid : BeatGrid
    spectrum : Spectrum
    stated : ndarray of bool, shape (frames,)
        Where the user states that there is music.

    Returns
    -------
    BeatGrid
    """
    rise = spectrum.rise
    if len(grid.frames) < 2:
        return grid
    usual = np.percentile([rise[max(0, f - 2) : f + 3].max() for f in grid.frames], 75)
    last = int(np.flatnonzero(rise >= _ATTACK_SHARE * usual)[-1])
    heard = grid.frames <= last + 0.3 * np.median(np.diff(grid.frames))
    return _kept(grid, heard | stated[grid.frames])


def bridged(grid: BeatGrid, evidence: Evidence) -> BeatGrid:
    """Carry the beats over gaps after which the same pulse goes on: a stop, or a passage too soft to be heard.

    A pause in which the band breaks off starts the count anew; there the pulse does not fit, or too much time passes.

    Parameters
    ----------
    grid : BeatGrid
    evidence : Evidence

    Returns
    -------
    BeatGrid
    """
    for run in np.unique(grid.runs)[1:]:
        after = int(np.flatnonzero(grid.runs == run)[0])
        before = after - 1
        if grid.meters[before] != grid.meters[after]:
            continue
        near = slice(max(0, before - 8), before + 1)
        intervals = np.diff(grid.frames[near]) / grid.lengths[near][:-1]
        if len(intervals) < 4:
            continue
        gap = int(grid.frames[after] - grid.frames[before])
        between = evidence.music[grid.frames[before] : grid.frames[after]]
        if between.min(initial=0.0) <= NOBODY:
            continue
        sounding = between.mean() > 0
        beats = gap / float(np.median(intervals))
        if beats > (_LONGEST_BRIDGE if sounding else _LONGEST_STOP) + _BRIDGE_MISFIT:
            continue
        meter = grid.table[grid.meters[before]]
        slots, passed = [int(grid.slots[before])], [0.0]
        while passed[-1] < beats - _BRIDGE_MISFIT:
            passed.append(passed[-1] + meter.lengths[min(slots[-1], meter.beats - 1)])
            slots.append((slots[-1] + 1) % meter.beats)
        if len(slots) < 2 or abs(beats - passed[-1]) > _BRIDGE_MISFIT:
            continue
        count = len(slots) - 2  # without the beats before and after the gap
        fill = {
            "frames": grid.frames[before] + np.rint(np.array(passed[1:-1]) * gap / passed[-1]).astype(int),
            "slots": np.array(slots[1:-1], int),
            "meters": np.full(count, grid.meters[before]),
            "runs": np.full(count, grid.runs[before]),
        }
        parts = {
            name: np.concatenate([getattr(grid, name)[:after], values, getattr(grid, name)[after:]])
            for name, values in fill.items()
        }
        parts["runs"] = np.where(parts["runs"] == run, grid.runs[before], parts["runs"])
        grid = BeatGrid(**parts, score=grid.score, table=grid.table)
    return grid


def long_enough(grid: BeatGrid, stated: np.ndarray) -> BeatGrid:
    """Leave out stretches of music too short to be one, such as a stick tapped during talk.

    A recording of three seconds may hold no more than a bar, and be nothing but music.

    Parameters
    ----------
    grid : BeatGrid
    stated : ndarray of bool, shape (frames,)
        Where the user states that there is music.

    Returns
    -------
    BeatGrid
    """
    beats = np.bincount(grid.runs, minlength=1)
    beats += _FEWEST_BEATS * (np.bincount(grid.runs, stated[grid.frames], minlength=1) > 0)
    alone = len(beats) == 1 and len(grid.frames) > 1 and np.ptp(grid.frames) > _ALONE * len(stated)
    return _kept(grid, beats[grid.runs] >= (_FEWEST_ALONE if alone else _FEWEST_BEATS))


def plausible(grid: BeatGrid, evidence: Evidence) -> BeatGrid:
    """Leave out everything where it is no song: noise and applause can be counted along to, too.

    Parameters
    ----------
    grid : BeatGrid
    evidence : Evidence

    Returns
    -------
    BeatGrid
    """
    if not len(grid.frames):
        return grid
    there = music_odds(evidence.network, "song", song_features(grid, evidence)[None])[0] > 0
    return grid if there else _kept(grid, np.zeros(len(grid.frames), bool))


def _kept(grid: BeatGrid, keep: np.ndarray) -> BeatGrid:
    runs = np.unique(grid.runs[keep], return_inverse=True)[1]
    return BeatGrid(grid.frames[keep], grid.slots[keep], grid.meters[keep], runs, grid.score, grid.table)
