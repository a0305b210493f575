"""What was heard is kept, and given back the same."""

import os

import numpy as np
import pytest

from cuesuggest.analysis.spectrum import Spectrum
from cuesuggest.draft import cache
from cuesuggest.sound.recording import Window

SHA = "ab" * 32


@pytest.fixture
def folder(tmp_path, monkeypatch):
    monkeypatch.setenv("CUESUGGEST_CACHE", str(tmp_path / "kept"))
    return tmp_path / "kept"


def heard(seed=1, frames=100):
    random = np.random.default_rng(seed)
    bands = random.random((frames, 64), np.float32)
    spectrum = Spectrum(1.5, 3.5, bands, bands[:, 0], random.random((20, 12)), random.random(20), 0.1)
    return spectrum, random.random((7, frames), np.float32), f"network {seed}"


def same(kept, made):
    (one, logits, network), (other, made_logits, made_network) = kept, made
    arrays = ("bands", "level", "chroma", "power")
    numbers = (one.start, one.end, one.power_step) == (other.start, other.end, other.power_step)
    return (
        numbers
        and network == made_network
        and np.array_equal(logits, made_logits)
        and all(np.array_equal(getattr(one, name), getattr(other, name)) for name in arrays)
    )


def test_what_was_kept_comes_back_to_the_last_bit(folder):
    cache.keep(SHA, Window(1.5, 3.5), *heard())
    assert same(cache.cached(SHA, Window(1.5, 3.5)), heard())


def test_another_file_or_window_is_something_else(folder):
    cache.keep(SHA, Window(1.5, 3.5), *heard())
    assert cache.cached("cd" * 32, Window(1.5, 3.5)) is None
    assert cache.cached(SHA, Window(1.5)) is None


def test_a_torn_file_is_as_good_as_none_and_is_replaced(folder):
    cache.keep(SHA, Window(), *heard())
    (file,) = folder.glob("*.npz")
    file.write_bytes(file.read_bytes()[:500])
    assert cache.cached(SHA, Window()) is None
    cache.keep(SHA, Window(), *heard(2))
    assert same(cache.cached(SHA, Window()), heard(2))


def test_the_longest_unused_go_when_there_are_too_many(folder, monkeypatch):
    for number in range(2):
        cache.keep(f"{number:02d}" * 32, Window(), *heard(number))
    for file in folder.glob("*.npz"):
        os.utime(file, (1000, 1000))
    cache.cached("00" * 32, Window())
    monkeypatch.setattr(cache, "MOST_BYTES", 70_000)
    cache.keep("02" * 32, Window(), *heard(2))
    assert {file.name[:2] for file in folder.glob("*.npz")} == {"00", "02"}


def test_a_very_long_recording_is_not_kept(folder, monkeypatch):
    monkeypatch.setattr(cache, "_MOST_OF_ONE", 1000)
    cache.keep(SHA, Window(), *heard())
    assert not folder.exists()


def test_nothing_is_kept_where_nothing_can_be_or_should_be(tmp_path, monkeypatch):
    (tmp_path / "file").write_text("no folder")
    monkeypatch.setenv("CUESUGGEST_CACHE", str(tmp_path / "file" / "deeper"))
    cache.keep(SHA, Window(), *heard())
    assert cache.cached(SHA, Window()) is None
    monkeypatch.setenv("CUESUGGEST_CACHE", "")
    cache.keep(SHA, Window(), *heard())
    assert cache.cached(SHA, Window()) is None
