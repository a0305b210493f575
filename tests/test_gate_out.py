"""The one gate out: what a command writes destroys nothing that it was not told to, and feeds what reads at once."""

import errno
import json
import os
import shutil
import stat
import subprocess
import sys
import threading
from dataclasses import replace
from pathlib import Path

import pytest

from cuesuggest.errors import CuesuggestError
from cuesuggest.gate_out import check_targets, write_all
from cuesuggest.rules import load_rig
from cuesuggest.song import Settings, Song
from tests.songs import make_song

ROOT = Path(__file__).parent.parent
posix = pytest.mark.skipif(os.name != "posix", reason="pipes, devices and links as POSIX has them")


@pytest.fixture
def song(tmp_path, take):
    """A recording and a document about it, each with a link and a hard link in another folder."""
    shutil.copyfile(take.path, tmp_path / "evening.wav")
    made = make_song("A8 B8 A8", rig=Settings("example", load_rig(None).values()))
    made.replaced(recording=replace(made.recording, path="evening.wav")).save(tmp_path / "evening.cues.json")
    (tmp_path / "other").mkdir()
    for name in ("evening.wav", "evening.cues.json"):
        (tmp_path / "other" / f"link-{name}").symlink_to(tmp_path / name)
        (tmp_path / "other" / f"hard-{name}").hardlink_to(tmp_path / name)
    return tmp_path / "evening.cues.json"


def whole(folder):
    return {path: path.read_bytes() for path in folder.rglob("*") if path.is_file()}


def names(folder):
    return sorted(path.name for path in folder.iterdir())


@pytest.fixture
def deaf(monkeypatch):
    """A program that never gets so far as to listen."""

    def hears(*_, **__):
        raise AssertionError("the recording was listened to")

    monkeypatch.setattr("cuesuggest.draft.listening.analyze", hears)
    monkeypatch.setattr("cuesuggest.draft.drafting.kit_for", hears)


OWN = [
    f"{folder}{kind}evening.{ending}"
    for ending in ("wav", "cues.json")
    for folder, kind in (("", ""), ("other/", "link-"), ("other/", "hard-"), ("other/../", ""))
]


@posix
@pytest.mark.usefixtures("deaf")
@pytest.mark.parametrize("own", OWN)
def test_no_command_ever_writes_over_the_recording_or_the_document_it_works_from(run, song, own):
    folder = song.parent
    before = whole(folder)
    for words in (
        ["analyze", folder / "evening.wav", "--json", folder / own, "--force"],
        ["suggest", folder / "evening.wav", "--kit", "-o", folder / own, "--force"],
        ["suggest", song, "--kit", "-o", folder / own, "--force"],
        ["export", song, "--to", "midi", "-o", folder / own, "--force"],
        ["map", song, "-o", folder / own, "--force"],
    ):
        code, out, err = run(*words)
        if words[0] == "suggest" and own.endswith(".cues.json"):
            # A document's name given for a kit means the text beside it.
            assert code != 0
            continue
        assert (code, out) == (2, ""), words
        assert "what is worked from, and is never written over" in err
        assert "Traceback" not in err
    assert whole(folder) == before


@pytest.mark.usefixtures("deaf")
def test_nor_the_settings_or_the_map_that_it_reads(run, song):
    folder = song.parent
    for name in ("mine.toml", "desk.toml"):
        (folder / name).write_text('based_on = "band"\n' if name == "mine.toml" else "")
    before = whole(folder)
    for words in (
        ["suggest", folder / "evening.wav", "--kit", "--profile", folder / "mine.toml", "-o", folder / "mine.toml"],
        ["suggest", folder / "evening.wav", "--kit", "--rig", folder / "mine.toml", "-o", folder / "mine.toml"],
        ["export", song, "--to", "midi", "--map", folder / "desk.toml", "-o", folder / "desk.toml"],
    ):
        assert "worked from" in run(*words, "--force")[2]
    assert whole(folder) == before


