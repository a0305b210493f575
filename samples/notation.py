"""How songs are written on paper here, and the notes that follow from them.

Nothing in this module knows of seconds or sound. Places and lengths are in beats from the song's first bar; the
count-in lies before it, at negative beats. Words, tunes and patterns are short texts, so that a song can be read.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np

Note = tuple[float, float, int, float]  # start in beats, length in beats, MIDI pitch, velocity
Chord = tuple[str, ...]  # notes by name: bass; guitar strings, low to high; close position; whatever a song adds

# fmt: off
KIT = {
    "kick": 36, "snare": 38, "side": 37, "hat": 42, "pedal": 44, "open": 46, "ride": 51, "crash": 49, "wash": 57,
    "high": 48, "low": 45, "floor": 41, "tamb": 54, "stick": 31,
    "tap": 38, "slap": 39,  # what a brush does on the snare, in kits that have brushes
}
# fmt: on
STROKES = {"X": 112, "x": 90, "o": 58, "R": 100, "5": 94, "8": 104, "a": 88}  # velocities


@dataclass(frozen=True)
class Part:
    """A section. `plays` has a word per bar for each player ("walk*7 whole"); "+" adds a crash on the one."""

    name: str
    label: str
    bpm: float
    energy: float
    loud: tuple[float, float]  # share of full strength, first to last bar
    chords: str  # a word per bar; "A,B" changes at half the bar
    plays: dict[str, str]
    tunes: dict[str, str] = field(default_factory=dict)
    slows_to: float | None = None  # BPM at its end, where that is another

    @property
    def bars(self) -> int:
        return len(words(self.chords))


@dataclass(frozen=True)
class Hand:
    """How a player takes a chord."""

    notes: Callable[[Chord], list[int]]
    spread: float = 0.0  # beats from string to string
    strums: bool = False  # down on the eighths, up between them
    damps: float | None = None  # beats until the hand stops the strings, whatever the pattern says


@dataclass(frozen=True)
class Song:
    """A song on paper: its material and, in `form`, what is played after what."""

    title: str
    band: str
    time_signature: str
    beats: int  # to the bar
    division: int  # steps of a pattern to the beat: sixteenths
    scale: tuple[int, ...]  # pitch classes
    chords: Mapping[str, Chord]
    patterns: Mapping[str, str]  # a stroke lasts until the next sign, "-" damps. From loud to soft: X x o
    bass: Mapping[str, str]  # R root, 5 fifth, 8 octave, a a step from the next root
    drums: Mapping[str, Mapping[str, str]]
    hands: Mapping[str, Hand]
    arpeggio: tuple[tuple[int, int], ...]  # an eighth each: string, velocity
    count: tuple[str, ...]  # bars of drums before the song
    form: tuple[Part, ...]
    home: str  # the last chord
    last_chord: Mapping[str, str]  # who plays what of it
    last_beats: Mapping[str, float]  # how long; "" for whoever is not named

    @property
    def bars(self) -> int:
        return sum(part.bars for part in self.form)

    @property
    def end(self) -> int:
        """The beat of the last chord."""
        return self.bars * self.beats

    @property
    def count_beats(self) -> int:
        return len(self.count) * self.beats

    def beat_of(self, name: str, bar: int = 1) -> int:
        """Where a section's bar begins."""
        before = [part.name for part in self.form].index(name)
        return (sum(part.bars for part in self.form[:before]) + bar - 1) * self.beats


# ---------------------------------------------------------------------------------------- reading the texts


def words(text: str) -> list[str]:
    """Words of a line, "a*3 b" written out."""
    pairs = [word.partition("*")[::2] for word in text.split()]
    return [word for word, times in pairs for _ in range(int(times or 1))]


def table(text: str) -> dict[str, str]:
    """Patterns from lines of a name and a pattern."""
    return dict(line.split() for line in text.strip().splitlines())


def drum_table(text: str) -> dict[str, dict[str, str]]:
    """Bars of drums from lines of a name, then pieces of the kit and their patterns in turn."""
    lines = [line.split() for line in text.strip().splitlines()]
    return {line[0]: dict(zip(line[1::2], line[2::2], strict=True)) for line in lines}


def pitch(name: str) -> int:
    """MIDI number of a note name such as F#4."""
    return 12 * (int(name[-1]) + 1) + ("C", "C#", "D", "D#", "E", "F", "F#", "G", "G#", "A", "A#", "B").index(name[:-1])


def pitches(names: str) -> list[int]:
    return [pitch(name) for name in names.split()]


def strokes(pattern: str, division: int) -> Iterator[tuple[float, float, str]]:
    """Start and length in beats, and the sign, of every stroke of a pattern."""
    steps = [k for k, sign in enumerate(pattern) if sign != "."]
    for here, then in pairwise([*steps, len(pattern)]):
        if pattern[here] != "-":
            yield here / division, (then - here) / division, pattern[here]


def tune(text: str, song: Song) -> list[Note]:
    """A tune from its text: note:eighths, "-" is a rest, "~" holds the note before, "|" is for the eye.

    Notes on the beat and high ones are a little stronger.
    """
    notes: list[Note] = []
    at, eighths_to_beat = 0, song.division // 2
    for word in text.replace("|", " ").split():
        name, _, eighths = word.partition(":")
        start, length = at / eighths_to_beat, int(eighths) / eighths_to_beat
        if name == "~":
            notes[-1] = (notes[-1][0], notes[-1][1] + length, *notes[-1][2:])
        elif name != "-":
            force = 88 + 6 * (at % eighths_to_beat == 0) + 0.7 * (pitch(name) - 69)
            notes.append((start, length, pitch(name), force))
        at += int(eighths)
    if at % (song.beats * eighths_to_beat):
        raise ValueError(f"{at % (song.beats * eighths_to_beat)} eighths too many: {text}")
    return notes


