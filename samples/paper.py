"""The sample song on paper: chords, tunes, patterns, form, and the notes that follow from them.

Nothing here knows of seconds or sound. Places and lengths are in beats from the song's first bar; the count-in
lies before it, at negative beats.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np

NAME, TITLE, BAND = "first_light", "First Light", "The Ferry Lamps"
BEATS = 4  # to the bar, all through
FINAL_BEATS = 26.0  # the last chord is held to the end of the recording

# fmt: off
# Per chord: bass note; guitar strings, low to high; keys, close and led by the smallest steps; power chord.
CHORDS = {
    "D": ("D2", "D3 A3 D4 F#4 A4", "A3 D4 F#4", "D3 A3 D4"),
    "Dsus": ("D2", "D3 A3 D4 G4 A4", "A3 D4 G4", "D3 A3 D4"),
    "D/F#": ("F#1", "F#2 A3 D4 F#4 A4", "A3 D4 F#4", "D3 A3 D4"),
    "Em7": ("E1", "E2 B2 E3 G3 D4", "B3 D4 G4", "E3 B3 E4"),
    "G": ("G1", "G2 D3 G3 B3 D4", "B3 D4 G4", "G2 D3 G3"),
    "A": ("A1", "A2 E3 A3 C#4 E4", "A3 C#4 E4", "A2 E3 A3"),
    "Asus": ("A1", "A2 E3 A3 D4 E4", "A3 D4 E4", "A2 E3 A3"),
    "Bm": ("B1", "B2 F#3 B3 D4 F#4", "B3 D4 F#4", "B2 F#3 B3"),
    "Bm7": ("B1", "B2 F#3 A3 D4 F#4", "A3 D4 F#4", "B2 F#3 B3"),
    "Bm/A": ("A1", "A2 F#3 B3 D4 F#4", "B3 D4 F#4", "B2 F#3 B3"),
    "C": ("C2", "C3 E3 G3 D4 G4", "C4 D4 G4", "C3 G3 C4"),
}
LAST_CHORD = {
    "bass": "D2", "power": "D2 A2 D3", "crunch": "D3 A3 D4 F#4 A4", "arp": "D3 A4", "pad": "A3 D4 F#4",
    "keys": "D2 D3 A3 D4 F#4 D5", "oohs": "A4 D5 F#5", "lead": "D5",
}

SCALE = (2, 4, 6, 7, 9, 11, 1)  # D major, as pitch classes

# Tunes: note:eighths, "-" is a rest, "~" holds the note before; a bar is eight eighths.
EMPTY = " | ".join(["-:8"] * 4)
HOOK = "B4:3 A4:1 B4:2 D5:2"
VERSE_TUNE = """
    -:1 F#4:1 F#4:1 E4:1 F#4:2 A4:2 | F#4:1 E4:1 D4:4 -:2 |
    -:1 G4:1 G4:1 F#4:1 G4:2 B4:2 | A4:1 G4:1 E4:4 -:2 |
    -:1 F#4:1 F#4:1 E4:1 F#4:2 A4:2 | B4:2 A4:1 F#4:3 -:2 |
    -:1 B4:1 B4:1 A4:1 B4:2 D5:2 | C#5:2 B4:1 A4:4 -:1"""
CHORUS_TUNE = f"""
    {HOOK} | C#5:3 B4:1 A4:4 | -:1 F#4:1 B4:1 C#5:1 D5:3 B4:1 | A4:4 F#4:2 A4:2 |
    {HOOK} | E5:3 D5:1 C#5:2 A4:2 | D5:3 C#5:1 D5:4 | ~:4 -:4"""
HIGH_CHORUS_TUNE = f"""
    {HOOK} | C#5:3 E5:1 C#5:2 A4:2 | -:1 F#4:1 B4:1 C#5:1 D5:3 E5:1 | F#5:4 D5:2 A4:2 |
    {HOOK} | E5:3 F#5:1 E5:2 C#5:2 | F#5:3 E5:1 D5:4 | ~:5 -:3"""
BRIDGE_TUNE = """
    -:2 G4:2 F#4:1 E4:3 | -:1 F#4:1 A4:2 D4:4 | E4:2 G4:2 E4:4 | -:2 D4:2 G4:2 A4:2 |
    -:2 B4:2 A4:1 G4:3 | -:1 A4:1 B4:2 F#4:4 | G4:2 A4:2 C5:4 | B4:2 C5:2 D5:3 -:1"""
