"""Stops, hits and endings against sounds of known length; and that the level of a recording changes nothing."""

from dataclasses import replace

import numpy as np
import pytest
import soundfile

from cuesuggest.analysis.bars.edges import last_attack, loud_level, music_end
from cuesuggest.analysis.bars.numbering import NumberedBars
from cuesuggest.analysis.events import stops
from cuesuggest.analysis.events.from_frames import events_from_frames
from cuesuggest.analysis.events.gaps import Gap, find_gaps
from cuesuggest.analysis.listen import analyze_spectrum
from cuesuggest.analysis.rhythm import find_rhythm
from cuesuggest.analysis.rhythm.evidence import observe
from cuesuggest.analysis.rhythm.network import heads_of
from cuesuggest.analysis.spectrum import FRAME_RATE, Spectrum, hear
from cuesuggest.sound.recording import open_recording
from tests.drawn import draw
from tests.sounds import play

BEAT = 60 / 112


def analysis_of(path):
    spectrum = hear(open_recording(path))
    return analyze_spectrum(spectrum, heads_of(spectrum))


def scene_of(path):
    spectrum = hear(open_recording(path))
    logits = heads_of(spectrum)
    return NumberedBars(spectrum, find_rhythm(spectrum, observe(spectrum, logits)), None).scene(logits)


def kinds(analysis, kind):
    return [event for event in analysis.events if event.kind == kind]


def hushed(path, spans, *, fall=0.02):
    """The recording with the given spans silenced but for a trace, each closed and opened within a few frames."""
    samples, rate = soundfile.read(path)
    gain = np.ones(len(samples))
    for start, end in spans:
        a, b, n = int(start * rate), int(end * rate), int(fall * rate)
        gain[a : a + n] = np.linspace(1, 0.001, n)
        gain[a + n : b] = 0.001
    soundfile.write(path, (samples * gain).astype(np.float32), rate)


@pytest.fixture
def song(tmp_path):
    path = tmp_path / "song.wav"
    return path, play(path, "A8 B8 A8 B8")


@pytest.mark.parametrize("beats", [1, 2, 4])
def test_a_stop_before_a_section_is_told_with_its_length(song, beats):
    path, take = song
    end = take.downbeats[16]
    hushed(path, [(end - beats * BEAT, end - 0.01)])
    (stop,) = kinds(analysis_of(path), "stop")
    assert stop.start == pytest.approx(end - beats * BEAT, abs=0.12)
    assert stop.end == pytest.approx(end, abs=0.08)
    assert stop.bar == 16


def test_a_song_without_a_stop_tells_none(song):
    path, _ = song
    analysis = analysis_of(path)
    assert not kinds(analysis, "stop")
    assert not kinds(analysis, "pause")


def test_three_hits_with_silence_between_them_are_hits_and_no_stops(song):
    path, take = song
    bar = take.downbeats[15]
    hits = [bar, bar + 1.5 * BEAT, bar + 3 * BEAT]
    samples, rate = soundfile.read(path)
    strike = samples[int(take.downbeats[8] * rate) :][: int(0.45 * BEAT * rate)]
    for at in hits:
        samples[int(at * rate) : int(at * rate) + len(strike)] = 1.4 * strike
    soundfile.write(path, (samples / np.abs(samples).max() * 0.6).astype(np.float32), rate)
    ends = [*hits[1:], take.downbeats[16]]
    hushed(path, [(a + 0.4 * BEAT, b - 0.01) for a, b in zip(hits, ends, strict=True)])
    analysis = analysis_of(path)
    told = [event.start for event in kinds(analysis, "hit") if event.start < take.beats[-2]]
    assert len(told) >= 2
    assert all(min(abs(at - hit) for hit in hits) < 0.08 for at in told)
    assert not [stop for stop in kinds(analysis, "stop") if bar - 0.1 < stop.start < ends[-1]]


@pytest.mark.parametrize("t60", [1.0, 2.5, 5.0])
@pytest.mark.parametrize("noise", [1e-5, 2e-3])
def test_a_ring_out_ends_where_its_decay_has_fallen_38_decibels(tmp_path, t60, noise):
    path = tmp_path / "ring.wav"
    take = play(path, "A8 B8", tail=0.1)
    samples, rate = soundfile.read(path)
    last = take.beats[-1]
    samples = samples[: int(last * rate)]
    time = np.arange(int((t60 + 6) * rate)) / rate
    tone = sum(np.sin(2 * np.pi * hertz * time + hertz) for hertz in (110, 165, 220, 277, 330)) * 10 ** (
        -3 * time / t60
    )
    chord = 0.35 * tone / np.abs(tone).max()
    chord[: int(0.02 * rate)] += np.random.default_rng(1).standard_normal(int(0.02 * rate)) * 0.2
    samples = np.concatenate([samples, chord])
    samples += np.random.default_rng(2).standard_normal(len(samples)) * noise
    soundfile.write(path, samples.astype(np.float32), rate)
    scene = scene_of(path)
    assert scene.last_attack == pytest.approx(last, abs=0.05)
    power = 10 * np.log10(np.convolve(chord**2, np.full(1024, 1 / 1024), "same") + 1e-20)
    music = samples[int(take.beats[0] * rate) : int(last * rate)]
    loud = np.convolve(music**2, np.full(1024, 1 / 1024), "same")
    falls = power[int(0.1 * rate)] - (10 * np.log10(np.percentile(loud, 95)) - 38)
    expected = 0.1 + falls / 60 * t60
    assert scene.music_end - last == pytest.approx(expected, rel=0.1, abs=0.2)


