"""A long recording is split into its songs: found, listed, put together by what they are, a document for each."""

import re
import shutil
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import soundfile

from cuesuggest.analysis.listen import analyze_spectrum
from cuesuggest.analysis.rhythm.choice import believed
from cuesuggest.analysis.songs.excerpt import excerpt
from cuesuggest.analysis.songs.gathering import SAME_SONG, gathered, most_complete, recognised_as, song_likeness
from cuesuggest.analysis.songs.harmony import bar_harmony, likeness
from cuesuggest.analysis.songs.several import songs_seen
from cuesuggest.analysis.spectrum import hear
from cuesuggest.analysis.takes import align
from cuesuggest.analysis.takes.align import one_song
from cuesuggest.analysis.takes.take import HeardTake
from cuesuggest.cli import splitting
from cuesuggest.draft import rehearsing
from cuesuggest.draft.cache import cached
from cuesuggest.draft.drafting import draft_file
from cuesuggest.draft.rehearsing import KnownSong
from cuesuggest.song import SetTitle, Song, change
from cuesuggest.sound.recording import Window, open_recording
from tests.sounds import play


@pytest.fixture(scope="session")
def found(rehearsal_as_split):
    return rehearsal_as_split[2]


# What is found.


def test_every_song_is_found_within_two_bars_and_nothing_else(found, rehearsal):
    assert len(found.attempts) == len(rehearsal.attempts)
    for each, (_, first, last, bar) in zip(found.attempts, rehearsal.attempts, strict=True):
        assert each.start == pytest.approx(first, abs=2 * bar)
        assert last - bar < each.end < last + 2 * bar + 3  # the last chord rings


def test_a_false_start_is_no_song_and_is_told_with_the_song_that_follows(found, rehearsal):
    begun, broken = rehearsal.false_start
    ((start, end),) = found.attempts[0].false_starts
    assert (start, end) == (pytest.approx(begun, abs=4.5), pytest.approx(broken, abs=4.5))
    assert [each.false_starts for each in found.attempts[1:]] == [(), ()]


def test_attempts_at_one_song_are_put_together_at_another_tempo(found, rehearsal):
    assert [(each.song, each.number, each.of) for each in found.attempts] == [(1, 1, 2), (2, 1, 1), (1, 2, 2)]
    assert [round(each.analysis.tempo_bpm) for each in found.attempts] == [112, 92, 106]


def test_a_song_has_room_for_its_count_in_and_none_of_the_talk_is_counted(found, rehearsal):
    for each, (_, first, _, bar) in zip(found.attempts, rehearsal.attempts, strict=True):
        assert 0.5 * bar < first - each.window.start < 5 * bar
        opens = next(entry for entry in each.analysis.bars if entry.number == 1)
        assert opens.start == pytest.approx(first, abs=0.07)


def test_the_picture_of_loudness_is_of_one_scale_for_the_whole_recording(found):
    loudest = [max(each.picture) for each in found.attempts]
    assert max(loudest) > 0.7
    assert all(0 <= step <= 1 for each in found.attempts for step in each.picture)
    # The first song begins thin and goes on full.
    first = found.attempts[0].picture
    assert np.mean(first[2:6]) < np.mean(first[8:11])


def test_of_attempts_the_one_with_most_bars_is_the_most_complete_and_of_equal_ones_the_last():
    assert most_complete([0, 1, 0, 0], [20, 9, 32, 32]) == [False, True, False, True]


# What it is made of.


def test_a_part_of_what_was_heard_is_what_listening_to_the_part_gives(rehearsal):
    recording = open_recording(rehearsal.path)
    whole = hear(recording)
    window = Window(28.0, 90.0)
    part, alone = excerpt(whole, 28.0, 90.0), hear(recording, window)
    assert (part.start, part.end) == (alone.start, alone.end)
    inside = slice(5, -5)
    np.testing.assert_allclose(part.bands[inside], alone.bands[inside], atol=0.03)
    np.testing.assert_allclose(part.decibels[inside], alone.decibels[inside], atol=0.1)
    assert part.chroma.shape == alone.chroma.shape
    assert len(part.power) == len(alone.power)
    by_part, by_itself = (analyze_spectrum(each, *_read(each)) for each in (part, alone))
    np.testing.assert_allclose(by_part.beats, by_itself.beats, atol=0.005)


