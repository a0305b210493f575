"""How the decoder comes to obey what the user states.

Tempi and signatures limit the search itself. Bar lines are different: one stated bar line moved against all that was
heard would only bring an odd bar before it and another after it. What misled the reading there misled it for the same
reason in the bars around, up to where its count breaks anyway; so these bars are turned with it, and then decoded
again.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from cuesuggest.analysis.rhythm.beat_grid import BeatGrid
from cuesuggest.analysis.rhythm.decoder import Limits
from cuesuggest.analysis.rhythm.evidence import Evidence, top_near
from cuesuggest.analysis.rhythm.known import Known
from cuesuggest.analysis.rhythm.meters import Meter, stated_meter
from cuesuggest.analysis.spectrum import FRAME_RATE

__all__ = ["MEANT", "Stated"]

MEANT = 0.07  # s; a beat so near to a tap is the one that was meant
_EDGE = 0.08  # s; a bar line stated as the place where something changes may be heard so much earlier
_WHOLE = 0.8  # of the window: a tempo stated for more of it is the song's
_REWARD = 200.0  # nats for a stated bar line: more than any way round it can bring
_OFF_CENTRE = 0.15  # nats lost for each squared frame between a stated bar line and its beat
_NEAR = 1.5  # beats from a bar line to the nearest beat that was heard: further off, nothing was heard there
_JOINED = 9.0  # beats without any beat between stated bars that are still filled: two bars of four
_SUPPORT = 4.0  # nats of evidence for a stated count after which it is believed to begin, or end, there
_YES, _NO = 3.0, -2.0  # nats of evidence for a beat, or a downbeat, where the user's word implies one; and elsewhere


@dataclass(frozen=True, slots=True)
class Stated:
    """Facts about one recording, in frames of its evidence."""

    known: Known
    start: float
    frames: int

    @property
    def bar_lines(self) -> np.ndarray:
        """Frames, with fractions, of the stated bar lines inside the recording."""
        lines = (np.array(self.known.bar_lines) - self.start) * FRAME_RATE
        return lines[(lines >= -0.5) & (lines <= self.frames - 0.5)]

    @property
    def tempi(self) -> tuple[tuple[float, int, int], ...]:
        """Tempi inside the recording, with the frames from and to which they hold."""
        spans = [(bpm, self._frame(begin), self._frame(end)) for bpm, begin, end in self.known.tempi]
        inside = [(bpm, max(begin, 0), min(end, self.frames)) for bpm, begin, end in spans]
        return tuple((bpm, begin, end) for bpm, begin, end in inside if begin < end)

    @property
    def tempo(self) -> float | None:
        """The stated tempo of the longest stretch, if nearly all of the recording has one."""
        covered = np.zeros(self.frames, bool)
        for _, begin, end in self.tempi:
            covered[begin:end] = True
        if not self.frames or covered.mean() < _WHOLE:
            return None
        return max(self.tempi, key=lambda span: span[2] - span[1])[0]

    def meters(self, heard: tuple[Meter, ...]) -> tuple[Meter, ...]:
        """Meters that may occur: those to choose from, where none is stated; and the stated ones."""
        stated = self._signatures()
        free = () if stated and stated[0][1] <= 0 else heard
        return (*free, *dict.fromkeys(meter for meter, _ in stated))

    def limits(self, table: tuple[Meter, ...], *, tempi: bool = True) -> Limits | None:
        """Stated signatures, and tempi unless left out, as what the decoder must obey; None if there are none.

        Parameters
        ----------
        table : tuple of Meter
            As `meters` gives them.
        tempi : bool

        Returns
        -------
        Limits or None
        """
        spans = self.tempi if tempi else ()
        stated = self._signatures()
        if not stated and not spans:
            return None
        first = max(0, stated[0][1]) if stated else self.frames
        begins = np.zeros((len(table), self.frames), bool)
        begins[: len(table) - len({meter for meter, _ in stated}), :first] = True
        for k, (meter, begin) in enumerate(stated):
            end = stated[k + 1][1] if k + 1 < len(stated) else self.frames
            # A meter to choose from may be equal to a stated one; the stated ones come last.
            row = len(table) - 1 - table[::-1].index(meter)
            begins[row, max(0, begin) : max(0, end)] = True
        return Limits(begins, np.zeros(self.frames), np.zeros(self.frames, bool), spans)

    def insist(
        self, grid: BeatGrid, evidence: Evidence, limits: Limits | None, bpm: float
    ) -> tuple[Evidence, Limits] | None:
        """What a second reading must take for heard, and obey, where a first one leaves facts out.

        Parameters
        ----------
        grid : BeatGrid
            The first reading.
        evidence : Evidence
        limits : Limits or None
            What it obeyed.
        bpm : float
            Tempo where nothing was heard.

        Returns
        -------
        (Evidence, Limits) or None
            None if the first reading has it all.
        """
        lines = self.bar_lines
        bare = [(a, b) for _, a, b in self.tempi if not ((grid.frames >= a) & (grid.frames < b)).any()]
        opens = grid.frames[grid.slots == 0]
        met = [len(opens) > 0 and np.abs(opens - line).min() <= MEANT * FRAME_RATE for line in lines]
        if all(met) and not bare:
            return None
        begins = np.ones((len(grid.table), self.frames), bool) if limits is None else limits.begins
        sounds = np.zeros(self.frames, bool)
        for a, b in bare:
            sounds[a : max(a + 1, b - self._interval(a, grid, bpm))] = True
        unheard = [
            line
            for line in lines
            if not len(grid.frames)
            or np.abs(grid.frames - line).min() > _NEAR * self._interval(round(float(line)), grid, bpm)
        ]
        for line in unheard:
            self._fill(sounds, line, grid, begins, bpm)
        # What the models say of beats where they hear no music is noise; there, the count goes on evenly.
        mute = sounds & (evidence.music < 0)
        evidence = replace(
            evidence, beat=np.where(mute, 0.0, evidence.beat), downbeat=np.where(mute, 0.0, evidence.downbeat)
        )
        turned = _turned(evidence, grid, np.array([line for line in lines if line not in unheard]))
        spans = self.tempi if limits is None else limits.tempi
        return turned, Limits(begins, self._rewards(), sounds, spans)

    def _frame(self, seconds: float) -> int:
        return round((seconds - self.start) * FRAME_RATE)

    def _signatures(self) -> list[tuple[Meter, int]]:
        """Stated meters in order, with the frames from which they hold."""
        return [
            (stated_meter(value), self._frame(begin - _EDGE))
            for value, begin in sorted(self.known.signatures, key=lambda each: each[1])
            if self._frame(begin) < self.frames
        ]

    def _rewards(self) -> np.ndarray:
        rewards = np.zeros(self.frames)
        for line in self.bar_lines:
            reach = MEANT * FRAME_RATE
            near = np.arange(max(0, int(np.ceil(line - reach))), min(self.frames, int(line + reach) + 1))
            rewards[near] = np.maximum(rewards[near], _REWARD - _OFF_CENTRE * (near - line) ** 2)
        return rewards

    def _interval(self, frame: int, grid: BeatGrid, bpm: float) -> int:
        """Frames of a plain beat at a frame, as stated or heard."""
        for stated, begin, end in self.tempi:
            if begin <= frame < end:
                bpm = stated
                break
        else:
            if len(grid.frames) > 1:
                bpm = grid.bpm
        return max(1, round(60 * FRAME_RATE / bpm))

    def _fill(self, sounds: np.ndarray, line: float, grid: BeatGrid, begins: np.ndarray, bpm: float) -> None:
        """Let there be music for a bar from a bar line on, and up to what is heard or stated not far from it."""
        frame = int(np.clip(round(line), 0, self.frames - 1))
        interval = self._interval(frame, grid, bpm)
        allowed = np.flatnonzero(begins[:, frame])
        meter = grid.table[int(allowed[0])]
        if len(allowed) > 1 and len(grid.frames):
            meter = grid.table[grid.meters[int(np.abs(grid.frames - line).argmin())]]
        # No longer than to where the bar's last beat is surely due, or a beat of the next would be wanted, too.
        sounds[frame : max(frame + 1, round(frame + (sum(meter.lengths) - 1.3) * interval))] = True
        others = np.concatenate([grid.frames, self.bar_lines])
        for gap in others[(others != line) & (np.abs(others - line) <= _JOINED * interval)] - line:
            first, last = sorted((frame, round(frame + float(gap))))
            sounds[max(0, first + 1) : max(0, last)] = True


@dataclass(frozen=True, slots=True)
class _Stretch:
    """Beats of one run and meter whose bars are all whole: from one break of the count to the next."""

    first: int
    last: int
    origin: float
    """Place of a downbeat, in plain beats."""
    meter: Meter


def _stretches(grid: BeatGrid) -> list[_Stretch]:
    edges = [0]
    opens = np.flatnonzero(grid.slots == 0)
    for k in range(1, len(grid.frames)):
        if grid.runs[k] != grid.runs[k - 1]:
            edges.append(k)
        elif grid.slots[k] == 0:
            before = opens[np.searchsorted(opens, k) - 1] if opens[0] < k else None
            broken = before is not None and before >= edges[-1] and k - before != grid.table[grid.meters[k - 1]].beats
            if broken or grid.meters[k] != grid.meters[k - 1]:
                edges.append(k)
    found = []
    for first, after in zip(edges, [*edges[1:], len(grid.frames)], strict=True):
        meter = grid.table[grid.meters[first]]
        passed = sum(meter.lengths[: int(grid.slots[first])])
        found.append(_Stretch(first, after - 1, float(grid.places[first]) - passed, meter))
    return found


def _turned(evidence: Evidence, grid: BeatGrid, lines: np.ndarray) -> Evidence:
    """Evidence under which the count around each stated bar line is the stated one."""
    beat, down = evidence.beat.copy(), evidence.downbeat.copy()
    if not len(lines) or len(grid.frames) < 2:
        return evidence
    nearest = np.array([np.abs(grid.frames - line).argmin() for line in lines])
    for stretch in _stretches(grid):
        inside = slice(stretch.first, stretch.last + 1)
        frames, places = grid.frames[inside].astype(float), grid.places[inside]
        if len(frames) < 2:
            continue
        own = lines[(nearest >= stretch.first) & (nearest <= stretch.last)]
        count = _PlacedBeats(frames, places, stretch.meter)
        for k, line in enumerate(own):
            before = float(own[k - 1]) if k else None
            after = float(own[k + 1]) if k + 1 < len(own) else None
            count.turn(beat, down, evidence.downbeat, stretch.origin, float(line), before, after)
    return replace(evidence, beat=beat, downbeat=down)


@dataclass(frozen=True, slots=True)
class _PlacedBeats:
    """Frames of beats and their places in plain beats, to turn one into the other, also a little outside."""

    frames: np.ndarray
    places: np.ndarray
    meter: Meter

    def turn(
        self,
        beat: np.ndarray,
        down: np.ndarray,
        heard: np.ndarray,
        origin: float,
        line: float,
        before: float | None,
        after: float | None,
    ) -> None:
        """Write the count that one bar line implies into the evidence, as far as it reaches.

        It reaches to the ends of the stretch, to other stated bar lines, or to where the evidence itself begins to
        speak for another count.
        """
        bar = sum(self.meter.lengths)
        at = self._place(line)
        off = (at - origin + bar / 2) % bar - bar / 2
        even = len(set(self.meter.lengths)) == 1
        if abs(off) <= 0.25:
            return
        between = even and abs(off - round(off)) > 0.25
        if even and not between:
            at += round(off) - off  # the tap meant a beat
        bars = np.arange(np.ceil((self.places[0] - 0.5 - at) / bar), (self.places[-1] + 0.5 - at) / bar)
        stated = self._frame(at + bars * bar)
        support = _top_near_places(heard, stated) - _top_near_places(heard, self._frame(at - off + bars * bar))
        low, high = self.frames[0], self.frames[-1] + 1
        earlier = np.flatnonzero((bars < 0) & (stated > (low - 1 if before is None else before)))
        if len(earlier) and (sums := np.cumsum(support[earlier][::-1])).max() > _SUPPORT:
            low = stated[earlier[::-1][int(sums.argmax())]]
        elif before is not None:
            low = line
        later = np.flatnonzero((bars > 0) & (stated < (high if after is None else after)))
        if after is not None:
            high = after
        if len(later) and (sums := np.cumsum(support[later])).max() > _SUPPORT:
            last = int(sums.argmax())
            high = high if last == len(later) - 1 else stated[later[last]] + 1
        reach = slice(max(0, round(low) - 2), max(0, round(high) - 2))
        down[reach] = _NO
        for frame in stated[(stated >= low - 2) & (stated < high)]:
            down[max(0, round(frame) - 1) : round(frame) + 2] = _YES
        if between:
            beat[reach] = _NO
            steps = np.arange(np.ceil(self.places[0] - at), self.places[-1] - at + 1)
            for frame in (frames := self._frame(at + steps))[(frames >= low - 2) & (frames < high)]:
                beat[max(0, round(frame)) : round(frame) + 1] = _YES

    def _place(self, frame: float) -> float:
        return float(_extended(np.array([frame]), self.frames, self.places)[0])

    def _frame(self, places: np.ndarray) -> np.ndarray:
        return _extended(places, self.places, self.frames)


def _extended(x: np.ndarray, known: np.ndarray, values: np.ndarray) -> np.ndarray:
    """Linear between known values, and outside as fast as on the whole."""
    slope = (values[-1] - values[0]) / (known[-1] - known[0])
    outside = np.minimum(x - known[0], 0) + np.maximum(x - known[-1], 0)
    return np.asarray(np.interp(x, known, values) + outside * slope)


def _top_near_places(curve: np.ndarray, frames: np.ndarray) -> np.ndarray:
    return top_near(curve, np.rint(frames).astype(int))