def test_a_chord_that_is_cut_off_is_a_last_hit_and_no_ring_out(song):
    path, take = song
    samples, rate = soundfile.read(path)
    last = take.beats[-1]
    samples[int((last + 0.35) * rate) :] *= 1e-3
    soundfile.write(path, samples.astype(np.float32), rate)
    analysis = analysis_of(path)
    assert not kinds(analysis, "ring-out")
    assert kinds(analysis, "hit")[-1].start == pytest.approx(last, abs=0.08)
    assert analysis.music_end == pytest.approx(last + 0.35, abs=0.25)


def test_a_chord_that_rings_out_is_told_from_its_attack(song):
    path, take = song
    (ring,) = kinds(analysis_of(path), "ring-out")
    assert ring.start == pytest.approx(take.beats[-1], abs=0.08)
    assert ring.beat == 1.0


def test_thirty_decibels_less_move_no_moment(song):
    path, take = song
    end = take.downbeats[16]
    hushed(path, [(end - 2 * BEAT, end - 0.01)])
    loud = analysis_of(path)
    samples, rate = soundfile.read(path)
    soundfile.write(path, samples * 10 ** (-30 / 20), rate, subtype="FLOAT")
    soft = analysis_of(path)
    assert [event.kind for event in soft.events] == [event.kind for event in loud.events]
    for one, other in zip(soft.events, loud.events, strict=True):
        assert one.start == pytest.approx(other.start, abs=0.03)
        assert one.end == pytest.approx(other.end, abs=0.15)
    assert loud.events


def test_gaps_are_the_same_in_a_quieter_copy(song):
    scene = scene_of(song[0])
    quieter = replace(scene, decibels=scene.decibels - 20)
    assert [(gap.start, gap.end) for gap in find_gaps(quieter)] == [(gap.start, gap.end) for gap in find_gaps(scene)]


def test_noise_of_the_room_does_not_move_the_end_of_a_straight_decay(tmp_path):
    path = tmp_path / "tail.wav"
    take = play(path, "A8 B8", tail=4.0)
    quiet = scene_of(path)
    samples, rate = soundfile.read(path)
    samples += np.random.default_rng(5).standard_normal(len(samples)) * 0.003
    soundfile.write(path, samples.astype(np.float32), rate)
    noisy = hear(open_recording(path))
    heard = quiet.heard
    attack, _ = last_attack(noisy, heard, take.downbeats, noisy.end)
    loud = loud_level(noisy, float(take.downbeats[0]), attack)
    assert music_end(noisy, attack, loud, noisy.end) == pytest.approx(quiet.music_end, abs=0.6)


@pytest.mark.parametrize(
    ("heard", "kind"),
    [(6.0, "stop"), (-6.0, "pause")],
    ids=["the network hears music in it", "the network hears none in it"],
)
def test_two_silent_bars_are_a_stop_or_a_pause_and_never_both(heard, kind):
    scene, _ = draw("F" * 12 + "SS" + "F" * 12, music=[6.0] * 12 + [heard] * 2 + [6.0] * 12)
    (found,) = [event for event in events_from_frames(scene) if event.kind in ("stop", "pause")]
    assert found.kind == kind
    assert (found.start, found.end) == (pytest.approx(24.0, abs=0.04), pytest.approx(28.0, abs=0.04))


def test_a_stop_outside_a_pause_is_told_beside_it():
    silent = [6.0] * 12 + [-6.0] * 2 + [6.0] * 12
    scene, _ = draw("F" * 12 + "SS" + "F" * 5 + "S" + "F" * 6, music=silent)
    found = [(event.kind, event.bar) for event in events_from_frames(scene) if event.kind in ("stop", "pause")]
    assert found == [("pause", None), ("stop", 20)]


def judged(gaps, monkeypatch, **scene):
    """What is told of gaps, given as (attack, from, to, how sure a stop is, how sure a hit is); a beat lasts 0.5 s."""
    sure = {"stop": "stop", "hit": "hit", "struck": "hit"}
    monkeypatch.setattr(stops, "probability", lambda each: each.features[sure[each.entry or each.kind]])
    monkeypatch.setattr(stops, "hit_candidates", lambda scene, gaps: stops.struck_candidates(gaps))
    made = [Gap(start, end, attack, {"stop": stop, "hit": hit}) for attack, start, end, stop, hit in gaps]
    scene, _ = draw("F" * 4)
    return [(each.kind, each.start, sure) for each, sure in stops.stops_and_hits(scene, made, 0.5)]