def _read(spectrum):
    return (believed(spectrum)[0],)


def _harmony(rng, bars):
    """Chords of two halves of a bar, each three notes of twelve."""
    chords = np.zeros((bars, 2, 12))
    for bar in range(bars):
        for half in range(2):
            root = rng.integers(12)
            chords[bar, half, [root, (root + 4) % 12, (root + 7) % 12]] = 1
    return chords


def test_a_song_is_like_itself_in_any_key_and_with_a_part_left_out_and_unlike_another():
    rng = np.random.default_rng(3)
    first, other = (_unit(_harmony(rng, 40)) for _ in range(2))
    assert likeness(first, first) == pytest.approx(1, abs=1e-6)
    assert 0.8 < likeness(first, np.roll(first, 2, axis=2)) < 0.95
    assert likeness(first, np.concatenate([first[:12], first[20:]])) > 0.9
    assert likeness(first, other) < 0.4
    assert likeness(first, first[:5]) == 0.0  # too little to say anything


def _unit(chords):
    apart = chords - chords.mean(axis=(0, 1))
    return apart / np.linalg.norm(apart.reshape(len(apart), -1), axis=1)[:, None, None]


def test_attempts_are_gathered_whatever_lies_between_them():
    rng = np.random.default_rng(5)
    first, other = (_unit(_harmony(rng, 40)) for _ in range(2))
    pieces = [(first, 120.0), (other, 90.0), (first[:30], 126.0), (other, 88.0)]
    assert gathered(pieces) == [0, 1, 0, 1]


def test_where_harmony_leaves_it_open_two_pieces_are_laid_on_each_other():
    rng = np.random.default_rng(5)
    first, other = (_unit(_harmony(rng, 40)) for _ in range(2))
    freely = _unit(first + 0.5 * rng.normal(size=first.shape))  # the same song with much of its own
    pieces = [(first, 120.0), (other, 90.0), (freely, 118.0), (first, 121.0)]
    asked = []

    def one_song(i, j):
        asked.append((i, j))
        return True

    assert gathered(pieces) == [0, 1, 2, 0]
    assert gathered(pieces, one_song) == [0, 1, 0, 0]
    assert asked == [(0, 2), (2, 3)]


def test_a_piece_is_the_known_song_that_is_likest_and_where_that_is_open_the_one_that_it_can_be_laid_on():
    rng = np.random.default_rng(5)
    first, other = (_unit(_harmony(rng, 40)) for _ in range(2))
    freely = _unit(first + 0.5 * rng.normal(size=first.shape))
    known, asked = [(other, 90.0), (first, 120.0)], []

    def one_song(k):
        asked.append(k)
        return True

    assert recognised_as((first, 118.0), known, one_song) == 1
    assert asked == []
    assert recognised_as((freely, 118.0), known) is None
    assert recognised_as((freely, 118.0), known, one_song) == 1
    assert recognised_as((freely, 118.0), known, lambda k: False) is None
    assert recognised_as((other, 90.0), [], one_song) is None


def test_an_attempt_that_harmony_leaves_open_is_laid_on_the_known_song_as_far_as_that_is_remembered(found, monkeypatch):
    first = found.attempts[0]
    rng = np.random.default_rng(5)
    harmony = found.harmonies[0]
    freely = _unit(harmony + 0.5 * rng.normal(size=harmony.shape))
    tempo = first.analysis.tempo_bpm
    assert 0.25 < song_likeness((harmony, tempo), (freely, tempo)) < SAME_SONG
    document = Path("harbour.cues.json")
    known = KnownSong(document, "Harbour", freely, tempo, found.recording.sha256, first.window, first.analysis)
    assert rehearsing.recognised(found, [known]) == [known, None, known]
    monkeypatch.setattr(rehearsing, "remembered", lambda *_: None)
    assert rehearsing.recognised(found, [known]) == [None, None, None]


