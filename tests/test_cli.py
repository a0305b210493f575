"""The command line, end to end: what it writes, prints, and says when something is wrong."""

import csv
import io
import json
import os
import shutil
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
import soundfile

from cuesuggest.cli import main
from cuesuggest.review.open_song import OpenSong
from cuesuggest.song import SetCue, Song, change
from cuesuggest.song.edit_types import CueChanges
from tests.sounds import RATE, play


@pytest.fixture(scope="module")
def document(take, tmp_path_factory):
    """A document as `suggest` writes it."""
    target = tmp_path_factory.mktemp("document") / "evening.cues.json"
    words = [sys.executable, "-m", "cuesuggest", "--quiet", "suggest", str(take.path), "-o", str(target)]
    done = subprocess.run(words, capture_output=True, check=True, text=True)
    assert (done.stdout, done.stderr) == ("", "")
    return target


@pytest.fixture
def copied(document, take, tmp_path):
    """Recording and document in a folder of their own."""
    (tmp_path / "evening.wav").write_bytes(take.path.read_bytes())
    (tmp_path / "evening.cues.json").write_bytes(document.read_bytes())
    return tmp_path


def test_suggest_writes_a_document_and_prints_the_list(run, copied):
    (copied / "evening.cues.json").unlink()
    code, out, err = run("suggest", copied / "evening.wav")
    assert (code, err) == (0, "")
    song = Song.load(copied / "evening.cues.json")
    assert song.recording.path == "evening.wav"
    assert song.cues
    assert all(cue.reasons for cue in song.cues)
    assert f"Written: {copied / 'evening.cues.json'}" in out
    for cue in song.cues:
        assert f"{cue.number:>5g}  " in out
    # Lines are wrapped, at hyphens too: each cue has its first reason under it.
    whole = "".join(out.split())
    assert [cue.number for cue in song.cues if "".join(cue.reasons[0].split()) not in whole] == []


def test_every_look_is_set_up_in_the_dark_before_it_comes_in(document):
    cues = Song.load(document).cues
    seen = set()
    for cue in cues:
        if cue.kind == "recall":
            seen.add((cue.side, cue.look))
        if cue.kind in ("fade-in", "crossfade", "cut-in") and cue.look:
            assert (cue.side, cue.look) in seen


def test_a_document_says_which_weights_it_was_heard_with(document):
    from cuesuggest.analysis.rhythm.network import weights_digest

    assert Song.load(document).versions.weights == weights_digest()


def test_list_prints_what_suggest_printed(run, copied):
    code, out, _ = run("list", copied / "evening.cues.json")
    assert code == 0
    assert "Looks to build before rehearsal" in out
    assert "Take care" in out
    assert max(map(len, out.splitlines())) <= 120


