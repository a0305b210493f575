"""Practice sound, heard by the tests themselves: where tones begin, how high they are, and what they are mixed with."""

from __future__ import annotations

import io
import tracemalloc
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
import soundfile
import wavinfo

from cuesuggest.errors import CuesuggestError
from cuesuggest.export import Options, export
from cuesuggest.export.common.mix import gain, parse_mix
from cuesuggest.export.common.timing import Timing
from cuesuggest.export.common.told import told
from cuesuggest.export.desk.counting import beats_of_bars, counts, cut_short
from cuesuggest.export.desk.tones import FIGURES, figure, go, pips, side_pitch, struck
from cuesuggest.score.records import CueKind, Place, Series
from cuesuggest.sound.samples import exact_sound
from tests.hard_songs import HARD, noise_for
from tests.songs import make_cue, make_song, place_at

RATE = 8000


class Heard:
    """Both files of a song over a recording of noise."""

    def __init__(self, song, path, timing=None, mix="song -6, click -18, count -9", **options):
        options = Options(sound=exact_sound(path), timing=timing or Timing(), mix=parse_mix(mix), **options)
        self.files = export(song, "practice", options)
        self.mixed, self.rate = soundfile.read(io.BytesIO(self.files[".practice.wav"]), dtype="int16")
        self.alone, _ = soundfile.read(io.BytesIO(self.files[".count.wav"]), dtype="int16")

    def starts(self):
        """Seconds at which something begins to sound after silence."""
        loud = np.abs(self.alone.astype(int)) > 8
        quiet = np.convolve(loud, np.ones(round(0.01 * self.rate), int))[: len(loud)] - loud == 0
        return np.flatnonzero(loud & quiet) / self.rate


@pytest.fixture(params=HARD, ids=str)
def hard(request, tmp_path):
    song, timing = HARD[request.param]
    path = noise_for(song, tmp_path / "a.wav", RATE)
    return song, timing, path


def test_every_cue_has_its_go_within_a_millisecond_and_every_go_its_cue(hard):
    song, timing, path = hard
    said = told(song, Options(timing=timing))
    assert len(said) >= 2
    heard = Heard(song, path, timing, mix="song off, click off, count -6")
    begins = heard.starts()
    goes = [at for at in begins if _is_go(heard.alone, at, heard.rate)]
    expected = sorted({each.at for each in said})
    assert len(goes) == len(expected)
    assert goes == pytest.approx(expected, abs=0.001)


def _is_go(samples, at, rate):
    """A go is the one tone of 0.2 s that stays an octave over its side's pitch all along."""
    part = samples[round(at * rate) : round((at + 0.19) * rate)].astype(float)
    halves = [_pitch(half, rate) for half in np.array_split(part, 2) if np.abs(half).max() > 50]
    octaves = [2 * side_pitch(index) for index in (None, 0, 1)]
    return len(halves) == 2 and all(any(abs(pitch - each) < 12 for each in octaves) for pitch in halves)


def _pitch(part, rate):
    """Hz of the loudest tone."""
    spectrum = np.abs(np.fft.rfft(part * np.hanning(len(part)), 1 << 15))
    return np.argmax(spectrum) * rate / (1 << 15)


def test_every_beat_of_the_song_clicks_where_it_was_heard_the_bars_first_higher(hard):
    song, timing, path = hard
    heard = Heard(song, path, timing, mix="song off, click -6, count off")
    bars = {round(timing.show(bar.start), 4) for bar in song.analysis.bars}
    expected = [timing.show(each) for each in song.analysis.beats]
    # A bar that begins before second 0 is left out whole, as in every format that counts bars.
    first = min(each for each in bars if each >= 0)
    expected = [each for each in expected if each >= first]
    assert list(heard.starts()) == pytest.approx(expected, abs=0.001)
    for at in expected:
        tone = _pitch(heard.alone[round(at * RATE) : round((at + 0.03) * RATE)].astype(float), RATE)
        assert tone == pytest.approx(2000 if round(at, 4) in bars else 1000, abs=60)


def test_mixed_it_is_the_song_where_the_show_has_it_and_the_same_tones(hard):
    song, timing, path = hard
    heard = Heard(song, path, timing)
    original, _ = soundfile.read(path)
    bare = (heard.mixed.astype(int) - heard.alone[:, None]) / 32767 / 10 ** (-6 / 20)
    first = round(timing.offset * RATE)
    shown = np.zeros_like(bare)
    inside = original[max(-first, 0) : max(-first, 0) + len(shown) - max(first, 0)]
    shown[max(first, 0) : max(first, 0) + len(inside)] = inside
    assert np.abs(bare - shown).max() < 2e-4
    assert np.abs(heard.mixed.astype(int)).max() < 32767


