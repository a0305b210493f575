"""The song beside its timecode: libltc hears the right channel, the left one is the song where the show has it."""

from __future__ import annotations

import io

import numpy as np
import pytest
import soundfile
import wavinfo

from cuesuggest.errors import CuesuggestError
from cuesuggest.export import Options, export
from cuesuggest.export.common.mix import parse_mix
from cuesuggest.export.common.show_bars import show_end
from cuesuggest.export.common.timing import RATES, Timing
from cuesuggest.export.read_back.read_timecode import read_linear
from cuesuggest.sound.samples import exact_sound
from tests.hard_songs import HARD, noise_for
from tests.songs import make_song
from tests.test_export_timecode import decoded


def written(song, path, timing=None, mix=None):
    options = Options(sound=exact_sound(path), timing=timing or Timing(), mix=parse_mix(mix) if mix else {})
    data = export(song, "show-audio", options)[".with-ltc.wav"]
    samples, rate = soundfile.read(io.BytesIO(data), dtype="int16")
    assert samples.shape[1] == 2
    return samples, rate, data


@pytest.mark.parametrize("rate", [22050, 44100, 48000, 96000, 192000])
@pytest.mark.parametrize("name", RATES)
def test_libltc_and_our_reader_hear_every_label_within_a_tenth_of_a_millisecond(tmp_path, name, rate):
    song, fps = make_song("A4", bpm=240), RATES[name]
    timing = Timing(2.5, fps, "23:59:58:00")
    samples, found, _ = written(song, noise_for(song, tmp_path / "a.wav", rate, channels=1), timing)
    assert found == rate
    right = samples[:, 1]
    near = 3 if rate < 30_000 else max(2, rate / 24_000)
    first, count = fps.parse(timing.start), int(len(right) / rate * fps.exact) - 1
    expected = [(fps.label(first + frame), fps.seconds(frame) * rate) for frame in range(count)]
    for heard in (
        decoded(right, rate / float(fps.exact)),
        [(str(each), each.sample) for each in read_linear(right, rate)[0]],
    ):
        at = dict(heard)
        assert len(at) >= count - 2
        for label, sample in expected[1:-1]:
            assert at[label] == pytest.approx(sample, abs=near)


@pytest.mark.parametrize(("song", "timing"), HARD.values(), ids=HARD)
def test_the_song_is_left_where_the_show_has_it(tmp_path, song, timing):
    path = noise_for(song, tmp_path / "a.wav", 22050, channels=1)
    samples, rate, _ = written(song, path, timing)
    assert len(samples) == round(show_end(song, timing) * rate)
    original, _ = soundfile.read(path, dtype="int16")
    first = round(timing.offset * rate)
    inside = original[max(-first, 0) :][: len(samples) - max(first, 0)]
    left = samples[max(first, 0) :, 0][: len(inside)]
    assert len(inside) > 10 * rate
    assert np.abs(left.astype(int) - inside).max() <= 1
    assert not samples[: max(first, 0), 0].any()


def test_levels_can_be_chosen_and_the_song_is_as_loud_as_it_was_otherwise(tmp_path):
    song = make_song("A4")
    path = noise_for(song, tmp_path / "a.wav", 44100)
    (usual, _, _), (softer, _, _) = written(song, path), written(song, path, mix="song -20, timecode -18")
    mean = soundfile.read(path)[0].mean(axis=1)
    assert np.abs(usual[: len(mean), 0] / 32767 - mean).max() < 1e-4
    assert np.abs(softer[: len(mean), 0] / 32767 - mean / 10).max() < 1e-4
    peaks = [20 * np.log10(each[:, 1].max() / 32767) for each in (usual, softer)]
    assert peaks == pytest.approx([-12, -18], abs=0.05)


def test_the_file_says_what_is_where(tmp_path):
    song = make_song("A4")
    copy = tmp_path / "copy.wav"
    copy.write_bytes(written(song, noise_for(song, tmp_path / "a.wav", 44100), Timing(3.0))[2])
    said = wavinfo.WavInfoReader(str(copy)).info
    assert said.title == "Paper Boats"
    assert "Song left, timecode right: the right channel is not for people's ears." in said.comment
    assert "3 s later" in said.comment


@pytest.mark.parametrize(("rate", "becomes"), [(8000, 24_000), (11_025, 22_050), (16_000, 32_000)])
def test_a_recording_with_too_few_samples_gets_so_many_that_timecode_fits_beside_it(tmp_path, rate, becomes):
    song, timing = make_song("A4"), Timing(2.0, RATES["30"])
    path = tmp_path / "a.wav"
    frames = round(song.recording.duration * rate)
    tone = np.sin(2 * np.pi * 500 * np.arange(frames) / rate)
    soundfile.write(path, 0.5 * tone, rate)
    samples, found, _ = written(song, path, timing)
    assert found == becomes
    heard = decoded(samples[:, 1], found / 30)
    assert [label for label, _ in heard][:2] == ["01:00:00:00", "01:00:00:01"]
    assert heard[-1][1] / found == pytest.approx(len(samples) / found, abs=0.1)
    # The same tone, and it is where it was to a tenth of its period.
    at = np.arange(3 * found, 4 * found)
    expected = 0.5 * np.sin(2 * np.pi * 500 * (at / found - 2.0))
    assert np.abs(samples[at, 0] / 32767 - expected).max() < 0.05


def test_a_day_before_the_song_is_refused_with_another_way(tmp_path):
    song = make_song("A4")
    path = noise_for(song, tmp_path / "a.wav", 22050)
    with pytest.raises(CuesuggestError, match=r"would last 24\.0 hours; at most 5 .* --start-timecode"):
        written(song, path, Timing(86_400.0))


def test_the_command_writes_it_beside_the_document(run, document):
    code, _, err = run("export", document, "--to", "show-audio", "--fps", "30", "--start-timecode", "02:00:00:00")
    assert (code, err) == (0, "")
    samples, rate = soundfile.read(document.with_name("evening.with-ltc.wav"), dtype="int16")
    assert decoded(samples[:, 1], rate / 30)[0][0] in ("02:00:00:00", "02:00:00:01")
    code, out, _ = run("read", document.with_name("evening.with-ltc.wav"))
    assert code == 0
    assert "Linear timecode from 02:00:00:00 to" in out
    assert "at 30 frames a second" in out
