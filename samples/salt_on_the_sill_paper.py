"""Salt on the Sill on paper: chords, tunes, patterns, form. notation.py says how to read it.

A beat is a dotted quarter, two to the bar of 6/8; a bar of a tune is six eighths, of a pattern twelve sixteenths.
"""

from __future__ import annotations

from notation import Chord, Hand, Part, Song, drum_table, pitches, table

# fmt: off
# Per chord: bass note; guitar strings, low to high; piano, close and led by the smallest steps.
CHORDS = {
    "G": ("G1", "G2 D3 G3 B3 D4", "B3 D4 G4"),
    "Gsus": ("G1", "G2 D3 G3 C4 D4", "C4 D4 G4"),
    "G/B": ("B1", "B2 D3 G3 B3 D4", "B3 D4 G4"),
    "G/D": ("D2", "D3 G3 B3 D4 G4", "B3 D4 G4"),
    "C": ("C2", "C3 E3 G3 C4 E4", "C4 E4 G4"),
    "C/G": ("G1", "G2 E3 G3 C4 E4", "C4 E4 G4"),
    "Cm/G": ("G1", "G2 D#3 G3 C4 D#4", "C4 D#4 G4"),
    "D": ("D2", "D3 A3 D4 F#4 A4", "A3 D4 F#4"),
    "Dsus": ("D2", "D3 A3 D4 G4 A4", "A3 D4 G4"),
    "D/F#": ("F#1", "F#2 D3 A3 D4 F#4", "A3 D4 F#4"),
    "Em": ("E1", "E2 B2 E3 G3 B3", "B3 E4 G4"),
    "Em^": ("E2", "E3 G3 B3 E4 G4", "B3 E4 G4"),
    "B/D#": ("D#2", "D#3 F#3 B3 D#4 F#4", "B3 D#4 F#4"),
    "A/C#": ("C#2", "C#3 E3 A3 C#4 E4", "A3 C#4 E4"),
    "Am": ("A1", "A2 E3 A3 C4 E4", "C4 E4 A4"),
    "Bm": ("B1", "B2 F#3 B3 D4 F#4", "B3 D4 F#4"),
}

# The words' upbeats stand where they sound: in the last bar of the section before.
VERSE_TUNE = """
    B4:2 A4:1 G4:2 D4:1 | A4:4 F#4:1 G4:1 | B4:2 B4:1 A4:1 G4:1 E4:1 | F#4:4 -:1 D4:1 |
    G4:2 G4:1 A4:2 C5:1 | B4:2 A4:1 G4:2 E4:1 | C5:2 B4:1 A4:2 G4:1 | {}"""
AGAIN, TO_CHORUS = "A4:4 -:1 A4:1", "A4:2 -:1 G4:1 A4:1 B4:1"
CHORUS_TUNE = """
    C5:3 C5:2 B4:1 | D5:3 A4:2 B4:1 | D5:2 B4:1 F#4:3 | G4:3 -:1 A4:1 B4:1 |
    C5:3 E5:2 D5:1 | D5:2 C5:1 A4:2 F#4:1 | G4:6 | {}"""
HIGH_CHORUS_TUNE = """
    E5:3 E5:2 D5:1 | F#5:3 D5:2 C5:1 | B4:2 D5:1 F#5:3 | G5:3 -:1 A4:1 B4:1 |
    C5:3 E5:2 G5:1 | F#5:2 E5:1 D5:2 C5:1 | B4:6 | ~:4 -:2"""
BRIDGE_TUNE = """
    -:1 E4:1 G4:1 B4:3 | A4:2 F#4:1 D#4:3 | -:1 D4:1 G4:1 B4:2 A4:1 | C#5:3 A4:2 E4:1 |
    -:1 E4:1 G4:1 C5:3 | B4:2 A4:1 G4:2 D4:1 | C5:2 D5:1 E5:2 C5:1 | D5:3 G4:3 | A4:2 -:1 G4:1 A4:1 B4:1"""
INTRO_TUNE = "-:6 | -:6 | -:6 | -:5 A4:1"
OUTRO_TUNE = "-:3 D5:2 C5:1 | B4:3 G4:3 | -:3 C5:2 A4:1 | G4:3 D#4:3"
SILENT = " | ".join(["-:6"] * 8)

PATTERNS = table("""
    whole   x...........
    halves  x.....x.....
    rock    X...o.x...o.
    pulse   X.o.o.x.o.o.
    strum   X...x.X...x.
    strum'  X...xoX.o.xo
    hold    X...........""")
BASS = table("""
    whole   R...........
    halves  R.....R.....
    lilt    R.......5.a.
    walk    R.....R...a.
    drive   R...R.8...a.""")
# Brushes on the snare in verses; in choruses they slap.
DRUMS = drum_table("""
    sticks   stick X.x.x.X.x.x.
    hush     pedal ......x.....
    brush    kick x...........  tap o...o.x...o.  pedal ......x.....
    brush'   kick x.......o...  tap o...o.x...oo  pedal ......x.....
    second   kick X.........o.  tap ......x...o.  side ......X.....  ride x.o.o.x.o.o.
    second'  kick X.......x...  tap ......x.o...  side ......X.....  ride x.o.o.x.o.o.
    into     kick X.....x.....  tap o...o.X.x.xX  floor ..........xX
    into'    kick X.......x...  tap ..........xX  slap ......X.....  low ........xx..  floor ..........xX
    chorus   kick X.......x...  slap ......X.....  tap ..........o.  ride X.x.x.X.x.x.
    chorus'  kick X...x...x.x.  slap ......X.....  tap ........o.o.  ride X.x.x.X.x.x.
    full     kick X...x.x...x.  slap ......X.....  tap ..o.....o...  ride X.x.x.X.x.x.  tamb x.o.o.x.o.o.
    full'    kick X...x.x.x...  slap ......X...x.  tap ..o.....o...  ride X.x.x.X.x.xx  tamb x.o.o.x.o.o.
    fall     kick X...........  ride X...x.......
    round    kick X.....X.....  slap ......X.....  tap ........xxXX  low ........xx..  floor ..........XX
    heart    kick x.........x.  floor x...o.x...o.
    heart'   kick x.........x.  floor x.o.o.x.o.oo
    climb    kick X.....X.....  floor x.o.o.x.x.x.  tap xoxoxoxoxoxX
    last     kick X...........  crash x...........""")