@pytest.mark.usefixtures("deaf")
@pytest.mark.parametrize(
    "words", [["analyze", "evening.wav", "--json"], ["suggest", "evening.wav", "--kit", "-o"]], ids=["analyze", "kit"]
)
def test_what_else_is_there_is_kept_unless_forced_and_that_is_told_before_the_listening(run, song, monkeypatch, words):
    monkeypatch.chdir(song.parent)
    Path("notes.txt").write_text("mine")
    code, _, err = run(*words, "notes.txt")
    assert code == 2
    assert "notes.txt is there already; nothing was written. Choose another place, or replace with --force" in (
        " ".join(err.split())
    )
    assert Path("notes.txt").read_text() == "mine"


def test_with_force_it_is_replaced_and_keeps_its_permissions(run, song):
    notes = song.with_name("notes.json")
    notes.write_text("mine")
    notes.chmod(0o600)
    assert run("analyze", song.with_name("evening.wav"), "--json", notes, "--force")[0] == 0
    assert json.loads(notes.read_text(encoding="utf-8"))["beats"]
    assert stat.S_IMODE(notes.stat().st_mode) == 0o600


def test_force_without_a_kit_is_a_word_too_many(run, song):
    code, _, err = run("suggest", song.with_name("evening.wav"), "--force")
    assert code == 2
    assert "--force is for --kit" in err


@pytest.mark.usefixtures("deaf")
@pytest.mark.parametrize(
    "words", [["analyze", "evening.wav", "--json"], ["suggest", "evening.wav", "--kit", "-o"]], ids=["analyze", "kit"]
)
def test_a_place_where_nothing_can_be_written_is_told_before_the_listening(run, song, monkeypatch, words):
    monkeypatch.chdir(song.parent)
    before = whole(song.parent)
    for target, says in [("none/a.json", "There is no folder"), ("x" * 300, "file name too long")]:
        code, out, err = run(*words, target)
        assert (code, out) == (2, "")
        assert says in err
    real = os.open

    def read_only(name, flags, *mode, **words):
        if flags & os.O_CREAT:
            raise OSError(errno.EROFS, "Read-only file system")
        return real(name, flags, *mode, **words)

    with monkeypatch.context() as patch:
        patch.setattr(os, "open", read_only)
        code, _, err = run(*words, "a.json")
    assert (code, "a.json cannot be written: read-only file system" in err) == (2, True)
    assert whole(song.parent) == before


def test_a_folder_is_no_place_for_one_file(run, song):
    for words in (["analyze", song.with_name("evening.wav"), "--json"],):
        code, _, err = run(*words, song.parent / "other", "--force")
        assert (code, "is a folder" in err) == (2, True)


def test_a_write_protected_file_is_not_replaced_even_with_force(run, song):
    there = song.with_name("a.mid")
    there.write_text("mine")
    there.chmod(0o444)
    code, _, err = run("export", song, "--to", "midi", "-o", there, "--force")
    assert (code, "is write-protected" in err, there.read_text()) == (2, True, "mine")


@posix
def test_a_link_stays_a_link_and_what_it_leads_to_is_replaced(run, song):
    there, link = song.with_name("a.mid"), song.with_name("today.mid")
    there.write_bytes(b"old")
    link.symlink_to(there)
    assert run("export", song, "--to", "midi", "-o", link)[0] == 2
    assert there.read_bytes() == b"old"
    assert run("export", song, "--to", "midi", "-o", link, "--force")[0] == 0
    assert link.is_symlink()
    assert there.read_bytes().startswith(b"MThd")


@posix
def test_a_link_to_nothing_is_followed_too(run, song):
    link = song.with_name("today.mid")
    link.symlink_to(song.with_name("a.mid"))
    assert run("export", song, "--to", "midi", "-o", link)[0] == 0
    assert link.is_symlink()
    assert song.with_name("a.mid").read_bytes().startswith(b"MThd")


