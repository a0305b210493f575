"""Several songs in one go: what is told, what a stop leaves, and how a second start goes on."""

import contextlib
import os
import re
import shutil
import signal
import subprocess
import sys
import time

import pytest

from cuesuggest.cli import main
from cuesuggest.cli.batch import LAST_STEP, usable_jobs
from cuesuggest.draft.drafting import draft_file
from cuesuggest.song import SetCue, Song, change
from cuesuggest.song.edit_types import CueChanges
from tests.sounds import play

posix = pytest.mark.skipif(os.name != "posix", reason="signals and terminals as POSIX has them")
COMMAND = [sys.executable, "-m", "cuesuggest", "suggest"]


@pytest.fixture(scope="module")
def wave(tmp_path_factory):
    """A quarter of a minute of a band, as the bytes of a WAV file."""
    return play(tmp_path_factory.mktemp("wave") / "song.wav", "A4 B4", bpm=150).path.read_bytes()


@pytest.fixture
def folder(tmp_path, wave):
    """A folder with three songs."""
    folder = tmp_path / "evening"
    folder.mkdir()
    for name in ("embers.wav", "paper boats.wav", "[tin] roof.wav"):
        (folder / name).write_bytes(wave)
    return folder


@pytest.fixture
def suggest(monkeypatch, capfd):
    """Run `suggest`; gives its exit code, the lines of its output, and its errors."""

    def suggest(*words):
        monkeypatch.setattr(sys, "argv", ["cuesuggest", "suggest", *map(str, words)])
        with pytest.raises(SystemExit) as ended:
            main()
        out, err = capfd.readouterr()
        return ended.value.code, out.splitlines(), err

    return suggest


def names(folder):
    return sorted(path.name for path in folder.iterdir())


def documents(folder):
    return {path.name: path.read_bytes() for path in folder.glob("*.cues.json")}


# The command


def test_each_song_is_a_line_and_a_document_as_if_alone(suggest, folder):
    for song in folder.glob("*.wav"):
        assert suggest(song)[0] == 0
    alone = documents(folder)
    for document in folder.glob("*.json"):
        document.unlink()
    code, lines, err = suggest(*folder.glob("*.wav"), "-j", "2")
    assert (code, err) == (0, "")
    assert documents(folder) == alone
    assert lines.pop() == "3 songs: 3 written"
    song = Song.load(folder / "embers.cues.json")
    assert f"embers.wav: 8 bars, {len(song.cues)} cues, 0 questions -> embers.cues.json" in lines
    assert sorted(line.split(":")[0] for line in lines) == ["[tin] roof.wav", "embers.wav", "paper boats.wav"]


def test_what_is_done_is_passed_over_until_asked_for_again(suggest, folder):
    assert suggest(folder)[0] == 0
    before = documents(folder)
    stamps = [path.stat().st_mtime_ns for path in sorted(folder.iterdir())]
    # The shell's DIR/* names the documents too: each is the same song as its recording.
    for words in ([folder], sorted(folder.iterdir())):
        code, lines, _ = suggest(*words)
        assert code == 0
        assert "embers.wav: already done (embers.cues.json)" in lines
        assert lines[-1] == "3 songs: 3 already done"
    assert (documents(folder), [path.stat().st_mtime_ns for path in sorted(folder.iterdir())]) == (before, stamps)
    (folder / "embers.cues.json").unlink()
    assert suggest(folder)[1][-1] == "3 songs: 1 written, 2 already done"
    assert suggest(folder, "--again")[1][-1] == "3 songs: 3 written"


def test_other_settings_make_a_song_undone(suggest, folder):
    assert suggest(folder)[0] == 0
    assert suggest(folder, "--to", "10")[1][-1] == "3 songs: 3 written"
    assert Song.load(folder / "embers.cues.json").recording.window.end == 10.0
    code, lines, _ = suggest(folder, "--profile", "gentle")
    assert (code, lines[-1]) == (0, "3 songs: 3 written")
    assert lines[lines.index("  House style: gentle instead of band.") - 1].startswith("[tin] roof.wav: ")