# ---------------------------------------------------------------------------------------- bars of a player


def chord_at(song: Song, bar_chords: str, beat: float) -> Chord:
    names = bar_chords.split(",")
    return song.chords[names[int(beat / song.beats * len(names))]]


def arpeggio(song: Song, bar_chords: str) -> Iterator[Note]:
    for k, (string, accent) in enumerate(song.arpeggio):
        at = k / (song.division // 2)
        yield at, 1.1, pitches(chord_at(song, bar_chords, at)[1])[string], accent


def comping(song: Song, hand: Hand, pattern: str, bar_chords: str) -> Iterator[Note]:
    """A bar of chords."""
    half = song.beats / 2
    for start, length, sign in strokes(song.patterns[pattern], song.division):
        spans = [(start, length)]
        if "," in bar_chords and start < half < start + length:  # a held chord still follows a change
            spans = [(start, half - start), (half, start + length - half)]
        for at, lasts in spans:
            notes = hand.notes(chord_at(song, bar_chords, at))
            if hand.strums and round(at * song.division) % 2:
                notes.reverse()
            lasts = hand.damps or lasts * 0.97
            spread = hand.spread
            yield from ((at + k * spread, lasts - k * spread, note, STROKES[sign]) for k, note in enumerate(notes))


def bass_bar(song: Song, pattern: str, bar_chords: str, next_chords: str) -> Iterator[Note]:
    for start, length, sign in strokes(song.bass[pattern], song.division):
        root = pitch(chord_at(song, bar_chords, start)[0])
        then = pitch(chord_at(song, next_chords, 0)[0])
        # The step into the next root comes from the side on which the line already is.
        way = 1 if then < root else -1
        step = next(p for p in (then + way, then + 2 * way) if p % 12 in song.scale) if then != root else root + 7
        note = {"R": root, "5": root + 7, "8": root + 12, "a": step}[sign]
        yield start, length * 0.94, note, STROKES[sign]


def drum_bar(song: Song, word: str) -> Iterator[tuple[str, Note]]:
    """Every stroke of a bar with the piece that it falls on."""
    crash = {"crash": "X".ljust(song.beats * song.division, ".")} if word[0] == "+" else {}
    for piece, pattern in (song.drums[word.removeprefix("+")] | crash).items():
        for at, _, sign in strokes(pattern, song.division):
            yield piece, (at, 0.4, KIT[piece], STROKES[sign])


def below(note: int, chord: Chord) -> int:
    """The chord's next note at least a minor third under a tune's note."""
    classes = {p % 12 for p in pitches(chord[2])}
    return next(p for p in range(note - 3, 0, -1) if p % 12 in classes)


# ---------------------------------------------------------------------------------------- the whole song


def score(song: Song, players: Mapping[str, tuple[str, ...]]) -> dict[str, list[Note]]:
    """All notes of all players; `players` says which pieces of the drum kit each has, none for most."""
    notes: dict[str, list[Note]] = {player: [] for player in players}
    owner = {piece: player for player, pieces in players.items() for piece in pieces}
    chords = [word for part in song.form for word in words(part.chords)] + [song.home]

    def add(player: str, first: float, loud: float, bar: list[Note]) -> None:
        notes[player] += [(first + at, length, note, force * loud) for at, length, note, force in bar]

    def add_drums(word: str, first: float, loud: float) -> None:
        for piece, stroke in drum_bar(song, word):
            add(owner[piece], first, loud, [stroke])

    for k, word in enumerate(song.count):
        add_drums(word, k * song.beats - song.count_beats, 0.55)
    for part in song.form:
        start = song.beat_of(part.name)
        lines = {player: words(text) for player, text in part.plays.items()}
        for k, loud in enumerate(np.linspace(*part.loud, part.bars)):
            first, bar = start + k * song.beats, start // song.beats + k
            for player, line in lines.items():
                if line[k] == "-":
                    continue
                if player == "drums":
                    add_drums(line[k], first, loud)
                elif player == "bass":
                    add(player, first, loud, list(bass_bar(song, line[k], chords[bar], chords[bar + 1])))
                elif line[k] == "arp":
                    add(player, first, loud, list(arpeggio(song, chords[bar])))
                else:
                    add(player, first, loud, list(comping(song, song.hands[player], line[k], chords[bar])))
        for player, text in part.tunes.items():
            for at, length, note, force in tune(text, song):
                if player == "low lead":
                    note = below(note, chord_at(song, chords[int(start + at) // song.beats], at % song.beats))
                # A singer's soft is less soft than a drummer's.
                loud = 0.35 + 0.65 * float(np.interp(at / song.beats, (0, part.bars - 1), part.loud))
                add(player, start, loud, [(at, length * 0.96, note, force)])
    for player, names in song.last_chord.items():
        holds = song.last_beats.get(player, song.last_beats[""])
        add(player, song.end, 0.9, [(0.02 * k, holds, note, 110) for k, note in enumerate(pitches(names))])
    add_drums("last", song.end, 1.0)
    return notes
