"""Energy of bars: loudness as BS.1770 has it, drive on one scale for all songs, whatever the level."""

import json
from dataclasses import replace
from importlib import resources

import numpy as np
import pytest
import soundfile
from scipy import ndimage

import cuesuggest
from cuesuggest.analysis.energy import MEASURES, PARTS, bar_energy, drive_of
from cuesuggest.analysis.frames import HEADS
from cuesuggest.analysis.rhythm.network import heads_of
from cuesuggest.analysis.spectrum import Spectrum, hear
from cuesuggest.analysis.training.fit_drive import Planned, fit, planned_energy, ranks
from cuesuggest.sound.recording import open_recording
from tests.sounds import play


def heard(path):
    spectrum = hear(open_recording(path))
    return spectrum, heads_of(spectrum)


@pytest.fixture(scope="module")
def band(take):
    return heard(take.path)


def bars_of(take, band):
    spectrum, logits = band
    return bar_energy(spectrum, take.downbeats[:-1], take.downbeats[1:], logits)


def tone_bars(tmp_path, dbfs, rate=48000, channels=2):
    """Bars of two seconds of a 1 kHz sine whose peak has one level a bar."""
    level = np.repeat(10 ** (np.array(dbfs) / 20), 2 * rate)
    sine = level * np.sin(2 * np.pi * 1000 * np.arange(len(level)) / rate)
    soundfile.write(tmp_path / "tone.wav", np.stack([sine] * channels, axis=1), rate, subtype="FLOAT")
    spectrum, logits = heard(tmp_path / "tone.wav")
    starts = 2.0 * np.arange(len(dbfs))
    return bar_energy(spectrum, starts, starts + 2, logits)


# EBU Tech 3341: a stereo 1 kHz sine of so many dBFS peak reads the same number of LUFS; one channel alone 3 LU less.
@pytest.mark.parametrize(("dbfs", "channels", "lufs"), [(-23, 2, -23.0), (-33, 2, -33.0), (-20, 1, -23.01)])
@pytest.mark.parametrize("rate", [48000, 44100])
def test_every_bar_of_a_steady_tone_reads_what_the_ebu_asks(tmp_path, dbfs, channels, lufs, rate):
    loudness = tone_bars(tmp_path, [dbfs] * 6, rate, channels).loudness
    assert loudness == pytest.approx(np.full(6, lufs), abs=0.1)


def test_each_bar_has_the_loudness_of_its_own_sound(tmp_path):
    """The steps of Tech 3342, case 4; no gate, no window reaches over a bar line."""
    steps = [-50, -35, -20, -35, -50]
    assert tone_bars(tmp_path, steps).loudness == pytest.approx(np.array(steps, float), abs=0.1)


def test_a_bar_line_inside_a_step_shares_it(tmp_path):
    loudness = tone_bars(tmp_path, [-23, -23, -23]).loudness
    spectrum, logits = heard(tmp_path / "tone.wav")
    late = bar_energy(spectrum, np.array([0.03, 1.97]), np.array([1.97, 3.91]), logits).loudness
    assert late == pytest.approx(loudness[:2], abs=0.1)


@pytest.mark.parametrize("decibels", [-30.0, -12.0])
def test_drive_does_not_know_the_level_of_the_recording(tmp_path, take, band, decibels):
    sound, rate = soundfile.read(take.path, dtype="float32")
    soundfile.write(tmp_path / "quiet.wav", sound * 10 ** (decibels / 20), rate, subtype="FLOAT")
    quiet = bars_of(take, heard(tmp_path / "quiet.wav"))
    assert quiet.drive == pytest.approx(bars_of(take, band).drive, abs=0.02)


def test_silence_around_the_song_changes_no_drive(tmp_path, take, band):
    sound, rate = soundfile.read(take.path, dtype="float32")
    rest = np.zeros(20 * rate, np.float32)
    soundfile.write(tmp_path / "later.wav", np.concatenate([rest, sound, rest]), rate, subtype="FLOAT")
    spectrum, logits = heard(tmp_path / "later.wav")
    later = bar_energy(spectrum, take.downbeats[:-1] + 20, take.downbeats[1:] + 20, logits)
    # The percentile that scales the bands is taken over a few frames more where silence meets sound.
    assert later.drive == pytest.approx(bars_of(take, band).drive, abs=0.03)