def test_one_broken_recording_stops_no_other_and_is_told_last(suggest, folder):
    (folder / "[tin] roof.wav").write_text("no sound at all")
    code, lines, err = suggest(folder)
    assert code == 1
    assert err.startswith(f"cuesuggest: {folder / '[tin] roof.wav'} is not audio that can be decoded. ")
    assert err.count("\n") == 1
    assert lines[-1] == "3 songs: 2 written, 1 failed"
    assert sorted(documents(folder)) == ["embers.cues.json", "paper boats.cues.json"]


def test_quiet_leaves_errors_alone_and_nothing_done_ends_with_2(suggest, folder):
    for song in folder.iterdir():
        song.write_bytes(b"")
    code, lines, err = suggest(folder, "--quiet")
    assert (code, lines) == (2, [])
    assert err.count("is empty") == 3
    assert not documents(folder)


def test_what_nobody_foresaw_fails_its_song_alone_and_debug_shows_where(suggest, folder, monkeypatch):
    def stumbles(recording, *given, **words):
        return 1 / 0 if recording.name == "embers.wav" else draft_file(recording, *given, **words)

    monkeypatch.setattr("cuesuggest.draft.drafting.draft_file", stumbles)
    code, lines, err = suggest(folder)
    assert (code, lines[-1]) == (1, "3 songs: 2 written, 1 failed")
    assert f"{folder / 'embers.wav'}: something unforeseen went wrong (ZeroDivisionError: division by zero)" in err
    assert "Traceback" not in err
    assert "in stumbles" in suggest(folder, "--debug")[2]


def test_recordings_that_differ_only_in_their_ending_get_documents_of_their_whole_names(suggest, folder, wave):
    (folder / "embers.flac").write_bytes(b"no sound at all")
    (folder / "embers.aiff").write_bytes(wave)
    for words in ([folder], sorted(folder.iterdir(), reverse=True)):
        code, lines, err = suggest(*words)
        assert (code, err.count("\n")) == (1, 1)
        assert "embers.flac is not audio" in err
        assert sorted(documents(folder)) == [
            "[tin] roof.cues.json", "embers.aiff.cues.json", "embers.wav.cues.json", "paper boats.cues.json",
        ]  # fmt: skip
    assert lines[-1] == "5 songs: 4 already done, 1 failed"
    assert any(line == "embers.wav: already done (embers.wav.cues.json)" for line in lines)
    assert suggest(folder / "embers.wav")[0] == 0
    assert sorted(documents(folder))[3:] == ["paper boats.cues.json"]


def test_a_document_that_is_there_stays_with_its_recording_when_another_of_its_name_comes(suggest, folder, wave):
    assert suggest(folder / "embers.wav")[0] == 0
    before = documents(folder)
    (folder / "embers.aiff").write_bytes(wave + b"\0")
    code, lines, _ = suggest(folder / "embers.aiff", folder / "embers.wav")
    assert (code, lines[-1]) == (0, "2 songs: 1 written, 1 already done")
    assert documents(folder).keys() == {"embers.cues.json", "embers.aiff.cues.json"}
    assert documents(folder)["embers.cues.json"] == before["embers.cues.json"]
    assert Song.load(folder / "embers.aiff.cues.json").recording.path == "embers.aiff"


def test_a_document_of_a_whole_name_is_not_that_of_another_recording(suggest, folder, wave):
    (folder / "embers.wav.aiff").write_bytes(wave)
    assert suggest(folder / "embers.wav.aiff")[0] == suggest(folder / "embers.wav")[0] == 0
    assert documents(folder).keys() == {"embers.wav.cues.json", "embers.cues.json"}
    assert Song.load(folder / "embers.wav.cues.json").recording.path == "embers.wav.aiff"


def test_two_songs_for_one_document_are_refused_before_anything_runs(suggest, folder, tmp_path):
    other = tmp_path / "other"
    other.mkdir()
    (other / "embers.wav").write_bytes(b"")
    code, lines, err = suggest(folder / "embers.wav", other / "embers.wav", "-o", tmp_path)
    assert (code, lines) == (2, [])
    assert f"{folder / 'embers.wav'} and {other / 'embers.wav'} would both be written to {tmp_path}" in err
    assert names(tmp_path) == ["evening", "other"]


