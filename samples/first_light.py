"""The sample song, played by a small band of sampled instruments and mixed, with its truth beside it.

    python samples/first_light.py --out DIR

writes first_light.ogg and first_light.json. Needs numpy, scipy, soundfile, mido, pyloudnorm, the program
`fluidsynth` and the soundfont FluidR3 GM (Debian: fluidsynth, fluid-soundfont-gm). The song itself stands in
paper.py; here it gets a tempo, hands, instruments, a room. One tempo curve places the notes and the truth.
"""

from __future__ import annotations

import argparse
import json
import subprocess
import tempfile
from collections.abc import Callable
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

import mido
import numpy as np
import paper
import pyloudnorm
import soundfile
from paper import BARS, BEATS, HITS, SONG, beat_of
from scipy import ndimage, signal

SEED = 8
SOUNDFONT = Path("/usr/share/sounds/sf2/FluidR3_GM.sf2")
RATE = 44100
ROOM_TONE = 3.0  # seconds before the first stick
TAIL = 11.0  # seconds from the last chord to the end of the file

Clock = Callable[[float], float]  # beat to seconds
Played = tuple[float, float, int, int]  # start and end in seconds, MIDI pitch, velocity
Control = tuple[float, mido.Message]


@dataclass(frozen=True)
class Player:
    """Who plays, how, and where in the mix."""

    program: int
    level: float  # dBFS, RMS of 0.4 s in the player's own loud passages
    pan: float = 0.0  # -1 left … 1 right
    late: float = 0.0  # ms behind the beat
    speaks: float = 0.0  # ms until the samples sound, by measure; played that much early
    room: float = 0.1
    hall: float = 0.1
    band: tuple[float, float] = (30, 16000)  # high-pass and low-pass, Hz
    drive: float = 0.0  # amplifier
    pieces: tuple[str, ...] = ()  # of the drum kit


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

# ---------------------------------------------------------------------------------------- from notes to time


def tempo_curve(rng: np.random.Generator) -> Clock:
    """Seconds of a beat. The sections' tempi, rounded at the joints, times a slow random walk."""
    plan = [SONG[0].bpm] * BEATS + [part.bpm for part in SONG for _ in range(part.bars * BEATS)]
    plan += [SONG[-1].bpm] * round(paper.FINAL_BEATS + BEATS)
    window = np.hanning(7)[1:-1] / np.hanning(7).sum()
    smooth = np.convolve(np.pad(plan, 2, mode="edge"), window, mode="valid")
    walk, state = np.empty(len(plan)), 0.0
    for k in range(len(plan)):
        state = 0.965 * state + rng.normal(0, 0.0026)
        walk[k] = state
    seconds = ROOM_TONE + np.concatenate([[0], np.cumsum(60 / (smooth * (1 + walk)))])
    grid = np.arange(len(seconds)) - BEATS
    return lambda beat: float(np.interp(beat, grid, seconds))


def perform(notes: list[paper.Note], player: Player, clock: Clock, rng: np.random.Generator) -> list[Played]:
    """Notes in seconds, as hands play them: each a few ms off, the player's own lay-back, uneven force."""
    spread = 3.5 if player.pieces else 4.5  # ms
    hands: dict[int, float] = {}
    played = []
    for start, length, note, force in sorted(notes):
        # One movement for all notes of a chord.
        off = hands.setdefault(round(start * 4), float(np.clip(rng.normal(0, spread), -8, 8)))
        shift = (off + player.late - player.speaks) / 1000
        velocity = int(np.clip(round(force * (1 + rng.normal(0, 0.035))), 1, 127))
        played.append((clock(start) + shift, clock(start + length) + shift, note, velocity))
    return played


def singing(played: list[Played], rng: np.random.Generator) -> list[Control]:
    """What makes a line sung: slides into notes, a swell, vibrato that comes late and grows."""
    bends = []
    for start, end, _, _ in played:
        scoop = rng.uniform(25, 70) if rng.random() < 0.6 else 8.0  # cents
        wide, fast = rng.uniform(14, 24), rng.uniform(4.8, 5.6)  # cents, Hz
        for t in np.arange(0, end - start, 0.01):
            grown = np.clip((t - 0.28) / 0.5, 0, 1)
            cents = -scoop * np.exp(-t / 0.035) + wide * grown * np.sin(2 * np.pi * fast * t)
            swell = 104 + 18 * np.sin(np.pi * min(1.0, t / max(0.3, end - start)) ** 0.8)
            bend = mido.Message("pitchwheel", pitch=round(cents / 200 * 8192))  # 8192: two semitones
            force = mido.Message("control_change", control=11, value=round(min(127, swell)))
            bends += [(start + t, bend), (start + t, force)]
    return bends


