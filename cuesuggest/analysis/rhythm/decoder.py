"""Beats, bars, meter and 'no music' in one decoder: a bar pointer in semi-Markov form.

The hidden state is a position in a bar and a tempo (Whiteley, Cemgil and Godsill 2006), with tempo changing at beats
only (Krebs, Böck and Widmer 2015). In semi-Markov form a step leads from beat to beat, not from frame to frame: a beat
of tempo i lasts `interval[i]` frames, give or take one. That small jitter is kept apart from tempo change, or every
tempo that is not a whole number of frames would be punished on every other beat.

A beat at frame t adds its log-likelihood ratio; frames between beats add nothing. One more state, 'no music', takes
talk, pauses and silence at the price of the music evidence it gives up.

Since no beat is shorter than the shortest interval, all frames within that interval depend on earlier frames only:
they are computed at once, and Python loops over such blocks, not over frames.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from cuesuggest.analysis.rhythm.evidence import Evidence
from cuesuggest.analysis.spectrum import FRAME_RATE

__all__ = ["METERS", "Grid", "Meter", "decode", "tempo_bins"]


@dataclass(frozen=True, slots=True)
class Meter:
    """A kind of bar: its signature, the beats felt in it, and how likely it is before anything is heard (nats)."""

    signature: str
    beats: int
    prior: float
    ternary: bool


# Shares of songs after the published annotations of some 900 pop songs (97 % in four, 2 % in six, 1 % in three),
# flattened because ballads and worship music have more of the latter.
METERS = (
    Meter("4/4", 4, float(np.log(0.85)), ternary=False),
    Meter("3/4", 3, float(np.log(0.06)), ternary=False),
    Meter("6/8", 2, float(np.log(0.09)), ternary=True),
)

SLOWEST, FASTEST = 47.0, 214.0
_TEMPO_STEP = 1.024
_BAND_OCTAVES = 0.28
_BEAT_OFFSET = 0.5  # nats a beat must bring: without it, every weak onset would be worth a beat
_JITTER_COST = 0.4
_DRIFT_POWER = 1.3  # nats for moving the tempo by so many bins; a drift of 15 % over a song costs six
_REACH = 3  # tempo bins that a tempo may move from one beat to the next
_SHORT_BAR_COST = 12.0  # one bar of 2/4 among 4/4
_METER_COST = 20.0
_MUSIC_WEIGHT = 0.06  # neighbouring frames say nearly the same: a second of evidence counts as three frames
_MUSIC_BIAS = 1.0  # nats in favour of music: losing the first bars of a song is worse than a bar heard in talk
_START_COST = 10.0
_STOP_COST = 1.5
_PICKUP_COST = 1.5  # starting on another beat than the first
_TERNARY_WEIGHT = 0.35
_DOWNBEAT_WEIGHT = 1.0
_TEMPO_CENTRE, _TEMPO_SPREAD = 112.0, 0.6  # BPM, octaves
_TEMPO_WEIGHT = 0.15  # nats a second: a whole nat doubled slow songs

# The flat list of states: slots of 4/4, then of 3/4, then of 6/8.
_METER_OF = np.repeat(np.arange(len(METERS)), [m.beats for m in METERS])
_SLOT_OF = np.concatenate([np.arange(m.beats) for m in METERS])
_FIRST = np.flatnonzero(_SLOT_OF == 0)
_LAST = np.array([np.flatnonzero(m == _METER_OF)[-1] for m in range(len(METERS))])
_TERNARY = np.array([1.0 if METERS[m].ternary else -1.0 for m in _METER_OF], np.float32)
_NEVER = np.float32(-1e9)


@dataclass(frozen=True, slots=True)
class Grid:
    """Beats as decoded.

    Attributes
    ----------
    frames : ndarray of int, shape (beats,)
    slots : ndarray of int, shape (beats,)
        Beat in its bar, 0 the downbeat.
    meters : ndarray of int, shape (beats,)
        Index into `METERS`.
    runs : ndarray of int, shape (beats,)
        Number of the stretch of music that a beat belongs to: it rises after every stretch of 'no music'.
    score : float
        Log-likelihood ratio of the whole reading, in nats, tempo prior included.
    """

    frames: np.ndarray
    slots: np.ndarray
    meters: np.ndarray
    runs: np.ndarray
    score: float


def tempo_bins(bpm: float) -> np.ndarray:
    """Tempi within 0.28 octave of one, in steps of 2.4 %.

    Parameters
    ----------
    bpm : float

    Returns
    -------
    ndarray, shape (n,)
        BPM, rising, within 47 .. 214.
    """
    reach = round(_BAND_OCTAVES * np.log(2) / np.log(_TEMPO_STEP))
    tempi = bpm * _TEMPO_STEP ** np.arange(-reach, reach + 1)
    return tempi[(tempi >= SLOWEST) & (tempi <= FASTEST)]


def decode(evidence: Evidence, tempi: np.ndarray) -> Grid:
    """Best reading of the evidence within one band of tempi.

    Parameters
    ----------
    evidence : Evidence
    tempi : ndarray, shape (n,), n >= 1
        BPM, rising.

    Returns
    -------
    Grid
        Without beats when 'no music' explains everything best.
    """
    search = _Search(evidence, tempi)
    search.run()
    return search.trace()


class _Search:
    """Viterbi over (frame, tempo, slot): forward in blocks; backward by asking again which step was the best."""

    def __init__(self, evidence: Evidence, tempi: np.ndarray) -> None:
        self.intervals = np.rint(60 * FRAME_RATE / tempi).astype(int)
        self.pad = int(self.intervals.max()) + 2
        self.end = self.pad + len(evidence.beat)
        self.block = max(1, int(self.intervals.min()) - 2)
        self.observed = _observations(evidence)
        self.ternary = _ternary_terms(evidence.onset, self.intervals)
        self.tempo_prior = _tempo_prior(tempi)
        self.silence = -_MUSIC_WEIGHT * (evidence.music.astype(np.float64) + _MUSIC_BIAS)
        prior = np.array([METERS[m].prior for m in _METER_OF]) - _START_COST
        self.enter = (prior - _PICKUP_COST * (_SLOT_OF > 0)).astype(np.float32)
        shape = (len(tempi), len(_SLOT_OF))
        self.value = np.full((self.end, *shape), _NEVER, np.float32)  # best score of a beat here
        # The same after the best change of tempo, by frame modulo the length: further back than a beat nobody looks.
        self.ready = np.full((self.pad + self.block, *shape), _NEVER, np.float32)
        self.best = np.full(self.end, float(_NEVER))  # best score of any beat here
        self.rest = np.zeros(self.end)  # best score of 'no music' here; before the recording it is free

    def run(self) -> None:
        for start in range(self.pad, self.end, self.block):
            stop = min(start + self.block, self.end)
            heard = slice(start - self.pad, stop - self.pad)
            frames = np.arange(start, stop)
            terms = self.interval_terms(frames - self.pad)
            value = _next_slots(self._arrivals(frames) + terms)
            np.maximum(value, self._begun(frames)[:, None, None] + self.enter, out=value)
            value += self.observed[heard, None, :]
            self.value[start:stop] = value
            self.ready[frames % len(self.ready)] = _tempo_changed(value)
            self.best[start:stop] = value.reshape(len(frames), -1).max(axis=1)
            # 'No music' here: since before the block, or since one of the beats in it.
            gained = np.cumsum(self.silence[heard])
            came = np.maximum(self.best[start - 1 : stop - 1] - _STOP_COST, -1e12)
            came[1:] -= gained[:-1]
            came[0] = max(came[0], self.rest[start - 1])
            self.rest[start:stop] = gained + np.maximum.accumulate(came)

    def trace(self) -> Grid:
        """Walk back from the best end."""
        last = max(self.pad, self.end - int(self.intervals.max()))
        frame = last + int(self.best[last:].argmax())
        resting = self.rest[-1] >= self.best[frame]
        score = float(self.rest[-1] if resting else self.best[frame])
        if resting:
            frame = self.end - 1
        entered = self.best[:-1] - _STOP_COST > self.rest[:-1]  # [t]: 'no music' at t + 1 came from a beat at t
        beats: list[tuple[int, int, int]] = []  # frame, state, run
        run, tempo, state = 0, -1, -1
        while True:
            if resting:
                before = np.flatnonzero(entered[self.pad : frame]) + self.pad
                if not len(before):
                    break
                frame, resting, tempo, run = int(before[-1]), False, -1, run + 1
            if tempo < 0:
                tempo, state = (int(k) for k in np.unravel_index(self.value[frame].argmax(), self.value.shape[1:]))
            beats.append((frame - self.pad, state, run))
            step = self._step_before(frame, tempo, state)
            if step is None:
                frame, resting = frame - self.block - 1, True
                if frame <= self.pad:
                    break
            else:
                frame, tempo, state = step
        beats.reverse()
        found = np.array(beats, int).reshape(-1, 3)
        states = found[:, 1]
        runs = found[:, 2].max(initial=0) - found[:, 2]
        return Grid(found[:, 0], _SLOT_OF[states], _METER_OF[states], runs, score)

    def interval_terms(self, heard: np.ndarray) -> np.ndarray:
        """What the beat that ends at each frame of the evidence brings by its length; frames x tempi x slots."""
        return np.asarray(self.ternary[heard, :, None] * _TERNARY + self.tempo_prior[:, None])

    def _arrivals(self, frames: np.ndarray) -> np.ndarray:
        """Best score of a beat that ends at each frame, by tempo and by the slot it started in."""
        tempo = np.arange(len(self.intervals))
        origin = frames[:, None] - self.intervals
        found = self.ready[origin % len(self.ready), tempo]
        for jitter in (-1, 1):
            np.maximum(found, self.ready[(origin - jitter) % len(self.ready), tempo] - _JITTER_COST, out=found)
        return found

    def _begun(self, frames: np.ndarray) -> np.ndarray:
        """Score of 'no music' up to a little before; it lasts at least one block, so none inside it is needed."""
        return self.rest[np.maximum(frames - self.block - 1, 0)].astype(np.float32)

    def _step_before(self, frame: int, tempo: int, state: int) -> tuple[int, int, int] | None:
        """Frame, tempo and slot of the beat before one, or None if music begins there."""
        heard = frame - self.pad
        best = float(self._begun(np.array([frame]))[0] + self.enter[state])
        found = None
        origins, costs = _slots_before(state)
        tempi = np.arange(max(0, tempo - _REACH), min(len(self.intervals), tempo + _REACH + 1))
        change = np.abs(tempi - tempo) ** _DRIFT_POWER
        terms = self.interval_terms(np.array([heard]))[0, tempo, origins]
        for jitter in (-1, 0, 1):
            origin = frame - int(self.intervals[tempo]) - jitter
            scores = self.value[origin][np.ix_(tempi, origins)] - change[:, None]
            scores = scores - _JITTER_COST * abs(jitter) + terms - costs
            top = int(scores.argmax())
            if scores.flat[top] >= best:
                best = float(scores.flat[top])
                found = origin, int(tempi[top // len(origins)]), int(origins[top % len(origins)])
        return found


def _slots_before(state: int) -> tuple[np.ndarray, np.ndarray]:
    """States that may come before one, and what each such step costs."""
    if _SLOT_OF[state]:
        return np.array([state - 1]), np.zeros(1)
    meter = _METER_OF[state]
    costs = np.where(np.arange(len(METERS)) == meter, 0.0, _METER_COST)
    if METERS[meter].beats == 4:
        return np.append(_LAST, state + 1), np.append(costs, _SHORT_BAR_COST)
    return _LAST, costs


_STEPS = [_slots_before(state) for state in range(len(_SLOT_OF))]


def _next_slots(arrived: np.ndarray) -> np.ndarray:
    """Move scores from the slot in which a beat started to the slot in which the next one falls."""
    moved = np.empty_like(arrived)
    moved[..., 1:] = arrived[..., :-1]
    for first in _FIRST:
        origins, costs = _STEPS[first]
        moved[..., first] = (arrived[..., origins] - costs.astype(np.float32)).max(axis=-1)
    return moved


def _tempo_changed(value: np.ndarray) -> np.ndarray:
    """Best score at each tempo when the tempo may move a few bins; frames x tempi x slots."""
    best = value.copy()
    for steps in range(1, min(_REACH, value.shape[1] - 1) + 1):
        cost = np.float32(steps**_DRIFT_POWER)
        np.maximum(best[:, steps:], value[:, :-steps] - cost, out=best[:, steps:])
        np.maximum(best[:, :-steps], value[:, steps:] - cost, out=best[:, :-steps])
    return best


def _observations(evidence: Evidence) -> np.ndarray:
    """What a beat in each slot brings at each frame.

    The downbeat's ratio is set against the mix of downbeats and other beats in that meter, so that on evidence that
    says nothing no meter gains by having more, or fewer, downbeats.
    """
    ratio = np.exp(_DOWNBEAT_WEIGHT * evidence.downbeat)
    beats = np.array([METERS[m].beats for m in _METER_OF])
    mixed = np.log(ratio[:, None] / beats + 1 - 1 / beats)
    opens = np.where(_SLOT_OF == 0, _DOWNBEAT_WEIGHT * evidence.downbeat[:, None], 0.0)
    return np.asarray(evidence.beat[:, None] - _BEAT_OFFSET + opens - mixed, np.float32)


def _ternary_terms(onset: np.ndarray, intervals: np.ndarray) -> np.ndarray:
    """By how much attacks a third into the beat that ends here outweigh those in its middle; frames x tempi."""
    wide = np.maximum(np.maximum(onset, np.roll(onset, 1)), np.roll(onset, -1))
    place = np.arange(len(onset))
    terms = np.empty((len(onset), len(intervals)), np.float32)
    for tempo, interval in enumerate(intervals):
        third = wide[np.maximum(place - round(float(interval) * 2 / 3), 0)]
        middle = wide[np.maximum(place - round(float(interval) / 2), 0)]
        terms[:, tempo] = _TERNARY_WEIGHT * np.clip(third - middle, -2, 2)
    return terms


def _tempo_prior(tempi: np.ndarray) -> np.ndarray:
    """Cost of one beat at each tempo; counted by seconds, or fast tempi would pay for their number of beats."""
    octaves = np.log2(tempi / _TEMPO_CENTRE) / _TEMPO_SPREAD
    return np.asarray(-0.5 * octaves**2 * _TEMPO_WEIGHT * 60 / tempi, np.float32)
