"""First Light, two takes of it, played by a small band of sampled instruments and mixed, with the truth beside each.

    python samples/first_light.py --out DIR
    python samples/first_light.py --out DIR --take 2

writes first_light.ogg and .json, or first_light_take2.ogg and .json. The song itself stands in first_light_paper.py;
here it gets a tempo, hands, instruments, a room. band.py says what has to be installed.
"""

from __future__ import annotations

import argparse
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pyloudnorm
from band import RATE, Clock, Line, Pace, Player, conversation, first_note, heard_from, play, tempo_curve
from desk import amplifier, cut, echo, hall, limit, loud_level, squash, write_ogg
from first_light_paper import FIRST_TAKE, SECOND_TAKE
from notation import Song
from truth import Event, last_sound, same_passages, truth, write_truth

TAIL = 11.0  # seconds from the last chord to the end of the file


@dataclass(frozen=True)
class Take:
    """What differs between two evenings."""

    name: str
    song: Song
    seed: int
    room_tone: float  # seconds before anything is heard
    pace: Pace
    loose: float = 1.0  # how far hands scatter about the beat
    talk: tuple[Line, ...] = ()
    before_count: float = 0.0  # seconds from the last word to the first stick
    rooms: float = 2.2  # share of both rooms
    compression: float | None = None  # of the Ogg file, 0..1


TAKES = (
    Take("first_light", FIRST_TAKE, seed=8, room_tone=3.0, pace=Pace()),
    Take(
        "first_light_take2",
        SECOND_TAKE,
        seed=23,
        room_tone=1.4,
        # Slower, and it comes in tired and warms up.
        pace=Pace(start=0.945, end=0.967, holds=0.98, strays=0.0022),
        loose=1.25,
        talk=(
            Line(0.0, "en-gb+f2", 165, 48, -31, "Same tempo again?"),
            Line(0.5, "en-us+m3", 150, 38, -29, "No, a little slower. And the quiet chorus after the bridge."),
            Line(0.6, "en-gb+f2", 170, 52, -32, "Right."),
            Line(0.8, "en-us+m3", 145, 40, -29, "First Light, take two."),
        ),
        before_count=1.1,
        rooms=2.9,
        compression=0.7,
    ),
)

# fmt: off
HATS = ("hat", "pedal", "open", "tamb", "stick")
PLAYERS = {
    "kick": Player(16, -17, 0, 0, 3.5, 0.06, 0, (30, 14000), pieces=("kick",)),
    "snare": Player(16, -20, 0, 1, 3.8, 0.25, 0.12, (120, 15000), pieces=("snare", "side")),
    "toms": Player(16, -20, 0, 0, 3.5, 0.2, 0.1, (50, 12000), pieces=("high", "low", "floor")),
    "hats": Player(16, -29, 0, 0, 1.5, 0.15, 0.03, (280, 16000), pieces=HATS),
    "cymbals": Player(16, -26, 0, 0, 2.5, 0.15, 0.05, (280, 16000), pieces=("ride", "crash", "wash")),
    "bass": Player(34, -16, 0, 4, 25, 0.02, 0, (35, 4000)),
    "arp": Player(27, -25, -0.35, 4, 7, 0.1, 0.3, (120, 8000)),
    "mute": Player(28, -27, 0.45, 5, 7, 0.15, 0.1, (110, 6000), 2.0),
    "power": Player(27, -23.5, -0.8, 6, 7, 0.2, 0.06, (90, 4200), 9.0),
    "crunch": Player(27, -24, 0.8, 8, 7, 0.2, 0.06, (110, 4800), 4.5),
    "riff": Player(27, -27.5, 0.3, 6, 7, 0.1, 0.35, (200, 5500), 3.0),
    "keys": Player(1, -26, 0.25, 3, 2.5, 0.1, 0.18, (150, 11000)),
    "pad": Player(48, -28, 0.0, 0, 50, 0, 0.35, (180, 8000)),
    "oohs": Player(52, -27, -0.1, 0, 45, 0, 0.4, (200, 10000)),
    "lead": Player(66, -20, 0.0, 5, 20, 0.08, 0.24, (150, 9000)),
    "low lead": Player(65, -26.5, 0.2, 8, 13, 0.08, 0.3, (150, 9000)),
}
# fmt: on


def hits(song: Song) -> int:
    """Two hits of the whole band on one and on the "and" of two, then nobody plays until the bar line."""
    return song.beat_of("Build", 5)


def riser(song: Song, clock: Clock, samples: int, rng: np.random.Generator) -> np.ndarray:
    """Noise that opens from dull to bright over the build and stops with it."""
    a, b = (round(clock(beat) * RATE) for beat in (song.beat_of("Build"), hits(song)))
    x = np.linspace(0, 1, b - a)[:, None]
    noise, total = rng.normal(0, 1, (b - a, 2)), np.zeros((samples, 2))
    for k, low in enumerate((250, 500, 1000, 2000, 4000)):
        opened = np.clip(x * 5.5 - k, 0, 1) ** 1.5
        total[a:b] += cut(noise, "bandpass", (low, 2 * low)) * opened * (0.25 + x)
    return total


