"""First Light on paper: chords, tunes, patterns, and the form of both takes. notation.py says how to read it."""

from __future__ import annotations

from dataclasses import replace

from notation import Chord, Hand, Part, Song, drum_table, pitches, table

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

# A bar of a tune is eight eighths.
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

# Sixteen steps to a bar.
PATTERNS = table("""
    whole   x...............
    halves  X.......x.......
    answer  X.....x.....x...
    pulse   X.x.o.x.X.x.o.x.
    push    X...x...x.x...x.
    strum   X...x.oX..x.X.o.
    wide    X.....x.X.....o.
    chug    X.o.o.x.o.o.X.o.
    drive   X.x.x.x.X.x.x.x.
    hits    X.-...X.-.......""")
BASS = table("""
    whole   R...............
    halves  R.......R.....a.
    walk    R.....R.R...5.a.
    round   R.....R.5.R...a.
    drive   R.R.R.R.R.R.R.a.
    leap    R.R.8.R.R.R.8.a.
    pedal   R.R.R.R.R.R.R.R.
    hits    R.-...R.-.......""")
DRUMS = drum_table("""
    sticks   stick X...X...X...X...
    twos     stick X.......X.......
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
    last     kick X...............  crash X............... snare X...............""")  # noqa: E501

VERSE_CHORDS, CHORUS_CHORDS = "D D/F# G Em7 D Bm7 G A", "G A Bm D/F# G A D Dsus,D"
FORM = (
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

# Between bridge and build, once more and quietly: the second take only.
QUIET_CHORUS = Part("Chorus 3", "B", 104.5, 0.3, (0.68, 0.80), CHORUS_CHORDS, {
    "arp": "arp*8", "keys": "whole*4 halves*4", "pad": "whole*8", "oohs": "-*4 whole*4",
    "bass": "-*4 whole*3 halves", "drums": "-*4 heart heart' heart stride",
}, {"lead": CHORUS_TUNE})
# fmt: on


def _strings(chord: Chord) -> list[int]:
    return pitches(chord[1])


def _close(chord: Chord) -> list[int]:
    return pitches(chord[2])


def _power(chord: Chord) -> list[int]:
    return pitches(chord[3])


FIRST_TAKE = Song(
    title="First Light",
    band="The Ferry Lamps",
    time_signature="4/4",
    beats=4,
    division=4,
    scale=(2, 4, 6, 7, 9, 11, 1),  # D major
    chords=CHORDS,
    patterns=PATTERNS,
    bass=BASS,
    drums=DRUMS,
    hands={
        "crunch": Hand(_strings, spread=0.018, strums=True),
        "power": Hand(_power, spread=0.008),
        "mute": Hand(lambda chord: _power(chord)[:2], damps=0.3),
        "pad": Hand(_close),
        "oohs": Hand(lambda chord: [note + 12 for note in _close(chord)]),
        "keys": Hand(lambda chord: [*_close(chord), _close(chord)[-1] + 12]),
    },
    arpeggio=tuple(zip((0, 2, 3, 4, 1, 3, 4, 2), (96, 74, 84, 74, 84, 74, 84, 74), strict=True)),
    count=("sticks",),
    form=FORM,
    home="D",
    last_chord=LAST_CHORD,
    # What is bowed, sung or blown is let go first: strings and cymbals are what dies away.
    last_beats={"pad": 7.0, "oohs": 6.0, "lead": 5.0, "": 26.0},
)
_BUILD = [part.name for part in FORM].index("Build")
SECOND_TAKE = replace(FIRST_TAKE, count=("twos", "sticks"), form=(*FORM[:_BUILD], QUIET_CHORUS, *FORM[_BUILD:]))