def test_laid_on_each_other_takes_of_one_song_are_told_from_other_sounds_on_the_same_beats(found):
    first, _, again = (
        HeardTake(*cached(found.recording.sha256, each.window)[:2], each.analysis) for each in found.attempts
    )
    assert one_song(first, again)
    rng = np.random.default_rng(7)
    chroma, bands = (rng.permutation(each) for each in (again.spectrum.chroma, again.spectrum.bands))
    assert not one_song(first, replace(again, spectrum=replace(again.spectrum, chroma=chroma, bands=bands)))
    assert not one_song(first, replace(again, analysis=replace(again.analysis, beats=())))


def test_takes_that_are_too_long_to_be_laid_on_each_other_are_not_taken_for_one_song(found, monkeypatch):
    spectrum, logits, _ = cached(found.recording.sha256, found.attempts[0].window)
    take = HeardTake(spectrum, logits, found.attempts[0].analysis)
    assert one_song(take, take)
    monkeypatch.setattr(align, "_MOST_CELLS", len(take.analysis.beats) ** 2 - 1)
    assert not one_song(take, take)


def test_harmony_is_that_of_the_chords_that_sound(tmp_path):
    take = play(tmp_path / "one.wav", "B8 E8")
    spectrum = hear(open_recording(take.path))
    bars = bar_harmony(spectrum, take.downbeats[:-1], take.downbeats[1:])
    assert int(bars[0, 0].argmax()) in (41 % 12, 48 % 12)  # its root or fifth
    assert bars.shape == (16, 2, 12) or bars.shape == (15, 2, 12)


# The command.


def test_the_songs_are_listed_with_times_tempo_loudness_and_a_picture(split_rehearsal):
    output, _ = split_rehearsal
    assert "3 attempts at 2 songs; * has most of its song." in output
    rows = [line for line in output.splitlines() if re.match(r" +[123]  [AB]", line)]
    assert [row.split()[1] for row in rows] == ["A1", "B", "A2"]
    assert re.search(r"A2 \*? +3:20\.\d +4:3\d\.\d +1:1\d +106 +-\d\d\.\d  [▁▂▃▄▅▆▇█]{24}", output)
    assert "false start" in output


def test_a_document_for_each_points_into_the_recording(split_rehearsal, rehearsal):
    output, folder = split_rehearsal
    names = ["thursday-01.cues.json", "thursday-02.cues.json", "thursday-03.cues.json"]
    assert sorted(path.name for path in folder.iterdir()) == names
    songs = [Song.load(folder / name) for name in names]
    assert [song.title for song in songs] == [
        "thursday, song 1, attempt 1", "thursday, song 2", "thursday, song 1, attempt 2"
    ]  # fmt: skip
    length = soundfile.info(rehearsal.path).duration
    for song, (_, first, last, _) in zip(songs, rehearsal.attempts, strict=True):
        assert song.recording.window.start < first < last < song.recording.window.end
        assert song.recording.duration == pytest.approx(length, abs=0.01)
        assert song.cues
    assert "cuesuggest review" in output


def test_what_was_heard_is_remembered_for_each_document(split_rehearsal, monkeypatch):
    from cuesuggest.draft import listening

    monkeypatch.setattr(listening, "hear", lambda *_: pytest.fail("was listened to again"))
    _, folder = split_rehearsal
    document = shutil.copyfile(folder / "thursday-02.cues.json", folder.parent / "again.cues.json")
    song = Song.load(document)
    window = song.recording.window
    heard = listening.listened(open_recording(folder / song.recording.path), Window(window.start, window.end), (), None)
    assert heard == song.analysis


