"""Salt on the Sill, played in a room and recorded by a phone that lies there, with the truth beside it.

    python samples/salt_on_the_sill.py --out DIR

writes salt_on_the_sill.m4a and .json. The song itself stands in salt_on_the_sill_paper.py; here it gets a tempo, hands,
instruments, a room, people who talk, and a phone. band.py says what has to be installed, and PyAV for the file.
"""

from __future__ import annotations

import argparse
from pathlib import Path

import numpy as np
from band import RATE, Clock, Line, Pace, Player, conversation, first_note, heard_from, play, tempo_curve
from desk import cut, hall, limit, loud_level, squash, write_m4a
from salt_on_the_sill_paper import SONG
from scipy import ndimage, signal
from truth import Event, last_sound, truth, write_truth

NAME = "salt_on_the_sill"
SEED = 41
PHONE_RATE, BIT_RATE = 48000, 64000
BEFORE_TALK, BEFORE_COUNT = 1.5, 1.3  # seconds: phone laid down to first word, last word to first stick
HELD = 6.5  # seconds until hands stop the last chord
AFTER = 1.2  # seconds from there to the chair
LOOSE = 1.5

BEFORE = (
    Line(0.0, "en-gb+f3", 160, 50, -34, "Is it on? I think the light is red."),
    Line(0.5, "en-us+m7", 145, 34, -30, "Leave it on the amp. Okay."),
    Line(0.4, "en-us+m7", 140, 36, -30, "Salt on the Sill, from the top."),
    Line(0.7, "en-gb+f3", 165, 54, -33, "Not too fast."),
)
AFTERWARDS = (Line(0.0, "en-us+m7", 140, 40, -31, "Keep that one."),)

# fmt: off
# Levels are what reaches the phone straight; `room` is the room's share on top: the phone lies some steps away.
PLAYERS = {
    "kick": Player(40, -21, 0, 0, 4.5, 0.45, 0, (35, 9000), pieces=("kick",)),
    "snare": Player(40, -24, 0, 2, 3.5, 0.6, 0, (130, 14000), pieces=("tap", "slap", "side")),
    "toms": Player(40, -24, 0, 2, 0.5, 0.5, 0, (50, 9000), pieces=("low", "floor")),
    "sticks": Player(40, -24, 0, 0, 1, 0.7, 0, (250, 15000), pieces=("stick",)),
    "cymbals": Player(40, -30, 0, 1, 1.5, 0.6, 0, (300, 15000), pieces=("ride", "crash", "pedal", "tamb")),
    "bass": Player(32, -21, 0, 6, 14, 0.35, 0, (38, 3500)),
    "guitar": Player(25, -23, 0, 4, 7, 0.45, 0, (90, 12000)),
    "piano": Player(0, -26, 0, 5, 5, 0.6, 0, (80, 10000)),
    "lead": Player(42, -20, 0, 6, 30, 0.55, 0, (120, 9000)),
    "low lead": Player(41, -26, 0, 9, 30, 0.6, 0, (150, 9000)),
}
# fmt: on


def chair(rng: np.random.Generator) -> np.ndarray:
    """A chair pushed back over boards: it sticks and slips, twice, and the boards ring. Mono."""
    pushes = []
    for seconds, low, high in ((0.45, 70, 120), (0.3, 90, 60)):
        rate = np.linspace(low, high, round(seconds * RATE)) * np.exp(rng.normal(0, 0.04, round(seconds * RATE)))
        slips = np.diff(np.floor(np.cumsum(rate) / RATE), prepend=0.0)
        slips *= rng.uniform(0.4, 1.0, len(slips))
        push = sum(cut(slips, "bandpass", (f * 0.93, f * 1.07)) for f in (410, 930, 1680, 2900))
        push = push + 0.02 * push.std() * rng.normal(0, 1, len(push))
        pushes += [push * np.hanning(len(push)) ** 0.3, np.zeros(round(0.12 * RATE))]
    sound = np.concatenate(pushes)
    return sound / np.abs(sound).max()