BUILD_TUNE = "D5:8 | C#5:8 | D5:8 | E5:7 -:1 | -:8"
TAG_TUNE = f"{HOOK} | C#5:3 B4:1 A4:4 | {HOOK} | E5:3 D5:1 C#5:4"
INTRO_RIFF = f"{EMPTY} | {HOOK} | ~:4 A4:2 B4:2 | A4:3 E4:1 A4:2 D5:2 | C#5:7 -:1"
RIFF = """
    D5:1 B4:1 D5:1 E5:1 D5:2 B4:2 | E5:1 C#5:1 E5:1 F#5:1 E5:2 C#5:2 | F#5:1 D5:1 F#5:1 A5:1 F#5:2 D5:2 | {} |
    D5:1 B4:1 D5:1 E5:1 D5:2 B4:2 | E5:1 C#5:1 E5:1 F#5:1 E5:2 C#5:2 | F#5:1 D5:1 F#5:1 A5:1 F#5:2 D5:2 | {}"""
LAST_RIFF = " | ".join([RIFF.format("A5:2 F#5:2 D5:2 A4:2", "A5:2 G5:2 F#5:2 D5:2")] * 2)

# Sixteen steps to a bar; a stroke lasts until the next sign, "-" damps. From loud to soft: X x o.
PATTERNS = dict(line.split() for line in """
    whole   x...............
    halves  X.......x.......
    answer  X.....x.....x...
    pulse   X.x.o.x.X.x.o.x.
    push    X...x...x.x...x.
    strum   X...x.oX..x.X.o.
    wide    X.....x.X.....o.
    chug    X.o.o.x.o.o.X.o.
    drive   X.x.x.x.X.x.x.x.
    hits    X.-...X.-.......""".strip().splitlines())
ARPEGGIO = (0, 2, 3, 4, 1, 3, 4, 2)  # strings, in eighths
# R root, 5 fifth, 8 octave, a a step from the next root.
BASS = dict(line.split() for line in """
    whole   R...............
    halves  R.......R.....a.
    walk    R.....R.R...5.a.
    round   R.....R.5.R...a.
    drive   R.R.R.R.R.R.R.a.
    leap    R.R.8.R.R.R.8.a.
    pedal   R.R.R.R.R.R.R.R.
    hits    R.-...R.-.......""".strip().splitlines())
DRUMS = {line.split()[0]: dict(zip(line.split()[1::2], line.split()[2::2], strict=True)) for line in """
    sticks   stick X...X...X...X...
    tick     pedal x...x...x...x...
    light    kick x.......x.......  hat x.o.x.o.x.o.x.o.
    lift     kick x.......x.......  hat x.o.x.o.x.o.....  side ............x...  floor .............xxX
    verse    kick X.....x.x.......  hat X.o.x.o.X.o.x.o.  side ....X.......X...
    verse'   kick X.....x.x.x.....  hat X.o.x.o.X.o.x.oo  side ....X.......X..o
    second   kick X.....x.x..x....  hat X.o.x.oox.o.x.oo  snare ....X..o.o..X...
    second'  kick X..x..x.x.......  hat X.o.x.o.x.o.x...  snare ....X..o.o..X..o  open ..............x.
    into     kick X.....x.x.......  hat X.o.x.o.X.......  snare ....X.....ooxxXX
    into'    kick X.....x.x...x...  hat X.o.x.o.........  snare ....X...XX......  high ..........xx.... low ............xx.. floor ..............XX
    chorus   kick X.....x.X.x.....  open x.x.x.x.x.x.x.x. snare ....X.......X...
    chorus'  kick X..x..x.X.x...x.  open x.x.x.x.x.x.x.x. snare ....X.......X..o
    ride     kick X.....x.X.x.....  ride X.x.X.x.X.x.X.x. snare ....X..o....X...  tamb ..o...o...o...o.
    ride'    kick X..x..x.X.x...x.  ride X.x.X.x.X.xxX.x. snare ....X..o....X..o  tamb ..o...o...o...o.
    full     kick X.x...x.X.x...x.  wash X...X...X...X... snare ....X.......X...  tamb o.x.o.x.o.x.o.x.
    full'    kick X.x..xx.X.x...x.  wash X...X...X...X... snare ....X..o....X..o  tamb o.x.o.x.o.x.o.x.
    round    kick X.....x.X.......  open x.x.x.x......... snare ....X...XxXx....  high ............xX.. floor ..............XX
    fall     kick X...............  open x.x.x........... snare ....X...........
    heart    kick x.......x.......  floor x..o..x.o..o..x.
    heart'   kick x.......x.....x.  floor x..o..x.o..o..x. side ............x...  low ..............oo
    stride   kick X...x...X...x...  floor x..x..x.x..x..x. snare ............o.o.
    roll8    kick X...X...X...X...  floor X.......x....... snare x.x.x.x.x.x.x.x.
    roll16   kick X...X...X...X...  floor X...x...X...x... snare xoxoxoxoxoxoxoxo
    roll!    kick X.X.X.X.X.X.X.X.  floor X.X.X.X.XxXxXXXX snare xxxxxxxxXxXxXXXX
    hits     kick X.....X.........  crash X.....X......... snare X.....X.........
    last     kick X...............  crash X............... snare X...............""".strip().splitlines()}  # noqa: E501