@pytest.fixture
def kept(split_rehearsal, found, rehearsal, monkeypatch, tmp_path):
    """The folder and the recording, copied to be changed; what is in the recording is known already."""
    monkeypatch.setattr(
        rehearsing, "rehearsal_of", lambda path, *_, **__: replace(found, recording=open_recording(path))
    )
    _, folder = split_rehearsal
    shutil.copyfile(rehearsal.path, tmp_path / "thursday.wav")
    for path in folder.iterdir():
        shutil.copyfile(path, tmp_path / path.name)
    for path in tmp_path.glob("*.cues.json"):
        song = Song.load(path)
        moved = change(song, SetTitle(f"My {path.name[:11]}"), by="test")
        moved.replaced(recording=_at(song.recording, "thursday.wav")).save(path, expected_revision=song.revision)
    return tmp_path


def _at(recording, path):
    return replace(recording, path=path)


def test_a_document_that_is_there_stays_as_it_is(kept, run):
    before = {path.name: path.read_bytes() for path in kept.glob("*.cues.json")}
    code, out, _ = run("split", kept / "thursday.wav")
    assert code == 0
    assert out.count("(as it was)") == 3
    assert {path.name: path.read_bytes() for path in kept.glob("*.cues.json")} == before


def test_again_drafts_it_anew_and_keeps_what_was_decided(kept, run):
    code, out, _ = run("split", kept / "thursday.wav", "--again", "--profile", "gentle")
    assert code == 0
    assert "House style: gentle instead of band." in " ".join(out.split())
    songs = [Song.load(path) for path in sorted(kept.glob("*.cues.json"))]
    assert [song.title for song in songs] == ["My thursday-01", "My thursday-02", "My thursday-03"]
    assert {song.profile.name for song in songs} == {"gentle"}


def test_a_name_that_is_somebody_elses_is_passed_over(kept, run, drafted_take):
    (kept / "thursday-02.cues.json").unlink()
    shutil.copyfile(drafted_take, kept / "thursday-02.cues.json")
    others = (kept / "thursday-02.cues.json").read_bytes()
    code, out, _ = run("split", kept / "thursday.wav")
    assert code == 0
    assert "thursday-02-2.cues.json" in out
    assert (kept / "thursday-02.cues.json").read_bytes() == others


def test_each_attempt_is_recognised_among_songs_that_have_documents(kept, run, tmp_path_factory):
    songs = tmp_path_factory.mktemp("known")
    play(songs / "harbour light.wav", "A8 B8 A8 B8", bpm=118)
    play(songs / "ferry.wav", "C8 C8 C8", bpm=140)
    for name in ("harbour light", "ferry"):
        draft_file(songs / f"{name}.wav")
    code, out, _ = run("split", kept / "thursday.wav", "--songs", songs, columns=200)
    assert code == 0
    first = re.search(r"1  is harbour light\. To take its cues along: (.*)", out)[1]
    document = f"'{songs / 'harbour light.cues.json'}'"
    recording = re.escape(str(kept / "thursday.wav"))
    times = r"--from 0:2\d\.\d --to 1:4\d\.\d"
    # In a name of its own, as an attempt's first draft has its name already.
    output = re.escape(f"'{kept / 'thursday-01-harbour light.cues.json'}'")
    assert re.fullmatch(rf"cuesuggest retime {re.escape(document)} {recording} {times} -o {output}", first)
    assert "2  is like none of the songs there." in out
    assert "3  is harbour light" in out


def test_a_folder_with_no_song_to_compare_with_is_told(kept, run, tmp_path_factory):
    nothing = tmp_path_factory.mktemp("nothing")
    for songs in (nothing, kept):  # in the other lie only documents of the same recording
        code, out, _ = run("split", kept / "thursday.wav", "--songs", songs, columns=200)
        assert code == 0
        assert f"There is no song of another recording in {songs} to compare with." in out
        assert "is like none" not in out