def rustle(seconds: float, rng: np.random.Generator) -> np.ndarray:
    """A hand on the phone itself: dull thumps and the scratching of skin on the case. Mono."""
    samples = round(seconds * RATE)
    thumps = np.zeros(samples)
    for start in rng.integers(0, max(1, samples - RATE // 5), max(1, round(5 * seconds))):
        t = np.arange(RATE // 5) / RATE
        hit = rng.normal(0, 1, len(t)) * np.exp(-t / 0.02)
        thumps[start : start + len(t)] += hit[: samples - start] * rng.uniform(0.3, 1)
    thumps = cut(thumps, "bandpass", (90, 420))
    scratch = cut(rng.normal(0, 1, samples), "bandpass", (1500, 7000))
    grains = ndimage.uniform_filter1d((rng.random(samples) < 60 / RATE).astype(float), round(0.01 * RATE))
    sound = thumps / np.abs(thumps).max() + 0.25 * scratch * grains / grains.max()
    return sound / np.abs(sound).max()


def automatic_gain(sound: np.ndarray) -> np.ndarray:
    """Decibels that the phone adds at every sample: it turns loud rooms down at once and quiet ones up slowly.

    Two decibels in come out as one, on an average of 40 ms; 12 ms to come down most of the way, 5 dB a second up.
    """
    step = round(0.004 * RATE)
    power = ndimage.uniform_filter1d(sound**2, round(0.04 * RATE)).clip(0)[::step]
    wanted = np.clip(0.5 * (-20 - 10 * np.log10(power + 1e-9)), -12, 11)
    gains, gain = np.empty(len(wanted)), 8.0
    for k, aim in enumerate(wanted):
        gain += (aim - gain) * 0.28 if aim < gain else min(aim - gain, 5 * 0.004)
        gains[k] = gain
    return np.interp(np.arange(len(sound)), np.arange(len(gains)) * step, gains)


def phone(music: np.ndarray, others: np.ndarray, rng: np.random.Generator) -> tuple[np.ndarray, np.ndarray]:
    """What the phone records of the room, and how much of that is music; mono, at the rate of the mix."""
    hiss = cut(rng.normal(0, 1, len(music)), "lowpass", 900, 1)  # ventilation and the microphone itself
    hiss *= 10 ** (-67 / 20) / hiss.std()
    mains = np.arange(len(music)) / RATE * 2 * np.pi * 100
    hum = 10 ** (-76 / 20) * (np.sin(mains) + 0.5 * np.sin(2 * mains) + 0.3 * np.sin(3 * mains))
    capsule = [cut(cut(sound, "highpass", 95), "lowpass", 9000) for sound in (music, others + hiss + hum)]
    # A capsule behind a hole: it hears the presence better.
    capsule = [sound + 0.35 * cut(sound, "bandpass", (2200, 4800), 1) for sound in capsule]
    gain = 10 ** (automatic_gain(capsule[0] + capsule[1]) / 20)
    heard = capsule[0] * gain + capsule[1] * gain
    # Peaks bend before they clip.
    return 0.9 * np.tanh(heard / 0.9), capsule[0] * gain


def in_the_room(stems: dict[str, np.ndarray], clock: Clock, rng: np.random.Generator) -> np.ndarray:
    """The band as it reaches the phone; mono."""
    samples = len(next(iter(stems.values())))
    seconds = np.arange(samples) / RATE
    hands_down = clock(SONG.end) + HELD
    damped = np.interp(seconds, (hands_down, hands_down + 0.25), (1, 0))
    dry, to_room = np.zeros((samples, 2)), np.zeros((samples, 2))
    for name, sound in stems.items():
        player = PLAYERS[name]
        sound = cut(cut(sound, "highpass", player.band[0]), "lowpass", player.band[1])
        sound = sound * 10 ** ((player.level - loud_level(sound)) / 20) * damped[:, None]
        if name in ("bass", "lead"):
            sound = squash(sound, player.level - 1, 2.0)
        dry += sound
        to_room += player.room * sound
    return (dry + hall(to_room, 0.6, 5500, rng)).mean(1)


def main() -> None:
    parser = argparse.ArgumentParser(description="Render the sample song Salt on the Sill.")
    parser.add_argument("--out", type=Path, required=True, metavar="DIR")
    folder = parser.parse_args().out
    folder.mkdir(parents=True, exist_ok=True)
    rng = np.random.default_rng(SEED)
    before, spoken_until = conversation(BEFORE, BEFORE_TALK)
    clock = tempo_curve(SONG, spoken_until + BEFORE_COUNT, Pace(holds=0.94, strays=0.0042), rng)
    scrape_at = clock(SONG.end) + HELD + AFTER
    after, over = conversation(AFTERWARDS, scrape_at + 1.3)
    samples = round((over + 1.6) * RATE)
    played, stems = play(SONG, PLAYERS, clock, samples, rng, LOOSE)
    music = in_the_room(stems, clock, rng)
    speech = heard_from([*before, *after], samples)
    scrape = chair(rng)
    first = round(scrape_at * RATE)
    speech[first : first + len(scrape)] += 0.06 * scrape[:, None]
    # Who talks stands further off than the band, and half turned away.
    others = (0.45 * cut(speech, "lowpass", 3500, 1) + 0.9 * hall(speech, 0.6, 5500, rng)).mean(1)
    for start, lasts, level in (
        (0.05, 1.1, 0.12),  # laid down
        (clock(SONG.beat_of("Verse 3", 5) + 0.7), 0.25, 0.035),  # somebody knocks against the amplifier
        (samples / RATE - 1.0, 0.95, 0.14),  # picked up
    ):
        noise = level * rustle(lasts, rng)
        first = round(start * RATE)
        others[first : first + len(noise)] += noise[: samples - first]
    recorded, of_it_music = phone(music, others, rng)
    gain = 10 ** (-1 / 20) / np.abs(recorded).max()
    recorded = limit(gain * recorded[:, None], 10 ** (-1 / 20))[:, 0]
    audio = folder / f"{NAME}.m4a"
    memo = signal.resample_poly(recorded, 160, 147)  # 44.1 to 48 kHz
    duration = write_m4a(audio, memo, PHONE_RATE, BIT_RATE) / PHONE_RATE
    told: list[Event] = [
        ("talk", BEFORE_TALK, spoken_until),
        ("ritardando", clock(SONG.beat_of("Outro")), clock(SONG.end)),
        ("talk", after[0][0], over),
    ]
    span = first_note(played, PLAYERS, clock), last_sound(of_it_music[:, None])
    content = truth(SONG, clock, audio, duration, span, told, [2, 6], Path(__file__))
    write_truth(audio.with_suffix(".json"), content)


if __name__ == "__main__":
    main()
