"""False starts: told as such, bar 1 after them, the light off until then; talk as one span."""

import numpy as np
import pytest
import soundfile
from click.testing import CliRunner

from cuesuggest.analysis.bars.attempts import attempts, carried_over, unplayed
from cuesuggest.analysis.finding.likely import probability
from cuesuggest.analysis.frames import FRAME_RATE
from cuesuggest.analysis.listen import analyze_spectrum
from cuesuggest.analysis.rhythm.evidence import Evidence
from cuesuggest.analysis.rhythm.known import Known
from cuesuggest.analysis.rhythm.network import heads_of
from cuesuggest.analysis.rhythm.tidy import NOBODY
from cuesuggest.analysis.spectrum import CHROMA_RATE, Spectrum, hear
from cuesuggest.cli import cli
from cuesuggest.song import Song
from cuesuggest.sound.recording import open_recording
from tests.sounds import RATE, play

BEAT = 0.5


def played(first, second, gap=5.0, seed=1):
    """Where `first` bars are played, then a pause, then `second` bars; bars are named by letters, X is a soft one.

    Returns
    -------
    spectrum : Spectrum
    beats : ndarray
        Seconds.
    again : float
        Seconds at which the second part begins.
    """
    rng = np.random.default_rng(seed)
    sounds = {letter: (rng.random((4, 12)), rng.random((4, 64)) * 4) for letter in sorted({*first, *second})}
    beats = [4 * k * BEAT + j * BEAT for k in range(len(first)) for j in range(4)]
    later = beats[-1] + BEAT + gap
    beats += [later + 4 * k * BEAT + j * BEAT for k in range(len(second)) for j in range(4)]
    end = beats[-1] + 2
    bands, chroma = np.zeros((round(end * FRAME_RATE), 64), np.float32), np.zeros((round(end * CHROMA_RATE), 12))
    level = np.full(len(bands), 1e-8, np.float32)
    for k, beat in enumerate(beats):
        letter = [*first, *second][k // 4]
        harmony, colour = (each[k % 4] for each in sounds[letter])
        bands[round(beat * FRAME_RATE) : round((beat + BEAT) * FRAME_RATE)] = colour
        chroma[round(beat * CHROMA_RATE) : round((beat + BEAT) * CHROMA_RATE)] = harmony
        level[round(beat * FRAME_RATE) : round((beat + BEAT) * FRAME_RATE)] = 0.05 if letter == "X" else 1.0
    return Spectrum(0.0, end, bands, level, chroma, np.zeros(1), 0.1), np.array(beats), later


SONG = "ABCDEFGHIJKLMNOP" * 2


def runs_of(beats, again):
    return (beats >= again - 0.01).astype(int)


def test_an_attempt_that_begins_as_the_song_does_is_alike_and_another_is_not():
    found = []
    for first in ("ABCD", "MKOG"):
        spectrum, beats, again = played(first, SONG)
        (attempt,) = attempts(spectrum, beats, runs_of(beats, again))
        found.append(attempt)
    same, other = found
    assert same.candidate.features["alike"] > 0.9
    assert other.candidate.features["alike"] < 0.7
    assert probability(same.candidate) > 0.9 > probability(other.candidate)
    assert (same.candidate.start, same.candidate.end) == (0.0, 8.0)
    assert same.again == pytest.approx(again)


def test_the_song_begins_again_after_the_count_that_was_told_as_beats():
    spectrum, beats, _ = played("ABCD", "X" + SONG)
    again = float(beats[20])
    (attempt,) = attempts(spectrum, beats, runs_of(beats, beats[16]))
    assert attempt.again == pytest.approx(again)


def test_beats_carried_over_a_silence_into_the_song_are_parted_and_nobody_plays_there():
    spectrum, beats, again = played("ABCD", SONG)
    carried = np.sort(np.append(beats, np.arange(beats[15] + BEAT, again - 0.1, BEAT)))
    runs = np.zeros(len(carried), int)
    ((start, end),) = carried_over(spectrum, carried, runs)
    assert start == pytest.approx(8.0, abs=BEAT)
    assert end == pytest.approx(again, abs=0.7)
    evidence = Evidence(*(np.full(len(spectrum.bands), 3.0) for _ in range(4)))
    silent = unplayed(evidence, [(start, end)], 0.0).music == NOBODY
    seconds = np.arange(len(silent)) / FRAME_RATE
    assert silent[(seconds > start + 0.1) & (seconds < end - 0.3)].all()
    assert not silent[(seconds < start) | (seconds > end)].any()


def test_a_song_with_a_stop_is_not_parted():
    spectrum, beats, _ = played("ABCDEFGH", SONG, gap=1.0)
    assert attempts(spectrum, beats, np.zeros(len(beats), int)) == []


def test_a_stretch_that_is_longer_than_half_of_what_follows_is_no_attempt():
    spectrum, beats, again = played("ABCDEFGH", "ABCDEFGHIJKL")
    assert attempts(spectrum, beats, runs_of(beats, again)) == []


def test_music_without_a_break_has_no_attempts():
    spectrum, beats, _ = played("ABCD", SONG, gap=0.0)
    assert attempts(spectrum, beats, np.zeros(len(beats), int)) == []
    assert attempts(spectrum, np.zeros(0), np.zeros(0, int)) == []


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
    ran = CliRunner().invoke(cli, ["suggest", str(path), "-o", str(document)], catch_exceptions=False)
    assert ran.exit_code == 0, ran.output
    song = Song.load(document)
    (attempt,) = [each for each in song.analysis.events if each.kind == "false-start"]
    assert attempt.start == pytest.approx(before, abs=0.3)
    assert attempt.end < after - 5
    one = next(bar for bar in song.analysis.bars if bar.number == 1)
    assert one.start == pytest.approx(after, abs=0.07)
    assert song.analysis.beats[0] > attempt.end
    assert min(cue.place.seconds for cue in song.cues) > attempt.end
    assert "false-start" in CliRunner().invoke(cli, ["analyze", str(path)], catch_exceptions=False).output


@pytest.mark.parametrize(("place", "told"), [(0, False), (1, True)])
def test_a_false_start_in_which_a_bar_is_stated_is_music_and_any_other_stays_one(broken_off, place, told):
    path, *begins = broken_off
    bar = begins[place] + 8 * 60 / 112
    spectrum = hear(open_recording(path))
    found = analyze_spectrum(spectrum, heads_of(spectrum), known=Known(downbeats=(bar,)))
    assert [event.kind for event in found.events if event.kind == "false-start"] == ["false-start"] * told
    assert min(abs(each - bar) for each in found.downbeats) < 0.1