@pytest.mark.parametrize(
    ("stop", "hit", "told"),
    [
        (0.9, 0.6, [("stop", 3.0, 0.9)]),
        (0.6, 0.9, [("hit", 2.8, 0.9)]),
        (0.9, 0.8, [("hit", 2.8, 0.8), ("stop", 3.0, 0.9)]),
        (0.9, 0.799, [("stop", 3.0, 0.9)]),
        (0.5, 0.2, [("stop", 3.0, 0.5)]),
        (0.499, 0.2, []),
    ],
)
def test_a_gap_is_told_once_as_what_it_more_surely_is_unless_it_surely_is_both(stop, hit, told, monkeypatch):
    assert judged([(2.8, 3.0, 4.0, stop, hit)], monkeypatch) == told


def test_of_hits_faster_than_a_band_strikes_only_the_surest_is_told(monkeypatch):
    hits = [(2.0, 2.05, 2.1, 0.1, 0.7), (2.2, 2.25, 2.3, 0.1, 0.9), (2.43, 2.5, 2.6, 0.1, 0.8)]
    assert judged(hits, monkeypatch) == [("hit", 2.2, 0.9), ("hit", 2.43, 0.8)]


@pytest.mark.parametrize(("others", "told"), [(4, 5), (5, 0)])
def test_strokes_that_fill_the_bars_around_are_the_groove(others, told, monkeypatch):
    """A bar lasts two seconds; those within a bar are one group with it, and those beyond eight bars are far."""
    near = [(20.0 + 2.2 * k, 20.1 + 2.2 * k, 20.2 + 2.2 * k, 0.1, 0.9) for k in range(others + 1)]
    assert len(judged(near, monkeypatch)) == told
    apart = [(20.0 + 16.1 * k, 20.1 + 16.1 * k, 20.2 + 16.1 * k, 0.1, 0.9) for k in range(others + 1)]
    assert len(judged(apart, monkeypatch)) == others + 1
    group = [(20.0 + 0.3 * k, 20.1 + 0.3 * k, 20.2 + 0.3 * k, 0.1, 0.9) for k in range(others + 1)]
    assert len(judged(group, monkeypatch)) == others + 1


def test_a_hit_beside_another_within_a_bar_is_told_how_sure_that_one_is(monkeypatch):
    monkeypatch.setattr(stops, "probability", lambda each: each.features["hit"])
    scene, _ = draw("F" * 4)
    gaps = [Gap(at + 0.1, at + 0.2, at, {"hit": sure}) for at, sure in ((1.0, 0.3), (2.9, 0.6), (4.95, 0.9))]
    beside = [each.features for each in stops.hit_candidates(scene, gaps)]
    assert beside == [{"own": 0.3, "beside": 0.6}, {"own": 0.6, "beside": 0.3}, {"own": 0.9, "beside": 0.0}]


def ended(fall, noise, bend=None):
    """Seconds after its attack at which a chord has ended that falls by so many dB a second into even noise."""
    seconds = np.arange(20 * FRAME_RATE) / FRAME_RATE
    decibels = -20 - fall * np.maximum(seconds - 2, 0)
    if bend:
        decibels += bend * np.sin(2 * np.pi * seconds)
    level = 10 ** (decibels / 10) + 10 ** (noise / 10)
    spectrum = Spectrum(0.0, 20.0, np.zeros((len(level), 64)), level, np.zeros((1, 12)), np.zeros(1), 0.1)
    return music_end(spectrum, 2.0, -20.0, 19.0) - 2


HIDDEN = 38 + 1.26  # dB; 6 dB over the noise, the noise adds so much to what is heard


@pytest.mark.parametrize(
    ("fall", "noise", "seconds"),
    [(20.0, -90.0, 38 / 20), (20.0, -50.0, HIDDEN / 20), (10.0, -50.0, HIDDEN / 10), (10.0, -45.0, HIDDEN / 10)],
    ids=["quiet", "noise hides the end", "slower", "more noise"],
)
def test_a_chord_ends_38_decibels_down_also_where_noise_hides_it(fall, noise, seconds):
    assert ended(fall, noise) == pytest.approx(seconds, abs=0.06)


def test_a_decay_is_carried_on_for_three_seconds_at_most_and_only_where_it_is_straight():
    heard = (24 + HIDDEN - 38) / 4  # from -20 dB to 6 dB over the noise
    assert ended(4.0, -50.0) == pytest.approx(heard + 3, abs=0.05)
    assert ended(4.0, -50.0, bend=3.0) < heard + 1
    assert ended(20.0, -30.0) == pytest.approx((4 + HIDDEN - 38) / 20, abs=0.05), "too little of it is seen"