CRASH = "X..............."
KIT = {
    "kick": 36, "snare": 38, "side": 37, "hat": 42, "pedal": 44, "open": 46, "ride": 51, "crash": 49, "wash": 57,
    "high": 48, "low": 45, "floor": 41, "tamb": 54, "stick": 31,
}
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

    @property
    def bars(self) -> int:
        return len(words(self.chords))


def words(text: str) -> list[str]:
    """Words of a line, "a*3 b" written out."""
    pairs = [word.partition("*")[::2] for word in text.split()]
    return [word for word, times in pairs for _ in range(int(times or 1))]


VERSE_CHORDS, CHORUS_CHORDS = "D D/F# G Em7 D Bm7 G A", "G A Bm D/F# G A D Dsus,D"
SONG = (
    Part("Intro", "i", 105, 0.2, (0.66, 0.76), "D D Bm7 Bm7 G G Asus A", {
        "arp": "arp*8", "pad": "-*2 whole*6", "bass": "-*4 whole*3 halves",
        "drums": "-*2 tick*2 light*3 lift",
    }, {"riff": INTRO_RIFF}),
    Part("Verse 1", "A", 105.5, 0.35, (0.74, 0.78), VERSE_CHORDS, {
        "arp": "arp*8", "pad": "-*4 whole*4", "bass": "halves*4 walk*4",
        "drums": "verse verse' verse verse' verse verse' verse into",
    }, {"lead": VERSE_TUNE}),
    Part("Chorus 1", "B", 108, 0.75, (0.92, 0.95), CHORUS_CHORDS, {
        "crunch": "strum*8", "power": "wide*8", "keys": "push*8", "pad": "whole*8", "bass": "drive*8",
        "drums": "+chorus chorus' chorus chorus' +chorus chorus' chorus fall",
    }, {"lead": CHORUS_TUNE}),
    Part("Verse 2", "A", 106.5, 0.5, (0.80, 0.85), VERSE_CHORDS, {
        "arp": "arp*8", "mute": "chug*8", "keys": "-*4 halves*4", "pad": "whole*8", "bass": "walk*4 round*4",
        "drums": "+second second' second second' second second' second into'",
    }, {"lead": VERSE_TUNE}),
    Part("Chorus 2", "B", 108.5, 0.85, (0.95, 0.98), CHORUS_CHORDS, {
        "crunch": "strum*8", "power": "drive*8", "keys": "push*8", "pad": "whole*8", "oohs": "whole*8",
        "bass": "drive*4 leap*4", "drums": "+ride ride' ride ride' +ride ride' ride fall",
    }, {"lead": CHORUS_TUNE}),
    Part("Bridge", "C", 106, 0.3, (0.68, 0.84), "Em7 Bm7 C G Em7 Bm7 C C", {
        "arp": "arp*8", "keys": "whole*4 answer*4", "pad": "whole*8", "oohs": "-*4 whole*4",
        "bass": "whole*4 halves*4", "drums": "-*2 heart heart' heart*3 stride",
    }, {"lead": BRIDGE_TUNE}),
    Part("Build", "D", 107.5, 0.65, (0.70, 1.0), "Asus A Bm/A Asus,A A", {
        "crunch": "-*2 whole*2 hits", "power": "chug*2 drive*2 hits", "keys": "pulse*4 hits",
        "pad": "whole*4 -", "oohs": "whole*4 -", "bass": "pedal*4 hits", "drums": "roll8*2 roll16 roll! hits",
    }, {"lead": BUILD_TUNE}),
    Part("Last chorus", "B", 110, 1.0, (0.98, 1.0), f"{CHORUS_CHORDS} {CHORUS_CHORDS}", {
        "crunch": "strum*16", "power": "drive*16", "keys": "pulse*16", "pad": "whole*16", "oohs": "whole*16",
        "bass": "leap*16", "drums": "+ride ride' ride ride' +ride ride' ride round"
                                    " +full full' +full full' +full full' +full round",
    }, {"lead": f"{CHORUS_TUNE} | {HIGH_CHORUS_TUNE}", "riff": LAST_RIFF,
        "low lead": f"{EMPTY} | {EMPTY} | {HIGH_CHORUS_TUNE}"}),
    Part("Tag", "o", 109, 0.8, (0.96, 0.92), "G A G Asus,A", {
        "crunch": "strum*4", "power": "wide*4", "keys": "push*4", "pad": "whole*4", "oohs": "whole*4",
        "bass": "drive*4", "drums": "+chorus chorus' +chorus round",
    }, {"lead": TAG_TUNE}),
)
# fmt: on
BARS = sum(part.bars for part in SONG)


