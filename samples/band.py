"""Hands, instruments and voices: from notes to seconds, and from seconds to sound.

Needs numpy, scipy, soundfile, mido, the program `fluidsynth` with the soundfont FluidR3 GM, and for speech the program
`espeak-ng` (Debian: fluidsynth, fluid-soundfont-gm, espeak-ng). One tempo curve places the notes and the truth.
"""

from __future__ import annotations

import subprocess
import tempfile
from collections.abc import Callable
from dataclasses import dataclass
from math import gcd
from pathlib import Path

import mido
import numpy as np
import soundfile
from notation import Note, Song, score
from scipy import signal

SOUNDFONT = Path("/usr/share/sounds/sf2/FluidR3_GM.sf2")
RATE = 44100

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


@dataclass(frozen=True)
class Pace:
    """How a tempo is held: a factor on what the paper says, at the song's start and end, and a slow random walk."""

    start: float = 1.0
    end: float = 1.0
    holds: float = 0.965  # share of the walk that is left a beat later
    strays: float = 0.0026  # standard deviation of its step, as a share of the tempo


@dataclass(frozen=True)
class Line:
    """A spoken sentence: seconds from the one before (its end), voice, words a minute, pitch 0..99, level in dB."""

    after: float
    voice: str
    speed: int
    pitch: int
    level: float
    text: str


# ---------------------------------------------------------------------------------------- from notes to time


def tempo_curve(song: Song, begin: float, pace: Pace, rng: np.random.Generator) -> Clock:
    """Seconds of a beat. The sections' tempi, rounded at the joints, times the pace; the count-in starts at `begin`."""
    plan = [song.form[0].bpm] * song.count_beats
    for part in song.form:
        plan += list(np.linspace(part.bpm, part.slows_to or part.bpm, part.bars * song.beats))
    plan += [plan[-1]] * round(song.last_beats[""] + song.beats)
    window = np.hanning(7)[1:-1] / np.hanning(7).sum()
    smooth = np.convolve(np.pad(plan, 2, mode="edge"), window, mode="valid")
    smooth *= np.linspace(pace.start, pace.end, len(smooth))
    walk, state = np.empty(len(plan)), 0.0
    for k in range(len(plan)):
        state = pace.holds * state + rng.normal(0, pace.strays)
        walk[k] = state
    seconds = begin + np.concatenate([[0], np.cumsum(60 / (smooth * (1 + walk)))])
    grid = np.arange(len(seconds)) - song.count_beats
    return lambda beat: float(np.interp(beat, grid, seconds))


def perform(
    notes: list[Note], player: Player, clock: Clock, division: int, rng: np.random.Generator, loose: float = 1.0
) -> list[Played]:
    """Notes in seconds, as hands play them: each a few ms off, the player's own lay-back, uneven force."""
    spread = loose * (3.5 if player.pieces else 4.5)  # ms
    hands: dict[int, float] = {}
    played = []
    for start, length, note, force in sorted(notes):
        # One movement for all notes of a chord.
        off = hands.setdefault(round(start * division), float(np.clip(rng.normal(0, spread), -8 * loose, 8 * loose)))
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


def first_note(played: dict[str, list[Played]], players: dict[str, Player], clock: Clock) -> float:
    """Seconds of the first note as it sounds; the sticks come before it."""
    starts = [note[0] + players[player].speaks / 1000 for player, line in played.items() for note in line]
    return min(start for start in starts if start > clock(-0.2))


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


SINGERS = ("lead", "low lead")


def play(
    song: Song,
    players: dict[str, Player],
    clock: Clock,
    samples: int,
    rng: np.random.Generator,
    loose: float = 1.0,
) -> tuple[dict[str, list[Played]], dict[str, np.ndarray]]:
    """The song as everybody plays it, by player: notes in seconds, and sound of shape (samples, 2)."""
    notes = score(song, {name: player.pieces for name, player in players.items()})
    played = {name: perform(notes[name], player, clock, song.division, rng, loose) for name, player in players.items()}
    controls = {name: singing(played[name], rng) for name in SINGERS}
    stems = {
        name: synthesise(player, played[name], controls.get(name, []), samples) for name, player in players.items()
    }
    return played, stems


# ---------------------------------------------------------------------------------------- speech


def say(line: Line) -> np.ndarray:
    """A sentence as mono sound from its first to its last audible sample, at its level in dBFS."""
    with tempfile.TemporaryDirectory() as folder:
        options = ["-v", line.voice, "-s", str(line.speed), "-p", str(line.pitch), "-w", f"{folder}/say.wav"]
        subprocess.run(["espeak-ng", *options, line.text], check=True, capture_output=True)
        sound, rate = soundfile.read(f"{folder}/say.wav")
    shared = gcd(RATE, rate)
    sound = signal.resample_poly(sound, RATE // shared, rate // shared)
    heard = np.flatnonzero(np.abs(sound) > np.abs(sound).max() / 100)
    sound = sound[heard[0] : heard[-1] + 1]
    return sound * 10 ** (line.level / 20) / np.sqrt(np.mean(sound**2))


def conversation(lines: tuple[Line, ...], begin: float) -> tuple[list[tuple[float, np.ndarray]], float]:
    """Sentences one after another from `begin` on, each with its start in seconds; and when the last has ended."""
    said, now = [], begin
    for line in lines:
        sound = say(line)
        said.append((now + line.after, sound))
        now += line.after + len(sound) / RATE
    return said, now


def heard_from(said: list[tuple[float, np.ndarray]], samples: int) -> np.ndarray:
    """Sentences at their places in stereo sound, from the middle, shape (samples, 2)."""
    sound = np.zeros((samples, 2))
    for start, line in said:
        first = round(start * RATE)
        sound[first : first + len(line)] += line[:, None]
    return sound
