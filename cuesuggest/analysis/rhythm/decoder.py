"""Beats, bars, meter and 'no music' in one decoder: a bar pointer in semi-Markov form.

The hidden state is a position in a bar and a tempo (Whiteley, Cemgil and Godsill 2006), with tempo changing at beats
only (Krebs, Böck and Widmer 2015). In semi-Markov form a step leads from beat to beat, not from frame to frame: a beat
of tempo i lasts `interval[i]` frames, give or take one. That small jitter is kept apart from tempo change, or every
tempo that is not a whole number of frames would be punished on every other beat.

A beat at frame t adds its log-likelihood ratio; frames between beats add nothing. One more state, 'no music', takes
talk, pauses and silence at the price of the music evidence it gives up.

Since no beat is shorter than the shortest interval, all frames within that interval depend on earlier frames only:
they are computed at once, and Python loops over such blocks, not over frames. Several bands of tempi go through one
loop side by side, each with its own 'no music'.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import ndimage

from cuesuggest.analysis.rhythm.bar_states import ODD_BAR_COST, STATED_CHANGE_COST, bar_states, change_cost, steps_to
from cuesuggest.analysis.rhythm.beat_grid import BeatGrid
from cuesuggest.analysis.rhythm.beat_terms import observations, thirds_over_middle
from cuesuggest.analysis.rhythm.evidence import Evidence
from cuesuggest.analysis.rhythm.meters import COMMON, Meter
from cuesuggest.analysis.rhythm.tempo_bins import FASTEST, REACH, TEMPO_STEP, TempoBins, tempo_prior
from cuesuggest.analysis.spectrum import FRAME_RATE, let_go

__all__ = ["Limits", "decode", "decode_bands"]

_STATED_REACH = 4  # tempo bins to each side of a stated tempo: ten percent
_OFF_STATED = 0.05  # nats a beat for each bin that the tempo is off a stated one, so that it holds where nothing sounds
_JITTER_COST = 0.4
_DRIFT_POWER = 1.3  # nats for moving the tempo by so many bins; a drift of 15 % over a song costs six
_DRIFT_COSTS = np.arange(REACH + 1) ** _DRIFT_POWER
_DRIFT_STEPS = np.diff(_DRIFT_COSTS).astype(np.float32)
_JITTER = np.array([_JITTER_COST, 0.0, _JITTER_COST])
_MOVES = _JITTER[:, None] + _DRIFT_COSTS[np.abs(np.arange(-REACH, REACH + 1))]
_MUSIC_WEIGHT = 0.06  # neighbouring frames say nearly the same: a second of evidence counts as three frames
_MUSIC_BIAS = 1.0  # nats in favour of music: losing the first bars of a song is worse than a bar heard in talk
_START_COST = 10.0
_STOP_COST = 1.5
_RESTART_COST = 10.0  # starting again: a stop for a beat must not be a cheap way to another meter or tempo
_PICKUP_COST = 1.5  # starting on another beat than the first
_LEAD = 12  # frames of 'no music' before a start, which are not judged; no block is longer by more than one
_NEVER = np.float32(-1e9)
# What the user rules out costs more than any evidence brings, and little enough for float32 to keep the rest exact.
_FORBIDDEN = 1000.0
_WINDOW = 2048  # frames of scores kept at hand
_LARGEST = 50_000_000  # scores in one loop, 200 MB; longer recordings take one band after the other


@dataclass(frozen=True, slots=True)
class Limits:
    """What a reading must obey; frames count from the start of the evidence.

    Attributes
    ----------
    begins : ndarray of bool, shape (meters, frames)
        Where a bar of a meter may begin.
    opens : ndarray, shape (frames,)
        Nats for a downbeat there, which every other beat there loses.
    sounds : ndarray of bool, shape (frames,)
        Where there is music, whatever is heard.
    tempi : tuple of (float, int, int)
        A tempo, and the frames from and to which it holds.
    """

    begins: np.ndarray
    opens: np.ndarray
    sounds: np.ndarray
    tempi: tuple[tuple[float, int, int], ...] = ()


def decode(
    evidence: Evidence, tempi: np.ndarray, meters: tuple[Meter, ...] = COMMON, limits: Limits | None = None
) -> BeatGrid:
    """Best reading of the evidence within one band of tempi.

    Parameters
    ----------
    evidence : Evidence
    tempi : ndarray, shape (n,), n >= 1
        BPM, rising by steps of 2.4 %.
    meters : tuple of Meter
    limits : Limits, optional

    Returns
    -------
    BeatGrid
        Without beats when 'no music' explains everything best.
    """
    return decode_bands(evidence, [tempi], meters, limits)[0]


def decode_bands(
    evidence: Evidence, bands: list[np.ndarray], meters: tuple[Meter, ...] = COMMON, limits: Limits | None = None
) -> list[BeatGrid]:
    """Best reading within each of several bands of tempi, as `decode` finds it, in less time.

    Parameters
    ----------
    evidence : Evidence
    bands : list of ndarray
    meters : tuple of Meter
    limits : Limits, optional

    Returns
    -------
    list of BeatGrid
    """
    scores = len(evidence.beat) * sum(map(len, bands)) * sum(meter.beats for meter in meters)
    if scores > _LARGEST and len(bands) > 1:
        return [decode(evidence, tempi, meters, limits) for tempi in bands]
    search = _Search(evidence, bands, meters, limits)
    search.run()
    return [search.trace(band) for band in range(len(bands))]


class _Search:
    """Viterbi over (slot, frame, tempo): forward in blocks; backward by asking again which step was the best."""

    def __init__(
        self, evidence: Evidence, bands: list[np.ndarray], meters: tuple[Meter, ...], limits: Limits | None
    ) -> None:
        self.meters, self.states = meters, bar_states(meters)
        bins = TempoBins()
        stated: list[tuple[slice, int, int]] = []
        for tempi in bands:
            bins.starts.append(bins.add(tempi).start)
            for bpm, first, last in limits.tempi if limits else ():
                steps = np.arange(-_STATED_REACH, _STATED_REACH + 1)
                stated.append((bins.add(bpm * TEMPO_STEP**steps), first, last))
        self.starts = np.array(bins.starts)
        self.band_of = np.repeat(np.arange(len(bands)), np.diff([*bins.starts, len(bins.tempi)]))
        void = np.isnan(bins.tempi)
        self.void = np.where(void, float(_NEVER), 0.0)
        tempi = np.where(void, FASTEST, bins.tempi)
        lengths = sorted({length for _, length, _ in self.states.kinds})
        self.intervals = {length: np.rint(60 * FRAME_RATE * length / tempi).astype(int) for length in lengths}
        self.pad = max(int(every.max()) for every in self.intervals.values()) + 2
        self.end = self.pad + len(evidence.beat)
        self.block = min(_LEAD + 1, int(self.intervals[1.0].min()) - 1)
        both = observations(evidence, meters)
        self.observed = np.stack(
            [both[m][min(slot, 1)] for m, slot in zip(self.states.meter, self.states.slot, strict=True)]
        ).astype(np.float32)
        thirds = thirds_over_middle(evidence.onset, self.intervals)
        prior = (tempo_prior(tempi) + self.void).astype(np.float32)
        for span, _, _ in stated:
            prior[span] = -_OFF_STATED * np.abs(np.arange(-_STATED_REACH, _STATED_REACH + 1))
        self.terms = [prior * np.float32(length) + sign * thirds[length] for _, length, sign in self.states.kinds]
        del thirds
        let_go(len(evidence.beat))
        self.silence = -_MUSIC_WEIGHT * (evidence.music.astype(np.float64) + _MUSIC_BIAS)
        enter = np.array([meters[m].prior for m in self.states.meter]) - _START_COST
        self.enter = (enter - _PICKUP_COST * (self.states.slot > 0)).astype(np.float32)
        self.change = np.array([-change_cost(meter) for meter in meters], np.float32)
        self.jumps = np.zeros(self.end, bool)  # frames at which the tempo may become any other of its band
        self.broken = np.zeros(len(evidence.beat), bool)  # frames at which a bar may begin wherever the last one is
        if limits:
            self._obey(limits, stated)
        self.jumping = bool(self.jumps.any())
        self.steps = steps_to(meters)
        size, frames = len(self.states.slot), self.end
        self.value = np.empty((size, frames, len(tempi)), np.float32)  # best score of a beat here
        self.value[:, : self.pad] = _NEVER  # the rest is written by `run`
        self.best = np.full((frames, len(bands)), float(_NEVER))  # best score of any beat here
        self.rest = np.full((frames, len(bands)), float(_NEVER))  # best score of 'no music' here after music
        # Score of 'no music' up to here, free before the recording; and the best of that and a pause, to start from.
        self.silent = np.concatenate([np.zeros(self.pad), np.cumsum(self.silence)])
        self.waiting = np.repeat(self.silent[:, None], len(bands), axis=1)

    def _obey(self, limits: Limits, stated: list[tuple[slice, int, int]]) -> None:
        frames = self.observed.shape[1]
        for state, (m, slot) in enumerate(zip(self.states.meter, self.states.slot, strict=True)):
            allowed = limits.begins[m]
            if slot:  # a bar that has begun goes on to its end, and one may be begun with a pickup
                reach = int(self.intervals[1.0].max()) * (self.meters[m].beats + 1)
                allowed = ndimage.maximum_filter1d(allowed.astype(np.uint8), 2 * reach + 1) > 0
            self.observed[state] -= np.where(allowed, 0, _FORBIDDEN)
            self.observed[state] += limits.opens if slot == 0 else -limits.opens
        self.broken = limits.opens > 0
        self.silence -= np.where(limits.sounds, _FORBIDDEN, 0)
        # A beat across the edge of a stated tempo may have either tempo; what counts is where it begins.
        origins = np.maximum(np.arange(frames)[:, None] - self.intervals[1.0], 0)
        free = np.ones(frames, bool)
        barred = np.zeros((frames, len(self.band_of)), bool)
        for bins, first, last in stated:
            free[first:last] = False
            ends = np.arange(frames)[:, None]
            inside = (origins[:, bins] >= first) & (origins[:, bins] < last) | (ends >= first) & (ends < last)
            barred[:, bins] = ~inside
            for edge in (first, last):
                self.jumps[max(0, edge) : edge + 2 * self.pad] = True
        others = np.ones(len(self.band_of), bool)
        for bins, _, _ in stated:
            others[bins] = False
        barred[:, others] = ~free[origins[:, others]]
        for terms in self.terms:
            terms[barred] -= np.float32(_FORBIDDEN)

    def run(self) -> None:
        size, count = len(self.states.slot), len(self.band_of)
        width = min(self.end, self.pad + max(_WINDOW, self.pad))
        # Scores after the best change of tempo and the best jitter; and those of the newest two frames before jitter.
        near = np.full((size, width + self.block, count), _NEVER, np.float32)
        tail = np.full((size, 2, count), _NEVER, np.float32)
        base = 0  # frame that the first column of `near` stands for
        origin = {
            length: (np.arange(self.block)[:, None] - every) * count + np.arange(count)
            for length, every in self.intervals.items()
        }
        for start in range(self.pad, self.end, self.block):
            stop = min(start + self.block, self.end)
            if stop - base > width:
                near[:, : self.pad] = near[:, start - base - self.pad : start - base].copy()
                base = start - self.pad
            arrived = self._arrived(near, origin, start - base, slice(start - self.pad, stop - self.pad))
            value = self._next_slots(arrived)
            if self.broken[start - self.pad : stop - self.pad].any():
                whole = arrived.max(axis=0) - np.float32(ODD_BAR_COST)
                where = self.broken[start - self.pad : stop - self.pad, None]
                for first in self.states.first:
                    np.maximum(value[first], whole, out=value[first], where=where)
            begun = (self.waiting[start - _LEAD - 1 : stop - _LEAD - 1, self.band_of] + self.void).astype(np.float32)
            np.maximum(value, begun + self.enter[:, None, None], out=value)
            value += self.observed[:, start - self.pad : stop - self.pad, None]
            self.value[:, start:stop] = value
            best = np.maximum.reduceat(value.max(axis=0), self.starts, axis=1)
            self.best[start:stop] = best
            # 'No music' here: since before the block, or since one of the beats in it.
            gained = np.cumsum(self.silence[start - self.pad : stop - self.pad])[:, None]
            came = np.maximum(self.best[start - 1 : stop - 1] - _STOP_COST, -1e12)
            came[1:] -= gained[:-1]
            came[0] = np.maximum(came[0], self.rest[start - 1])
            self.rest[start:stop] = gained + np.maximum.accumulate(came)
            again = self.rest[start:stop] - _RESTART_COST
            np.maximum(self.waiting[start:stop], again, out=self.waiting[start:stop])
            ready = np.concatenate([tail, self._tempo_changed(value, start, stop)], axis=1)
            beside = np.maximum(ready[:, :-2], ready[:, 2:])
            beside -= np.float32(_JITTER_COST)
            np.maximum(beside, ready[:, 1:-1], out=near[:, start - base - 1 : stop - base - 1])
            tail = ready[:, -2:]

    def trace(self, band: int) -> BeatGrid:
        """Walk back from the best end of one band."""
        best, rest = self.best[:, band], self.rest[:, band]
        inside = np.flatnonzero(self.band_of == band)
        bins = slice(int(inside[0]), int(inside[-1]) + 1)
        last = max(self.pad, self.end - int(self.intervals[1.0][bins].max()))
        frame = last + int(best[last:].argmax())
        if self.silent[-1] >= max(rest[-1], best[frame]):
            nothing = np.zeros(0, int)
            return BeatGrid(nothing, nothing, nothing, nothing, float(self.silent[-1]), self.meters)
        resting = bool(rest[-1] >= best[frame])
        score = float(rest[-1] if resting else best[frame])
        if resting:
            frame = self.end - 1
        entered = best[:-1] - _STOP_COST > rest[:-1]  # [t]: 'no music' at t + 1 came from a beat at t
        beats: list[tuple[int, int, int]] = []  # frame, state, run
        run, tempo, state = 0, -1, -1
        while True:
            if resting:
                before = np.flatnonzero(entered[self.pad : frame]) + self.pad
                frame, resting, tempo, run = int(before[-1]), False, -1, run + 1
            if tempo < 0:
                at = self.value[:, frame, bins]
                state, tempo = (int(k) for k in np.unravel_index(at.argmax(), at.shape))
                tempo += bins.start
            beats.append((frame - self.pad, state, run))
            step = self._step_before(frame, tempo, state, band, bins)
            if step is None:
                frame, resting = frame - _LEAD - 1, True
                if rest[frame] - _RESTART_COST <= self.silent[frame]:
                    break
            else:
                frame, tempo, state = step
        beats.reverse()
        found = np.array(beats, int).reshape(-1, 3)
        runs = found[:, 2].max(initial=0) - found[:, 2]
        slots = _counted_on(self.states.slot[found[:, 1]], runs)
        return BeatGrid(found[:, 0], slots, self.states.meter[found[:, 1]], runs, score, self.meters)

    def _arrived(self, near: np.ndarray, origin: dict[float, np.ndarray], column: int, heard: slice) -> np.ndarray:
        """Best score of a beat that ends at each frame, by the state it started in, frame and tempo."""
        size, _, count = near.shape
        frames = heard.stop - heard.start
        arrived = np.empty((size, frames, count), np.float32)
        rows = near.reshape(size, -1)
        for length, states in self.states.of_length:
            at = origin[length][:frames] + column * count
            np.take(rows[states], at, axis=1, out=arrived[states], mode="clip")
        for (states, _, _), terms in zip(self.states.kinds, self.terms, strict=True):
            arrived[states] += terms[heard]
        return arrived

    def _next_slots(self, arrived: np.ndarray) -> np.ndarray:
        """Move scores from the slot in which a beat started to the slot in which the next one falls."""
        states = self.states
        moved = arrived[states.before]
        if len(self.meters) > 1:
            opens = moved[states.first]
            changed = opens.max(axis=0) + self.change[:, None, None]
            moved[states.first] = np.maximum(opens, changed, out=opens)
        for before, after, cost in states.odd:
            came = arrived[before]
            came -= cost
            moved[after] = np.maximum(came, moved[after], out=came)
        return np.asarray(moved)

    def _tempo_changed(self, value: np.ndarray, start: int, stop: int) -> np.ndarray:
        """Best score at each tempo when the tempo may move a few bins.

        The costs of one, two, three bins rise ever faster, so that three rounds of moves by one bin, each at what that
        bin costs more than the one before, come to the same.
        """
        best = value.copy()
        # Flat, and so at once: between one row's tempi and the next's lie as many bins that nothing reaches.
        flat = best.reshape(-1)
        for cost in _DRIFT_STEPS:
            moved = flat - cost
            np.maximum(flat[1:], moved[:-1], out=flat[1:])
            np.maximum(flat[:-1], moved[1:], out=flat[:-1])
        if self.jumping and self.jumps[start:stop].any():
            top = np.maximum.reduceat(value, self.starts, axis=2)[:, :, self.band_of] - np.float32(STATED_CHANGE_COST)
            np.maximum(best, top, out=best, where=self.jumps[start:stop, None])
        return best

    def _step_before(self, frame: int, tempo: int, state: int, band: int, bins: slice) -> tuple[int, int, int] | None:
        """Frame, tempo and state of the beat before one, or None if music begins there."""
        heard = frame - self.pad
        best = float(np.float32(self.waiting[frame - _LEAD - 1, band]) + self.enter[state])
        found = None
        reach = slice(max(bins.start, tempo - REACH), min(bins.stop, tempo + REACH + 1))
        change = _MOVES[:, reach.start - tempo + REACH : reach.stop - tempo + REACH]
        steps = self.steps[state]
        if self.broken[heard] and not self.states.slot[state]:
            steps += tuple(
                (origin, kind, ODD_BAR_COST)
                for kind, (states, _, _) in enumerate(self.states.kinds)
                for origin in range(states.start, states.stop)
            )
        for origin, kind, cost in steps:
            length = self.states.kinds[kind][1]
            term = float(self.terms[kind][heard, tempo]) - cost
            start = frame - int(self.intervals[length][tempo]) - 1
            scores = self.value[origin, start : start + 3, reach] - change
            top = int(scores.argmax())
            if float(scores.flat[top]) + term >= best:
                best = float(scores.flat[top]) + term
                found = start + top // scores.shape[1], reach.start + top % scores.shape[1], origin
            if self.jumping and self.jumps[start : start + 3].any():
                scores = self.value[origin, start : start + 3, bins] - _JITTER[:, None] - STATED_CHANGE_COST
                scores[~self.jumps[start : start + 3]] = _NEVER
                top = int(scores.argmax())
                if float(scores.flat[top]) + term > best:
                    best = float(scores.flat[top]) + term
                    found = start + top // scores.shape[1], bins.start + top % scores.shape[1], origin
        return found


def _counted_on(slots: np.ndarray, runs: np.ndarray) -> np.ndarray:
    """Count on where a bar's last slot came twice."""
    counted = slots.copy()
    for k in range(1, len(slots)):
        if slots[k] and runs[k] == runs[k - 1]:
            counted[k] = counted[k - 1] + 1
    return counted