# ---------------------------------------------------------------------------------------- from time to sound

# fluidsynth 2.3 sounds a note one and a half of its blocks of 64 samples late on average: measured with clicks.
SYNTH_DELAY = 96


def synthesise(player: Player, played: list[Played], extra: list[Control], samples: int) -> np.ndarray:
    """Notes to stereo sound, shape (samples, 2)."""
    channel = 9 if player.pieces else 0
    events = [(0.0, 0, mido.Message("program_change", program=player.program, channel=channel))]
    events += [(t, 1, message) for t, message in extra]
    for start, end, note, velocity in played:
        events.append((start, 3, mido.Message("note_on", note=note, velocity=velocity, channel=channel)))
        events.append((end, 2, mido.Message("note_off", note=note, channel=channel)))
    # The synthesiser stops after the last event: one at the end of the recording.
    events.append((samples / RATE, 4, mido.Message("control_change", control=3, value=0, channel=channel)))
    file = mido.MidiFile(ticks_per_beat=10000)  # at 60 BPM: a tick is 0.1 ms
    track = mido.MidiTrack([mido.MetaMessage("set_tempo", tempo=1_000_000)])
    file.tracks.append(track)
    last = 0
    for seconds, _, message in sorted(events, key=lambda e: e[:2]):
        tick = max(0, round(seconds * 10000))
        track.append(message.copy(time=tick - last))
        last = tick
    with tempfile.TemporaryDirectory() as folder:
        midi, raw = f"{folder}/player.mid", f"{folder}/player.raw"
        file.save(midi)
        options = f"-niq -R 0 -C 0 -g 0.5 -r {RATE} -T raw -O float -o synth.dynamic-sample-loading=1 -F".split()
        subprocess.run(["fluidsynth", *options, raw, str(SOUNDFONT), midi], check=True, capture_output=True)
        sound = np.fromfile(raw, "<f4").reshape(-1, 2).astype(float)[SYNTH_DELAY:]
    return np.pad(sound, ((0, max(0, samples - len(sound))), (0, 0)))[:samples]


def cut(sound: np.ndarray, kind: str, hertz: float | tuple[float, float], order: int = 2) -> np.ndarray:
    return signal.sosfilt(signal.butter(order, hertz, kind, fs=RATE, output="sos"), sound, axis=0)


def amplifier(sound: np.ndarray, drive: float) -> np.ndarray:
    """A guitar amplifier: one string or many into one valve, then a loudspeaker. Mono in the middle."""
    mono = cut(sound.mean(1), "highpass", 110)
    mono = mono + 0.8 * cut(mono, "bandpass", (500, 1600), 1)
    mono *= drive / (np.percentile(np.abs(mono[np.abs(mono) > 1e-4]), 95))
    # Four times the rate while it bends, so that no overtones fold back.
    up = signal.resample_poly(mono, 4, 1)
    bent = signal.resample_poly(np.tanh(up + 0.12) - np.tanh(0.12), 1, 4)
    box = cut(cut(bent, "lowpass", 4800, 4), "highpass", 85)
    box = box + 0.25 * cut(box, "bandpass", (1800, 3600), 1)
    return np.repeat(box[:, None], 2, axis=1)