def test_a_cue_is_told_by_its_figure_then_three_two_one_on_the_beats_before_it():
    song = make_song("A8 B8 A8", bpm=120)
    third = [each for each in counts(song, Options()) if each.told.cue.number == 3]
    # B comes in on bar 9, at 2 + 8 * 2 s.
    assert [(each.at, each.what, each.left) for each in third] == [
        (16.0, "figure", 0),
        (16.5, "pips", 3),
        (17.0, "pips", 2),
        (17.5, "pips", 1),
        (18.0, "go", 0),
    ]


def test_felt_beats_are_counted_as_uneven_as_they_are():
    song, timing = HARD["7/8"]
    beats = [at for at, _ in beats_of_bars(song, Options(timing=timing))]
    steps = {round(right - left, 2) for left, right in pairwise(beats)}
    assert steps == {0.3, 0.45}  # 2, 2 and 3 eighths, of which there are 400 a minute
    (cue,) = [each for each in told(song, Options(timing=timing)) if each.cue.number == 3]
    back = [cue.at - each.at for each in counts(song, Options(timing=timing)) if each.told == cue]
    assert sorted(back) == pytest.approx([0.0, 0.45, 0.75, 1.05, 1.5], abs=0.001)


def test_after_a_pause_is_counted_at_the_tempo_that_follows():
    song, timing = HARD["drift and a pause"]
    song = song.replaced(cues=[make_cue(1, "cut-in", place_at(song.analysis, 17), side="B")])
    beat = next((bar.end - bar.start) / 4 for bar in song.analysis.bars if bar.number == 17)
    at = [each.at for each in counts(song, Options(timing=timing))]
    assert [right - left for left, right in pairwise(at)] == pytest.approx([beat] * 4, abs=0.001)


def test_figures_give_way_to_other_cues_and_keep_their_order():
    song = make_song("A8 B8 A8", bpm=120)
    cues = [
        make_cue(1, "cut-out", place_at(song.analysis, 5), side="A"),
        make_cue(2, "cut-in", place_at(song.analysis, 5, 3.0), side="B"),
        make_cue(3, "one-shot", place_at(song.analysis, 6), look="lift"),
    ]
    found = counts(song.replaced(cues=cues), Options())
    figures = [(each.told.cue.number, each.at) for each in found if each.what == "figure"]
    assert figures == [(1, 7.0), (2, 7.5), (3, 8.0)]
    # Bar 5 is at 10 s. No beat has two tones but one on which two cues are.
    assert len({each.at for each in found}) == len(found)
    assert [(each.at, each.left) for each in found if each.what == "pips"] == [
        (8.5, 3),
        (9.0, 2),
        (9.5, 1),
        (10.5, 1),
        (11.5, 1),
    ]


def test_of_a_series_every_press_has_its_go_and_only_the_first_a_figure():
    song = make_song("A8 B8 A8")
    shot = make_cue(1, "one-shot", place_at(song.analysis, 9), look="lift", series=Series(2, 9, 15))
    found = counts(song.replaced(cues=[shot]), Options())
    assert [sum(each.what == what for each in found) for what in ("figure", "go", "pips")] == [1, 4, 12]


def test_cues_before_second_0_are_named(tmp_path):
    song, timing = HARD["a cut"]
    heard = Heard(song, noise_for(song, tmp_path / "a.wav"), timing)
    for ending, data in heard.files.items():
        copy = tmp_path / f"copy{ending}"
        copy.write_bytes(data)
        assert "1 cue before second 0 of the show left out: 1." in wavinfo.WavInfoReader(str(copy)).info.comment


def test_what_comes_too_early_for_a_whole_count_is_said(run, tmp_path):
    song, _ = HARD["from sample 0"]
    assert cut_short(song, Options()) == ("Too early for a whole count: 1. Give --offset 8 for room before the song.",)
    assert cut_short(song, Options(timing=Timing(8.0))) == ()
    path = noise_for(song, tmp_path / "a.wav")
    heard = Heard(song, path)
    copy = tmp_path / "copy.wav"
    copy.write_bytes(heard.files[".practice.wav"])
    said = wavinfo.WavInfoReader(str(copy)).info
    assert "Too early for a whole count: 1." in said.comment
    assert "keep people out of the beams" in said.comment
    assert said.title == "Paper Boats"


def test_a_recording_without_music_is_counted_in_seconds(tmp_path):
    song = make_song("")
    song = song.replaced(cues=[make_cue(1, "cut-in", Place(7.5))])
    heard = Heard(song, noise_for(song, tmp_path / "a.wav"))
    assert [each.at for each in counts(song, Options())] == [3.5, 4.5, 5.5, 6.5, 7.5]
    assert len(heard.alone) == 11 * RATE


@pytest.mark.parametrize("channels", [1, 2, 6])
def test_any_number_of_channels_is_heard_on_both_ears(tmp_path, channels):
    song = make_song("A8")
    heard = Heard(song, noise_for(song, tmp_path / "a.wav", channels=channels))
    assert heard.mixed.shape[1] == 2
    assert np.array_equal(heard.mixed[:, 0], heard.mixed[:, 1]) is (channels != 2)