def test_a_levelled_recording_is_known_by_its_even_bars_and_still_tells_full_from_thin(tmp_path, take):
    sound, rate = soundfile.read(take.path, dtype="float64")
    power = ndimage.uniform_filter1d(sound**2, rate // 2)
    soundfile.write(tmp_path / "phone.wav", (0.1 * sound / np.sqrt(power + 1e-5)).astype(np.float32), rate)
    spectrum, logits = heard(tmp_path / "phone.wav")
    use = np.arange(30)  # up to the silent bar
    energy = bar_energy(spectrum, take.downbeats[use], take.downbeats[use + 1], logits)
    assert energy.compressed
    full = np.isin(use // 8, (1, 3))
    assert np.mean(energy.drive[full]) > np.mean(energy.drive[~full])


def test_the_band_with_its_dynamics_is_not_called_levelled(take, band):
    assert not bars_of(take, band).compressed


def rows(**changes):
    usual = {"loud": -0.5, "body": 2.0, "low": 2.0, "attacks": 3.0, "busy": 3.0, "pulse": -4.0, "bright": 0.8}
    return {name: np.array([float(changes.get(name, usual.get(name, -6.0)))]) for name in MEASURES}


@pytest.mark.parametrize("name", [name for name in MEASURES if name != "riser"])
def test_more_of_a_measure_never_means_less_drive(name):
    less, more = drive_of(rows(**{name: 0.5}))[0], drive_of(rows(**{name: 2.5}))[0]
    assert more[0] > less[0]


def test_the_last_chorus_of_a_ballad_stays_under_the_drop_of_a_club_track():
    """Both at the loudest of their songs; what tells them apart is how busy, clear and bright they are."""
    ballad = drive_of(rows(loud=0.0, body=3.2, low=3.1, attacks=2.0, busy=2.0, pulse=-5.4, bright=0.6))[0]
    club = drive_of(rows(loud=0.0, body=3.2, low=3.1, attacks=5.0, busy=5.0, pulse=-4.0, bright=1.3))[0]
    assert ballad[0] + 0.1 < club[0]


def test_the_shipped_weights_name_every_measure_and_part():
    text = resources.files("cuesuggest.analysis").joinpath("drive.json").read_text(encoding="utf-8")
    shipped = json.loads(text)
    assert set(shipped["weights"]) == set(MEASURES)
    assert set(shipped["parts"]) == set(PARTS)
    assert all(low < high for low, high in shipped["parts"].values())


def test_silence_has_the_least_drive_and_no_warning():
    frames = 50 * 20
    silent = Spectrum(
        start=0.0,
        end=20.0,
        bands=np.zeros((frames, 64), np.float32),
        level=np.zeros(frames, np.float32),
        chroma=np.zeros((200, 12), np.float32),
        power=np.zeros(200),
        power_step=0.1,
    )
    starts = np.arange(0.0, 20.0, 2.0)
    energy = bar_energy(silent, starts, starts + 2, np.full((len(HEADS), frames), -6.0))
    assert np.isfinite(energy.drive).all()
    loud = replace(silent, bands=np.full((frames, 64), 3.0, np.float32), power=np.full(200, 0.01))
    assert energy.drive.max() < bar_energy(loud, starts, starts + 2, np.zeros((len(HEADS), frames))).drive.min()


def test_a_levelled_recording_is_said_to_be_one(tmp_path):
    """Eight bars and eight bars of the same: nothing but the last chord differs."""
    take = play(tmp_path / "even.wav", "B24", tail=0.5)
    assert any("very even" in remark for remark in cuesuggest.analyze(take.path).remarks)


def songs_of_a_known_kind(count=30):
    rng = np.random.default_rng(3)
    w = np.array([0.2, 0.05, 0.02, 0.01, 0.02, 0.03, 0.1, -0.02])
    songs = []
    for _ in range(count):
        measures = rng.normal(size=(40, len(MEASURES)))
        songs.append(Planned(measures, np.clip(0.5 + measures @ w + rng.normal(0, 0.02, 40), 0, 1)))
    return songs


def test_fitting_finds_the_order_it_was_given_and_spreads_drive_as_planned():
    songs = songs_of_a_known_kind()
    weights = fit(songs)
    within, pooled = ranks(songs, weights)
    assert min(np.median(within), pooled) > 0.95
    w = np.array([weights["weights"][name] for name in MEASURES])
    drive = np.concatenate([1 / (1 + np.exp(-(song.measures @ w + weights["offset"]))) for song in songs])
    assert drive.std() == pytest.approx(np.concatenate([song.energy for song in songs]).std(), rel=0.02)


def test_no_measure_turns_around_even_where_the_plans_ask_for_it():
    turned = [Planned(-song.measures, song.energy) for song in songs_of_a_known_kind()]
    weights = fit(turned)["weights"]
    assert all(weights[name] >= 0 for name in MEASURES if name != "riser")
    assert weights["riser"] <= 0


def test_energy_is_planned_for_bars_only():
    truth = {"bars": [{"start": 1.0, "end": 3.0, "drive": 0.2}, {"start": 3.0, "end": 5.0, "drive": 0.9}]}
    found = planned_energy(truth, np.array([0.5, 1.0, 2.9, 3.0, 5.0]))
    assert found == pytest.approx([np.nan, 0.2, 0.2, 0.9, np.nan], nan_ok=True)