def loud_level(sound: np.ndarray) -> float:
    """RMS of 0.4 s in dBFS, in a player's loud passages: the 90th percentile of what is not silent."""
    power = ndimage.uniform_filter1d((sound**2).mean(1), round(0.4 * RATE))[:: RATE // 20]
    return float(10 * np.log10(np.percentile(power[power > power.max() * 1e-3], 90)))


def squash(sound: np.ndarray, threshold: float, ratio: float) -> np.ndarray:
    """A compressor with 30 ms of RMS; threshold in dBFS."""
    level = 10 * np.log10(ndimage.uniform_filter1d((sound**2).mean(1), round(0.03 * RATE)).clip(1e-10))
    gain = np.minimum(0, (threshold - level) * (1 - 1 / ratio))
    return sound * 10 ** (ndimage.uniform_filter1d(gain, round(0.06 * RATE)) / 20)[:, None]


def hall(sound: np.ndarray, seconds: float, ceiling: float, rng: np.random.Generator) -> np.ndarray:
    """Reverberation: noise that falls 60 dB in `seconds`, highs faster, 12 ms behind the direct sound."""
    t = np.arange(round(1.2 * seconds * RATE)) / RATE
    noise = rng.normal(0, 1, (len(t), 2))
    bright = cut(noise, "bandpass", (900, ceiling)) * np.exp(-6.9 * t / (0.6 * seconds))[:, None]
    tail = cut(noise, "bandpass", (180, 900)) * np.exp(-6.9 * t / seconds)[:, None] + bright
    tail = np.pad(tail / np.sqrt((tail**2).sum(0)), ((round(0.012 * RATE), 0), (0, 0)))
    return signal.fftconvolve(sound, tail, axes=0)[: len(sound)]


def echo(sound: np.ndarray, seconds: float, share: float) -> np.ndarray:
    """Repeats that grow dull and change sides."""
    wet, step = sound, round(seconds * RATE)
    for _ in range(3):
        wet = cut(np.pad(wet, ((step, 0), (0, 0)))[: len(sound), ::-1], "lowpass", 3200, 1) * share
        sound = sound + wet
    return sound


def riser(clock: Clock, samples: int, rng: np.random.Generator) -> np.ndarray:
    """Noise that opens from dull to bright over the build and stops with it."""
    a, b = (round(clock(beat) * RATE) for beat in (beat_of("Build"), HITS))
    x = np.linspace(0, 1, b - a)[:, None]
    noise, total = rng.normal(0, 1, (b - a, 2)), np.zeros((samples, 2))
    for k, low in enumerate((250, 500, 1000, 2000, 4000)):
        opened = np.clip(x * 5.5 - k, 0, 1) ** 1.5
        total[a:b] += cut(noise, "bandpass", (low, 2 * low)) * opened * (0.25 + x)
    return total


def limit(sound: np.ndarray, ceiling: float) -> np.ndarray:
    """Look-ahead limiter: the gain is low enough for every peak within 4 ms, and slides between them."""
    span = round(0.008 * RATE) | 1
    peak = ndimage.maximum_filter1d(np.abs(sound).max(1), span)
    gain = np.minimum(1, ceiling / np.maximum(peak, 1e-9))
    return sound * ndimage.uniform_filter1d(gain, span)[:, None]


def mix(stems: dict[str, np.ndarray], clock: Clock, rng: np.random.Generator) -> np.ndarray:
    """The stereo master: -14 LUFS, peaks at -1.2 dBFS."""
    samples = len(next(iter(stems.values())))
    seconds = np.arange(samples) / RATE
    # In the stop hands lie on strings and cymbals; the room alone answers.
    stop = [clock(HITS + beat) for beat in (1.85, 2.0, 3.93, 3.96)]
    damped = np.interp(seconds, stop, (1, 0, 0, 1))
    # An amplifier holds a chord up for as long as its string moves; here it sinks from the second second on.
    damped *= 10 ** (-3.2 * np.maximum(0, seconds - clock(BARS * BEATS) - 1.5) / 20)
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
            sound = echo(sound, 0.75 * 60 / SONG[1].bpm, 0.34)
        if name == "lead":
            sound = echo(sound, 60 / SONG[1].bpm, 0.12)
        sound = sound * np.sqrt(1 + np.array([-player.pan, player.pan]))
        dry += sound
        to_room += player.room * sound
        to_hall += player.hall * sound
    noise = riser(clock, samples, rng)
    dry += noise * 10 ** ((-29 - loud_level(noise)) / 20)
    music = dry + 2.2 * hall(to_room, 0.45, 7000, rng) + 2.2 * hall(to_hall, 1.7, 5500, rng)
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


# ---------------------------------------------------------------------------------------- truth and files


def truth(clock: Clock, played: dict[str, list[Played]], sound: np.ndarray) -> dict[str, object]:
    """What a perfect listener would write down; seconds, to 0.1 ms."""

    def at(beat: float) -> float:
        return round(clock(beat), 4)

    end, duration = at(BARS * BEATS), round(len(sound) / RATE, 4)
    level = np.sqrt(ndimage.uniform_filter1d((sound**2).mean(1), round(0.05 * RATE)))
    # Fallen 38 dB below loud passages.
    heard = np.flatnonzero(level > np.percentile(level, 95) * 10 ** (-38 / 20))
    music_end = round(float(heard[-1]) / RATE, 4)
    # The first note as it sounds; the sticks come before it.
    starts = [note[0] + PLAYERS[player].speaks / 1000 for player, line in played.items() for note in line]
    music_start = round(min(start for start in starts if start > clock(-0.5)), 4)
    downbeats = [at(bar * BEATS) for bar in range(BARS + 1)]
    bars = [
        {"number": number, "start": a, "end": b, "beats": BEATS, "time_signature": "4/4"}
        for number, (a, b) in enumerate(pairwise(downbeats), 1)
    ]
    joints = [at(beat_of(part.name)) for part in SONG] + [music_end]
    sections = [
        {"start": a, "end": b, "label": part.label, "energy": part.energy, "name": part.name}
        for part, (a, b) in zip(SONG, pairwise(joints), strict=True)
    ]
    events = [
        ("count-in", at(-BEATS), at(0)),
        ("build", at(beat_of("Build")), at(HITS)),
        ("hit", at(HITS), at(HITS)),
        ("hit", at(HITS + 1.5), at(HITS + 1.5)),
        ("stop", at(HITS + 2), at(HITS + 4)),
        ("drop", at(HITS + 4), at(HITS + 4)),
        ("ring-out", end, music_end),
    ]
    return {
        "name": paper.NAME,
        "audio": f"{paper.NAME}.ogg",
        "duration": duration,
        "tempo_bpm": round(60 * BEATS / float(np.median(np.diff(downbeats))), 4),
        "beats": [at(beat) for beat in range(BARS * BEATS + 1)],
        "downbeats": downbeats,
        "meter": BEATS,
        "meter_accept": [BEATS],
        "time_signature": "4/4",
        "bars": bars,
        "sections": sections,
        "events": [{"kind": kind, "start": a, "end": b} for kind, a, b in events],
        "music_start": music_start,
        "music_end": music_end,
        # Where a beat is neither right nor wrong: in the count-in and while the last chord rings.
        "ignore": [[at(-BEATS - 0.5), round(at(0) - 0.08, 4)], [round(end + 0.08, 4), duration]],
        "made": {"title": paper.TITLE, "band": paper.BAND, "script": Path(__file__).name, "soundfont": SOUNDFONT.stem},
    }


def main() -> None:
    parser = argparse.ArgumentParser(description=f"Render the sample song, {paper.TITLE}.")
    parser.add_argument("--out", type=Path, required=True, metavar="DIR")
    folder = parser.parse_args().out
    folder.mkdir(parents=True, exist_ok=True)
    rng = np.random.default_rng(SEED)
    clock = tempo_curve(rng)
    samples = round((clock(BARS * BEATS) + TAIL) * RATE)
    notes = paper.score({name: player.pieces for name, player in PLAYERS.items()})
    played = {name: perform(notes[name], player, clock, rng) for name, player in PLAYERS.items()}
    controls = {name: singing(played[name], rng) for name in ("lead", "low lead")}
    stems = {
        name: synthesise(player, played[name], controls.get(name, []), samples) for name, player in PLAYERS.items()
    }
    sound = mix(stems, clock, rng)
    # In blocks: libsndfile's Vorbis writer overflows its stack on one long write.
    with soundfile.SoundFile(folder / f"{paper.NAME}.ogg", "w", RATE, 2, format="OGG", subtype="VORBIS") as file:
        for start in range(0, samples, RATE):
            file.write(sound[start : start + RATE])
    text = json.dumps(truth(clock, played, sound), indent=1)
    (folder / f"{paper.NAME}.json").write_text(text + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