def test_a_place_where_nothing_can_be_saved_is_told_before_anything_is_heard(suggest, folder, monkeypatch):
    def hears(*_):
        raise AssertionError("the recording was opened")

    monkeypatch.setattr("cuesuggest.draft.drafting.open_recording", hears)
    for place, says in [
        (folder / "none" / "a.cues.json", "There is no folder"),
        (folder / ("x" * 300), "file name too long"),
    ]:
        code, _, err = suggest(folder / "embers.wav", "-o", place)
        assert code == 2
        assert says in err
    long = folder / f"{'x' * 250}.wav"
    long.write_bytes(b"RIFF")
    assert "file name too long" in suggest(long)[2]


def test_a_song_named_twice_is_drafted_once(suggest, folder):
    code, lines, _ = suggest(folder / "embers.wav", folder / ".." / "evening" / "embers.wav")
    assert (code, lines[-1]) == (0, "1 song: 1 written")


def test_documents_go_to_a_folder_that_is_there(suggest, folder, tmp_path):
    (tmp_path / "lists").mkdir()
    code, lines, _ = suggest(folder, "-o", tmp_path / "lists")
    assert code == 0
    assert len(documents(tmp_path / "lists")) == 3
    assert any(line.endswith(f"-> {tmp_path / 'lists' / 'embers.cues.json'}") for line in lines)
    assert suggest(folder, "-o", tmp_path / "nowhere")[0] == 2


def test_a_folder_is_its_recordings_without_hidden_files_and_folders(suggest, folder, wave):
    for name in ("._embers.wav", "notes.txt", "cover.jpg"):
        (folder / name).write_bytes(b"not to be opened")
    (folder / "stems.wav").mkdir()
    (folder / "LOUD.WAV").write_bytes(wave)
    code, lines, _ = suggest(folder)
    assert (code, lines[-1]) == (0, "4 songs: 4 written")
    assert "LOUD.cues.json" in names(folder)
    code, _, err = suggest(folder / "stems.wav")
    assert code == 2
    assert "is a folder without recordings" in err


def test_jobs_are_at_least_one_and_at_most_songs_or_cores(suggest, folder, monkeypatch):
    assert suggest(folder, "-j", "0")[0] == 2
    monkeypatch.setattr(os, "sched_getaffinity", lambda process: {0, 1, 2, 3}, raising=False)
    assert [usable_jobs(asked, 9) for asked in (1, 3, 64)] == [1, 3, 4]
    assert usable_jobs(4, 2) == 2


# Stopping


@pytest.fixture
def kept(tmp_path_factory, monkeypatch):
    """An empty folder for what was heard, so that songs have to be listened to."""
    folder = tmp_path_factory.mktemp("kept")
    monkeypatch.setenv("CUESUGGEST_CACHE", str(folder))
    return folder


@posix
@pytest.mark.parametrize(("jobs", "number"), [(1, signal.SIGTERM), (2, signal.SIGINT)])
def test_a_stop_leaves_whole_documents_and_a_second_start_goes_on(tmp_path, wave, jobs, number, kept):
    songs = [tmp_path / f"song {k}.wav" for k in range(5)]
    for k, song in enumerate(songs):
        song.write_bytes(wave + bytes([k]))  # each another file, so that none is known from another
    words = [*COMMAND, str(tmp_path), "-j", str(jobs)]
    # A group of its own, as a terminal gives it: Ctrl-C reaches the workers as well.
    with subprocess.Popen(words, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, process_group=0) as process:
        wait_until(lambda: documents(tmp_path))
        os.killpg(process.pid, number)
        out, err = process.communicate(timeout=60)

    first = {path: path.stat().st_mtime_ns for path in tmp_path.glob("*.cues.json")}
    for path in first:
        Song.load(path)
    assert 0 < len(first) < 5
    assert names(tmp_path) == sorted([song.name for song in songs] + [path.name for path in first])
    assert all(path.suffix == ".npz" for path in kept.iterdir())
    assert process.returncode == 1
    assert f"Stopped. 5 songs: {len(first)} written; not done: " in err
    assert all((song.with_suffix(".cues.json") in first) != (song.name in err) for song in songs)
    assert "The same command goes on from there." in err
    assert "Traceback" not in out + err

    done = subprocess.run(words, capture_output=True, text=True, check=True)
    assert done.stdout.splitlines()[-1] == f"5 songs: {5 - len(first)} written, {len(first)} already done"
    assert len(documents(tmp_path)) == 5
    assert all(path.stat().st_mtime_ns == stamp for path, stamp in first.items())