def beat_of(name: str, bar: int = 1) -> int:
    """Where a section's bar begins."""
    before = [part.name for part in SONG].index(name)
    return (sum(part.bars for part in SONG[:before]) + bar - 1) * BEATS


# Two hits of the whole band on one and on the "and" of two, then nobody plays until the bar line.
HITS = beat_of("Build", 5)

Note = tuple[float, float, int, float]  # start in beats, length in beats, MIDI pitch, velocity


def pitch(name: str) -> int:
    """MIDI number of a note name such as F#4."""
    return 12 * (int(name[-1]) + 1) + ("C", "C#", "D", "D#", "E", "F", "F#", "G", "G#", "A", "A#", "B").index(name[:-1])


def pitches(names: str) -> list[int]:
    return [pitch(name) for name in names.split()]


def strokes(pattern: str) -> Iterator[tuple[float, float, str]]:
    """Start and length in beats, and the sign, of every stroke of a pattern."""
    steps = [k for k, sign in enumerate(pattern) if sign != "."]
    for here, then in pairwise([*steps, len(pattern)]):
        if pattern[here] != "-":
            yield here / 4, (then - here) / 4, pattern[here]


def chord_at(bar_chords: str, beat: float) -> tuple[str, str, str, str]:
    names = bar_chords.split(",")
    return CHORDS[names[int(beat / BEATS * len(names))]]


def arpeggio(bar_chords: str) -> Iterator[Note]:
    for k, string in enumerate(ARPEGGIO):
        accent = 96 if k == 0 else 84 if k % 2 == 0 else 74
        yield k / 2, 1.1, pitches(chord_at(bar_chords, k / 2)[1])[string], accent


def voicing(player: str, chord: tuple[str, str, str, str]) -> list[int]:
    """The notes that a player takes of a chord."""
    _, strings, close, power = (pitches(names) for names in chord)
    hands = {"crunch": strings, "power": power, "mute": power[:2], "pad": close}
    hands |= {"oohs": [note + 12 for note in close], "keys": [*close, close[-1] + 12]}
    return hands[player]


def comping(player: str, pattern: str, bar_chords: str) -> Iterator[Note]:
    """A bar of chords. Guitars strum: down on the eighths, up between them."""
    spread = {"crunch": 0.018, "power": 0.008}.get(player, 0.0)
    for start, length, sign in strokes(PATTERNS[pattern]):
        spans = [(start, length)]
        if "," in bar_chords and start < 2 < start + length:  # a held chord still follows a change
            spans = [(start, 2 - start), (2.0, start + length - 2)]
        for at, lasts in spans:
            notes = voicing(player, chord_at(bar_chords, at))
            if player == "crunch" and at * 2 % 1:
                notes.reverse()
            lasts = 0.3 if player == "mute" else lasts * 0.97
            yield from ((at + k * spread, lasts - k * spread, note, STROKES[sign]) for k, note in enumerate(notes))