def mix(
    take: Take, stems: dict[str, np.ndarray], speech: np.ndarray, clock: Clock, rng: np.random.Generator
) -> np.ndarray:
    """The stereo master: -14 LUFS, peaks at -1.2 dBFS."""
    song, samples = take.song, len(speech)
    seconds = np.arange(samples) / RATE
    # In the stop hands lie on strings and cymbals; the room alone answers.
    stop = [clock(hits(song) + beat) for beat in (1.85, 2.0, 3.93, 3.96)]
    damped = np.interp(seconds, stop, (1, 0, 0, 1))
    # An amplifier holds a chord up for as long as its string moves; here it sinks from the second second on.
    damped *= 10 ** (-3.2 * np.maximum(0, seconds - clock(song.end) - 1.5) / 20)
    beat = 60 / (song.form[1].bpm * take.pace.start)  # as the echo's pedal was set
    dry, to_room, to_hall = (np.zeros((samples, 2)) for _ in range(3))
    for name, sound in stems.items():
        player = PLAYERS[name]
        if player.drive:
            sound = amplifier(sound, player.drive)
        sound = cut(cut(sound, "highpass", player.band[0]), "lowpass", player.band[1])
        sound = sound * 10 ** ((player.level - loud_level(sound)) / 20) * damped[:, None]
        if name in ("bass", "lead", "snare", "kick"):
            sound = squash(sound, player.level - 1, 2.5)
        if name in ("arp", "riff"):
            sound = echo(sound, 0.75 * beat, 0.34)
        if name == "lead":
            sound = echo(sound, beat, 0.12)
        sound = sound * np.sqrt(1 + np.array([-player.pan, player.pan]))
        dry += sound
        to_room += player.room * sound
        to_hall += player.hall * sound
    noise = riser(song, clock, samples, rng)
    dry += noise * 10 ** ((-29 - loud_level(noise)) / 20)
    dry += 0.5 * speech
    to_room += 0.35 * speech  # the drums' microphones hear who talks
    music = dry + take.rooms * hall(to_room, 0.45, 7000, rng) + take.rooms * hall(to_hall, 1.7, 5500, rng)
    music = squash(music, -15, 1.6)
    # A tail is let out over the last seconds of the file.
    length = samples / RATE
    music *= np.interp(seconds, (length - 3.5, length - 0.5), (1, 0))[:, None]
    air = rng.normal(0, 1, (samples, 2))
    air = cut(cut(air, "lowpass", 500, 1), "highpass", 60, 1)
    air *= 10 ** (-68 / 20) / air.std()
    air *= np.interp(seconds, (0, 0.05, length - 0.3, length), (0, 1, 1, 0))[:, None]
    meter, gain = pyloudnorm.Meter(RATE), 1.0
    for _ in range(5):
        master = limit(music * gain + air, 10 ** (-1.2 / 20))
        gain *= 10 ** ((-14 - meter.integrated_loudness(master)) / 20)
    return master


def events(take: Take, clock: Clock, spoken: tuple[float, float]) -> list[Event]:
    """What happens; a start and an end in seconds."""
    song = take.song
    hit = hits(song)
    told = [("talk", *spoken)] if take.talk else []
    if any(part.name == "Chorus 3" for part in song.form):
        # Drums and bass are out for its first half.
        told.append(("breakdown", clock(song.beat_of("Chorus 3")), clock(song.beat_of("Chorus 3", 5))))
    told += [
        ("build", clock(song.beat_of("Build")), clock(hit)),
        ("hit", clock(hit), clock(hit)),
        ("hit", clock(hit + 1.5), clock(hit + 1.5)),
        ("stop", clock(hit + 2), clock(hit + 4)),
        ("drop", clock(hit + 4), clock(hit + 4)),
    ]
    return told


def main() -> None:
    parser = argparse.ArgumentParser(description="Render a take of the sample song First Light.")
    parser.add_argument("--out", type=Path, required=True, metavar="DIR")
    parser.add_argument("--take", type=int, choices=(1, 2), default=1)
    arguments = parser.parse_args()
    folder, take = arguments.out, TAKES[arguments.take - 1]
    folder.mkdir(parents=True, exist_ok=True)
    rng, song = np.random.default_rng(take.seed), take.song
    said, spoken_until = conversation(take.talk, take.room_tone)
    clock = tempo_curve(song, spoken_until + take.before_count, take.pace, rng)
    samples = round((clock(song.end) + TAIL) * RATE)
    played, stems = play(song, PLAYERS, clock, samples, rng, take.loose)
    sound = mix(take, stems, heard_from(said, samples), clock, rng)
    audio = folder / f"{take.name}.ogg"
    write_ogg(audio, sound, take.compression)
    music = first_note(played, PLAYERS, clock), last_sound(sound)
    told = events(take, clock, (take.room_tone, spoken_until))
    content = truth(song, clock, audio, samples / RATE, music, told, [song.beats], Path(__file__))
    if take.song is not FIRST_TAKE:
        content["other_take"] = same_passages(song, FIRST_TAKE, f"{TAKES[0].name}.json")
    write_truth(audio.with_suffix(".json"), content)


if __name__ == "__main__":
    main()
