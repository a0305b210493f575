"""Copies as a phone in a loud room would have made them: nothing moves in time, and what was true stays true."""

import json

import numpy as np
import pytest
import soundfile
from click.testing import CliRunner

from cuesuggest.analysis.frames import BANDS, FRAME_RATE, RATE
from cuesuggest.analysis.training import degrade, pack
from cuesuggest.analysis.training.packed import read_packs
from tests.sounds import play

STRIKES = 0.5 + 0.41 * np.arange(20)


def strikes(seconds=9.0):
    """Short noise bursts at known times, over a soft tone that keeps level controls busy."""
    random = np.random.default_rng(3)
    at = np.arange(round(seconds * RATE)) / RATE
    sound = 0.001 * np.sin(2 * np.pi * 330 * at)
    for strike in STRIKES[seconds - 0.5 > STRIKES]:
        first = round(strike * RATE)
        burst = random.standard_normal(RATE // 8) * np.exp(-np.arange(RATE // 8) / (0.02 * RATE))
        sound[first : first + len(burst)] += 0.5 * burst
    return sound.astype(np.float32)


def lateness(copy):
    """Median milliseconds by which the steepest rise of the bursts is late."""
    late = []
    for strike in STRIKES:
        first = round((strike - 0.03) * RATE)
        power = np.square(copy[first : first + round(0.07 * RATE)])
        smooth = np.convolve(power, np.ones(64) / 64, "same")
        rise = smooth[32:] - smooth[:-32]
        late.append((rise.argmax() + 16) / RATE - 0.03)
    return 1000 * float(np.median(late))


@pytest.mark.parametrize("seed", range(12))
def test_a_chain_drawn_at_random_moves_no_attack(seed):
    sound = strikes()
    copy, drawn = degrade.degraded(sound, np.random.default_rng(seed), [])
    assert copy.shape == sound.shape
    assert copy.dtype == np.float32
    assert np.isfinite(copy).all()
    assert abs(lateness(copy) - lateness(sound)) < 6, drawn


@pytest.mark.parametrize("name", [codec[0] for codec in degrade.CODECS])
def test_the_delay_of_a_codec_is_taken_out(name, monkeypatch):
    monkeypatch.setattr(degrade, "CODECS", tuple(each for each in degrade.CODECS if each[0] == name) * 3)
    sound = strikes()
    for seed in range(3):
        copy = degrade.through_codec(sound, np.random.default_rng(seed), {})
        assert copy.shape == sound.shape
        assert abs(lateness(copy) - lateness(sound)) < 4


def test_copies_differ_from_each_other_and_come_again_from_their_seed():
    sound = strikes(4.0)
    first, again, other = (degrade.degraded(sound, np.random.default_rng(seed), [])[0] for seed in (1, 1, 2))
    assert (first == again).all()
    assert not np.allclose(first, other, atol=1e-3)


def test_a_bell_raises_its_centre_by_what_is_asked_and_leaves_the_far_ends():
    row = degrade.bell(1000.0, 2.0, 9.0)[0]

    def gain(hertz):
        z = np.exp(-2j * np.pi * hertz / RATE * np.arange(3))
        return 20 * np.log10(abs((row[:3] @ z) / (row[3:] @ z)))

    assert gain(1000) == pytest.approx(9, abs=0.01)
    assert gain(20) == pytest.approx(0, abs=0.05)
    assert gain(10_000) == pytest.approx(0, abs=0.3)


@pytest.fixture
def folder(tmp_path):
    """Two songs with their truth, one of them read only in parts; and talk to lay over them."""
    for name, more in (("one", {}), ("two", {"known": [[4.0, 12.0]], "sections": None})):
        take = play(tmp_path / f"{name}.wav", "A4 B4", bpm=120.0)
        truth = {
            "beats": take.beats.tolist(),
            "downbeats": take.downbeats.tolist(),
            "music_start": float(take.beats[0]),
            "music_end": float(take.beats[-1]) + 1,
            "events": [],
            "sections": [],
            "ignore": [[0.0, 2.0]],
            **more,
        }
        if truth["sections"] is None:
            del truth["sections"]
        (tmp_path / f"{name}.json").write_text(json.dumps(truth))
    (tmp_path / "talk").mkdir()
    noise = np.random.default_rng(1).standard_normal(RATE * 5).astype(np.float32) * 0.1
    soundfile.write(tmp_path / "talk" / "hall.wav", noise, RATE)
    (tmp_path / "talk" / "hall.json").write_text(json.dumps({"beats": [], "downbeats": []}))
    return tmp_path


def test_copies_are_written_with_the_truth_and_what_was_drawn(folder):
    words = [str(folder), "-o", str(folder / "copies"), "--copies", "2", "--noise", str(folder / "talk"), "--jobs", "1"]
    done = CliRunner().invoke(degrade.main, words, catch_exceptions=False)
    assert done.output.startswith("6 copies of 3 recordings")
    truth = json.loads((folder / "copies" / "one_copy2.json").read_text())
    assert truth["beats"] == json.loads((folder / "one.json").read_text())["beats"]
    assert "hiss_db" in truth["made"]["copy"]
    sound, rate = soundfile.read(folder / "copies" / "one_copy2.flac")
    assert rate == RATE
    assert len(sound) == pytest.approx(len(degrade.mono(folder / "one.wav")), abs=1)


def test_packs_hold_every_copy_and_tell_what_is_not_known(folder):
    (folder / "talk" / "hall.json").rename(folder / "talk" / "hall.txt")  # no recording of its own here
    words = [str(folder), "-o", str(folder / "songs.npz"), "--copies", "1"]
    CliRunner().invoke(pack.main, words, catch_exceptions=False)
    found = read_packs((folder / "songs.npz",))
    assert found["names"].tolist() == ["one", "one_copy1", "two", "two_copy1"]
    assert found["bands"].shape[1] == BANDS
    blind = found["blind"] - found["starts"][2]
    assert blind[0].tolist() == [0, 4 * FRAME_RATE]
    assert blind[1, 0] == 12 * FRAME_RATE
    assert len(blind) == 4, "before and after what is known, in the song and in its copy"
    assert len(found["formless"]) == 2


def test_attempts_are_taught_though_they_do_not_count_as_the_song():
    spans = [[0.0, 20.0], [50.0, 60.0]]
    attempts = [{"start": 5.0, "end": 9.0}, {"start": 12.0, "end": 15.0}]
    assert pack.without_attempts(spans, attempts) == [[0.0, 5.0], [9.0, 12.0], [15.0, 20.0], [50.0, 60.0]]
