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

from dataclasses import dataclass, field
from functools import cache

import numpy as np
from scipy import ndimage

from cuesuggest.analysis.rhythm.evidence import Evidence
from cuesuggest.analysis.rhythm.meters import COMMON, Meter
from cuesuggest.analysis.spectrum import FRAME_RATE

__all__ = ["FASTEST", "SLOWEST", "BeatGrid", "Limits", "decode", "decode_bands", "observations", "tempo_bins"]

SLOWEST, FASTEST = 47.0, 214.0
_TEMPO_STEP = 1.024
_BAND_OCTAVES, _WIDE_BAND_OCTAVES = 0.28, 0.45  # to each side
_STATED_REACH = 4  # tempo bins to each side of a stated tempo: ten percent
_OFF_STATED = 0.05  # nats a beat for each bin that the tempo is off a stated one, so that it holds where nothing sounds
_BEAT_OFFSET = 0.5  # nats a beat must bring: without it, every weak onset would be worth a beat
_JITTER_COST = 0.4
_DRIFT_POWER = 1.3  # nats for moving the tempo by so many bins; a drift of 15 % over a song costs six
_REACH = 3  # tempo bins that a tempo may move from one beat to the next
_DRIFT_COSTS = np.arange(_REACH + 1) ** _DRIFT_POWER
_DRIFT_STEPS = np.diff(_DRIFT_COSTS).astype(np.float32)
_JITTER = np.array([_JITTER_COST, 0.0, _JITTER_COST])
_MOVES = _JITTER[:, None] + _DRIFT_COSTS[np.abs(np.arange(-_REACH, _REACH + 1))]
_HALF_BAR_COST = 12.0  # one bar of half its beats
_ODD_BAR_COST = 15.0  # one bar with some other number of beats
_METER_COST = 20.0
_STATED_CHANGE_COST = 0.5  # of meter or tempo, where the user says that it changes
_MUSIC_WEIGHT = 0.06  # neighbouring frames say nearly the same: a second of evidence counts as three frames
_MUSIC_BIAS = 1.0  # nats in favour of music: losing the first bars of a song is worse than a bar heard in talk
_START_COST = 10.0
_STOP_COST = 1.5
_RESTART_COST = 10.0  # starting again: a stop for a beat must not be a cheap way to another meter or tempo
_PICKUP_COST = 1.5  # starting on another beat than the first
_LEAD = 12  # frames of 'no music' before a start, which are not judged; no block is longer by more than one
_TERNARY_WEIGHT = 0.35
_DOWNBEAT_WEIGHT = 1.0
_TEMPO_CENTRE, _TEMPO_SPREAD = 112.0, 0.6  # BPM, octaves
_TEMPO_WEIGHT = 0.15  # nats a second: a whole nat doubled slow songs
_NEVER = np.float32(-1e9)
# What the user rules out costs more than any evidence brings, and little enough for float32 to keep the rest exact.
_FORBIDDEN = 1000.0
_WINDOW = 2048  # frames of scores kept at hand
_LARGEST = 50_000_000  # scores in one loop, 200 MB; longer recordings take one band after the other


@dataclass(frozen=True, slots=True)
class BeatGrid:
    """Beats as decoded.

    Attributes
    ----------
    frames : ndarray of int, shape (beats,)
    slots : ndarray of int, shape (beats,)
        Beat in its bar, 0 the downbeat.
    meters : ndarray of int, shape (beats,)
        Index into `table`.
    runs : ndarray of int, shape (beats,)
        Number of the stretch of music that a beat belongs to: it rises after every stretch of 'no music'.
    score : float
        Log-likelihood ratio of the whole reading, in nats, tempo prior included.
    table : tuple of Meter
    """

    frames: np.ndarray
    slots: np.ndarray
    meters: np.ndarray
    runs: np.ndarray
    score: float
    table: tuple[Meter, ...] = COMMON

    @property
    def lengths(self) -> np.ndarray:
        """How long each beat is, in plain beats."""
        longest = max(meter.beats for meter in self.table)
        of = np.array([[*m.lengths, *m.lengths[-1:] * (longest - m.beats)] for m in self.table])
        return np.asarray(of[self.meters, np.minimum(self.slots, longest - 1)])

    @property
    def places(self) -> np.ndarray:
        """Where each beat falls when plain beats are counted; counting goes on over stretches of 'no music'."""
        return np.asarray(np.concatenate([[0.0], np.cumsum(self.lengths)[:-1]]) if len(self.frames) else np.zeros(0))

    @property
    def bpm(self) -> float:
        """Tempo of the middle one of all plain beats, as near as frames tell it; of two beats or more."""
        return 60 * FRAME_RATE / float(np.median(np.diff(self.frames) / self.lengths[:-1]))


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