@posix
@pytest.mark.parametrize("force", [[], ["--force"]], ids=["plain", "forced"])
def test_a_pipe_feeds_its_reader(run, song, force):
    pipe = song.with_name("pipe")
    os.mkfifo(pipe)
    read = []
    reader = threading.Thread(target=lambda: read.append(pipe.read_bytes()))
    reader.start()
    code, out, _ = run("export", song, "--to", "midi", "-o", pipe, *force)
    reader.join(10)
    assert (code, out.splitlines()[0]) == (0, f"Written: {pipe}")
    assert read[0].startswith(b"MThd")
    assert stat.S_ISFIFO(pipe.stat().st_mode)


@posix
def test_a_device_is_written_to_and_stays_one(run, song):
    link = song.with_name("nowhere")
    link.symlink_to("/dev/null")  # a link, or a program that is wrong would replace the machine's own
    assert run("export", song, "--to", "midi", "-o", link, "--force")[0] == 0
    assert link.is_symlink()
    assert stat.S_ISCHR(link.stat().st_mode)
    full = song.with_name("full")
    full.symlink_to("/dev/full")
    code, _, err = run("export", song, "--to", "midi", "-o", full)
    assert (code, "full cannot be written: no space left on device" in err) == (2, True)


@posix
def test_standard_output_by_another_name_is_standard_output(run, song):
    words = [sys.executable, "-m", "cuesuggest", "export", song, "--to", "csv", "-o"]
    _, out, _ = run("export", song, "--to", "csv", "-o", "-")
    piped = subprocess.run([*words, "/dev/stdout"], capture_output=True, cwd=ROOT, check=True)
    with song.with_name("file").open("wb") as file:
        subprocess.run([*words, "/dev/stdout"], stdout=file, cwd=ROOT, check=True)
    assert piped.stdout == song.with_name("file").read_bytes() == out.encode()
    assert out.count("\n") > 3


def test_a_kit_on_standard_output_has_the_name_of_its_recording_and_a_document_is_no_such_text(run, song, monkeypatch):
    monkeypatch.chdir(song.parent)
    before = whole(song.parent)
    code, out, _ = run("suggest", "evening.wav", "--kit", "-o", "-")
    assert (code, out.partition("\n")[0]) == (0, "evening")
    code, out, err = run("suggest", "evening.wav", "-o", "-")
    assert (code, out, "Name a file with -o" in err) == (2, "", True)
    assert whole(song.parent) == before


@posix
def test_standard_output_that_leads_into_the_document_is_refused(song):
    before = song.read_bytes()
    words = [sys.executable, "-m", "cuesuggest", "export", song, "--to", "csv", "-o", "-"]
    with song.open("ab") as file:
        done = subprocess.run(words, stdout=file, stderr=subprocess.PIPE, text=True, cwd=ROOT)
    assert (done.returncode, "Standard output is " in done.stderr, song.read_bytes()) == (2, True, before)


@posix
def test_two_targets_that_are_one_file_are_refused(tmp_path):
    (tmp_path / "a").touch()
    (tmp_path / "link").symlink_to(tmp_path / "a")
    (tmp_path / "hard").hardlink_to(tmp_path / "a")
    (tmp_path / "late").symlink_to(tmp_path / "new")
    for one, other in [("a", "link"), ("a", "hard"), ("link", "hard"), ("late", "new"), ("new", "new")]:
        with pytest.raises(CuesuggestError, match="are one file; nothing was written"):
            check_targets([tmp_path / one, tmp_path / other], [], force=True)


def test_a_file_that_appears_between_the_look_and_the_writing_is_not_replaced(tmp_path):
    targets = check_targets([tmp_path / "a", tmp_path / "b"], [], force=True)
    (tmp_path / "b").write_text("another's")
    with pytest.raises(CuesuggestError, match="b cannot be written: file exists"):
        write_all(targets, [b"1", b"2"])
    assert whole(tmp_path) == {tmp_path / "b": b"another's"}


