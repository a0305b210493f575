"""The network by numpy against the trained one, and what it hears."""

from importlib import resources
from pathlib import Path

import numpy as np
import pytest

from cuesuggest.analysis.frames import HEADS
from cuesuggest.analysis.rhythm.evidence import observe
from cuesuggest.analysis.rhythm.network import NETWORKS, heads_of
from cuesuggest.analysis.spectrum import FRAME_RATE, Spectrum, hear
from cuesuggest.sound.recording import open_recording

# Invented bands and what PyTorch 2 made of them with each of the shipped weights (CPU, float32).
CASE = Path(__file__).parent / "network_case.npz"


def spectrum_of(bands):
    frames = len(bands)
    return Spectrum(0.0, frames / 50, bands, np.ones(frames, np.float32), np.zeros((frames // 5, 12)), np.zeros(9), 0.1)


@pytest.mark.parametrize("network", NETWORKS)
def test_numpy_gives_the_logits_that_the_trained_network_gave(network):
    case = np.load(CASE)
    found = heads_of(spectrum_of(case["bands"].astype(np.float32) / 24), network)
    assert found.shape == (len(HEADS), 400)
    assert found == pytest.approx(case[network], abs=2e-3)
    assert case[network].std() > 1, "a case in which nothing happens would prove nothing"


@pytest.mark.parametrize("network", NETWORKS)
def test_the_weights_in_the_package_are_small_and_in_half_precision(network):
    path = resources.files("cuesuggest.analysis.rhythm").joinpath(f"{network}.npz")
    with path.open("rb") as file:
        weights = dict(np.load(file))
    assert {values.dtype for values in weights.values()} == {np.dtype(np.float16)}
    assert sum(values.nbytes for values in weights.values()) < 300_000
    assert len(path.read_bytes()) < 400_000


def test_a_frame_hears_the_same_wherever_chunks_are_cut(monkeypatch):
    from cuesuggest.analysis.rhythm import network

    bands = np.load(CASE)["bands"].astype(np.float32) / 24
    whole = heads_of(spectrum_of(bands))
    monkeypatch.setattr(network, "_CHUNK", 77)
    assert heads_of(spectrum_of(bands)) == pytest.approx(whole, abs=1e-3)


def test_beats_stand_out_of_the_frames_between_them(take):
    spectrum = hear(open_recording(take.path))
    evidence = observe(spectrum)
    frames = np.rint(take.beats[8:] * FRAME_RATE).astype(int)
    between = (frames[:-1] + frames[1:]) // 2
    assert np.median(evidence.beat[frames]) > 2
    assert np.median(evidence.beat[between]) < 0
    ones = evidence.downbeat[frames[::4]]
    others = np.delete(evidence.downbeat[frames], np.arange(0, len(frames), 4))
    assert np.median(ones) > np.median(others) + 1


def test_silence_is_no_music_whatever_the_network_says():
    evidence = observe(Spectrum(
        0.0, 10.0, np.zeros((501, 64), np.float32), np.zeros(501, np.float32), np.zeros((101, 12)), np.zeros(100), 0.1
    ))  # fmt: skip
    assert (evidence.music <= -3.9).all()