@posix
def test_a_stop_before_anything_is_written_ends_with_2(tmp_path, take, kept):
    for name in ("embers.wav", "tin roof.wav"):
        shutil.copyfile(take.path, tmp_path / name)
    shown, code = on_a_terminal([*COMMAND, str(tmp_path)], stop_at="listening")
    assert code == 2
    assert "Stopped. 2 songs: none done; not done: embers.wav, tin roof.wav." in shown
    assert names(tmp_path) == ["embers.wav", "tin roof.wav"]


def test_the_step_after_which_a_stop_waits_is_the_last_before_the_document_is_written(folder):
    for _ in ("a new document", "one that is there"):
        there, told = here(folder), []
        draft_file(folder / "embers.wav", step=lambda doing, _, told=told: told.append((doing, here(folder))))
        assert told[-1] == (LAST_STEP, there)


def here(folder):
    return names(folder), documents(folder)


def wait_until(true, seconds=60):
    end = time.monotonic() + seconds
    while not true():
        assert time.monotonic() < end, "it does not come about"
        time.sleep(0.005)


# On a terminal


@posix
def test_a_terminal_shows_a_bar_for_each_song_that_runs_and_one_for_all(folder, kept):
    (folder / "embers.wav").write_bytes(b"")
    # Long enough that the empty file beside it is told first, however slowly its process starts.
    play(folder / "[tin] roof.wav", "A8 B8 " * 12)
    shown, code = on_a_terminal([*COMMAND, str(folder), "-j", "2"])
    assert code == 1
    for name in ("paper boats.wav", "[tin] roof.wav"):
        assert re.search(rf"{re.escape(name)} +.*(starting|listening|beats and bars)", shown), name
    for doing in ("0 of 3", "1 of 3, 1 failed", "2 of 3, 1 failed"):
        assert re.search(rf"all songs +.*{doing}", shown), doing
    after = shown[shown.rindex("3 songs:") :]
    assert after.startswith("3 songs: 2 written, 1 failed")
    assert "embers.wav is empty" in after
    assert re.search(r"paper boats\.wav: 8 bars, \d+ cues, 0 questions -> paper boats\.cues\.json", shown)


@posix
def test_a_terminal_is_asked_before_decisions_are_carried_over_to_another_sound(suggest, folder):
    recording, document = folder / "embers.wav", folder / "embers.cues.json"
    assert suggest(recording)[0] == 0
    song = Song.load(document)
    change(song, SetCue(song.cues[0].id, CueChanges(note="watch the singer")), by="test").save(document)
    before = document.read_bytes()
    play(recording, "B4 A4", bpm=120)
    shown, code = on_a_terminal([*COMMAND, str(recording)], answer="n\n")
    assert (code, document.read_bytes()) == (2, before)
    assert "Carry the decisions over? [y/N]" in shown
    assert "Nothing was written." in shown
    shown, code = on_a_terminal([*COMMAND, str(recording)], answer="y\n")
    assert code == 0
    assert f"Written: {document}" in shown
    assert "watch the singer" in document.read_text(encoding="utf-8")


def on_a_terminal(words, *, answer="", stop_at=None):
    """Run a command on a terminal of its own, 100 columns wide.

    `answer` is typed ahead. When `stop_at` appears, the command and its workers get what Ctrl-C sends. Gives all that
    appeared, without controls, and the exit code.
    """
    import fcntl
    import pty
    import struct
    import termios

    ours, theirs = pty.openpty()
    fcntl.ioctl(theirs, termios.TIOCSWINSZ, struct.pack("HHHH", 30, 100, 0, 0))
    surroundings = {**os.environ, "TERM": "xterm"}
    with subprocess.Popen(
        words, stdin=theirs, stdout=theirs, stderr=theirs, env=surroundings, start_new_session=True
    ) as process:
        os.close(theirs)
        os.write(ours, answer.encode())
        shown = b""
        with contextlib.suppress(OSError):  # The terminal closes with its last program.
            while part := os.read(ours, 65536):
                shown += part
                if stop_at and stop_at.encode() in shown:
                    os.killpg(process.pid, signal.SIGINT)
                    stop_at = None
        os.close(ours)
    return re.sub(r"\x1b\[[0-9;?]*[a-zA-Z]", "", shown.decode()), process.returncode