def test_one_that_cannot_be_written_leaves_the_others_as_they_were(tmp_path, monkeypatch):
    for name in ("a", "b"):
        (tmp_path / name).write_text("old")
    targets = check_targets([tmp_path / "a", tmp_path / "b"], [], force=True)
    real, count = os.fsync, []

    def full(descriptor):
        count.append(descriptor)
        if len(count) == 2:
            raise OSError(errno.ENOSPC, "No space left on device")
        real(descriptor)

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(CuesuggestError, match="b cannot be written: no space left on device"):
        write_all(targets, [b"1", b"2"])
    assert whole(tmp_path) == {tmp_path / "a": b"old", tmp_path / "b": b"old"}


# A full screen


def on_a_full_screen(*words):
    with open("/dev/full", "wb") as full:
        return subprocess.run(
            [sys.executable, "-m", "cuesuggest", *map(str, words)],
            stdout=full,
            stderr=subprocess.PIPE,
            text=True,
            cwd=ROOT,
        )


full_device = pytest.mark.skipif(not os.path.exists("/dev/full"), reason="a device that is always full")


@full_device
def test_long_files_are_made_one_by_one_and_all_go_where_the_last_cannot_be_made(tmp_path):
    kept = []

    class Long(bytes):
        """Content whose end is noticed."""

        def __del__(self):
            kept.remove(len(self))

    def contents(last):
        for size in (3, 4, 5):
            assert len(kept) <= 1
            kept.append(size)
            yield Long(size)
        if last is None:
            raise CuesuggestError("there is no room for it")
        yield last

    targets = check_targets([tmp_path / name for name in "abcd"], [], force=False)
    with pytest.raises(CuesuggestError, match="no room"):
        write_all(targets, contents(None))
    assert list(tmp_path.iterdir()) == []
    write_all(targets, contents(b"end"))
    assert [path.stat().st_size for path in sorted(tmp_path.iterdir())] == [3, 4, 5, 3]


def test_an_edit_that_is_saved_but_cannot_be_shown_is_told_as_saved(song):
    done = on_a_full_screen("edit", song, "title", "Tin Roof")
    assert Song.load(song).title == "Tin Roof"
    assert done.returncode == 1
    assert done.stderr == (
        f"cuesuggest: standard output cannot be written: no space left on device. Saved: {song}. Only showing it "
        "failed.\n"
    )


@full_device
def test_an_export_that_cannot_be_shown_is_written_and_its_numbers_stay(song):
    done = on_a_full_screen("export", song, "--to", "midi")
    assert (done.returncode, f"Saved: {song.with_name('evening.mid')}." in done.stderr) == (1, True)
    assert song.with_name("evening.mid").read_bytes().startswith(b"MThd")
    assert Song.load(song).numbers_frozen


@full_device
def test_a_state_that_is_restored_but_cannot_be_shown_is_told_as_saved(run, song, monkeypatch):
    monkeypatch.setenv("XDG_STATE_HOME", str(song.parent / "state"))
    before = Song.load(song).revision
    assert run("edit", song, "title", "Tin Roof")[0] == 0
    again = song.with_name("again.cues.json")
    done = on_a_full_screen("doctor", song, "--restore", before, "-o", again)
    assert (done.returncode, f"Saved: {again}." in done.stderr) == (1, True)
    assert Song.load(again).title != "Tin Roof"


@full_device
@pytest.mark.parametrize("words", [["list"], ["export", "--to", "json", "-o", "-"]], ids=["list", "export"])
def test_what_is_only_to_be_shown_fails_in_a_sentence_where_nothing_can_be_shown(song, words):
    done = on_a_full_screen(words[0], song, *words[1:])
    assert (done.returncode, done.stderr.count("\n")) == (2, 1)
    assert "standard output cannot be written: no space left on device. Send it elsewhere" in done.stderr


@posix
def test_a_reader_that_leaves_early_is_no_failure(song):
    for words in (["edit", song, "title", "Tin Roof"], ["--help"]):
        command = [sys.executable, "-m", "cuesuggest", *map(str, words)]
        ours, theirs = os.pipe()
        os.close(ours)
        done = subprocess.run(command, stdout=theirs, stderr=subprocess.PIPE, text=True, cwd=ROOT)
        os.close(theirs)
        assert (done.returncode, done.stderr) == (0, "")
    assert Song.load(song).title == "Tin Roof"