def tempo_bins(bpm: float, *, wide: bool = False) -> np.ndarray:
    """Tempi within 0.28 octave of one, or 0.45 octave, in steps of 2.4 %.

    Parameters
    ----------
    bpm : float
    wide : bool

    Returns
    -------
    ndarray, shape (n,)
        BPM, rising, from a little under 47 to 214.
    """
    octaves = _WIDE_BAND_OCTAVES if wide else _BAND_OCTAVES
    reach = round(octaves * np.log(2) / np.log(_TEMPO_STEP))
    tempi = bpm * _TEMPO_STEP ** np.arange(-reach, reach + 1)
    return tempi[(tempi >= SLOWEST / _TEMPO_STEP**_REACH) & (tempi <= FASTEST)]


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


def observations(evidence: Evidence, meters: tuple[Meter, ...]) -> list[np.ndarray]:
    """What a beat in each slot of each meter brings at each frame.

    The downbeat's ratio is set against the mix of downbeats and other beats in that meter, so that on evidence that
    says nothing no meter gains by having more, or fewer, downbeats.

    Parameters
    ----------
    evidence : Evidence
    meters : tuple of Meter

    Returns
    -------
    list of ndarray, each of shape (2, frames)
        For each meter: what a downbeat brings, what another beat brings, in nats.
    """
    ratio = np.exp(_DOWNBEAT_WEIGHT * evidence.downbeat)
    found = []
    for meter in meters:
        other = evidence.beat - _BEAT_OFFSET - np.log(ratio / meter.beats + 1 - 1 / meter.beats)
        found.append(np.stack([other + _DOWNBEAT_WEIGHT * evidence.downbeat - meter.bar_cost, other]))
    return found


@dataclass(frozen=True, slots=True)
class _States:
    """The flat list of (meter, slot), beats of one length and division side by side; and the steps between them."""

    meter: np.ndarray
    slot: np.ndarray
    kinds: tuple[tuple[slice, float, float], ...]
    """Which states, the length of their beats, and whether these divide into three."""
    of_length: tuple[tuple[float, slice], ...]
    """Lengths of beats, and which states have them."""
    before: np.ndarray
    """The state of the slot before; for a downbeat, of the bar's last slot."""
    first: np.ndarray
    """The downbeat's state in each meter."""
    odd: tuple[tuple[np.ndarray, np.ndarray, np.ndarray], ...]
    """Steps that make a bar of another length: from, to, cost. Those of one group lead to different states."""


@cache
def _states(meters: tuple[Meter, ...]) -> _States:
    flat = [
        (length, meter.thirds if length == 1 else 1.0, m, slot)
        for m, meter in enumerate(meters)
        for slot, length in enumerate(meter.lengths)
    ]
    flat.sort()
    place = {(m, slot): k for k, (_, _, m, slot) in enumerate(flat)}
    kinds = []
    for kind in sorted({entry[:2] for entry in flat}):
        inside = [k for k, entry in enumerate(flat) if entry[:2] == kind]
        kinds.append((slice(inside[0], inside[-1] + 1), *kind))
    odd: list[list[tuple[int, int, float]]] = []
    for m, meter in enumerate(meters):
        n = meter.beats
        steps = [(place[m, count - 1], place[m, 0], cost) for count, cost in _short_bars(n)]
        if n > 1 and len(set(meter.lengths)) == 1:
            steps.append((place[m, n - 1], place[m, n - 1], _ODD_BAR_COST))
        for step in steps:
            group = next((each for each in odd if all(step[1] != after for _, after, _ in each)), None)
            if group is None:
                group = []
                odd.append(group)
            group.append(step)
    return _States(
        meter=np.array([m for _, _, m, _ in flat]),
        slot=np.array([slot for _, _, _, slot in flat]),
        kinds=tuple(kinds),
        of_length=tuple(
            (length, slice(group[0].start, group[-1].stop))
            for length, group in (
                (length, [states for states, each, _ in kinds if each == length])
                for length in dict.fromkeys(each for _, each, _ in kinds)
            )
        ),
        before=np.array([place[m, (slot or meters[m].beats) - 1] for _, _, m, slot in flat]),
        first=np.array([place[m, 0] for m in range(len(meters))]),
        odd=tuple(
            (
                np.array([before for before, _, _ in group]),
                np.array([after for _, after, _ in group]),
                np.array([cost for _, _, cost in group], np.float32)[:, None, None],
            )
            for group in odd
        ),
    )


