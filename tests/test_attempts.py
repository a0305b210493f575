"""False starts: told as such, bar 1 after them, the light off until then; talk as one span."""

import json

import numpy as np
import pytest
import soundfile
from click.testing import CliRunner

from cuesuggest.analysis.events.attempts import attempt_candidates
from cuesuggest.analysis.frames import FRAME_RATE
from cuesuggest.analysis.spectrum import CHROMA_RATE, Spectrum
from cuesuggest.cli import main
from tests.sounds import RATE, play

BEAT = 0.5
PLAYED = 40  # bars of the song after the false start


def attempts(first, second, gap=5.0, seed=1):
    """Candidates where `first` bars are played, then a pause, then `second` bars; bars named by letters."""
    rng = np.random.default_rng(seed)
    sounds = {letter: (rng.random((4, 12)), rng.random((4, 64)) * 4) for letter in sorted({*first, *second})}
    beats = [4 * k * BEAT + j * BEAT for k in range(len(first)) for j in range(4)]
    later = beats[-1] + BEAT + gap
    beats += [later + 4 * k * BEAT + j * BEAT for k in range(len(second)) for j in range(4)]
    end = beats[-1] + 2
    bands, chroma = np.zeros((round(end * FRAME_RATE), 64), np.float32), np.zeros((round(end * CHROMA_RATE), 12))
    for k, beat in enumerate(beats):
        harmony, colour = (each[k % 4] for each in sounds[[*first, *second][k // 4]])
        bands[round(beat * FRAME_RATE) : round((beat + BEAT) * FRAME_RATE)] = colour
        chroma[round(beat * CHROMA_RATE) : round((beat + BEAT) * CHROMA_RATE)] = harmony
    spectrum = Spectrum(0.0, end, bands, np.ones(len(bands), np.float32), chroma, np.zeros(1), 0.1)
    runs = np.repeat([0, 1], [4 * len(first), 4 * len(second)])
    return attempt_candidates(spectrum, np.array(beats), np.arange(len(beats)) % 4, runs)


def test_an_attempt_that_begins_as_the_song_does_is_alike_and_another_is_not():
    song = "ABCDEFGHIJKLMNOP" * 2
    (same,), (other,) = attempts("ABCD", song), attempts("MKOG", song)
    assert same.features["alike"] > 0.9
    assert other.features["alike"] < 0.5
    assert (same.start, same.end) == (0.0, 8.0)


def test_a_stretch_that_is_longer_than_half_of_what_follows_is_no_attempt():
    assert attempts("ABCDEFGH", "ABCDEFGHIJKL") == []


def test_music_without_a_break_has_no_attempts():
    bands, level = np.zeros((500, 64), np.float32), np.ones(500, np.float32)
    spectrum = Spectrum(0.0, 10.0, bands, level, np.zeros((50, 12)), np.zeros(1), 0.1)
    assert attempt_candidates(spectrum, np.arange(0, 9, 0.5), np.arange(18) % 4, np.zeros(18, int)) == []


@pytest.fixture(scope="module")
def broken_off(tmp_path_factory):
    """Five bars after a count, a silence, the count again, the song; and where its first bar is."""
    folder = tmp_path_factory.mktemp("attempts")
    take = play(folder / "whole.wav", "A8 B8 A8 B8 A8", lead=2.0, count_in=True)
    sound, rate = soundfile.read(folder / "whole.wav")
    cut = round((take.downbeats[5] + 0.05) * rate)
    fade = np.linspace(1, 0, rate // 10)
    first = sound[:cut].copy()
    first[-len(fade) :] *= fade
    pause = np.random.default_rng(2).normal(size=6 * rate) * 1e-4
    path = folder / "broken off.wav"
    soundfile.write(path, np.concatenate([first, pause, sound]), rate)
    return path, float(take.downbeats[0]), (cut / RATE) + 6 + float(take.downbeats[0])


def test_a_false_start_is_told_and_bar_one_is_in_the_last_attempt(broken_off, tmp_path):
    path, before, after = broken_off
    document = tmp_path / "song.cues.json"
    ran = CliRunner().invoke(main, ["suggest", str(path), "-o", str(document)], catch_exceptions=False)
    assert ran.exit_code == 0, ran.output
    song = json.loads(document.read_text(encoding="utf-8"))
    analysis = song["analysis"]
    (attempt,) = [each for each in analysis["events"] if each["kind"] == "false-start"]
    assert attempt["start"] == pytest.approx(before, abs=0.3)
    assert attempt["end"] < after - 5
    one = next(bar for bar in analysis["bars"] if bar["number"] == 1)
    assert one["start"] == pytest.approx(after, abs=0.07)
    assert min(beat for beat in analysis["beats"]) > attempt["end"]
    lit = [cue for cue in song["cues"] if cue["kind"] not in ("recall", "note", "call", "standby")]
    assert lit
    assert min(cue["time"] for cue in lit) > attempt["end"]
