"""The single pass: frames where they belong, whatever the rate, level and phase of the recording."""

import numpy as np
import pytest
import soundfile

from cuesuggest.analysis.rhythm.evidence import flux
from cuesuggest.analysis.spectrum import FRAME_RATE, band_edges, hear
from cuesuggest.errors import RecordingError
from cuesuggest.sound.recording import Window, open_recording


def clicks(rate, seconds=12.0, period=0.5, level=0.5):
    """Short noise bursts every half second, the first at 0.5 s, over a soft hum."""
    time = np.arange(int(seconds * rate)) / rate
    sound = 0.002 * np.sin(2 * np.pi * 220 * time)
    burst = np.random.default_rng(2).standard_normal(int(0.01 * rate))
    for start in np.arange(period, seconds - 0.1, period):
        place = round(start * rate)
        sound[place : place + len(burst)] += level * burst[: len(sound) - place] * 0.3
    return sound.astype(np.float32)


def heard(tmp_path, samples, rate, window=None):
    soundfile.write(tmp_path / "a.wav", samples, rate, subtype="FLOAT")
    return hear(open_recording(tmp_path / "a.wav"), window)


def attacks(spectrum):
    """Times of the tops of the flux."""
    curve = flux(spectrum.bands).mean(axis=1)
    top = (curve[1:-1] > curve[:-2]) & (curve[1:-1] >= curve[2:]) & (curve[1:-1] > 2)
    return spectrum.start + (np.flatnonzero(top) + 1) / FRAME_RATE


def test_bands_are_even_on_their_own_scale_from_30_hz_to_10_khz():
    edges = band_edges()
    assert (edges[0], edges[-1]) == (pytest.approx(30), pytest.approx(10000))
    assert np.diff(np.log1p(edges / 150)) == pytest.approx(np.full(65, np.diff(np.log1p(edges / 150))[0]))


@pytest.mark.parametrize("rate", [11025, 22050, 44100, 48000, 96000])
def test_a_click_is_found_where_it_is_at_every_rate(tmp_path, rate):
    found = attacks(heard(tmp_path, clicks(rate), rate))
    expected = np.arange(0.5, 11.9, 0.5)
    assert len(found) == len(expected)
    # Flux rises while a click enters the window: a constant lead of one or two frames, no drift.
    assert np.ptp(found - expected) <= 0.021
    assert np.abs(np.median(found - expected)) <= 0.041


def test_40_db_quieter_gives_the_same_bands(tmp_path):
    loud = heard(tmp_path, clicks(22050), 22050)
    soft = heard(tmp_path, clicks(22050) * 0.01, 22050)
    assert soft.bands == pytest.approx(loud.bands, abs=1e-3)


def test_silence_in_front_does_not_change_the_scale(tmp_path):
    sound = clicks(22050)
    alone = heard(tmp_path, sound, 22050)
    later = heard(tmp_path, np.concatenate([np.zeros(22050 * 30, np.float32), sound]), 22050)
    shift = round(30 * FRAME_RATE)
    # The percentile is taken over a few frames more or less where the silence meets the sound.
    assert later.bands[shift + 10 :] == pytest.approx(alone.bands[10:], rel=0.03, abs=0.03)


def test_opposite_phase_is_not_lost(tmp_path):
    sound = clicks(22050)
    mono = heard(tmp_path, sound, 22050)
    opposite = heard(tmp_path, np.stack([sound, -sound], axis=1), 22050)
    assert opposite.bands == pytest.approx(mono.bands, abs=1e-3)


def test_times_in_a_window_count_from_the_files_start(tmp_path):
    found = attacks(heard(tmp_path, clicks(22050), 22050, Window(4.2, 8.2)))
    assert found == pytest.approx(np.arange(4.5, 8.1, 0.5), abs=0.045)


def test_half_a_second_is_too_short_and_said_so(tmp_path):
    with pytest.raises(RecordingError, match=r"0\.50 s"):
        heard(tmp_path, clicks(22050)[:11025], 22050)


def test_silence_gives_empty_bands_without_a_warning(tmp_path):
    assert not heard(tmp_path, np.zeros(22050 * 3, np.float32), 22050).bands.any()