def test_audio_is_written_without_loss_and_only_where_nothing_is(kept, run):
    (kept / "thursday-02.flac").write_bytes(b"somebody's")
    code, _, err = run("split", kept / "thursday.wav", "--write-audio")
    assert code == 2
    assert "there already" in err
    assert [(path.name, path.read_bytes()) for path in kept.glob("*.flac")] == [("thursday-02.flac", b"somebody's")]
    code, _, _ = run("--quiet", "split", kept / "thursday.wav", "--write-audio", "--force")
    assert code == 0
    copies = sorted(kept.glob("*.flac"))
    assert [path.name for path in copies] == ["thursday-01.flac", "thursday-02.flac", "thursday-03.flac"]
    whole, rate = soundfile.read(kept / "thursday.wav", dtype="int16")
    for path in copies:
        window = Song.load(path.with_suffix(".cues.json")).recording.window
        part, _ = soundfile.read(path, dtype="int16")
        assert (part == whole[round(window.start * rate) : round(window.end * rate)]).all()


def test_fractions_are_copied_into_a_wav(tmp_path):
    from cuesuggest.sound.parts_copied import copied_part, copy_suffix

    tone = np.sin(np.arange(60_000) / 7).astype(np.float32) * 1.3
    soundfile.write(tmp_path / "float.wav", tone, 22050, subtype="FLOAT")
    recording = open_recording(tmp_path / "float.wav")
    assert copy_suffix(recording) == ".wav"
    (tmp_path / "part.wav").write_bytes(copied_part(recording, Window(1.0, 2.0)))
    np.testing.assert_array_equal(soundfile.read(tmp_path / "part.wav", dtype="float32")[0], tone[22050:44100])


def test_a_screen_without_blocks_gets_plain_signs(monkeypatch):
    class Screen:
        encoding = "latin-1"

    monkeypatch.setattr(splitting.sys, "stdout", Screen())
    assert splitting._drawn((0.0, 0.5, 1.0), splitting._heights(), 24) == "_=#"


def test_where_there_is_no_song_nothing_is_written(tmp_path, run):
    from tests.sounds import RATE, babble

    soundfile.write(tmp_path / "talk.wav", babble(20.0, seed=2), RATE)
    code, out, _ = run("split", tmp_path / "talk.wav", "-o", tmp_path / "songs")
    assert code == 0
    assert "No song was found" in out
    assert list(tmp_path.glob("**/*.cues.json")) == []


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["nowhere.wav"], "nowhere.wav was not found"),
        (["song.cues.json"], "is a document"),
        (["thursday.wav", "--songs", "nowhere"], "is no folder"),
        (["thursday.wav", "-o", "thursday.wav"], "is no folder"),
        (["thursday.wav", "--profile", "nowhere"], "nowhere"),
        (["thursday.wav", "--force"], "--force is for --write-audio"),
    ],
)
def test_what_is_wrong_is_told_before_anything_is_heard(words, said, rehearsal, run, monkeypatch, tmp_path):
    monkeypatch.chdir(tmp_path)
    shutil.copyfile(rehearsal.path, tmp_path / "thursday.wav")
    code, _, err = run("split", *words)
    assert code == 2
    assert said in err


def test_suggest_says_that_there_are_several_songs_and_how_to_split_them(rehearsal, run, tmp_path):
    shutil.copyfile(rehearsal.path, tmp_path / "thursday.wav")
    code, out, _ = run("suggest", tmp_path / "thursday.wav", columns=120)
    assert code == 0
    assert re.search(r"There seem to be [23] songs in this recording", out)
    assert f"cuesuggest split {tmp_path / 'thursday.wav'}" in out


def test_a_song_is_one_song(drafted_take):
    assert songs_seen(Song.load(drafted_take).analysis) == 1