def test_export_writes_the_table_beside_the_document(run, copied):
    code, out, _ = run("export", copied / "evening.cues.json", "--to", "csv")
    assert code == 0
    assert str(copied / "evening.cues.csv") in out
    with (copied / "evening.cues.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.reader(file))
    assert len(rows) == 1 + len(Song.load(copied / "evening.cues.json").cues)


def test_export_to_standard_output_is_the_table_alone(run, copied):
    code, out, _ = run("export", copied / "evening.cues.json", "--to", "csv", "-o", "-")
    assert code == 0
    assert len(list(csv.reader(io.StringIO(out, newline="")))) == 1 + len(Song.load(copied / "evening.cues.json").cues)


def test_analyze_writes_the_very_analysis_that_documents_embed(run, copied, document):
    code, out, _ = run("analyze", copied / "evening.wav", "--json", copied / "heard.json")
    assert code == 0
    assert "Form:" in out
    heard = json.loads((copied / "heard.json").read_text(encoding="utf-8"))
    assert heard == json.loads(document.read_text(encoding="utf-8"))["analysis"]


def test_analyze_json_on_standard_output_is_json_alone(run, copied):
    code, out, _ = run("analyze", copied / "evening.wav", "--json", "-")
    assert code == 0
    assert json.loads(out)["meter"] == 4


def test_a_window_is_kept_in_the_document(run, copied):
    code, _, _ = run(
        "suggest", copied / "evening.wav", "--from", "0:20", "--to", "50.5", "-o", copied / "part.cues.json"
    )
    assert code == 0
    song = Song.load(copied / "part.cues.json")
    assert (song.recording.window.start, song.recording.window.end) == (20.0, 50.5)
    assert song.recording.duration == Song.load(copied / "evening.cues.json").recording.duration
    assert all(20 <= beat <= 50.5 for beat in song.analysis.beats)


def test_a_draft_nobody_has_touched_is_replaced(run, copied):
    code, _, _ = run("--quiet", "suggest", copied / "evening.wav")
    assert code == 0
    assert Song.load(copied / "evening.cues.json").revision == 1


def test_a_second_run_keeps_what_was_decided_and_tells(run, copied):
    song = Song.load(copied / "evening.cues.json")
    first = song.cues[0].id
    change(song, SetCue(first, CueChanges(status="accepted")), by="test").save(copied / "evening.cues.json")
    code, out, err = run("suggest", copied / "evening.wav", "--profile", "gentle")
    assert (code, err) == (0, "")
    assert "House style: gentle instead of band." in out
    assert "Kept as you decided: 1 accepted." in out
    after = Song.load(copied / "evening.cues.json")
    assert (after.cues[0].id, after.cues[0].status, after.profile.name) == (first, "accepted", "gentle")


def test_a_document_is_run_again_from_its_recording_with_its_own_settings(run, copied):
    run("--quiet", "suggest", copied / "evening.wav", "--profile", "gentle", "--to", "50.5")
    before = Song.load(copied / "evening.cues.json")
    code, _, err = run("--quiet", "suggest", copied / "evening.cues.json")
    assert (code, err) == (0, "")
    assert Song.load(copied / "evening.cues.json") == before.replaced(revision=before.revision + 1)


def test_a_document_without_its_recording_says_so(run, copied):
    run("--quiet", "suggest", copied / "evening.wav")
    (copied / "evening.wav").unlink()
    code, _, err = run("suggest", copied / "evening.cues.json")
    assert code == 2
    assert "evening.wav" in err


@pytest.fixture
def reviewed(copied):
    """The copied document with one decision, and its recording's samples."""
    document = copied / "evening.cues.json"
    song = Song.load(document)
    entry = next(cue for cue in song.cues if cue.kind in ("fade-in", "cut-in"))
    change(song, SetCue(entry.id, CueChanges(status="accepted")), by="test").save(document)
    return document, entry, soundfile.read(copied / "evening.wav", dtype="float32")[0]


def test_the_same_sound_in_another_file_with_more_silence_is_no_question(run, copied, reviewed):
    document, entry, samples = reviewed
    soundfile.write(copied / "evening.wav", np.concatenate([np.zeros(2 * RATE, "f4"), samples]), RATE)
    code, out, err = run("suggest", copied / "evening.wav")
    assert (code, err) == (0, "")
    assert "another file with the same sound, 2.0 s later" in out
    kept = next(cue for cue in Song.load(document).cues if cue.id == entry.id)
    assert kept.status == "accepted"
    assert kept.place.seconds == pytest.approx(entry.place.seconds + 2, abs=0.05)


def test_another_sound_is_asked_about_before_decisions_are_carried_over(run, copied, reviewed, tmp_path):
    document, entry, _ = reviewed
    play(copied / "evening.wav", "A8 B8 B8 A8 B8 B8", bpm=126)
    before = document.read_bytes()
    code, _, err = run("suggest", copied / "evening.wav")
    assert code == 2
    assert "--carry-over" in err
    assert document.read_bytes() == before
    code, out, err = run("suggest", copied / "evening.wav", "--carry-over")
    assert (code, err) == (0, "")
    assert "another sound" in out
    song = Song.load(document)
    assert entry.id in {cue.id for cue in song.cues} | {each.cue.id for each in song.unplaced}


def test_one_bad_recording_of_several_does_not_stop_the_others(run, copied):
    (copied / "evening.cues.json").unlink()
    code, _, err = run("suggest", copied / "missing.wav", copied / "evening.wav")
    assert code == 1
    assert "missing.wav" in err
    assert (copied / "evening.cues.json").exists()


def bad_recordings(folder: Path) -> None:
    (folder / "text.wav").write_text("no sound at all")
    (folder / "empty.wav").write_bytes(b"")
    (folder / "folder.wav").mkdir()
    soundfile.write(folder / "short.wav", np.full(RATE // 2, 0.1, np.float32), RATE)
    (folder / "torn.flac").write_bytes(b"fLaC\x00\x00\x00\x22" + bytes(10))


@pytest.mark.parametrize(
    ("name", "says"),
    [
        ("missing.wav", "was not found"),
        ("text.wav", "is not audio"),
        ("empty.wav", "is empty"),
        ("folder.wav", "is a folder"),
        ("short.wav", "0.50 s"),
        ("torn.flac", "is not audio"),
    ],
)
@pytest.mark.parametrize("command", ["suggest", "analyze"])
def test_a_bad_recording_is_said_in_a_sentence_and_nothing_is_left(run, tmp_path, command, name, says):
    bad_recordings(tmp_path)
    before = sorted(tmp_path.iterdir())
    code, out, err = run(command, tmp_path / name)
    assert (code, out) == (2, "")
    assert says in err
    assert name in err
    assert "Traceback" not in err
    assert sorted(tmp_path.iterdir()) == before


def test_a_truncated_recording_gives_a_document_of_what_is_there(run, take, tmp_path):
    data = take.path.read_bytes()
    (tmp_path / "cut.wav").write_bytes(data[: len(data) * 2 // 3])
    code, _, _ = run("--quiet", "suggest", tmp_path / "cut.wav")
    assert code == 0
    assert Song.load(tmp_path / "cut.cues.json").analysis.duration < 65


def test_silence_gives_a_document_that_says_no_music(run, tmp_path):
    soundfile.write(tmp_path / "silence.wav", np.zeros(RATE * 5, np.float32), RATE)
    code, out, _ = run("suggest", tmp_path / "silence.wav")
    assert code == 0
    assert "No music was found from 0.0 s to 5.0 s." in out
    song = Song.load(tmp_path / "silence.cues.json")
    assert (song.analysis.music_start, song.cues) == (None, ())


@pytest.mark.parametrize(
    ("content", "says"),
    [
        ("{", "line 1"),
        ('{"format": "something else"}', "not a song document"),
        ('{"format": "cuesuggest-song", "version": 2}', "newer"),
        ('{"format": "cuesuggest-song", "version": 1}', "title"),
    ],
)
@pytest.mark.parametrize("words", [["list"], ["export", "--to", "csv"]])
def test_a_broken_or_newer_document_is_said_in_a_sentence(run, tmp_path, words, content, says):
    (tmp_path / "song.cues.json").write_text(content)
    code, out, err = run(*words, tmp_path / "song.cues.json")
    assert (code, out) == (2, "")
    assert says in err
    assert "Traceback" not in err
    assert [path.name for path in tmp_path.iterdir()] == ["song.cues.json"]


def test_a_document_that_is_something_else_is_not_overwritten_by_suggest(run, copied):
    (copied / "evening.cues.json").write_text("my own notes")
    code, _, err = run("suggest", copied / "evening.wav")
    assert code == 2
    assert "evening.cues.json" in err
    assert (copied / "evening.cues.json").read_text() == "my own notes"


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["suggest", "x.wav", "--from", "two"], "is no time"),
        (["suggest", "x.wav", "--profile", "nonesuch"], "band"),
        (["suggest", "x.wav", "--rig", "nowhere.toml"], "nowhere.toml"),
        (["suggest"], "FILE"),
        (["export", "x.cues.json", "--to", "nonesuch"], "was not found"),
        (["nonesuch"], "nonesuch"),
    ],
)
def test_wrong_words_end_with_2_and_an_explanation(run, words, says, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    code, _, err = run(*words)
    assert code == 2
    assert says in err
    assert "Traceback" not in err


def test_from_after_to_is_refused(run, copied):
    code, _, err = run("suggest", copied / "evening.wav", "--from", "50", "--to", "20")
    assert code == 2
    assert "--to" in err


def test_an_unknown_format_names_those_there_are(run, copied):
    code, _, err = run("export", copied / "evening.cues.json", "--to", "nonesuch")
    assert code == 2
    assert "csv" in err


def test_a_folder_that_is_not_there_is_named_and_nothing_is_left(run, copied):
    code, _, err = run("suggest", copied / "evening.wav", "-o", copied / "nowhere" / "a.cues.json")
    assert code == 2
    assert "nowhere" in err


def test_debug_shows_the_trace(run, tmp_path, monkeypatch):
    monkeypatch.setattr(sys, "argv", ["cuesuggest", "--debug", "suggest", str(tmp_path / "missing.wav")])
    with pytest.raises(Exception, match="was not found"):
        main()


def test_quiet_may_stand_before_or_behind_the_command(run, copied):
    for words in (["--quiet", "export"], ["export", "--quiet"]):
        code, out, _ = run(*words, copied / "evening.cues.json", "--to", "csv", "--force")
        assert (code, out) == (0, "")


def test_version_is_told(run):
    code, out, _ = run("--version")
    assert code == 0
    assert "0.1.0" in out


def test_a_name_that_the_system_does_not_take_is_told(run):
    code, out, err = run("suggest", "x" * 300 + ".wav")
    assert (code, out) == (2, "")
    assert "file name too long. Choose a shorter name" in err


def test_a_document_reached_by_a_link_finds_its_recording(run, drafted_take, take, tmp_path):
    (tmp_path / "set").mkdir()
    (tmp_path / "desk").mkdir()
    shutil.copy(drafted_take, tmp_path / "set" / "evening.cues.json")
    shutil.copy(take.path, tmp_path / "set" / "evening.wav")
    link = tmp_path / "desk" / "tonight.cues.json"
    link.symlink_to(tmp_path / "set" / "evening.cues.json")
    assert run("correct", link, "--half")[0] == 0
    assert run("suggest", link)[0] == 0
    assert run("export", link, "--to", "markers", "-o", tmp_path / "desk")[0] == 0
    opened = OpenSong(link)
    assert opened.sound()[1] == ""
    opened.close()
    assert link.is_symlink()


@pytest.mark.skipif(sys.platform != "linux", reason="names of files are text here")
def test_names_that_are_no_text_are_told_or_shown_in_their_bytes(run, document, take, tmp_path):
    odd = os.fsdecode(b"caf\xe9")
    shutil.copy(take.path, tmp_path / f"{odd}.wav")
    shutil.copy(document, tmp_path / f"{odd}.cues.json")
    for words in (["suggest", tmp_path / f"{odd}.wav"], ["analyze", tmp_path / f"{odd}.wav"]):
        code, _, err = run(*words)
        assert (code != 0, "is not UTF-8. Rename it" in err, "unforeseen" in err) == (True, True, False)
    code, out, _ = run("export", tmp_path / f"{odd}.cues.json", "--to", "csv")
    assert (code, "caf\\xe9.cues.csv" in out) == (0, True)
    (tmp_path / odd).mkdir()
    shutil.copy(take.path, tmp_path / odd / "evening.wav")
    code, _, err = run("suggest", tmp_path / odd, "-o", tmp_path)
    assert (code != 0, "is not UTF-8. Rename it" in err, "unforeseen" in err) == (True, True, False)
