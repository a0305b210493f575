"""Loudness against the published tables of EBU Tech 3341 and against pyloudnorm."""

import numpy as np
import pyloudnorm
import pytest

from cuesuggest.analysis.loudness import MOMENTARY, LoudnessMeter, integrated, k_weighting, to_lufs, windowed

SHORT_TERM = 30  # hops of 100 ms: EBU Tech 3341

# ITU-R BS.1770-4, tables 1 and 2: coefficients at 48 kHz.
SHELF_48K = ([1.53512485958697, -2.69169618940638, 1.19839281085285], [1.0, -1.69065929318241, 0.73248077421585])
PASS_48K = ([1.0, -2.0, 1.0], [1.0, -1.99004745483398, 0.99007225036621])

# EBU Tech 3341, table 1: (seconds, peak dBFS) of a stereo 1 kHz tone that reads -23 LUFS (case 2: -33).
EBU_TABLE_1 = {
    "1 steady": ([(20, -23)], -23.0),
    "2 steady, softer": ([(20, -33)], -33.0),
    "3 relative gate": ([(10, -36), (60, -23), (10, -36)], -23.0),
    "4 both gates": ([(10, -72), (10, -36), (60, -23), (10, -36), (10, -72)], -23.0),
    "5 three levels": ([(20, -26), (20.1, -20), (20, -26)], -23.0),
}
# Case 6: left, right, centre, left surround, right surround, 20 s.
EBU_CASE_6 = (-28, -28, -24, -30, -30)
# Case 12: momentary loudness is constant.
EBU_CASE_12 = [(0.18, -20), (0.22, -30)] * 25


def tone(parts, rate, hertz=1000.0):
    level = np.concatenate([np.full(round(seconds * rate), 10 ** (peak / 20)) for seconds, peak in parts])
    return (level * np.sin(2 * np.pi * hertz * np.arange(len(level)) / rate)).astype(np.float32)


def powers(samples, rate, block=100_000):
    meter = LoudnessMeter(rate, samples.shape[1])
    for start in range(0, len(samples), block):
        meter.add(samples[start : start + block])
    return meter.finish()


def stereo(mono):
    return np.stack([mono, mono], axis=1)


def test_k_weighting_gives_the_coefficients_that_bs1770_prints_for_48_khz():
    b, a = k_weighting(48000)
    assert b[0] == pytest.approx(SHELF_48K[0], abs=1e-12)
    assert a[0] == pytest.approx(SHELF_48K[1], abs=1e-12)
    assert b[1] == pytest.approx(PASS_48K[0])
    assert a[1] == pytest.approx(PASS_48K[1], abs=1e-12)


@pytest.mark.parametrize("rate", [48000, 44100])
@pytest.mark.parametrize(("parts", "lufs"), EBU_TABLE_1.values(), ids=EBU_TABLE_1)
def test_loudness_reads_what_the_ebu_asks(parts, lufs, rate):
    assert integrated(powers(stereo(tone(parts, rate)), rate)) == pytest.approx(lufs, abs=0.1)


def test_surround_channels_weigh_more_as_the_ebu_asks_in_case_6():
    samples = np.stack([tone([(20, peak)], 48000) for peak in EBU_CASE_6], axis=1)
    assert integrated(powers(samples, 48000)) == pytest.approx(-23.0, abs=0.1)


def test_momentary_loudness_is_constant_in_ebu_case_12():
    loudness = to_lufs(windowed(powers(stereo(tone(EBU_CASE_12, 48000)), 48000), MOMENTARY))
    assert loudness[7:] == pytest.approx(np.full(len(loudness) - 7, -23.0), abs=0.1)


def test_short_term_loudness_is_constant_in_ebu_case_9():
    parts = [(1.34, -20), (1.66, -30)] * 5
    loudness = to_lufs(windowed(powers(stereo(tone(parts, 48000)), 48000), SHORT_TERM))
    assert loudness == pytest.approx(np.full(len(loudness), -23.0), abs=0.1)


# Cases 13 and 14 ask the same of momentary loudness; steps of 100 ms are too coarse for them, and we claim no EBU mode.
@pytest.mark.parametrize("step", range(0, 20, 3))
def test_the_highest_short_term_loudness_does_not_depend_on_where_a_tone_starts_in_ebu_case_10(step):
    parts = [(0.15 * step, -200), (3, -23), (1, -200)]
    assert to_lufs(windowed(powers(stereo(tone(parts, 48000)), 48000), SHORT_TERM)).max() == pytest.approx(-23, abs=0.1)


@pytest.mark.parametrize("step", range(1, 20, 4))
def test_the_highest_short_term_loudness_follows_the_level_in_ebu_case_11(step):
    parts = [(0.15 * step, -200), (3, -38 + step), (3 - 0.15 * step, -200)]
    found = to_lufs(windowed(powers(stereo(tone(parts, 48000)), 48000), SHORT_TERM)).max()
    assert found == pytest.approx(-38 + step, abs=0.1)


@pytest.mark.parametrize("rate", [8000, 22050, 44100, 48000, 96000])
def test_loudness_agrees_with_pyloudnorm_on_noise_that_swells(rate):
    rng = np.random.default_rng(5)
    noise = rng.standard_normal((rate * 12, 2)) * np.linspace(0.001, 0.2, rate * 12)[:, None]
    noise = noise.cumsum(axis=0) * 0.02 + noise  # more low end, where the weighting is steep
    noise -= noise.mean(axis=0)
    expected = pyloudnorm.Meter(rate, filter_class="DeMan").integrated_loudness(noise)
    assert integrated(powers(noise.astype(np.float32), rate)) == pytest.approx(expected, abs=0.02)


def test_full_scale_sine_in_one_channel_reads_minus_3():
    sine = tone([(5, 0.0)], 48000, hertz=997.0)
    one_sided = np.stack([sine, np.zeros_like(sine)], axis=1)
    assert integrated(powers(one_sided, 48000)) == pytest.approx(-3.01, abs=0.05)


def test_the_size_of_blocks_changes_nothing():
    noise = np.random.default_rng(1).standard_normal((70000, 2)).astype(np.float32)
    assert powers(noise, 44100, block=1000) == pytest.approx(powers(noise, 44100, block=70000), rel=1e-5)


def test_less_than_400_ms_has_no_loudness():
    assert integrated(powers(stereo(tone([(0.35, -10)], 48000)), 48000)) is None


def test_silence_has_no_loudness_and_never_shows_as_minus_infinity():
    power = powers(np.zeros((48000 * 2, 2), np.float32), 48000)
    assert integrated(power) is None
    assert (to_lufs(power) == -70.0).all()