def bass_bar(pattern: str, bar_chords: str, next_chords: str) -> Iterator[Note]:
    for start, length, sign in strokes(BASS[pattern]):
        root, then = pitch(chord_at(bar_chords, start)[0]), pitch(chord_at(next_chords, 0)[0])
        # The step into the next root comes from the side on which the line already is.
        way = 1 if then < root else -1
        step = next(p for p in (then + way, then + 2 * way) if p % 12 in SCALE) if then != root else root + 7
        note = {"R": root, "5": root + 7, "8": root + 12, "a": step}[sign]
        yield start, length * 0.94, note, STROKES[sign]


def drum_bar(word: str) -> Iterator[tuple[str, Note]]:
    """Every stroke of a bar with the piece that it falls on."""
    pieces = DRUMS[word.removeprefix("+")] | ({"crash": CRASH} if word[0] == "+" else {})
    for piece, pattern in pieces.items():
        for at, _, sign in strokes(pattern):
            yield piece, (at, 0.4, KIT[piece], STROKES[sign])


def tune(text: str) -> list[Note]:
    """A tune from its text; notes on the beat and high ones are a little stronger."""
    notes: list[Note] = []
    at = 0.0
    for word in text.replace("|", " ").split():
        name, _, eighths = word.partition(":")
        length = int(eighths) / 2
        if name == "~":
            notes[-1] = (notes[-1][0], notes[-1][1] + length, *notes[-1][2:])
        elif name != "-":
            notes.append((at, length, pitch(name), 88 + 6 * (at % 1 == 0) + 0.7 * (pitch(name) - 69)))
        at += length
    if at % BEATS:
        raise ValueError(f"{at % BEATS} beats too many: {text}")
    return notes


def below(note: int, chord: tuple[str, str, str, str]) -> int:
    """The chord's next note at least a minor third under a tune's note."""
    classes = {p % 12 for p in pitches(chord[2])}
    return next(p for p in range(note - 3, 0, -1) if p % 12 in classes)


def score(players: dict[str, tuple[str, ...]]) -> dict[str, list[Note]]:
    """All notes of all players; `players` says which pieces of the drum kit each has, none for most."""
    notes: dict[str, list[Note]] = {player: [] for player in players}
    owner = {piece: player for player, pieces in players.items() for piece in pieces}
    chords = [word for part in SONG for word in words(part.chords)] + ["D"]

    def add(player: str, first: float, loud: float, bar: list[Note]) -> None:
        notes[player] += [(first + at, length, note, force * loud) for at, length, note, force in bar]

    def add_drums(word: str, first: float, loud: float) -> None:
        for piece, stroke in drum_bar(word):
            add(owner[piece], first, loud, [stroke])

    add_drums("sticks", -BEATS, 0.55)
    for part in SONG:
        start = beat_of(part.name)
        lines = {player: words(text) for player, text in part.plays.items()}
        for k, loud in enumerate(np.linspace(*part.loud, part.bars)):
            first, bar = start + k * BEATS, start // BEATS + k
            for player, line in lines.items():
                if line[k] == "-":
                    continue
                if player == "drums":
                    add_drums(line[k], first, loud)
                elif player == "bass":
                    add(player, first, loud, list(bass_bar(line[k], chords[bar], chords[bar + 1])))
                elif player == "arp":
                    add(player, first, loud, list(arpeggio(chords[bar])))
                else:
                    add(player, first, loud, list(comping(player, line[k], chords[bar])))
        for player, text in part.tunes.items():
            for at, length, note, force in tune(text):
                if player == "low lead":
                    note = below(note, chord_at(chords[int(start + at) // BEATS], at % BEATS))
                # A singer's soft is less soft than a drummer's.
                loud = 0.35 + 0.65 * float(np.interp(at / BEATS, (0, part.bars - 1), part.loud))
                add(player, start, loud, [(at, length * 0.96, note, force)])
    end = BARS * BEATS
    for player, names in LAST_CHORD.items():
        # What is bowed, sung or blown is let go first: strings and cymbals are what dies away.
        holds = {"pad": 7.0, "oohs": 6.0, "lead": 5.0}.get(player, FINAL_BEATS)
        add(player, end, 0.9, [(0.02 * k, holds, note, 110) for k, note in enumerate(pitches(names))])
    add_drums("last", end, 1.0)
    return notes