def test_nothing_is_beyond_full_scale_however_loud_it_is_asked_for(tmp_path):
    song = make_song("A8")
    path = tmp_path / "a.wav"
    soundfile.write(path, np.ones(round(song.recording.duration * RATE)), RATE, subtype="FLOAT")
    heard = Heard(song, path, mix="song 0, click 0, count 0")
    assert heard.mixed.max() <= 32767
    assert np.median(heard.mixed) == pytest.approx(32767 / 3, abs=2)


# --- tones


@pytest.mark.parametrize("rate", [4000, 8000, 44100, 96000])
def test_tones_are_as_loud_as_full_scale_and_begin_and_end_softly(rate):
    waves = [figure(rate, kind, side_pitch(index)) for kind in FIGURES for index in (None, 0, 5)]
    waves += [pips(rate, 3, side_pitch(1)), go(rate, side_pitch(1))]
    for wave in waves:
        assert np.abs(wave).max() == pytest.approx(1.0)
        assert abs(wave[0]) < 0.5
        assert abs(wave[-1]) < 0.05
        # It fits between two beats at 200 a minute.
        assert len(wave) < 0.28 * rate
    assert struck(rate, True)[0] == struck(rate, False)[0] == 1.0


def test_every_kind_of_cue_has_a_figure_unlike_all_others():
    assert set(FIGURES) == set(CueKind.__args__)
    waves = [figure(8000, kind, side_pitch(0)) for kind in FIGURES]
    for k, wave in enumerate(waves):
        for other in waves[:k]:
            length = max(len(wave), len(other))
            both = [np.abs(np.fft.rfft(np.pad(each, (0, length - len(each))))) for each in (wave, other)]
            shape = [np.pad(np.abs(each), (0, length - len(each))) for each in (wave, other)]
            alike = [np.corrcoef(*pair)[0, 1] for pair in (both, shape)]
            # Fades and crossfades sweep over the same pitches; cuts have the same two notes.
            assert min(alike) < 0.9 or not np.allclose(_pitches(wave), _pitches(other), atol=30)


def _pitches(wave):
    return [_pitch(part, 8000) for part in np.array_split(wave[: round(0.25 * 8000)], 5)]


def test_sides_are_told_by_their_pitch():
    assert len({side_pitch(index) for index in (None, 0, 1, 2)}) == 4
    for index in (None, 0, 1):
        assert _pitch(pips(8000, 1, side_pitch(index)), 8000) == pytest.approx(side_pitch(index), abs=10)


# --- levels


def test_levels_are_read_as_people_write_them():
    assert parse_mix("song -6, click off ,Count=-9.5 dB") == {"song": -6.0, "click": -np.inf, "count": -9.5}
    assert gain({"click": -np.inf}, "click", -18.0) == 0.0
    assert gain({}, "click", -20.0) == pytest.approx(0.1)
    for wrong, says in (
        ("song 3", "goes from -60 to 0"),
        ("song -61", "goes from -60 to 0"),
        ("drums -6", "is no part of a mix"),
        ("song", "is no part of a mix"),
        ("", "is no part of a mix"),
    ):
        with pytest.raises(CuesuggestError, match=says):
            parse_mix(wrong)


def test_levels_are_peaks_of_full_scale(tmp_path):
    song = make_song("A8")
    path = noise_for(song, tmp_path / "a.wav", 44100)
    for mix, level in (("song off, count off, click -12", -12), ("song off, click off, count -20", -20)):
        peak = np.abs(Heard(song, path, mix=mix).alone.astype(int)).max() / 32767
        assert 20 * np.log10(peak) == pytest.approx(level, abs=0.1)


# --- the command


def test_the_command_writes_both_with_levels_and_says_what_is_cut_short(run, document):
    code, out, err = run("export", document, "--to", "practice", "--mix", "click off, count -3")
    assert (code, err) == (0, "")
    written = sorted(path.name for path in document.parent.glob("*.wav"))
    assert written == ["evening.count.wav", "evening.practice.wav", "evening.wav"]
    code, _, err = run("export", document, "--to", "practice.count.wav", "--mix", "loud", "--force")
    assert (code, "is no part of a mix" in err) == (2, True)
    code, out, _ = run("export", document, "--to", "practice.wav", "-o", document.parent / "one.wav")
    assert (code, out.count("Written:")) == (0, 1)


def test_it_is_worked_on_in_pieces(tmp_path):
    """Ten minutes of sound as numbers would be 200 MB; the file itself is 50."""
    song = make_song("A8")
    path = noise_for(song, tmp_path / "a.wav", 22050)
    long = replace(song.recording, duration=600.0, window=replace(song.recording.window, end=600.0))
    options = Options(sound=exact_sound(path))
    tracemalloc.start()
    (data, _) = export(song.replaced(recording=long), "practice", options).values()
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert len(data) > 52_000_000
    assert peak < 3 * len(data)