VERSE = "G D/F# Em Bm C G/B Am D"
CHORUS = "C D Bm Em C D Gsus,G G"
FORM = (
    Part("Intro", "i", 52, 0.15, (0.60, 0.66), "G C/G G C/G", {
        "guitar": "arp*4", "piano": "-*2 whole*2", "bass": "-*3 whole", "drums": "-*2 hush*2",
    }, {"lead": INTRO_TUNE}),
    Part("Verse 1", "A", 52.5, 0.25, (0.66, 0.70), VERSE, {
        "guitar": "arp*8", "piano": "-*4 whole*4", "bass": "whole*4 halves*4",
        "drums": "hush*2 brush brush' brush brush' brush brush'",
    }, {"lead": VERSE_TUNE.format(AGAIN)}),
    Part("Verse 2", "A", 53, 0.4, (0.74, 0.82), VERSE, {
        "guitar": "arp*8", "piano": "halves*8", "bass": "lilt*8",
        "drums": "second second' second second' second second' second into",
    }, {"lead": VERSE_TUNE.format(TO_CHORUS)}),
    Part("Chorus 1", "B", 54.5, 0.7, (0.90, 0.92), CHORUS, {
        "guitar": "strum strum'*7", "piano": "rock*8", "bass": "walk*6 lilt walk",
        "drums": "+chorus chorus' chorus chorus' chorus chorus' chorus fall",
    }, {"lead": CHORUS_TUNE.format("~:3 -:2 A4:1")}),
    Part("Verse 3", "A", 53.5, 0.45, (0.78, 0.84), VERSE, {
        "guitar": "arp*8", "piano": "rock*8", "bass": "lilt*8",
        "drums": "second second' second second' second second' second into'",
    }, {"lead": VERSE_TUNE.format(TO_CHORUS)}),
    Part("Chorus 2", "B", 55, 0.8, (0.93, 0.95), CHORUS, {
        "guitar": "strum'*8", "piano": "rock*8", "bass": "walk*4 drive*4",
        "drums": "+chorus chorus' chorus chorus' +chorus chorus' chorus fall",
    }, {"lead": CHORUS_TUNE.format("~:3 -:3"), "low lead": CHORUS_TUNE.format("~:3 -:3")}),
    # Nine bars: in the ninth the band holds the chord and the voice goes on alone.
    Part("Bridge", "C", 53.5, 0.45, (0.66, 0.95), "Em^ B/D# G/D A/C# C G/B Am Dsus D", {
        "guitar": "arp*4 strum*4 hold", "piano": "whole*2 halves*2 rock*2 pulse*2 hold",
        "bass": "halves*4 walk*4 whole", "drums": "-*2 heart heart' heart heart' climb climb -",
    }, {"lead": BRIDGE_TUNE}),
    Part("Last chorus", "B", 56, 1.0, (0.97, 1.0), f"{CHORUS} {CHORUS}", {
        "guitar": "strum'*16", "piano": "rock*8 pulse*8", "bass": "walk*4 drive*12",
        "drums": "+full full' full full' +full full' full round +full full' +full full' +full full' full fall",
    }, {"lead": f"{CHORUS_TUNE.format('~:2 -:2 A4:1 B4:1')} | {HIGH_CHORUS_TUNE}",
        "low lead": f"{SILENT} | {HIGH_CHORUS_TUNE}"}),
    Part("Outro", "o", 53, 0.3, (0.76, 0.62), "G C/G G Cm/G", {
        "guitar": "arp*4", "piano": "halves*2 whole*2", "bass": "whole*4", "drums": "brush*2 hush*2",
    }, {"lead": OUTRO_TUNE}, slows_to=46),
)
# fmt: on


def _strings(chord: Chord) -> list[int]:
    return pitches(chord[1])


def _close(chord: Chord) -> list[int]:
    return pitches(chord[2])


SONG = Song(
    title="Salt on the Sill",
    band="Five Wet Matches",
    time_signature="6/8",
    beats=2,
    division=6,
    scale=(7, 9, 11, 0, 2, 4, 6),  # G major
    chords=CHORDS,
    patterns=PATTERNS,
    bass=BASS,
    drums=DRUMS,
    hands={"guitar": Hand(_strings, spread=0.012, strums=True), "piano": Hand(_close, spread=0.002)},
    arpeggio=tuple(zip((0, 2, 3, 4, 3, 2), (96, 74, 76, 86, 74, 72), strict=True)),
    count=("sticks",),
    form=FORM,
    home="G",
    last_chord={"bass": "G1", "guitar": "G2 D3 G3 B3 D4", "piano": "G2 D3 B3 D4 G4", "lead": "G4"},
    last_beats={"lead": 3.0, "bass": 5.0, "": 9.0},
)