def _short_bars(beats: int) -> list[tuple[int, float]]:
    """Beats of bars that are cut short, and what such a bar costs.

    A beat is left out, or half a bar, or the shorter part of an odd one. A bar of one beat would mostly be a downbeat
    heard twice; a beat too many lengthens the bar before.
    """
    if beats < 3:
        return []
    half = beats // 2 if beats % 2 == 0 else beats - 2
    found = [(beats - 1, _ODD_BAR_COST)]
    return [*found, (half, _ODD_BAR_COST if beats % 2 else _HALF_BAR_COST)] if half > 1 else found


@dataclass(slots=True)
class _Bins:
    """Tempi of all bands in a row. Bands are set apart by bins that nothing reaches."""

    tempi: np.ndarray = field(default_factory=lambda: np.zeros(0))
    starts: list[int] = field(default_factory=list)
    """Where each band begins."""

    def add(self, tempi: np.ndarray) -> slice:
        """Put tempi at the end, with a gap after them."""
        start = len(self.tempi)
        self.tempi = np.concatenate([self.tempi, tempi, np.full(_REACH, np.nan)])
        return slice(start, start + len(tempi))


class _Search:
    """Viterbi over (slot, frame, tempo): forward in blocks; backward by asking again which step was the best."""

    def __init__(
        self, evidence: Evidence, bands: list[np.ndarray], meters: tuple[Meter, ...], limits: Limits | None
    ) -> None:
        self.meters, self.states = meters, _states(meters)
        bins = _Bins()
        stated: list[tuple[slice, int, int]] = []
        for tempi in bands:
            bins.starts.append(bins.add(tempi).start)
            for bpm, first, last in limits.tempi if limits else ():
                steps = np.arange(-_STATED_REACH, _STATED_REACH + 1)
                stated.append((bins.add(bpm * _TEMPO_STEP**steps), first, last))
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
        thirds = _thirds(evidence.onset, self.intervals)
        prior = (_tempo_prior(tempi) + self.void).astype(np.float32)
        for span, _, _ in stated:
            prior[span] = -_OFF_STATED * np.abs(np.arange(-_STATED_REACH, _STATED_REACH + 1))
        self.terms = [prior * np.float32(length) + sign * thirds[length] for _, length, sign in self.states.kinds]
        self.silence = -_MUSIC_WEIGHT * (evidence.music.astype(np.float64) + _MUSIC_BIAS)
        enter = np.array([meters[m].prior for m in self.states.meter]) - _START_COST
        self.enter = (enter - _PICKUP_COST * (self.states.slot > 0)).astype(np.float32)
        self.change = np.array([-_change_cost(meter) for meter in meters], np.float32)
        self.jumps = np.zeros(self.end, bool)  # frames at which the tempo may become any other of its band
        self.broken = np.zeros(len(evidence.beat), bool)  # frames at which a bar may begin wherever the last one is
        if limits:
            self._obey(limits, stated)
        self.jumping = bool(self.jumps.any())
        self.steps = _steps_to(meters)
        size, frames = len(self.states.slot), self.end
        self.value = np.full((size, frames, len(tempi)), _NEVER, np.float32)  # best score of a beat here
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
                whole = arrived.max(axis=0) - np.float32(_ODD_BAR_COST)
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
        slots = _counted(self.states.slot[found[:, 1]], runs)
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
            top = np.maximum.reduceat(value, self.starts, axis=2)[:, :, self.band_of] - np.float32(_STATED_CHANGE_COST)
            np.maximum(best, top, out=best, where=self.jumps[start:stop, None])
        return best

    def _step_before(self, frame: int, tempo: int, state: int, band: int, bins: slice) -> tuple[int, int, int] | None:
        """Frame, tempo and state of the beat before one, or None if music begins there."""
        heard = frame - self.pad
        best = float(np.float32(self.waiting[frame - _LEAD - 1, band]) + self.enter[state])
        found = None
        reach = slice(max(bins.start, tempo - _REACH), min(bins.stop, tempo + _REACH + 1))
        change = _MOVES[:, reach.start - tempo + _REACH : reach.stop - tempo + _REACH]
        steps = self.steps[state]
        if self.broken[heard] and not self.states.slot[state]:
            steps += tuple(
                (origin, kind, _ODD_BAR_COST)
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
                scores = self.value[origin, start : start + 3, bins] - _JITTER[:, None] - _STATED_CHANGE_COST
                scores[~self.jumps[start : start + 3]] = _NEVER
                top = int(scores.argmax())
                if float(scores.flat[top]) + term > best:
                    best = float(scores.flat[top]) + term
                    found = start + top // scores.shape[1], bins.start + top % scores.shape[1], origin
        return found


@cache
def _steps_to(meters: tuple[Meter, ...]) -> tuple[tuple[tuple[int, int, float], ...], ...]:
    """For each state, those that may come before it, of which kind they are, and what each step costs."""
    states = _states(meters)
    kind_of = {state: k for k, (inside, _, _) in enumerate(states.kinds) for state in range(inside.start, inside.stop)}
    steps = []
    for state, slot in enumerate(states.slot):
        into = {int(states.before[state]): 0.0}
        if slot == 0:
            for first in states.first:
                into.setdefault(int(states.before[first]), _change_cost(meters[states.meter[state]]))
        for before, after, cost in states.odd:
            for k in np.flatnonzero(after == state):
                into.setdefault(int(before[k]), float(cost[k, 0, 0]))
        steps.append(tuple((origin, kind_of[origin], cost) for origin, cost in into.items()))
    return tuple(steps)


def _change_cost(meter: Meter) -> float:
    """Cost of going over to a meter from another."""
    return _STATED_CHANGE_COST if meter.stated else _METER_COST - meter.prior


def _counted(slots: np.ndarray, runs: np.ndarray) -> np.ndarray:
    """Count on where a bar's last slot came twice."""
    counted = slots.copy()
    for k in range(1, len(slots)):
        if slots[k] and runs[k] == runs[k - 1]:
            counted[k] = counted[k - 1] + 1
    return counted


def _thirds(onset: np.ndarray, intervals: dict[float, np.ndarray]) -> dict[float, np.ndarray]:
    """By how much attacks at the thirds of the beat that ends here outweigh those in its middle; frames x tempi.

    Two thirds into the beat a shuffle sounds too; the mean of both thirds, or places that say nothing would win.
    """
    wide = np.maximum(np.maximum(onset, np.roll(onset, 1)), np.roll(onset, -1)).astype(np.float32)
    place = np.arange(len(onset))

    @cache
    def earlier(steps: int) -> np.ndarray:
        return wide[np.maximum(place - steps, 0)]

    @cache
    def term(interval: int) -> np.ndarray:
        thirds = (earlier(round(interval / 3)) + earlier(round(2 * interval / 3))) / 2
        return np.asarray(_TERNARY_WEIGHT * np.clip(thirds - earlier(round(interval / 2)), -2, 2), np.float32)

    return {length: np.stack([term(int(k)) for k in every], axis=1) for length, every in intervals.items()}


def _tempo_prior(tempi: np.ndarray) -> np.ndarray:
    """Cost of one beat at each tempo; counted by seconds, or fast tempi would pay for their number of beats."""
    octaves = np.log2(tempi / _TEMPO_CENTRE) / _TEMPO_SPREAD
    return np.asarray(-0.5 * octaves**2 * _TEMPO_WEIGHT * 60 / tempi, np.float32)
